// Package drift finds out whether a drive still delivers what its commissioned
// model says: control charts, trends, change points, and when a tolerance or a
// speed limit will be reached.
//
// All of it is arithmetic in float64 in a fixed order with functions whose bits do
// not depend on the processor, so that a result can be recomputed bit for bit.
// Where a test for text rests on published values, the source stands beside it.
//
// Lists are neither kept nor changed. A calculation that may run long takes a stop
// function and ends with [ErrStopped] soon after it returns true.
package drift

import (
	"errors"
	"math"

	"linepace.example/core/statistics"
)

// ErrStopped says that the stop function ended a calculation.
var ErrStopped = errors.New("the calculation was stopped")

// Stop tells a long calculation to end; nil never does.
type Stop func() bool

func (s Stop) now() bool { return s != nil && s() }

// Alarm tells on which side of its limits a chart is.
type Alarm int8

// Sides.
const (
	NoAlarm Alarm = 0
	High    Alarm = 1
	Low     Alarm = -1
)

// Baseline is what readings of a time that is taken as good say of the level of
// later ones.
type Baseline struct {
	Count  int
	Target float64 // their mean, in the unit of the readings
	// TargetU is its standard uncertainty: the true level may differ by so much
	// from the target, which a chart then sees as a shift.
	TargetU float64
	Sigma   float64 // their standard deviation
	// SigmaBounds hold the true standard deviation with 95 % confidence, for
	// independent normal readings.
	SigmaBounds statistics.Interval
	// Lag1 is the lag-1 autocorrelation, and Correlated says that it exceeds
	// 2/sqrt(Count) in magnitude: then readings carry over from one to the next, and
	// the run lengths of charts, which assume independence, do not hold.
	Lag1       float64
	Correlated bool
}

// baselineNeed is the fewest readings of a baseline. At ten the standard deviation
// is known within a factor of 0.69 to 1.83 with 95 % confidence; fewer make the run
// lengths at its bounds meaningless. Common practice asks for twenty.
const baselineNeed = 10

// BaselineOf learns a baseline from at least ten readings.
//
// Source of the bound of Lag1: NIST/SEMATECH e-Handbook of Statistical Methods,
// 1.3.3.1 (autocorrelation plot, 95 % band).
// Errors: *statistics.TooFewError, *statistics.DomainError, *statistics.NoSpreadError
// where all readings agree exactly.
// Formula: baseline/1
func BaselineOf(readings []float64) (Baseline, error) {
	if len(readings) < baselineNeed {
		return Baseline{}, &statistics.TooFewError{Method: "a baseline", Have: len(readings), Need: baselineNeed, Of: "readings"}
	}
	s, err := statistics.Summarise(readings)
	if err != nil {
		return Baseline{}, err
	}
	if s.SD == 0 {
		return Baseline{}, &statistics.NoSpreadError{Name: "baseline"}
	}
	bounds, err := s.SDInterval(0.95)
	if err != nil {
		return Baseline{}, err
	}
	return Baseline{
		Count: s.Count, Target: s.Mean, TargetU: s.MeanU(), Sigma: s.SD, SigmaBounds: bounds,
		Lag1: s.Lag1, Correlated: float64(s.Lag1*s.Lag1)*float64(s.Count) > 4,
	}, nil
}

// Charts are the two charts of a series of readings, with one target.
type Charts struct {
	CUSUM CUSUM
	EWMA  EWMA
}

// CheckReading returns what is wrong with a reading x and its standard deviation sigma, or
// nil: then Step takes them.
func CheckReading(x, sigma float64) error {
	switch {
	case !(math.Abs(x) <= maxReading):
		return &statistics.DomainError{Name: "x", Index: -1, Value: x, Want: "it must be a finite number of magnitude at most 1e100"}
	case !(sigma >= 1/maxReading && sigma <= maxReading):
		return &statistics.DomainError{Name: "sigma", Index: -1, Value: sigma, Want: "it must be above 0: a chart needs to know how readings scatter"}
	}
	return nil
}

// Rebase returns the same charts about a new target: after a correction, a service
// or a change of the meter. They begin anew.
func (c Charts) Rebase(target float64) Charts {
	c.CUSUM.Target, c.EWMA.Target = target, target
	return c
}
