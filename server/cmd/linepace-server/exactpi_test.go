package main

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The arithmetic of the reference: numbers of the field Q(pi), as quotients of
// polynomials in pi with rational coefficients. Pi is transcendental, so such a
// number is zero only where its polynomial is, and comparisons, roundings and
// ties are decided, never guessed.

// refPrec is the precision in bits at which a sign is found where it is not
// plain from the coefficients.
const refPrec = 512

// refPiDigits is pi to 180 decimals, from memory; TestReferencePi derives it anew.
const refPiDigits = "3.14159265358979323846264338327950288419716939937510" +
	"58209749445923078164062862089986280348253421170679" +
	"82148086513282306647093844609550582231725359408128" +
	"481117450284102701938521105559"

var refPi = func() *big.Float {
	pi, _, err := big.ParseFloat(refPiDigits, 10, refPrec, big.ToNearestEven)
	if err != nil {
		panic(err)
	}
	return pi
}()

// Machin 1706: pi = 16 arctan(1/5) - 4 arctan(1/239).
func TestReferencePi(t *testing.T) {
	one := new(big.Int).Exp(big.NewInt(10), big.NewInt(200), nil)
	arctan := func(inverse int64) *big.Int {
		sum, square := new(big.Int), big.NewInt(inverse*inverse)
		term := new(big.Int).Quo(one, big.NewInt(inverse))
		for i := int64(1); term.Sign() != 0; i += 2 {
			part := new(big.Int).Quo(term, big.NewInt(i))
			if i%4 == 3 {
				part.Neg(part)
			}
			sum.Add(sum, part)
			term.Quo(term, square)
		}
		return sum
	}
	pi := new(big.Int).Mul(big.NewInt(16), arctan(5))
	pi.Sub(pi, new(big.Int).Mul(big.NewInt(4), arctan(239)))
	digits := strings.Replace(refPiDigits, ".", "", 1)
	require.Equal(t, digits[:179], pi.String()[:179])
}

// piPoly is a polynomial in pi: the coefficient of pi^i at index i, the last one
// not zero. The empty one is zero. Its coefficients are never changed.
type piPoly []*big.Rat

func (p piPoly) trim() piPoly {
	for len(p) > 0 && p[len(p)-1].Sign() == 0 {
		p = p[:len(p)-1]
	}
	return p
}

func (p piPoly) add(q piPoly) piPoly {
	if len(p) < len(q) {
		p, q = q, p
	}
	sum := append(piPoly{}, p...)
	for i, c := range q {
		sum[i] = new(big.Rat).Add(p[i], c)
	}
	return sum.trim()
}

func (p piPoly) mul(q piPoly) piPoly {
	if len(p) == 0 || len(q) == 0 {
		return nil
	}
	product := make(piPoly, len(p)+len(q)-1)
	for i := range product {
		product[i] = new(big.Rat)
	}
	for i, a := range p {
		for j, b := range q {
			switch sum := product[i+j]; {
			case a.Sign() == 0 || b.Sign() == 0:
			case sum.Sign() == 0:
				sum.Mul(a, b)
			default:
				sum.Add(sum, new(big.Rat).Mul(a, b))
			}
		}
	}
	return product.trim()
}

func (p piPoly) neg() piPoly { return p.mul(piPoly{big.NewRat(-1, 1)}) }

// low returns the least power with a coefficient.
func (p piPoly) low() int {
	for i, c := range p {
		if c.Sign() != 0 {
			return i
		}
	}
	return len(p)
}

func (p piPoly) float() *big.Float {
	sum := new(big.Float).SetPrec(refPrec)
	for i := len(p) - 1; i >= 0; i-- {
		sum.Mul(sum, refPi)
		sum.Add(sum, new(big.Float).SetPrec(refPrec).SetRat(p[i]))
	}
	return sum
}

// sign is exact: a number that the precision cannot tell from zero ends the test.
func (p piPoly) sign() int {
	if len(p) == 0 {
		return 0
	}
	if p.low() == len(p)-1 {
		return p[len(p)-1].Sign()
	}
	terms := make(piPoly, len(p))
	for i, c := range p {
		terms[i] = new(big.Rat).Abs(c)
	}
	sum, scale := p.float(), terms.float()
	if new(big.Float).SetMantExp(new(big.Float).Abs(sum), 400).Cmp(scale) < 0 {
		panic("reference: a sign is beyond the precision")
	}
	return sum.Sign()
}

// piNumber is num/den; den is not zero, and where it has no pi it is 1.
type piNumber struct{ num, den piPoly }

func exactly(r *big.Rat) piNumber {
	return piNumber{piPoly{r}.trim(), piPoly{big.NewRat(1, 1)}}
}

func integer(i int64) piNumber { return exactly(big.NewRat(i, 1)) }

func fraction(a, b int64) piNumber { return exactly(big.NewRat(a, b)) }

func piItself() piNumber {
	return piNumber{piPoly{new(big.Rat), big.NewRat(1, 1)}, piPoly{big.NewRat(1, 1)}}
}

// reduced cancels powers of pi and makes a denominator of one term a power of pi.
// That keeps numbers short; whether they are equal does not depend on it.
func (x piNumber) reduced() piNumber {
	if len(x.num) == 0 {
		return integer(0)
	}
	if shift := min(x.num.low(), x.den.low()); shift > 0 {
		x = piNumber{x.num[shift:], x.den[shift:]}
	}
	if last := len(x.den) - 1; x.den.low() == last && x.den[last].Cmp(big.NewRat(1, 1)) != 0 {
		by := piPoly{new(big.Rat).Inv(x.den[last])}
		x = piNumber{x.num.mul(by), x.den.mul(by)}
	}
	return x
}

func (x piNumber) add(y piNumber) piNumber {
	if len(x.den) == 1 && len(y.den) == 1 {
		return piNumber{x.num.add(y.num), x.den}
	}
	return piNumber{x.num.mul(y.den).add(y.num.mul(x.den)), x.den.mul(y.den)}.reduced()
}

func (x piNumber) neg() piNumber           { return piNumber{x.num.neg(), x.den} }
func (x piNumber) sub(y piNumber) piNumber { return x.add(y.neg()) }

func (x piNumber) mul(y piNumber) piNumber {
	if len(x.den) == 1 && len(y.den) == 1 {
		return piNumber{x.num.mul(y.num), x.den}
	}
	return piNumber{x.num.mul(y.num), x.den.mul(y.den)}.reduced()
}

func (x piNumber) div(y piNumber) piNumber {
	if len(y.num) == 0 {
		panic("reference: division by zero")
	}
	if len(y.num) == 1 && len(y.den) == 1 {
		return piNumber{x.num.mul(piPoly{new(big.Rat).Inv(y.num[0])}), x.den}
	}
	return piNumber{x.num.mul(y.den), x.den.mul(y.num)}.reduced()
}

func (x piNumber) sign() int            { return x.num.sign() * x.den.sign() }
func (x piNumber) cmp(y piNumber) int   { return x.sub(y).sign() }
func (x piNumber) less(y piNumber) bool { return x.cmp(y) < 0 }

func (x piNumber) abs() piNumber {
	if x.sign() < 0 {
		return x.neg()
	}
	return x
}

// rational returns the number where it has no pi, or nil.
func (x piNumber) rational() *big.Rat {
	switch {
	case len(x.num) == 0:
		return new(big.Rat)
	case len(x.num) == 1 && len(x.den) == 1:
		return x.num[0]
	case len(x.num) == len(x.den): // perhaps a multiple of the denominator
		top := len(x.num) - 1
		quotient := new(big.Rat).Quo(x.num[top], x.den[top])
		if x.sub(exactly(quotient)).sign() == 0 {
			return quotient
		}
	}
	return nil
}

func (x piNumber) float() *big.Float {
	if len(x.den) == 1 {
		return x.num.float()
	}
	return new(big.Float).SetPrec(refPrec).Quo(x.num.float(), x.den.float())
}

// float64 is the double nearest to x.
func (x piNumber) float64() float64 {
	f, _ := x.float().Float64()
	return f
}

// floor returns the greatest integer that is not above x.
func (x piNumber) floor() *big.Int {
	if r := x.rational(); r != nil {
		return new(big.Int).Div(r.Num(), r.Denom()) // Euclidean, which floors for a positive divisor
	}
	k, _ := x.float().Int(nil)
	for x.less(ofInt(k)) {
		k.Sub(k, big.NewInt(1))
	}
	for !x.less(ofInt(new(big.Int).Add(k, big.NewInt(1)))) {
		k.Add(k, big.NewInt(1))
	}
	return k
}

func (x piNumber) ceil() *big.Int {
	k := x.neg().floor()
	return k.Neg(k)
}

func ofInt(k *big.Int) piNumber { return exactly(new(big.Rat).SetInt(k)) }

// round returns the nearest integer, ties away from zero.
func (x piNumber) round() *big.Int {
	k := x.abs().add(fraction(1, 2)).floor()
	if x.sign() < 0 {
		k.Neg(k)
	}
	return k
}

// fixed writes x with so many decimals, ties away from zero.
func (x piNumber) fixed(decimals int) string {
	return pointed(x.mul(tenTo(decimals)).round(), decimals)
}

// cut writes x with so many decimals, the rest dropped.
func (x piNumber) cut(decimals int) string {
	k := x.abs().mul(tenTo(decimals)).floor()
	if x.sign() < 0 {
		k.Neg(k)
	}
	return pointed(k, decimals)
}

func tenTo(n int) piNumber {
	return ofInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n)), nil))
}

// pointed writes k / 10^decimals.
func pointed(k *big.Int, decimals int) string {
	text := new(big.Int).Abs(k).String()
	if short := decimals + 1 - len(text); short > 0 {
		text = strings.Repeat("0", short) + text
	}
	if decimals > 0 {
		text = text[:len(text)-decimals] + "." + text[len(text)-decimals:]
	}
	if k.Sign() < 0 {
		text = "-" + text
	}
	return text
}

// fromHalf returns how far x lies from the middle between two integers, as a
// share of x: 0 on a tie.
func (x piNumber) fromHalf() float64 {
	half := ofInt(x.floor()).add(fraction(1, 2))
	if x.sign() == 0 {
		return 1
	}
	return math.Abs(x.sub(half).div(x).float64())
}

func TestReferenceArithmetic(t *testing.T) {
	pi := piItself()
	require.Equal(t, "3.1416", pi.fixed(4))
	require.Equal(t, "0.32", integer(1).div(pi).fixed(2))
	require.Equal(t, "9.8696", pi.mul(pi).fixed(4))
	require.Equal(t, "-0.13", fraction(-1, 8).fixed(2))
	require.Equal(t, "0.0", fraction(-1, 25).fixed(1))
	require.Equal(t, int64(3), fraction(5, 2).round().Int64())
	require.Equal(t, int64(-3), fraction(-5, 2).round().Int64())
	require.Equal(t, int64(-4), pi.neg().floor().Int64())
	require.Equal(t, int64(-3), pi.neg().ceil().Int64())
	require.Zero(t, fraction(5, 2).fromHalf())
	// (2 pi + 4) / (pi + 2) has no pi, pi/pi^2 has, and 355/113 is not pi.
	sum := pi.add(integer(2))
	require.Equal(t, "2", sum.add(sum).div(sum).rational().RatString())
	require.Equal(t, int64(2), sum.add(sum).div(sum).round().Int64())
	require.Nil(t, pi.div(pi.mul(pi)).rational())
	require.Equal(t, 1, fraction(355, 113).cmp(pi))
}
