// Package fraction finds the two bounded integers that carry a number into a
// device: as a quotient a/b, or as a product a*b.
//
// The number is a formula over decimals and pi, and every comparison is decided
// exactly, so that the pair is the best there is and not one of several that
// float64 takes for the best. Of the pairs that are equally near, [Bounds.Prefer]
// decides, and then the smaller denominator, and then the smaller numerator.
package fraction

import (
	"errors"
	"fmt"

	"linepace.example/core/exact"
)

// Target is the number to be carried, above zero and below 2^50, as a formula that
// is evaluated in float64 and, where that does not decide, exactly.
type Target func(c *exact.Calc) exact.Num

// Decimal returns the target that is the shortest decimal which reads back to v.
func Decimal(v float64) Target { return func(c *exact.Calc) exact.Num { return c.Dec(v) } }

// Pair is two integers, each 1 or more.
type Pair struct{ Numerator, Denominator int64 }

// Form says what a device makes of a pair.
type Form uint8

// Forms.
const (
	NoForm       Form = iota
	Proportional      // numerator / denominator
	Reciprocal        // numerator * denominator
)

// Bounds are what a device takes.
type Bounds struct {
	MaxNumerator   int64 // 1 to MaxTerm
	MaxDenominator int64 // 1 to MaxTerm
	Minimum        int64 // of both, 1 to MaxMinimum and not above either maximum; 0 means 1
	// Prefer, where it is not nil, says which of two equally near pairs is taken: one
	// for which it is true before one for which it is not.
	Prefer func(Pair) bool
}

// Limits of what is taken.
const (
	MaxTerm    = 1<<31 - 1
	MaxMinimum = 10000
	// MaxProduct keeps the search for a product, which is as long as its root, short.
	MaxProduct = 1e12
)

// ErrBounds says that no pair lies within the bounds.
var ErrBounds = errors.New("core/fraction: bounds that no pair meets")

// OutOfReachError says that the target lies so far outside of what the bounds
// reach that no pair stands for it: at most half of the least, or at least twice
// the greatest. A ratio that rounds to zero is no ratio.
type OutOfReachError struct {
	Least, Greatest float64 // what the bounds reach
	Small           bool    // the target is too small
}

func (e *OutOfReachError) Error() string {
	side := "large"
	if e.Small {
		side = "small"
	}
	return fmt.Sprintf("core/fraction: the target is too %s for bounds that reach from %g to %g", side, e.Least, e.Greatest)
}

// Best returns the pair within b whose value lies nearest to t. It fails with
// [ErrBounds], or with an [OutOfReachError].
//
// PROPORTIONAL: the last two of the Stern-Brocot tree's fractions around t whose
// terms lie within the bounds (continued fractions with semiconvergents; Graham,
// Knuth, Patashnik, Concrete Mathematics, section 4.5). RECIPROCAL: a search over
// the smaller factor.
func Best(form Form, t Target, b Bounds) (Pair, error) {
	return LeastWorst(form, []Target{t}, b)
}

// LeastWorst returns the pair within b whose greatest relative error against the
// targets is least. With x the pair's value,
//
//	worst(x) = max(x / least target - 1, 1 - x / greatest target)
//
// falls up to the harmonic mean of the two and rises from there. So the nearest
// value at either side of that mean is best. It fails as [Best] does, and with
// [ErrBounds] where there is no target.
func LeastWorst(form Form, targets []Target, b Bounds) (Pair, error) {
	if len(targets) == 0 || !b.sound() {
		return Pair{}, ErrBounds
	}
	s := search{form: form, single: len(targets) == 1, least: extreme(targets, -1), greatest: extreme(targets, 1), bounds: b}
	if err := s.reach(); err != nil {
		return Pair{}, err
	}
	if form == Reciprocal {
		return s.product(), nil
	}
	return s.quotient(), nil
}

func (b *Bounds) minimum() int64 { return max(b.Minimum, 1) }

func (b *Bounds) sound() bool {
	m := b.minimum()
	return b.Minimum >= 0 && m <= MaxMinimum && b.MaxNumerator >= m && b.MaxDenominator >= m &&
		b.MaxNumerator <= MaxTerm && b.MaxDenominator <= MaxTerm
}

// extreme returns the least (side -1) or the greatest (side 1) of the targets.
func extreme(targets []Target, side int) Target {
	found := targets[0]
	for _, t := range targets[1:] {
		if certain(func(c *exact.Calc) int { return c.Cmp(t(c), found(c)) }) == side {
			found = t
		}
	}
	return found
}

// certain evaluates a formula and, where float64 could not decide, again exactly.
func certain[T any](formula func(c *exact.Calc) T) T {
	c := new(exact.Calc)
	out := formula(c)
	if c.Undecided() {
		return formula(exact.NewExact())
	}
	return out
}

// Value returns the pair's value in form f.
func (p Pair) Value(c *exact.Calc, f Form) exact.Num {
	a, b := c.Int(p.Numerator), c.Int(p.Denominator)
	if f == Reciprocal {
		return a.Mul(b)
	}
	return a.Quo(b)
}

// ErrorPPM returns the relative error of p against t in parts per million, to the
// last digits of a float64 however small it is:
//
//	(value - target) / target * 1000000
//
// Formula: fraction-error/1.
func (p Pair) ErrorPPM(f Form, t Target) float64 {
	c := exact.NewExact()
	target := t(c)
	return p.Value(c, f).Sub(target).Quo(target).Mul(c.Int(1e6)).True()
}

// Nearer returns -1 where p lies nearer to t than q, +1 where q does, and 0 where
// they are equally near.
func Nearer(f Form, t Target, p, q Pair) int {
	return certain(func(c *exact.Calc) int {
		return c.Cmp(p.Value(c, f).Sub(t(c)).Abs(), q.Value(c, f).Sub(t(c)).Abs())
	})
}

// search is one search for a pair.
type search struct {
	form            Form
	single          bool // there is one target
	least, greatest Target
	bounds          Bounds
}

// middle is the harmonic mean of the least and the greatest target.
func (s *search) middle(c *exact.Calc) exact.Num {
	if s.single {
		return s.least(c)
	}
	low, high := s.least(c), s.greatest(c)
	return c.Int(2).Mul(low).Mul(high).Quo(low.Add(high))
}

// reach fails where the middle lies too far outside of what the bounds reach.
func (s *search) reach() error {
	b, m := &s.bounds, s.bounds.minimum()
	least, greatest := Pair{m, b.MaxDenominator}, Pair{b.MaxNumerator, m}
	if s.form == Reciprocal {
		least, greatest = Pair{m, m}, Pair{b.MaxNumerator, b.MaxDenominator}
	}
	return certain(func(c *exact.Calc) error {
		t, low, high := s.middle(c), least.Value(c, s.form), greatest.Value(c, s.form)
		if s.form == Reciprocal && c.Cmp(high, c.Int(MaxProduct)) > 0 {
			high = c.Int(MaxProduct)
		}
		small := c.Cmp(t.Mul(c.Int(2)), low) <= 0
		if small || c.Cmp(t, high.Mul(c.Int(2))) >= 0 {
			return &OutOfReachError{Least: low.Float(), Greatest: high.Float(), Small: small}
		}
		return nil
	})
}

// choose returns the better of two pairs, of which either may be no pair at all.
func (s *search) choose(p, q Pair) Pair {
	switch {
	case p == (Pair{}):
		return q
	case q == (Pair{}):
		return p
	}
	worse := certain(func(c *exact.Calc) int { return c.Cmp(s.worst(c, p), s.worst(c, q)) })
	if worse > 0 || worse == 0 && s.bounds.before(q, p) {
		return q
	}
	return p
}

// worst returns the greatest relative error of p.
func (s *search) worst(c *exact.Calc, p Pair) exact.Num {
	x, one := p.Value(c, s.form), c.Int(1)
	over, under := x.Quo(s.least(c)).Sub(one), one.Sub(x.Quo(s.greatest(c)))
	if c.Cmp(over, under) > 0 {
		return over
	}
	return under
}

// before says which of two equally good pairs is taken.
func (b *Bounds) before(p, q Pair) bool {
	if b.Prefer != nil {
		if first, second := b.Prefer(p), b.Prefer(q); first != second {
			return first
		}
	}
	if p.Denominator != q.Denominator {
		return p.Denominator < q.Denominator
	}
	return p.Numerator < q.Numerator
}
