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
		w := drawWorker{drawRun: r, found: found, scheme: Scheme(s)}
		for i := range d.Rolls {
			w.limitSteps(i)
		}
		for i := range d.Rolls {
			w.rollSteps(i)
		}
		steps = append(steps, w.steps...)
	}
	return steps
}

// drawWorker collects the steps of one scheme.
type drawWorker struct {
	*drawRun
	found  *Draws
	scheme Scheme
	steps  []scaling.Step
}

func (w *drawWorker) step(id, name, formula string, result units.Quantity, inputs ...scaling.Input) {
	w.steps = append(w.steps, scaling.Step{ID: id, Name: name + ", " + w.scheme.String(), Formula: formula, Result: result, Inputs: inputs})
}

func (w *drawWorker) follow(i int) *Followed { return &w.found.Rolls[i].Follows[w.scheme] }

func speedInput(name string, speed float64) scaling.Input {
	return scaling.Input{Name: name, Value: units.Quantity{Value: speed, Unit: rpm}}
}

// limitSteps derive how far a follower's own speed may be off.
func (w *drawWorker) limitSteps(i int) {
	l, sp, id := &w.limit[w.scheme][i], &w.follow(i).Setpoint, w.chain.Rolls[i].DriveID
	if i == w.leader || !sp.AchievedRPM.Set {
		return
	}
	subject := scaling.Subject{Drive: w.chain.drive(i)}
	if l.rounded {
		step := scaling.MotionOfCount(w.c, &subject, 1).Speed.Sub(scaling.MotionOfCount(w.c, &subject, 0).Speed).Abs()
		w.step("half-count/1", "half a count of "+id+", of the speed that is asked", "count / 2 / asked", percents(100*l.rounding.Float()),
			speedInput("count", step.Float()), speedInput("asked", sp.DemandedRPM.Value))
	}
	motor := &subject.Drive.Motor
	g := &motor.Regulation
	if !g.Percent.Set || g.Of == scaling.SetSpeed {
		return // it is a part of the set speed as it is given
	}
	base := motor.MaxRPM
	if g.Of == scaling.BaseSpeed {
		base = motor.BaseRPM.Value
	}
	w.step("regulation-part/1", "regulation of "+id+", of the speed that is set", "regulation * base / speed", percents(100*l.over.Float()),
		scaling.Input{Name: "regulation", Value: percents(g.Percent.Value)}, speedInput("base", base), speedInput("speed", sp.AchievedRPM.Value))
}

// rollSteps derive the draw before roll i and its ratio to the leader, how far each
// may be off, and what the disturbance does.
func (w *drawWorker) rollSteps(i int) {
	f, roll := w.follow(i), &w.found.Rolls[i]
	id := w.chain.Rolls[i].DriveID
	if f.Ratio.Set {
		above, below := w.apart(w.scheme, i)
		w.ratioSteps("draw ratio before "+id, f.Ratio.Value, roll.WantedRatio.Value, f.ErrorPercent.Value, f, w.follow(i-1))
		w.spreadSteps("draw", above, below, f.Rounding, f.Regulation)
	}
	if f.LeaderRatio.Set {
		w.ratioSteps("ratio of "+id+" to the leader", f.LeaderRatio.Value, roll.LeaderRatio, f.LeaderErrorPercent.Value, f, w.follow(w.leader))
		w.spreadSteps("ratio to the leader", w.between(w.scheme, i), nil, f.LeaderRounding, f.LeaderRegulation)
	}
	if r := roll.Ripple; r.Set && w.scheme == Direct { // the same for both
		w.rippleSteps(i, r.Value)
	}
	if d := f.Disturbed; d.Set && d.Value.DrawChangePercent.Set {
		before := w.follow(i - 1).Disturbed.Value.SpeedChangePercent
		w.step("disturbance/1", "change of the draw ratio before "+id+" by the disturbance", "(change - changeBefore) / (1 + changeBefore)", percents(d.Value.DrawChangePercent.Value),
			scaling.Input{Name: "change", Value: percents(d.Value.SpeedChangePercent)}, scaling.Input{Name: "changeBefore", Value: percents(before)})
	}
}

func (w *drawWorker) rippleSteps(i int, r Ripple) {
	before, here := scaling.ChordalOf(w.found.Rolls[i-1].Drive).Value, scaling.ChordalOf(w.found.Rolls[i].Drive).Value
	id := w.chain.Rolls[i].DriveID
	w.step("draw-ripple/1", "least draw ratio before "+id+" against its mean, by chordal action", "(1 + low) / (1 + highBefore) - 1", percents(r.LowPercent),
		scaling.Input{Name: "low", Value: percents(here.LowPercent)}, scaling.Input{Name: "highBefore", Value: percents(before.HighPercent)})
	w.step("draw-ripple/1", "greatest draw ratio before "+id+" against its mean", "(1 + high) / (1 + lowBefore) - 1", percents(r.HighPercent),
		scaling.Input{Name: "high", Value: percents(here.HighPercent)}, scaling.Input{Name: "lowBefore", Value: percents(before.LowPercent)})
}

func (w *drawWorker) ratioSteps(what string, achieved, wanted, off float64, upper, lower *Followed) {
	ratio := scaling.Input{Name: "ratio", Value: plain(achieved)}
	w.step("draw/1", what+" that the counts give", "speed / other", ratio.Value,
		scaling.Input{Name: "speed", Value: upper.Setpoint.ProcessRate}, scaling.Input{Name: "other", Value: lower.Setpoint.ProcessRate})
	w.step("draw-error/1", "its error", "ratio / wanted - 1", percents(off), ratio, scaling.Input{Name: "wanted", Value: plain(wanted)})
}

// spreadSteps derive how far rounding and regulation may take a ratio.
func (w *drawWorker) spreadSteps(what string, above, below []int, rounding, regulation Optional[Spread]) {
	if rounding.Set {
		half := func(l *limits) float64 { return 100 * l.rounding.Float() }
		w.spreadStep(what, "rounding", above, below, half, half, rounding.Value)
	}
	if regulation.Set {
		w.spreadStep(what, "regulation", above, below, func(l *limits) float64 { return 100 * l.under.Float() },
			func(l *limits) float64 { return 100 * l.over.Float() }, regulation.Value)
	}
}

func (w *drawWorker) spreadStep(what, cause string, above, below []int, under, over func(*limits) float64, spread Spread) {
	name := "how far " + cause + " may take the " + what
	low, lowInputs := w.product(above, below, "under", "over", "-", under, over)
	high, highInputs := w.product(above, below, "over", "under", "+", over, under)
	w.step("draw-spread/1", name+" down", low, percents(spread.LowPercent), lowInputs...)
	w.step("draw-spread/1", name+" up", high, percents(spread.HighPercent), highInputs...)
	var terms []string
	var inputs []scaling.Input
	for _, rolls := range [...][]int{above, below} {
		for _, i := range rolls {
			limit, l := "limit"+strconv.Itoa(i+1), &w.limit[w.scheme][i]
			terms = append(terms, limit+" * "+limit)
			inputs = append(inputs, scaling.Input{Name: limit, Value: percents(max(under(l), over(l)))})
		}
	}
	w.step("draw-spread/1", name+", root of the sum of squares", "sqrt("+strings.Join(terms, " + ")+")", percents(spread.RootSumSquarePercent), inputs...)
}

// product writes the worst case to one side: sign is + where the rolls above the line
// are fast, and those below it slow.
func (w *drawWorker) product(above, below []int, top, bottom, sign string, onTop, underLine func(*limits) float64) (string, []scaling.Input) {
	other := map[string]string{"+": "-", "-": "+"}[sign]
	formula := "1"
	var inputs []scaling.Input
	for _, i := range above {
		name := top + strconv.Itoa(i+1)
		formula += " * (1 " + sign + " " + name + ")"
		inputs = append(inputs, scaling.Input{Name: name, Value: percents(onTop(&w.limit[w.scheme][i]))})
	}
	for _, i := range below {
		name := bottom + strconv.Itoa(i+1)
		formula += " / (1 " + other + " " + name + ")"
		inputs = append(inputs, scaling.Input{Name: name, Value: percents(underLine(&w.limit[w.scheme][i]))})
	}
	return strings.TrimPrefix(formula, "1 * ") + " - 1", inputs
}
