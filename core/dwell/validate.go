package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Bounds of what a transition takes, in metres and minutes. They are far beyond
// any plant, and narrow enough that no product of a decision leaves the domain of
// [exact.Num].
const (
	leastBase = 1e-9
	mostBase  = 1e9
)

// mostTransitionPieces bounds the pieces of a transition that are counted, and
// mostSeriesPieces those over several sections, which are found one by one: some tenths
// of a second.
const (
	mostTransitionPieces = 1_000_000
	mostSeriesPieces     = 100_000
)

// Validate adds to faults everything that is wrong with t, whose path is p; nil where
// its fields are those of the request itself.
func (t *Transition) Validate(p *fault.Path, faults *fault.List) {
	positive(t.Length, p, "length", units.LengthDim, faults)
	positive(t.From, p, "from", units.SpeedDim, faults)
	positive(t.To, p, "to", units.SpeedDim, faults)
	list := p.Field("following")
	for i := range t.Following {
		at, f := list.Index(i), &t.Following[i]
		positive(f.Length, &at, "length", units.LengthDim, faults)
		positive(f.From, &at, "from", units.SpeedDim, faults)
		positive(f.To, &at, "to", units.SpeedDim, faults)
	}
	t.ValidateChange(p, faults)
	t.Piece.validate(p, faults)
	if t.Dose != nil {
		t.Dose.validate(t, p, faults)
	}
	if len(*faults) == 0 { // a unit that cannot be read has its fault already
		t.ValidateTogether(p, faults)
	}
}

// ValidateChange is the part of [Transition.Validate] that judges everything but
// the sections, their speeds and the piece.
func (t *Transition) ValidateChange(p *fault.Path, faults *fault.List) {
	if t.Ramp.Unit == nil {
		at := p.Field("ramp")
		faults.Add(&at, fault.Required, "is needed: the time in which the speed changes, such as 10 s; 0 s for a step")
	}
	zeroOrMore(t.Ramp, p, "ramp", units.TimeDim, faults)
	positive(t.Pitch, p, "pitch", units.LengthDim, faults)
	zeroOrMore(t.FirstPiece, p, "firstPiece", units.LengthDim, faults)
	if t.Feed == NoFeed {
		at := p.Field("feed")
		faults.Add(&at, fault.Required, "is needed: CONSTANT_PITCH, where the feed keeps step with the belt, or CONSTANT_RATE, where it keeps its own time")
	}
	if v := t.TolerancePercent; !(v == 0 || v >= leastBase && v <= 100) {
		at := p.Field("tolerancePercent")
		faults.Add(&at, fault.OutOfRange, "is %v; it must be 0 to 100 percent", v)
	}
	if t.Cost != nil {
		t.Cost.validate(p, faults)
	}
}

func positive(q units.Quantity, p *fault.Path, field string, dim units.Dimension, faults *fault.List) {
	if scaling.ValidatePositive(q, p, faults, field, dim) {
		inBounds(q, p, field, faults)
	}
}

func zeroOrMore(q units.Quantity, p *fault.Path, field string, dim units.Dimension, faults *fault.List) {
	if scaling.ValidateZeroOrMore(q, p, faults, field, dim) && q.Unit != nil && q.Value != 0 {
		inBounds(q, p, field, faults)
	}
}

func inBounds(q units.Quantity, p *fault.Path, field string, faults *fault.List) {
	c := new(exact.Calc)
	base := q.Base(c).Float()
	if base >= leastBase && base <= mostBase {
		return
	}
	of := p.Field(field)
	at := of.Field("value")
	low, high := units.FromBase(c, c.Dec(leastBase), q.Unit).Float(), units.FromBase(c, c.Dec(mostBase), q.Unit).Float()
	faults.Add(&at, fault.OutOfRange, "is %v; it must be %.3g to %.3g %s", q.Value, low, high, q.Unit.Symbol())
}

func (piece *Piece) validate(p *fault.Path, faults *fault.List) {
	root := p.Field("piece")
	switch {
	case piece.Length.Unit != nil:
		scaling.ValidatePositive(piece.Length, &root, faults, "length", units.LengthDim)
	case piece.Meaning == WholePiece || piece.Meaning == AnyPart:
		at := root.Field("length")
		faults.Add(&at, fault.Required, "is needed: the time is that of a whole piece, or of any part of it, in the section")
	}
	if piece.Meaning == NoMeaning {
		at := root.Field("meaning")
		faults.Add(&at, fault.Required, "is needed: POINT, WHOLE_PIECE or ANY_PART")
	}
}

// ValidateTogether judges the fields against each other; each is sound by itself.
func (t *Transition) ValidateTogether(p *fault.Path, faults *fault.List) {
	before := len(*faults)
	if t.FirstPiece.Unit != nil && !isLess(t.FirstPiece, t.Pitch) {
		root := p.Field("firstPiece")
		at := root.Field("value")
		faults.Add(&at, fault.OutOfRange, "is %v %s, not below the pitch: a newer piece would lie behind it; give the newest", t.FirstPiece.Value, t.FirstPiece.Unit.Symbol())
	}
	if t.Piece.Length.Unit != nil {
		t.validatePiece(p, faults)
	}
	if len(*faults) > before {
		return
	}
	outgoing, inRamp, most := t.outgoing, t.inRamp, mostTransitionPieces
	if len(t.Following) > 0 {
		j := t.journey()
		outgoing, inRamp, most = j.outgoingCount, j.inRampCount, mostSeriesPieces
	}
	if outgoing() > most || inRamp() > most {
		at := p.Field("pitch")
		faults.Add(&at, fault.TooMany, "puts more than %d pieces into the section or its ramp; give a longer pitch", most)
	}
}

func (t *Transition) validatePiece(p *fault.Path, faults *fault.List) {
	piece := t.Piece.Length
	if t.Piece.Meaning == WholePiece && !t.holdsWhole() {
		root := p.Field("piece")
		at := root.Field("length")
		faults.Add(&at, fault.OutOfRange, "is %v %s, and the section %v %s: the piece is never wholly inside; give a shorter piece, or the meaning POINT or ANY_PART",
			piece.Value, piece.Unit.Symbol(), t.Length.Value, t.Length.Unit.Symbol())
	}
	if isLess(t.Pitch, piece) {
		at := p.Field("pitch")
		faults.Add(&at, fault.OutOfRange, "is %v %s, shorter than a piece of %v %s: the pieces would overlap; a pitch is from leading edge to leading edge",
			t.Pitch.Value, t.Pitch.Unit.Symbol(), piece.Value, piece.Unit.Symbol())
		return
	}
	if t.Feed == ConstantRate && scaling.Certain(t.crowds) {
		at := p.Field("feed")
		faults.Add(&at, fault.Conflict, "is CONSTANT_RATE: at the speed to the pieces would lie pitch * to / from apart, less than a piece of %v %s, and overlap; use CONSTANT_PITCH, or slow the feed down",
			piece.Value, piece.Unit.Symbol())
		return
	}
	t.validateTransfers(p, faults)
}

// holdsWhole reports whether the piece is shorter than the sections together.
func (t *Transition) holdsWhole() bool {
	return scaling.Certain(func(c *exact.Calc) bool {
		sum := t.Length.Base(c)
		for i := range t.Following {
			sum = sum.Add(t.Following[i].Length.Base(c))
		}
		return c.Cmp(t.Piece.size(c), sum) < 0
	})
}

// validateTransfers demands that at the steady speeds pieces do not overlap on any
// section: at a transfer the pitch follows the ratio of the speeds.
func (t *Transition) validateTransfers(p *fault.Path, faults *fault.List) {
	list := p.Field("following")
	overlap := func(of, first units.Quantity) bool {
		return scaling.Certain(func(c *exact.Calc) bool {
			return c.Cmp(t.Pitch.Base(c).Mul(of.Base(c)).Quo(first.Base(c)), t.Piece.size(c)) < 0
		})
	}
	for i := range t.Following {
		f := &t.Following[i]
		after := t.To
		if t.Feed == ConstantRate {
			after = t.From // the rate of pieces stays
		}
		at := list.Index(i)
		if overlap(f.From, t.From) {
			field := at.Field("from")
			faults.Add(&field, fault.Conflict, "is so slow beside the first section that the pieces would overlap here; give a longer pitch")
		}
		if overlap(f.To, after) {
			field := at.Field("to")
			faults.Add(&field, fault.Conflict, "is so slow beside the first section that the pieces would overlap here; give a longer pitch")
		}
	}
}

// crowds reports whether a feed that keeps its rate puts pieces onto each other at
// the new speed.
func (t *Transition) crowds(c *exact.Calc) bool {
	apart := t.Pitch.Base(c).Mul(t.To.Base(c)).Quo(t.From.Base(c))
	return c.Cmp(apart, t.Piece.size(c)) < 0
}

func isLess(a, b units.Quantity) bool {
	return scaling.Certain(func(c *exact.Calc) bool { return c.Cmp(a.Base(c), b.Base(c)) < 0 })
}
