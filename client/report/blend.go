package report

import (
	"io"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Blend writes the composition that the counts of a blend really give, the ratios
// to the leader, and what each drive is to be given. The error is w's own.
func Blend(w io.Writer, req *linepacev1.BlendRequest, resp *linepacev1.BlendResponse) error {
	plan := &linepacev1.PlanRequest{
		Line:    &linepacev1.Line{Drives: req.GetDrives()},
		Product: &linepacev1.Product{Blends: []*linepacev1.Blend{req.GetBlend()}},
	}
	s := &sheet{
		req: plan, lookups: lookUp(plan), marks: mark(resp.GetChecks()),
		resp: &linepacev1.PlanResponse{Checks: resp.GetChecks(), Verdict: resp.GetVerdict()},
	}
	for _, c := range resp.GetComponents() {
		s.resp.Setpoints = append(s.resp.Setpoints, c.GetSetpoint())
	}
	s.line(strings.TrimSpace("BLEND " + req.GetBlend().GetId()))
	s.blank()
	s.verdict()
	s.composition(req.GetBlend(), resp)
	s.ratios(resp)
	for i, c := range resp.GetComponents() {
		s.card(i+1, c.GetSetpoint())
	}
	s.appendix()
	s.compositionWorking(resp.GetWorking())
	s.cautions()
	_, err := io.WriteString(w, s.String())
	return err
}

// composition writes the shares that were asked and those that the counts give.
func (s *sheet) composition(blend *linepacev1.Blend, resp *linepacev1.BlendResponse) {
	s.line("COMPOSITION, " + countedText(blend))
	unit := "points"
	if blend.GetObjective() == linepacev1.Blend_RELATIVE {
		unit = "% of it"
	}
	rows := []table.Row{{"drive", "setpoint", "share %", "gives %", "off, " + unit}}
	for _, c := range resp.GetComponents() {
		rows = append(rows, table.Row{
			Clean(c.GetDriveId()), orDash(setpointText(c.GetSetpoint())), Number(c.GetSharePercent()),
			numberOrDash(c.AchievedSharePercent), numberOrDash(c.ErrorPercent),
		})
	}
	s.numbers(rows)
	if resp.GetAchievedTotal() != nil {
		s.labelled("total", Quantity(resp.GetAchievedTotal()))
	}
	if resp.LargestErrorPercent != nil {
		s.labelled("largest", strconv.FormatFloat(resp.GetLargestErrorPercent(), 'g', 3, 64)+" "+unit+howChosen(resp))
	}
	s.blank()
}

// howChosen says how good the counts are.
func howChosen(resp *linepacev1.BlendResponse) string {
	switch {
	case resp.Proven == nil:
		return ", each count rounded by itself"
	case resp.GetProven():
		return ", the least that any choice of the counts gives"
	}
	return ", the best that was found; the search was cut off"
}

// ratios writes how each drive stands to the leader.
func (s *sheet) ratios(resp *linepacev1.BlendResponse) {
	rows := []table.Row{{"to " + Clean(resp.GetLeaderId()), "motor speed %", "rate %", "pulses for each of its"}}
	for _, c := range resp.GetComponents() {
		if c.GetDriveId() != resp.GetLeaderId() && c.RatioToLeaderPercent != nil {
			rows = append(rows, table.Row{Clean(c.GetDriveId()), numberOrDash(c.RatioToLeaderPercent), numberOrDash(c.RateToLeaderPercent), numberOrDash(c.PulseRatio)})
		}
	}
	if len(rows) > 1 {
		s.line("RATIO TO THE LEADER")
		s.numbers(rows)
		s.blank()
	}
}

// numbers writes a table whose columns after the first are numbers.
func (p *page) numbers(rows []table.Row) {
	t := table.NewWriter()
	t.SetStyle(plainStyle())
	t.AppendHeader(rows[0])
	t.AppendRows(rows[1:])
	columns := []table.ColumnConfig{{Number: 1, WidthMax: 24, WidthMaxEnforcer: text.WrapHard}}
	for i := range rows[0][1:] {
		columns = append(columns, table.ColumnConfig{Number: i + 2, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	t.SetColumnConfigs(columns)
	for line := range strings.SplitSeq(t.Render(), "\n") {
		p.line("    " + strings.TrimRight(line, " "))
	}
}

func (s *sheet) compositionWorking(steps []*linepacev1.Step) {
	if len(steps) == 0 {
		return
	}
	s.line("APPENDIX: HOW THE COMPOSITION WAS FOUND")
	s.blank()
	for _, step := range steps {
		s.step(step)
	}
	s.blank()
}

// countedText says what a blend's shares count.
func countedText(b *linepacev1.Blend) string {
	counted := "by mass"
	if b.GetBasis() == linepacev1.Blend_VOLUME {
		counted = "by volume"
	}
	if b.GetTotalBasis() == linepacev1.Blend_DRY {
		counted = "dry, " + counted
	}
	return counted
}

func orDash(text string) string {
	if text == "" {
		return "-"
	}
	return text
}

func numberOrDash(v *float64) string {
	if v == nil {
		return "-"
	}
	return Number(*v)
}
