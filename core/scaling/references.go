package scaling

import (
	"math"
	"strconv"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

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
