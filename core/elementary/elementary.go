// Package elementary computes exponentials, logarithms, powers, the tails of the
// normal distribution and the logarithm of the gamma function with the same bits
// on every processor and in every build.
//
// The functions of package math do not: some have assembly kernels, and some
// change their last bit with the processor's fused multiply-add. Here everything
// is + - * / in a fixed order, and exact scaling by powers of two. Where digits
// would be lost, sums are carried as pairs of float64 with about 106 bits.
//
// Special values follow package math: an infinite result stands for overflow,
// NaN for an argument outside the domain. Every bound counts in ulp, units in the
// last place of the result, for results that are not subnormal; a subnormal result
// is within one unit of 2^-1074. A test holds the bounds against series summed at
// 420 bits, over the whole domain.
package elementary

import "math"

// Exp returns e^x within 0.52 ulp.
//
// Domain: every x. Above 709.79 the result is +Inf, below -745.14 it is 0.
// Method: x = k ln2/32 + r with |r| <= ln2/64, a table of 2^(j/32) in double
// length, the series of e^r to r^7/7!, whose remainder is below 2^-67.
// Formula: exp/1
func Exp(x float64) float64 {
	switch {
	case math.IsNaN(x):
		return x
	case x > 710:
		return math.Inf(1)
	case x < -746:
		return 0
	}
	m, k := exp(double{x, 0})
	return math.Ldexp(m, k)
}

// exp returns e^x as m * 2^k with m in (0.98, 2.02), within 0.52 ulp, for |x| < 750.
func exp(x double) (m float64, k int) {
	steps := math.Round(x.hi * stepsPerUnit)
	a := sum(x.hi, -float64(steps*stepHi))
	r := quickSum(a.hi, a.lo+(x.lo-float64(steps*stepLo)))

	q := 1.0 / 5040
	q = float64(q*r.hi) + 1.0/720
	q = float64(q*r.hi) + 1.0/120
	q = float64(q*r.hi) + 1.0/24
	q = float64(q*r.hi) + 1.0/6
	q = float64(q*r.hi) + 1.0/2
	p := r.hi + (r.lo + float64(float64(r.hi*r.hi)*q)) // e^r - 1

	n := int(steps)
	t := powersOfTwo[n&31]
	return t.hi + (t.lo + float64(t.hi*p)), n >> 5
}

// Log returns the natural logarithm of x within 0.51 ulp.
//
// Domain: x > 0. Log(0) is -Inf, Log(+Inf) is +Inf, a negative x gives NaN.
// Formula: log/1
func Log(x float64) float64 {
	switch {
	case math.IsNaN(x) || x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	case x > math.MaxFloat64:
		return x
	}
	return log(x).hi
}

// log returns ln x within 2^-66 of the result, for finite x > 0.
//
// Method: x = 2^e m with m in [sqrt(1/2), sqrt(2)); r = m c - 1 for the double c
// nearest to the reciprocal of m rounded to 1/128, exactly; ln x = e ln2 - ln c +
// ln(1 + r) with |r| < 0.0056, of whose series r and r^2/2 are carried in double
// length; the remainder after r^9/9 is below 2^-69 of r.
func log(x float64) double {
	m, e := math.Frexp(x)
	if m < rootHalf.hi {
		m *= 2
		e--
	}
	i := int(math.Round(m * 128))
	p := product(m, 128/float64(i))
	r := quickSum(p.hi-1, p.lo) // p.hi is so close to 1 that this is exact
	s := product(r.hi, r.hi)
	s.lo += float64(2 * r.hi * r.lo)

	q := 1.0 / 9
	for n := 8.0; n >= 3; n-- {
		q = 1/n - float64(q*r.hi)
	}
	cube := float64(float64(s.hi*r.hi) * q)
	s = s.half()

	c := logs[i-firstLog]
	k := float64(e)
	a := sum(float64(k*ln2Hi), c.hi)
	b := sum(a.hi, r.hi)
	d := sum(b.hi, -s.hi)
	low := cube + (r.lo - s.lo) + (c.lo + float64(k*ln2Lo)) + (a.lo + b.lo + d.lo)
	return quickSum(d.hi, low)
}

// Log1p returns ln(1 + x) within 0.51 ulp, also where x is tiny.
//
// Domain: x > -1. Log1p(-1) is -Inf, a smaller x gives NaN.
// Formula: log-one-plus/1
func Log1p(x float64) float64 {
	switch {
	case math.IsNaN(x) || x < -1:
		return math.NaN()
	case x == -1:
		return math.Inf(-1)
	case x > math.MaxFloat64:
		return x
	case x == 0:
		return x
	}
	return logOnePlus(x).hi
}

// logOnePlus returns ln(1 + x) within 2^-65 of the result, for finite x > -1.
func logOnePlus(x float64) double {
	y := sum(1, x)
	l := log(y.hi)
	if x > 0x1p200 {
		return l // the 1 is of no account, and y.hi may be beyond what over takes
	}
	// ln(y.hi + y.lo) = ln(y.hi) + y.lo/y.hi, to 2^-107.
	return l.plus(double{y.lo, 0}.over(y.hi))
}

// Log1pMinus returns ln(1 + x) - x, which is negative or zero, within 2 ulp, also
// where the two nearly cancel.
//
// Domain: x > -1; at -1 it is -Inf, a smaller x gives NaN.
// Formula: log-one-plus-minus/1
func Log1pMinus(x float64) float64 {
	switch {
	case math.IsNaN(x) || x < -1:
		return math.NaN()
	case x == -1:
		return math.Inf(-1)
	case x > math.MaxFloat64:
		return math.Inf(-1)
	case math.Abs(x) < 0x1p-7:
		// x^2 (-1/2 + x/3 - x^2/4 ...); what follows x^8/10 is below 2^-64.
		q := -1.0 / 10
		for n := 9.0; n >= 2; n-- {
			q = float64(-x*q) - 1/n
		}
		return float64(float64(x*x) * q)
	}
	return logOnePlus(x).plus(double{-x, 0}).hi
}

// Pow returns x^y within 0.53 ulp, so that a power that float64 can hold is exact.
//
// Domain: x >= 0 and any y; 0^0 is 1, 0^y is 0 for y > 0 and +Inf for y < 0; a
// negative x gives NaN, also where y is whole.
// Formula: power/1
func Pow(x, y float64) float64 {
	switch {
	case math.IsNaN(x) || math.IsNaN(y) || x < 0:
		return math.NaN()
	case y == 0 || x == 1:
		return 1
	case x == 0 || x > math.MaxFloat64 || math.IsInf(y, 0):
		return powOfLimit(x, y)
	}
	return expTimes(log(x), y)
}

// powOfLimit is x^y where x is 0 or +Inf or y is infinite, with y not 0 and x not 1.
func powOfLimit(x, y float64) float64 {
	if (x > 1) == (y > 0) {
		return math.Inf(1)
	}
	return 0
}

// Exp10 returns 10^x within 0.53 ulp; a whole x up to 22 gives the power exactly.
//
// Domain: every x; above 308.26 the result is +Inf, below -323.4 it is 0.
// Formula: exp10/1
func Exp10(x float64) float64 {
	if math.IsNaN(x) {
		return x
	}
	return expTimes(ln10, x)
}

// expTimes returns e^(l y).
func expTimes(l double, y float64) float64 {
	switch estimate := l.hi * y; {
	case estimate > 710:
		return math.Inf(1)
	case estimate < -746:
		return 0
	case math.Abs(estimate) < 0x1p-60:
		return 1 // also where a product in double length would underflow
	}
	m, k := exp(l.times(double{y, 0}))
	return math.Ldexp(m, k)
}
