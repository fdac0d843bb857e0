package drift

import (
	"math"

	"linepace.example/core/statistics"
)

// Study is a series of observations of one drive, and what to judge it by.
type Study struct {
	Model Model
	Wear  Wear
	// Hours is when each gate ended: calendar hours from any origin, rising.
	Hours        []float64
	Observations []Observation
	// Rebased lists, rising, the observations before which something was done that
	// changes what may be expected: a service, a correction, another meter.
	Rebased []int

	TolerancePercent float64 // either way of the commissioned delivery, above 0 to 100
	// Sigma is the standard deviation of a reading in points, without that of counting
	// pulses; where it is 0 it is learned, with the target, from the first Baseline readings.
	Sigma    float64
	Baseline int
	Charts   Charts // whose targets are set here
	// RunningShare is how much of a calendar hour the drive runs, above 0 to 1.
	RunningShare float64
	UsualRPM     float64 // 0: the mean of the observations
	HighestRPM   float64 // of the motor; 0: not known
	MeterPercent float64 // accuracy of the meter, percent of reading; 0: not known
	Teeth        []int32 // of the wheels before the sensor
	Stop         Stop
}

// rebaseReadings is how many readings after an event give the charts their new target,
// as many as a baseline needs.
const rebaseReadings = baselineNeed

// Confidence is that of all intervals of an assessment.
const Confidence = 0.95

// segment is a part of the readings between events.
type segment struct {
	from, to int
	target   float64
	charted  int  // the first reading that is charted; those before it gave the target
	anew     bool // it follows an event, and is charted against what the drive then delivered
}

// segments cuts the readings at the events. The first has the target and the scatter
// of a baseline, or those that are given about 0: the commissioned model. Each later one
// has the mean of its first readings for a level, since nobody knows what a service or
// another meter made of it.
func (s *Study) segments(readings []float64, base Baseline) []segment {
	out := []segment{{target: base.Target, charted: base.Count}}
	for _, at := range s.Rebased {
		if last := &out[len(out)-1]; at > last.from {
			last.to = at
			out = append(out, segment{from: at, anew: true})
		} else {
			*last = segment{from: at, anew: true} // an event before the first reading, or two at once
		}
	}
	out[len(out)-1].to = len(readings)
	for i := range out {
		g := &out[i]
		if !g.anew {
			g.charted = min(g.charted, g.to)
			continue
		}
		g.charted = min(g.from+rebaseReadings, g.to)
		g.target = meanOf(readings[g.from:g.charted])
	}
	return out
}

func meanOf(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return statistics.Total(x) / float64(len(x))
}

// base returns target and scatter of the first readings. A given scatter has no bounds.
// The scatter that counting pulses adds is taken out, since each reading has its own.
func (s *Study) base(readings []Reading) (Baseline, error) {
	if s.Sigma > 0 {
		return Baseline{Sigma: s.Sigma}, nil
	}
	n, have := s.Baseline, len(readings)
	if len(s.Rebased) > 0 {
		have = s.Rebased[0]
	}
	if have < n || n < baselineNeed {
		return Baseline{}, &statistics.TooFewError{Method: "the baseline", Have: have, Need: max(n, baselineNeed), Of: "readings before the first event"}
	}
	var counted statistics.Sum
	for _, r := range readings[:n] {
		counted.Add(float64(r.CountingU * r.CountingU))
	}
	b, err := BaselineOf(percents(readings[:n]))
	if err != nil {
		return Baseline{}, err
	}
	variance := float64(b.Sigma * b.Sigma)
	b.Sigma = math.Sqrt(max(variance/100, variance-counted.Value()/float64(n))) // as [Watch.Step] does
	return b, nil
}

func percents(readings []Reading) []float64 {
	out := make([]float64, len(readings))
	for i, r := range readings {
		out[i] = r.Percent
	}
	return out
}

// sigmaOf is the standard deviation of a reading with that of counting.
func sigmaOf(sigma float64, r Reading) float64 {
	return math.Sqrt(float64(sigma*sigma) + float64(r.CountingU*r.CountingU))
}

// Running turns calendar hours into running hours since the first observation.
func (s *Study) Running(hours float64) float64 {
	return float64((hours - s.Hours[0]) * s.RunningShare)
}

// Calendar turns running hours since the first observation into calendar hours.
func (s *Study) Calendar(running float64) float64 { return s.Hours[0] + running/s.RunningShare }
