package report

import (
	"fmt"
	"io"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Dwell writes the setpoints that give pieces a time in sections, and what the belts
// and the pieces do then. The error is w's own.
func Dwell(w io.Writer, req *linepacev1.DwellRequest, resp *linepacev1.DwellResponse) error {
	s := dwellSheet(req, resp)
	s.line("DWELL")
	s.blank()
	s.verdict()
	var a answer
	a.rows("", dwellRows(req, resp)...)
	a.throughput(resp)
	a.dose(req, resp)
	s.WriteString(a.String())
	for i, p := range resp.GetSetpoints() {
		s.card(i+1, p)
	}
	s.appendix()
	var end answer
	end.WriteString(s.String())
	end.working(resp.GetWorking())
	return end.end(w)
}

// dwellSheet is the sheet of a plan in which the dwell is all that is asked.
func dwellSheet(req *linepacev1.DwellRequest, resp *linepacev1.DwellResponse) *sheet {
	plan := &linepacev1.PlanRequest{
		Line:    &linepacev1.Line{Drives: req.GetDrives(), Sections: req.GetSections()},
		Product: &linepacev1.Product{},
	}
	for _, p := range resp.GetSetpoints() {
		plan.Product.Demands = append(plan.Product.Demands, &linepacev1.Demand{
			DriveId: p.GetDriveId(), Tolerance: req.GetTolerance(), Kind: &linepacev1.Demand_Dwell{Dwell: req.GetDwell()},
		})
	}
	return &sheet{
		req: plan, lookups: lookUp(plan), marks: mark(resp.GetChecks()),
		resp: &linepacev1.PlanResponse{Setpoints: resp.GetSetpoints(), Checks: resp.GetChecks(), Verdict: resp.GetVerdict()},
	}
}

func dwellRows(req *linepacev1.DwellRequest, resp *linepacev1.DwellResponse) []Row {
	rows := []Row{{Label: "asked", Text: dwellText(req.GetDwell())}}
	if resp.GetAchievedDwell() == nil {
		return rows
	}
	rows = append(rows, Row{Label: "gives", Text: Quantity(resp.GetAchievedDwell()) + marginText(resp.GetMargin())})
	if resp.GetTimePerCount() != nil {
		rows = append(rows, Row{Label: "one count", Text: "changes that by " + Quantity(resp.GetTimePerCount())})
	}
	if len(resp.GetBelts()) > 1 {
		for _, b := range resp.GetBelts() {
			rows = append(rows, Row{Label: "belt", Text: fmt.Sprintf("%s: %s at %s", b.GetDriveId(), Quantity(b.GetTime()), Quantity(b.GetSpeed()))})
		}
	}
	for _, b := range resp.GetBelts() {
		rows = append(rows, resolutionRows(b)...)
	}
	for _, z := range resp.GetZones() {
		rows = append(rows, Row{Label: "zone", Text: fmt.Sprintf("%s of %s: %s", z.GetId(), z.GetSectionId(), Quantity(z.GetTime()))})
	}
	return rows
}

// resolutionRows tells how coarse a belt's register and time readout are.
func resolutionRows(b *linepacev1.DwellResponse_Belt) (rows []Row) {
	if b.GetCoarseBelowSpeed() != nil {
		rows = append(rows, Row{Label: "coarse", Text: fmt.Sprintf("%s: below %s one count is worth more than the tolerance", b.GetDriveId(), Quantity(b.GetCoarseBelowSpeed()))})
	}
	if b.GetCoarseAboveSpeed() != nil {
		rows = append(rows, Row{Label: "coarse", Text: fmt.Sprintf("%s: above %s one count is worth more than the tolerance", b.GetDriveId(), Quantity(b.GetCoarseAboveSpeed()))})
	}
	if b.GetReadoutDigitSpeed() != nil {
		rows = append(rows, Row{Label: "readout", Text: fmt.Sprintf("%s: its last digit is worth %s here", b.GetDriveId(), Quantity(b.GetReadoutDigitSpeed()))})
	}
	return rows
}

func marginText(margin *linepacev1.Quantity) string {
	if margin == nil {
		return ""
	}
	return fmt.Sprintf(", %s on the safe side", Quantity(margin))
}

// dwellText says in words what time is asked for, of what, and where.
func dwellText(d *linepacev1.Dwell) string {
	var times []string
	if d.GetTime() != nil {
		times = append(times, Quantity(d.GetTime()))
	}
	if d.GetAtLeast() != nil {
		times = append(times, "at least "+Quantity(d.GetAtLeast()))
	}
	if d.GetAtMost() != nil {
		times = append(times, "at most "+Quantity(d.GetAtMost()))
	}
	return strings.Join(times, ", ") + ": " + dwellWhere(d)
}

// boundText says on which side of the demanded time the achieved one may lie.
func boundText(d *linepacev1.Dwell) string {
	switch {
	case d.GetTime() != nil:
		return ""
	case d.GetAtLeast() == nil:
		return "at most, "
	case d.GetAtMost() == nil:
		return "at least, "
	}
	return "at least, and at most " + Quantity(d.GetAtMost()) + ", "
}

// dwellWhere says where a time is spent, and what it is counted for.
func dwellWhere(d *linepacev1.Dwell) string {
	text := "dwell in section " + strings.Join(d.GetSectionIds(), ", ")
	switch meaning := d.GetMeaning().(type) {
	case *linepacev1.Dwell_WholePiece_:
		text += fmt.Sprintf(", while a piece of %s is wholly inside", Quantity(meaning.WholePiece.GetLength()))
	case *linepacev1.Dwell_AnyPart_:
		text += fmt.Sprintf(", while any part of a piece of %s is inside", Quantity(meaning.AnyPart.GetLength()))
	}
	return text
}

// throughput tells what the pieces do.
func (a *answer) throughput(resp *linepacev1.DwellResponse) {
	t := resp.GetThroughput()
	if t == nil {
		return
	}
	rate, inside := Quantity(t.GetPieceRate()), Number(t.GetWorkInProcess().GetValue())+" pieces"
	if t.GetMassRate() != nil {
		rate += ", " + Quantity(t.GetMassRate())
		inside += ", " + Quantity(t.GetMassInProcess())
	}
	rows := []Row{{Label: "pieces", Text: rate}}
	for _, l := range t.GetLoads() {
		text := fmt.Sprintf("%s: a piece every %s, gap %s, %s", l.GetDriveId(), Quantity(l.GetPitch()), Quantity(l.GetGap()), Quantity(l.GetLoading()))
		if l.GetMassLoading() != nil {
			text += ", " + Quantity(l.GetMassLoading())
		}
		rows = append(rows, Row{Label: "on belt", Text: text})
	}
	a.rows("THROUGHPUT", append(rows,
		Row{Label: "inside", Text: inside + " on average"},
		Row{Label: "first out", Text: Quantity(t.GetFirstOut()) + " after its leading edge came in"},
		Row{Label: "line clear", Text: Quantity(t.GetLineClear()) + " after the last leading edge came in"})...)
}
