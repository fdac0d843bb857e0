package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

var (
	percent     = units.MustParse("%")
	metrePerMin = units.MustParse("m/min")
	metre       = units.MustParse("m")
)

// Working derives the numbers of o, which [Transition.Outcome] found for t.
func (t *Transition) Working(o *Outcome) []scaling.Step {
	c := new(exact.Calc)
	l := t.lay(c)
	way := input("way", metres(l.way.Float()))
	from, to, ramp := input("from", t.From), input("to", t.To), input("ramp", t.Ramp)
	steps := []scaling.Step{
		wayStep(&t.Piece, t.Length, way.Value),
		step("transition-target/1", "time that an outgoing piece ought to get", "way / from", o.OutgoingTarget, way, from),
		step("transition-target/1", "time that an incoming piece ought to get", "way / to", o.IncomingTarget, way, to),
	}
	if l.steep {
		steps = append(steps, step("ramp-travel/1", "travel of the belt during the ramp", "(from + to) / 2 * ramp", o.RampTravel, from, to, ramp))
	}
	if o.Outgoing > 0 {
		steps = append(steps, t.pieceStep(l, "time of the newest outgoing piece, whatever the feed does", l.outgoing(0)))
	}
	steps = append(steps, t.pieceStep(l, "time of the first incoming piece, where the feed runs on", l.incoming(1)))
	if clear := &o.Policies[2]; c.Sign(l.clear()) > 0 {
		steps = append(steps, step("transition-clear/1", "stop of the feed until the belt is clear and has its new speed", "(length + piece - firstPiece) / from + ramp", clear.FeedStopped,
			input("length", t.Length), input("piece", metres(l.size.Float())), input("firstPiece", metres(l.first.Float())), from, ramp))
	}
	if hold := t.holdOf(o); hold.Value > 0 && hold.Value < t.Ramp.Value {
		steps = append(steps, t.holdSteps(l, hold)...)
	}
	return steps
}

// holdOf returns the stop of the feed that keeps every incoming piece in tolerance.
func (t *Transition) holdOf(o *Outcome) units.Quantity {
	if p := &o.Policies[3]; !p.Possible {
		return p.ForIncoming
	}
	return o.Policies[3].FeedStopped
}

// wayStep derives the way of a piece in one section.
func wayStep(p *Piece, section, way units.Quantity) scaling.Step {
	length, piece := input("length", section), input("piece", p.Length)
	switch p.Meaning {
	case WholePiece:
		return step("dwell-way/1", "travel of a piece while it is wholly inside", "length - piece", way, length, piece)
	case AnyPart:
		return step("dwell-way/1", "travel of a piece while any part of it is inside", "length + piece", way, length, piece)
	}
	return step("dwell-way/1", "travel of a point from entrance to exit", "length", way, length)
}

// pieceStep derives the time of a piece for which counting begins at travel s.
func (t *Transition) pieceStep(l *layout, name string, s exact.Num) scaling.Step {
	m := &l.motion
	begins, way := s.Float(), l.way.Float()
	before, during, after := m.parts(begins, way)
	result := units.Quantity{Value: l.dwell(s), Unit: t.Ramp.Unit}
	if during == 0 {
		return step("transition/1", name, "before / from + after / to", result,
			input("before", metres(before)), input("after", metres(after)), input("from", t.From), input("to", t.To))
	}
	return step("transition/1", name, "before / from + 2 * during / (speedFirst + speedLast) + after / to", result,
		input("before", metres(before)), input("during", metres(during)), input("after", metres(after)),
		input("from", t.From), input("to", t.To),
		input("speedFirst", speed(m.speedAt(begins))), input("speedLast", speed(m.speedAt(begins+way))))
}

// holdSteps derives the least stop of the feed, in the closed form from which it is
// found. The stop itself is proven and may differ in its last digits.
func (t *Transition) holdSteps(l *layout, hold units.Quantity) []scaling.Step {
	m := &l.motion
	tolerance := t.TolerancePercent / 100
	begins := units.Quantity{Value: m.earliest(l.way.Float(), tolerance), Unit: t.Ramp.Unit}
	inputs := []scaling.Input{input("way", metres(l.way.Float())), input("tolerance", units.Quantity{Value: t.TolerancePercent, Unit: percent}),
		input("from", t.From), input("to", t.To), input("ramp", t.Ramp)}
	sign, name := "1 + tolerance", "least time at which counting may begin"
	formula := "ramp - sqrt(2 * way * tolerance * ramp / (to - from))"
	if m.v1 < m.v0 {
		sign, formula = "1 - tolerance", "ramp - sqrt(2 * way * tolerance * ramp / (from - to))"
	}
	if !m.endsAfter(l.way.Float(), tolerance) { // way/time is the mean speed, that at half the time
		formula = "(to / (" + sign + ") - from) * ramp / (to - from) - way / to * (" + sign + ") / 2"
	}
	steps := []scaling.Step{step("transition-hold/1", name, formula, begins, inputs...)}
	if t.Piece.Meaning != WholePiece {
		return steps
	}
	travel := metres(max(m.travelOf(begins.Value)-l.begin.Float(), 0))
	return append(steps,
		step("transition-hold/1", "travel of the belt at which such a piece enters", "(from + (to - from) / ramp * begins / 2) * begins - piece", travel,
			input("from", t.From), input("to", t.To), input("ramp", t.Ramp), input("begins", begins), input("piece", t.Piece.Length)),
		step("transition-hold/1", "least stop of the feed", "2 * travel / (from + sqrt(from * from + 2 * (to - from) / ramp * travel))", hold,
			input("travel", travel), input("from", t.From), input("to", t.To), input("ramp", t.Ramp)))
}

func step(id, name, formula string, result units.Quantity, inputs ...scaling.Input) scaling.Step {
	return scaling.Step{ID: id, Name: name, Formula: formula, Inputs: inputs, Result: result}
}

func input(name string, v units.Quantity) scaling.Input { return scaling.Input{Name: name, Value: v} }

func metres(v float64) units.Quantity { return units.Quantity{Value: v, Unit: metre} }

func speed(v float64) units.Quantity { return units.Quantity{Value: v, Unit: metrePerMin} }
