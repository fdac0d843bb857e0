package scaling

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

func q(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

// set finds the setpoint of s for a target.
func set(s Subject, target units.Quantity, length units.Quantity) (Setpoint, []Check) {
	var checks []Check
	var out Setpoint
	Certain(func(c *exact.Calc) bool {
		checks = checks[:0]
		For(c, &s, Measure{Unit: target.Unit, Length: length}, target.Base(c), &checks, &out)
		return true
	})
	return out, checks
}

func counts(k0 int32, v0 units.Quantity, k1 int32, v1 units.Quantity) Register {
	return Register{Kind: IntegerRegister, Type: Uint16, Span: [2]SpanPoint{{Count: Some(k0), Value: v0}, {Count: Some(k1), Value: v1}}}
}

func teeth(driver, driven int32) Stage {
	return Stage{Kind: GearPair, DriverTeeth: driver, DrivenTeeth: driven}
}

// lastShaft returns the speed of the last shaft when the motor turns at rpm.
func lastShaft(t *testing.T, rpm float64, stages ...Stage) float64 {
	t.Helper()
	d := Drive{Motor: Motor{MaxRPM: 5000}, Transmission: stages, Delivery: Delivery{Kind: Indexer, PiecesPerTurn: 1}}
	out, checks := set(Subject{Drive: &d}, q(rpm, "r/min"), units.Quantity{})
	require.Empty(t, checks)
	return out.LastShaftRPM.Value
}

// Sources: compound gear exercise of technologystudent.com (gears8.htm); rpm
// formulas article of itstillruns.com; Applied Physics textbook, 9.6 Gears.
func TestGearTrains(t *testing.T) {
	require.Equal(t, 90.0, lastShaft(t, 30, teeth(120, 40)))
	require.Equal(t, 360.0, lastShaft(t, 30, teeth(120, 40), teeth(80, 20)))
	require.Equal(t, 300.0, lastShaft(t, 1800, teeth(12, 72)))
	require.Equal(t, 52.0, lastShaft(t, 156, teeth(16, 48)))
	require.Equal(t, 225.0, lastShaft(t, 150, teeth(36, 24)))
	require.Equal(t, 54.0, lastShaft(t, 72, teeth(18, 24)))
}

// Source: computed with mpmath 1.2.1 for a 160 mm drum behind 40:1 and 18:36 teeth.
func TestMotorToBelt(t *testing.T) {
	d := Drive{
		Motor:        Motor{MaxRPM: 1750},
		Transmission: []Stage{{Kind: Gearbox, Ratio: 40, Exact: true}, {Kind: Chain, DriverTeeth: 18, DrivenTeeth: 36}},
		Delivery:     Delivery{Kind: Roll, Diameter: q(160, "mm")},
	}
	s := Subject{Drive: &d}
	atSpeed, _ := set(s, q(1750, "r/min"), units.Quantity{})
	require.Equal(t, 21.875, atSpeed.LastShaftRPM.Value)
	var checks []Check
	scale := ScaleOf(new(exact.Calc), &s, &checks)
	require.InEpsilon(t, 10.9955742875642763, scale.RateAtMax.Value, 1e-15)
	require.Equal(t, "m/min", scale.RateAtMax.Unit.Symbol())
	forRate, _ := set(s, q(10, "m/min"), units.Quantity{})
	require.InEpsilon(t, 1591.54943091895336, forRate.DemandedRPM.Value, 1e-15)
}

// A chain moves teeth * pitch a turn, not pi times a pitch diameter. Source:
// computed with GNU units 2.22 (0.5 inch * 17 * 300/min = 212.5 ft/min exactly).
func TestSprocketIsNoCircle(t *testing.T) {
	d := Drive{Motor: Motor{MaxRPM: 1750}, Delivery: Delivery{Kind: Sprocket, Teeth: 17, Pitch: q(0.5, "in")}}
	out, _ := set(Subject{Drive: &d}, q(212.5, "ft/min"), units.Quantity{})
	require.Equal(t, 300.0, out.DemandedRPM.Value)
}

// Source: gear mesh frequency = speed * teeth, common practice; 1500 r/min on 24
// teeth is 600 Hz or 36000 a minute.
func TestPulseFrequency(t *testing.T) {
	for _, c := range []struct{ rpm, pulses, hz float64 }{{1750, 60, 1750}, {1500, 24, 600}, {1200, 3, 60}} {
		d := Drive{Motor: Motor{MaxRPM: 2000}, Sensors: []Sensor{{Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: c.pulses}}}
		out, _ := set(Subject{Drive: &d}, q(c.rpm, "r/min"), units.Quantity{})
		require.Equal(t, c.hz, out.PulseHz.Value)
	}
}

// Source: computed with Python 3.11 fractions; 4-20 mA after IEC 60381-1.
func TestCurrentOutput(t *testing.T) {
	for _, c := range []struct{ value, at4, at20, milliamps float64 }{{875, 0, 1750, 12}, {35, 10, 110, 8}, {25, 100, 0, 16}} {
		d := Drive{Motor: Motor{MaxRPM: 2000}, Register: Register{Kind: CurrentOutput, Span: [2]SpanPoint{
			{Milliamps: Some(4.0), Value: q(c.at4, "r/min")}, {Milliamps: Some(20.0), Value: q(c.at20, "r/min")},
		}}}
		out, _ := set(Subject{Drive: &d}, q(c.value, "r/min"), units.Quantity{})
		require.Equal(t, c.milliamps, out.Milliamps.Value)
	}
}

// Ties go away from zero. Source: computed with Python's decimal module
// (ROUND_HALF_UP): 2047.5 -> 2048 and 1234.5 -> 1235.
func TestTiesGoAwayFromZero(t *testing.T) {
	d := Drive{Motor: Motor{MaxRPM: 2000}, Register: counts(0, q(0, "r/min"), 4095, q(1000, "r/min"))}
	out, _ := set(Subject{Drive: &d}, q(500, "r/min"), units.Quantity{})
	require.Equal(t, int32(2048), out.Count.Value)

	d.Register = counts(0, q(0, "r/min"), 10000, q(1000, "r/min"))
	out, _ = set(Subject{Drive: &d}, q(123.45, "r/min"), units.Quantity{})
	require.Equal(t, int32(1235), out.Count.Value)

	d.Register = Register{Kind: IntegerRegister, Type: Int16, Span: [2]SpanPoint{
		{Count: Some[int32](-10000), Value: q(-1000, "r/min")}, {Count: Some[int32](10000), Value: q(1000, "r/min")}}}
	out, _ = set(Subject{Drive: &d}, q(-123.45, "r/min"), units.Quantity{})
	require.Equal(t, int32(-1235), out.Count.Value)
}

// A display that takes whole r/min. Source: computed with mpmath 1.2.1: 36 in/min
// on a 4 in drum behind 30:1 is 85.94 r/min, shown and loaded as 86, which is
// 36.0236 in/min.
func TestWholeRevolutions(t *testing.T) {
	d := Drive{
		Motor:        Motor{MaxRPM: 2000},
		Transmission: []Stage{{Kind: Gearbox, Ratio: 30, Exact: true}},
		Delivery:     Delivery{Kind: Roll, Diameter: q(4, "in")},
		Register:     counts(0, q(0, "r/min"), 2000, q(2000, "r/min")),
		Readout:      Readout{Unit: units.MustParse("r/min"), Digits: 4},
	}
	out, _ := set(Subject{Drive: &d}, q(36, "in/min"), units.Quantity{})
	require.InEpsilon(t, 85.9436692696234813, out.DemandedRPM.Value, 1e-15)
	require.Equal(t, int32(86), out.Count.Value)
	require.Equal(t, "86", out.ReadoutText.String())
	require.InEpsilon(t, 36.0235957611629625, out.Achieved.Value, 1e-15)
}

func belt(register Register) Drive {
	return Drive{Motor: Motor{MaxRPM: 2000}, Delivery: Delivery{Kind: Sprocket, Teeth: 10, Pitch: q(10, "mm")}, Register: register}
}

// Sources: organic finishing guidebook 2012, dry-off ovens (12 to 20 ft for 3 to 5
// min at 4 ft/min); GNU units 2.22 (60 ft in 90 s is 40 ft/min); 7.5 min over 40 ft
// is 16/3 ft/min; 30 m at 2.4 m/min is 12.5 min.
func TestDwellIsLengthOverSpeed(t *testing.T) {
	for _, c := range []struct{ length, time, rate units.Quantity }{
		{q(12, "ft"), q(3, "min"), q(4, "ft/min")},
		{q(20, "ft"), q(5, "min"), q(4, "ft/min")},
		{q(60, "ft"), q(90, "s"), q(40, "ft/min")},
		{q(60, "ft"), q(90, "s"), q(12.192, "m/min")},
		{q(12, "ft"), q(180, "s"), q(4, "ft/min")},
		{q(18, "ft"), q(270, "s"), q(4, "ft/min")},
		{q(10, "ft"), q(150, "s"), q(4, "ft/min")},
		{q(30, "m"), q(12.5, "min"), q(2.4, "m/min")},
	} {
		d := belt(Register{})
		byTime, _ := set(Subject{Drive: &d}, c.time, c.length)
		byRate, _ := set(Subject{Drive: &d}, c.rate, units.Quantity{})
		require.InEpsilon(t, byRate.DemandedRPM.Value, byTime.DemandedRPM.Value, 1e-15)
	}
}

// Source: computed by hand: 17 m in at least 7 min, speed set in 0.01 m/min. The
// nearest count, 2.43 m/min, gives 6.995884773662551 min.
func TestAchievedDwellOfACount(t *testing.T) {
	d := belt(counts(0, q(0, "m/min"), 1000, q(10, "m/min")))
	out, _ := set(Subject{Drive: &d}, q(7, "min"), q(17, "m"))
	require.Equal(t, int32(243), out.Count.Value)
	require.InEpsilon(t, 6.995884773662551, out.Achieved.Value, 1e-15)
}

// Source: computed by hand: a dwell of 90 s under 0.5 percent of speed lies between
// 89.55223880597015 and 90.45226130653266 s.
func TestBandOfADwell(t *testing.T) {
	d := belt(Register{})
	d.Motor.Regulation = Regulation{Percent: Some(0.5), Of: SetSpeed}
	out, _ := set(Subject{Drive: &d}, q(90, "s"), q(3, "m"))
	require.InEpsilon(t, 89.55223880597015, out.Low.Value, 1e-14)
	require.InEpsilon(t, 90.45226130653266, out.High.Value, 1e-14)
}

// A draw of 1 percent takes 100 m/min to 101 m/min and 300 ft/min to 303 ft/min.
// Source: web handling column on draw, webhandling.com.
func TestOneMeasuredReference(t *testing.T) {
	d := Drive{Motor: Motor{MaxRPM: 2000}, References: []Reference{{Value: q(100, "m/min"), MotorRPM: 1000}}}
	out, _ := set(Subject{Drive: &d}, q(101, "m/min"), units.Quantity{})
	require.Equal(t, 1010.0, out.DemandedRPM.Value)
	d.References[0].Value = q(300, "ft/min")
	out, _ = set(Subject{Drive: &d}, q(303, "ft/min"), units.Quantity{})
	require.Equal(t, 1010.0, out.DemandedRPM.Value)
}
