package measurement

import (
	"fmt"
	"math"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Working derives the numbers of out, which [TachometerCheck.Check] found.
func (t *TachometerCheck) Working(out *Reading) []scaling.Step {
	w := tachometerWorker{TachometerCheck: t, out: out}
	w.set()
	w.expected()
	w.mean()
	w.uncertainty()
	if out.Limits.Set {
		w.limits()
	}
	return w.steps
}

type tachometerWorker struct {
	*TachometerCheck
	out   *Reading
	steps []scaling.Step
}

func (w *tachometerWorker) step(id, name, formula string, result units.Quantity, inputs ...scaling.Input) scaling.Input {
	w.steps = append(w.steps, scaling.Step{ID: id, Name: name, Formula: formula, Inputs: inputs, Result: result})
	return scaling.Input{Value: result}
}

// result is a value in the result's unit.
func (w *tachometerWorker) result(v float64) units.Quantity {
	return units.Quantity{Value: v, Unit: w.out.Unit}
}

func plainInput(name string, v float64) scaling.Input {
	return scaling.Input{Name: name, Value: units.Quantity{Value: v, Unit: one}}
}

func called(name string, in scaling.Input) scaling.Input {
	return scaling.Input{Name: name, Value: in.Value}
}

// set derives the motor speed that is set.
func (w *tachometerWorker) set() {
	s := &w.Subject
	switch {
	case w.Count.Set:
		w.steps = scaling.NumberWorking(s, float64(w.Count.Value))
	case w.Milliamps.Set:
		w.steps = scaling.NumberWorking(s, w.Milliamps.Value)
	case w.Volts.Set:
		w.steps = scaling.NumberWorking(s, w.Volts.Value)
	default:
		m := scaling.Measure{Unit: w.Setpoint.Unit}
		if s.ReadoutSection != nil {
			m.Length = s.ReadoutSection.Length
		}
		w.steps = scaling.SpeedWorking(s, m, w.Setpoint)
	}
}

func (w *tachometerWorker) expected() {
	const id, name = "expected-reading/1", "what the tachometer should read, whichever way the drive turns"
	c := new(exact.Calc)
	expected := w.result(w.out.Expected)
	if w.Place == NoPlace {
		speed := scaling.Input{Name: "speed", Value: rpmQuantity(math.Abs(w.out.SetRPM))}
		w.step(id, name, "speed * turns", expected, speed, plainInput("turns", scaling.TurnsOf(c, w.Subject.Drive, w.Shaft).Float()))
		return
	}
	d := w.Subject.Drive
	rate := scaling.RateAt(c, &w.Subject, c.Dec(w.out.SetRPM)).Abs()
	in := []scaling.Input{{Name: "rate", Value: units.Quantity{Value: units.FromBase(c, rate, w.out.Unit).Float(), Unit: w.out.Unit}}}
	if w.Place != OverRoll || d.Delivery.BeltThickness.Unit == nil {
		w.step(id, name, "rate", expected, in...)
		return
	}
	w.step(id, name, "rate * (rollDiameter + 2 * beltThickness) / (rollDiameter + beltThickness)", expected,
		append(in, scaling.Input{Name: "rollDiameter", Value: d.Delivery.Diameter}, scaling.Input{Name: "beltThickness", Value: d.Delivery.BeltThickness})...)
}

func (w *tachometerWorker) mean() {
	var terms []string
	var in []scaling.Input
	for i, r := range w.Readings {
		name := fmt.Sprint("reading", i+1)
		terms, in = append(terms, name), append(in, scaling.Input{Name: name, Value: w.quantity(r)})
	}
	formula := fmt.Sprintf("(%s) / %d", strings.Join(terms, " + "), len(terms))
	if w.out.Unit != w.Unit {
		formula += " * circumference"
		in = append(in, scaling.Input{Name: "circumference", Value: w.Tachometer.Circumference})
	}
	mean := w.step("mean-reading/1", "mean of the readings", formula, w.result(w.out.Mean), in...)
	w.step("deviation/1", "deviation", "mean - expected", w.result(w.out.Deviation), called("mean", mean), scaling.Input{Name: "expected", Value: w.result(w.out.Expected)})
}

var sourceNames = [...]string{
	Scatter: "scatter of the readings", Certificate: "certificate of the instrument", LastDigit: "last digit of the display",
	CountedMarks: "marks counted within the gate", GateTime: "gate time", WheelCircumference: "circumference of the wheel",
}

// String names a source in words.
func (s Source) String() string { return sourceNames[s] }

// uncertainty derives the budget.
func (w *tachometerWorker) uncertainty() {
	b := &w.out.Budget
	var squares, fourths []string
	var in, all []scaling.Input
	for i := range b.Lines[:b.Count] {
		l := &b.Lines[i]
		u := w.line(l)
		u.Name = fmt.Sprint("u", i+1)
		in = append(in, u)
		squares = append(squares, u.Name+" * "+u.Name)
		all = append(all, u)
		if !math.IsInf(l.Dof, 1) && l.Standard > 0 {
			fourths = append(fourths, fmt.Sprintf("%[1]s * %[1]s * %[1]s * %[1]s / %v", u.Name, l.Dof))
		}
	}
	combined := w.step("combined-uncertainty/1", "combined standard uncertainty", "sqrt("+strings.Join(squares, " + ")+")", w.result(b.Standard), in...)
	if !math.IsInf(b.EffectiveDof, 1) {
		w.step("effective-dof/1", "effective degrees of freedom, to be truncated", "u * u * u * u / ("+strings.Join(fourths, " + ")+")",
			plainInput("", b.EffectiveDof).Value, append(w.finite(all), called("u", combined))...)
	}
	w.step("expanded-uncertainty/1", "expanded uncertainty", "k * u", w.result(b.Expanded), plainInput("k", b.CoverageFactor), called("u", combined))
}

// finite returns the inputs whose lines have finite degrees of freedom.
func (w *tachometerWorker) finite(all []scaling.Input) (out []scaling.Input) {
	for i := range all {
		if l := &w.out.Budget.Lines[i]; !math.IsInf(l.Dof, 1) && l.Standard > 0 {
			out = append(out, all[i])
		}
	}
	return out
}

// line derives one line of the budget.
func (w *tachometerWorker) line(l *BudgetLine) scaling.Input {
	formula := "value / divisor"
	in := []scaling.Input{{Name: "value", Value: l.Value}, plainInput("divisor", l.Divisor)}
	wheel := scaling.Input{Name: "circumference", Value: w.Tachometer.Circumference}
	switch {
	case l.Source == CountedMarks:
		formula += " / (marks * gate)"
		in = append(in, scaling.Input{Name: "marks", Value: units.Quantity{Value: float64(w.Tachometer.Marks), Unit: pulsePerTurn}},
			scaling.Input{Name: "gate", Value: w.Tachometer.Gate})
		if w.out.Unit.Dimension() != units.Rotation {
			formula, in = formula+" * circumference", append(in, wheel)
		}
	case l.Value.Unit == percent:
		formula, in = formula+" * mean", append(in, scaling.Input{Name: "mean", Value: w.result(w.out.Mean)})
	case w.out.Unit != w.Unit:
		formula, in = formula+" * circumference", append(in, wheel)
	}
	return w.step("standard-uncertainty/1", "standard uncertainty: "+l.Source.String(), formula, w.result(l.Standard), in...)
}

var pulsePerTurn = units.MustParse("pulse/r")

func (w *tachometerWorker) limits() {
	l := &w.out.Limits.Value
	w.regulation("slowest", false)
	w.regulation("fastest", true)
	w.step("guard-band/1", "guard band after "+GuardEdition, "guardFactor * u", w.result(l.GuardBand),
		plainInput("guardFactor", l.GuardFactor), scaling.Input{Name: "u", Value: w.result(w.out.Budget.Standard)})
}

// regulation derives the slowest or the fastest motor speed that the regulation allows.
func (w *tachometerWorker) regulation(which string, fast bool) {
	c, motor := new(exact.Calc), &w.Subject.Drive.Motor
	slow, high, _ := scaling.RegulatedSpeeds(c, w.Subject.Drive, c.Dec(w.out.SetRPM))
	n, sign := slow, " - "
	if fast {
		n, sign = high, " + "
	}
	in := []scaling.Input{{Name: "speed", Value: rpmQuantity(w.out.SetRPM)}}
	formula := "speed"
	switch g := &motor.Regulation; {
	case g.DroopPercent.Set && !fast:
		formula, in = "speed * (1 - droop)", append(in, scaling.Input{Name: "droop", Value: percents(g.DroopPercent.Value)})
	case g.DroopPercent.Set:
	case g.Of == scaling.SetSpeed:
		formula, in = "speed"+sign+"speed * regulation", append(in, scaling.Input{Name: "regulation", Value: percents(g.Percent.Value)})
	default:
		base := motor.MaxRPM
		if g.Of == scaling.BaseSpeed {
			base = motor.BaseRPM.Value
		}
		formula, in = "speed"+sign+"base * regulation", append(in, scaling.Input{Name: "base", Value: rpmQuantity(base)},
			scaling.Input{Name: "regulation", Value: percents(g.Percent.Value)})
	}
	w.step("band-speed/1", which+" speed that the regulation allows", formula, rpmQuantity(n.Float()), in...)
}

func rpmQuantity(v float64) units.Quantity {
	return units.Quantity{Value: v, Unit: scaling.UsualRateUnit(units.Rotation)}
}
