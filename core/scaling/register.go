package scaling

import (
	"math"

	"linepace.example/core/exact"
)

// Bounds returns the least and greatest number that the register takes: a count,
// mA or V.
func (r *Register) Bounds() (low, high float64) {
	switch r.Kind {
	case CurrentOutput:
		return 4, 20
	case VoltageOutput:
		return 0, 10
	case RatioRegister:
		return 0, r.Following.mostCount()
	case FractionRegister:
		return 1 / float64(r.Following.MaxDenominator), float64(r.Following.MaxNumerator)
	}
	switch r.Type {
	case ratioCount:
		return 0, r.Following.mostCount()
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

// MayTurnBackwards reports whether d may be asked for a negative rate: where a
// point of its register has a negative value.
func (d *Drive) MayTurnBackwards() bool { return d.Register.spansBelowZero() }

func (r *Register) spansBelowZero() bool {
	return r.Kind != NoRegister && (r.Span[0].Value.Value < 0 || r.Span[1].Value.Value < 0)
}

// line is a register's relation to the motor speed, through its two points:
//
//	number     = k0 + (x - x0) * dk / dx
//	x          = n * turns of the named shaft per motor turn, or the process rate at n
//
// with n in r/min of the motor. Either way x is a relation of n. Of a reciprocal
// register x is a time, the register's length over the process rate: its counts are
// equal steps of time, and so ever longer steps of speed as it runs faster.
type line struct {
	k0, dk, x0, dx exact.Num
	x              relation
	rising         bool // the number grows with the speed
	reciprocal     bool // x is a time: length over the process rate
	length         exact.Num
	c              *exact.Calc
}

// draw lays l, which is zero, through the points of d's register.
func (l *line) draw(c *exact.Calc, d *Drive, rel *relation, turns *shafts) {
	r := &d.Register
	p, q := &r.Span[0], &r.Span[1]
	l.k0, l.x0 = c.Dec(r.at(p)), p.Value.Base(c)
	l.dk = c.Dec(r.at(q)).Sub(l.k0)
	l.dx = q.Value.Base(c).Sub(l.x0)
	l.rising = c.Sign(l.dk) == c.Sign(l.dx)
	if kindOf(p.Value.Unit) != motorSpeed {
		l.x = *rel
		if kindOf(p.Value.Unit) == timeInSection {
			l.reciprocal, l.length, l.c, l.rising = true, r.DwellLength.Base(c), c, !l.rising
		}
		return
	}
	l.x.perTurn, l.x.itself, l.x.kind = turns.of(c, r.Shaft), r.Shaft == MotorShaft, motorSpeed
}

// of returns turns of the shaft that a register names per turn of the motor.
func (t *shafts) of(c *exact.Calc, s Shaft) exact.Num {
	switch s {
	case SensorShaft:
		return t.sensor
	case LastShaft:
		return t.last
	}
	return c.Int(1)
}

func (l *line) numberAt(x exact.Num) exact.Num { return l.k0.Add(x.Sub(l.x0).Mul(l.dk).Quo(l.dx)) }

// number returns the number for motor speed n; of a reciprocal register for one at which
// the belt moves.
func (l *line) number(n exact.Num) exact.Num {
	if l.reciprocal {
		return l.numberAt(l.length.Quo(l.x.rate(n)))
	}
	return l.numberAt(l.x.rate(n))
}

// value returns what a number means: x on the register's line.
func (l *line) value(k exact.Num) exact.Num { return l.x0.Add(k.Sub(l.k0).Mul(l.dx).Quo(l.dk)) }

// speed returns the motor speed that a number sets. A reciprocal register's number for
// no time, or less, sets none: 0 is returned.
func (l *line) speed(k exact.Num) exact.Num {
	if !l.reciprocal {
		return l.x.speed(l.value(k))
	}
	time := l.value(k)
	if l.c.Sign(time) <= 0 {
		return l.c.Int(0)
	}
	return l.x.speed(l.length.Quo(time))
}

// step returns the motor speed that one number more adds, without its sign. A
// reciprocal register has none.
func (l *line) step() exact.Num {
	return l.dx.Quo(l.dk).Abs().Quo(l.x.perTurn)
}

// registerLimits returns the lowest and highest speed magnitude in r/min that the
// register can ask for in the direction of sign.
//
// The highest is at the end of its type. The lowest is that of the first count
// beyond standstill; an output without steps has none and gives zero.
func registerLimits(c *exact.Calc, r *Register, l *line, sign int) (low, high exact.Num) {
	if l.reciprocal {
		return timeLimits(c, r, l, sign)
	}
	start, end := r.Bounds()
	rising := l.rising == (sign > 0)
	if !rising {
		start, end = end, start
	}
	high = magnitude(l.speed(c.Dec(end)), sign)
	first, standstill := c.Dec(start), l.number(c.Int(0))
	turns := c.Cmp(first, standstill) > 0
	if !rising {
		turns = c.Cmp(first, standstill) < 0
	}
	switch {
	case turns: // even the end next to standstill
	case r.Kind != IntegerRegister:
		return c.Int(0), high
	default:
		first = c.Int(firstCount(c, standstill, rising))
	}
	return magnitude(l.speed(first), sign), high
}

// endlessSpeed stands for a limit that there is none of, r/min.
const endlessSpeed = 1e12

// timeLimits is registerLimits of a reciprocal register: the lowest speed is that of
// the longest time that it can say, the highest that of the shortest above 0.
func timeLimits(c *exact.Calc, r *Register, l *line, sign int) (low, high exact.Num) {
	from, to := r.Bounds()
	longest, shortest := c.Dec(from), c.Dec(to)
	if c.Cmp(l.value(longest), l.value(shortest)) < 0 {
		longest, shortest = shortest, longest
	}
	if sign < 0 || c.Sign(l.value(longest)) <= 0 {
		return c.Int(0), c.Int(0)
	}
	low = l.speed(longest)
	if c.Sign(l.value(shortest)) > 0 {
		return low, l.speed(shortest)
	}
	if r.Kind != IntegerRegister {
		return low, c.Dec(endlessSpeed)
	}
	none := l.numberAt(c.Int(0)) // the number of no time
	return low, l.speed(c.Int(firstCount(c, none, !l.rising)))
}

// firstCount returns the count next to the number that means standstill.
func firstCount(c *exact.Calc, standstill exact.Num, rising bool) int64 {
	if rising {
		n, _ := c.Floor(standstill)
		return n + 1
	}
	n, _ := c.Ceil(standstill)
	return n - 1
}

func magnitude(n exact.Num, sign int) exact.Num {
	if sign < 0 {
		return n.Neg()
	}
	return n
}
