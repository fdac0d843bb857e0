package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Choices are the counts that a drive can take for a demand, where they are chosen
// together with those of other drives, and what each gives.
type Choices struct {
	Runs     bool // the drive can run what is asked; else nothing else is set
	Rounds   bool // it has an integer register; else Gives is what is asked
	Nearest  int32
	Gives    float64 // in base units of the measure
	HasOther bool
	Other    int32 // the count on the other side of the demand
	Gets     float64
}

// ChoicesFor returns the choices of s's drive for an amount of measure m, a process
// rate in base units. The count on the other side is a choice only within the
// register's type, the drive's limits and the tolerance, and where it gives more than
// zero. The nearest is one wherever [For] has a count.
func ChoicesFor(c *exact.Calc, s *Subject, m Measure, amount exact.Num) (out Choices) {
	var none []Check
	var unused Setpoint
	var r run
	r.begin(c, s, m, &none, &unused)
	n := r.speed(amount)
	sign := c.Sign(n)
	usable := r.speedLimits(sign)
	if !r.reaches(amount, n) || !r.usable(n, sign, &usable) {
		return out
	}
	out.Runs, out.Gives = true, amount.Float()
	if r.subject.Drive.Register.Kind != IntegerRegister {
		if speed, rounded := r.load(n); rounded {
			out.Gives = r.amount(r.at(speed)).Float()
		}
		return out
	}
	number := r.line.number(n)
	nearest, _ := c.Round(number)
	out.Rounds, out.Nearest, out.Gives = true, int32(nearest), r.gives(nearest).Float()
	other := nearest + int64(c.Cmp(number, c.Int(nearest)))
	low, high := r.subject.Drive.Register.Bounds()
	if other == nearest || float64(other) < low || float64(other) > high {
		return out
	}
	gets := r.gives(other)
	if !r.usable(r.line.speed(c.Int(other)), sign, &usable) || c.Sign(gets) <= 0 || !r.tolerable(gets.Quo(amount)) {
		return out
	}
	out.HasOther, out.Other, out.Gets = true, int32(other), gets.Float()
	return out
}

// usable reports whether a speed lies within limits, which are those of its sign.
func (r *run) usable(n exact.Num, sign int, of *limits) bool {
	size := magnitude(n, sign)
	return r.c.Cmp(size, of.low) >= 0 && r.c.Cmp(size, of.high) <= 0
}

// tolerable reports whether part, of what is demanded, lies within the tolerance,
// where there is one.
func (r *run) tolerable(part exact.Num) bool {
	if r.subject.Tolerance == nil {
		return true
	}
	least, most := r.tolerance()
	return r.tolerated(least, most, part)
}

// gives returns the amount that a count gives.
func (r *run) gives(count int64) exact.Num { return r.amount(r.at(r.line.speed(r.c.Int(count)))) }

// FromDimension is the inverse of [InDimension].
func FromDimension(c *exact.Calc, d *Drive, m *Material, rate exact.Num, dim units.Dimension) exact.Num {
	return convert(c, d, m, rate, kindOfDimension(dim), d.rateKind())
}

// InDimension returns a process rate of d's own kind, in base units, as a rate of
// dim, which [NeedsDensity] has found nothing missing for.
func InDimension(c *exact.Calc, d *Drive, m *Material, rate exact.Num, dim units.Dimension) exact.Num {
	return convert(c, d, m, rate, d.rateKind(), kindOfDimension(dim))
}
