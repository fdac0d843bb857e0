package fraction

import (
	"math"

	"linepace.example/core/exact"
)

// quotient returns the best a/b.
func (s *search) quotient() Pair {
	if s.narrow() {
		return s.narrowQuotient()
	}
	sides := certain(func(c *exact.Calc) [2]Pair { return around(c, s.middle(c), &s.bounds) })
	m := s.bounds.minimum()
	return s.choose(sides[0].atLeast(m), sides[1].atLeast(m))
}

// around returns the greatest fraction not above t and the least not below t of
// those whose terms lie within the maxima, in lowest terms; none is a zero Pair.
//
// It descends the Stern-Brocot tree from 0/1 and 1/0, by whole runs to one side,
// whose lengths are the partial quotients of t's continued fraction. Every fraction
// strictly between the two ends has terms at least as great as the sums of theirs,
// so none is left when those leave the bounds.
func around(c *exact.Calc, t exact.Num, b *Bounds) [2]Pair {
	below, above := Pair{0, 1}, Pair{1, 0}
	for !c.Undecided() { // else this evaluation is void
		short, over := t.Mul(c.Int(below.Denominator)).Sub(c.Int(below.Numerator)), c.Int(above.Numerator).Sub(t.Mul(c.Int(above.Denominator)))
		right := b.run(c, short, over, below, above)
		below = below.plus(right, above)
		if short = t.Mul(c.Int(below.Denominator)).Sub(c.Int(below.Numerator)); c.Sign(short) == 0 {
			return [2]Pair{below, below}
		}
		left := b.run(c, over, short, above, below)
		above = above.plus(left, below)
		if over = c.Int(above.Numerator).Sub(t.Mul(c.Int(above.Denominator))); c.Sign(over) == 0 {
			return [2]Pair{above, above}
		}
		if right == 0 && left == 0 {
			break
		}
	}
	if below.Numerator == 0 {
		below = Pair{}
	}
	if above.Denominator == 0 {
		above = Pair{}
	}
	return [2]Pair{below, above}
}

// run returns how many times step can be added to from: as often as the quotient
// of their distances from the target allows, and the bounds.
func (b *Bounds) run(c *exact.Calc, distance, perStep exact.Num, from, step Pair) int64 {
	most := int64(math.MaxInt64)
	if step.Numerator > 0 {
		most = (b.MaxNumerator - from.Numerator) / step.Numerator
	}
	if step.Denominator > 0 {
		most = min(most, (b.MaxDenominator-from.Denominator)/step.Denominator)
	}
	if most <= 0 {
		return 0
	}
	if n, ok := c.Floor(distance.Quo(perStep)); ok {
		return min(most, n)
	}
	return most
}

func (p Pair) plus(n int64, step Pair) Pair {
	return Pair{p.Numerator + n*step.Numerator, p.Denominator + n*step.Denominator}
}

// atLeast returns the least multiple of p whose terms are both m or more.
func (p Pair) atLeast(m int64) Pair {
	if p == (Pair{}) {
		return p
	}
	k := (m + min(p.Numerator, p.Denominator) - 1) / min(p.Numerator, p.Denominator)
	return Pair{k * p.Numerator, k * p.Denominator}
}

// narrow reports whether the minimum may keep a fraction in lowest terms from
// having a multiple within the bounds. With m the minimum, A and B the maxima and
// t < 1, a fraction next to t has such a multiple wherever min(A, t*B) >= 4*m: take
// the greatest that lies within the maxima; then its numerator is above A/2, or
// its denominator is above B/2 while it is itself 2*m/B or more. For t > 1 the same
// holds of its reciprocal.
func (s *search) narrow() bool {
	m := s.bounds.minimum()
	return m > 1 && s.smallerTerms() < 5*float64(m)
}

// smallerTerms is about how many values the smaller of the two terms may have.
func (s *search) smallerTerms() float64 {
	t := s.middle(new(exact.Calc)).Float()
	a, b := float64(s.bounds.MaxNumerator), float64(s.bounds.MaxDenominator)
	if t < 1 {
		return min(a, t*b)
	}
	return min(b, a/t)
}

// narrowQuotient tries every value of the smaller term, of which there are few.
func (s *search) narrowQuotient() (best Pair) {
	m := s.bounds.minimum()
	last := max(m, int64(s.smallerTerms())+1)
	inverse := certain(func(c *exact.Calc) bool { return c.Cmp(s.middle(c), c.Int(1)) < 0 })
	for smaller := m; smaller <= last; smaller++ {
		greater := certain(func(c *exact.Calc) int64 {
			x := s.middle(c)
			if inverse {
				x = c.Int(1).Quo(x)
			}
			n, _ := c.Floor(x.Mul(c.Int(smaller)))
			return n
		})
		for _, n := range [...]int64{greater, greater + 1} {
			p := Pair{n, smaller}
			if inverse {
				p = Pair{smaller, n}
			}
			best = s.choose(best, s.bounds.within(p))
		}
	}
	return best
}

// within returns p with its terms moved to the nearest end of the bounds.
func (b *Bounds) within(p Pair) Pair {
	m := b.minimum()
	return Pair{min(max(p.Numerator, m), b.MaxNumerator), min(max(p.Denominator, m), b.MaxDenominator)}
}
