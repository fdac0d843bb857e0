package dwell

import "math"

// simulated is what a simulation saw, in minutes.
type simulated struct {
	stopped  float64
	outgoing []float64 // times of the pieces on the belt at time 0, oldest first
	incoming []seen
}

type seen struct{ enters, dwell float64 }

// out counts the outgoing and the incoming pieces that are surely and perhaps out of
// tolerance, where times are known to a part near.
func (s *simulated) out(in *Transition, near float64) (surely, perhaps [2]int) {
	way := in.Length.Value
	switch in.Piece.Meaning {
	case WholePiece:
		way -= in.Piece.Length.Value
	case AnyPart:
		way += in.Piece.Length.Value
	}
	judge := func(which int, dwell, speed float64) {
		off := math.Abs(dwell*speed/way - 1)
		if off > in.TolerancePercent/100+near {
			surely[which]++
		}
		if off > in.TolerancePercent/100-near {
			perhaps[which]++
		}
	}
	for _, dwell := range s.outgoing {
		judge(0, dwell, in.From.Value)
	}
	for _, piece := range s.incoming {
		judge(1, piece.dwell, in.To.Value)
	}
	return surely, perhaps
}

// watched is a piece of which the simulation sees its leading edge pass the two
// ends of the way that is counted.
type watched struct {
	lead             float64 // position of the leading edge at time 0, as if the belt had moved on
	enters           float64
	began, ended     float64
	hasBegun         bool
	isIncoming, done bool
}

// simulate moves the belt in steps of time, metres and minutes, and watches. It
// shares no formula with what it tests: times are those at which edges pass,
// interpolated within a step.
func simulate(in *Transition, p *Policy) simulated {
	length, v0, v1, rampTime := in.Length.Value, in.From.Value, in.To.Value, in.Ramp.Value/60
	size, pitch, first := in.Piece.Length.Value, in.Pitch.Value, in.FirstPiece.Value
	from, to := 0.0, length
	switch in.Piece.Meaning {
	case WholePiece:
		from = size
	case AnyPart:
		to = length + size
	}
	step := min(rampTime/3000, pitch/v0/20, pitch/v1/20, length/v0/2000)
	if rampTime == 0 {
		step = min(pitch/v0/20, pitch/v1/20, length/v0/2000)
	}

	var line []*watched
	for x := first; x < to; x += pitch {
		w := &watched{lead: x}
		if x >= from { // its time began at the old speed
			w.hasBegun, w.began = true, -(x-from)/v0
		}
		line = append([]*watched{w}, line...)
	}
	outgoing := len(line)

	var s simulated
	start, feedFrom := 0.0, p.FeedStopped.Value/60
	waiting := p.Name == ClearFirst
	if waiting {
		start, feedFrom = math.Inf(1), math.Inf(1)
	}
	if p.Name == HoldForRamp {
		feedFrom = rampTime
	}
	s.stopped = feedFrom
	lastEntry, lastTime := -first, -first/v0 // travel and time of the newest piece's entry
	speed := func(t float64) float64 {
		switch {
		case t <= start:
			return v0
		case t >= start+rampTime:
			return v1
		}
		return v0 + (v1-v0)*(t-start)/rampTime
	}
	steadySeen := 0
	for t, travel := 0.0, 0.0; steadySeen < 3; {
		next := t + step
		for _, kink := range []float64{start, start + rampTime, feedFrom} { // a step ends where the speed bends
			if t < kink && kink < next {
				next = kink
			}
		}
		moved := travel + (speed(t+(next-t)*1e-9)+speed(next-(next-t)*1e-9))/2*(next-t)
		when := func(travelled float64) float64 { return t + (next-t)*(travelled-travel)/(moved-travel) }
		if waiting && first+moved >= length+size {
			start = max(when(length+size-first), 0)
			next, moved = start, travel+v0*(start-t)
			waiting, feedFrom = false, start+rampTime
			s.stopped = feedFrom
		}
		for {
			due := lastTime + pitch/v0
			if in.Feed == ConstantPitch {
				if lastEntry+pitch > moved {
					break
				}
				due = when(max(lastEntry+pitch, travel))
			}
			due = max(due, feedFrom)
			if due > next {
				break
			}
			at := travel
			if next > t {
				at = travel + (moved-travel)*(due-t)/(next-t)
			}
			if in.Feed == ConstantPitch && due > feedFrom {
				at = lastEntry + pitch
			}
			lastEntry, lastTime = at, due
			line = append(line, &watched{lead: -at, enters: due, isIncoming: true})
		}
		for _, w := range line {
			if w.done {
				continue
			}
			if !w.hasBegun && w.lead+moved >= from {
				w.hasBegun, w.began = true, when(from-w.lead)
			}
			if w.lead+moved < to {
				break // those behind it are not there yet either
			}
			w.done, w.ended = true, when(to-w.lead)
			if w.isIncoming && w.began > start+rampTime {
				steadySeen++
			}
		}
		for _, w := range line { // counting begins also for those behind one that has not ended
			if !w.hasBegun && w.lead+moved >= from {
				w.hasBegun, w.began = true, when(from-w.lead)
			}
		}
		t, travel = next, moved
	}
	for i, w := range line {
		if !w.done {
			continue
		}
		if i < outgoing {
			s.outgoing = append(s.outgoing, w.ended-w.began)
		} else {
			s.incoming = append(s.incoming, seen{w.enters, w.ended - w.began})
		}
	}
	return s
}
