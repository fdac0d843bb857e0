package server

import (
	"context"

	"linepace.example/core/fault"
	"linepace.example/core/ratio"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// Gear finds the two integers of an electronic gear, and the teeth of change gears.
func (ratioService) Gear(_ context.Context, in *linepacev1.GearRequest) (*linepacev1.GearResponse, error) {
	var s several
	s.read(in.GetDrives(), nil)
	g := ratio.Gear{
		Drives: s.drives, MaxNumerator: in.GetMaxNumerator(), MaxDenominator: in.GetMaxDenominator(),
		LeaderRate: s.quantity(in.GetLeaderRate(), nil, "leaderRate"), Repeat: s.quantity(in.GetRepeat(), nil, "repeat"),
	}
	switch from := in.GetFrom().(type) {
	case *linepacev1.GearRequest_Ratio:
		g.Ratio = optional(&from.Ratio)
	case *linepacev1.GearRequest_Teeth_:
		for _, pair := range from.Teeth.GetPairs() {
			g.Teeth = append(g.Teeth, ratio.TeethPair{DriverTeeth: pair.GetDriverTeeth(), DrivenTeeth: pair.GetDrivenTeeth()})
		}
	case *linepacev1.GearRequest_Sensors_:
		at := fault.Root("sensors")
		g.Sensors = &ratio.SensorPair{LeaderID: from.Sensors.GetLeaderId(), FollowerID: from.Sensors.GetFollowerId(),
			LengthPerPiece: s.quantity(from.Sensors.GetLengthPerPiece(), &at, "lengthPerPiece")}
		if from.Sensors != nil {
			g.Sensors.Percent = optional(from.Sensors.Percent)
		}
	}
	if b := in.GetChangeGears(); b != nil {
		g.ChangeGears = &ratio.ChangeGears{MinTeeth: b.GetMinTeeth(), MaxTeeth: b.GetMaxTeeth(), Stages: b.GetStages()}
	}
	g.Validate(&s.faults)
	if len(s.faults) > 0 {
		return nil, s.faults
	}
	found, err := g.Find()
	if err != nil {
		return nil, err
	}
	out := gear(&found)
	if in.GetIncludeWorking() {
		out.Working = working(g.Working(&found))
	}
	return out, nil
}

func gear(in *ratio.GearFraction) *linepacev1.GearResponse {
	out := &linepacev1.GearResponse{Ratio: in.Ratio, Checks: checks(in.Checks)}
	if f := &in.Fraction.Value; in.Fraction.Set {
		exact := !in.Loss.Set
		out.Numerator, out.Denominator, out.ErrorPpm, out.Exact = &f.Numerator, &f.Denominator, &f.ErrorPPM, &exact
	}
	for _, f := range in.Convergents {
		out.Convergents = append(out.Convergents, &linepacev1.GearResponse_Fraction{Numerator: f.Numerator, Denominator: f.Denominator, ErrorPpm: f.ErrorPPM})
	}
	if loss := &in.Loss.Value; in.Loss.Set {
		out.Loss = &linepacev1.GearResponse_Loss{
			PulsesLostPerHour: quantity(loss.PulsesPerHour), AmountLostPerHour: quantity(loss.AmountPerHour),
			LeaderPulsesToOnePulseCount: loss.LeaderPulsesToPulse, TimeToOnePulse: quantity(loss.TimeToPulse),
			RepeatsToOneRepeatCount: loss.RepeatsToRepeat, TimeToOneRepeat: quantity(loss.TimeToRepeat),
		}
	}
	if len(in.Train) > 0 {
		out.ChangeGears = &linepacev1.GearResponse_ChangeGears{ErrorPpm: in.TrainPPM}
		for _, pair := range in.Train {
			out.ChangeGears.Pairs = append(out.ChangeGears.Pairs, &linepacev1.TeethPair{DriverTeeth: pair.DriverTeeth, DrivenTeeth: pair.DrivenTeeth})
		}
	}
	return out
}
