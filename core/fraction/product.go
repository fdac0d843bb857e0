package fraction

import (
	"math"

	"linepace.example/core/exact"
)

// product returns the best a*b.
//
// It tries every value of the smaller factor up to the root of the target: two
// factors that are both greater make a product beyond that of two at the root. For
// each the other factor is one of the two integers next to target / factor.
func (s *search) product() Pair {
	whole := certain(func(c *exact.Calc) int64 { n, _ := c.Floor(s.middle(c)); return n })
	b, m := &s.bounds, s.bounds.minimum()
	var sides nearest
	last := max(m, int64(math.Sqrt(float64(whole)))+1)
	for factor := m; factor <= last; factor++ {
		other := whole / factor
		if factor <= b.MaxDenominator {
			for _, n := range [...]int64{min(other, b.MaxNumerator), max(other+1, m)} {
				sides.take(b, whole, Pair{n, factor})
			}
		}
		if factor <= b.MaxNumerator {
			for _, n := range [...]int64{min(other, b.MaxDenominator), max(other+1, m)} {
				sides.take(b, whole, Pair{factor, n})
			}
		}
	}
	return s.choose(sides.below, sides.above)
}

// nearest holds the pairs with the greatest product not above, and the least above,
// the target's whole part.
type nearest struct{ below, above Pair }

func (n *nearest) take(b *Bounds, whole int64, p Pair) {
	if p != b.within(p) {
		return
	}
	product := p.Numerator * p.Denominator
	side, held := &n.below, n.below.Numerator*n.below.Denominator
	closer := product > held
	if product > whole {
		side, held = &n.above, n.above.Numerator*n.above.Denominator
		closer = held == 0 || product < held
	}
	if closer || product == held && b.before(p, *side) {
		*side = p
	}
}
