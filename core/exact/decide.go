package exact

import "math"

// maxRound bounds what Round and Floor return: beyond it neighbouring float64
// values do not resolve halves with room to spare.
const maxRound = 0x1p51

// Cmp returns -1, 0 or +1 as a is less than, equal to or greater than b.
func (c *Calc) Cmp(a, b Num) int {
	if a.x != nil {
		return a.x.sub(b.x).sign()
	}
	d := a.v - b.v
	bound := (a.e + b.e + float64(unitRoundoff*math.Abs(d))) * widen
	switch {
	case d > bound:
		return 1
	case d < -bound:
		return -1
	case a.e == 0 && b.e == 0:
		return 0 // both exact, and their float64 difference is zero only if equal
	}
	c.undecided = true
	return sign(d)
}

// Sign returns -1, 0 or +1 as a is negative, zero or positive.
func (c *Calc) Sign(a Num) int { return c.Cmp(a, Num{x: a.zero()}) }

func (a Num) zero() *Real {
	if a.x == nil {
		return nil
	}
	return realZero
}

// tooLarge reports that a is beyond what Round and Floor accept, or so close to
// that limit that only exact mode can tell.
func (c *Calc) tooLarge(a Num) bool {
	if math.Abs(a.v)+1 < maxRound {
		return false
	}
	if !(math.Abs(a.v)-a.e >= maxRound) {
		c.undecided = true
	}
	return true
}

// Round returns the integer nearest to a, ties away from zero. ok is false, with
// n zero, where that integer is 2^51 or more in magnitude, which no register or
// display holds.
func (c *Calc) Round(a Num) (n int64, ok bool) {
	if a.x != nil {
		return a.x.round()
	}
	if c.tooLarge(a) {
		return 0, false
	}
	r := math.Round(a.v)
	// The distance to the nearest rounding boundary, n +/- 1/2; exact in float64
	// since r and a.v are within 1/2 of each other.
	room := 0.5 - math.Abs(a.v-r)
	if a.e != 0 && !(room > a.e) {
		c.undecided = true
	}
	return int64(r), true
}

// Floor returns the greatest integer not above a, with ok as for [Calc.Round].
func (c *Calc) Floor(a Num) (n int64, ok bool) {
	if a.x != nil {
		return a.x.floor()
	}
	if c.tooLarge(a) {
		return 0, false
	}
	f := math.Floor(a.v)
	below, above := a.v-f, f+1-a.v
	if a.e != 0 && !(below > a.e && above > a.e) {
		c.undecided = true
	}
	return int64(f), true
}

// Ceil returns the least integer not below a, with ok as for [Calc.Round].
func (c *Calc) Ceil(a Num) (n int64, ok bool) {
	n, ok = c.Floor(a.Neg())
	return -n, ok
}

func sign(d float64) int {
	switch {
	case d > 0:
		return 1
	case d < 0:
		return -1
	}
	return 0
}
