package exact

import "testing"

// setpoint is the register count of a roll's drive: the surface speed through
// roll, gearbox and belt, then the register's two points.
//
//	n = v / (pi*(d+t)) * g * (D2/D1) / (1 - slip/100)
//	count = c0 + (n - n0)*(c1 - c0)/(n1 - n0)
func setpoint(c *Calc, v, d, t, g, d1, d2, slip, n0, n1 float64, c0, c1 int64) Num {
	circumference := c.Pi().Mul(c.Dec(d).Add(c.Dec(t)))
	n := c.Dec(v).Quo(circumference).Mul(c.Dec(g)).Mul(c.Dec(d2)).Quo(c.Dec(d1))
	n = n.Quo(c.Int(1).Sub(c.Percent(slip)))
	span := c.Int(c1).Sub(c.Int(c0)).Quo(c.Dec(n1).Sub(c.Dec(n0)))
	return c.Int(c0).Add(n.Sub(c.Dec(n0)).Mul(span))
}

// sprocketSetpoint has no pi: pitch times teeth per turn.
func sprocketSetpoint(c *Calc, v, pitch float64, teeth int64, g, n0, n1 float64, c0, c1 int64) Num {
	n := c.Dec(v).Quo(c.Dec(pitch).Mul(c.Int(teeth))).Mul(c.Dec(g))
	span := c.Int(c1).Sub(c.Int(c0)).Quo(c.Dec(n1).Sub(c.Dec(n0)))
	return c.Int(c0).Add(n.Sub(c.Dec(n0)).Mul(span))
}

func benchSetpoint(c *Calc) Num {
	return setpoint(c, 18.3, 0.16, 0.0021, 40, 0.1, 0.125, 1.5, 0, 1800, 0, 18000)
}

func benchSprocket(c *Calc) Num {
	return sprocketSetpoint(c, 18.3, 0.0127, 17, 40, 0, 1800, 0, 18000)
}

func benchmark(b *testing.B, exactly bool, formula func(*Calc) Num) {
	b.ReportAllocs()
	for b.Loop() {
		c := &Calc{exact: exactly}
		if n, ok := c.Round(formula(c)); !ok || n < 0 {
			b.Fatal(n)
		}
	}
}

func BenchmarkRollFast(b *testing.B)      { benchmark(b, false, benchSetpoint) }
func BenchmarkRollExact(b *testing.B)     { benchmark(b, true, benchSetpoint) }
func BenchmarkSprocketFast(b *testing.B)  { benchmark(b, false, benchSprocket) }
func BenchmarkSprocketExact(b *testing.B) { benchmark(b, true, benchSprocket) }
