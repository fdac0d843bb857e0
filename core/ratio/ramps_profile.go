package ratio

import (
	"cmp"
	"math"
	"slices"

	"linepace.example/core/scaling"
)

// profile is how a drive's process rate goes while it changes: with its motor's
// speed, and so in a straight line from before to after, until time; then it stays.
// A pump that turns more slowly than it leaks delivers nothing. Rates are in base
// units per min, times in min.
type profile struct{ from, to, time float64 }

// at returns the rate at time t. At the very time at which a pump begins or ceases
// to deliver it is zero, free of rounding.
func (p profile) at(t float64) float64 {
	if zero, crosses := p.zero(); crosses && (p.from < 0 && t <= zero || p.to < 0 && t >= zero) {
		return 0
	}
	return max(p.line(t), 0)
}

// zero returns when the line goes through zero.
func (p profile) zero() (t float64, crosses bool) {
	if p.time == 0 || (p.from < 0) == (p.to < 0) {
		return 0, false
	}
	return p.time * (p.from / (p.from - p.to)), true
}

func (p profile) line(t float64) float64 {
	if t >= p.time {
		return p.to
	}
	return p.from + float64((p.to-p.from)*(t/p.time))
}

// breaks returns the times at which the rate's line bends.
func (p profile) breaks() []float64 {
	if zero, crosses := p.zero(); crosses {
		return []float64{zero, p.time}
	}
	return []float64{p.time}
}

// period is a part of the time of a change.
type period struct{ from, to float64 }

// length is the time of a period.
func (s period) length() float64 { return s.to - s.from }

// amount is what p delivers in a period in which its line does not bend.
func (p profile) amount(s period) float64 { return (p.at(s.from) + p.at(s.to)) / 2 * s.length() }

// pieces cuts the time from 0 to end where the line of any of the profiles bends.
func pieces(end float64, profiles ...profile) []period {
	times := []float64{0, end}
	for _, p := range profiles {
		for _, t := range p.breaks() {
			if t > 0 && t < end {
				times = append(times, t)
			}
		}
	}
	slices.Sort(times)
	times = slices.CompactFunc(times, func(a, b float64) bool { return math.Abs(b-a) <= end*sliver })
	times[len(times)-1] = end
	out := make([]period, 0, len(times))
	for i := range times[1:] {
		out = append(out, period{times[i], times[i+1]})
	}
	return out
}

// bond is the ratio that a follower is to hold to its leader, before and after the
// change. A ratio does not exist where the leader stands.
type bond struct {
	leader, follower profile
	before, after    scaling.Optional[float64]
	tolerance        float64 // as a part of the ratio
}

func newBond(leader, follower profile, tolerance float64) bond {
	ratio := func(l, f float64) scaling.Optional[float64] {
		if l <= 0 {
			return scaling.Optional[float64]{}
		}
		return scaling.Some(max(f, 0) / l)
	}
	return bond{leader: leader, follower: follower, tolerance: tolerance,
		before: ratio(leader.from, follower.from), after: ratio(leader.to, follower.to)}
}

// off returns the periods up to end in which the follower holds neither ratio.
// Formula: off-ratio/1.
//
//	held where (1 - tolerance) * ratio * leader <= follower <= (1 + tolerance) * ratio * leader
//
// On a piece in which both rates are straight lines each of these is an
// inequality between lines, which holds from one point on or up to one.
func (b bond) off(end float64) (periods []period) {
	for _, piece := range pieces(end, b.leader, b.follower) {
		left := []period{piece}
		for _, ratio := range [...]scaling.Optional[float64]{b.before, b.after} {
			if ratio.Set {
				left = without(left, b.held(piece, ratio.Value))
			}
		}
		for _, s := range left {
			if s.length() > end*sliver {
				periods = append(periods, s)
			}
		}
	}
	return joined(periods)
}

// sliver is the part of a change's time below which a period comes of rounding alone:
// two ramps that end together do so to the last digits only.
const sliver = 0x1p-40

// held returns the part of a piece in which a ratio is held; it is empty where to
// is not above from.
func (b bond) held(piece period, ratio float64) period {
	above := func(t float64) float64 {
		return b.follower.at(t) - float64(ratio*(1-b.tolerance)*b.leader.at(t))
	}
	below := func(t float64) float64 {
		return float64(ratio*(1+b.tolerance)*b.leader.at(t)) - b.follower.at(t)
	}
	for _, room := range [...]func(float64) float64{above, below} {
		piece = notNegative(piece, room(piece.from), room(piece.to))
	}
	return piece
}

// notNegative returns the part of s in which a line from a at its start to b at its
// end is not below zero.
func notNegative(s period, a, b float64) period {
	switch {
	case a >= 0 && b >= 0:
		return s
	case a < 0 && b < 0:
		return period{s.from, s.from}
	}
	cross := s.from + float64(s.length()*(a/(a-b)))
	if a >= 0 {
		return period{s.from, cross}
	}
	return period{cross, s.to}
}

// without takes a period out of periods.
func without(periods []period, out period) (left []period) {
	if out.length() <= 0 {
		return periods
	}
	for _, s := range periods {
		for _, part := range [...]period{{s.from, min(s.to, out.from)}, {max(s.from, out.to), s.to}} {
			if part.length() > 0 {
				left = append(left, part)
			}
		}
	}
	return left
}

// joined returns periods in order, those that overlap or touch made one.
func joined(periods []period) (out []period) {
	periods = slices.Clone(periods)
	slices.SortFunc(periods, func(a, b period) int { return cmp.Compare(a.from, b.from) })
	for _, s := range periods {
		if n := len(out); n > 0 && s.from <= out[n-1].to {
			out[n-1].to = max(out[n-1].to, s.to)
		} else {
			out = append(out, s)
		}
	}
	return out
}

// during returns the time of periods and what p delivers in them.
func (p profile) during(periods []period) (time, amount float64) {
	for _, s := range periods {
		time += s.length()
		for _, piece := range p.piecesIn(s) {
			amount += p.amount(piece)
		}
	}
	return time, amount
}

// piecesIn cuts a period where p bends.
func (p profile) piecesIn(s period) (out []period) {
	for _, piece := range pieces(s.to, p) {
		if piece.to > s.from {
			out = append(out, period{max(piece.from, s.from), piece.to})
		}
	}
	return out
}

// lasting returns the new ratio, or the old one where the leader comes to a stand.
func (b bond) lasting() scaling.Optional[float64] {
	if b.after.Set {
		return b.after
	}
	return b.before
}

// excess returns what the follower delivers up to end beyond what the new ratio to
// its leader asks, or the old ratio where the leader comes to a stand.
func (b bond) excess(end float64) scaling.Optional[float64] {
	ratio := b.lasting()
	if !ratio.Set {
		return scaling.Optional[float64]{}
	}
	_, delivered := b.follower.during([]period{{0, end}})
	_, led := b.leader.during([]period{{0, end}})
	excess := delivered - float64(ratio.Value*led)
	if math.Abs(excess) <= delivered*sliver {
		excess = 0 // of two amounts that are equal but for rounding
	}
	return scaling.Some(excess)
}
