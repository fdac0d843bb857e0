package drift

import (
	"cmp"
	"math"
	"slices"

	"linepace.example/core/statistics"
)

// TheilSen is the line through the median of all slopes, which a few readings that
// are far off do not move.
type TheilSen struct {
	Count int
	Pairs int64 // pairs of points of different x, each with a slope
	// Slope is the median of the slopes; of an even number, the mean of the middle
	// two. y per x.
	Slope float64
	// Low and High bound the slope with the confidence that was asked for: the slopes
	// of rank LowRank and Pairs + 1 - LowRank, counted from 1. Too few points have no
	// such ranks; Bounded is then false and the three are 0.
	Low, High float64
	LowRank   int64
	Bounded   bool
	// Intercept is the median of y - Slope x, which leaves as many points above as below.
	Intercept float64
	// SeparateIntercept is the median of y less Slope times the median of x (W. J. Conover).
	SeparateIntercept float64
}

// TheilSenLine fits to at least two points with different x. x may repeat, and so
// may y. The slopes are ordered as exact numbers and each is rounded once, so that the
// result does not depend on how it was found. 1,000,000 points take 2 s or less and
// memory in proportion to their number.
//
//	LowRank = floor((Pairs - C)/2)        C = z sqrt(var S)
//
// with z the two-sided normal quantile of the confidence, and var S as in MannKendall.
//
// Source: P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, JASA 63,
// 1968; ranks rounded outwards.
// Domain: |x| and |y| 0 or 1e-60 to 1e60; confidence in (0, 1).
// Errors: *statistics.TooFewError, *statistics.LengthError, *statistics.DomainError,
// *statistics.NoSpreadError where all x are equal, ErrStopped.
// Formula: theil-sen/1
func TheilSenLine(x, y []float64, confidence float64, stop Stop) (TheilSen, error) {
	z, err := statistics.CoverageFactor(confidence, math.Inf(1))
	if err != nil {
		return TheilSen{}, err
	}
	sortedX, sortedY, err := sortedPoints("a Theil-Sen line", x, y)
	if err != nil {
		return TheilSen{}, err
	}
	s := newSelector(sortedX, sortedY, stop)
	low, high := s.ends()
	line := TheilSen{Count: len(x), Pairs: high.count}
	variance, _ := kendallVariance(sortedX, sortedY).Float64()
	if rank := math.Floor((float64(line.Pairs) - float64(z*math.Sqrt(variance))) / 2); rank >= 1 {
		line.Bounded, line.LowRank = true, int64(rank)
	}

	middle, other := (line.Pairs+1)/2, line.Pairs/2+1
	ranks := []int64{middle, other}
	if line.Bounded {
		ranks = append(ranks, line.LowRank, line.Pairs+1-line.LowRank)
	}
	slices.Sort(ranks)
	if !s.find(low, high, slices.Compact(ranks)) {
		return TheilSen{}, ErrStopped
	}
	line.Slope = float64(s.found[middle]/2) + float64(s.found[other]/2)
	if line.Bounded {
		line.Low, line.High = s.found[line.LowRank], s.found[line.Pairs+1-line.LowRank]
	}
	line.Intercept, line.SeparateIntercept = intercepts(sortedX, sortedY, line.Slope)
	return line, nil
}

func intercepts(x, y []float64, slope float64) (joint, separate float64) {
	rest := make([]float64, len(x))
	for i := range x {
		rest[i] = y[i] - float64(slope*x[i])
	}
	joint = statistics.MedianInPlace(rest)
	copy(rest, x)
	middle := statistics.MedianInPlace(rest)
	copy(rest, y)
	return joint, statistics.MedianInPlace(rest) - float64(slope*middle)
}

// sortedPoints returns copies of the points in ascending order of x, and of y where
// x is the same.
func sortedPoints(method string, x, y []float64) (sortedX, sortedY []float64, err error) {
	if len(x) != len(y) {
		return nil, nil, &statistics.LengthError{First: "x", Second: "y", Want: len(x), Have: len(y)}
	}
	if len(x) < 2 {
		return nil, nil, &statistics.TooFewError{Method: method, Have: len(x), Need: 2, Of: "points"}
	}
	if err := firstError(checkSize("x", x), checkSize("y", y)); err != nil {
		return nil, nil, err
	}
	list := make([]point, len(x))
	for i := range list {
		list[i] = point{x[i] + 0, y[i] + 0} // no negative zeros
	}
	byPlace := func(a, b point) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) }
	if !slices.IsSortedFunc(list, byPlace) {
		slices.SortFunc(list, byPlace)
	}
	if list[0].x == list[len(list)-1].x {
		return nil, nil, &statistics.NoSpreadError{Name: "x"}
	}
	sortedX, sortedY = make([]float64, len(x)), make([]float64, len(x))
	for i, p := range list {
		sortedX[i], sortedY[i] = p.x, p.y
	}
	return sortedX, sortedY, nil
}

func checkSize(name string, x []float64) error {
	for i, v := range x {
		if a := math.Abs(v); !(a == 0 || a >= smallestValue && a <= greatestValue) {
			return &statistics.DomainError{Name: name, Index: i, Value: v, Want: "it must be 0 or of magnitude 1e-60 to 1e60"}
		}
	}
	return nil
}
