package report

import (
	"fmt"
	"io"

	"github.com/jedib0t/go-pretty/v6/table"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Ramps writes the common ramp, what to set on each drive, what is made off ratio
// with it and without, and the start of staggered feeders. The error is w's own.
func Ramps(w io.Writer, req *linepacev1.RampsRequest, resp *linepacev1.RampsResponse) error {
	var a answer
	rows := []Row{{Label: "verdict", Text: verdictText(resp.GetVerdict())}}
	if resp.GetCommonTime() != nil {
		text := fmt.Sprintf("%s, as short as %s, the slowest, can", Quantity(resp.GetCommonTime()), resp.GetSlowestDriveId())
		if resp.GetCommonTime().GetValue() != resp.GetLeastTime().GetValue() {
			text = fmt.Sprintf("%s; %s, the slowest, needs %s", Quantity(resp.GetCommonTime()), resp.GetSlowestDriveId(), Quantity(resp.GetLeastTime()))
		}
		rows = append(rows, Row{Label: "common time", Text: text})
	}
	a.rows("RAMPS", rows...)
	if resp.GetCommonTime() != nil {
		a.settings(req, resp)
		a.offRatio(req, resp)
		a.starts(resp)
	}
	a.driveChecks(resp.GetChecks())
	for _, r := range resp.GetRamps() {
		a.setpointWorking("", r.GetSetpoint())
	}
	a.working(resp.GetWorking())
	return a.end(w)
}

func (a *answer) settings(req *linepacev1.RampsRequest, resp *linepacev1.RampsResponse) {
	a.line("SET ON EACH DRIVE")
	rows := []table.Row{{"drive", "ramp time", "meaning", "setpoint", "from r/min", "to r/min", "takes", "at fastest", "delivers"}}
	for i, r := range resp.GetRamps() {
		rows = append(rows, table.Row{Clean(r.GetDriveId()), quantityOrDash(r.GetRampTimeSetting()), meaningText(req.GetRamps()[i].GetMeaning()), orDash(setpointText(r.GetSetpoint())),
			numberOrDash(r.FromRpm), numberOrDash(r.ToRpm), briefly(r.GetChangeTime()), briefly(r.GetFastestChangeTime()), briefly(r.GetAmount())})
	}
	a.numbers(rows)
	a.blank()
}

func meaningText(m linepacev1.RampsRequest_Meaning) string {
	if m == linepacev1.RampsRequest_ZERO_TO_MAX {
		return "zero to max"
	}
	return "this change"
}

func quantityOrDash(q *linepacev1.Quantity) string {
	if q == nil {
		return "-"
	}
	return Quantity(q)
}

// briefly writes a quantity with four significant digits, for a wide table.
func briefly(q *linepacev1.Quantity) string {
	if q == nil {
		return "-"
	}
	return significant(q.GetValue(), 4) + " " + q.GetUnit()
}

// offRatio writes what is made off ratio by each drive's own ramp and by the common one.
func (a *answer) offRatio(req *linepacev1.RampsRequest, resp *linepacev1.RampsResponse) {
	leader := rampLeader(req)
	a.line(fmt.Sprintf("OFF RATIO TO %s BY MORE THAN %s %%", Clean(leader), Number(req.GetTolerancePercent())))
	rows := []table.Row{{"drive", "alone: time", "delivers", "too much", "common: time", "delivers", "too much"}}
	row := func(name string, alone, common *linepacev1.RampsResponse_OffRatio) {
		rows = append(rows, table.Row{Clean(name), briefly(alone.GetTime()), briefly(alone.GetAmount()), briefly(alone.GetExcess()),
			briefly(common.GetTime()), briefly(common.GetAmount()), briefly(common.GetExcess())})
	}
	for _, r := range resp.GetRamps() {
		if r.GetAlone() != nil {
			row(r.GetDriveId(), r.GetAlone(), r.GetCommon())
		}
	}
	row("any, by "+leader, resp.GetAlone(), resp.GetCommon())
	a.numbers(rows)
	a.blank()
}

// rampLeader names the drive against which ratios are reckoned.
func rampLeader(req *linepacev1.RampsRequest) string {
	if req.GetLeaderId() != "" {
		return req.GetLeaderId()
	}
	for _, ramp := range req.GetRamps() {
		if ramp.GetDriveId() != req.GetStagger().GetBeltId() {
			return ramp.GetDriveId()
		}
	}
	return req.GetRamps()[0].GetDriveId()
}

// starts writes when each staggered feeder is to start.
func (a *answer) starts(resp *linepacev1.RampsResponse) {
	if len(resp.GetStarts()) == 0 {
		return
	}
	a.line("BEGIN THE RAMPS OF THE FEEDERS IN THIS ORDER")
	rows := []table.Row{{"feeder", "after the first", "the belt comes"}}
	for _, s := range resp.GetStarts() {
		rows = append(rows, table.Row{Clean(s.GetDriveId()), quantityOrDash(s.GetDelay()), Quantity(s.GetTravel())})
	}
	a.numbers(rows)
	a.labelled("else", Quantity(resp.GetPartialBeltWithoutDelays())+" of belt would lack a material")
	a.blank()
}
