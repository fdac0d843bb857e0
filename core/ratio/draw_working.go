package ratio

import (
	"strconv"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

var (
	plainUnit   = units.MustParse("1")
	percentUnit = units.MustParse("%")
)

func plain(v float64) units.Quantity    { return units.Quantity{Value: v, Unit: plainUnit} }
func percents(v float64) units.Quantity { return units.Quantity{Value: v, Unit: percentUnit} }

// SetpointWorking derives the setpoint of roll i in a scheme: what is asked of it,
// and then as for any drive.
func (d *DrawChain) SetpointWorking(found *Draws, s Scheme, i int) []scaling.Step {
	out := &found.Rolls[i].Follows[s].Setpoint
	if !out.DemandedRPM.Set {
		return nil
	}
	subject := scaling.Subject{Drive: found.Rolls[i].Drive}
	if i == d.leader() {
		return scaling.Working(&subject, scaling.Measure{Unit: d.LeaderRate.Unit}, out)
	}
	r := newDrawRun(new(exact.Calc), d)
	followed := r.followed(s, i)
	formula, ratio := "followed * ratio", found.Rolls[i].LeaderRatio
	switch {
	case s == Cascaded && i > r.leader:
		ratio = found.Rolls[i].WantedRatio.Value
	case s == Cascaded:
		formula, ratio = "followed / ratio", found.Rolls[followed].WantedRatio.Value
	}
	step := scaling.Step{ID: "draw-speed/1", Name: "surface speed that the draw asks, " + s.String() + ", following " + d.Rolls[followed].DriveID,
		Formula: formula, Result: out.Demanded, Inputs: []scaling.Input{
			{Name: "followed", Value: found.Rolls[followed].Follows[s].Setpoint.ProcessRate}, {Name: "ratio", Value: plain(ratio)}}}
	return append([]scaling.Step{step}, scaling.Working(&subject, scaling.Measure{Unit: d.rateUnit()}, out)...)
}

// Working derives the draws of found, which [DrawChain.Find] found for d.
func (d *DrawChain) Working(found *Draws) (steps []scaling.Step) {
	r := newDrawRun(new(exact.Calc), d)
	r.follow()
	for i := 1; i < len(d.Rolls); i++ {
		if draw := d.Rolls[i].DrawPercent; draw.Set {
			steps = append(steps, scaling.Step{ID: "draw-ratio/1", Name: "draw ratio that is asked before " + d.Rolls[i].DriveID, Formula: "1 + draw",
				Result: plain(found.Rolls[i].WantedRatio.Value), Inputs: []scaling.Input{{Name: "draw", Value: percents(draw.Value)}}})
		}
	}
	for s := range schemeNames {
		for i := 1; i < len(d.Rolls); i++ {
			steps = append(steps, d.drawSteps(r, found, Scheme(s), i)...)
		}
	}
	return steps
}

// drawSteps derives the draw before roll i and how far it may be off.
func (d *DrawChain) drawSteps(r *drawRun, found *Draws, s Scheme, i int) (steps []scaling.Step) {
	f, before := &found.Rolls[i].Follows[s], &found.Rolls[i-1].Follows[s]
	where := "before " + d.Rolls[i].DriveID + ", " + s.String()
	if !f.Ratio.Set {
		return nil
	}
	ratio := plain(f.Ratio.Value)
	steps = append(steps,
		scaling.Step{ID: "draw/1", Name: "draw ratio that the counts give " + where, Formula: "speed / speedBefore", Result: ratio, Inputs: []scaling.Input{
			{Name: "speed", Value: f.Setpoint.ProcessRate}, {Name: "speedBefore", Value: before.Setpoint.ProcessRate}}},
		scaling.Step{ID: "draw-error/1", Name: "its error", Formula: "ratio / wanted - 1", Result: percents(f.ErrorPercent.Value), Inputs: []scaling.Input{
			{Name: "ratio", Value: ratio}, {Name: "wanted", Value: plain(found.Rolls[i].WantedRatio.Value)}}})
	above, below := r.apart(s, i)
	round := func(l *limits) float64 { return 100 * l.rounding.Float() }
	if f.Rounding.Set {
		steps = append(steps, d.spreadStep(r, s, above, below, "half a count of each roll", round, round, f.Rounding.Value))
	}
	if f.Regulation.Set {
		steps = append(steps, d.spreadStep(r, s, above, below, "the regulation of each roll",
			func(l *limits) float64 { return 100 * l.over.Float() }, func(l *limits) float64 { return 100 * l.under.Float() }, f.Regulation.Value))
	}
	return steps
}

// spreadStep derives the worst case upwards of a spread.
func (d *DrawChain) spreadStep(r *drawRun, s Scheme, above, below []int, cause string, over, under func(*limits) float64, spread Spread) scaling.Step {
	var top, bottom []string
	var inputs []scaling.Input
	for _, i := range above {
		name := "over" + strconv.Itoa(i)
		top = append(top, "(1 + "+name+")")
		inputs = append(inputs, scaling.Input{Name: name, Value: percents(over(&r.limit[s][i]))})
	}
	for _, i := range below {
		name := "under" + strconv.Itoa(i)
		bottom = append(bottom, " / (1 - "+name+")")
		inputs = append(inputs, scaling.Input{Name: name, Value: percents(under(&r.limit[s][i]))})
	}
	if len(top) == 0 {
		top = []string{"1"}
	}
	return scaling.Step{ID: "draw-spread/1", Name: "how far above it " + cause + " may take the draw", Formula: strings.Join(top, " * ") + strings.Join(bottom, "") + " - 1",
		Result: percents(spread.HighPercent), Inputs: inputs}
}
