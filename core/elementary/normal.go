package elementary

import "math"

// Erfc returns the complementary error function 2/sqrt(pi) times the integral of
// e^(-t^2) from x to infinity, within 4 ulp also far out in the tail.
//
// Domain: every x; above 27.3 the result is 0.
// Source: NIST Digital Library of Mathematical Functions, 7.6.1 (series) and
// 7.9.1 (continued fraction).
// Formula: erfc/1
func Erfc(x float64) float64 {
	switch {
	case math.IsNaN(x):
		return x
	case x > 28:
		return 0
	case x < -6:
		return 2 // erfc(6) is 2e-17
	case math.Abs(x) < 0x1p-60:
		return 1
	case x < 0:
		return 2 - erfc(double{-x, 0}, product(x, x), 1)
	}
	return erfc(double{x, 0}, product(x, x), 1)
}

// NormalTail returns the probability that a standard normal variable exceeds z,
// within 4 ulp also far out in the tail.
//
// Domain: every z; above 38.6 the result is 0.
// Formula: normal-tail/1
func NormalTail(z float64) float64 {
	switch {
	case math.IsNaN(z):
		return z
	case z > 39:
		return 0
	case z < -9:
		return 1
	case math.Abs(z) < 0x1p-60:
		return 0.5
	}
	x := rootHalf.times(double{math.Abs(z), 0})
	square := product(z, z).half()
	if z < 0 {
		return 1 - erfc(x, square, 0.5)
	}
	return erfc(x, square, 0.5)
}

// Where the series in double length hands over to the continued fraction, and
// after how many terms each is within 2^-58 of its limit there.
const (
	seriesUpTo     = 2.5
	seriesTerms    = 42
	fractionLevels = 60
)

// erfc returns scale * erfc(x) for 0 < x < 28 with square = x^2 and scale 1 or 1/2.
func erfc(x, square double, scale float64) float64 {
	if x.hi < seriesUpTo {
		one := double{1, 0}
		return scale * one.plus(erf(x, square).negative()).hi
	}
	f := x.hi
	for n := fractionLevels; n > 0; n-- {
		f = x.hi + float64(n)/2/f
	}
	m, k := exp(square.negative())
	return math.Ldexp(scale*(m*invRootPi/f), k)
}

// erf returns the error function within 2^-90 absolutely, for 0 < x <= seriesUpTo.
// Its largest term there is 2^6, so that ten of 102 bits cancel at most.
func erf(x, square double) double {
	term := x.times(twoOverRootPi)
	total := term
	minus := square.negative()
	for n := 1.0; n <= seriesTerms; n++ {
		term = term.times(minus).over(n)
		total = total.plus(term.over(2*n + 1))
	}
	return total
}
