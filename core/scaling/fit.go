package scaling

import "linepace.example/core/exact"

// Form is the form of the straight line through a drive's measured references.
type Form uint8

// Forms.
const (
	NoForm        Form = iota // no reference
	ThroughOrigin             // rate = perTurn * n
	WithOffset                // rate = perTurn * n - leak
)

// ReferenceForm returns the form of line with which d's references are used: with an
// offset, which is the slip flow, for a pump measured at two or more different
// speeds; through the origin for everything else, since what does not turn does
// not deliver. A pump measured at one speed alone says nothing of its slip flow.
func (d *Drive) ReferenceForm() Form {
	switch {
	case len(d.References) == 0:
		return NoForm
	case d.Delivery.Kind == Pump && severalSpeeds(d.References):
		return WithOffset
	}
	return ThroughOrigin
}

func severalSpeeds(refs []Reference) bool {
	for i := range refs {
		if refs[i].MotorRPM != refs[0].MotorRPM {
			return true
		}
	}
	return false
}

// fitted is the least-squares line through measured references.
type fitted struct {
	points                []point
	perTurn               exact.Num
	above, below          exact.Num // the two sums whose quotient it is
	leak                  exact.Num // only with an offset, as are the following
	speed, rate           exact.Num // weighted means
	weight, speeds, rates exact.Num // the sums that give them
}

// point is a reference in base units with its weight.
type point struct{ weight, speed, rate exact.Num }

// fit finds the line through two or more references, whose rates are of one kind:
// the exact solution over the decimals as they were given.
//
//	through the origin  perTurn = sum(w n q) / sum(w n^2)
//	with an offset      perTurn = sum(w (n - N) (q - Q)) / sum(w (n - N)^2)
//	                    leak    = perTurn N - Q
//
// n: motor speed [r/min], q: rate in base units, N, Q: their means weighted with w.
// Source: weighted linear least squares with the speeds taken as exact, as in
// ISO/TS 28037:2010 clause 6 and NIST/SEMATECH e-Handbook 4.1.4.3. Speeds differ for
// the form with an offset. Formulas: reference-fit/1, reference-line/1.
func fit(c *exact.Calc, refs []Reference, form Form) fitted {
	f := fitted{points: pointsOf(c, refs)}
	sum := func(term func(p *point) exact.Num) exact.Num {
		return c.Sum(len(f.points), func(i int) exact.Num { return term(&f.points[i]).Mul(f.points[i].weight) })
	}
	if form == ThroughOrigin {
		f.above = sum(func(p *point) exact.Num { return p.speed.Mul(p.rate) })
		f.below = sum(func(p *point) exact.Num { return square(p.speed) })
		f.perTurn = f.above.Quo(f.below)
		return f
	}
	f.weight = sum(func(*point) exact.Num { return c.Int(1) })
	f.speeds = sum(func(p *point) exact.Num { return p.speed })
	f.rates = sum(func(p *point) exact.Num { return p.rate })
	f.speed, f.rate = f.speeds.Quo(f.weight), f.rates.Quo(f.weight)
	f.above = sum(func(p *point) exact.Num { return p.speed.Sub(f.speed).Mul(p.rate.Sub(f.rate)) })
	f.below = sum(func(p *point) exact.Num { return square(p.speed.Sub(f.speed)) })
	f.perTurn = f.above.Quo(f.below)
	f.leak = f.perTurn.Mul(f.speed).Sub(f.rate)
	return f
}

// pointsOf weighs references by 1/u^2 where each states its uncertainty u, relative to
// the first's; and else all alike: an unstated uncertainty is not guessed. A weight is
// the decimal of the float64 that is computed here. Its rounding, a few parts in 10^16,
// is part of the formula: with weights that are exact quotients the exact solution
// of a thousand references would take minutes.
func pointsOf(c *exact.Calc, refs []Reference) []point {
	points := make([]point, len(refs))
	weighted := allStated(refs)
	for i := range refs {
		r, p := &refs[i], &points[i]
		p.weight, p.speed, p.rate = c.Int(1), c.Dec(r.MotorRPM), r.Value.Base(c)
		if weighted {
			ratio := refs[0].uncertainty() / r.uncertainty()
			p.weight = c.Dec(ratio * ratio)
		}
	}
	return points
}

func allStated(refs []Reference) bool {
	for i := range refs {
		if !refs[i].UncertaintyPercent.Set {
			return false
		}
	}
	return true
}

// uncertainty returns r's expanded uncertainty in base units, in float64; it states one.
func (r *Reference) uncertainty() float64 {
	return r.rate() * r.UncertaintyPercent.Value / 100
}

// rate returns r's process rate in base units, in float64.
func (r *Reference) rate() float64 { return r.Value.Base(new(exact.Calc)).Float() }

// ofReferences makes r the relation that d's references say.
//
//	perTurn = reference rate / reference speed, of a single one
//
// and of several the line of [fit].
func (r *relation) ofReferences(c *exact.Calc, d *Drive) {
	first := &d.References[0]
	r.kind = kindOf(first.Value.Unit)
	if len(d.References) == 1 {
		r.perTurn = first.Value.Base(c).Quo(c.Dec(first.MotorRPM))
		return
	}
	form := d.ReferenceForm()
	f := fit(c, d.References, form)
	r.perTurn, r.leak, r.leaks = f.perTurn, f.leak, form == WithOffset
}

// ReferencesRise reports whether the line through d's references, which are sound one
// by one, rises with the speed. One through zero always does.
func (d *Drive) ReferencesRise() bool {
	if d.ReferenceForm() != WithOffset {
		return true
	}
	return Certain(func(c *exact.Calc) int { return c.Sign(fit(c, d.References, WithOffset).perTurn) }) > 0
}

// middle returns the point of the line through several references at which it is
// held against the drivetrain: their weighted mean speed. A line through the origin
// differs from a drivetrain without slip flow by one ratio at every speed, and goes
// with slip flow only where all was measured at one speed: that of the first.
func (r *run) middle() (speed, rate exact.Num) {
	refs := r.subject.Drive.References
	if r.rel.leaks { // then there are several
		f := fit(r.c, refs, WithOffset)
		return f.speed, f.rate
	}
	speed = r.c.Dec(refs[0].MotorRPM)
	return speed, r.rel.perTurn.Mul(speed)
}
