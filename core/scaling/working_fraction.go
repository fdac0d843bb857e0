package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/fraction"
	"linepace.example/core/units"
)

// Units of the number that a proportional fraction carries: counts of the readout's
// last digit per unit of the basis.
var (
	perHertz            = units.MustParse("s/pulse")
	perRevolutionPerMin = units.MustParse("min/r")
)

// targetUnit returns the unit of the number that f carries.
func (f *ScaleFraction) targetUnit() *units.Unit {
	switch {
	case f.Form == fraction.Reciprocal:
		return f.Basis.Unit()
	case f.Basis == PulseFrequency:
		return perHertz
	}
	return perRevolutionPerMin
}

// FractionWorking derives the numbers of f, which [FractionOf] found for s.
func FractionWorking(s *Subject, f *ScaleFraction) []Step {
	var r run
	r.begin(new(exact.Calc), s, Measure{}, nil, nil)
	w := worker{run: &r}
	at := w.at(w.speedLimits(1).high)
	reading, _ := w.readoutValue(at)
	unit := f.targetUnit()
	of := func(v float64) units.Quantity { return units.Quantity{Value: v, Unit: unit} }
	target := Input{"target", of(f.Target)}
	formula := "reading / digit / basis"
	pair := "numerator / denominator"
	if f.Form == fraction.Reciprocal {
		formula, pair = "reading / digit * basis", "numerator * denominator"
	}
	w.step("scale-target/1", "number that carries the scale, found at the highest usable speed", formula, target.Value,
		Input{"reading", units.Quantity{Value: reading.Float(), Unit: s.Drive.Readout.Unit}}, w.digitInput(),
		Input{"basis", units.Quantity{Value: f.x(&r, at).Float(), Unit: f.Basis.Unit()}})
	value := f.Value(w.c, f.Form).Float()
	w.step("scale-fraction/1", "nearest pair within the bounds", pair, plain(value),
		Input{"numerator", plain(float64(f.Numerator))}, Input{"denominator", plain(float64(f.Denominator))})
	w.step("fraction-error/1", "error of the pair", "(pair - target) / target", percents(f.ErrorPPM/1e4),
		Input{"pair", of(value)}, target)
	return w.steps
}
