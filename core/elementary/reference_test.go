package elementary

import (
	"math"
	"math/big"
)

// The references are series over math/big at 300 bits or more, none of which the
// package itself uses in that form.

const referenceBits = 420

func bigOf(x float64) *big.Float { return new(big.Float).SetPrec(referenceBits).SetFloat64(x) }

func bigNew(bits uint) *big.Float { return new(big.Float).SetPrec(bits) }

// bigExp sums the series of e^(x/2^k) and squares k times.
func bigExp(x *big.Float) *big.Float {
	bits := x.Prec()
	const k = 40 // |x| < 2^20
	r := bigNew(bits+2*k).SetMantExp(bigNew(bits+2*k).Set(x), -k)
	total, term := bigNew(bits+2*k).SetInt64(1), bigNew(bits+2*k).SetInt64(1)
	for n := int64(1); term.Sign() != 0 && term.MantExp(nil) > -int(bits+2*k); n++ {
		term.Mul(term, r).Quo(term, big.NewFloat(float64(n)))
		total.Add(total, term)
	}
	for range k {
		total.Mul(total, total)
	}
	return bigNew(bits).Set(total)
}

// bigLog solves e^y = x by Halley's iteration, each step of which triples the digits.
func bigLog(x *big.Float) *big.Float {
	bits := x.Prec()
	mantissa := bigNew(bits)
	e := x.MantExp(mantissa)
	y := bigNew(bits)
	if x.Cmp(big.NewFloat(1)) == 0 {
		return y
	}
	f, _ := mantissa.Float64()
	y.SetFloat64(math.Log(f) + float64(e)*math.Ln2)
	for range 5 {
		p := bigExp(y)
		up, down := bigNew(bits).Sub(x, p), bigNew(bits).Add(x, p)
		y.Add(y, up.Quo(up.Mul(up, big.NewFloat(2)), down))
	}
	return y
}

// bigPi is Machin's formula, 16 atan(1/5) - 4 atan(1/239).
func bigPi(bits uint) *big.Float {
	atan := func(n int64) *big.Float {
		total := bigNew(bits + 32)
		power := bigNew(bits+32).Quo(bigNew(bits+32).SetInt64(1), big.NewFloat(float64(n)))
		for k := int64(1); power.MantExp(nil) > -int(bits+32); k += 2 {
			term := bigNew(bits+32).Quo(power, big.NewFloat(float64(k)))
			if k%4 == 3 {
				term.Neg(term)
			}
			total.Add(total, term)
			power.Quo(power, big.NewFloat(float64(n*n)))
		}
		return total
	}
	a, b := atan(5), atan(239)
	return bigNew(bits).Sub(a.Mul(a, big.NewFloat(16)), b.Mul(b, big.NewFloat(4)))
}

// bigErfc is 1 less the Maclaurin series of erf, with so many bits that enough
// remain after its terms cancel.
func bigErfc(x *big.Float) *big.Float {
	f, _ := x.Float64()
	bits := uint(referenceBits + 5*f*f)
	square := bigNew(bits).Mul(bigNew(bits).Set(x), x)
	term, total := bigNew(bits).Set(x), bigNew(bits).Set(x)
	for n := int64(1); term.Sign() != 0 && term.MantExp(nil) > -int(bits); n++ {
		term.Mul(term, square).Quo(term, big.NewFloat(float64(-n)))
		total.Add(total, bigNew(bits).Quo(term, big.NewFloat(float64(2*n+1))))
	}
	total.Mul(total, big.NewFloat(2)).Quo(total, bigNew(bits).Sqrt(bigPi(bits)))
	return total.Sub(big.NewFloat(1), total)
}

// bigStirling is Stirling's series at x > 100 with 60 Bernoulli numbers.
func bigStirling(x *big.Float) *big.Float {
	total, power := bigNew(referenceBits), bigNew(referenceBits).Set(x)
	square := bigNew(referenceBits).Mul(x, x)
	for k, b := range bernoulli {
		n := int64(2*k + 2)
		c := bigNew(referenceBits).SetRat(new(big.Rat).Quo(b, big.NewRat(n*(n-1), 1)))
		total.Add(total, c.Quo(c, power))
		power.Mul(power, square)
	}
	return total
}

// bernoulli holds B2, B4, ..., from the recurrence sum C(m+1, j) B(j) = 0.
var bernoulli = func() []*big.Rat {
	b := []*big.Rat{big.NewRat(1, 1)}
	var even []*big.Rat
	for m := int64(1); m <= 120; m++ {
		total := new(big.Rat)
		for j, v := range b {
			c := new(big.Int).Binomial(m+1, int64(j))
			total.Add(total, new(big.Rat).Mul(v, new(big.Rat).SetInt(c)))
		}
		b = append(b, total.Quo(total, big.NewRat(-(m+1), 1)))
		if m%2 == 0 {
			even = append(even, b[m])
		}
	}
	return even
}()

// bigApproximateLogGamma is (x - 1/2) ln x - x + ln(2 pi)/2.
func bigApproximateLogGamma(x *big.Float) *big.Float {
	v := bigNew(referenceBits).Sub(x, big.NewFloat(0.5))
	v.Mul(v, bigLog(x)).Sub(v, x)
	c := bigPi(referenceBits)
	c = bigLog(c.Mul(c, big.NewFloat(2)))
	return v.Add(v, c.Quo(c, big.NewFloat(2)))
}

func bigLogGamma(x *big.Float) *big.Float {
	y, shift := bigNew(referenceBits).Set(x), bigNew(referenceBits).SetInt64(1)
	for y.Cmp(big.NewFloat(150)) < 0 {
		shift.Mul(shift, y)
		y.Add(y, big.NewFloat(1))
	}
	v := bigApproximateLogGamma(y)
	v.Add(v, bigStirling(y))
	return v.Sub(v, bigLog(shift))
}

// ulps returns the error of got in units in the last place of want, none of which
// is smaller than the smallest float64 or than floor.
func ulps(got float64, want *big.Float, floor float64) float64 {
	if math.IsInf(got, 0) || math.IsNaN(got) {
		return math.Inf(1)
	}
	unit := math.Max(math.Ldexp(1, max(want.MantExp(nil)-53, -1074)), floor)
	e := bigNew(referenceBits).Sub(bigOf(got), want)
	f, _ := e.Quo(e, bigOf(unit)).Float64()
	return math.Abs(f)
}
