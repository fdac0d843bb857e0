package statistics

import "math"

// Running describes values as they come, in constant memory. Its fields are all of its
// state: whoever keeps them may go on elsewhere and gets the same bits. Its zero value
// has seen nothing.
type Running struct {
	Count       int64
	Mean        float64
	Squares     float64 // sum of (x - Mean)²
	Neighbours  float64 // sum of (x[i] - Mean)(x[i-1] - Mean)
	First, Last float64
	Min, Max    float64
}

// Add returns r with a further value x, |x| <= 1e140, which the caller has checked.
//
// Source: B. P. Welford, Technometrics 4, 1962; the sum over neighbours moves with the mean
// likewise.
// Formula: running-summary/1
func (r Running) Add(x float64) Running {
	if r.Count == 0 {
		return Running{Count: 1, Mean: x, First: x, Last: x, Min: x, Max: x}
	}
	old := float64(r.Count)
	r.Count++
	d := x - r.Mean
	step := d / float64(r.Count)
	// About the new mean: all deviations lessen by step. Those from the second on
	// sum to the negative first one, those up to the last but one to the negative last.
	ends := (r.First - r.Mean) + (r.Last - r.Mean)
	r.Neighbours += float64(step*ends) + float64(float64((old-1)*step)*step)
	r.Mean += step
	r.Neighbours += float64((x - r.Mean) * (r.Last - r.Mean))
	r.Squares += float64(d * (x - r.Mean))
	r.Last, r.Min, r.Max = x, min(r.Min, x), max(r.Max, x)
	return r
}

// Summary returns what Summarise returns of the same values, within rounding.
// Errors: *TooFewError.
func (r Running) Summary() (Summary, error) {
	if r.Count < 2 {
		return Summary{}, &TooFewError{Method: "a standard deviation", Have: int(r.Count), Need: 2, Of: "values"}
	}
	s := Summary{Count: int(r.Count), Mean: r.Mean, Min: r.Min, Max: r.Max}
	if r.Squares > 0 && r.Min < r.Max {
		s.SD = math.Sqrt(r.Squares / float64(r.Count-1))
		s.Lag1 = r.Neighbours / r.Squares
	}
	return s, nil
}

// RunningLine fits a straight line to points as they come, in constant memory. Its
// fields are all of its state, as with Running.
type RunningLine struct {
	Count        int64
	Weights      float64 // sum of w
	XMean, YMean float64 // weighted
	XX, XY, YY   float64 // sums of w (x - XMean)² and so on
	SSE          float64 // sum of the squared residuals about the line so far
}

// Add returns r with a further point of weight w > 0 (1 where all are alike); |x| and |y| at
// most 1e140 and w from 1e-140 to 1e140, which the caller has checked.
//
//	SSE += e² / (1/w + h)
//
// with e the residual of the point from the line before it, and h the variance of
// that line there for readings of weight 1. Unlike the difference of the total and the explained sum it
// loses no digits where the line fits closely.
//
// Source: R. L. Brown, J. Durbin and J. M. Evans, JRSS B 37, 1975 (recursive residuals).
// Formula: running-line/1
func (r RunningLine) Add(x, y, w float64) RunningLine {
	if r.Count == 0 {
		return RunningLine{Count: 1, Weights: w, XMean: x, YMean: y}
	}
	dx, dy := x-r.XMean, y-r.YMean
	switch h := 1/w + 1/r.Weights; {
	case r.XX > 0:
		e := dy - float64(r.XY/r.XX*dx)
		r.SSE += float64(e*e) / (h + float64(dx*dx)/r.XX)
	case dx == 0: // all at one x so far: the scatter about their mean
		r.SSE += float64(dy*dy) / h
	}
	r.Count++
	before := r.Weights
	r.Weights += w
	share := w / r.Weights
	r.XMean += float64(share * dx)
	r.YMean += float64(share * dy)
	f := float64(before * share)
	r.XX += float64(f * float64(dx*dx))
	r.XY += float64(f * float64(dx*dy))
	r.YY += float64(f * float64(dy*dy))
	return r
}

// Line returns what FitLineWeighted returns of the same points, within rounding.
// Errors: *TooFewError below three points, *NoSpreadError.
func (r RunningLine) Line() (Line, error) {
	if r.Count < 3 {
		return Line{}, &TooFewError{Method: "a straight line", Have: int(r.Count), Need: 3, Of: "points"}
	}
	if !(r.XX > 0) {
		return Line{}, &NoSpreadError{Name: "x"}
	}
	l := Line{Count: int(r.Count), Dof: int(r.Count) - 2, XMean: r.XMean, YMean: r.YMean, total: r.YY}
	l.Slope = r.XY / r.XX
	l.Intercept = l.YMean - float64(l.Slope*l.XMean)
	l.setResiduals(r.SSE)
	l.setUncertainties(r.Weights, r.XX)
	return l, nil
}
