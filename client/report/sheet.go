// Package report writes what a plan says for the people who carry it out.
//
// Nothing here calculates: every number on a sheet comes from the plan or from
// the request that it answers, rounded for reading.
package report

import (
	"fmt"
	"io"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// cautions stand on every sheet.
var cautions = []string{
	"Machinery can start without warning. Guard it, and lock it out before you touch a shaft.",
	"Verify each drive with a tachometer at low speed before product runs.",
	"Local codes and licensed practice decide.",
	"Linepace computes these numbers; it commands no machine.",
}

// Sheet writes the changeover sheet of a plan as plain text, at most 100 columns
// wide, for a terminal or a printer: the verdict, what stands in its way, what to
// load in which order, and for each drive what it then shows and does. The working,
// where the plan has it, follows as an appendix with all digits.
//
// The request gives what was asked and the texts of the line. Characters in them
// that a terminal would obey are written as escapes. The error is w's own.
func Sheet(w io.Writer, req *linepacev1.PlanRequest, resp *linepacev1.PlanResponse) error {
	s := &sheet{req: req, resp: resp, lookups: lookUp(req), marks: mark(resp.GetChecks())}
	s.head()
	s.verdict()
	s.cautions()
	s.loadList()
	for i, setpoint := range resp.GetSetpoints() {
		s.card(i+1, setpoint)
	}
	s.transitions()
	s.appendix()
	_, err := io.WriteString(w, s.String())
	return err
}

// sheet collects the lines of one sheet.
type sheet struct {
	page
	req     *linepacev1.PlanRequest
	resp    *linepacev1.PlanResponse
	lookups lookups
	marks   []string // of each check: E1, W1, or - for a note
}

// runnable reports whether the plan may be loaded at all.
func (s *sheet) runnable() bool {
	switch s.resp.GetVerdict() {
	case linepacev1.Check_RUNNABLE, linepacev1.Check_RUNNABLE_WITH_WARNINGS:
		return true
	}
	return false
}

func (s *sheet) head() {
	s.line("CHANGEOVER SHEET")
	s.blank()
	s.labelled("line", named(s.req.GetLine().GetId(), s.req.GetLine().GetDescription()))
	s.labelled("product", named(s.req.GetProduct().GetId(), s.req.GetProduct().GetDescription()))
	if running := s.req.GetRunning(); running != nil {
		s.labelled("running", named(running.GetId(), running.GetDescription()))
	}
	batch := s.req.GetBatch()
	s.labelled("batch", batch.GetBatchId())
	s.labelled("recipe", batch.GetRecipeId())
	s.labelled("equipment", batch.GetEquipmentId())
	s.labelled("asked by", batch.GetRequestedBy())
	s.labelled("asked at", batch.GetRequestedAt())
	s.labelled("reason", batch.GetReason())
	s.blank()
}

// named joins an id with its description.
func named(id, description string) string {
	if description == "" {
		return id
	}
	return id + ": " + description
}

// mark numbers what must be looked at, so that a drive's card can point to it.
func mark(checks []*linepacev1.Check) []string {
	marks := make([]string, len(checks))
	failures, warnings := 0, 0
	for i, check := range checks {
		switch check.GetSeverity() {
		case linepacev1.Check_ERROR:
			failures++
			marks[i] = fmt.Sprintf("E%d", failures)
		case linepacev1.Check_WARNING:
			warnings++
			marks[i] = fmt.Sprintf("W%d", warnings)
		case linepacev1.Check_INFO:
			marks[i] = "-"
		}
	}
	return marks
}

func (s *sheet) verdict() {
	failures, warnings := s.count(linepacev1.Check_ERROR), s.count(linepacev1.Check_WARNING)
	switch s.resp.GetVerdict() {
	case linepacev1.Check_RUNNABLE:
		s.labelled("VERDICT", "RUNNABLE")
	case linepacev1.Check_RUNNABLE_WITH_WARNINGS:
		s.labelled("VERDICT", "RUNNABLE WITH WARNINGS. Look at "+counted(warnings, "warning")+" before the line starts.")
	case linepacev1.Check_NOT_RUNNABLE:
		s.labelled("VERDICT", "NOT RUNNABLE. Load nothing from this sheet; "+counted(failures, "fault")+" below.")
	default:
		s.labelled("VERDICT", "UNKNOWN. Load nothing from this sheet.")
	}
	s.blank()
	s.checks("WHAT STANDS IN THE WAY", func(c *linepacev1.Check) bool {
		return c.GetSeverity() == linepacev1.Check_ERROR
	})
	s.checks("WHAT TO LOOK AT FIRST", func(c *linepacev1.Check) bool {
		return c.GetSeverity() == linepacev1.Check_WARNING
	})
	// A note on one drive stands on that drive's card.
	s.checks("WORTH KNOWING", func(c *linepacev1.Check) bool {
		return c.GetSeverity() == linepacev1.Check_INFO && c.GetDriveId() == ""
	})
}

func (s *sheet) count(severity linepacev1.Check_Severity) int {
	n := 0
	for _, check := range s.resp.GetChecks() {
		if check.GetSeverity() == severity {
			n++
		}
	}
	return n
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// checks lists the checks that belong under a heading.
func (s *sheet) checks(heading string, belongs func(*linepacev1.Check) bool) {
	empty := true
	for i, check := range s.resp.GetChecks() {
		if !belongs(check) {
			continue
		}
		if empty {
			s.line(heading)
			empty = false
		}
		whom := check.GetDriveId()
		if whom == "" {
			whom = "the whole plan"
		}
		s.hanging(s.marks[i], whom+": "+checkText(check))
		s.limits(check)
	}
	if !empty {
		s.blank()
	}
}

// checkText says a check in words. Of a drive out of range it leaves out the
// numbers of the service's message, which follow in lines of their own.
func checkText(check *linepacev1.Check) string {
	side := ""
	switch check.GetCode() {
	case linepacev1.Check_ABOVE_HIGHEST_SPEED:
		side = "above the highest"
	case linepacev1.Check_BELOW_LOWEST_SPEED:
		side = "below the lowest"
	}
	if side == "" || check.ExcessPercent == nil {
		return check.GetMessage()
	}
	return fmt.Sprintf("the speed that was asked is %s %% %s, which %s sets",
		Number(check.GetExcessPercent()), side, limitName(check.GetBinds()))
}

// limits tells the limit in the unit of the demand, and what would fit.
func (s *sheet) limits(check *linepacev1.Check) {
	if check.GetLimit() != nil {
		s.labelled("limit", Quantity(check.GetLimit()))
	}
	if check.GetFit() != nil {
		s.labelled("would fit", Quantity(check.GetFit())+s.fitField(check.GetFitField()))
	}
	if check.GetWindow() != nil {
		s.labelled("window", windowText(check.GetWindow())+s.fitField(check.GetWindow().GetField()))
	}
}

// limitName says in words what limits a drive.
func limitName(limit linepacev1.Check_Limit) string {
	switch limit {
	case linepacev1.Check_MOTOR:
		return "the motor"
	case linepacev1.Check_SENSOR:
		return "the sensor"
	case linepacev1.Check_REGISTER:
		return "the register"
	}
	return "the drive"
}

func (p *page) cautions() {
	p.line("CAUTIONS")
	for _, caution := range cautions {
		p.hanging("-", caution)
	}
	p.blank()
}
