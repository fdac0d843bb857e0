package scaling

import (
	"linepace.example/core/exact"
)

// Bound names what sets a limit of the speed.
type Bound uint8

// Bounds.
const (
	NoBound Bound = iota
	MotorBound
	SensorBound
	RegisterBound
)

// limits is the usable range of a drive's speed magnitude in r/min of the
// motor, and what sets each end.
type limits struct {
	low, high     exact.Num
	lowBy, highBy Bound
}

// speedLimits returns the usable range in the direction of sign.
//
//	lowest  = max(motor minimum, sensor's least frequency, register's first count)
//	highest = min(motor maximum, sensor's highest frequency, register's end)
func (r *run) speedLimits(sign int) limits {
	c, d := r.c, r.subject.Drive
	m := limits{
		low:    c.Dec(d.Motor.MinRPM),
		high:   c.Dec(d.Motor.MaxRPM),
		lowBy:  MotorBound,
		highBy: MotorBound,
	}
	if s := r.sensor; s != nil && s.Kind == ShaftSensor {
		if s.MinHz > 0 {
			m.raise(c, perMinute(c, s.MinHz).Quo(r.pulses), SensorBound)
		}
		if s.MaxHz.Set {
			m.lower(c, perMinute(c, s.MaxHz.Value).Quo(r.pulses), SensorBound)
		}
	}
	if d.Register.Kind != NoRegister {
		low, high := registerLimits(c, &d.Register, &r.line, sign)
		m.raise(c, low, RegisterBound)
		m.lower(c, high, RegisterBound)
	}
	return m
}

func (m *limits) raise(c *exact.Calc, low exact.Num, by Bound) {
	if c.Cmp(low, m.low) > 0 {
		m.low, m.lowBy = low, by
	}
}

func (m *limits) lower(c *exact.Calc, high exact.Num, by Bound) {
	if c.Cmp(high, m.high) < 0 {
		m.high, m.highBy = high, by
	}
}

// secondsPerMinute joins Hz, the unit of a frequency, to r/min, that of a speed.
const secondsPerMinute = 60

func perMinute(c *exact.Calc, hz float64) exact.Num { return c.Dec(hz).Mul(c.Int(secondsPerMinute)) }

// pulsesPerMotorTurn returns the counted edges of a shaft sensor per motor turn.
//
//	pulses per turn * edges counted * ratio of the stages before the sensor
func pulsesPerMotorTurn(c *exact.Calc, s *Sensor, turns *shafts) exact.Num {
	pulses := c.Dec(s.PulsesPerTurn)
	if s.EdgesCounted.Set {
		pulses = pulses.Mul(c.Int(int64(s.EdgesCounted.Value)))
	}
	if s.StagesFromMotor == 0 {
		return pulses
	}
	return pulses.Mul(turns.sensor)
}

// pulseRate returns the frequency in Hz of the sensor that closes the loop, and
// whether there is such a sensor.
//
//	shaft  motor speed * pulses per motor turn / (60 s/min)
//	flow   volume rate * K-factor / (60 s/min)
func (r *run) pulseRate(at Motion) (hz exact.Num, ok bool) {
	c, d, m := r.c, r.subject.Drive, r.subject.Material
	switch {
	case r.sensor == nil:
		return exact.Num{}, false
	case r.sensor.Kind == ShaftSensor:
		return at.Speed.Mul(r.pulses).Quo(c.Int(secondsPerMinute)), true
	case !converts(d, m, r.rel.kind, volumeRate):
		return exact.Num{}, false
	}
	return convert(c, d, m, at.Rate, r.rel.kind, volumeRate).Mul(r.sensor.KFactor.Base(c)).Quo(c.Int(secondsPerMinute)), true
}

// PulsesAt returns the frequency in Hz of the sensor that closes the loop of s's
// drive at a motion, and whether there is one.
func PulsesAt(c *exact.Calc, s *Subject, at Motion) (hz exact.Num, ok bool) {
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	return r.pulseRate(at)
}
