package ratio

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
)

// judge tells how far roll i comes from its draw and from its ratio to the leader.
func (r *drawRun) judge(s Scheme, i int) {
	f, c := &r.out.Rolls[i].Follows[s], r.c
	r.disturb(s, i)
	if !r.ok[s][i] {
		return
	}
	if r.ok[s][r.leader] && i != r.leader {
		achieved := r.rate[s][i].Quo(r.rate[s][r.leader])
		f.LeaderRatio = scaling.Some(achieved.Float())
		f.LeaderErrorPercent = scaling.Some(percentOf(c, achieved.Quo(r.toLead[i]).Sub(c.Int(1))))
		f.LeaderRounding, f.LeaderRegulation = r.spreads(s, r.between(s, i), nil)
	}
	if i == 0 || !r.ok[s][i-1] {
		return
	}
	achieved := r.rate[s][i].Quo(r.rate[s][i-1])
	f.Percent, f.Ratio = drawOf(c, achieved), scaling.Some(achieved.Float())
	f.ErrorPercent = scaling.Some(percentOf(c, achieved.Quo(r.ratio[i]).Sub(c.Int(1))))
	faster, slower := r.apart(s, i)
	f.Rounding, f.Regulation = r.spreads(s, faster, slower)
	r.tolerate(s, i, achieved, faster, slower)
}

// between lists the rolls whose own errors make up that of roll i against the leader.
func (r *drawRun) between(s Scheme, i int) (rolls []int) {
	for ; i != r.leader; i = r.followed(s, i) {
		rolls = append(rolls, i)
	}
	return rolls
}

// apart lists the rolls whose own errors make up that of the draw before roll i:
// those that take part in its speed and not in that of the roll before, and the
// other way round.
func (r *drawRun) apart(s Scheme, i int) (above, below []int) {
	switch {
	case s == Cascaded && i > r.leader:
		return []int{i}, nil
	case s == Cascaded:
		return nil, []int{i - 1}
	}
	return r.between(s, i), r.between(s, i-1)
}

// spreads returns the spread of a ratio to which the rolls above and below its
// line contribute, by rounding and by regulation.
func (r *drawRun) spreads(s Scheme, above, below []int) (rounding, regulation Optional[Spread]) {
	round := func(l *limits) (under, over float64, known bool) {
		return l.rounding.Float(), l.rounding.Float(), l.rounded
	}
	hold := func(l *limits) (under, over float64, known bool) { return l.under.Float(), l.over.Float(), l.regulated }
	return r.spread(s, above, below, round), r.spread(s, above, below, hold)
}

// spread returns by how much a ratio may be off, each roll by its limits.
//
//	least    = product of (1 - under) above the line / product of (1 + over) below it - 1
//	greatest = product of (1 + over) above the line / product of (1 - under) below it - 1
//
// It is not known where the limit of a roll is not, or allows a standstill. The
// products are carried less 1, so that small limits keep their digits.
func (r *drawRun) spread(s Scheme, above, below []int, of func(*limits) (under, over float64, known bool)) (out Optional[Spread]) {
	least, greatest, squares := 0.0, 0.0, 0.0
	for k, rolls := range [...][]int{above, below} {
		for _, i := range rolls {
			under, over, known := of(&r.limit[s][i])
			if !known || under >= 1 {
				return out
			}
			if k == 0 {
				least, greatest = least-under-float64(least*under), greatest+over+float64(greatest*over)
			} else {
				least, greatest = (least-over)/(1+over), (greatest+under)/(1-under)
			}
			part := max(under, over)
			squares += float64(part * part)
		}
	}
	return scaling.Some(Spread{LowPercent: 100 * least, HighPercent: 100 * greatest, RootSumSquarePercent: 100 * math.Sqrt(squares)})
}

// held returns the least and the greatest factor by which the regulation may take a
// draw ratio, as [drawRun.spread] has it, for a verdict that is to be exact.
func (r *drawRun) held(s Scheme, above, below []int) (least, greatest exact.Num, known bool) {
	one := r.c.Int(1)
	least, greatest = one, one
	for k, rolls := range [...][]int{above, below} {
		for _, i := range rolls {
			l := &r.limit[s][i]
			if !l.regulated || r.c.Cmp(l.under, one) >= 0 {
				return one, one, false
			}
			slow, fast := one.Sub(l.under), one.Add(l.over)
			if k == 0 {
				least, greatest = least.Mul(slow), greatest.Mul(fast)
			} else {
				least, greatest = least.Quo(fast), greatest.Quo(slow)
			}
		}
	}
	return least, greatest, true
}

// tolerate judges the achieved draw ratio before roll i, and with it the band that
// the regulation leaves. A draw that is wanted and may vanish is told: the material
// then goes slack.
func (r *drawRun) tolerate(s Scheme, i int, achieved exact.Num, above, below []int) {
	c, f := r.c, &r.out.Rolls[i].Follows[s]
	one := c.Int(1)
	least, greatest, known := r.held(s, above, below)
	slowest := achieved.Mul(least) // the achieved draw itself where no regulation is known
	if c.Cmp(r.ratio[i], one) > 0 && c.Cmp(slowest, one) < 0 {
		r.check(scaling.Check{Code: scaling.DrawMayVanish, Name: s.String(), Number: percentOf(c, slowest.Sub(one))}, i)
	}
	t := r.chain.Tolerance
	if t == nil {
		return
	}
	low, high := one.Sub(c.Percent(t.MinusPercent)), one.Add(c.Percent(t.PlusPercent))
	within := func(factor exact.Num) bool {
		off := achieved.Mul(factor).Quo(r.ratio[i])
		return c.Cmp(off, low) >= 0 && c.Cmp(off, high) <= 0
	}
	f.WithinTolerance = scaling.Some(within(one))
	if !f.WithinTolerance.Value {
		r.check(scaling.Check{Code: scaling.DrawOutsideTolerance, Name: s.String(), Number: f.ErrorPercent.Value}, i)
	}
	if known {
		f.BandWithinTolerance = scaling.Some(within(least) && within(greatest))
		if !f.BandWithinTolerance.Value {
			r.check(scaling.Check{Code: scaling.DrawBandOutsideTolerance, Name: s.String()}, i)
		}
	}
}

// disturb tells what a change of one roll's speed does to roll i and the draw before it.
//
//	change of a ratio = (change of the upper speed - change of the lower one) / (1 + change of the lower one)
func (r *drawRun) disturb(s Scheme, i int) {
	if r.chain.Disturbance == nil {
		return
	}
	c, own := r.c, r.changeOf(s, i)
	out := Disturbed{SpeedChangePercent: own.Float(), FirstChangePercent: ratioChange(c, own, r.changeOf(s, 0)).Float()}
	if i > 0 {
		change := ratioChange(c, own, r.changeOf(s, i-1))
		out.DrawChangePercent = scaling.Some(change.Float())
		if r.ok[s][i] && r.ok[s][i-1] {
			factor := c.Int(1).Add(change.Quo(c.Int(100)))
			out.Percent = drawOf(c, r.rate[s][i].Quo(r.rate[s][i-1]).Mul(factor))
		}
	}
	r.out.Rolls[i].Follows[s].Disturbed = scaling.Some(out)
}

// ratioChange returns the change of a ratio, in percent as those of its two speeds.
func ratioChange(c *exact.Calc, upper, lower exact.Num) exact.Num {
	all := c.Int(100)
	return upper.Sub(lower).Mul(all).Quo(all.Add(lower))
}

// changeOf returns the change of the speed of roll i in percent: it follows where the
// disturbed roll is itself or one that it follows, at first or second hand.
func (r *drawRun) changeOf(s Scheme, i int) exact.Num {
	d := r.chain.Disturbance
	for r.chain.Rolls[i].DriveID != d.DriveID {
		if i == r.leader {
			return r.c.Int(0)
		}
		i = r.followed(s, i)
	}
	return r.c.Dec(d.SpeedChangePercent)
}

// total tells the draw over the whole chain.
func (r *drawRun) total() {
	last, c := len(r.out.Rolls)-1, r.c
	for s := range schemeNames {
		t := &r.out.Totals[s]
		if r.ok[s][0] && r.ok[s][last] {
			achieved := r.rate[s][last].Quo(r.rate[s][0])
			t.Percent, t.Ratio = drawOf(c, achieved), scaling.Some(achieved.Float())
			t.ErrorPercent = scaling.Some(percentOf(c, achieved.Quo(r.toLead[last].Quo(r.toLead[0])).Sub(c.Int(1))))
		}
		for i := range r.out.Rolls {
			if e := r.out.Rolls[i].Follows[s].ErrorPercent; e.Set && (!t.LargestErrorPercent.Set || math.Abs(e.Value) > t.LargestErrorPercent.Value) {
				t.LargestErrorPercent = scaling.Some(math.Abs(e.Value))
			}
		}
	}
}

// ripple finds what chordal action does to each draw: the faster of the roll against the
// slower of the one before, and the other way round, since nothing holds their teeth together.
//
//	low = (1 + low2) / (1 + high1) - 1        high = (1 + high2) / (1 + low1) - 1
//
// Source: see [scaling.ChordalOf]. Formula: draw-ripple/1.
func (r *drawRun) ripple() {
	for i := 1; i < len(r.out.Rolls); i++ {
		before, here := scaling.ChordalOf(r.out.Rolls[i-1].Drive), scaling.ChordalOf(r.out.Rolls[i].Drive)
		if !before.Set && !here.Set {
			continue
		}
		low1, high1, low2, high2 := before.Value.LowPercent, before.Value.HighPercent, here.Value.LowPercent, here.Value.HighPercent
		r.out.Rolls[i].Ripple = scaling.Some(Ripple{
			LowPercent:  (low2 - high1) / (100 + high1) * 100,
			HighPercent: (high2 - low1) / (100 + low1) * 100,
		})
	}
}
