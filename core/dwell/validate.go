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

// mostTransitionPieces bounds the pieces of a transition that are counted.
const mostTransitionPieces = 1_000_000

// Validate adds to faults everything that is wrong with t. Its fields are those of
// the request itself.
func (t *Transition) Validate(faults *fault.List) {
	before := len(*faults)
	positive(t.Length, "length", units.LengthDim, faults)
	positive(t.From, "from", units.SpeedDim, faults)
	positive(t.To, "to", units.SpeedDim, faults)
	if t.Ramp.Unit == nil {
		at := fault.Root("ramp")
		faults.Add(&at, fault.Required, "is needed: the time in which the speed changes, such as 10 s; 0 s for a step")
	}
	zeroOrMore(t.Ramp, "ramp", units.TimeDim, faults)
	positive(t.Pitch, "pitch", units.LengthDim, faults)
	zeroOrMore(t.FirstPiece, "firstPiece", units.LengthDim, faults)
	t.Piece.validate(faults)
	if t.Feed == NoFeed {
		at := fault.Root("feed")
		faults.Add(&at, fault.Required, "is needed: CONSTANT_PITCH, where the feed keeps step with the belt, or CONSTANT_RATE, where it keeps its own time")
	}
	tolerance := fault.Root("tolerancePercent")
	if p := t.TolerancePercent; !(p == 0 || p >= leastBase && p <= 100) {
		faults.Add(&tolerance, fault.OutOfRange, "is %v; it must be 0 to 100 percent", p)
	}
	if len(*faults) == before {
		t.validateTogether(faults)
	}
}

func positive(q units.Quantity, field string, dim units.Dimension, faults *fault.List) {
	if scaling.ValidatePositive(q, nil, faults, field, dim) {
		inBounds(q, field, faults)
	}
}

func zeroOrMore(q units.Quantity, field string, dim units.Dimension, faults *fault.List) {
	if scaling.ValidateZeroOrMore(q, nil, faults, field, dim) && q.Unit != nil && q.Value != 0 {
		inBounds(q, field, faults)
	}
}

func inBounds(q units.Quantity, field string, faults *fault.List) {
	c := new(exact.Calc)
	base := q.Base(c).Float()
	if base >= leastBase && base <= mostBase {
		return
	}
	root := fault.Root(field)
	at := root.Field("value")
	low, high := units.FromBase(c, c.Dec(leastBase), q.Unit).Float(), units.FromBase(c, c.Dec(mostBase), q.Unit).Float()
	faults.Add(&at, fault.OutOfRange, "is %v; it must be %.3g to %.3g %s", q.Value, low, high, q.Unit.Symbol())
}

func (p *Piece) validate(faults *fault.List) {
	root := fault.Root("piece")
	switch {
	case p.Length.Unit != nil:
		scaling.ValidatePositive(p.Length, &root, faults, "length", units.LengthDim)
	case p.Meaning == WholePiece || p.Meaning == AnyPart:
		at := root.Field("length")
		faults.Add(&at, fault.Required, "is needed: the time is that of a whole piece, or of any part of it, in the section")
	}
	if p.Meaning == NoMeaning {
		at := root.Field("meaning")
		faults.Add(&at, fault.Required, "is needed: POINT, WHOLE_PIECE or ANY_PART")
	}
}

// validateTogether judges the fields against each other; each is sound by itself.
func (t *Transition) validateTogether(faults *fault.List) {
	if t.FirstPiece.Unit != nil && !isLess(t.FirstPiece, t.Pitch) {
		root := fault.Root("firstPiece")
		at := root.Field("value")
		faults.Add(&at, fault.OutOfRange, "is %v %s, not below the pitch: a newer piece would lie behind it; give the newest", t.FirstPiece.Value, t.FirstPiece.Unit.Symbol())
	}
	if t.Piece.Length.Unit != nil {
		t.validatePiece(faults)
	}
	if len(*faults) == 0 && (t.outgoing() > mostTransitionPieces || t.inRamp() > mostTransitionPieces) {
		at := fault.Root("pitch")
		faults.Add(&at, fault.TooMany, "puts more than %d pieces into the section or its ramp; give a longer pitch", mostTransitionPieces)
	}
}

func (t *Transition) validatePiece(faults *fault.List) {
	piece := t.Piece.Length
	if t.Piece.Meaning == WholePiece && !isLess(piece, t.Length) {
		root := fault.Root("piece")
		at := root.Field("length")
		faults.Add(&at, fault.OutOfRange, "is %v %s, and the section %v %s: the piece is never wholly inside; give a shorter piece, or the meaning POINT or ANY_PART",
			piece.Value, piece.Unit.Symbol(), t.Length.Value, t.Length.Unit.Symbol())
	}
	if isLess(t.Pitch, piece) {
		at := fault.Root("pitch")
		faults.Add(&at, fault.OutOfRange, "is %v %s, shorter than a piece of %v %s: the pieces would overlap; a pitch is from leading edge to leading edge",
			t.Pitch.Value, t.Pitch.Unit.Symbol(), piece.Value, piece.Unit.Symbol())
		return
	}
	if t.Feed == ConstantRate && scaling.Certain(t.crowds) {
		at := fault.Root("feed")
		faults.Add(&at, fault.Conflict, "is CONSTANT_RATE: at the speed to the pieces would lie pitch * to / from apart, less than a piece of %v %s, and overlap; use CONSTANT_PITCH, or slow the feed down",
			piece.Value, piece.Unit.Symbol())
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
