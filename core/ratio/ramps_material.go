package ratio

import (
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// offRatio tells what is delivered off ratio, with each drive on its own fastest
// ramp and with the common one.
func (r *rampRun) offRatio() {
	alone, common := r.alone(), r.common()
	r.out.Alone = r.judgeRamps(alone, func(o *RampOf) *OffRatio { return &o.Alone })
	r.out.Common = r.judgeRamps(common, func(o *RampOf) *OffRatio { return &o.Common })
	for i := range r.out.Ramps {
		_, amount := common[i].during([]period{{0, lastOf(common)}})
		r.out.Ramps[i].Amount = r.amountOf(i, amount)
	}
}

// alone returns the drives' profiles, each by its own fastest ramp.
func (r *rampRun) alone() []profile {
	return r.profiles(func(i int) float64 { return r.fastest[i].Float() })
}

// common returns them by the settings for the common ramp.
func (r *rampRun) common() []profile {
	return r.profiles(func(i int) float64 { return r.taken[i] })
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
		if i == lead || r.ramps.carries(i) {
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
