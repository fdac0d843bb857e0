package server

import (
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// answer is what is found for a setpoint request.
type answer struct {
	setpoint scaling.Setpoint
	limits   scaling.Optional[scaling.Limits]
	inUnits  []units.Quantity
}

// measures reads the units in which an achieved speed is asked for as well.
func (a *about) measures(symbols []string) []scaling.Measure {
	list := fault.Root("units")
	out := make([]scaling.Measure, 0, len(symbols))
	for i, symbol := range symbols {
		at := list.Index(i)
		u := a.unitAt(symbol, &at)
		if u == scaling.Unreadable {
			continue
		}
		scaling.ValidateUnit(&a.drive, a.material, a.section, u, &at, &a.faults)
		m := scaling.Measure{Unit: u}
		if a.section != nil {
			m.Length = a.section.Length
		}
		out = append(out, m)
	}
	return out
}

// write adds to a response what the setpoint itself does not hold.
func (a *answer) write(out *linepacev1.SetpointResponse) {
	if a.limits.Set {
		out.Slowest, out.Fastest = expected(&a.limits.Value.Slowest), expected(&a.limits.Value.Fastest)
	}
	for _, q := range a.inUnits {
		out.InUnits = append(out.InUnits, quantity(q))
	}
}

func expected(e *scaling.Expected) *linepacev1.SetpointResponse_Expected {
	return &linepacev1.SetpointResponse_Expected{
		MotorRpm: e.MotorRPM, LastShaftRpm: pointer(&e.LastShaftRPM), ProcessRate: quantity(e.ProcessRate),
		ReadoutText: text(e.ReadoutText), PulseHz: pointer(&e.PulseHz),
	}
}
