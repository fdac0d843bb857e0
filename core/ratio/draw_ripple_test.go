package ratio_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	. "linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Two sprockets of 9 and 17 teeth turned step by step, at every phase of their teeth to
// each other: the draw stays within its ripple, and comes to both of its ends.
func TestDrawRippleAgainstTurning(t *testing.T) {
	sprocket := func(id string, teeth int32) scaling.Drive {
		return scaling.Drive{ID: id, Motor: scaling.Motor{MaxRPM: 1000}, Delivery: scaling.Delivery{
			Kind: scaling.Sprocket, Teeth: teeth, Pitch: units.Quantity{Value: 12.7, Unit: units.MustParse("mm")}}}
	}
	chain := &DrawChain{
		Drives:     []scaling.Drive{sprocket("a", 9), sprocket("b", 17)},
		Rolls:      []DrawRoll{{DriveID: "a"}, {DriveID: "b", DrawPercent: scaling.Some(2.0)}},
		LeaderRate: units.Quantity{Value: 10, Unit: units.MustParse("m/min")},
	}
	var faults fault.List
	chain.Validate(&faults)
	require.Empty(t, faults)
	ripple := chain.Find().Rolls[1].Ripple
	require.True(t, ripple.Set)
	// The joint in front pulls the chain at the sine of its angle from the wheel's centre.
	speed := func(teeth int, phase float64) float64 {
		half := math.Pi / float64(teeth)
		return half / math.Sin(half) * math.Cos((2*phase-1)*half)
	}
	low, high := math.Inf(1), math.Inf(-1)
	const steps = 400
	for i := range steps + 1 {
		for k := range steps + 1 {
			draw := speed(17, float64(i)/steps) / speed(9, float64(k)/steps)
			low, high = math.Min(low, draw), math.Max(high, draw)
		}
	}
	require.InEpsilon(t, (low-1)*100, ripple.Value.LowPercent, 1e-12)
	require.InEpsilon(t, (high-1)*100, ripple.Value.HighPercent, 1e-12)
}
