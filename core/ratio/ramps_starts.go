package ratio

import (
	"cmp"
	"math"
	"slices"

	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

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
	v := r.common()[belt]
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
