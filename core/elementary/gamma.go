package elementary

import "math"

// LogGamma returns the natural logarithm of the gamma function within 4 units of
// 2^-52 of the greater of 1 and the result. (Near its zeros at 1 and 2 the bound is
// thus absolute.)
//
// Domain: x > 0; LogGamma(0) is +Inf, as is that above 2.5e305; a negative x gives NaN.
// Formula: log-gamma/1
func LogGamma(x float64) float64 {
	switch {
	case math.IsNaN(x) || x < 0:
		return math.NaN()
	case x == 0 || math.IsInf(x, 1):
		return math.Inf(1)
	case x == 1 || x == 2:
		return 0
	case x > 1e20:
		return x * (log(x).hi - 1) // what follows is below 2^-60 of it
	}
	return logGamma(x).hi
}

// logGamma returns ln Gamma(x) within 2^-58 of the greater of 1 and the result,
// for 0 < x <= 1e20.
func logGamma(x float64) double {
	// Gamma(x) = Gamma(x + n) / (x (x+1) ... (x+n-1)), so that Stirling's series
	// is precise.
	y, shift := double{x, 0}, double{1, 0}
	for y.hi < stirlingFrom {
		shift = shift.times(y)
		y = y.plus(double{1, 0})
	}
	return approximateLogGamma(y).plus(double{stirling(y.hi), 0}).plus(logOf(shift).negative())
}

// approximateLogGamma returns (x - 1/2) ln x - x + ln(2 pi)/2.
func approximateLogGamma(x double) double {
	return x.plus(double{-0.5, 0}).times(logOf(x)).plus(x.negative()).plus(halfLnTwoPi)
}

// logOf returns ln x within 2^-66 of the result or 2^-106.
func logOf(x double) double {
	return log(x.hi).plus(double{x.lo / x.hi, 0})
}

// StirlingError returns ln Gamma(x) less Stirling's approximation,
//
//	ln Gamma(x) - ((x - 1/2) ln x - x + ln(2 pi)/2),
//
// which is about 1/(12 x), within 2^-48 of it. Ratios of gamma functions of large
// arguments keep their digits when they are written with it.
//
// Domain: x > 0; at 0 it is +Inf, a negative x gives NaN.
// Source: C. Loader, Fast and accurate computation of binomial probabilities, 2000;
// series: NIST Digital Library of Mathematical Functions, 5.11.1.
// Formula: stirling-error/1
func StirlingError(x float64) float64 {
	switch {
	case math.IsNaN(x) || x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(1)
	case x >= stirlingFrom:
		return stirling(x)
	}
	return logGamma(x).plus(approximateLogGamma(double{x, 0}).negative()).hi
}

// stirlingFrom is where eight terms of Stirling's series leave less than 2^-58.
const stirlingFrom = 12

// stirling returns Stirling's series for x >= stirlingFrom: the sum of
// B(2k)/(2k (2k-1) x^(2k-1)) to k = 8.
func stirling(x float64) float64 {
	y := 1 / x
	z := float64(y * y)
	s := -3617.0 / 122400
	for _, c := range [...]float64{1.0 / 156, -691.0 / 360360, 1.0 / 1188, -1.0 / 1680, 1.0 / 1260, -1.0 / 360, 1.0 / 12} {
		s = float64(s*z) + c
	}
	return float64(s * y)
}
