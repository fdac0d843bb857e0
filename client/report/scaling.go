package report

import (
	"fmt"
	"io"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Scale writes what one turn of a drive's motor delivers, over which speeds it
// holds, and what one count is worth. The error is w's own.
func Scale(w io.Writer, req *linepacev1.ScaleRequest, resp *linepacev1.ScaleResponse) error {
	var a answer
	a.rows("SCALE", append([]Row{{Label: "drive", Text: named(req.GetDrive().GetId(), req.GetDrive().GetDescription())}}, ScaleRows(req.GetDrive(), resp)...)...)
	if req.GetDrive().GetRegister() != nil {
		a.rows("REGISTER", registerRows(req.GetDrive().GetRegister(), resp)...)
	}
	if resp.GetReadout() != nil {
		a.rows("READOUT", readoutRows(req.GetDrive().GetReadout(), resp.GetReadout())...)
	}
	for i, sensor := range resp.GetSensors() {
		heading := ""
		if i == 0 {
			heading = "SENSORS"
		}
		a.rows(heading, sensorRows(i+1, req.GetDrive(), sensor)...)
	}
	if f := resp.GetScaleFraction(); f != nil {
		a.rows("SCALE FRACTION", fractionRows(req.GetDrive(), f)...)
	}
	a.checks(resp.GetChecks())
	a.working(resp.GetWorking())
	return a.end(w)
}

// ScaleRows tells the scale of a drive in rows of a block.
func ScaleRows(drive *linepacev1.Drive, s *linepacev1.ScaleResponse) []Row {
	rows := []Row{
		{Label: "delivers", Text: perTurnText(s)},
		{Label: "lowest", Text: rateText(s.GetRateAtMin(), s.GetEffectiveMinRpm(), s.GetEffectiveMinBinds())},
		{Label: "highest", Text: rateText(s.GetRateAtMax(), s.GetEffectiveMaxRpm(), s.GetEffectiveMaxBinds())},
	}
	if s.RpmPerCount != nil {
		rows = append(rows, Row{Label: "one count", Text: fmt.Sprintf("%s, %s r/min of the motor", Quantity(s.GetRatePerCount()), Number(s.GetRpmPerCount()))})
	}
	if s.PulseHzAtMin != nil && s.PulseHzAtMax != nil {
		rows = append(rows, Row{Label: "pulses", Text: fmt.Sprintf("%s Hz at %s r/min, %s Hz at %s r/min of the motor",
			Number(s.GetPulseHzAtMin()), Number(drive.GetMotor().GetMinRpm()),
			Number(s.GetPulseHzAtMax()), Number(drive.GetMotor().GetMaxRpm()))})
	}
	if c := s.GetChordal(); c != nil {
		rows = append(rows, Row{Label: "ripple", Text: fmt.Sprintf("once a tooth the chain goes %s to %s about its mean: the chain is a polygon on its pitch diameter, %s",
			percent(c.GetLowPercent(), 3), percent(c.GetHighPercent(), 3), Quantity(c.GetPitchDiameter()))})
	}
	if s.ReadoutDecimals != nil {
		rows = append(rows, Row{Label: "readout", Text: fmt.Sprintf("its %s hold every value in %s with %s",
			counted(int(drive.GetReadout().GetDigits()), "digit"), drive.GetReadout().GetUnit(), counted(int(s.GetReadoutDecimals()), "decimal"))})
	}
	if s.GetMeasured() != nil {
		rows = append(rows, MeasuredRows(s.GetMeasured(), "references")...)
	}
	return rows
}

func perTurnText(s *linepacev1.ScaleResponse) string {
	text := Quantity(s.GetPerMotorTurn()) + " of the motor"
	if s.GetLeak() != nil {
		text += ", less " + Quantity(s.GetLeak()) + " that leaks back"
	}
	return text
}

// rateText tells an end of the speeds of a drive, and what sets it.
func rateText(rate *linepacev1.Quantity, rpm float64, binds linepacev1.Check_Limit) string {
	return fmt.Sprintf("%s at %s r/min of the motor, which %s sets", Quantity(rate), Number(rpm), limitName(binds))
}

// Setpoint writes what one drive is to be given and what it then does. The error is
// w's own.
func Setpoint(w io.Writer, req *linepacev1.SetpointRequest, resp *linepacev1.SetpointResponse) error {
	plan := &linepacev1.PlanRequest{
		Line: &linepacev1.Line{Drives: []*linepacev1.Drive{req.GetDrive()}},
		Product: &linepacev1.Product{Demands: []*linepacev1.Demand{{
			DriveId: req.GetDrive().GetId(), Tolerance: req.GetTolerance(),
		}}},
	}
	s := &sheet{
		req: plan, lookups: lookUp(plan), marks: mark(resp.GetChecks()),
		resp: &linepacev1.PlanResponse{
			Setpoints: []*linepacev1.Setpoint{resp.GetSetpoint()}, Checks: resp.GetChecks(), Verdict: resp.GetVerdict(),
		},
	}
	s.line("SETPOINT")
	s.blank()
	s.verdict()
	s.card(1, resp.GetSetpoint())
	s.limitsAround(resp)
	s.inUnits(resp.GetInUnits())
	s.appendix()
	s.cautions()
	_, err := io.WriteString(w, s.String())
	return err
}

// limitsAround tells what shows at the ends of what the drive's regulation allows.
func (s *sheet) limitsAround(resp *linepacev1.SetpointResponse) {
	if resp.GetSlowest() == nil {
		return
	}
	s.line("AS CLOSELY AS THE DRIVE HOLDS ITS SPEED")
	s.labelled("slowest", expectedText(resp.GetSlowest(), resp.GetSetpoint()))
	s.labelled("fastest", expectedText(resp.GetFastest(), resp.GetSetpoint()))
	s.blank()
}

func expectedText(e *linepacev1.SetpointResponse_Expected, p *linepacev1.Setpoint) string {
	text := "motor shaft " + Number(e.GetMotorRpm()) + " r/min"
	if e.LastShaftRpm != nil {
		text += ", last shaft " + Number(e.GetLastShaftRpm()) + " r/min"
	}
	if e.GetProcessRate() != nil {
		text += ", " + Quantity(e.GetProcessRate())
	}
	if e.ReadoutText != nil && p.ReadoutUnit != nil {
		text += ", readout " + e.GetReadoutText() + " " + p.GetReadoutUnit()
	}
	if e.PulseHz != nil {
		text += ", sensor " + Number(e.GetPulseHz()) + " Hz"
	}
	return text
}

// inUnits tells the same speed in several units.
func (s *sheet) inUnits(list []*linepacev1.Quantity) {
	if len(list) == 0 {
		return
	}
	s.line("THE SAME SPEED")
	for _, q := range list {
		s.labelled("", Quantity(q))
	}
	s.blank()
}
