package changeover

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/dwell"
	"linepace.example/core/scaling"
)

// changed is the line of two belts with a product that runs now and a faster one, and
// what is to be found of the change.
func changed(time, before float64) *Request {
	belts := []dwell.Belt{{DriveID: "kiln", SpeedPercent: scaling.Some(100.0)}, {DriveID: "cooler", SpeedPercent: scaling.Some(110.0)}}
	asked := func(time float64) dwell.Demand {
		return dwell.Demand{SectionIDs: []string{"heat", "cool"}, Time: q(time, "min"), Belts: belts}
	}
	req := tunnels(asked(time))
	req.Running = tunnels(asked(before)).Product
	req.Transitions = []Transition{{DriveID: "kiln", Change: dwell.Transition{
		Ramp: q(30, "s"), Pitch: q(2, "m"), Piece: dwell.Piece{Length: q(1, "m")}, Feed: dwell.ConstantPitch, TolerancePercent: 4,
		Cost: &dwell.Cost{PerMinuteStopped: 10, PerPieceOut: 1},
	}}}
	return req
}

// A plan's transition is that between the speeds at its setpoints, over the sections
// with their dead plates.
func TestTransitionOfAPlan(t *testing.T) {
	req := changed(2, 2.2)
	plan := mustPlan(t, req)
	before := mustPlan(t, &Request{Line: req.Line, Product: req.Running})
	require.Len(t, plan.Transitions, 1)
	found := plan.Transitions[0]
	require.True(t, found.Feasible)
	alone := req.Transitions[0].Change
	alone.Piece.Meaning = dwell.Point
	alone.Length, alone.From, alone.To = q(62, "m"), before.of("kiln").ProcessRate, plan.of("kiln").ProcessRate
	alone.Following = []dwell.Stretch{{Length: q(40, "m"), From: before.of("cooler").ProcessRate, To: plan.of("cooler").ProcessRate}}
	require.Equal(t, alone.Outcome(), found.Outcome)
	require.InEpsilon(t, 2.2*60, found.Outcome.OutgoingTarget.Value, 1e-3)
	require.InEpsilon(t, 2*60, found.Outcome.IncomingTarget.Value, 1e-3)
	require.NotEqual(t, dwell.NoPolicy, found.Outcome.Cheapest)
	require.Contains(t, Formulas(req, &plan), "transition-series/1")
}

// The new speed's feasibility comes first: without a setpoint there is no transition.
func TestNoTransitionToASpeedThatIsNone(t *testing.T) {
	req := changed(0.1, 2.2)
	plan := mustPlan(t, req)
	require.Equal(t, NotRunnable, plan.Verdict)
	require.False(t, plan.Transitions[0].Feasible)
	require.Equal(t, scaling.NoTransition, plan.Checks[len(plan.Checks)-1].Code)
	require.Equal(t, "transitions[0]", plan.Checks[len(plan.Checks)-1].Field)

	req = changed(2, 2.2)
	req.Running.Demands = []Demand{{DriveID: "kiln", Kind: Stopped}, {DriveID: "cooler", Kind: Stopped}}
	require.False(t, mustPlan(t, req).Transitions[0].Feasible)
}
