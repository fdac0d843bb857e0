package scaling

import "linepace.example/core/exact"

// MotionOfRate returns the motion that gives a process rate of the drive's own kind.
func MotionOfRate(c *exact.Calc, s *Subject, rate exact.Num) Motion {
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	return Motion{Speed: r.rel.speed(rate), Rate: rate}
}

// MotionOfSpeed returns the motion at a motor speed.
func MotionOfSpeed(c *exact.Calc, s *Subject, speed exact.Num) Motion {
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	return r.at(speed)
}

// AmountOf returns what a motion gives of a measure, in base units: the inverse of
// [MotionFor]. A time is that of a motion that moves.
func AmountOf(c *exact.Calc, s *Subject, m Measure, at Motion) exact.Num {
	var r run
	r.begin(c, s, m, nil, nil)
	return r.amount(at)
}

// SpeedRange is the range of speeds that a drive can run forwards, in r/min of the
// motor, and what sets each end.
type SpeedRange struct {
	Low, High     exact.Num
	LowBy, HighBy Bound
}

// RangeOf returns the speeds that s's drive can run forwards; none where Low is
// above High. Formulas: lowest-speed/1, highest-speed/1
func RangeOf(c *exact.Calc, s *Subject) SpeedRange {
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	m := r.speedLimits(1)
	return SpeedRange{Low: m.low, High: m.high, LowBy: m.lowBy, HighBy: m.highBy}
}
