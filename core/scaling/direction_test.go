package scaling

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// reversible turns both ways.
func reversible() Drive {
	d := belt(counts(-10000, q(-1000, "r/min"), 10000, q(1000, "r/min")))
	d.Register.Type = Int16
	return d
}

// Computed by hand: 1 percent of 500 r/min either way, 2 percent droop, 1 percent
// of the motor's 2000 r/min.
func TestBandBelowZeroHasItsLowEndFirst(t *testing.T) {
	for _, c := range []struct {
		regulation Regulation
		low, high  float64
	}{
		{Regulation{Percent: Some(1.0), Of: SetSpeed}, -505, -495},
		{Regulation{DroopPercent: Some(2.0)}, -500, -490},
		{Regulation{Percent: Some(1.0), Of: MaxSpeed}, -520, -480},
	} {
		d := reversible()
		d.Motor.Regulation = c.regulation
		out, _ := set(Subject{Drive: &d}, q(-500, "r/min"), units.Quantity{})
		require.InEpsilon(t, c.low, out.Low.Value, 1e-15)
		require.InEpsilon(t, c.high, out.High.Value, 1e-15)
	}
}

// 10 teeth of 12.7 mm are 0.127 m a turn: at 300 r/min 38.1 m/min, which is exactly
// 125 ft/min.
func TestReferenceEqualToTheDrivetrainDoesNotDiffer(t *testing.T) {
	d := belt(Register{})
	d.Delivery.Pitch = q(12.7, "mm")
	for _, c := range []struct {
		value units.Quantity
		rpm   float64
		codes []Code
	}{
		{q(125, "ft/min"), 300, nil},
		{q(38.1, "m/min"), 300, nil},
		{q(125.00000001, "ft/min"), 300, []Code{ReferenceDiffers}},
	} {
		d.References = []Reference{{Value: c.value, MotorRPM: c.rpm}}
		_, checks := set(Subject{Drive: &d}, q(51, "m/min"), units.Quantity{})
		require.Equal(t, c.codes, codes(checks))
		checks = nil
		scale := Certain(func(k *exact.Calc) Scale {
			checks = checks[:0]
			return ScaleOf(k, &Subject{Drive: &d}, &checks)
		})
		require.True(t, scale.ReferenceDiffersPercent.Set)
		require.Equal(t, len(c.codes) == 0, scale.ReferenceDiffersPercent.Value == 0)
		require.Len(t, checks, len(c.codes))
	}
}

// A count out of range is told, but no rate is offered in place of a count; and the
// count of standstill is zero speed without a trace of rounding.
func TestFromCount(t *testing.T) {
	d := belt(counts(6, q(0.3, "r/min"), 20006, q(2000.3, "r/min"))) // 0.1 r/min a count, 0 at 3
	s := Subject{Drive: &d}
	from := func(count int32) (out Setpoint, checks []Check) {
		Certain(func(c *exact.Calc) bool {
			checks = checks[:0]
			FromCount(c, &s, Measure{Unit: units.MustParse("r/min")}, count, &checks, &out)
			return true
		})
		return out, checks
	}
	out, checks := from(3)
	require.Empty(t, checks)
	require.Equal(t, Some(0.0), out.AchievedRPM)
	out, checks = from(30000)
	require.Equal(t, []Code{AboveHighestSpeed}, codes(checks))
	require.Nil(t, checks[0].Fit.Unit)
	require.InEpsilon(t, 2999.7, out.AchievedRPM.Value, 1e-15)
}
