package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// readoutValue returns what the readout shows, in its own unit, and whether that
// can be said: a time needs a section and a moving belt.
func (r *run) readoutValue(at Motion) (v exact.Num, ok bool) {
	c, s := r.c, &r.subject
	u := s.Drive.Readout.Unit
	switch shown := kindOf(u); {
	case shown == motorSpeed:
		return units.FromBase(c, at.Speed, u), true
	case shown == timeInSection:
		direction := c.Sign(at.Speed)
		if s.ReadoutSection == nil || direction == 0 {
			return exact.Num{}, false
		}
		// A time has no sign, whichever way the belt runs.
		time := magnitude(s.ReadoutSection.Length.Base(c).Quo(at.Rate), direction)
		return units.FromBase(c, time, u), true
	case !converts(s.Drive, s.Material, r.rel.kind, shown):
		return exact.Num{}, false
	default:
		return units.FromBase(c, convert(c, s.Drive, s.Material, at.Rate, r.rel.kind, shown), u), true
	}
}

// readoutText returns the text of value v on readout r, correctly rounded, ties
// away from zero, or cut off; ok is false where its digits do not suffice.
func readoutText(c *exact.Calc, r *Readout, v exact.Num) (text Text, ok bool) {
	n, ok := r.shown(c, v)
	if !ok {
		return Text{}, false
	}
	return fixedPoint(n, int(r.Decimals)), true
}

// shown returns what stands on readout r for value v, in units of its last digit;
// ok is false where its digits do not suffice.
func (r *Readout) shown(c *exact.Calc, v exact.Num) (n int64, ok bool) {
	n, ok = r.lastDigits(c, v)
	return n, ok && n < powersOfTen[r.Digits] && n > -powersOfTen[r.Digits]
}

// lastDigits is shown for a display that is wide enough.
func (r *Readout) lastDigits(c *exact.Calc, v exact.Num) (n int64, ok bool) {
	v = v.Mul(c.Int(powersOfTen[r.Decimals]))
	switch {
	case !r.Truncates:
		return c.Round(v)
	case c.Sign(v) < 0:
		return c.Ceil(v)
	}
	return c.Floor(v)
}

// decimalsThatFit returns the most decimals with which r's digits hold all of
// values; none is below zero.
func (r *Readout) decimalsThatFit(c *exact.Calc, values ...exact.Num) Optional[int32] {
	with := *r
	for with.Decimals = r.Digits - 1; with.Decimals >= 0; with.Decimals-- {
		fits := true
		for _, v := range values {
			_, ok := with.shown(c, v)
			fits = fits && ok
		}
		if fits {
			return Some(with.Decimals)
		}
	}
	return Optional[int32]{}
}

// powersOfTen serves up to the nine digits that a readout may have.
var powersOfTen = [...]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// Text is what stands on a readout, character by character; nothing where it is
// zero. It is a value of its own, so that finding it leaves the heap alone.
type Text struct {
	chars  [mostDigits + 2]byte // the point and the sign
	length uint8
}

// String returns the text.
func (t Text) String() string { return string(t.chars[:t.length]) }

// fixedPoint writes n / 10^decimals with all its decimals; n has at most as many
// digits as a readout may have.
func fixedPoint(n int64, decimals int) Text {
	var buf [mostDigits + 2]byte
	at := len(buf)
	put := func(b byte) {
		at--
		buf[at] = b
	}
	for rest, i := max(n, -n), 0; rest > 0 || i <= decimals; i++ {
		if i == decimals && i > 0 {
			put('.')
		}
		put('0' + byte(rest%10))
		rest /= 10
	}
	if n < 0 {
		put('-')
	}
	var t Text
	t.length = uint8(copy(t.chars[:], buf[at:]))
	return t
}
