package exact

import (
	"math"
	"math/big"
	"strconv"
)

// Real is an exact value of the form p(pi)/q(pi), where p and q are polynomials
// with rational coefficients. Reals are immutable.
//
// Pi is transcendental (Lindemann 1882), so p(pi) is zero only if every
// coefficient of p is zero. Sign and rounding therefore always terminate: a
// polynomial that is not the zero polynomial is evaluated with ever tighter
// bounds on pi until its sign shows.
type Real struct {
	num, den poly
}

// poly holds coefficients of rising powers of pi; the last is not zero, and the
// zero polynomial is empty.
type poly []*big.Rat

// Constant is a number prepared once, such as a unit's factor, for use in many
// evaluations. It is immutable.
type Constant struct {
	v, e float64
	x    *Real
}

// NewConstant returns the rational r as a Constant. r must not be changed later.
func NewConstant(r *big.Rat) *Constant {
	v, isExact := r.Float64()
	k := &Constant{v: v, x: realFromRat(r)}
	if !isExact {
		k.e = unitRoundoff * math.Abs(v)
	}
	return k
}

var (
	realZero = &Real{den: poly{big.NewRat(1, 1)}}
	realHalf = realFromRat(big.NewRat(1, 2))
	realPi   = &Real{num: poly{new(big.Rat), big.NewRat(1, 1)}, den: poly{big.NewRat(1, 1)}}
)

func realFromRat(r *big.Rat) *Real {
	if r.Sign() == 0 {
		return realZero
	}
	return &Real{num: poly{r}, den: realZero.den}
}

func realFromInt(v int64) *Real { return realFromRat(new(big.Rat).SetInt64(v)) }

func realFromDecimal(v float64) *Real {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(v, 'g', -1, 64))
	if !ok {
		panic("core/exact: internal error: not a finite number")
	}
	return realFromRat(r)
}

func (a *Real) add(b *Real) *Real {
	return newReal(a.num.mul(b.den).add(b.num.mul(a.den)), a.den.mul(b.den))
}

func (a *Real) neg() *Real        { return &Real{num: a.num.scale(big.NewRat(-1, 1)), den: a.den} }
func (a *Real) sub(b *Real) *Real { return a.add(b.neg()) }
func (a *Real) mul(b *Real) *Real { return newReal(a.num.mul(b.num), a.den.mul(b.den)) }

func (a *Real) quo(b *Real) *Real {
	if len(b.num) == 0 {
		panic("core/exact: internal error: division by zero")
	}
	return newReal(a.num.mul(b.den), a.den.mul(b.num))
}

// newReal drops the powers of pi that both sides share, so that ratios of two
// circumferences become rational again, and makes the denominator's last
// coefficient one, so that coefficients do not grow without need.
func newReal(num, den poly) *Real {
	if len(num) == 0 {
		return realZero
	}
	for num[0].Sign() == 0 && den[0].Sign() == 0 {
		num, den = num[1:], den[1:]
	}
	inverse := new(big.Rat).Inv(den[len(den)-1])
	return &Real{num: num.scale(inverse), den: den.scale(inverse)}
}

func (a *Real) sign() int { return a.num.sign() * a.den.sign() }

// round returns the nearest integer, ties away from zero.
func (a *Real) round() (int64, bool) {
	if a.sign() < 0 {
		n, ok := a.neg().round()
		return -n, ok
	}
	return a.add(realHalf).floor()
}

// floor starts from an approximation and steps until n <= a < n+1 is proven.
func (a *Real) floor() (int64, bool) {
	guess := math.Floor(a.approx())
	if !(math.Abs(guess) < maxRound) {
		return 0, false
	}
	n := int64(guess)
	for a.sub(realFromInt(n)).sign() < 0 {
		n--
	}
	for a.sub(realFromInt(n+1)).sign() >= 0 {
		n++
	}
	return n, true
}

// approx returns a float64 near a; only a starting point, never a decision.
func (a *Real) approx() float64 {
	pi := piBounds(128)
	q := new(big.Rat).Quo(a.num.at(pi.low), a.den.at(pi.low))
	v, _ := q.Float64()
	return v
}

func (p poly) mul(q poly) poly {
	if len(p) == 0 || len(q) == 0 {
		return nil
	}
	out := make(poly, len(p)+len(q)-1)
	for i := range out {
		out[i] = new(big.Rat)
	}
	for i, a := range p {
		for j, b := range q {
			out[i+j].Add(out[i+j], new(big.Rat).Mul(a, b))
		}
	}
	return out.trim()
}

func (p poly) add(q poly) poly {
	if len(p) < len(q) {
		p, q = q, p
	}
	out := make(poly, len(p))
	for i, a := range p {
		out[i] = a
		if i < len(q) {
			out[i] = new(big.Rat).Add(a, q[i])
		}
	}
	return out.trim()
}

func (p poly) scale(k *big.Rat) poly {
	out := make(poly, len(p))
	for i, a := range p {
		out[i] = new(big.Rat).Mul(a, k)
	}
	return out
}

func (p poly) trim() poly {
	for len(p) > 0 && p[len(p)-1].Sign() == 0 {
		p = p[:len(p)-1]
	}
	return p
}

// sign returns the sign of p(pi). Interval evaluation (Horner, exact rationals)
// is repeated with twice the digits of pi until zero lies outside.
func (p poly) sign() int {
	if len(p) == 0 {
		return 0
	}
	if len(p) == 1 {
		return p[0].Sign()
	}
	for bits := uint(128); ; bits *= 2 {
		low, high := p.bounds(piBounds(bits))
		if low.Sign() > 0 {
			return 1
		}
		if high.Sign() < 0 {
			return -1
		}
	}
}

// bounds encloses p over the interval pi, which is positive.
func (p poly) bounds(pi interval) (low, high *big.Rat) {
	low, high = new(big.Rat), new(big.Rat)
	for i := len(p) - 1; i >= 0; i-- {
		low, high = mulByPositive(low, pi.low, pi.high, false), mulByPositive(high, pi.low, pi.high, true)
		low.Add(low, p[i])
		high.Add(high, p[i])
	}
	return low, high
}

// mulByPositive returns the lower or upper end of v*[a,b] with 0 < a <= b.
func mulByPositive(v, a, b *big.Rat, upper bool) *big.Rat {
	if (v.Sign() < 0) != upper {
		return new(big.Rat).Mul(v, b)
	}
	return new(big.Rat).Mul(v, a)
}

func (p poly) at(x *big.Rat) *big.Rat {
	out := new(big.Rat)
	for i := len(p) - 1; i >= 0; i-- {
		out.Mul(out, x)
		out.Add(out, p[i])
	}
	return out
}
