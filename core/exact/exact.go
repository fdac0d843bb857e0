// Package exact decides integers and comparisons correctly.
//
// Every number that comes in is a float64 that stands for the shortest decimal
// which reads back to it: 0.1 means one tenth. A [Num] carries the float64
// result of a formula over such decimals together with a bound on its absolute
// error, so that most roundings and comparisons are decided at float64 speed
// without allocating. Where the bound cannot decide, the caller runs the same
// formula again in exact mode, in which each Num also carries its true value: a
// ratio of polynomials in pi with rational coefficients ([Real]).
//
// The use is always the same:
//
//	c := new(exact.Calc)
//	n := formula(c)          // ends in c.Round, c.Cmp, ...
//	if c.Undecided() {
//		c = exact.NewExact()
//		n = formula(c)       // now certain
//	}
//
// The float64 part is computed by the same operations in both modes, so a
// result's bits do not tell which mode produced it.
//
// Error analysis: with u = 2^-53 each operation's rounding adds at most u times
// the magnitude of its result, and operand errors propagate by the usual rules
// (Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed., section 2.2
// and 3.1). The bound itself is computed in float64, so it is widened by
// [widen], which exceeds its own rounding errors. An operation on error-free
// operands that is known to be exact, as most with counts, teeth and short decimals
// are, stays error-free, so that a tie among those is decided at once.
//
// Domain: values between 1e-140 and 1e140 in magnitude, or zero. Products of
// two such values neither overflow nor underflow; callers keep inputs within
// bounds that guarantee it.
package exact

import "math"

const (
	unitRoundoff = 0x1p-53
	// widen covers the rounding of the error bound's own arithmetic: fewer than
	// eight operations, each within 2^-53, stay below 2^-50 together.
	widen = 1 + 0x1p-50
	// exactIntegers bounds the integers that float64 represents without gaps.
	exactIntegers = 0x1p53
)

// Calc is one evaluation of a formula. Its zero value evaluates in float64 with
// error bounds; [NewExact] makes one that also carries exact values.
type Calc struct {
	exact     bool
	undecided bool
}

// NewExact returns a Calc whose decisions are certain.
func NewExact() *Calc { return &Calc{exact: true} }

// Exact reports whether c carries exact values.
func (c *Calc) Exact() bool { return c.exact }

// Undecided reports whether any decision so far lay within its error bound. The
// decisions taken are then provisional, and the evaluation must be repeated in
// exact mode. It is never true of a Calc from [NewExact].
func (c *Calc) Undecided() bool { return c.undecided }

// Doubt leaves the evaluation undecided, so that it is repeated in exact mode: for
// what cannot be decided in float64 at all. In exact mode there is no doubt.
func (c *Calc) Doubt() { c.undecided = !c.exact }

// From returns a, a value of an evaluation in exact mode, for use in c.
func (c *Calc) From(a Num) Num {
	if c.exact {
		return a
	}
	return a.float()
}

// Num is a value within one evaluation: the float64 result, a bound on its
// absolute error, and in exact mode the true value. Nums of different Calcs
// must not be mixed.
type Num struct {
	v, e float64
	x    *Real
}

// Float returns the float64 result, with zero never negative.
func (a Num) Float() float64 { return a.v + 0 }

// Bound returns the bound on |Float() - true value|. It is infinite after a
// division by what float64 cannot tell from zero; Float is then meaningless and
// the evaluation must be repeated in exact mode.
func (a Num) Bound() float64 {
	if math.IsNaN(a.e) { // an infinite bound times zero
		return math.Inf(1)
	}
	return a.e
}

// Dec returns the shortest decimal that reads back to v. v must be finite.
func (c *Calc) Dec(v float64) Num {
	n := Num{v: v}
	if !isOwnDecimal(v) {
		n.e = unitRoundoff * math.Abs(v)
	}
	if c.exact {
		n.x = realFromDecimal(v)
	}
	return n
}

// isOwnDecimal reports whether v is known to be itself its shortest decimal: an
// integer below 2^53, or a multiple of 1/8 below 10^12. The latter has at most 15
// significant digits, and two decimals of at most 15 digits never share a float64.
func isOwnDecimal(v float64) bool {
	size := math.Abs(v)
	return size < 1e12 && isInteger(8*v) || size < exactIntegers && isInteger(v)
}

// isInteger reports whether v is an integer. Beyond the range of int64 it may say
// no, or yes where it is so.
func isInteger(v float64) bool { return float64(int64(v)) == v }

// Int returns the integer v.
func (c *Calc) Int(v int64) Num {
	if c.exact || v > exactIntegers || v < -exactIntegers {
		return c.intWithBound(v)
	}
	return Num{v: float64(v)}
}

func (c *Calc) intWithBound(v int64) Num {
	n := Num{v: float64(v)}
	if v > exactIntegers || v < -exactIntegers {
		n.e = unitRoundoff * math.Abs(n.v) * widen
	}
	if c.exact {
		n.x = realFromInt(v)
	}
	return n
}

// Pi returns the circle constant.
func (c *Calc) Pi() Num {
	n := Num{v: math.Pi, e: unitRoundoff * math.Pi}
	if c.exact {
		n.x = realPi
	}
	return n
}

// Const returns a constant prepared by [NewConstant].
func (c *Calc) Const(k *Constant) Num {
	n := Num{v: k.v, e: k.e}
	if c.exact {
		n.x = k.x
	}
	return n
}

// Percent returns v/100.
func (c *Calc) Percent(v float64) Num { return c.Dec(v).Quo(c.Int(100)) }

// Add returns a + b.
func (a Num) Add(b Num) Num {
	if a.x != nil {
		return sum(a.v, b.v, a.e+b.e).with(a.x.add(b.x))
	}
	return sum(a.v, b.v, a.e+b.e)
}

// Sub returns a - b.
func (a Num) Sub(b Num) Num {
	if a.x != nil {
		return sum(a.v, -b.v, a.e+b.e).with(a.x.sub(b.x))
	}
	return sum(a.v, -b.v, a.e+b.e)
}

// sum returns a + b, where e bounds the error of both together.
func sum(a, b, e float64) Num {
	v := a + b
	if e == 0 && !lostInSum(a, b, v) {
		return Num{v: v}
	}
	return Num{v: v, e: (e + float64(unitRoundoff*math.Abs(v))) * widen}
}

// float returns a without its true value: in exact mode the float64 part is that
// of the other mode.
func (a Num) float() Num { return Num{v: a.v, e: a.e} }

// with returns a with its true value.
func (a Num) with(x *Real) Num { return Num{v: a.v, e: a.e, x: x} }

// lostInSum reports whether v, the float64 sum of a and b, differs from their true
// sum (Knuth, The Art of Computer Programming vol. 2, 4.2.2, theorem B).
func lostInSum(a, b, v float64) bool {
	part := v - a
	return (a-(v-part))+(b-part) != 0
}

// Neg returns -a.
func (a Num) Neg() Num {
	n := Num{v: -a.v, e: a.e}
	if a.x != nil {
		n.x = a.x.neg()
	}
	return n
}

// Abs returns |a|. In float64 mode it needs no decision: the bound carries over.
func (a Num) Abs() Num {
	if a.x != nil {
		if a.x.sign() < 0 {
			return Num{v: math.Abs(a.v), e: a.e, x: a.x.neg()}
		}
		return Num{v: math.Abs(a.v), e: a.e, x: a.x}
	}
	return Num{v: math.Abs(a.v), e: a.e}
}

// Mul returns a * b.
func (a Num) Mul(b Num) Num {
	if a.x != nil {
		return a.float().Mul(b.float()).with(a.x.mul(b.x))
	}
	v := a.v * b.v
	if a.e+b.e == 0 && isExactProduct(a.v, b.v, v) {
		return Num{v: v}
	}
	e := float64(math.Abs(a.v)*b.e) + float64(math.Abs(b.v)*a.e)
	e += float64(a.e * b.e)
	return Num{v: v, e: (e + float64(unitRoundoff*math.Abs(v))) * widen}
}

// isExactProduct reports whether v, the float64 product of a and b, is known to be
// their true product: multiples of 2^-10 whose product is below 2^33 have one of at
// most 53 bits. Counts, teeth and short decimals are such numbers, and with them
// ties are decided without exact mode.
func isExactProduct(a, b, v float64) bool {
	return math.Abs(v) < 0x1p33 && isCoarse(a) && isCoarse(b)
}

// isCoarse reports whether v is a multiple of 2^-10. Of two factors of a product
// below 2^33, one beyond the range of [isInteger] leaves only zero for the other.
func isCoarse(v float64) bool { return isInteger(v * 0x1p10) }

// Quo returns a / b. The caller has made sure that b is not zero: a zero b is a
// programming error and panics in exact mode; a b that float64 cannot tell from
// zero gives an infinite bound, so that the next decision is undecided.
func (a Num) Quo(b Num) Num {
	if a.x != nil {
		return a.float().Quo(b.float()).orTrue(a.x.quo(b.x))
	}
	room := math.Abs(b.v) - b.e
	if !(room > 0) {
		return Num{e: math.Inf(1)}
	}
	v := a.v / b.v
	// A product that is exact and gives a back proves the quotient.
	if a.e+b.e == 0 && v*b.v == a.v && isExactProduct(v, b.v, a.v) {
		return Num{v: v}
	}
	e := a.e + float64(math.Abs(v)*b.e)
	// |v| is within u of |a.v/b.v|; twice u covers both that and the quotient's
	// own rounding.
	return Num{v: v, e: (float64(e/room) + float64(2*unitRoundoff*math.Abs(v))) * widen * widen}
}

// orTrue returns a with its true value x, and in place of a result on which no
// decision can rest the float64 nearest to x.
func (a Num) orTrue(x *Real) Num {
	if !math.IsInf(a.e, 1) {
		return a.with(x)
	}
	v := x.float()
	return Num{v: v, e: 2 * unitRoundoff * math.Abs(v), x: x}
}
