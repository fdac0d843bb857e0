package dwell

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// ramp is a belt whose speed goes linearly from v0 to v1 between time 0 and T, and
// stays as it is before and after. Travel s is what the belt has moved since time 0,
// negative before it:
//
//	s = v0 * t                  t <= 0
//	s = v0 * t + a * t^2 / 2    0 <= t <= T, a = (v1 - v0) / T
//	s = S + v1 * (t - T)        t >= T, S = (v0 + v1) / 2 * T
//
// What enters or leaves is known by the belt's travel and not by time, so that a
// piece's way is a difference of travels, and the square root that leads from
// travel to time stands in one place.
//
// Source: uniformly accelerated motion.
type ramp struct {
	c               *exact.Calc
	v0, v1, time, a exact.Num // a only where steep
	all             exact.Num // travel during the ramp, S
	steep           bool      // the speed changes, and not at once
}

// newRamp returns the ramp from v0 to v1 in time T. Equal speeds are no ramp.
func newRamp(c *exact.Calc, v0, v1, time exact.Num) *ramp {
	r := &ramp{c: c, v0: v0, v1: v1, time: c.Int(0), all: c.Int(0)}
	if c.Sign(time) > 0 && c.Cmp(v0, v1) != 0 {
		r.steep, r.time = true, time
		r.a = v1.Sub(v0).Quo(time)
		r.all = v0.Add(v1).Mul(time).Quo(c.Int(2))
	}
	return r
}

// travel returns the belt's travel at time t.
func (r *ramp) travel(t exact.Num) exact.Num {
	c := r.c
	switch {
	case c.Sign(t) <= 0:
		return r.v0.Mul(t)
	case c.Cmp(t, r.time) < 0:
		return r.v0.Add(r.a.Mul(t).Quo(c.Int(2))).Mul(t)
	}
	return r.all.Add(r.v1.Mul(t.Sub(r.time)))
}

// reached returns +1, 0 or -1 as what is at travel s at first has moved by more,
// just or less than way after time. It decides without a rounding error: the one
// square root, the speed at travel s, is compared by squares.
//
// In the ramp the speed there is w = sqrt(v0^2 + 2 * a * s), at time (w - v0) / a.
// After time the belt has moved
//
//	w * time + a * time^2 / 2                        while the ramp lasts
//	S - s + v1 * ((w - v0) / a + time - T)           later
func (r *ramp) reached(s, way, time exact.Num) int {
	c := r.c
	if c.Sign(s) <= 0 {
		return c.Cmp(r.travel(s.Quo(r.v0).Add(time)).Sub(s), way)
	}
	if c.Cmp(s, r.all) >= 0 {
		return c.Cmp(r.v1.Mul(time), way)
	}
	square := r.square(s)
	gained := r.a.Mul(time)
	late := rootSign(c, r.v1.Sub(gained).Neg(), c.Int(1), square) * c.Sign(r.a) // of the time left in the ramp
	if late <= 0 {
		return rootSign(c, gained.Mul(time).Quo(c.Int(2)).Sub(way), time, square)
	}
	rest := r.all.Sub(s).Sub(way).Add(r.v1.Mul(time.Sub(r.time).Sub(r.v0.Quo(r.a))))
	return rootSign(c, rest, r.v1.Quo(r.a), square)
}

// square returns the square of the speed at travel s within the ramp.
func (r *ramp) square(s exact.Num) exact.Num {
	return r.v0.Mul(r.v0).Add(r.a.Mul(s).Mul(r.c.Int(2)))
}

// rootSign returns the sign of a + b * sqrt(square), for a square above zero.
func rootSign(c *exact.Calc, a, b, square exact.Num) int {
	signA, signB := c.Sign(a), c.Sign(b)
	switch {
	case signB == 0 || signA == signB:
		return signA
	case signA == 0:
		return signB
	}
	return signA * c.Cmp(a.Mul(a), b.Mul(b).Mul(square))
}

// motion is a ramp in float64, for the values that decide nothing. Its times are
// in a unit of which perMinute make a minute, which is multiplied into ways before
// they are divided: 5 m at 3 m/min are 100 s, and not 60 times a rounded 1.6667 min.
type motion struct{ v0, v1, time, all, perMinute float64 }

func (r *ramp) float(unit *units.Unit) motion {
	c := r.c
	return motion{
		v0: r.v0.Float(), v1: r.v1.Float(), time: units.FromBase(c, r.time, unit).Float(), all: r.all.Float(),
		perMinute: units.FromBase(c, c.Int(1), unit).Float(),
	}
}

// speedAt returns the belt's speed at travel s.
//
//	w = sqrt(v0^2 + (v1^2 - v0^2) * s / S)
func (m *motion) speedAt(s float64) float64 {
	switch {
	case s >= m.all:
		return m.v1
	case s <= 0:
		return m.v0
	}
	from, to := float64(m.v0*m.v0), float64(m.v1*m.v1)
	square := float64((to-from)*(s/m.all)) + from
	return math.Sqrt(min(max(square, min(from, to)), max(from, to)))
}

// travelOf returns the belt's travel at a time in the ramp.
func (m *motion) travelOf(t float64) float64 {
	if m.time == 0 {
		return 0
	}
	t = min(max(t, 0), m.time)
	return (m.v0 + float64((m.v1-m.v0)*(t/m.time)/2)) * t / m.perMinute
}

// at returns the belt's travel at time t.
func (m *motion) at(t float64) float64 {
	if t <= 0 {
		return m.v0 * t / m.perMinute
	}
	if t <= m.time {
		return m.travelOf(t)
	}
	return m.all + float64(m.v1*(t-m.time)/m.perMinute)
}

// parts splits a way from travel s on into what lies before, during and after the
// ramp.
func (m *motion) parts(s, way float64) (before, during, after float64) {
	if s >= m.all {
		return 0, 0, way
	}
	before = min(max(-s, 0), way)
	after = min(max(s+way-m.all, 0), way)
	return before, max(way-before-after, 0), after
}

// between returns the time in which the belt moves from travel s by way. Each part
// of the way is divided by its own mean speed, which in the ramp is half the sum
// of the speeds at its ends, so that nothing cancels.
func (m *motion) between(s, way float64) float64 {
	before, during, after := m.parts(s, way)
	t := before * m.perMinute / m.v0
	t += after * m.perMinute / m.v1
	if during > 0 {
		t += 2 * during * m.perMinute / (m.speedAt(s) + m.speedAt(s+way))
	}
	return t
}

// earliest returns the time at which counting may begin so that a piece gets what
// it ought to at the new speed within the part tolerance, where it would not at
// time 0.
//
// If it ends after the ramp, it is off its way at the new speed by what the ramp
// still lacks when it begins, |a| * u^2 / 2, u before the ramp's end, and a tolerance
// of d allows d * way of that:
//
//	T - sqrt(2 * way * d / |a|)
//
// Otherwise its mean speed way/time is the speed at half its time:
//
//	(way / time - v0) / a - time / 2
func (m *motion) earliest(way, tolerance float64) float64 {
	if m.endsAfter(way, tolerance) {
		return m.time - m.lacks(way, tolerance)
	}
	time := m.tolerated(way, tolerance)
	return (way*m.perMinute/time-m.v0)*m.time/(m.v1-m.v0) - float64(time/2)
}

// endsAfter reports whether a piece that is off by just the tolerance ends after
// the ramp.
func (m *motion) endsAfter(way, tolerance float64) bool {
	return m.lacks(way, tolerance) <= m.tolerated(way, tolerance)
}

// lacks returns how long before the ramp's end a piece may begin that ends after it.
func (m *motion) lacks(way, tolerance float64) float64 {
	return math.Sqrt(2 * way * m.perMinute * tolerance * m.time / math.Abs(m.v1-m.v0))
}

// tolerated returns the time at the end of the tolerance that the ramp tends to.
func (m *motion) tolerated(way, tolerance float64) float64 {
	if m.v1 < m.v0 {
		tolerance = -tolerance
	}
	return way * m.perMinute / m.v1 * (1 + tolerance)
}
