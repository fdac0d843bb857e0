package measurement

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/statistics"
	"linepace.example/core/units"
)

// Budget is the uncertainty of a measurement, line by line, after the GUM (JCGM
// 100:2008). Uncertainties are in the result's unit.
type Budget struct {
	Lines           [6]BudgetLine
	Count           int
	Standard        float64 // combined
	EffectiveDof    float64 // +Inf where all lines are known
	Dof             float64 // the same, truncated to a whole number
	CoveragePercent float64
	CoverageFactor  float64
	Expanded        float64
}

// BudgetLine is one source of uncertainty: standard = |value / divisor * sensitivity|.
type BudgetLine struct {
	Source       Source
	Type         EvaluationType
	Value        units.Quantity // a standard deviation, a half-width or an expanded uncertainty
	Distribution Distribution
	Divisor      float64
	Sensitivity  float64 // in the result's unit, for one of the value's unit
	Standard     float64
	Dof          float64 // +Inf where it is taken as known
	SharePercent float64 // of the combined variance
}

// Source is where an uncertainty comes from. The numbers are those of the wire.
type Source uint8

// Sources.
const (
	NoSource           Source = iota
	Scatter                   // of the readings
	Certificate               // of the instrument
	LastDigit                 // of its display
	CountedMarks              // within a gate that starts between two marks
	GateTime                  // of the instrument's time base
	WheelCircumference        // of a surface wheel
)

// EvaluationType is how an uncertainty was evaluated (GUM 3.3.4). The numbers are
// those of the wire.
type EvaluationType uint8

// Evaluations.
const (
	NoType EvaluationType = iota
	TypeA                 // by statistics
	TypeB                 // by other means
)

// Distribution is that of what a line's value says. The numbers are those of the wire.
type Distribution uint8

// Distributions, with the divisors of their half-widths.
const (
	NoDistribution Distribution = iota
	Normal                      // of a standard deviation or an expanded uncertainty
	Rectangular                 // sqrt(3)
	Triangular                  // sqrt(6)
)

var (
	rootOfThree = math.Sqrt(3)
	rootOfSix   = math.Sqrt(6)
	pulse       = units.MustParse("pulse")
)

// budget fills in the uncertainty of the mean.
//
//	scatter        s, over sqrt(n), n - 1 degrees of freedom
//	certificate    U / k
//	last digit     half of it, rectangular
//	counted marks  one pulse either way, triangular: gate and marks are not in step, so
//	               start and end of the gate each miss up to one; over sqrt(n), since it
//	               is another phase each time
//	gate time      its expanded uncertainty / 2
//	circumference  its expanded uncertainty / 2
//
// That the scatter holds some of the counted marks already is left as it is: it makes
// the uncertainty larger rather than smaller.
func (t *TachometerCheck) budget(c *exact.Calc, out *Reading) {
	b, i := &out.Budget, &t.Tachometer
	n := float64(len(t.Readings))
	perReading := t.perReading(c)
	perPercent := out.Mean / 100
	if len(t.Readings) > 1 {
		s := deviation(t.Readings)
		b.add(BudgetLine{Source: Scatter, Type: TypeA, Distribution: Normal, Value: t.quantity(s),
			Divisor: math.Sqrt(n), Sensitivity: perReading, Dof: n - 1})
	}
	if i.ExpandedPercent.Set {
		b.add(BudgetLine{Source: Certificate, Distribution: Normal, Value: percents(i.ExpandedPercent.Value),
			Divisor: i.CoverageFactor, Sensitivity: perPercent})
	} else {
		u := units.FromBase(c, i.Expanded.Base(c), t.Unit).Float()
		b.add(BudgetLine{Source: Certificate, Distribution: Normal, Value: t.quantity(u),
			Divisor: i.CoverageFactor, Sensitivity: perReading})
	}
	if i.Resolution.Unit != nil {
		half := units.FromBase(c, i.Resolution.Base(c), t.Unit).Float() / 2
		b.add(BudgetLine{Source: LastDigit, Distribution: Rectangular, Value: t.quantity(half),
			Divisor: rootOfThree, Sensitivity: perReading})
	}
	if i.Gate.Unit != nil {
		b.add(BudgetLine{Source: CountedMarks, Distribution: Triangular, Value: units.Quantity{Value: 1, Unit: pulse},
			Divisor: rootOfSix * math.Sqrt(n), Sensitivity: t.perPulse(c, out.Unit)})
		if i.GatePercent > 0 {
			b.add(BudgetLine{Source: GateTime, Distribution: Normal, Value: percents(i.GatePercent), Divisor: 2, Sensitivity: perPercent})
		}
	}
	if i.CircumferencePercent > 0 {
		b.add(BudgetLine{Source: WheelCircumference, Distribution: Normal, Value: percents(i.CircumferencePercent), Divisor: 2, Sensitivity: perPercent})
	}
	b.combine(t.CoveragePercent)
}

func (t *TachometerCheck) quantity(v float64) units.Quantity {
	return units.Quantity{Value: v, Unit: t.Unit}
}

// perPulse returns what one mark more within the gate is in the result's unit:
//
//	1 / (marks * gate), times the circumference for a wheel
func (t *TachometerCheck) perPulse(c *exact.Calc, unit *units.Unit) float64 {
	i := &t.Tachometer
	turns := c.Int(1).Quo(c.Int(int64(i.Marks)).Mul(i.Gate.Base(c)))
	if unit.Dimension() != units.Rotation {
		turns = turns.Mul(i.Circumference.Base(c))
	}
	return units.FromBase(c, turns, unit).Float()
}

// add appends a line. What is not said to be of type A is of type B, and known.
func (b *Budget) add(l BudgetLine) {
	if l.Type == NoType {
		l.Type, l.Dof = TypeB, math.Inf(1)
	}
	l.Standard = math.Abs(l.Value.Value / l.Divisor * l.Sensitivity)
	b.Lines[b.Count] = l
	b.Count++
}

// combine fills in the combined and the expanded uncertainty.
//
//	u = sqrt(sum u[i]^2), dof = u^4 / sum(u[i]^4 / dof[i]) truncated, U = k u
//
// Source: GUM 5.1.2, G.4.1 and G.6.4, where Welch-Satterthwaite's degrees of freedom are
// truncated to the next lower integer and k is Student's t.
func (b *Budget) combine(coveragePercent float64) {
	var parts [len(b.Lines)]statistics.Component
	for i := range b.Lines[:b.Count] {
		parts[i] = statistics.Component{U: b.Lines[i].Standard, Dof: b.Lines[i].Dof}
	}
	u, dof, err := statistics.Combine(parts[:b.Count])
	if err != nil {
		panic("core/measurement: internal error: " + err.Error())
	}
	b.Standard, b.EffectiveDof, b.Dof = u, dof, math.Floor(dof)
	b.CoveragePercent = coveragePercent
	b.CoverageFactor = coverageFactor(coveragePercent/100, b.Dof)
	b.Expanded = b.CoverageFactor * u
	for i := range b.Lines[:b.Count] {
		part := b.Lines[i].Standard / u
		b.Lines[i].SharePercent = 100 * float64(part*part)
	}
}

// deviation returns the sample standard deviation of at least two readings.
func deviation(x []float64) float64 {
	s, err := statistics.Summarise(x)
	if err != nil {
		panic("core/measurement: internal error: " + err.Error())
	}
	return s.SD
}
