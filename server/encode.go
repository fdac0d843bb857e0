package server

import (
	"linepace.example/core/changeover"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

func quantity(q units.Quantity) *linepacev1.Quantity {
	if q.Unit == nil {
		return nil
	}
	return &linepacev1.Quantity{Value: q.Value, Unit: q.Unit.Symbol()}
}

// pointer returns where the value of o stands, or nil where it is absent. The
// answer thus points into what core made for it alone, and copies nothing.
func pointer[T any](o *scaling.Optional[T]) *T {
	if !o.Set {
		return nil
	}
	return &o.Value
}

func planResponse(plan *changeover.Plan) *linepacev1.PlanResponse {
	out := &linepacev1.PlanResponse{
		Setpoints: make([]*linepacev1.Setpoint, len(plan.Setpoints)),
		Checks:    checks(plan.Checks),
		Verdict:   linepacev1.Check_Verdict(plan.Verdict),
	}
	out.Transitions = transitions(plan.Transitions)
	setpoints := make([]linepacev1.Setpoint, len(plan.Setpoints))
	out.LeaderIds = make([]string, len(plan.Setpoints))
	for i := range plan.Setpoints {
		if leader := plan.Setpoints[i].Leader; leader != nil {
			out.LeaderIds[i] = leader.ID
		}
		out.Setpoints[i] = &setpoints[i]
		planned(&plan.Setpoints[i], out.Setpoints[i])
	}
	return out
}

// planned writes into out, which is empty.
func planned(sp *changeover.Setpoint, out *linepacev1.Setpoint) {
	setpoint(&sp.Setpoint, sp.Drive, out)
	out.Action = linepacev1.Setpoint_Action(sp.Action)
	out.Working = working(sp.Working)
	if sp.Change.Set {
		c := &sp.Change.Value
		out.Change = &linepacev1.Setpoint_Change{
			FromCount: pointer(&c.FromCount), FromMilliamps: pointer(&c.FromMilliamps), FromVolts: pointer(&c.FromVolts),
			FromRpm: c.FromRPM, SpeedChangePercent: pointer(&c.SpeedChangePercent),
		}
	}
}

// setpoint writes into out, which is empty.
func setpoint(sp *scaling.Setpoint, drive *scaling.Drive, out *linepacev1.Setpoint) {
	out.DriveId = drive.ID
	out.Action = linepacev1.Setpoint_RUN
	out.Tag = drive.Register.Tag
	out.Demanded = quantity(sp.Demanded)
	out.DemandedRpm = pointer(&sp.DemandedRPM)
	out.Count = pointer(&sp.Count)
	out.NearestCount = pointer(&sp.NearestCount)
	ratioTo(sp, drive, out)
	out.Milliamps = pointer(&sp.Milliamps)
	out.Volts = pointer(&sp.Volts)
	out.AchievedRpm = pointer(&sp.AchievedRPM)
	out.LastShaftRpm = pointer(&sp.LastShaftRPM)
	out.Achieved = quantity(sp.Achieved)
	out.ProcessRate = quantity(sp.ProcessRate)
	out.Margin = quantity(sp.Margin)
	out.ErrorPercent = pointer(&sp.ErrorPercent)
	out.PulseHz = pointer(&sp.PulseHz)
	out.WithinTolerance = pointer(&sp.WithinTolerance)
	out.BandWithinTolerance = pointer(&sp.BandWithinTolerance)
	if out.ReadoutText = text(sp.ReadoutText); out.ReadoutText != nil {
		unit := drive.Readout.Unit.Symbol()
		out.ReadoutUnit = &unit
	}
	if sp.Low.Unit != nil {
		out.Band = &linepacev1.Setpoint_Band{Low: quantity(sp.Low), High: quantity(sp.High)}
	}
}

// ratioTo writes what a register takes that is given a ratio.
func ratioTo(sp *scaling.Setpoint, drive *scaling.Drive, out *linepacev1.Setpoint) {
	if drive.Register.Kind == scaling.RatioRegister && sp.Count.Set {
		text := drive.Register.Following.RatioText(sp.Count.Value)
		out.RatioText = &text
	}
	if f := &sp.Fraction; f.Set {
		out.Fraction = &linepacev1.Setpoint_Fraction{Numerator: f.Value.Numerator, Denominator: f.Value.Denominator, ErrorPpm: f.Value.ErrorPPM}
	}
}

func checks(in []scaling.Check) []*linepacev1.Check {
	out := make([]*linepacev1.Check, len(in))
	for i := range in {
		k := &in[i]
		out[i] = &linepacev1.Check{
			Code:          linepacev1.Check_Code(k.Code),
			Severity:      linepacev1.Check_Severity(k.Code.Severity()),
			DriveId:       k.DriveID,
			Field:         k.Field,
			OtherField:    k.OtherField,
			Message:       k.Message(),
			Binds:         linepacev1.Check_Limit(k.Binds),
			Limit:         quantity(k.Limit),
			ExcessPercent: pointer(&k.ExcessPercent),
			Fit:           quantity(k.Fit),
			FitField:      k.FitField,
			Window:        window(k.Window),
		}
	}
	return out
}

func window(w *scaling.Window) *linepacev1.Window {
	if w == nil {
		return nil
	}
	turndown := w.Turndown()
	return &linepacev1.Window{
		Field: w.Field, Low: quantity(w.Low), High: quantity(w.High), Turndown: pointer(&turndown),
		LowDriveId: w.LowDrive, LowBinds: linepacev1.Check_Limit(w.LowBinds),
		HighDriveId: w.HighDrive, HighBinds: linepacev1.Check_Limit(w.HighBinds),
	}
}

func working(steps []scaling.Step) []*linepacev1.Step {
	out := make([]*linepacev1.Step, len(steps))
	for i := range steps {
		s := &steps[i]
		out[i] = &linepacev1.Step{Id: s.ID, Name: s.Name, Formula: s.Formula, Result: quantity(s.Result)}
		for _, input := range s.Inputs {
			out[i].Inputs = append(out[i].Inputs, &linepacev1.Step_Input{Name: input.Name, Value: quantity(input.Value)})
		}
	}
	return out
}

func chordal(c scaling.Optional[scaling.Chordal]) *linepacev1.ChordalAction {
	if !c.Set {
		return nil
	}
	return &linepacev1.ChordalAction{PitchDiameter: quantity(c.Value.PitchDiameter), LowPercent: c.Value.LowPercent, HighPercent: c.Value.HighPercent}
}

func scale(s *scaling.Scale) *linepacev1.ScaleResponse {
	return &linepacev1.ScaleResponse{
		PerMotorTurn:               quantity(s.PerMotorTurn),
		PerRpm:                     quantity(s.PerRPM),
		Leak:                       quantity(s.Leak),
		LastShaftTurnsPerMotorTurn: pointer(&s.LastShaftTurnsPerMotorTurn),
		EffectiveMinRpm:            s.EffectiveMinRPM,
		EffectiveMinBinds:          linepacev1.Check_Limit(s.EffectiveMinBinds),
		EffectiveMaxRpm:            s.EffectiveMaxRPM,
		EffectiveMaxBinds:          linepacev1.Check_Limit(s.EffectiveMaxBinds),
		RateAtMin:                  quantity(s.RateAtMin),
		RateAtMax:                  quantity(s.RateAtMax),
		RpmPerCount:                pointer(&s.RPMPerCount),
		RatePerCount:               quantity(s.RatePerCount),
		CountAtMin:                 pointer(&s.CountAtMin),
		CountAtMax:                 pointer(&s.CountAtMax),
		PulseHzAtMin:               pointer(&s.PulseHzAtMin),
		PulseHzAtMax:               pointer(&s.PulseHzAtMax),
		ReadoutDecimals:            pointer(&s.ReadoutDecimals),
		ReferenceDiffersPercent:    pointer(&s.ReferenceDiffersPercent),
	}
}
