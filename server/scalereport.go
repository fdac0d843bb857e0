package server

import (
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// readoutReport tells what the readout of s shows, or nil where it has none.
func readoutReport(s *scaling.Subject) *linepacev1.ReadoutReport {
	if s.Drive.Readout.Unit == nil {
		return nil
	}
	r := scaling.Certain(func(c *exact.Calc) scaling.ReadoutReport { return scaling.ReadoutOf(c, s) })
	return &linepacev1.ReadoutReport{
		AtMin: readoutState(&r.Low), AtMax: readoutState(&r.High), TextAtStand: text(r.AtStand), Digit: quantity(r.Digit),
	}
}

func readoutState(s *scaling.ReadoutState) *linepacev1.ReadoutReport_State {
	return &linepacev1.ReadoutReport_State{
		Text: text(s.Text), DigitRpm: pointer(&s.DigitRPM), DigitRate: quantity(s.DigitRate), SensorDigits: pointer(&s.SensorStep),
	}
}

// text returns nil for no text.
func text(t scaling.Text) *string {
	s := t.String()
	if s == "" {
		return nil
	}
	return &s
}

// sensorReports tells what each sensor of s does. Checks are appended.
func sensorReports(s *scaling.Subject, checks *[]scaling.Check) []*linepacev1.SensorReport {
	var found []scaling.Check
	reports := scaling.Certain(func(c *exact.Calc) []scaling.SensorReport {
		found = found[:0]
		return scaling.SensorsOf(c, s, &found)
	})
	*checks = append(*checks, found...)
	out := make([]*linepacev1.SensorReport, len(reports))
	for i := range reports {
		r := &reports[i]
		out[i] = &linepacev1.SensorReport{
			Id: r.ID, Shaft: r.Shaft, TurnsPerMotorTurn: pointer(&r.TurnsPerMotorTurn), PulsesPerMotorTurn: pointer(&r.PulsesPerMotorTurn),
			AtMin: sensorState(&r.Low), AtMax: sensorState(&r.High), WantedHz: pointer(&r.HzAtWanted),
		}
	}
	return out
}

func sensorState(s *scaling.SensorState) *linepacev1.SensorReport_State {
	return &linepacev1.SensorReport_State{
		PulseHz: s.Hz, ResolutionHz: pointer(&s.ResolutionHz), ResolutionRpm: pointer(&s.ResolutionRPM),
		ResolutionRate: quantity(s.ResolutionRate), ResolutionPercent: pointer(&s.ResolutionPercent),
		UpdateTime: inSeconds(s.UpdateSeconds), WantedUpdateTime: inSeconds(s.WantedSeconds),
	}
}

var second = units.MustParse("s")

func inSeconds(v scaling.Optional[float64]) *linepacev1.Quantity {
	if !v.Set {
		return nil
	}
	return quantity(units.Quantity{Value: v.Value, Unit: second})
}
