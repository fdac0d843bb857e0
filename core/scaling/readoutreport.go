package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// ReadoutReport is what a readout shows over the usable range of its drive.
type ReadoutReport struct {
	Low, High ReadoutState   // at the lowest and the highest usable speed
	AtStand   Text           // zero for a time, which grows without end as the speed falls
	Digit     units.Quantity // one of the last digit
}

// ReadoutState is what a readout shows at one speed, and what one of its last digit
// means there. It is absent where the digits do not suffice.
type ReadoutState struct {
	Text       Text
	DigitRPM   Optional[float64] // change of the motor's speed that moves the reading by one
	DigitRate  units.Quantity    // the same as a process rate
	SensorStep Optional[float64] // last digits that one pulse or clock tick more moves the reading by
}

// ReadoutOf reports on the readout of s's drive, which has one. Its section or
// density may be missing: then only what does not rest on it is set.
//
//	rate   digit's speed = digit / perTurn
//	time   digit's speed = speed * digit / (time + digit), as one digit more is a longer time
//
// Formula: readout-digit/1.
func ReadoutOf(c *exact.Calc, s *Subject) ReadoutReport {
	readout := &s.Drive.Readout
	var r run
	r.begin(c, s, Measure{Unit: RateUnit(s.Drive)}, nil, nil)
	usable := r.speedLimits(1)
	digit := c.Int(1).Quo(c.Int(powersOfTen[readout.Decimals]))
	out := ReadoutReport{
		Low:   r.readoutState(r.at(usable.low), digit),
		High:  r.readoutState(r.at(usable.high), digit),
		Digit: units.Quantity{Value: digit.Float(), Unit: readout.Unit},
	}
	if kindOf(readout.Unit) != timeInSection {
		out.AtStand, _ = readoutText(c, readout, c.Int(0))
	}
	return out
}

// readoutState describes the readout at a motion; digit is one of its last digit, in
// its own unit.
func (r *run) readoutState(at Motion, digit exact.Num) (out ReadoutState) {
	c, readout := r.c, &r.subject.Drive.Readout
	value, ok := r.readoutValue(at)
	if !ok {
		return out
	}
	out.Text, _ = readoutText(c, readout, value)
	step := r.digitSpeed(at, value, digit)
	out.DigitRPM = Some(step.Float())
	if r.rel.kind != noKind {
		out.DigitRate = quantity(c, step.Mul(r.rel.perTurn), r.measure.Unit)
	}
	if s := r.sensor; s != nil && s.Counting.Kind != NoCounting {
		if p, ok := r.pickup(s); ok {
			out.SensorStep = p.digitsPerStep(at)
		}
	}
	return out
}

// digitSpeed returns the change of the motor's speed that moves a reading of value
// by digit.
func (r *run) digitSpeed(at Motion, value, digit exact.Num) exact.Num {
	c, d := r.c, r.subject.Drive
	shown := kindOf(d.Readout.Unit)
	switch shown {
	case motorSpeed:
		return units.Quantity{Value: 1, Unit: d.Readout.Unit}.Base(c).Mul(digit)
	case timeInSection:
		return at.Speed.Abs().Mul(digit).Quo(value.Add(digit))
	}
	base := units.Quantity{Value: 1, Unit: d.Readout.Unit}.Base(c).Mul(digit)
	return convert(c, d, r.subject.Material, base, shown, r.rel.kind).Quo(r.rel.perTurn)
}

// digitsPerStep returns by how many of its last digits one step of sensor p moves
// the reading.
func (p *pickup) digitsPerStep(at Motion) Optional[float64] {
	step, ok := p.resolution(p.frequency(at))
	if !ok {
		return Optional[float64]{}
	}
	if digits, ok := p.digitsMoved(at, p.speedOf(step)); ok {
		return Some(digits.Float())
	}
	return Optional[float64]{}
}
