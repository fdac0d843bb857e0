package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Certain evaluates a formula and, where float64 could not decide one of its
// decisions, evaluates it again exactly.
func Certain[T any](formula func(c *exact.Calc) T) T {
	c := new(exact.Calc)
	out := formula(c)
	if c.Undecided() {
		return formula(exact.NewExact())
	}
	return out
}

// sameQuantity reports whether a and b, of one dimension, are exactly equal.
func sameQuantity(a, b units.Quantity) bool {
	if a.Unit == b.Unit {
		return a.Value == b.Value // different float64 values have different decimals
	}
	return Certain(func(c *exact.Calc) int { return c.Cmp(a.Base(c), b.Base(c)) }) == 0
}
