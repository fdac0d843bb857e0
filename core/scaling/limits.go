package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
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
func speedLimits(c *exact.Calc, d *Drive, l *line, sign int) limits {
	m := limits{
		low:    c.Dec(d.Motor.MinRPM),
		high:   c.Dec(d.Motor.MaxRPM),
		lowBy:  MotorBound,
		highBy: MotorBound,
	}
	if s := d.loopSensor(); s != nil && s.Kind == ShaftSensor {
		perTurn := pulsesPerMotorTurn(c, d, s)
		if s.MinHz > 0 {
			m.raise(c, perMinute(c, s.MinHz).Quo(perTurn), SensorBound)
		}
		if s.MaxHz.Set {
			m.lower(c, perMinute(c, s.MaxHz.Value).Quo(perTurn), SensorBound)
		}
	}
	if d.Register.Kind != NoRegister {
		low, high := registerLimits(c, &d.Register, l, sign)
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
func pulsesPerMotorTurn(c *exact.Calc, d *Drive, s *Sensor) exact.Num {
	edges := int64(1)
	if s.EdgesCounted.Set {
		edges = int64(s.EdgesCounted.Value)
	}
	pulses := c.Dec(s.PulsesPerTurn).Mul(c.Int(edges))
	if s.StagesFromMotor == 0 {
		return pulses
	}
	return pulses.Mul(transmissionRatio(c, d.Transmission[:s.StagesFromMotor]))
}

// pulseRate returns the frequency in Hz of the sensor that closes the loop at n
// r/min, and whether there is such a sensor.
//
//	shaft  n * pulses per motor turn / (60 s/min)
//	flow   volume rate * K-factor / (60 s/min)
func pulseRate(c *exact.Calc, d *Drive, m *Material, rel *relation, n exact.Num) (hz exact.Num, ok bool) {
	s := d.loopSensor()
	switch {
	case s == nil:
		return exact.Num{}, false
	case s.Kind == ShaftSensor:
		return n.Mul(pulsesPerMotorTurn(c, d, s)).Quo(c.Int(secondsPerMinute)), true
	case !converts(d, m, rel.dim, units.VolumeFlow):
		return exact.Num{}, false
	}
	return convert(c, d, m, rel.rate(n), rel.dim, units.VolumeFlow).Mul(s.KFactor.Base(c)).Quo(c.Int(secondsPerMinute)), true
}
