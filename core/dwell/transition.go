package dwell

import (
	"math"
	"sort"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Transition is a change of a section's speed while pieces lie on it. [Transition.Validate]
// checks one; every other method takes only those that passed it.
//
// At time 0 the speed begins to go linearly From one To the other, and takes Ramp
// for it; a Ramp of 0 is a step. Pieces lie Pitch apart, leading edge to leading
// edge, and the newest has its leading edge FirstPiece behind the entrance.
//
// Outgoing pieces are those whose time is still being counted, or is yet to be,
// when they are on the belt at time 0; what they ought to get is the way of
// [Meaning] at the speed From. Every later piece is incoming and ought to get the
// same way at the speed To.
type Transition struct {
	Length           units.Quantity // of the section
	From, To         units.Quantity // speeds
	Ramp             units.Quantity // time, 0 or more
	Pitch            units.Quantity
	FirstPiece       units.Quantity // 0 or more and below Pitch; a nil Unit means 0
	Piece            Piece
	Feed             Feed
	TolerancePercent float64    // either way of the time that a piece ought to get
	Following        []Stretch  // the sections behind the first, in order of travel; the ramp is that of all
	Cost             *Cost      // nil: the policies are not weighed
	Dose             *AlongDose // nil: no dose is asked for
}

// Feed says what places pieces on the belt.
type Feed uint8

// Feeds. While it is stopped nothing enters; after a stop the first piece enters as
// soon as the feed runs again, but no sooner than it would have without the stop,
// and the others follow it as ever.
//
//	ConstantPitch  the feed keeps step with the belt: the next piece enters when the
//	               belt has moved by Pitch, whatever its speed
//	ConstantRate   the feed keeps its own time: the next piece enters Pitch / From
//	               after the last, and pieces then lie Pitch * To / From apart
const (
	NoFeed Feed = iota
	ConstantPitch
	ConstantRate
)

// PolicyName names a way to carry out a transition.
type PolicyName uint8

// Policies.
const (
	NoPolicy     PolicyName = iota
	OnTheFly                // the feed runs on
	HoldForRamp             // the feed is stopped from time 0 to the end of the ramp
	ClearFirst              // the feed stops at time 0, the belt runs clear at the old speed, then the ramp, then the feed
	ShortestHold            // the feed is stopped from time 0 for the least time with which every piece is within its tolerance
)

// Policy is what a policy does to the pieces.
type Policy struct {
	Name PolicyName
	// Possible is false only for ShortestHold, where an outgoing piece leaves its
	// tolerance: it is on the belt already, so no stop of the feed helps it.
	Possible    bool
	FeedStopped units.Quantity // the rest is absent where not possible
	OutgoingOut int            // outgoing pieces out of tolerance; given in any case
	IncomingOut int            // incoming pieces out of tolerance
	Shortest    units.Quantity // time of the piece that gets least, of all pieces, those at the steady new speed too
	Longest     units.Quantity
	// ForIncoming is, where not possible, the least stop with which every incoming
	// piece is within its tolerance.
	ForIncoming units.Quantity
	Cost        float64 // where costs are given, and possible
	// DoseLeast and DoseMost are the doses of the pieces that get least and most, where
	// asked for and possible.
	DoseLeast, DoseMost units.Quantity
}

// Outcome is what a transition does under each policy.
type Outcome struct {
	OutgoingTarget units.Quantity // time that an outgoing piece ought to get
	IncomingTarget units.Quantity
	Outgoing       int            // outgoing pieces
	InRamp         int            // pieces that enter on the fly before the belt has its new speed
	RampTravel     units.Quantity // of the belt during the ramp
	Policies       [4]Policy
	Cheapest       PolicyName // where costs are given
}

// Outcome compares the policies. Times are in the unit of Ramp, lengths in that of
// Length.
//
// Along the belt the time that a piece gets changes in one direction only, from
// way/From of a piece that leaves before the ramp to way/To of one that enters after
// it: a belt that only speeds up carries each piece faster than the one before. So
// the pieces out of tolerance are the newest of the outgoing and the first of the
// incoming ones, and a search by halves counts every piece. Whether a piece is out
// of tolerance is decided without rounding, and the bounds belong to the tolerance:
// a piece that gets just what it ought to is within a tolerance of 0.
//
// Formula: transition/1; transition-series/1 where several sections follow each other.
func (t *Transition) Outcome() Outcome {
	out := t.outcome()
	if t.Cost != nil {
		t.Cost.weigh(&out)
	}
	if t.Dose != nil {
		t.addDoses(&out)
	}
	return out
}

func (t *Transition) outcome() Outcome {
	if len(t.Following) > 0 {
		return t.seriesOutcome()
	}
	c := new(exact.Calc)
	l := t.lay(c)
	out := Outcome{
		OutgoingTarget: t.time(c, l.way.Quo(l.v0)),
		IncomingTarget: t.time(c, l.way.Quo(l.v1)),
		Outgoing:       t.outgoing(),
		InRamp:         t.inRamp(),
		RampTravel:     units.Quantity{Value: units.FromBase(c, l.all, t.Length.Unit).Float(), Unit: t.Length.Unit},
	}
	outgoingOut := sort.Search(out.Outgoing, func(k int) bool { return t.outgoingWithin(k) })
	incomingOut := sort.Search(out.InRamp, func(k int) bool { return t.incomingWithin(k + 1) })

	steady := l.dwell(l.all)
	outgoing := newSpan(steady)
	if out.Outgoing > 0 {
		outgoing.add(l.dwell(l.outgoing(0)))
		outgoing.add(l.dwell(l.outgoing(out.Outgoing - 1)))
	}
	fly := outgoing
	fly.add(l.dwell(l.incoming(1)))
	out.Policies[0] = Policy{Name: OnTheFly, Possible: true, OutgoingOut: outgoingOut, IncomingOut: incomingOut}.with(t, 0, fly)
	out.Policies[1] = Policy{Name: HoldForRamp, Possible: true, OutgoingOut: outgoingOut}.with(t, t.Ramp.Value, outgoing)

	clear := newSpan(steady)
	if out.Outgoing > 0 {
		clear.add(out.OutgoingTarget.Value)
	}
	out.Policies[2] = Policy{Name: ClearFirst, Possible: true}.with(t, t.time(c, l.clear().Add(t.Ramp.Base(c))).Value, clear)

	hold, held := 0.0, fly
	if incomingOut > 0 {
		hold = t.shortestHold(l)
		held = outgoing
		held.add(l.dwell(l.enteredAt(t.held(c, hold))))
	}
	if outgoingOut == 0 {
		out.Policies[3] = Policy{Name: ShortestHold, Possible: true}.with(t, hold, held)
	} else {
		out.Policies[3] = Policy{Name: ShortestHold, OutgoingOut: outgoingOut, ForIncoming: units.Quantity{Value: hold, Unit: t.Ramp.Unit}}
	}
	return out
}

// with returns p with its stop and the span of its pieces' times, in the unit of Ramp.
func (p Policy) with(t *Transition, stopped float64, s span) Policy {
	in := t.Ramp.Unit
	p.FeedStopped = units.Quantity{Value: stopped, Unit: in}
	p.Shortest, p.Longest = units.Quantity{Value: s.least, Unit: in}, units.Quantity{Value: s.most, Unit: in}
	return p
}

// span is the least and the most of some times.
type span struct{ least, most float64 }

func newSpan(v float64) span { return span{v, v} }

func (s *span) add(v float64) { s.least, s.most = min(s.least, v), max(s.most, v) }

// time returns n minutes in the unit of Ramp.
func (t *Transition) time(c *exact.Calc, n exact.Num) units.Quantity {
	return units.Quantity{Value: units.FromBase(c, n, t.Ramp.Unit).Float(), Unit: t.Ramp.Unit}
}

// layout is a transition in base units, for one evaluation.
type layout struct {
	*ramp
	motion      motion
	begin       exact.Num // position of the leading edge at which counting begins
	way         exact.Num // travel while a piece's time is counted
	pitch       exact.Num
	first       exact.Num // position of the newest piece at time 0
	size        exact.Num // of a piece
	length      exact.Num
	feed        Feed
	least, most exact.Num // parts of what a piece ought to get that are tolerated
}

func (t *Transition) lay(c *exact.Calc) *layout {
	l := &layout{
		ramp:   newRamp(c, t.From.Base(c), t.To.Base(c), t.Ramp.Base(c)),
		begin:  t.Piece.begins(c),
		way:    t.Piece.way(c, t.Length.Base(c)),
		pitch:  t.Pitch.Base(c),
		first:  c.Int(0),
		size:   t.Piece.size(c),
		length: t.Length.Base(c),
		feed:   t.Feed,
		least:  c.Int(1).Sub(c.Percent(t.TolerancePercent)),
		most:   c.Int(1).Add(c.Percent(t.TolerancePercent)),
	}
	if t.FirstPiece.Unit != nil {
		l.first = t.FirstPiece.Base(c)
	}
	l.motion = l.ramp.float(t.Ramp.Unit)
	return l
}

// outgoing returns the belt's travel at which counting begins for outgoing piece k,
// the newest being piece 0.
func (l *layout) outgoing(k int) exact.Num {
	return l.begin.Sub(l.first).Sub(l.c.Int(int64(k)).Mul(l.pitch))
}

// incoming returns the same for incoming piece k, the first being piece 1, where
// the feed is not stopped.
func (l *layout) incoming(k int) exact.Num {
	behind := l.c.Int(int64(k)).Mul(l.pitch).Sub(l.first) // its way to the entrance at time 0
	if l.feed == ConstantRate {
		behind = l.travel(behind.Quo(l.v0))
	}
	return behind.Add(l.begin)
}

// enteredAt returns the same for a piece that enters at time t.
func (l *layout) enteredAt(t exact.Num) exact.Num { return l.travel(t).Add(l.begin) }

// clear returns the time that the newest piece needs at the old speed to leave the
// section with its trailing edge.
func (l *layout) clear() exact.Num {
	rest := l.length.Add(l.size).Sub(l.first)
	if l.c.Sign(rest) < 0 {
		return l.c.Int(0)
	}
	return rest.Quo(l.v0)
}

// dwell returns the time of a piece for which counting begins at travel s, in the
// unit of Ramp.
func (l *layout) dwell(s exact.Num) float64 { return l.motion.between(s.Float(), l.way.Float()) }

// within reports whether a piece for which counting begins at travel s gets
// what it ought to at speed v, within the tolerance.
func (l *layout) within(s, v exact.Num) bool {
	target := l.way.Quo(v)
	return l.reached(s, l.way, target.Mul(l.most)) >= 0 && l.reached(s, l.way, target.Mul(l.least)) <= 0
}

// outgoing counts the pieces that are not past the end of their way at time 0.
func (t *Transition) outgoing() int {
	return int(scaling.Certain(func(c *exact.Calc) int64 {
		l := t.lay(c)
		n, _ := c.Ceil(l.begin.Add(l.way).Sub(l.first).Quo(l.pitch))
		return max(n, 0)
	}))
}

// inRamp counts the pieces that enter on the fly after time 0 and before the
// belt has its new speed.
func (t *Transition) inRamp() int {
	return int(scaling.Certain(func(c *exact.Calc) int64 {
		l := t.lay(c)
		fed := l.all // travel, or what the feed believes it to be
		if t.Feed == ConstantRate {
			fed = l.time.Mul(l.v0)
		}
		n, _ := c.Ceil(fed.Add(l.first).Quo(l.pitch))
		return max(n-1, 0)
	}))
}

func (t *Transition) outgoingWithin(k int) bool {
	return scaling.Certain(func(c *exact.Calc) bool {
		l := t.lay(c)
		return l.within(l.outgoing(k), l.v0)
	})
}

func (t *Transition) incomingWithin(k int) bool {
	return scaling.Certain(func(c *exact.Calc) bool {
		l := t.lay(c)
		return l.within(l.incoming(k), l.v1)
	})
}

// held returns a stop in the unit of Ramp in base units.
func (t *Transition) held(c *exact.Calc, hold float64) exact.Num {
	return units.Quantity{Value: hold, Unit: t.Ramp.Unit}.Base(c)
}

// shortestHold returns the least stop of the feed, in the unit of Ramp, after which
// a piece that enters at once is within its tolerance: the closed form says where it
// is, and from just below it is moved up until the stop itself is proven. At the
// end of the ramp it always is.
func (t *Transition) shortestHold(l *layout) float64 {
	s := max(l.motion.travelOf(l.motion.earliest(l.way.Float(), t.TolerancePercent/100))-l.begin.Float(), 0)
	near := l.motion.between(0, s)
	digit := t.Ramp.Value * 0x1p-52
	hold := near
	for step := -8.0; ; step += max(1, math.Abs(step)) {
		hold = min(max(near+float64(step*digit), 0), t.Ramp.Value)
		if hold == t.Ramp.Value || t.enough(hold) {
			return hold
		}
	}
}

// enough reports whether a piece that enters when the feed has been stopped for
// that time, in the unit of Ramp, is within its tolerance.
func (t *Transition) enough(hold float64) bool {
	return scaling.Certain(func(c *exact.Calc) bool {
		l := t.lay(c)
		return l.within(l.enteredAt(t.held(c, hold)), l.v1)
	})
}
