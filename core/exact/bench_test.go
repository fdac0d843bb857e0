package exact_test

import (
	"testing"

	"linepace.example/core/exact"
)

// rollCount is the register count of a roll's drive: the surface speed v through
// the roll d with a belt t, a gearbox g, a belt stage d2/d1 and its slip, then
// the register's two points.
//
//	n = v / (pi*(d+t)) * g * (d2/d1) / (1 - slip/100)
//	count = c0 + (n - n0)*(c1 - c0)/(n1 - n0)
func rollCount(c *exact.Calc) exact.Num {
	circumference := c.Pi().Mul(c.Dec(0.16).Add(c.Dec(0.0021)))
	n := c.Dec(18.3).Quo(circumference).Mul(c.Dec(40)).Mul(c.Dec(0.125)).Quo(c.Dec(0.1))
	n = n.Quo(c.Int(1).Sub(c.Percent(1.5)))
	return registerCount(c, n)
}

// sprocketCount has no pi: pitch times teeth per turn.
func sprocketCount(c *exact.Calc) exact.Num {
	return registerCount(c, c.Dec(18.3).Quo(c.Dec(0.0127).Mul(c.Int(17))).Mul(c.Dec(40)))
}

func registerCount(c *exact.Calc, n exact.Num) exact.Num {
	span := c.Int(18000).Sub(c.Int(0)).Quo(c.Dec(1800).Sub(c.Dec(0)))
	return c.Int(0).Add(n.Sub(c.Dec(0)).Mul(span))
}

func BenchmarkRollFast(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		var c exact.Calc
		if _, ok := c.Round(rollCount(&c)); !ok || c.Undecided() {
			b.Fatal("no count")
		}
	}
}

func BenchmarkRollExact(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		c := exact.NewExact()
		if _, ok := c.Round(rollCount(c)); !ok {
			b.Fatal("no count")
		}
	}
}

func BenchmarkSprocketFast(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		var c exact.Calc
		if _, ok := c.Round(sprocketCount(&c)); !ok || c.Undecided() {
			b.Fatal("no count")
		}
	}
}

func BenchmarkSprocketExact(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		c := exact.NewExact()
		if _, ok := c.Round(sprocketCount(c)); !ok {
			b.Fatal("no count")
		}
	}
}
