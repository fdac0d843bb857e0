// Package measurement turns what was measured at a drive with a pan and a stopwatch,
// with a mark on the belt or with a surface wheel into process rates with their
// uncertainty, and these into references of the drive.
//
// Every uncertainty that comes in and goes out is expanded, with k = 2. A rate is a
// product of what was measured, so their relative uncertainties add as squares, and
// one factor k serves all of them. Source: JCGM 100:2008 (GUM) 5.1.6. What all runs
// have in common, such as the error of one balance, is in each run's uncertainty;
// that it does not average out over runs is left to who reads the line through them.
package measurement

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// pair adds a fault at field where only the other part of an uncertainty is given: of
// one part alone it would come out too small.
func pair(given, other bool, field, reason string, faults *fault.List) {
	if other && !given {
		at := fault.Root(field)
		faults.Add(&at, fault.Required, "is needed: %s", reason)
	}
}

// whole adds a fault where an uncertainty is more than what it is of.
func whole(percent float64, p *fault.Path, faults *fault.List) {
	if percent > 100 {
		faults.Add(p, fault.Conflict, "has an uncertainty of %.3g %%, more than the whole; measure longer, or look at the units", percent)
	}
}

// percentOf returns a/b in percent. Both are of one dimension.
func percentOf(a, b units.Quantity) float64 {
	c := new(exact.Calc)
	return a.Base(c).Quo(b.Base(c)).Mul(c.Int(100)).Float()
}

// root returns the square root of the sum of squares.
func root(parts ...float64) float64 {
	sum := 0.0
	for _, p := range parts {
		sum += float64(p * p)
	}
	return math.Sqrt(sum)
}

// rootOfDifference returns sqrt(a^2 - b^2) for a > b.
func rootOfDifference(a, b float64) float64 { return math.Sqrt((a - b) * (a + b)) }

func optionalPercent(p scaling.Optional[float64]) float64 { return p.Value } // 0 where absent

// rated returns d, or a drive that is nothing but a motor, with what was measured as
// its references.
func rated(d *scaling.Drive, refs []scaling.Reference) *scaling.Drive {
	out := scaling.Drive{}
	if d != nil {
		out = *d
	}
	out.References = refs
	return &out
}

// ownUnit returns the unit of d's own delivery's rate, whatever its references say,
// and its dimension; nil and the zero Dimension where it has no delivery.
func ownUnit(d *scaling.Drive) (*units.Unit, units.Dimension) {
	bare := rated(d, nil)
	dim := bare.RateDimension()
	if dim == (units.Dimension{}) {
		return nil, dim
	}
	return scaling.RateUnit(bare), dim
}

var (
	one     = units.MustParse("1")
	percent = units.MustParse("%")
)

func percents(v float64) units.Quantity { return units.Quantity{Value: v, Unit: percent} }

// square writes the square of a term of a formula.
func square(term string) string { return term + " * " + term }
