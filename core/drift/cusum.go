package drift

import (
	"math"

	"linepace.example/core/statistics"
)

// CUSUM is a two-sided tabular cumulative sum chart. It sums how far readings lie
// above or below the target, less an allowance:
//
//	z = (x - Target)/sigma
//	high = max(0, high + z - K)        low = max(0, low - z - K)
//
// and alarms where a sum exceeds H.
//
// Source: D. C. Montgomery and G. C. Runger, Applied Statistics and Probability for
// Engineers, section 16-10; head start: J. M. Lucas and R. B. Crosier, Technometrics 24, 1982.
// Formula: cusum/1
type CUSUM struct {
	Target float64 // in the unit of the readings
	// K is the allowance (reference value), in standard deviations of a reading: half
	// of the shift that is to be found. 0 to 10.
	K float64
	// H is the decision interval, in standard deviations of a reading. Above 0, to 50.
	H float64
	// HeadStart is where both sums begin (fast initial response), in standard
	// deviations of a reading: H/2 is usual. From 0 (none) to below H.
	HeadStart float64
	// RunOn lets the sums grow on after an alarm. Otherwise they begin anew, with
	// their head start, at the reading after it.
	RunOn bool
}

// CUSUMState is a CUSUM after some readings.
type CUSUMState struct {
	High, Low float64 // sums, in standard deviations of a reading
	// HighRun and LowRun count the readings since each sum was last zero: at an alarm
	// they date the change.
	HighRun, LowRun int
	Alarm           Alarm
}

// Check returns what is wrong with the parameters, or nil.
func (c CUSUM) Check() error {
	switch {
	case !(math.Abs(c.Target) <= maxReading):
		return &statistics.DomainError{Name: "target", Index: -1, Value: c.Target, Want: "it must be a finite number of magnitude at most 1e100"}
	case !(c.K >= 0 && c.K <= 10):
		return &statistics.DomainError{Name: "k", Index: -1, Value: c.K, Want: "it must be 0 to 10 standard deviations"}
	case !(c.H > 0 && c.H <= 50):
		return &statistics.DomainError{Name: "h", Index: -1, Value: c.H, Want: "it must be above 0 and at most 50 standard deviations"}
	case !(c.HeadStart >= 0 && c.HeadStart < c.H):
		return &statistics.DomainError{Name: "headStart", Index: -1, Value: c.HeadStart, Want: "it must be 0 to below h"}
	}
	return nil
}

// maxReading bounds readings and targets, and its inverse standard deviations.
const maxReading = 1e100

// Start returns the state before the first reading.
func (c CUSUM) Start() CUSUMState { return CUSUMState{High: c.HeadStart, Low: c.HeadStart} }

// Step returns the state after a further reading x with the standard deviation
// sigma > 0 of such a reading, both in the unit of the target, that pass
// CheckReading. Readings over unequal gates each have their own sigma.
func (c CUSUM) Step(s CUSUMState, x, sigma float64) CUSUMState {
	if s.Alarm != NoAlarm && !c.RunOn {
		s = c.Start()
	}
	z := (x - c.Target) / sigma
	s.High, s.HighRun = sumUp(s.High, s.HighRun, z-c.K)
	s.Low, s.LowRun = sumUp(s.Low, s.LowRun, -z-c.K)
	switch s.Alarm = NoAlarm; {
	case s.High > c.H && s.High >= s.Low:
		s.Alarm = High
	case s.Low > c.H:
		s.Alarm = Low
	}
	return s
}

func sumUp(sum float64, run int, step float64) (float64, int) {
	if sum += step; sum > 0 {
		return sum, run + 1
	}
	return 0, 0
}
