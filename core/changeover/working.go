package changeover

import (
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

var percentUnit = units.MustParse("%")

func percents(v float64) units.Quantity { return units.Quantity{Value: v, Unit: percentUnit} }

// demandSteps derives what is asked of drive i where it hangs on another drive or
// on a blend's total.
func (s *solver) demandSteps(i int, out *Setpoint) []scaling.Step {
	j := &s.jobs[i]
	switch {
	case j.blend >= 0:
		return s.shareSteps(j, out)
	case j.leader >= 0:
		return []scaling.Step{s.followStep(i, out)}
	}
	return nil
}

// followStep derives a follower's demand from what its leader achieves.
func (s *solver) followStep(i int, out *Setpoint) scaling.Step {
	j := &s.jobs[i]
	demand := &s.product.Demands[j.demand]
	leader := &s.plan.Setpoints[s.of[j.leader].place]
	step := scaling.Step{ID: "ratio/1", Name: "what the leader's achieved value asks", Formula: "leader * ratio", Result: out.Demanded}
	rate := scaling.Input{Name: "leader", Value: leader.ProcessRate}
	switch {
	case demand.Kind == LengthPerPiece:
		step.ID, step.Formula = "length-per-piece/1", "leader / length"
		if s.line.Drives[i].RateDimension() == units.SpeedDim {
			step.Formula = "leader * length"
		}
		step.Inputs = []scaling.Input{rate, {Name: "length", Value: demand.Length}}
		return step
	case demand.Basis == MotorSpeed:
		rate.Value = units.Quantity{Value: leader.AchievedRPM.Value, Unit: out.Demanded.Unit}
	}
	step.Inputs = []scaling.Input{rate, {Name: "ratio", Value: percents(demand.Percent)}}
	return step
}

// shareSteps derives a component's rate as fed from its share of the total.
func (s *solver) shareSteps(j *job, out *Setpoint) []scaling.Step {
	b := &s.product.Blends[j.blend]
	component := &b.Components[j.component]
	c := new(exact.Calc)
	share := component.SharePercent
	var steps []scaling.Step
	if component.Balance {
		others := shares(c, b)
		share = c.Int(100).Sub(others).Float()
		steps = append(steps, scaling.Step{ID: "balance/1", Name: "what the other shares leave", Formula: "all - others", Result: percents(share),
			Inputs: []scaling.Input{{Name: "all", Value: percents(100)}, {Name: "others", Value: percents(others.Float())}}})
	}
	m := s.materialOf(s.drives.find(component.DriveID))
	moist := b.TotalBasis == Dry && m != nil && m.Moisture.Basis != scaling.NoMoisture
	rate := out.Demanded
	if moist {
		dry := b.Total.Base(c).Mul(c.Dec(share)).Quo(c.Int(100))
		rate = units.Quantity{Value: units.FromBase(c, dry, b.Total.Unit).Float(), Unit: b.Total.Unit}
	}
	steps = append(steps, scaling.Step{ID: "share/1", Name: "the component's rate", Formula: "total * share", Result: rate,
		Inputs: []scaling.Input{{Name: "total", Value: b.Total}, {Name: "share", Value: percents(share)}}})
	if !moist {
		return steps
	}
	formula := "dry / (1 - moisture)"
	if m.Moisture.Basis == scaling.DryBasis {
		formula = "dry * (1 + moisture)"
	}
	return append(steps, scaling.Step{ID: "moisture/1", Name: "the same rate as fed", Formula: formula, Result: out.Demanded,
		Inputs: []scaling.Input{{Name: "dry", Value: rate}, {Name: "moisture", Value: percents(m.Moisture.Percent)}}})
}
