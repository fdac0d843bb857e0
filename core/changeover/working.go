package changeover

import (
	"strconv"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/ratio"
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
	case s.kind(j) == Dose:
		return s.doseSteps(j, out)
	case j.leader >= 0:
		return []scaling.Step{s.followStep(i, out)}
	case j.route >= 0:
		return s.routes[j.route].Steps(s.product.Demands[j.demand].Dwell, out.Drive.ID, out.Demanded)
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

// shareSteps derives a component's rate as fed from its share of the total, or of
// what its leader gives.
func (s *solver) shareSteps(j *job, out *Setpoint) []scaling.Step {
	b := &s.product.Blends[j.blend]
	k := int(j.component)
	if b.leads(k) {
		return nil
	}
	c := new(exact.Calc)
	total, steps := b.Total, []scaling.Step(nil)
	if j.leader >= 0 {
		steps = s.leaderTotalSteps(c, b)
		total = steps[len(steps)-1].Result
	}
	share := percents(b.Components[k].SharePercent)
	if b.Components[k].Balance {
		steps = append(steps, balanceStep(c, b))
		share = steps[len(steps)-1].Result
	}
	m := s.materialOf(s.drives.find(b.Components[k].DriveID))
	rate := out.Demanded
	if b.moist(m) {
		rate = inUnit(c, total.Base(c).Mul(c.Dec(share.Value)).Quo(c.Int(100)), total.Unit)
	}
	steps = append(steps, scaling.Step{ID: "share/1", Name: "the component's rate", Formula: "total * share", Result: rate,
		Inputs: []scaling.Input{{Name: "total", Value: total}, {Name: "share", Value: share}}})
	if !b.moist(m) {
		return steps
	}
	formula := "dry / (1 - moisture)"
	if m.Moisture.Basis == scaling.DryBasis {
		formula = "dry * (1 + moisture)"
	}
	return append(steps, scaling.Step{ID: "moisture/1", Name: "the same rate as fed", Formula: formula, Result: out.Demanded,
		Inputs: []scaling.Input{{Name: "dry", Value: rate}, {Name: "moisture", Value: percents(m.Moisture.Percent)}}})
}

// balanceStep derives the share of the component that is the balance.
func balanceStep(c *exact.Calc, b *Blend) scaling.Step {
	others := shares(c, b)
	return scaling.Step{ID: "balance/1", Name: "what the other shares leave", Formula: "all - others", Result: percents(c.Int(100).Sub(others).Float()),
		Inputs: []scaling.Input{{Name: "all", Value: percents(100)}, {Name: "others", Value: percents(others.Float())}}}
}

// leaderTotalSteps derives the total of a blend from what its leader achieves.
func (s *solver) leaderTotalSteps(c *exact.Calc, b *Blend) []scaling.Step {
	i, k := s.drives.find(b.LeaderID), b.leader()
	m := s.materialOf(i)
	fed := scaling.InDimension(c, &s.line.Drives[i], m, s.achieved(c, i).Rate, b.dimension())
	leader := inUnit(c, fed, b.unit())
	var steps []scaling.Step
	if b.Components[k].Balance {
		steps = append(steps, balanceStep(c, b))
	}
	if b.moist(m) {
		dry := inUnit(c, counted(c, b, m, fed), b.unit())
		steps = append(steps, dryStep(m, leader, dry))
		leader = dry
	}
	share := percents(shareOf(c, b, k).Mul(c.Int(100)).Float())
	return append(steps, scaling.Step{ID: "leader-total/1", Name: "total that the leader's achieved rate makes", Formula: "leader / share",
		Result: inUnit(c, s.totalOfLeader(c, b), b.unit()),
		Inputs: []scaling.Input{{Name: "leader", Value: leader}, {Name: "share", Value: share}}})
}

// dryStep derives a rate without its moisture.
func dryStep(m *scaling.Material, fed, dry units.Quantity) scaling.Step {
	formula := "fed * (1 - moisture)"
	if m.Moisture.Basis == scaling.DryBasis {
		formula = "fed / (1 + moisture)"
	}
	return scaling.Step{ID: "moisture/1", Name: "the same rate dry", Formula: formula, Result: dry,
		Inputs: []scaling.Input{{Name: "fed", Value: fed}, {Name: "moisture", Value: percents(m.Moisture.Percent)}}}
}

// compositionSteps derives what a blend's setpoints give together.
func compositionSteps(b *Blend, out *Composition) []scaling.Step {
	if out.Total.Unit == nil {
		return nil
	}
	var steps []scaling.Step
	sum := scaling.Step{ID: "blend-total/1", Name: "total that the setpoints give", Result: out.Total}
	var terms []string
	for k := range out.Portions {
		p := &out.Portions[k]
		rate := p.rate
		if p.dry.Unit != nil {
			steps = append(steps, dryStep(p.moisture, p.rate, p.dry))
			rate = p.dry
		}
		name := "rate" + strconv.Itoa(k+1)
		terms = append(terms, name)
		sum.Inputs = append(sum.Inputs, scaling.Input{Name: name, Value: rate})
	}
	sum.Formula = strings.Join(terms, " + ")
	steps = append(steps, sum)
	for k := range out.Portions {
		p := &out.Portions[k]
		achieved, share := percents(p.AchievedSharePercent.Value), percents(p.SharePercent)
		steps = append(steps, scaling.Step{ID: "achieved-share/1", Name: "share that " + p.Drive.ID + " gives", Formula: "rate / total", Result: achieved,
			Inputs: []scaling.Input{{Name: "rate", Value: sum.Inputs[k].Value}, {Name: "total", Value: out.Total}}})
		formula := "achieved - share"
		if b.Objective == ratio.Relative {
			formula = "(achieved - share) / share"
		}
		steps = append(steps, scaling.Step{ID: "share-error/1", Name: "error of that share", Formula: formula, Result: percents(p.ErrorPercent.Value),
			Inputs: []scaling.Input{{Name: "achieved", Value: achieved}, {Name: "share", Value: share}}})
	}
	return steps
}
