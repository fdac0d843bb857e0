package statistics

import (
	"math"

	"linepace.example/core/elementary"
)

// Degrees of freedom for which series and fractions are short enough, and nothing
// overflows.
const (
	minDof = 1e-3
	maxDof = 1e8
)

// NormalQuantile returns the z that a standard normal variable stays below with
// probability p, within 8 ulp of what p and its rounding determine.
//
// Domain: p in [0, 1], -Inf and +Inf at its ends; NaN outside.
// Formula: normal-quantile/1
func NormalQuantile(p float64) float64 {
	if p > 0.5 {
		return normalAtTail(1 - p)
	}
	return -normalAtTail(p)
}

// normalAtTail returns the z that is exceeded with probability q in [0, 1/2].
func normalAtTail(q float64) float64 {
	switch {
	case !(q >= 0 && q <= 0.5):
		return math.NaN()
	case q == 0:
		return math.Inf(1)
	case q == 0.5:
		return 0
	}
	logQ := elementary.Log(q)
	return root(0, 39, func(z float64) float64 { return elementary.Log(elementary.NormalTail(z)) - logQ })
}

// StudentTail returns the probability that Student's t with dof degrees of freedom
// exceeds t, relative error below 1e-12 for dof up to 1e6.
//
// Domain: dof from 0.001 (+Inf is the normal distribution), every t; NaN outside.
// Source: NIST Digital Library of Mathematical Functions, 8.17: the regularised
// incomplete beta function; from 1e7 degrees of freedom on the approximation of
// Peizer and Pratt (JASA 63, 1968), which is within 1e-12 + 1e-13 t² there.
// Formula: student-tail/1
func StudentTail(t, dof float64) float64 {
	switch {
	case math.IsNaN(t) || !(dof >= minDof):
		return math.NaN()
	case t < 0:
		return 1 - StudentTail(-t, dof)
	case dof >= 1e7:
		return elementary.NormalTail(peizerPratt(t, dof))
	}
	// dof/(dof+t²) and t²/(dof+t²), without overflow.
	r := t / math.Sqrt(dof)
	if r > 1 {
		s := 1 / r
		y := 1 / (1 + float64(s*s))
		return lowerBeta(dof/2, 0.5, float64(s*s)*y, y) / 2
	}
	x := 1 / (1 + float64(r*r))
	return lowerBeta(dof/2, 0.5, x, float64(r*r)*x) / 2
}

// peizerPratt returns the standard normal deviate that is exceeded as often as t.
func peizerPratt(t, dof float64) float64 {
	if dof > 1e30 {
		return t
	}
	l := elementary.Log1p(t / dof * t)
	return (dof - 2.0/3 + 0.1/dof) / dof * math.Sqrt(l*dof*(dof/(dof-5.0/6)))
}

// StudentQuantile returns the t that Student's t stays below with probability p.
//
// Domain: p in [0, 1], -Inf and +Inf at its ends and beyond 1e150; dof from 0.001 (+Inf is the normal distribution); NaN outside.
// Formula: student-quantile/1
func StudentQuantile(p, dof float64) float64 {
	if p > 0.5 {
		return studentAtTail(1-p, dof)
	}
	return -studentAtTail(p, dof)
}

// studentAtTail returns the t that is exceeded with probability q in [0, 1/2].
func studentAtTail(q, dof float64) float64 {
	switch {
	case !(q >= 0 && q <= 0.5) || !(dof >= minDof):
		return math.NaN()
	case math.IsInf(dof, 1):
		return normalAtTail(q)
	case q == 0:
		return math.Inf(1)
	case q == 0.5:
		return 0
	}
	logQ := elementary.Log(q)
	t := rootAbove(func(t float64) float64 { return elementary.Log(StudentTail(t, dof)) - logQ })
	if t > 1e150 {
		return math.Inf(1) // its square is beyond float64
	}
	return t
}

// ChiSquareTail returns the probability that chi-square with dof degrees of
// freedom exceeds x, relative error below 1e-12 for dof up to 1e6.
//
// Domain: dof 0.001 to 1e8, x >= 0; NaN outside.
// Source: NIST Digital Library of Mathematical Functions, 8.7.1 (series), 8.9.2
// (continued fraction).
// Formula: chi-square-tail/1
func ChiSquareTail(x, dof float64) float64 {
	if !(dof >= minDof && dof <= maxDof) || !(x >= 0) {
		return math.NaN()
	}
	_, upper := gamma(dof/2, x/2)
	return upper
}

// ChiSquareQuantile returns the x that chi-square stays below with probability p.
//
// Domain: p in [0, 1], 0 and +Inf at its ends; dof 0.001 to 1e8; NaN outside.
// Formula: chi-square-quantile/1
func ChiSquareQuantile(p, dof float64) float64 {
	if p > 0.5 {
		return chiSquareAtTail(1-p, dof)
	}
	return chiSquareAtLowerTail(p, dof)
}

// chiSquareAtTail returns the x that is exceeded with probability q in [0, 1].
func chiSquareAtTail(q, dof float64) float64 {
	switch {
	case !(q >= 0 && q <= 1) || !(dof >= minDof && dof <= maxDof):
		return math.NaN()
	case q == 0:
		return math.Inf(1)
	case q == 1:
		return 0
	}
	logQ := elementary.Log(q)
	return rootAbove(func(x float64) float64 { return elementary.Log(ChiSquareTail(x, dof)) - logQ })
}

// chiSquareAtLowerTail returns the x that is not reached with probability p in [0, 1].
func chiSquareAtLowerTail(p, dof float64) float64 {
	switch {
	case !(p >= 0 && p <= 1) || !(dof >= minDof && dof <= maxDof):
		return math.NaN()
	case p == 0:
		return 0
	case p == 1:
		return math.Inf(1)
	}
	logP := elementary.Log(p)
	return rootAbove(func(x float64) float64 {
		lower, _ := gamma(dof/2, x/2)
		return logP - elementary.Log(lower)
	})
}

// FTail returns the probability that F with dof1 and dof2 degrees of freedom
// exceeds f, relative error below 1e-12 for degrees of freedom up to 1e6.
//
// Domain: dof1 and dof2 0.001 to 1e8, or dof2 +Inf for a variance that is
// known, f >= 0; NaN outside.
// Source: NIST Digital Library of Mathematical Functions, 8.17.
// Formula: f-tail/1
func FTail(f, dof1, dof2 float64) float64 {
	switch {
	case !(f >= 0) || !(dof1 >= minDof && dof1 <= maxDof) || !(dof2 >= minDof && (dof2 <= maxDof || math.IsInf(dof2, 1))):
		return math.NaN()
	case math.IsInf(f, 1):
		return 0
	case math.IsInf(dof2, 1):
		return ChiSquareTail(f*dof1, dof1)
	}
	r := dof1 * f / dof2
	x, y := 1/(1+r), r/(1+r)
	if math.IsInf(r, 1) {
		return 0
	}
	return lowerBeta(dof2/2, dof1/2, x, y)
}

// lowerBeta returns the regularised incomplete beta function I(x; a, b) for
// x + y = 1. Its continued fraction converges fast where x is below the mean;
// elsewhere the complement is computed.
func lowerBeta(a, b, x, y float64) float64 {
	below := float64(a*y) - float64(b*x) // a - (a + b) x
	switch {
	case x <= 0:
		return 0
	case y <= 0:
		return 1
	case below < 0:
		return 1 - betaFraction(b, a, y, x, -below)
	}
	return betaFraction(a, b, x, y, below)
}

// betaFraction returns I(x; a, b) as x^a y^b / B(a, b) over
//
//	f[0] + e[1]/(f[1] + e[2]/(f[2] + ...)), where, with l = a - (a + b) x >= 0,
//	e[n] = (a+n-1)(a+b+n-1) n (b-n) x² / (a+2n-1)²
//	f[n] = n + n (b-n) x/(a+2n-1) + (a+n)(l+1+n(1+y))/(a+2n+1)
//
// by the method of Lentz. It is the even part of NIST Digital Library of
// Mathematical Functions, 8.17.22, in which nothing cancels for large a. Source: A. R. DiDonato and A. H.
// Morris, Algorithm 708, ACM TOMS 18, 1992.
func betaFraction(a, b, x, y, l float64) float64 {
	f := a / (a + 1) * (l + 1)
	c, d := f, 0.0
	for n := 1.0; n < maxTerms; n++ {
		s := a + 2*n
		w := n * (b - n) / (s - 1) * x
		e := (a + n - 1) / (s - 1) * (a + b + n - 1) * x * w
		g := n + float64(w) + float64((a+n)/(s+1)*(l+1+float64(n*(1+y))))
		d = 1 / (g + float64(e*d))
		c = g + e/c
		step := float64(c * d)
		f = float64(f * step)
		if math.Abs(step-1) < 0x1p-53 {
			break
		}
	}
	return betaPower(a, b, x, y, l) / f
}

// maxTerms bounds series and fractions; at 1e6 degrees of freedom they need about
// 1e4 terms.
const maxTerms = 1e6

// betaPower returns x^a y^b / B(a, b) for x + y = 1 and l = a - (a + b) x. With
// n = a + b it is
//
//	sqrt(a b / (2 pi n)) exp(-a g(x n/a) - b g(y n/b) + s(n) - s(a) - s(b))
//
// with g(u) = u - 1 - ln u and s the error of Stirling's formula, in which nothing large
// cancels (after C. Loader, Fast and accurate computation of binomial probabilities, 2000).
func betaPower(a, b, x, y, l float64) float64 {
	n := a + b
	e := -float64(a*excess(x/a*n, -l/a)) - float64(b*excess(y/b*n, l/b))
	e += elementary.StirlingError(n) - elementary.StirlingError(a) - elementary.StirlingError(b)
	return math.Sqrt(a/n*b) * invRootTwoPi * elementary.Exp(e)
}

// gammaPower returns x^a e^-x / Gamma(a), likewise.
func gammaPower(a, x float64) float64 {
	e := -float64(a*excess(x/a, (x-a)/a)) - elementary.StirlingError(a)
	return math.Sqrt(a) * invRootTwoPi * elementary.Exp(e)
}

// excess returns u - 1 - ln u, given u and u - 1, of which the first is the more
// precise where u is small and the second near 1.
func excess(u, less float64) float64 {
	if u < 0.5 {
		return u - 1 - elementary.Log(u)
	}
	return -elementary.Log1pMinus(less)
}

const invRootTwoPi = 0.39894228040143267793994605993438187

// gamma returns the regularised incomplete gamma functions P(a, x) and Q(a, x).
func gamma(a, x float64) (lower, upper float64) {
	switch {
	case x == 0:
		return 0, 1
	case math.IsInf(x, 1):
		return 1, 0
	case x < a+1:
		term, total := 1/a, 1/a
		for n := 1.0; n < maxTerms && term > total*0x1p-54; n++ {
			term = float64(term * (x / (a + n)))
			total += term
		}
		lower = float64(gammaPower(a, x) * total)
		return lower, 1 - lower
	}
	// Q = x^a e^-x / Gamma(a) / (x+1-a - 1(1-a)/(x+3-a - 2(2-a)/(x+5-a - ...)))
	b := x + 1 - a
	d := 1 / b
	c, f := math.Inf(1), d
	for n := 1.0; n < maxTerms; n++ {
		numerator := n * (a - n)
		b += 2
		d = 1 / (b + float64(numerator*d))
		c = b + numerator/c
		step := float64(c * d)
		f *= step
		if math.Abs(step-1) < 0x1p-53 {
			break
		}
	}
	upper = float64(gammaPower(a, x) * f)
	return 1 - upper, upper
}

// rootAbove returns the positive root of a decreasing function, or +Inf (0) where
// it lies beyond (below) what float64 holds.
func rootAbove(f func(float64) float64) float64 {
	low, high := 1.0, 1.0
	for f(high) > 0 {
		low, high = high, high*8
		if math.IsInf(high, 1) {
			return high
		}
	}
	for f(low) < 0 {
		low, high = low/8, low
		if low == 0 {
			return 0
		}
	}
	return root(low, high, f)
}

// root returns where the decreasing f crosses zero between low and high: secants
// (the Illinois rule), and a bisection whenever three of them did not halve the range.
func root(low, high float64, f func(float64) float64) float64 {
	finite := func(x float64) float64 { return min(max(f(x), -1e3), 1e3) } // a tail may underflow
	atLow, atHigh := finite(low), finite(high)
	width, kept := high-low, 0.0
	for step := 1; step < 400 && atLow > 0 && atHigh < 0; step++ {
		x := low + float64((high-low)*(atLow/(atLow-atHigh)))
		if step%3 == 0 {
			if high-low > width/2 {
				x = low + float64((high-low)/2)
			}
			width = high - low
		}
		if x <= low || x >= high {
			x = low + float64((high-low)/2)
		}
		if x <= low || x >= high {
			break
		}
		at := finite(x)
		if at >= 0 {
			if low, atLow = x, at; kept > 0 {
				atHigh /= 2
			}
			kept = 1
		} else {
			if high, atHigh = x, at; kept < 0 {
				atLow /= 2
			}
			kept = -1
		}
	}
	if atHigh >= 0 {
		return high
	}
	return low
}
