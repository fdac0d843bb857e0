package scaling

import (
	"strconv"

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
		if s.ReadoutSection == nil || c.Sign(at.Speed) == 0 {
			return exact.Num{}, false
		}
		return units.FromBase(c, s.ReadoutSection.Length.Base(c).Quo(at.Rate), u), true
	case !converts(s.Drive, s.Material, r.rel.kind, shown):
		return exact.Num{}, false
	default:
		return units.FromBase(c, convert(c, s.Drive, s.Material, at.Rate, r.rel.kind, shown), u), true
	}
}

// readoutText returns the text of value v on readout r, correctly rounded, ties
// away from zero; ok is false where its digits do not suffice.
func readoutText(c *exact.Calc, r *Readout, v exact.Num) (text string, ok bool) {
	n, ok := c.Round(v.Mul(c.Int(powersOfTen[r.Decimals])))
	if !ok || n >= powersOfTen[r.Digits] || n <= -powersOfTen[r.Digits] {
		return "", false
	}
	return fixedPoint(n, int(r.Decimals)), true
}

// powersOfTen serves up to the nine digits that a readout may have.
var powersOfTen = [...]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// fixedPoint writes n / 10^decimals with all its decimals.
func fixedPoint(n int64, decimals int) string {
	var buf [24]byte
	b := strconv.AppendInt(buf[:0], max(n, -n), 10)
	for len(b) <= decimals {
		b = append([]byte{'0'}, b...)
	}
	if decimals > 0 {
		point := len(b) - decimals
		b = append(b, 0)
		copy(b[point+1:], b[point:])
		b[point] = '.'
	}
	if n < 0 {
		return "-" + string(b)
	}
	return string(b)
}
