package dwell

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
)

// A section cut in two that move alike is the section.
func TestSeriesOfOneSpeedIsOneSection(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	compared := 0
	for range 300 {
		whole := random(r)
		whole.Cost = &Cost{PerMinuteStopped: 3, PerPieceOut: 7}
		var faults fault.List
		whole.Validate(nil, &faults)
		if len(faults) > 0 {
			continue
		}
		cut := *whole
		part := 0.2 + 0.6*r.Float64()
		cut.Length.Value = whole.Length.Value * part
		cut.Following = []Stretch{{Length: q(whole.Length.Value-cut.Length.Value, "m"), From: whole.From, To: whole.To}}
		compared++
		a, b := whole.Outcome(), cut.Outcome()
		require.Equal(t, a.Outgoing, b.Outgoing)
		require.Equal(t, a.InRamp, b.InRamp)
		require.Equal(t, a.Cheapest, b.Cheapest)
		for i := range a.Policies {
			x, y := &a.Policies[i], &b.Policies[i]
			require.Equal(t, x.Possible, y.Possible, "%+v", whole)
			require.Equal(t, x.OutgoingOut, y.OutgoingOut, "%+v", whole)
			require.InDelta(t, x.FeedStopped.Value, y.FeedStopped.Value, 1e-6)
			if x.Possible {
				require.Equal(t, x.IncomingOut, y.IncomingOut)
				require.InEpsilon(t, x.Shortest.Value, y.Shortest.Value, 1e-9)
				require.InEpsilon(t, x.Longest.Value, y.Longest.Value, 1e-9)
				require.InDelta(t, x.Cost, y.Cost, 1e-5)
			}
		}
	}
	require.Greater(t, compared, 150)
}

// followed moves the centre of one piece in steps of time over belts of their own
// speeds and watches it pass the ends of its way. It shares no formula with what it
// tests. Metres and minutes.
func followed(in *Transition, enters float64) (time float64) {
	sections := append([]Stretch{{in.Length, in.From, in.To}}, in.Following...)
	size, ramp := in.Piece.Length.Value, in.Ramp.Value/60
	var ends []float64
	total := 0.0
	for _, s := range sections {
		total += s.Length.Value
		ends = append(ends, total)
	}
	from, to := 0.0, total
	switch in.Piece.Meaning {
	case WholePiece:
		from, to = size/2, total-size/2
	case AnyPart:
		from, to = -size/2, total+size/2
	}
	speed := func(y, t float64) float64 {
		belt := 0
		for belt < len(ends)-1 && y >= ends[belt] {
			belt++
		}
		s := &sections[belt]
		part := min(max(t/max(ramp, 1e-12), 0), 1)
		return s.From.Value + (s.To.Value-s.From.Value)*part
	}
	y, t := -size/2, enters
	if in.Piece.Meaning == Point {
		y = 0 // the point itself
	}
	began := math.NaN()
	if y >= from {
		began = t
	}
	step := 1e-3
	for y < to {
		dt := step
		for _, kink := range []float64{0, ramp} {
			if t < kink && kink < t+dt {
				dt = kink - t
			}
		}
		v := speed(y, t+dt/2)
		for _, line := range append([]float64{from, to}, ends...) { // end the step where something happens
			if y < line && y+v*dt > line {
				dt = (line - y) / v
			}
		}
		y, t = y+v*dt+1e-15, t+dt
		if math.IsNaN(began) && y >= from {
			began = t
		}
	}
	return t - began
}

func TestSeriesAgainstASimulation(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 7))
	cases, compared, mixed := 60, 0, 0
	if testing.Short() {
		cases = 10
	}
	for range cases {
		in := random(r)
		in.Pitch.Value *= 3
		for range 1 + r.IntN(3) {
			in.Following = append(in.Following, Stretch{q(1+5*r.Float64(), "m"), q(in.From.Value*(1+r.Float64()), "m/min"), q(in.To.Value*(1+r.Float64()), "m/min")})
		}
		in.Ramp.Value = max(in.Ramp.Value, 1)
		var faults fault.List
		in.Validate(nil, &faults)
		if len(faults) > 0 {
			continue
		}
		out := in.Outcome()
		up, down := false, false
		for _, f := range append([]Stretch{{From: in.From, To: in.To}}, in.Following...) {
			up, down = up || f.To.Value > f.From.Value, down || f.To.Value < f.From.Value
		}
		mixed += map[bool]int{true: 1}[up && down]
		for i := range out.Policies {
			p := &out.Policies[i]
			if p.Name == ClearFirst {
				continue // its ramp comes later
			}
			for _, piece := range in.Pieces(p, &out) {
				require.InEpsilon(t, followed(in, piece.Enters.Value/60), piece.Time.Value/60, 1e-4, "%+v at %v", in, piece.Enters)
				compared++
			}
		}
	}
	require.Greater(t, compared, cases*8)
	require.Positive(t, mixed)
}

func TestMostPiecesOfASeries(t *testing.T) {
	in := zone(0, 1e-4) // 100,000 in the first section alone
	var faults fault.List
	in.Validate(nil, &faults)
	require.Empty(t, faults)
	in.Following = []Stretch{{q(1, "m"), in.From, in.To}}
	in.Validate(nil, &faults)
	require.Len(t, faults, 1)
	require.Equal(t, "pitch", faults[0].Path)
	require.Equal(t, fault.TooMany, faults[0].Reason)
}
