package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// PieceTime is one piece of a transition.
type PieceTime struct {
	Enters   units.Quantity // its leading edge passes the entrance; below 0 for an outgoing piece
	Time     units.Quantity // that it gets
	Dose     units.Quantity // equivalent time at the reference, where temperatures are given
	Incoming bool
	Out      bool // of its tolerance
}

// MostPieces bounds the pieces that [Transition.Pieces] lists for one policy.
const MostPieces = 10000

// steadyPieces is how many pieces at the steady new speed are listed, so that a
// reader sees where the change ends.
const steadyPieces = 4

// Pieces lists the pieces of policy p of t's [Outcome] in the order in which they
// enter: the outgoing ones, and of the incoming ones those that see the ramp and
// a few more. Times are in the unit of Ramp. It returns nil for a policy that is
// not possible.
func (t *Transition) Pieces(p *Policy, o *Outcome) []PieceTime {
	if !p.Possible {
		return nil
	}
	if len(t.Following) > 0 {
		return t.seriesPieces(p, o)
	}
	c := new(exact.Calc)
	l := t.lay(c)
	out := make([]PieceTime, 0, min(o.Outgoing+o.InRamp+steadyPieces, MostPieces))
	m, begin, way, pitch, first := &l.motion, l.begin.Float(), l.way.Float(), l.pitch.Float(), l.first.Float()
	d := t.doser(l)
	for k := min(o.Outgoing, MostPieces) - 1; k >= 0; k-- {
		inside := first + float64(float64(k)*pitch)
		s, time := begin-inside, o.OutgoingTarget.Value
		if p.Name == ClearFirst {
			s = begin - l.length.Float() - m.all // so early that it leaves before any ramp
		} else {
			time = m.between(s, way)
		}
		out = append(out, t.piece(0-inside*m.perMinute/m.v0, time, false, k < p.OutgoingOut))
		t.addDose(d, s, &out[len(out)-1])
	}
	if p.Name == ClearFirst {
		return t.afterClear(l, d, out, p.FeedStopped.Value)
	}
	return t.fed(l, d, out, p)
}

func (t *Transition) piece(enters, time float64, incoming, isOut bool) PieceTime {
	in := t.Ramp.Unit
	return PieceTime{Enters: units.Quantity{Value: enters, Unit: in}, Time: units.Quantity{Value: time, Unit: in}, Incoming: incoming, Out: isOut}
}

// afterClear appends the pieces that enter when the belt has been run clear and has
// its new speed.
func (t *Transition) afterClear(l *layout, d *doser, out []PieceTime, stopped float64) []PieceTime {
	m := &l.motion
	apart := l.pitch.Float() * m.perMinute / m.v1
	if t.Feed == ConstantRate {
		apart = l.pitch.Float() * m.perMinute / m.v0
	}
	for k := range steadyPieces {
		out = append(out, t.piece(stopped+float64(float64(k)*apart), l.dwell(l.all), true, false))
		t.addDose(d, m.all+l.begin.Float(), &out[len(out)-1])
	}
	return out
}

// fed appends the pieces that enter from the end of the stop on, while the ramp
// runs and after it.
func (t *Transition) fed(l *layout, d *doser, out []PieceTime, p *Policy) []PieceTime {
	m := &l.motion
	begin, way, pitch := l.begin.Float(), l.way.Float(), l.pitch.Float()
	firstWay := l.incoming(1).Sub(l.begin).Float()
	enters := max(m.between(0, firstWay), p.FeedStopped.Value)
	travel := max(firstWay, m.at(p.FeedStopped.Value))
	first, base := enters, travel
	for k, steady := 0, 0; steady < steadyPieces && len(out) < MostPieces; k++ {
		if t.Feed == ConstantRate {
			enters = first + float64(float64(k)*(pitch*m.perMinute/m.v0))
			travel = m.at(enters)
		} else {
			travel = base + float64(float64(k)*pitch)
			enters = first + m.between(base, travel-base)
		}
		if travel+begin >= m.all {
			steady++
		}
		out = append(out, t.piece(enters, m.between(travel+begin, way), true, k < p.IncomingOut))
		t.addDose(d, travel+begin, &out[len(out)-1])
	}
	return out
}

// addDose adds the dose of a piece for which counting begins at travel s, where
// temperatures are given.
func (t *Transition) addDose(d *doser, s float64, piece *PieceTime) {
	if d != nil {
		piece.Dose = units.Quantity{Value: d.of(s), Unit: t.Ramp.Unit}
	}
}
