package ratio

import (
	"cmp"
	"math"
	"slices"

	"linepace.example/core/scaling"
	"linepace.example/core/units"
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
	times = slices.Compact(times)
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
	return periods
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
		for _, piece := range pieces(s.to, p) {
			if piece.to > s.from {
				amount += p.amount(period{max(piece.from, s.from), piece.to})
			}
		}
	}
	return time, amount
}

// excess returns what the follower delivers up to end beyond what the new ratio to
// its leader asks, or the old ratio where the leader comes to a stand.
func (b bond) excess(end float64) scaling.Optional[float64] {
	ratio := b.after
	if !ratio.Set {
		ratio = b.before
	}
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

// offRatio tells what is delivered off ratio, with each drive on its own fastest
// ramp and with the common one.
func (r *rampRun) offRatio() {
	alone, common := r.profiles(func(i int) float64 { return r.fastest[i].Float() }), r.profiles(func(i int) float64 { return r.taken[i] })
	r.out.Alone = r.judgeRamps(alone, func(o *RampOf) *OffRatio { return &o.Alone })
	r.out.Common = r.judgeRamps(common, func(o *RampOf) *OffRatio { return &o.Common })
	for i := range r.out.Ramps {
		_, amount := common[i].during([]period{{0, lastOf(common)}})
		r.out.Ramps[i].Amount = r.amountOf(i, amount)
	}
}

func (r *rampRun) profiles(time func(i int) float64) []profile {
	out := make([]profile, len(r.ramps.Ramps))
	for i := range out {
		out[i] = profile{from: r.told(i, r.from[i]), to: r.told(i, r.to[i])}
		if r.changes[i] {
			out[i].time = time(i)
		}
	}
	return out
}

// lastOf returns when the last of the profiles has made its change.
func lastOf(profiles []profile) (end float64) {
	for _, p := range profiles {
		end = max(end, p.time)
	}
	return end
}

func (r *rampRun) judgeRamps(profiles []profile, into func(*RampOf) *OffRatio) OffRatio {
	end, lead := lastOf(profiles), r.ramps.leader()
	var all []period
	for i, p := range profiles {
		if i == lead {
			continue
		}
		b := newBond(profiles[lead], p, r.ramps.TolerancePercent/100)
		periods := b.off(end)
		all = append(all, periods...)
		time, amount := p.during(periods)
		out := into(&r.out.Ramps[i])
		*out = OffRatio{Time: seconds(time), Amount: r.amountOf(i, amount)}
		if excess := b.excess(end); excess.Set {
			out.Excess = r.amountOf(i, excess.Value)
		}
	}
	time, amount := profiles[lead].during(joined(all))
	return OffRatio{Time: seconds(time), Amount: r.amountOf(lead, amount)}
}

var turn, litre, kilogram, piece = units.MustParse("r"), units.MustParse("L"), units.MustParse("kg"), units.MustParse("pc")

// told returns the rate of drive i at a motion in the kind in which its amounts are
// told, in base units.
func (r *rampRun) told(i int, at scaling.Motion) float64 {
	dim := r.ramps.amountRate(i)
	if dim == units.Rotation {
		return at.Speed.Float()
	}
	return scaling.InDimension(r.c, r.ramps.drive(i), r.ramps.material(i), at.Rate, dim).Float()
}

// amountRate is the kind of rate whose amounts are told of drive i: that in which it is
// asked for, else its own, else turns of the motor.
func (q *Ramps) amountRate(i int) units.Dimension {
	for _, end := range [...]units.Quantity{q.Ramps[i].To, q.Ramps[i].From} {
		if end.Unit != nil && end.Unit.Dimension() != units.Rotation {
			return end.Unit.Dimension()
		}
	}
	if own := q.drive(i).RateDimension(); own != (units.Dimension{}) {
		return own
	}
	return units.Rotation
}

// amountUnit is the unit in which the amounts of drive i are told.
func (q *Ramps) amountUnit(i int) *units.Unit {
	switch q.amountRate(i) {
	case units.SpeedDim:
		return metre
	case units.VolumeFlow:
		return litre
	case units.MassFlow:
		return kilogram
	case units.PieceRate:
		return piece
	}
	return turn
}

// amountOf returns an amount of drive i, in base units, as a quantity.
func (r *rampRun) amountOf(i int, amount float64) units.Quantity {
	u := r.ramps.amountUnit(i)
	factor := r.c.Const(u.Factor()).Float()
	return units.Quantity{Value: amount/factor + 0, Unit: u}
}

// starts finds the delays of staggered feeders: the one farthest upstream starts
// first, and each other one when the place on the belt that lay below the first
// comes by. Where the belt changes its speed, it begins with the first feeder.
//
//	travel of the belt = from * t + (to - from) * t^2 / (2 * time) up to time, then on at the new speed
//
// Formula: start-delay/1.
func (r *rampRun) starts() {
	g := r.ramps.Stagger
	if g == nil {
		return
	}
	belt := r.ramps.find(g.BeltID)
	v := r.profiles(func(i int) float64 { return r.taken[i] })[belt]
	distance := make([]float64, len(g.Feeders))
	for i, f := range g.Feeders {
		distance[i] = f.Distance.Base(r.c).Float()
	}
	farthest, nearest := slices.Max(distance), slices.Min(distance)
	for i, f := range g.Feeders {
		travel := farthest - distance[i]
		start := Start{DriveID: f.DriveID, Travel: units.Quantity{Value: travel, Unit: metre}}
		if t := v.arrival(travel); t.Set {
			start.Delay = seconds(t.Value)
		} else {
			r.out.Checks = append(r.out.Checks, scaling.Check{Code: scaling.BeltStopsBefore, DriveID: f.DriveID, Field: "stagger.feeders", Name: g.BeltID, Number: travel})
		}
		r.out.Starts = append(r.out.Starts, start)
	}
	slices.SortStableFunc(r.out.Starts, func(a, b Start) int { return cmp.Compare(a.Travel.Value, b.Travel.Value) })
	if v.time > 0 && farthest > nearest {
		r.out.Checks = append(r.out.Checks, scaling.Check{Code: scaling.BeltChangesToo, DriveID: g.BeltID, Field: "stagger.beltId", Name: g.BeltID})
	}
	r.out.PartialBelt = units.Quantity{Value: farthest - nearest, Unit: metre}
}

// arrival returns when a place on the belt has come a distance on, if it does.
func (p profile) arrival(distance float64) scaling.Optional[float64] {
	_, ramped := p.during([]period{{0, p.time}})
	switch {
	case distance == 0:
		return scaling.Some(0.0)
	case distance > ramped && p.to <= 0:
		return scaling.Optional[float64]{}
	case distance > ramped:
		return scaling.Some(p.time + (distance-ramped)/p.to)
	}
	// The root of from*t + a/2*t^2 = distance in the form that loses no digits.
	a := (p.to - p.from) / p.time
	under := float64(p.from*p.from) + float64(2*a*distance)
	return scaling.Some(2 * distance / (p.from + math.Sqrt(max(under, 0))))
}
