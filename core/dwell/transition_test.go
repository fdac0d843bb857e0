package dwell

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	"linepace.example/core/units"
)

func q(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

// zone is the zone of the check values: 10 m, from 2 to 3 m/min at 0.1 m/min each
// second.
func zone(first, pitch float64) *Transition {
	return &Transition{
		Length: q(10, "m"), From: q(2, "m/min"), To: q(3, "m/min"), Ramp: q(10, "s"),
		Pitch: q(pitch, "m"), FirstPiece: q(first, "m"), Piece: Piece{Meaning: Point}, Feed: ConstantPitch, TolerancePercent: 100,
	}
}

func mustOutcome(t *testing.T, in *Transition) Outcome {
	t.Helper()
	var faults fault.List
	in.Validate(nil, &faults)
	require.Empty(t, faults)
	return in.Outcome()
}

// Items at 0 to 9.8 m of a zone when its ramp starts. Computed with mpmath 1.2.1 from
// the equations of uniformly accelerated motion, to 18 digits.
func TestDwellAcrossARampUp(t *testing.T) {
	for _, item := range []struct{ at, dwell float64 }{
		{0, 201.666666666666667}, {2.5, 226.666666666666667}, {5, 251.666666666666667}, {7.5, 276.666666666666667}, {9.8, 299.298221281347035},
	} {
		out := mustOutcome(t, zone(item.at, 10))
		require.Equal(t, 1, out.Outgoing)
		require.InEpsilon(t, item.dwell, out.Policies[0].Longest.Value, 1e-13)
	}
	all := mustOutcome(t, zone(0, 2.5))
	require.Equal(t, 4, all.Outgoing)
	require.InEpsilon(t, 276.666666666666667, all.Policies[0].Longest.Value, 1e-13)
	require.Equal(t, 200.0, all.Policies[0].Shortest.Value) // 10 m at 3 m/min
	pieces := zone(0, 2.5).Pieces(&all.Policies[0], &all)
	for i, want := range []float64{276.666666666666667, 251.666666666666667, 226.666666666666667, 201.666666666666667} {
		require.InEpsilon(t, want, pieces[i].Time.Value, 1e-13)
	}
}

// Half way through 10 m at 2 m/min the speed steps to 3 m/min: 150 s and 100 s.
func TestDwellAcrossAStep(t *testing.T) {
	step := zone(5, 10)
	step.Ramp = q(0, "s")
	out := mustOutcome(t, step)
	require.Equal(t, 250.0, out.Policies[0].Longest.Value)
	require.Zero(t, out.RampTravel.Value)
	require.Zero(t, out.Policies[1].FeedStopped.Value)
	require.Equal(t, 150.0, out.Policies[2].FeedStopped.Value) // 5 m at 2 m/min
}

// From 2 to 3 m/min at 0.1 m/min each second takes 10 s, in which the belt moves
// 5/12 m.
func TestRampTravel(t *testing.T) {
	require.InEpsilon(t, 5.0/12, mustOutcome(t, zone(0, 1)).RampTravel.Value, 1e-15)
}

// Bounds belong to the tolerance, whatever rounding does to the times: a step that
// changes nothing, and pieces that are off by just the tolerance.
func TestBoundsBelongToTheTolerance(t *testing.T) {
	same := zone(0, 0.1)
	same.From, same.To, same.TolerancePercent = q(0.7, "m/min"), q(0.7, "m/min"), 0
	for _, p := range mustOutcome(t, same).Policies {
		require.True(t, p.Possible)
		require.Zero(t, p.OutgoingOut)
		require.Zero(t, p.IncomingOut)
		require.Equal(t, p.Shortest, p.Longest)
	}
	// A piece at the entrance when the speed steps from 0.3 to 0.4 m/min gets 0.3/0.4
	// of what it ought to, 25 % less; none of these is a float64.
	edge := &Transition{Length: q(0.7, "m"), From: q(0.3, "m/min"), To: q(0.4, "m/min"), Ramp: q(0, "min"), Pitch: q(0.1, "m"),
		Piece: Piece{Meaning: Point}, Feed: ConstantPitch, TolerancePercent: 25}
	require.Zero(t, mustOutcome(t, edge).Policies[0].OutgoingOut)
	edge.TolerancePercent = math.Nextafter(25, 0)
	require.Equal(t, 1, mustOutcome(t, edge).Policies[0].OutgoingOut)
	// At x it is off by (1 - x/0.7) of that: at 0.1, 0.2, ... of 0.7 m by 6/7, 5/7 of 25 %.
	edge.TolerancePercent = 0
	require.Equal(t, 7, mustOutcome(t, edge).Policies[0].OutgoingOut)
}

// random returns a transition with some dozens of pieces.
func random(r *rand.Rand) *Transition {
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	length := between(1, 20)
	t := &Transition{
		Length: q(length, "m"), From: q(between(0.2, 5), "m/min"), To: q(between(0.2, 5), "m/min"), Ramp: q(between(0, 300), "s"),
		Pitch: q(length/between(1, 40), "m"), Feed: Feed(1 + r.IntN(2)), TolerancePercent: between(0, 30), Piece: Piece{Meaning: Point},
	}
	switch r.IntN(6) {
	case 0:
		t.Ramp.Value = 0
	case 1:
		t.TolerancePercent = 0
	case 2:
		t.To.Value = t.From.Value * between(0.9, 1.1)
	}
	t.FirstPiece = q(t.Pitch.Value*r.Float64(), "m")
	if r.IntN(3) > 0 {
		t.Piece = Piece{Length: q(t.Pitch.Value*between(0.1, 1), "m"), Meaning: Meaning(1 + r.IntN(3))}
	}
	return t
}

// Every piece of every policy against a simulation that knows no formula: it moves
// the belt in small steps of time and watches edges pass.
func TestAgainstASimulation(t *testing.T) {
	cases := 400
	if testing.Short() {
		cases = 40
	}
	r := rand.New(rand.NewPCG(6, 1))
	judged, out, none := 0, 0, 0
	for n := range cases {
		in := random(r)
		var faults fault.List
		in.Validate(nil, &faults)
		if len(faults) > 0 { // a whole piece as long as the section, or pieces that would overlap
			continue
		}
		judged++
		answer := in.Outcome()
		for i := range answer.Policies {
			p := &answer.Policies[i]
			if !p.Possible {
				none++
				require.Positive(t, p.OutgoingOut)
				continue
			}
			out += p.OutgoingOut + p.IncomingOut
			compare(t, n, in, &answer, p)
		}
	}
	require.Greater(t, judged, cases*2/3)
	require.Greater(t, out, cases)
	require.Greater(t, none, cases/4)
}

func compare(t *testing.T, n int, in *Transition, answer *Outcome, p *Policy) {
	t.Helper()
	s := simulate(in, p)
	const near = 2e-6 // of a time; the simulation's own error
	require.Len(t, s.outgoing, answer.Outgoing, "case %d %+v policy %d", n, in, p.Name)
	require.InDelta(t, s.stopped, p.FeedStopped.Value/60, near*(1+s.stopped), "case %d policy %d", n, p.Name)
	pieces := in.Pieces(p, answer)
	least, most := math.Inf(1), 0.0
	see := func(got float64, piece *PieceTime) {
		require.InEpsilon(t, got, piece.Time.Value/60, near, "case %d %+v policy %d piece at %v", n, in, p.Name, piece.Enters.Value)
		least, most = min(least, got), max(most, got)
	}
	for k, got := range s.outgoing {
		see(got, &pieces[k])
	}
	for k := range min(len(s.incoming), len(pieces)-answer.Outgoing) {
		piece := &pieces[answer.Outgoing+k]
		see(s.incoming[k].dwell, piece)
		require.InDelta(t, s.incoming[k].enters, piece.Enters.Value/60, near*(1+s.incoming[k].enters), "case %d %+v policy %d piece %d", n, in, p.Name, k)
	}
	require.InEpsilon(t, least, p.Shortest.Value/60, near, "case %d", n)
	require.InEpsilon(t, most, p.Longest.Value/60, near, "case %d", n)

	surely, perhaps := s.out(in, near)
	require.GreaterOrEqual(t, p.OutgoingOut, surely[0], "case %d %+v policy %d", n, in, p.Name)
	require.LessOrEqual(t, p.OutgoingOut, perhaps[0], "case %d %+v policy %d", n, in, p.Name)
	require.GreaterOrEqual(t, p.IncomingOut, surely[1], "case %d %+v policy %d", n, in, p.Name)
	require.LessOrEqual(t, p.IncomingOut, perhaps[1], "case %d %+v policy %d", n, in, p.Name)
}

// The shortest stop is the shortest: with a little less a piece is out of tolerance.
func TestShortestHoldIsLeast(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	found := 0
	for range 4000 {
		in := random(r)
		var faults fault.List
		in.Validate(nil, &faults)
		if len(faults) > 0 {
			continue
		}
		p := in.Outcome().Policies[3]
		if !p.Possible || p.FeedStopped.Value == 0 {
			continue
		}
		found++
		require.LessOrEqual(t, p.FeedStopped.Value, in.Ramp.Value)
		require.True(t, in.enough(p.FeedStopped.Value) || p.FeedStopped.Value == in.Ramp.Value)
		require.False(t, in.enough(p.FeedStopped.Value-1e-12*in.Ramp.Value), "%+v", in)
	}
	require.Greater(t, found, 100)
}

// Pieces of a zone; an outcome counts them all, a listing also finds the time of each.
func BenchmarkTransition(b *testing.B) {
	for _, pieces := range []int{100, 10000} {
		in := zone(0, 10/float64(pieces))
		in.Ramp, in.TolerancePercent = q(60, "s"), 1
		b.Run(fmt.Sprint("outcome-", pieces), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				in.Outcome()
			}
		})
		out := in.Outcome()
		b.Run(fmt.Sprint("pieces-", pieces), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				in.Pieces(&out.Policies[0], &out)
			}
		})
	}
}

// A tie inside the ramp, worked by hand in fractions: from 0.1 to 0.3 m/min in 2 min the
// belt is at 0.2 m/min when it has moved 0.15 m, after 1 min. A piece that enters there
// takes 1 min for 0.25 m to the end of the ramp and 0.5 min for 0.15 m more, 1.5 min for
// 0.4 m, 12.5 % more than the 4/3 min that it ought to get. Of pieces each 0.05 m it is the
// third; none of these lengths and speeds is a float64.
func TestATieInsideTheRamp(t *testing.T) {
	in := &Transition{Length: q(0.4, "m"), From: q(0.1, "m/min"), To: q(0.3, "m/min"), Ramp: q(2, "min"), Pitch: q(0.05, "m"),
		Piece: Piece{Meaning: Point}, Feed: ConstantPitch, TolerancePercent: 12.5}
	out := mustOutcome(t, in)
	require.Equal(t, 2, out.Policies[0].IncomingOut)
	require.InEpsilon(t, 1, out.Policies[3].ForIncoming.Value, 1e-14)
	in.TolerancePercent = math.Nextafter(12.5, 0)
	require.Equal(t, 3, mustOutcome(t, in).Policies[0].IncomingOut)
	// The same way round: from 0.3 to 0.1 m/min the belt is at 0.2 m/min after 0.25 m and
	// 1 min. 0.4 m from there take 1 min for 0.15 m and 2.5 min for the rest, 3.5 min, 12.5 %
	// less than 4 min.
	in.From, in.To, in.TolerancePercent = in.To, in.From, 12.5
	require.Equal(t, 4, mustOutcome(t, in).Policies[0].IncomingOut) // 0.05 to 0.2 m; the fifth is the tie
	in.TolerancePercent = math.Nextafter(12.5, 0)
	require.Equal(t, 5, mustOutcome(t, in).Policies[0].IncomingOut)
}
