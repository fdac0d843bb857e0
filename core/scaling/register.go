package scaling

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// bounds returns the least and greatest number that the register takes.
func (r *Register) bounds() (low, high float64) {
	switch r.Kind {
	case CurrentOutput:
		return 4, 20
	case VoltageOutput:
		return 0, 10
	}
	switch r.Type {
	case Int16:
		return math.MinInt16, math.MaxInt16
	case Uint16:
		return 0, math.MaxUint16
	}
	return math.MinInt32, math.MaxInt32
}

// at returns the number of a point, for the register's kind.
func (r *Register) at(p *SpanPoint) float64 {
	switch r.Kind {
	case CurrentOutput:
		return p.Milliamps.Value
	case VoltageOutput:
		return p.Volts.Value
	}
	return float64(p.Count.Value)
}

// spansBelowZero reports whether a point has a negative value: only then may a
// drive be asked for a negative rate.
func (r *Register) spansBelowZero() bool {
	return r.Kind != NoRegister && (r.Span[0].Value.Value < 0 || r.Span[1].Value.Value < 0)
}

// line is a register's relation to the motor speed: number = zero + slope * n,
// with n in turns per second of the motor.
type line struct{ zero, slope exact.Num }

// registerLine composes the register's two points with the drive's relation.
//
//	number = k0 + (x - x0) * (k1 - k0) / (x1 - x0)
//	x      = n * ratio to the named shaft, or the process rate perTurn * n - leak
func registerLine(c *exact.Calc, d *Drive, rel relation) line {
	r := &d.Register
	p, q := &r.Span[0], &r.Span[1]
	k0, k1 := c.Dec(r.at(p)), c.Dec(r.at(q))
	x0, x1 := p.Value.SI(c), q.Value.SI(c)
	slope := k1.Sub(k0).Quo(x1.Sub(x0))
	zero := k0.Sub(x0.Mul(slope))
	if p.Value.Unit.Dimension() == units.Rotation {
		return line{zero: zero, slope: slope.Mul(shaftRatio(c, d))}
	}
	return line{zero: zero.Sub(rel.leak.Mul(slope)), slope: slope.Mul(rel.perTurn)}
}

// shaftRatio returns turns of the register's shaft per turn of the motor.
func shaftRatio(c *exact.Calc, d *Drive) exact.Num {
	switch d.Register.Shaft {
	case SensorShaft:
		return transmissionRatio(c, d.Transmission[:d.loopSensor().StagesFromMotor])
	case LastShaft:
		return transmissionRatio(c, d.Transmission)
	}
	return c.Int(1)
}

func (l line) number(n exact.Num) exact.Num { return l.zero.Add(l.slope.Mul(n)) }
func (l line) speed(k exact.Num) exact.Num  { return k.Sub(l.zero).Quo(l.slope) }

// registerLimits returns the lowest and highest speed magnitude, in turns per
// second, that the register can ask for in the direction of sign.
//
// The highest is at the end of its type. The lowest is that of the first count
// beyond standstill; an output without steps has none and gives zero.
func registerLimits(c *exact.Calc, r *Register, l line, sign int) (low, high exact.Num) {
	least, most := r.bounds()
	end, start := most, least
	rising := c.Sign(l.slope) == sign
	if !rising {
		end, start = least, most
	}
	high = magnitude(l.speed(c.Dec(end)), sign)
	first := magnitude(l.speed(c.Dec(start)), sign)
	if c.Sign(first) > 0 {
		return first, high // even the end next to standstill still turns
	}
	if r.Kind != IntegerRegister {
		return c.Int(0), high
	}
	return magnitude(l.speed(c.Int(firstCount(c, l, rising))), sign), high
}

// firstCount returns the count next to the one that means standstill.
func firstCount(c *exact.Calc, l line, rising bool) int64 {
	if rising {
		n, _ := c.Floor(l.zero)
		return n + 1
	}
	n, _ := c.Ceil(l.zero)
	return n - 1
}

func magnitude(n exact.Num, sign int) exact.Num {
	if sign < 0 {
		return n.Neg()
	}
	return n
}
