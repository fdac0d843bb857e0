package report

import (
	"fmt"
	"io"
	"strconv"

	"github.com/jedib0t/go-pretty/v6/table"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Draw writes the two ways to let rolls follow each other, side by side: what to
// load, the draws that it gives, how far they may be off, and what a disturbance
// does. The error is w's own.
func Draw(w io.Writer, req *linepacev1.DrawRequest, resp *linepacev1.DrawResponse) error {
	leader := req.GetLeaderId()
	if leader == "" && len(req.GetRolls()) > 0 {
		leader = req.GetRolls()[0].GetDriveId()
	}
	var a answer
	a.rows("DRAW", Row{Label: "leader", Text: fmt.Sprintf("%s at %s", leader, Quantity(req.GetLeaderRate()))},
		Row{Label: "verdict", Text: verdictText(resp.GetVerdict())})
	direct := func(r *linepacev1.DrawResponse_Roll) *linepacev1.DrawResponse_Following { return r.GetDirect() }
	cascaded := func(r *linepacev1.DrawResponse_Roll) *linepacev1.DrawResponse_Following { return r.GetCascaded() }
	a.drawing("DIRECT, each roll follows the leader", resp, direct, resp.GetDirect())
	a.drawing("CASCADED, each roll follows its neighbour on the leader's side", resp, cascaded, resp.GetCascaded())
	a.spreads(resp)
	a.disturbance(req.GetDisturbance(), resp)
	a.driveChecks(resp.GetChecks())
	for _, r := range resp.GetRolls() {
		a.setpointWorking(", direct", r.GetDirect().GetSetpoint())
		a.setpointWorking(", cascaded", r.GetCascaded().GetSetpoint())
	}
	a.working(resp.GetWorking())
	return a.end(w)
}

func verdictText(v linepacev1.Check_Verdict) string {
	switch v {
	case linepacev1.Check_RUNNABLE:
		return "runnable"
	case linepacev1.Check_RUNNABLE_WITH_WARNINGS:
		return "runnable, with warnings"
	}
	return "NOT RUNNABLE: load nothing from this answer"
}

// drawing writes what one way gives: what to load, and the draws.
func (a *answer) drawing(heading string, resp *linepacev1.DrawResponse, of func(*linepacev1.DrawResponse_Roll) *linepacev1.DrawResponse_Following, total *linepacev1.DrawResponse_Total) {
	a.line(heading)
	rows := []table.Row{{"roll", "setpoint", "motor r/min", "speed", "draw asked %", "gives %", "ratio off %"}}
	for _, r := range resp.GetRolls() {
		f := of(r)
		speed := "-"
		if achieved := f.GetSetpoint().GetProcessRate(); achieved != nil {
			speed = Quantity(achieved)
		}
		rows = append(rows, table.Row{
			Clean(r.GetDriveId()), orDash(setpointText(f.GetSetpoint())), numberOrDash(f.GetSetpoint().AchievedRpm), speed,
			numberOrDash(r.DrawPercent), numberOrDash(f.DrawPercent), smallOrDash(f.DrawErrorPercent),
		})
	}
	a.numbers(rows)
	if total.DrawRatio != nil {
		a.labelled("whole chain", fmt.Sprintf("draw %s %%, ratio %s, which is %s %% off", Number(total.GetDrawPercent()), Number(total.GetDrawRatio()), small(total.GetDrawErrorPercent())))
	}
	a.blank()
}

// spreads writes how far rounding and regulation may take each draw and each ratio to
// the leader.
func (a *answer) spreads(resp *linepacev1.DrawResponse) {
	type following = linepacev1.DrawResponse_Following
	a.spread("HOW FAR ROUNDING MAY TAKE A RATIO", resp, (*following).GetDrawRounding, (*following).GetRatioToLeaderRounding)
	a.spread("HOW FAR REGULATION MAY TAKE A RATIO", resp, (*following).GetDrawRegulation, (*following).GetRatioToLeaderRegulation)
	var ripples []Row
	for _, r := range resp.GetRolls() {
		if p := r.GetDrawRipple(); p != nil {
			ripples = append(ripples, Row{Label: r.GetDriveId(), Text: fmt.Sprintf("%s to %s of it, once a tooth, where the teeth meet at their worst", percent(p.GetLowPercent(), 3), percent(p.GetHighPercent(), 3))})
		}
	}
	if len(ripples) > 0 {
		a.rows("HOW FAR THE POLYGONS OF SPROCKETS TAKE A DRAW FROM ITS MEAN", ripples...)
	}
}

func (a *answer) spread(heading string, resp *linepacev1.DrawResponse, draw, toLeader func(*linepacev1.DrawResponse_Following) *linepacev1.DrawResponse_Spread) {
	known := false
	rows := []table.Row{{"roll", "direct: draw", "to leader", "cascaded: draw", "to leader"}}
	for _, r := range resp.GetRolls() {
		row := table.Row{Clean(r.GetDriveId())}
		for _, f := range []*linepacev1.DrawResponse_Following{r.GetDirect(), r.GetCascaded()} {
			row = append(row, spreadText(draw(f)), spreadText(toLeader(f)))
			known = known || toLeader(f) != nil
		}
		rows = append(rows, row)
	}
	if known {
		a.line(heading + ", % of it: worst case, root sum square in brackets")
		a.numbers(rows)
		a.blank()
	}
}

func spreadText(s *linepacev1.DrawResponse_Spread) string {
	if s == nil {
		return "-"
	}
	return fmt.Sprintf("%s (%s)", small(max(-s.GetWorstLowPercent(), s.GetWorstHighPercent())), small(s.GetRootSumSquarePercent()))
}

// disturbance writes what a change of one roll's speed does under each way.
func (a *answer) disturbance(d *linepacev1.DrawRequest_Disturbance, resp *linepacev1.DrawResponse) {
	if d == nil {
		return
	}
	a.line(fmt.Sprintf("WHERE %s RUNS %s", Clean(d.GetDriveId()), percent(d.GetSpeedChangePercent(), 3)))
	rows := []table.Row{{"roll", "direct: speed", "draw, then", "to first", "cascaded: speed", "draw, then", "to first"}}
	for _, r := range resp.GetRolls() {
		row := table.Row{Clean(r.GetDriveId())}
		for _, f := range []*linepacev1.DrawResponse_Following{r.GetDirect(), r.GetCascaded()} {
			row = append(row, percent(f.GetDisturbed().GetSpeedChangePercent(), 3), percentOrDash(f.GetDisturbed().DrawPercent),
				percent(f.GetDisturbed().GetRatioToFirstChangePercent(), 3))
		}
		rows = append(rows, row)
	}
	a.numbers(rows)
	a.blank()
}

// setpointWorking writes how a setpoint was found; way says in which way of following.
func (a *answer) setpointWorking(way string, p *linepacev1.Setpoint) {
	if len(p.GetWorking()) == 0 {
		return
	}
	a.line(fmt.Sprintf("HOW THE SETPOINT OF %s WAS FOUND%s", Clean(p.GetDriveId()), way))
	for _, step := range p.GetWorking() {
		a.step(step)
	}
	a.blank()
}

// small writes three significant digits, for an error.
func small(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }

func percentOrDash(x *float64) string {
	if x == nil {
		return "-"
	}
	return Number(*x) + " %"
}

func smallOrDash(x *float64) string {
	if x == nil {
		return "-"
	}
	return small(*x)
}
