package drift

import "linepace.example/core/statistics"

// Sums are those of the trend's line, of losses y at running hours x with weights w
// whose mean is 1, so that its slope is Above/Below.
type Sums struct {
	XMean, YMean float64 // sum w x / sum w, sum w y / sum w
	Above        float64 // sum w (x - XMean) (y - YMean)
	Below        float64 // sum w (x - XMean)²
}

// TrendSums returns the sums behind the trend, for its working. The line itself is
// fitted in a way that loses fewer digits.
func (a *Assessment) TrendSums(s *Study) Sums {
	x, y, w := a.columns(s, a.TrendFrom)
	mean := statistics.Total(w) / float64(len(w))
	out := Sums{XMean: a.Line.XMean, YMean: a.Line.YMean}
	var above, below statistics.Sum
	for i := range x {
		weighted := w[i] / mean * (x[i] - out.XMean)
		above.Add(float64(weighted * (y[i] - out.YMean)))
		below.Add(float64(weighted * (x[i] - out.XMean)))
	}
	out.Above, out.Below = above.Value(), below.Value()
	return out
}

// MeanOfLosses returns the weighted sum of the losses since the change and that of
// their weights, whose mean is 1.
func (a *Assessment) MeanOfLosses() (sum, weights float64) {
	losses := a.Losses[a.since():]
	mean, _ := weightedMean(losses)
	return float64(mean * float64(len(losses))), float64(len(losses))
}
