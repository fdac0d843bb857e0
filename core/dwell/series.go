package dwell

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Stretch is a section behind the first, on a belt of its own.
type Stretch struct {
	Length, From, To units.Quantity
}

// journey is a transition over several sections in series, in float64. Each belt has
// a ramp of its own speeds, all from time 0 to the same end, and a piece passes from
// one to the next with its centre, as on a [Route]. The way over one belt ends at a
// time, at which that over the next begins, so the time of a piece is found belt by
// belt; several square roots stand in each other, which no comparison by squares can
// decide. So a piece counts as within its tolerance also where it is past it by no
// more than [nearTolerance], which is some thousand times what rounding can do.
//
// Where all belts speed up, or all slow down, the time of a piece goes one way as
// with a single belt. Where they do not, it may not: every piece is found for itself.
type journey struct {
	belts               []motion
	ways                []float64
	begin, pitch, first float64
	feed                Feed
	tolerance           float64
	old, new            float64 // what an outgoing and an incoming piece ought to get
}

// nearTolerance is the part of a time by which a piece may be past its tolerance and
// still counts as within it.
const nearTolerance = 1e-12

func (t *Transition) journey() *journey {
	c := new(exact.Calc)
	l := t.lay(c)
	j := &journey{
		begin: l.begin.Float(), pitch: l.pitch.Float(), first: l.first.Float(), feed: t.Feed, tolerance: t.TolerancePercent / 100,
		belts: []motion{l.motion},
	}
	for i := range t.Following {
		s := &t.Following[i]
		j.belts = append(j.belts, newRamp(c, s.From.Base(c), s.To.Base(c), t.Ramp.Base(c)).float(t.Ramp.Unit))
	}
	// Belts at a steady speed have no ramp of their own; what they do is no matter of it.
	j.ways = t.ways(c, &t.Piece)
	for i, way := range j.ways {
		m := &j.belts[i]
		j.old += way * m.perMinute / m.v0
		j.new += way * m.perMinute / m.v1
	}
	return j
}

// ways returns the parts of a piece's way on each belt.
func (t *Transition) ways(c *exact.Calc, piece *Piece) []float64 {
	r := Route{Piece: *piece}
	name := func(i int) string { return string(rune('a' + i)) }
	r.Sections = append(r.Sections, &scaling.Section{DriveID: name(0), Length: t.Length})
	for i := range t.Following {
		r.Sections = append(r.Sections, &scaling.Section{DriveID: name(i + 1), Length: t.Following[i].Length})
	}
	out := make([]float64, len(r.Sections))
	for i := range out {
		out[i] = r.Way(c, name(i)).Float()
	}
	return out
}

// rampEnd returns the time from which on every belt has its new speed.
func (j *journey) rampEnd() (end float64) {
	for i := range j.belts {
		end = max(end, j.belts[i].time)
	}
	return end
}

// time returns the time of a piece for which counting begins at a time.
func (j *journey) time(begins float64) float64 {
	t := begins
	for i, way := range j.ways {
		t += j.belts[i].between(j.belts[i].at(t), way)
	}
	return t - begins
}

// outgoing returns when counting begins for outgoing piece k.
func (j *journey) outgoing(k int) float64 {
	m := &j.belts[0]
	behind := j.begin - j.first - float64(float64(k)*j.pitch)
	if behind <= 0 {
		return behind * m.perMinute / m.v0
	}
	return m.between(0, behind)
}

// incoming returns when incoming piece k enters, where the feed runs on.
func (j *journey) incoming(k int) float64 {
	m := &j.belts[0]
	behind := float64(float64(k)*j.pitch) - j.first
	if j.feed == ConstantRate {
		return behind * m.perMinute / m.v0
	}
	return m.between(0, behind)
}

// begins returns when counting begins for a piece that enters at a time.
func (j *journey) begins(enters float64) float64 {
	m := &j.belts[0]
	return enters + m.between(m.at(enters), j.begin)
}

// within reports whether a time is within the tolerance of what it ought to be.
func (j *journey) within(time, target float64) bool {
	return math.Abs(time/target-1) <= j.tolerance+nearTolerance
}

// outgoingCount counts the pieces whose time is not over at time 0.
func (j *journey) outgoingCount() int {
	m := &j.belts[0]
	inside := j.old * m.v0 / m.perMinute // of the first belt's travel
	return int(max(math.Ceil((j.begin+inside-j.first)/j.pitch), 0))
}

// inRampCount counts the pieces that enter on the fly before all belts have their
// new speeds.
func (j *journey) inRampCount() int {
	end := j.rampEnd()
	fed := j.belts[0].at(end)
	if j.feed == ConstantRate {
		fed = end * j.belts[0].v0 / j.belts[0].perMinute
	}
	return int(max(math.Ceil((fed+j.first)/j.pitch)-1, 0))
}

// seriesOutcome is Outcome over several sections.
//
// Formula: transition-series/1.
func (t *Transition) seriesOutcome() Outcome {
	j, in := t.journey(), t.Ramp.Unit
	c := new(exact.Calc)
	out := Outcome{
		OutgoingTarget: units.Quantity{Value: j.old, Unit: in}, IncomingTarget: units.Quantity{Value: j.new, Unit: in},
		Outgoing: j.outgoingCount(), InRamp: j.inRampCount(),
		RampTravel: units.Quantity{Value: units.FromBase(c, t.lay(c).all, t.Length.Unit).Float(), Unit: t.Length.Unit},
	}
	outgoing, outgoingOut := newSpan(j.new), 0
	for k := range out.Outgoing {
		time := j.time(j.outgoing(k))
		outgoing.add(time)
		if !j.within(time, j.old) {
			outgoingOut++
		}
	}
	fly, incomingOut := outgoing, 0
	for k := 1; k <= out.InRamp; k++ {
		time := j.time(j.begins(j.incoming(k)))
		fly.add(time)
		if !j.within(time, j.new) {
			incomingOut++
		}
	}
	out.Policies[0] = Policy{Name: OnTheFly, Possible: true, OutgoingOut: outgoingOut, IncomingOut: incomingOut}.with(t, 0, fly)
	out.Policies[1] = Policy{Name: HoldForRamp, Possible: true, OutgoingOut: outgoingOut}.with(t, t.Ramp.Value, outgoing)
	clear := newSpan(j.new)
	clear.add(j.old)
	out.Policies[2] = Policy{Name: ClearFirst, Possible: true}.with(t, t.seriesClear(j)+t.Ramp.Value, clear)
	out.Policies[3] = t.seriesHold(j, &out, outgoing, fly)
	return out
}

// seriesClear returns the time that the newest piece needs at the old speeds until
// its trailing edge has left the last section.
func (t *Transition) seriesClear(j *journey) (time float64) {
	c := new(exact.Calc)
	whole := Piece{Length: t.Piece.Length, Meaning: AnyPart}
	if t.Piece.Length.Unit == nil {
		whole.Meaning = Point
	}
	for i, way := range t.ways(c, &whole) {
		time += way * j.belts[i].perMinute / j.belts[i].v0
	}
	return max(time-float64(j.first*j.belts[0].perMinute/j.belts[0].v0), 0)
}

// holdSteps is how finely the shortest stop is looked for before it is halved out.
const holdSteps = 4096

// seriesHold returns the least stop of the feed after which no piece, whenever it
// enters, is out of tolerance: from the end of the ramp backwards, in steps of a
// [holdSteps]-th of it and then by halves.
func (t *Transition) seriesHold(j *journey, out *Outcome, outgoing, fly span) Policy {
	fed := out.Policies[0]
	hold, held := 0.0, fly
	if fed.IncomingOut > 0 {
		good := t.Ramp.Value
		bad := good
		for step := holdSteps - 1; step >= 0; step-- {
			bad = t.Ramp.Value * float64(step) / holdSteps
			if !j.enough(bad) {
				break
			}
			good = bad
		}
		for range 60 {
			middle := (bad + good) / 2
			if j.enough(middle) {
				good = middle
			} else {
				bad = middle
			}
		}
		hold, held = good, outgoing
		for k := 0; k <= out.InRamp; k++ { // what still enters while the ramp lasts
			enters := j.after(hold, k)
			held.add(j.time(j.begins(enters)))
		}
	}
	if fed.OutgoingOut > 0 {
		return Policy{Name: ShortestHold, OutgoingOut: fed.OutgoingOut, ForIncoming: units.Quantity{Value: hold, Unit: t.Ramp.Unit}}
	}
	return Policy{Name: ShortestHold, Possible: true}.with(t, hold, held)
}

func (j *journey) enough(hold float64) bool { return j.within(j.time(j.begins(hold)), j.new) }

// after returns when the k-th piece after a stop enters, the first being piece 0.
func (j *journey) after(stopped float64, k int) float64 {
	m := &j.belts[0]
	first := max(stopped, j.incoming(1))
	if j.feed == ConstantRate {
		return first + float64(float64(k)*j.pitch*m.perMinute/m.v0)
	}
	return first + m.between(m.at(first), float64(k)*j.pitch)
}

// seriesPieces is Pieces over several sections.
func (t *Transition) seriesPieces(p *Policy, o *Outcome) []PieceTime {
	j := t.journey()
	m := &j.belts[0]
	var out []PieceTime
	for k := min(o.Outgoing, MostPieces) - 1; k >= 0; k-- {
		time := o.OutgoingTarget.Value
		if p.Name != ClearFirst {
			time = j.time(j.outgoing(k))
		}
		inside := j.first + float64(float64(k)*j.pitch)
		out = append(out, t.piece(0-inside*m.perMinute/m.v0, time, false, !j.within(time, j.old)))
	}
	for k, steady := 0, 0; steady < steadyPieces && len(out) < MostPieces; k++ {
		enters, time := j.after(p.FeedStopped.Value, k), j.new
		if p.Name == ClearFirst {
			apart := j.pitch * m.perMinute / m.v1
			if j.feed == ConstantRate {
				apart = j.pitch * m.perMinute / m.v0
			}
			enters = p.FeedStopped.Value + float64(float64(k)*apart)
		} else {
			time = j.time(j.begins(enters))
		}
		if p.Name == ClearFirst || j.begins(enters) >= j.rampEnd() {
			steady++
		}
		out = append(out, t.piece(enters, time, true, !j.within(time, j.new)))
	}
	return out
}
