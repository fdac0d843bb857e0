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

// limits is the usable range of a drive's speed magnitude in turns per second of
// the motor, and what sets each end.
type limits struct {
	low, high     exact.Num
	lowBy, highBy Bound
}

// speedLimits returns the usable range in the direction of sign.
//
//	lowest  = max(motor minimum, sensor's least frequency, register's first count)
//	highest = min(motor maximum, sensor's highest frequency, register's end)
func speedLimits(c *exact.Calc, d *Drive, l line, sign int) limits {
	m := limits{
		low:    c.Dec(d.Motor.MinRPM).Quo(c.Int(secondsPerMinute)),
		high:   c.Dec(d.Motor.MaxRPM).Quo(c.Int(secondsPerMinute)),
		lowBy:  MotorBound,
		highBy: MotorBound,
	}
	if s := d.loopSensor(); s != nil && s.Kind == ShaftSensor {
		perTurn := pulsesPerMotorTurn(c, d, s)
		if s.MinHz > 0 {
			m.raise(c, c.Dec(s.MinHz).Quo(perTurn), SensorBound)
		}
		if s.MaxHz.Set {
			m.lower(c, c.Dec(s.MaxHz.Value).Quo(perTurn), SensorBound)
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
// turns per second, and whether there is such a sensor.
//
//	shaft  n * pulses per motor turn
//	flow   volume rate * K-factor
func pulseRate(c *exact.Calc, d *Drive, m *Material, rel relation, n exact.Num) (hz exact.Num, ok bool) {
	s := d.loopSensor()
	switch {
	case s == nil:
		return exact.Num{}, false
	case s.Kind == ShaftSensor:
		return n.Mul(pulsesPerMotorTurn(c, d, s)), true
	case !converts(d, m, rel.dim, units.VolumeFlow):
		return exact.Num{}, false
	}
	return convert(c, d, m, rel.rate(n), rel.dim, units.VolumeFlow).Mul(s.KFactor.SI(c)), true
}
