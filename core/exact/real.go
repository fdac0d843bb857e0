package exact

import (
	"math"
	"math/big"
	"strconv"
)

// Real is an exact value of the form p(pi)/q(pi), where p and q are polynomials
// with integer coefficients. Reals are immutable.
//
// Pi is transcendental (Lindemann 1882), so p(pi) is zero only if every
// coefficient of p is zero. Sign and rounding therefore always terminate: a
// polynomial that is not the zero polynomial is evaluated with ever tighter
// bounds on pi until its sign shows.
//
// A formula of a dozen operations takes some microseconds. The integers grow
// with every operation, so a sum of n unlike fractions takes time n^2: 3 ms for
// fifty, seconds for ten thousand.
type Real struct {
	num, den poly
}

// poly holds coefficients of rising powers of pi; the last is not zero, and the
// zero polynomial is empty. Coefficients are shared and never changed.
type poly []*big.Int

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
	one      = big.NewInt(1)
	polyOne  = poly{one}
	realZero = &Real{den: polyOne}
	realHalf = realFromRat(big.NewRat(1, 2))
	realPi   = &Real{num: poly{new(big.Int), one}, den: polyOne}
)

func realFromRat(r *big.Rat) *Real {
	return &Real{num: poly{r.Num()}.trim(), den: poly{r.Denom()}}
}

func realFromInt(v int64) *Real {
	return &Real{num: poly{big.NewInt(v)}.trim(), den: polyOne}
}

// realFromDecimal takes the shortest decimal apart: digits, point, exponent.
func realFromDecimal(v float64) *Real {
	text := strconv.AppendFloat(make([]byte, 0, 32), v, 'e', -1, 64)
	digits, exponent := splitDecimal(text)
	if exponent < 0 {
		return &Real{num: poly{big.NewInt(digits)}.trim(), den: poly{powerOfTen(-exponent)}}
	}
	return &Real{num: poly{new(big.Int).Mul(big.NewInt(digits), powerOfTen(exponent))}.trim(), den: polyOne}
}

// splitDecimal reads -d.ddde+dd as an integer and a power of ten. The shortest
// decimal has 17 digits at most, which an int64 holds.
func splitDecimal(text []byte) (digits int64, exponent int) {
	decimals, afterPoint := 0, false
	for i, b := range text {
		switch {
		case b == '.':
			afterPoint = true
		case b >= '0' && b <= '9':
			digits = digits*10 + int64(b-'0')
			if afterPoint {
				decimals++
			}
		case b == 'e':
			exponent, err := strconv.Atoi(string(text[i+1:]))
			if err != nil {
				panic("core/exact: internal error: exponent of " + string(text))
			}
			if text[0] == '-' {
				digits = -digits
			}
			return digits, exponent - decimals
		}
	}
	panic("core/exact: internal error: not a finite number: " + string(text))
}

func powerOfTen(n int) *big.Int {
	return new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n)), nil)
}

func (a *Real) add(b *Real) *Real {
	if a.den.isOne() && b.den.isOne() {
		return &Real{num: a.num.add(b.num), den: polyOne}
	}
	return newReal(a.num.mul(b.den).add(b.num.mul(a.den)), a.den.mul(b.den))
}

func (a *Real) neg() *Real        { return &Real{num: a.num.neg(), den: a.den} }
func (a *Real) sub(b *Real) *Real { return a.add(b.neg()) }
func (a *Real) mul(b *Real) *Real { return newReal(a.num.mul(b.num), a.den.mul(b.den)) }

func (a *Real) quo(b *Real) *Real {
	if len(b.num) == 0 {
		panic("core/exact: internal error: division by zero")
	}
	return newReal(a.num.mul(b.den), a.den.mul(b.num))
}

// newReal drops the powers of pi that both sides share, so that ratios of two
// circumferences become rational again. Common integer factors are left, since
// finding them costs more than carrying them, until the numbers grow long.
func newReal(num, den poly) *Real {
	if len(num) == 0 {
		return realZero
	}
	for num[0].Sign() == 0 && den[0].Sign() == 0 {
		num, den = num[1:], den[1:]
	}
	if num.bits()+den.bits() > longNumbers {
		num, den = reduce(num, den)
	}
	return &Real{num: num, den: den}
}

// longNumbers is where a long sum's common factors begin to cost more than
// their removal.
const longNumbers = 4096

func reduce(num, den poly) (poly, poly) {
	divisor := new(big.Int)
	for _, p := range []poly{num, den} {
		for _, k := range p {
			divisor.GCD(nil, nil, divisor, new(big.Int).Abs(k))
		}
	}
	return num.over(divisor), den.over(divisor)
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

// floor encloses a ever tighter until at most one integer lies between the
// enclosure's ends; whether a reaches that integer is then decided exactly.
func (a *Real) floor() (int64, bool) {
	for bits := uint(firstBits); ; bits *= 2 {
		low, high, ok := a.bounds(bits)
		if !ok {
			continue
		}
		n, next := floorOf(low), floorOf(high)
		if n.Cmp(roundLimit) >= 0 || next.Cmp(negativeRoundLimit) <= 0 {
			return 0, false
		}
		switch new(big.Int).Sub(next, n).Cmp(one) {
		case -1: // equal
			return n.Int64(), true
		case 0:
			if a.sub(&Real{num: poly{next}.trim(), den: polyOne}).sign() >= 0 {
				n = next
			}
			return n.Int64(), n.CmpAbs(roundLimit) < 0
		}
	}
}

var (
	roundLimit         = big.NewInt(maxRound)
	negativeRoundLimit = big.NewInt(-maxRound)
)

func floorOf(q quotient) *big.Int {
	return new(big.Int).Div(q.num, q.den) // Euclidean; floor, as den is positive
}

// True returns a float64 within 2^-52 of a's true value, relatively, where Float may
// have lost digits, as in a small difference. Only for a Num of exact mode.
func (a Num) True() float64 { return a.x.float() }

// float returns a float64 within 2^-52 of a, relatively.
func (a *Real) float() float64 {
	if len(a.num) == 0 {
		return 0
	}
	for bits := uint(firstBits); ; bits *= 2 {
		low, high, ok := a.bounds(bits)
		if !ok {
			continue
		}
		l, _ := new(big.Rat).SetFrac(low.num, low.den).Float64()
		h, _ := new(big.Rat).SetFrac(high.num, high.den).Float64()
		if l == h || math.Abs(h-l) <= unitRoundoff*math.Abs(h) { // equal infinities too
			return h
		}
	}
}

// quotient is num/den with a positive den.
type quotient struct{ num, den *big.Int }

// bounds encloses a, given pi to that many bits. ok is false where that does not
// suffice to tell a's denominator from zero.
func (a *Real) bounds(bits uint) (low, high quotient, ok bool) {
	numLow, numHigh := a.num.bounds(bits)
	denLow, denHigh := a.den.bounds(bits)
	if denHigh.Sign() < 0 {
		numLow, numHigh = new(big.Int).Neg(numHigh), new(big.Int).Neg(numLow)
		denLow, denHigh = new(big.Int).Neg(denHigh), new(big.Int).Neg(denLow)
	}
	if denLow.Sign() <= 0 {
		return quotient{}, quotient{}, false
	}
	// Both polynomials come scaled by 2^(bits*degree): even that out.
	numScale, denScale := bits*a.den.degree(), bits*a.num.degree()
	low, high = quotient{numLow, denHigh}, quotient{numHigh, denLow}
	if numLow.Sign() < 0 {
		low.den = denLow
	}
	if numHigh.Sign() < 0 {
		high.den = denHigh
	}
	return low.scaled(numScale, denScale), high.scaled(numScale, denScale), true
}

func (q quotient) scaled(num, den uint) quotient {
	common := min(num, den)
	return quotient{new(big.Int).Lsh(q.num, num-common), new(big.Int).Lsh(q.den, den-common)}
}

func (p poly) isOne() bool { return len(p) == 1 && p[0].IsInt64() && p[0].Int64() == 1 }

func (p poly) degree() uint { return uint(max(len(p), 1) - 1) }

func (p poly) bits() int {
	n := 0
	for _, k := range p {
		n += k.BitLen()
	}
	return n
}

func (p poly) mul(q poly) poly {
	switch {
	case len(p) == 0 || len(q) == 0:
		return nil
	case p.isOne():
		return q
	case q.isOne():
		return p
	}
	out := make(poly, len(p)+len(q)-1)
	for i := range out {
		out[i] = new(big.Int)
	}
	product := new(big.Int)
	for i, a := range p {
		for j, b := range q {
			out[i+j].Add(out[i+j], product.Mul(a, b))
		}
	}
	return out
}

func (p poly) add(q poly) poly {
	if len(p) < len(q) {
		p, q = q, p
	}
	out := make(poly, len(p))
	for i, a := range p {
		out[i] = a
		if i < len(q) {
			out[i] = new(big.Int).Add(a, q[i])
		}
	}
	return out.trim()
}

func (p poly) neg() poly {
	out := make(poly, len(p))
	for i, a := range p {
		out[i] = new(big.Int).Neg(a)
	}
	return out
}

func (p poly) over(divisor *big.Int) poly {
	out := make(poly, len(p))
	for i, a := range p {
		out[i] = new(big.Int).Quo(a, divisor)
	}
	return out
}

func (p poly) trim() poly {
	for len(p) > 0 && p[len(p)-1].Sign() == 0 {
		p = p[:len(p)-1]
	}
	return p
}

// sign returns the sign of p(pi).
func (p poly) sign() int {
	if len(p) == 0 {
		return 0
	}
	for bits := uint(firstBits); ; bits *= 2 {
		low, high := p.bounds(bits)
		if low.Sign() > 0 {
			return 1
		}
		if high.Sign() < 0 {
			return -1
		}
	}
}

// bounds encloses p(pi) * 2^(bits*degree), by Horner's rule over the interval of
// pi to that many bits. For a constant the two ends are equal.
func (p poly) bounds(bits uint) (low, high *big.Int) {
	low, high = new(big.Int), new(big.Int)
	if len(p) == 0 {
		return low, high
	}
	last := len(p) - 1
	low.Set(p[last])
	high.Set(p[last])
	if last == 0 {
		return low, high
	}
	pi := piBounds(bits)
	for i := last - 1; i >= 0; i-- {
		mulByPositive(low, pi.low, pi.high)
		mulByPositive(high, pi.high, pi.low)
		k := new(big.Int).Lsh(p[i], bits*uint(last-i))
		low.Add(low, k)
		high.Add(high, k)
	}
	return low, high
}

// mulByPositive multiplies v by one end of pi where v is positive and by the
// other where it is negative, so that the product stays on the outside.
func mulByPositive(v, ifPositive, ifNegative *big.Int) {
	if v.Sign() < 0 {
		v.Mul(v, ifNegative)
	} else {
		v.Mul(v, ifPositive)
	}
}
