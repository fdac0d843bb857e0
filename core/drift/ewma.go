package drift

import (
	"math"

	"linepace.example/core/statistics"
)

// EWMA is a chart of the exponentially weighted moving average of readings:
//
//	w = w + Lambda (x - w)            beginning at the target
//	var = (1 - Lambda)² var + Lambda² sigma²      beginning at 0
//
// and alarms where w is further than Width sqrt(var) from the target. The
// recursion of the variance holds for readings of unequal sigma, too.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; J. M. Lucas and
// M. S. Saccucci, Technometrics 32, 1990.
// Formula: ewma/1
type EWMA struct {
	Target float64 // in the unit of the readings
	Lambda float64 // weight of the newest reading, above 0 to 1
	Width  float64 // of the limits, in standard deviations of the average, above 0 to 10
	// SteadyLimits sets the limits from the first reading on where they settle for
	// readings of the present sigma, as published tables of run lengths assume:
	// var = sigma² Lambda/(2 - Lambda).
	SteadyLimits bool
	// RunOn lets the average go on after an alarm. Otherwise it begins anew at the
	// target at the reading after it.
	RunOn bool
}

// EWMAState is an EWMA after some readings, in the unit of the readings.
type EWMAState struct {
	Average   float64
	Variance  float64
	UpperSide float64 // upper limit
	LowerSide float64 // lower limit
	Alarm     Alarm
}

// Check returns what is wrong with the parameters, or nil.
func (e EWMA) Check() error {
	switch {
	case !(math.Abs(e.Target) <= maxReading):
		return &statistics.DomainError{Name: "target", Index: -1, Value: e.Target, Want: "it must be a finite number of magnitude at most 1e100"}
	case !(e.Lambda > 0 && e.Lambda <= 1):
		return &statistics.DomainError{Name: "lambda", Index: -1, Value: e.Lambda, Want: "it must be above 0 and at most 1"}
	case !(e.Width > 0 && e.Width <= 10):
		return &statistics.DomainError{Name: "width", Index: -1, Value: e.Width, Want: "it must be above 0 and at most 10 standard deviations"}
	}
	return nil
}

// Start returns the state before the first reading.
func (e EWMA) Start() EWMAState {
	return EWMAState{Average: e.Target, UpperSide: e.Target, LowerSide: e.Target}
}

// Step returns the state after a further reading x with the standard deviation
// sigma > 0 of such a reading, both in the unit of the target, that pass CheckReading.
func (e EWMA) Step(s EWMAState, x, sigma float64) EWMAState {
	if s.Alarm != NoAlarm && !e.RunOn {
		s = e.Start()
	}
	rest := 1 - e.Lambda
	own := float64(e.Lambda * sigma)
	s.Average += float64(e.Lambda * (x - s.Average))
	s.Variance = float64(float64(rest*rest)*s.Variance) + float64(own*own)
	half := float64(e.Width * math.Sqrt(s.Variance))
	if e.SteadyLimits {
		half = float64(e.Width * sigma * math.Sqrt(e.Lambda/(2-e.Lambda)))
	}
	s.UpperSide, s.LowerSide = e.Target+half, e.Target-half
	switch s.Alarm = NoAlarm; {
	case s.Average > s.UpperSide:
		s.Alarm = High
	case s.Average < s.LowerSide:
		s.Alarm = Low
	}
	return s
}
