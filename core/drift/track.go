package drift

import (
	"math"

	"linepace.example/core/statistics"
)

// Watch is how a drive is watched: against which model, and by which charts of how
// many percent its delivery is off.
type Watch struct {
	Model  Model
	Wear   Wear // in whose measure the trend of the loss is kept
	Charts Charts
	// Sigma is the standard deviation of a reading in points, beside what counting
	// pulses adds to it (Reading.CountingU); above 0 where the charts' target and this are given.
	// Otherwise Baseline readings come first, ten or more, of which both are learnt.
	Sigma    float64
	Baseline int64
}

// Watched is what a Watch has seen, in constant memory. Its fields are all of its state:
// whoever keeps them may go on elsewhere and gets the same bits.
type Watched struct {
	X        float64            // of the last observation
	Percents statistics.Running // Reading.Percent of all observations
	// Counting is the sum of CountingU² over the baseline.
	Counting float64
	// Target and Sigma are those of the charts, once the baseline is complete.
	Target, Sigma float64
	CUSUM         CUSUMState
	EWMA          EWMAState
	// Trend is the loss over x, weighted with Loss.Weight.
	Trend statistics.RunningLine
}

// Watching is what a single observation says.
type Watching struct {
	Reading    Reading
	Loss       Loss
	InBaseline bool    // it is part of the baseline, and the charts are not told it
	Sigma      float64 // the reading's standard deviation, in points, counting included; 0 in the baseline
}

// Check returns what is wrong with the watch, or nil.
func (w Watch) Check() error {
	if err := firstError(w.Model.Check(), w.Charts.CUSUM.Check(), w.Charts.EWMA.Check()); err != nil {
		return err
	}
	switch {
	case w.Wear > Share:
		return &statistics.DomainError{Name: "wear", Index: -1, Value: float64(w.Wear), Want: "there is no such kind of wear"}
	case !(w.Sigma >= 0 && w.Sigma <= maxReading):
		return &statistics.DomainError{Name: "sigma", Index: -1, Value: w.Sigma, Want: "it must be above 0, or left out for a baseline"}
	case w.Sigma > 0 && w.Baseline != 0:
		return &statistics.DomainError{Name: "baseline", Index: -1, Value: float64(w.Baseline), Want: "with a given sigma there is no baseline"}
	case w.Sigma == 0 && w.Baseline < baselineNeed:
		return &statistics.TooFewError{Method: "a baseline", Have: int(w.Baseline), Need: baselineNeed, Of: "readings"}
	}
	return nil
}

// Start returns the state before the first observation: at the beginning, and again after a
// correction, a service or a change of the meter, each of which sets a new level.
func (w Watch) Start() Watched {
	s := Watched{X: -math.MaxFloat64}
	if w.Sigma > 0 {
		s.begin(w, w.Charts.CUSUM.Target, w.Sigma)
	}
	return s
}

// begin begins the charts about a target.
func (s *Watched) begin(w Watch, target, sigma float64) {
	s.Target, s.Sigma = target, sigma
	charts := w.Charts.Rebase(target)
	s.CUSUM, s.EWMA = charts.CUSUM.Start(), charts.EWMA.Start()
}

// Charting tells whether the charts have begun: the baseline is complete.
func (s Watched) Charting(w Watch) bool { return w.Sigma > 0 || s.Percents.Count >= w.Baseline }

// Step returns the state after a further observation at x, which must be above that of the one
// before it (time, accumulated turns), and what the observation says. w has passed Check.
//
// A reading's variance is that of the process, Sigma², and that of counting. A
// baseline's own is both, so that the mean of the latter is taken off it; a tenth of its
// standard deviation is left at least.
//
// Errors: *statistics.DomainError for a bad observation or x; *statistics.NoSpreadError
// where all readings of the baseline agree exactly. The state is then as before.
// Formula: watch/1
func (w Watch) Step(s Watched, x float64, o Observation) (Watched, Watching, error) {
	if err := checkSize("x", []float64{x}); err != nil {
		return s, Watching{}, err
	}
	if !(x > s.X) {
		return s, Watching{}, &statistics.DomainError{Name: "x", Index: -1, Value: x, Want: "it must be above the one before it"}
	}
	reading, err := w.Model.Read(o)
	if err != nil {
		return s, Watching{}, err
	}
	loss := w.Model.loss(w.Wear, o, reading)
	next, out := s, Watching{Reading: reading, Loss: loss, InBaseline: !s.Charting(w)}
	next.X = x
	next.Percents = s.Percents.Add(reading.Percent)
	next.Trend = s.Trend.Add(x, loss.Value, loss.Weight())
	if !out.InBaseline {
		out.Sigma = math.Sqrt(float64(s.Sigma*s.Sigma) + float64(reading.CountingU*reading.CountingU))
		charts := w.Charts.Rebase(s.Target)
		next.CUSUM = charts.CUSUM.Step(s.CUSUM, reading.Percent, out.Sigma)
		next.EWMA = charts.EWMA.Step(s.EWMA, reading.Percent, out.Sigma)
		return next, out, nil
	}
	next.Counting += float64(reading.CountingU * reading.CountingU)
	if next.Charting(w) {
		if err := next.learn(w); err != nil {
			return s, Watching{}, err
		}
	}
	return next, out, nil
}

// learn sets target and sigma from the baseline that has just been completed.
func (s *Watched) learn(w Watch) error {
	baseline, err := s.Percents.Summary()
	if err != nil {
		return err
	}
	if baseline.SD == 0 {
		return &statistics.NoSpreadError{Name: "baseline"}
	}
	variance := float64(baseline.SD*baseline.SD) - s.Counting/float64(baseline.Count)
	s.begin(w, baseline.Mean, max(math.Sqrt(max(variance, 0)), baseline.SD/10))
	return nil
}
