package scaling

import (
	"math"
	"strconv"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

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

// references adds what is wrong with d's measured references.
func (v validator) references(d *Drive, p *fault.Path) {
	refs := d.References
	sound := true
	for i := range refs {
		at := p.Index(i)
		sound = v.reference(refs, i, &at) && sound
	}
	if sound && !d.ReferencesRise() {
		v.faults.Add(p, fault.Conflict, "give a line that does not rise with the speed, as if the pump delivered no more when it turns faster; look for exchanged or mistyped values")
	}
}

func (v validator) reference(refs []Reference, i int, p *fault.Path) bool {
	r := &refs[i]
	sound := v.quantity(r.Value, p, "value", units.SpeedDim, units.VolumeFlow, units.MassFlow, units.PieceRate)
	if first := refs[0].Value.Unit; sound && first != nil && first != Unreadable && first.Dimension() != r.Value.Unit.Dimension() {
		at := p.Field("value")
		unit := at.Field("unit")
		v.faults.Add(&unit, fault.UnitWrongKind, "%q is a unit of %s, and the first reference is in %q; one line goes through references of one kind",
			r.Value.Unit.Symbol(), r.Value.Unit.Dimension(), first.Symbol())
		sound = false
	}
	sound = v.within(r.MotorRPM, p, "motorRpm", minMagnitude, maxRPM, "r/min") && sound
	switch u := r.UncertaintyPercent; {
	case !u.Set:
		return sound
	case u.Value == 0 && len(refs) > 1:
		v.out(p, "uncertaintyPercent", "is 0, which would make this reference outweigh all others without end; it must be above 0 and at most 100 percent, or absent")
		return false
	default:
		return v.within(u.Value, p, "uncertaintyPercent", 0, 100, "percent") && sound
	}
}

// ReferencesRise reports whether the line through d's references, which are sound one
// by one, rises with the speed. One through zero always does.
func (d *Drive) ReferencesRise() bool {
	if d.ReferenceForm() != WithOffset {
		return true
	}
	return Certain(func(c *exact.Calc) int { return c.Sign(fit(c, d.References, WithOffset).perTurn) }) > 0
}

// CheckReferences appends what the references of d, where there are several, leave open
// whatever the speed. Each check names its field by the path within the drive.
func CheckReferences(d *Drive, checks *[]Check) {
	if len(d.References) < 2 {
		return
	}
	add := func(k Check) {
		k.DriveID = d.ID
		*checks = append(*checks, k)
	}
	if i := firstUnstated(d.References); i >= 0 {
		add(Check{Code: ReferencesUnweighted, Field: referencePath(i)})
	}
	form := d.ReferenceForm()
	if k, found := contradiction(d.References, form); found {
		add(k)
	}
	if form != WithOffset {
		return
	}
	leak := Certain(func(c *exact.Calc) (below units.Quantity) {
		if leak := fit(c, d.References, form).leak; c.Sign(leak) < 0 {
			below = quantity(c, leak, RateUnit(d))
		}
		return below
	})
	if leak.Unit != nil {
		add(Check{Code: SlipFlowNegative, Field: "references", Limit: leak})
	}
}

// firstUnstated returns the first reference that states no uncertainty where another
// does, or -1.
func firstUnstated(refs []Reference) int {
	first, stated := -1, false
	for i := range refs {
		if refs[i].UncertaintyPercent.Set {
			stated = true
		} else if first < 0 {
			first = i
		}
	}
	if !stated {
		return -1
	}
	return first
}

// referencePath names reference i within its drive.
func referencePath(i int) string { return "references[" + strconv.Itoa(i) + "]" }

// contradiction returns the check that names the two references which contradict
// each other worst beyond what their stated uncertainties explain.
//
//	|a - b| > sqrt((a p)^2 + (b q)^2)
//
// a, b: rate per r/min of each; p, q: their expanded uncertainties, as a part of 1.
// References of a line with an offset speak of the same thing only at one speed.
// Which pair is the worst is found in float64; whether it contradicts is decided.
// Source: normalized error of ISO 13528:2015 clause 9.7, |En| > 1. Formula:
// references-contradict/1.
func contradiction(refs []Reference, form Form) (k Check, found bool) {
	i, j, found := worstPair(refs, form == WithOffset)
	if !found {
		return Check{}, false
	}
	k = Certain(func(c *exact.Calc) Check {
		a, b := perRPM(c, &refs[i]), perRPM(c, &refs[j])
		off := a.Sub(b)
		explained := square(a.Mul(c.Percent(refs[i].UncertaintyPercent.Value))).Add(square(b.Mul(c.Percent(refs[j].UncertaintyPercent.Value))))
		if c.Cmp(square(off), explained) <= 0 {
			return Check{}
		}
		return Check{
			Code: ReferencesContradict, Field: referencePath(j), OtherField: referencePath(i),
			Number:  off.Abs().Quo(a).Mul(c.Int(100)).Float(),
			Allowed: math.Sqrt(explained.Float()) / a.Float() * 100,
		}
	})
	return k, k.Code != NoCode
}

func square(x exact.Num) exact.Num { return x.Mul(x) }

func perRPM(c *exact.Calc, r *Reference) exact.Num { return r.Value.Base(c).Quo(c.Dec(r.MotorRPM)) }

// worstPair returns the two references, i < j, whose difference is the greatest
// multiple of its stated uncertainty; found is false where no two can be compared.
func worstPair(refs []Reference, atOneSpeed bool) (i, j int, found bool) {
	worst := -1.0
	rates, squares := make([]float64, len(refs)), make([]float64, len(refs))
	for k := range refs {
		rates[k] = refs[k].rate() / refs[k].MotorRPM
		u := rates[k] * refs[k].UncertaintyPercent.Value / 100
		squares[k] = u * u
	}
	for a := range refs {
		for b := a + 1; b < len(refs); b++ {
			stated := refs[a].UncertaintyPercent.Set && refs[b].UncertaintyPercent.Set
			if !stated || atOneSpeed && refs[a].MotorRPM != refs[b].MotorRPM {
				continue
			}
			off := rates[a] - rates[b]
			if times := off * off / (squares[a] + squares[b]); times > worst {
				i, j, found, worst = a, b, true, times
			}
		}
	}
	return i, j, found
}

// farFromReferences is how far beyond the speeds of its references a line with an
// offset is trusted without a word; common practice, no published source.
const farFromReferences = 1.5

// checkReach tells where speed n lies far outside the speeds at which d was measured.
func (r *run) checkReach(n exact.Num) {
	if !r.rel.leaks || len(r.subject.Drive.References) < 2 {
		return
	}
	low, high := speedsOf(r.subject.Drive.References)
	c, size, far := r.c, n.Abs(), r.c.Dec(farFromReferences)
	switch {
	case c.Cmp(size.Mul(far), c.Dec(low)) < 0:
		r.add(Check{Code: BeyondReferences, Number: low})
	case c.Cmp(size, c.Dec(high).Mul(far)) > 0:
		r.add(Check{Code: BeyondReferences, Number: high})
	}
}

// speedsOf returns the lowest and highest speed of refs.
func speedsOf(refs []Reference) (low, high float64) {
	low, high = refs[0].MotorRPM, refs[0].MotorRPM
	for i := range refs {
		low, high = min(low, refs[i].MotorRPM), max(high, refs[i].MotorRPM)
	}
	return low, high
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
