package ratio

import (
	"fmt"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// materialSteps derive what is delivered, and what of it off ratio.
func (q *Ramps) materialSteps(found *RampSet) (steps []scaling.Step) {
	r := q.run(new(exact.Calc))
	common := r.common()
	for i := range q.Ramps {
		whole := []period{{0, lastOf(common)}}
		steps = append(steps, r.amountStep("amount/1", "delivered by "+q.Ramps[i].DriveID+" on the common ramp", i, common[i], whole, found.Ramps[i].Amount))
	}
	for _, way := range []struct {
		name     string
		profiles []profile
		of       func(*RampOf) OffRatio
		all      OffRatio
	}{
		{"each drive on its own ramp", r.alone(), func(o *RampOf) OffRatio { return o.Alone }, found.Alone},
		{"on the common ramp", common, func(o *RampOf) OffRatio { return o.Common }, found.Common},
	} {
		lead, end := q.leader(), lastOf(way.profiles)
		var all []period
		for i := range q.Ramps {
			if out := way.of(&found.Ramps[i]); out.Time.Unit != nil {
				b := newBond(way.profiles[lead], way.profiles[i], q.TolerancePercent/100)
				all = append(all, b.off(end)...)
				steps = append(steps, r.offSteps(i, way.name, way.profiles[i], b.off(end), out)...)
				steps = append(steps, r.excessStep(i, way.name, b, end, out)...)
			}
		}
		if len(all) > 0 {
			steps = append(steps, r.offSteps(lead, way.name+", while any drive is off", way.profiles[lead], joined(all), way.all)...)
		}
	}
	return steps
}

// offSteps derive time and amount of the periods in which drive i is off ratio.
func (r *rampRun) offSteps(i int, way string, p profile, periods []period, out OffRatio) []scaling.Step {
	if len(periods) == 0 {
		return nil
	}
	var terms []string
	var inputs []scaling.Input
	for k, s := range periods {
		since, until := fmt.Sprintf("since%d", k+1), fmt.Sprintf("until%d", k+1)
		terms = append(terms, until+" - "+since)
		inputs = append(inputs, scaling.Input{Name: since, Value: seconds(s.from)}, scaling.Input{Name: until, Value: seconds(s.to)})
	}
	id := r.ramps.Ramps[i].DriveID
	return []scaling.Step{
		{ID: "off-ratio/1", Name: "time off ratio of " + id + ", " + way, Formula: strings.Join(terms, " + "), Result: out.Time, Inputs: inputs},
		r.amountStep("off-ratio-amount/1", "what "+id+" delivers in that time", i, p, periods, out.Amount),
	}
}

// amountStep derives what drive i delivers in some periods: the mean of the rates at
// the ends of each straight piece, times its length.
func (r *rampRun) amountStep(id, name string, i int, p profile, periods []period, result units.Quantity) scaling.Step {
	step := scaling.Step{ID: id, Name: name, Result: result}
	var terms []string
	for _, s := range periods {
		for _, piece := range p.piecesIn(s) {
			n := fmt.Sprint(len(terms) + 1)
			terms = append(terms, "(rate"+n+" + end"+n+") / 2 * time"+n)
			step.Inputs = append(step.Inputs, r.rateInput("rate"+n, i, p.at(piece.from)), r.rateInput("end"+n, i, p.at(piece.to)),
				scaling.Input{Name: "time" + n, Value: seconds(piece.length())})
		}
	}
	step.Formula = strings.Join(terms, " + ")
	return step
}

// excessStep derives what drive i delivers beyond its ratio to the leader.
func (r *rampRun) excessStep(i int, way string, b bond, end float64, out OffRatio) []scaling.Step {
	if out.Excess.Unit == nil {
		return nil
	}
	lead := r.ramps.leader()
	_, delivered := b.follower.during([]period{{0, end}})
	_, led := b.leader.during([]period{{0, end}})
	follower, leader := b.follower.to, b.leader.to
	if !b.after.Set {
		follower, leader = b.follower.from, b.leader.from
	}
	return []scaling.Step{{ID: "off-ratio-excess/1", Name: "what " + r.ramps.Ramps[i].DriveID + " delivers too much, " + way, Formula: "delivered - led * rate / leaderRate",
		Result: out.Excess, Inputs: []scaling.Input{
			{Name: "delivered", Value: r.amountOf(i, delivered)}, {Name: "led", Value: r.amountOf(lead, led)},
			r.rateInput("rate", i, max(follower, 0)), r.rateInput("leaderRate", lead, leader)}}}
}

// rateInput is a rate of drive i, in base units, as an input.
func (r *rampRun) rateInput(name string, i int, rate float64) scaling.Input {
	unit := scaling.UsualRateUnit(r.ramps.amountRate(i))
	c := new(exact.Calc)
	return scaling.Input{Name: name, Value: units.Quantity{Value: units.FromBase(c, c.Dec(rate), unit).Float(), Unit: unit}}
}
