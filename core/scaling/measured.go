package scaling

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/statistics"
	"linepace.example/core/units"
)

// Measured is what a drive's references say: the lines through them, how certain
// these are and how well they fit. What nothing tells is absent.
type Measured struct {
	Form          Form
	Weighted      bool
	ThroughOrigin Line
	WithOffset    Optional[Line] // absent where all was measured at one speed
	OffsetTest    Optional[OffsetTest]
	Difference    Optional[Difference]
}

// Line is a straight line through references. Its uncertainties are standard ones
// (k = 1).
type Line struct {
	PerMotorTurn, PerMotorTurnU units.Quantity
	Offset, OffsetU             units.Quantity // only with an offset
	Correlation                 Optional[float64]
	DegreesOfFreedom            int
	ResidualSD                  units.Quantity
	Residuals                   []Residual
	LackOfFit                   Optional[LackOfFitTest]
}

// Residual is what one reference lies off the line.
type Residual struct {
	MotorRPM float64
	Residual units.Quantity
	Percent  Optional[float64] // of the line
}

// LackOfFitTest tests whether references lie farther from the line than they may.
type LackOfFitTest struct {
	Stated      bool // against stated uncertainties, by chi-square; else against repeats, by F
	Statistic   float64
	Dof         int
	PureDof     int // of F's denominator
	Probability float64
	Found       bool
}

// OffsetTest tests the offset against zero.
type OffsetTest struct {
	Statistic   Optional[float64]
	Dof         int // 0: the uncertainties are stated, and the normal distribution serves
	Critical    float64
	Probability float64
	Real        bool
}

// Difference is how far the measured line lies from the drivetrain at the mean speed
// of the references; the drivetrain is taken as exact.
type Difference struct {
	Percent     float64
	UPercent    Optional[float64] // standard uncertainty
	Significant Optional[bool]
}

// byChance is the name of a check that a test puts down to chance.
const byChance = "chance"

// Level of the tests.
const (
	LevelPercent = 95.0
	unlikely     = 0.05
)

// MeasuredOf finds what the references of s's drive, one at least, say, and appends
// what the user must know. The lines are those of [fit], the rest is computed in float64:
//
//	without stated uncertainties, or not of every reference: as scattered about the line
//	with them: weighted by 1/u^2, the line as uncertain as they say
//
// Source: GUM (JCGM 100:2008) H.3, ISO/TS 28037:2010 clause 6 and annex E. Lack of fit
// against repeats: Draper and Smith, Applied Regression Analysis, 2.1.
func MeasuredOf(s *Subject, checks *[]Check) Measured {
	d := s.Drive
	p := samplesOf(d)
	used := p.throughOrigin()
	out := Measured{Form: d.ReferenceForm(), Weighted: p.u != nil, ThroughOrigin: p.line(d, ThroughOrigin, used)}
	if severalSpeeds(d.References) {
		turning := p.withOffset()
		out.WithOffset = Some(p.line(d, WithOffset, turning))
		out.OffsetTest = offsetTest(turning)
		if out.Form == WithOffset {
			used = turning
		}
	}
	out.Difference = difference(s, used)
	told := len(*checks)
	CheckReferences(d, checks)
	for i := told; i < len(*checks); i++ {
		if k := &(*checks)[i]; k.Code == SlipFlowNegative && out.OffsetTest.Set && !out.OffsetTest.Value.Real {
			k.Name = byChance
		}
	}
	out.check(d, checks)
	return out
}

// check appends what the tests of m, which is d's, say.
func (m *Measured) check(d *Drive, checks *[]Check) {
	add := func(k Check) {
		k.DriveID, k.Field = d.ID, "references"
		*checks = append(*checks, k)
	}
	line := &m.ThroughOrigin
	switch {
	case m.Form == WithOffset:
		line = &m.WithOffset.Value
	case d.Delivery.Kind == Pump:
		add(Check{Code: SlipFlowUnknown})
	case m.OffsetTest.Value.Real:
		add(Check{Code: OffsetFound, Limit: m.WithOffset.Value.Offset, Number: 100 - LevelPercent})
	}
	if lack := &line.LackOfFit.Value; lack.Found {
		add(Check{Code: LackOfFit, Number: lack.Probability})
	}
}

// samples are references in float64: speeds in r/min, rates in base units and, where
// every reference states one, standard uncertainties of the rates.
type samples struct{ x, y, u []float64 }

func samplesOf(d *Drive) samples {
	var p samples
	for i := range d.References {
		p.x = append(p.x, d.References[i].MotorRPM)
		p.y = append(p.y, d.References[i].rate())
	}
	if !allStated(d.References) {
		return p
	}
	for i := range d.References {
		p.u = append(p.u, d.References[i].uncertainty()/expanded)
	}
	return p
}

// expanded is the coverage factor of a reference's stated uncertainty.
const expanded = 2

// throughOrigin returns the statistics of the line through the origin, or nil where there
// are too few points for any, or one that is stated to be exact.
func (p samples) throughOrigin() *statistics.Line {
	if p.u != nil {
		return lineUnless(statistics.FitOriginStated(p.x, p.y, p.u))
	}
	return lineUnless(statistics.FitOrigin(p.x, p.y))
}

// withOffset returns the same of the line with an offset.
func (p samples) withOffset() *statistics.Line {
	if p.u != nil {
		return lineUnless(statistics.FitLineStated(p.x, p.y, p.u))
	}
	return lineUnless(statistics.FitLine(p.x, p.y))
}

// statistics returns those of the line of a form, or nil.
func (p samples) statistics(form Form) *statistics.Line {
	if form == WithOffset {
		return p.withOffset()
	}
	return p.throughOrigin()
}

func lineUnless(l statistics.Line, err error) *statistics.Line {
	if err != nil {
		return nil
	}
	return &l
}

// line describes a line through d's references, whose statistics are l, or nil.
func (p samples) line(d *Drive, form Form, l *statistics.Line) Line {
	c := new(exact.Calc)
	var f fitted
	if len(d.References) == 1 {
		f.perTurn = perRPM(c, &d.References[0])
	} else {
		f = fit(c, d.References, form)
	}
	rate := RateUnit(d)
	perTurn := perTurnUnit(d.rateKind())
	out := Line{PerMotorTurn: quantity(c, f.perTurn, perTurn), DegreesOfFreedom: len(p.x) - 1}
	if form == WithOffset {
		out.Offset = quantity(c, f.leak.Neg(), rate)
		out.DegreesOfFreedom--
	}
	var squares statistics.Sum
	for i := range d.References {
		off := f.residual(c, &d.References[i], form)
		out.Residuals = append(out.Residuals, residual(&d.References[i], off, rate))
		squares.Add(float64(off * off))
	}
	if out.DegreesOfFreedom > 0 {
		out.ResidualSD = fromBase(math.Sqrt(squares.Value()/float64(out.DegreesOfFreedom)), rate)
	}
	if l == nil {
		return out
	}
	if l.Stated || l.Dof > 0 {
		out.PerMotorTurnU = fromBase(l.SlopeU, perTurn)
		if form == WithOffset {
			out.OffsetU = fromBase(l.InterceptU, rate)
		}
	}
	if form == WithOffset && l.SlopeU > 0 && l.InterceptU > 0 {
		out.Correlation = Some(l.Covariance / (l.SlopeU * l.InterceptU))
	}
	out.LackOfFit = p.lackOfFit(l)
	return out
}

// residual returns what a reference lies above the line, in base units: 0 where float64
// does not tell it from that.
func (f *fitted) residual(c *exact.Calc, r *Reference, form Form) float64 {
	off := r.Value.Base(c).Sub(c.Dec(r.MotorRPM).Mul(f.perTurn))
	if form == WithOffset {
		off = r.Value.Base(c).Sub(f.rate).Sub(c.Dec(r.MotorRPM).Sub(f.speed).Mul(f.perTurn))
	}
	if math.Abs(off.Float()) <= off.Bound() {
		return 0
	}
	return off.Float()
}

func residual(r *Reference, off float64, rate *units.Unit) Residual {
	out := Residual{MotorRPM: r.MotorRPM, Residual: fromBase(off, rate)}
	if line := r.rate() - off; line > 0 {
		out.Percent = Some(off / line * 100)
	}
	return out
}

// fromBase returns a float64 in base units as a quantity.
func fromBase(v float64, unit *units.Unit) units.Quantity {
	c := new(exact.Calc)
	return quantity(c, c.Dec(v), unit)
}

func (p samples) lackOfFit(l *statistics.Line) Optional[LackOfFitTest] {
	if l.Stated {
		chance, ok := l.ChiSquare()
		if !ok {
			return Optional[LackOfFitTest]{}
		}
		return Some(LackOfFitTest{Stated: true, Statistic: l.SSE, Dof: l.Dof, Probability: chance, Found: chance < unlikely})
	}
	t, err := l.LackOfFit(p.x, p.y)
	if err != nil {
		return Optional[LackOfFitTest]{}
	}
	return Some(LackOfFitTest{Statistic: t.F, Dof: t.LackDof, PureDof: t.PureDof, Probability: t.P, Found: t.P < unlikely})
}

// offsetTest holds the offset against zero: |offset/u| > t. Points that lie exactly on a
// line with an offset leave no doubt of it, and no statistic.
func offsetTest(l *statistics.Line) Optional[OffsetTest] {
	if l == nil || !l.Stated && l.Dof == 0 {
		return Optional[OffsetTest]{}
	}
	out := OffsetTest{Critical: critical(l)}
	if !l.Stated {
		out.Dof = l.Dof
	}
	if math.Abs(l.Intercept) <= noOffset*l.YMean {
		out.Statistic, out.Probability = Some(0.0), 1
		return Some(out)
	}
	if chance, ok := l.InterceptP(); ok {
		out.Statistic, out.Probability = Some(l.Intercept/l.InterceptU), chance
	}
	out.Real = !out.Statistic.Set || math.Abs(out.Statistic.Value) > out.Critical
	return Some(out)
}

// noOffset is the share of the mean rate up to which an offset is no more than the
// rounding of points that lie exactly on a line through zero.
const noOffset = 1e-12

// critical is the quantile that a two-sided test at the level holds its statistic against.
func critical(l *statistics.Line) float64 {
	dof := float64(l.Dof)
	if l.Stated {
		dof = math.Inf(1)
	}
	return statistics.StudentQuantile(1-unlikely/2, dof)
}

// difference returns how far the line of the references lies from the drivetrain. l
// are the statistics of the line that is used, or nil.
func difference(s *Subject, l *statistics.Line) Optional[Difference] {
	var speed, rate float64
	off := Certain(func(c *exact.Calc) Optional[float64] {
		var r run
		r.begin(c, s, Measure{Unit: RateUnit(s.Drive)}, nil, nil)
		percent, ok := r.referenceDiffers()
		if !ok {
			return Optional[float64]{}
		}
		at, measured := r.middle()
		speed, rate = at.Float(), measured.Float()
		return Some(percent)
	})
	if !off.Set {
		return Optional[Difference]{}
	}
	out := Difference{Percent: off.Value}
	if l == nil || !l.Stated && l.Dof == 0 {
		return Some(out)
	}
	u := l.AtU(speed) / rate * (100 + off.Value)
	out.UPercent = Some(u)
	out.Significant = Some(math.Abs(off.Value) > critical(l)*u)
	return Some(out)
}

// PumpModel is a pump as references at several speeds say: flow = displacement *
// turns of the last shaft - slip flow. Its uncertainties are standard ones.
type PumpModel struct{ Displacement, DisplacementU, SlipFlow, SlipFlowU units.Quantity }

// PumpOf returns the model of pump d that line l, which has an offset, says.
//
//	displacement = per motor turn / turns of the last shaft per motor turn
//
// in the unit of d's own displacement where that is a volume per turn.
func PumpOf(d *Drive, l *Line) PumpModel {
	unit := l.PerMotorTurn.Unit
	if own := d.Delivery.Displacement.Unit; own.Dimension() == unit.Dimension() {
		unit = own
	}
	perLast := func(q units.Quantity) units.Quantity {
		if q.Unit == nil {
			return q
		}
		c := new(exact.Calc)
		return quantity(c, q.Base(c).Quo(transmissionRatio(c, d.Transmission)), unit)
	}
	slip := units.Quantity{Value: 0 - l.Offset.Value, Unit: l.Offset.Unit} // never a negative zero
	return PumpModel{Displacement: perLast(l.PerMotorTurn), DisplacementU: perLast(l.PerMotorTurnU), SlipFlow: slip, SlipFlowU: l.OffsetU}
}
