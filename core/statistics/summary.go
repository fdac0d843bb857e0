// Package statistics has the statistics of measured values: summaries, straight
// lines with their uncertainties, the tails and quantiles of the usual
// distributions, coverage factors.
//
// Units: x and y stand for values in whatever unit the caller has; each comment
// says which of them a result is measured in. Everything is computed in float64 in
// the textbook-stable forms (two passes, centred, compensated sums), in a fixed
// order and without the functions of package math that differ between processors,
// so that a result has the same bits everywhere.
//
// Lists are neither kept nor changed.
package statistics

import (
	"math"
	"slices"

	"linepace.example/core/elementary"
)

// Sum adds up values with compensation for what each addition rounds away
// (A. Neumaier, 1974), so that its error does not grow with their count. Its zero
// value is empty and ready.
type Sum struct{ total, low float64 }

// Add adds v.
func (s *Sum) Add(v float64) {
	t := s.total + v
	d := t - s.total
	s.low += (s.total - (t - d)) + (v - d)
	s.total = t
}

// Value returns the sum of what was added.
func (s *Sum) Value() float64 { return s.total + s.low }

// Total returns the sum of x, compensated. Unit: that of x. The sum of nothing is 0.
func Total(x []float64) float64 {
	var s Sum
	for _, v := range x {
		s.Add(v)
	}
	return s.Value()
}

// Summary describes values of one kind. Its units are those of the values.
type Summary struct {
	Count int
	Mean  float64
	SD    float64 // sample standard deviation, with Count - 1 in the denominator
	Min   float64
	Max   float64
	// Lag1 is the lag-1 autocorrelation coefficient of the values in their order,
	// -1 to 1. It exists where the values differ (SD > 0) and is 0 otherwise.
	Lag1 float64
}

// Summarise describes at least two values.
//
//	mean = sum x / n        sd² = sum (x - mean)² / (n - 1)
//	r1 = sum (x[i] - mean)(x[i-1] - mean) / sum (x - mean)²
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12 for r1; what the
// rounded mean leaves is added to it and taken off the sum of squares.
// Errors: *TooFewError, *DomainError.
// Formula: summary/1
func Summarise(x []float64) (Summary, error) {
	if len(x) < 2 {
		return Summary{}, &TooFewError{Method: "a standard deviation", Have: len(x), Need: 2, Of: "values"}
	}
	if err := checkValues("x", x); err != nil {
		return Summary{}, err
	}
	n := float64(len(x))
	s := Summary{Count: len(x), Mean: Total(x) / n, Min: slices.Min(x), Max: slices.Max(x)}
	var squares, products, rest Sum
	last := 0.0
	for _, v := range x {
		d := v - s.Mean
		squares.Add(float64(d * d))
		products.Add(float64(d * last))
		rest.Add(d)
		last = d
	}
	ss := squares.Value() - float64(rest.Value()*rest.Value())/n
	s.Mean += rest.Value() / n
	if s.Min < s.Max && ss > 0 {
		s.SD = math.Sqrt(ss / (n - 1))
		s.Lag1 = products.Value() / ss
	}
	return s, nil
}

// MeanU returns the standard uncertainty of the mean, SD/sqrt(Count), with
// Count - 1 degrees of freedom (GUM 4.2.3).
func (s Summary) MeanU() float64 { return s.SD / math.Sqrt(float64(s.Count)) }

// T returns Student's t of the mean against a reference, (mean - reference)/MeanU,
// with Count - 1 degrees of freedom. It exists where SD > 0.
func (s Summary) T(reference float64) (float64, bool) {
	if !(s.SD > 0) {
		return 0, false
	}
	return (s.Mean - reference) / s.MeanU(), true
}

// MeanInterval returns the interval that holds the true mean with a confidence in
// (0, 1), for independent normal values. Errors: *DomainError.
func (s Summary) MeanInterval(confidence float64) (Interval, error) {
	return around(s.Mean, s.MeanU(), confidence, float64(s.Count-1))
}

// PredictionInterval returns the interval that holds one further value with a
// confidence in (0, 1): mean +- t sd sqrt(1 + 1/n). Errors: *DomainError.
func (s Summary) PredictionInterval(confidence float64) (Interval, error) {
	return around(s.Mean, s.SD*math.Sqrt(1+1/float64(s.Count)), confidence, float64(s.Count-1))
}

// SDInterval returns the interval that holds the true standard deviation with a
// confidence in (0, 1), for independent normal values:
//
//	sd sqrt((n-1)/chi²(1-q)) to sd sqrt((n-1)/chi²(q)), q = (1 - confidence)/2.
//
// Errors: *DomainError.
func (s Summary) SDInterval(confidence float64) (Interval, error) {
	if err := checkConfidence(confidence); err != nil {
		return Interval{}, err
	}
	dof, q := float64(s.Count-1), (1-confidence)/2
	return Interval{
		Low:  s.SD * math.Sqrt(dof/chiSquareAtTail(q, dof)),
		High: s.SD * math.Sqrt(dof/chiSquareAtLowerTail(q, dof)),
	}, nil
}

// Interval is a closed range of values.
type Interval struct{ Low, High float64 }

// around returns middle +- k u with the coverage factor k.
func around(middle, u, confidence, dof float64) (Interval, error) {
	k, err := CoverageFactor(confidence, dof)
	if err != nil {
		return Interval{}, err
	}
	d := float64(k * u)
	return Interval{Low: middle - d, High: middle + d}, nil
}

// Median returns the middle of the sorted values, or the mean of the middle two.
// Errors: *TooFewError for no value, *DomainError.
// Formula: median/1
func Median(x []float64) (float64, error) {
	if len(x) == 0 {
		return 0, &TooFewError{Method: "a median", Have: 0, Need: 1, Of: "value"}
	}
	if err := checkValues("x", x); err != nil {
		return 0, err
	}
	return MedianInPlace(slices.Clone(x)), nil
}

// MedianInPlace returns the median of a list with at least one value and no NaN. It
// changes the order of the list.
// Formula: median/1
func MedianInPlace(list []float64) float64 {
	half := len(list) / 2
	high := Nth(list, half)
	if len(list)%2 == 1 {
		return high
	}
	return float64(slices.Max(list[:half])/2) + float64(high/2)
}

// Nth moves the k-th smallest value, counted from 0, to list[k], with no greater one
// before it and no smaller one behind it, and returns it. It takes O(n) unless the values are
// set against it. The list must hold no NaN and more than k values.
func Nth(list []float64, k int) float64 {
	low, high := 0, len(list)-1
	for high-low > 16 {
		// The median of nine, spread evenly.
		var nine [9]float64
		for t := range nine {
			nine[t] = list[low+(high-low)*t/8]
		}
		slices.Sort(nine[:])
		pivot := nine[4]
		i, j := low, high
		for i <= j {
			for list[i] < pivot {
				i++
			}
			for list[j] > pivot {
				j--
			}
			if i <= j {
				list[i], list[j] = list[j], list[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return list[k]
		}
	}
	slices.Sort(list[low : high+1])
	return list[k]
}

// Component is one contribution to a combined uncertainty.
type Component struct {
	U   float64 // standard uncertainty, in the unit of the result, >= 0
	Dof float64 // degrees of freedom, > 0; +Inf where it is taken as known
}

// Combine returns the combined standard uncertainty of independent contributions
// and its effective degrees of freedom, which are +Inf where no contribution has
// finite ones:
//
//	u² = sum u[i]²        dof = u⁴ / sum (u[i]⁴/dof[i])
//
// Source: GUM (JCGM 100:2008) 5.1.2 and G.4.1 (Welch-Satterthwaite).
// Errors: *TooFewError for no component, *DomainError.
// Formula: combined-uncertainty/1
func Combine(components []Component) (u, dof float64, err error) {
	if len(components) == 0 {
		return 0, 0, &TooFewError{Method: "a combined uncertainty", Have: 0, Need: 1, Of: "component"}
	}
	greatest := 0.0
	for i, c := range components {
		if !(c.U >= 0 && c.U <= maxMagnitude) {
			return 0, 0, &DomainError{Name: "u", Index: i, Value: c.U, Want: "a standard uncertainty must be 0 to 1e140"}
		}
		if !(c.Dof > 0) {
			return 0, 0, &DomainError{Name: "dof", Index: i, Value: c.Dof, Want: "degrees of freedom must be above 0"}
		}
		greatest = max(greatest, c.U)
	}
	if greatest == 0 {
		return 0, math.Inf(1), nil
	}
	var squares, fourths Sum // of shares of the greatest, which cannot overflow
	for _, c := range components {
		square := float64(c.U / greatest * (c.U / greatest))
		squares.Add(square)
		fourths.Add(float64(square*square) / c.Dof)
	}
	total := squares.Value()
	if fourths.Value() == 0 {
		return greatest * math.Sqrt(total), math.Inf(1), nil
	}
	return greatest * math.Sqrt(total), float64(total*total) / fourths.Value(), nil
}

// CoverageFactor returns k such that the mean +- k u covers with a confidence in
// (0, 1) at the given degrees of freedom: the quantile of Student's t, or of the
// normal distribution for infinite dof. The GUM truncates effective degrees of
// freedom to a whole number first (G.4.1); whoever wants that passes it so.
//
// Source: GUM (JCGM 100:2008) G.3.
// Errors: *DomainError.
// Formula: coverage-factor/1
func CoverageFactor(confidence, dof float64) (float64, error) {
	if err := checkConfidence(confidence); err != nil {
		return 0, err
	}
	if !(dof >= minDof) {
		return 0, &DomainError{Name: "dof", Index: -1, Value: dof, Want: "degrees of freedom must be at least 0.001"}
	}
	k := studentAtTail((1-confidence)/2, dof)
	if math.IsInf(k, 0) {
		return 0, &DomainError{Name: "dof", Index: -1, Value: dof, Want: "with so few degrees of freedom nothing finite covers that much"}
	}
	return k, nil
}

func checkConfidence(c float64) error {
	if !(c > 0 && c < 1) {
		return &DomainError{Name: "confidence", Index: -1, Value: c, Want: "a confidence must be above 0 and below 1"}
	}
	return nil
}

// NormalTail returns the probability that a standard normal variable exceeds z,
// within 4 ulp.
func NormalTail(z float64) float64 { return elementary.NormalTail(z) }

// NormalCDF returns the probability of at most z, within 4 ulp.
func NormalCDF(z float64) float64 { return elementary.NormalTail(-z) }
