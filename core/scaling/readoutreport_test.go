package scaling

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// What the decimal module of Python calls ROUND_DOWN, and the same with half up, on
// its integers; a register with one implied decimal of 123.45.
func TestReadoutCutsOff(t *testing.T) {
	plain := Readout{Unit: units.MustParse("r/min"), Digits: 5}
	for _, c := range []struct {
		value        float64
		decimals     int32
		rounded, cut string
	}{
		{0.5, 0, "1", "0"}, {1.5, 0, "2", "1"}, {2.5, 0, "3", "2"}, {-0.5, 0, "-1", "0"}, {-1.5, 0, "-2", "-1"},
		{-2.5, 0, "-3", "-2"}, {5.5, 0, "6", "5"}, {2047.5, 0, "2048", "2047"},
		{123.45, 1, "123.5", "123.4"}, {0.3, 1, "0.3", "0.3"}, {1.1, 1, "1.1", "1.1"}, {9999.99999, 1, "10000.0", "9999.9"},
	} {
		for _, cuts := range []bool{false, true} {
			r := plain
			r.Decimals, r.Truncates = c.decimals, cuts
			r.Digits = 6
			text, ok := readoutText(exact.NewExact(), &r, exact.NewExact().Dec(c.value))
			require.True(t, ok)
			if cuts {
				require.Equal(t, c.cut, text.String(), c.value)
			} else {
				require.Equal(t, c.rounded, text.String(), c.value)
			}
		}
	}
}

// A whole reading that float64 finds just below is not cut off: 0.7 m a turn at
// 129 r/min are 90.3 m/min, and 0.7 * 129 is 90.29999999999998 in float64.
func TestReadoutCutsOffExactly(t *testing.T) {
	d := belt(Register{})
	d.Delivery = Delivery{Kind: Sprocket, Teeth: 7, Pitch: q(100, "mm")}
	d.Readout = Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 1, Truncates: true}
	out, _ := set(Subject{Drive: &d}, q(129, "r/min"), units.Quantity{})
	require.Equal(t, "90.3", out.ReadoutText.String())
}

// Worked by hand: 0.1 m a turn, 10 to 2000 r/min, a section of 10 m. One tenth of a
// minute at 1 m/min and 10.0 min: 10 - 10 * 10 / 10.1 r/min.
func TestReadoutReport(t *testing.T) {
	d := belt(Register{})
	d.Motor = Motor{MinRPM: 10, MaxRPM: 2000}
	d.Readout = Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 2}
	section := Section{Length: q(10, "m")}
	s := Subject{Drive: &d, ReadoutSection: &section}
	report := ReadoutOf(new(exact.Calc), &s)
	require.Equal(t, []string{"0.00", "1.00", ""}, []string{report.AtStand.String(), report.Low.Text.String(), report.High.Text.String()})
	require.InEpsilon(t, 0.1, report.High.DigitRPM.Value, 1e-14)
	require.InEpsilon(t, 0.01, report.Low.DigitRate.Value, 1e-14)

	var checks []Check
	scale := ScaleOf(new(exact.Calc), &s, &checks)
	require.Equal(t, Some[int32](1), scale.ReadoutDecimals)
	require.Equal(t, []Code{ReadoutCannotShowRange}, codes(checks))
	require.Contains(t, checks[0].Message(), "with 1 decimal it would")
	d.Readout = Readout{Unit: units.MustParse("mm/min"), Digits: 4}
	checks = nil
	require.False(t, ScaleOf(new(exact.Calc), &s, &checks).ReadoutDecimals.Set)
	require.Contains(t, checks[0].Message(), "more digits")

	d.Readout = Readout{Unit: units.MustParse("min"), Digits: 4, Decimals: 1}
	report = ReadoutOf(new(exact.Calc), &s)
	require.Equal(t, []string{"", "10.0", "0.1"}, []string{report.AtStand.String(), report.Low.Text.String(), report.High.Text.String()})
	require.InEpsilon(t, 10-100/10.1, report.Low.DigitRPM.Value, 1e-13)
	require.InEpsilon(t, 0.1*(10-100/10.1), report.Low.DigitRate.Value, 1e-13)

	d.Readout = Readout{Unit: units.MustParse("r/min"), Digits: 4}
	report = ReadoutOf(new(exact.Calc), &s)
	require.Equal(t, 1.0, report.High.DigitRPM.Value)
}

func TestReadoutTellsWhatIsMissing(t *testing.T) {
	screw := Drive{Motor: Motor{MaxRPM: 1500}, Delivery: Delivery{Kind: Screw, VolumePerTurn: q(1, "L/r")}, Readout: Readout{Unit: units.MustParse("kg/h"), Digits: 4}}
	out, checks := set(Subject{Drive: &screw}, q(20, "L/min"), units.Quantity{})
	require.Empty(t, out.ReadoutText.String())
	require.Equal(t, []Code{ReadoutWithoutDensity}, codes(checks))
	require.Contains(t, checks[0].Message(), "bulkDensity")
	_, checks = set(Subject{Drive: &screw, Material: &Material{BulkDensity: q(1, "kg/L")}}, q(20, "L/min"), units.Quantity{})
	require.Empty(t, checks)
	_, checks = set(Subject{Drive: &screw, Material: &Material{BulkDensity: q(1, "kg/L")}}, q(200, "L/min"), units.Quantity{}) // 12000 kg/h
	require.Contains(t, checks[0].Message(), "without decimals either")

	d := belt(Register{})
	d.Readout = Readout{Unit: units.MustParse("m/min"), Digits: 3, Decimals: 2}
	_, checks = set(Subject{Drive: &d}, q(50, "m/min"), units.Quantity{})
	require.Equal(t, []Code{ReadoutTooShort}, codes(checks))
	require.Contains(t, checks[0].Message(), "with 1 decimal it would")
}

// A belt that runs backwards takes as long as one that runs forwards.
func TestTimeHasNoSign(t *testing.T) {
	d := reversible()
	d.Readout = Readout{Unit: units.MustParse("s"), Digits: 4, Decimals: 1}
	section := Section{Length: q(10, "m")}
	s := Subject{Drive: &d, ReadoutSection: &section}
	forwards, _ := set(s, q(500, "r/min"), units.Quantity{})
	backwards, _ := set(s, q(-500, "r/min"), units.Quantity{})
	require.NotEmpty(t, forwards.ReadoutText.String())
	require.Equal(t, forwards.ReadoutText, backwards.ReadoutText)
}

func TestFromOutput(t *testing.T) {
	// 875 on 0 to 1750 is 12 mA (computed with exact fractions).
	d := Drive{Motor: Motor{MinRPM: 10, MaxRPM: 1750, Regulation: Regulation{Percent: Some(1.0), Of: SetSpeed}}, Register: Register{Kind: CurrentOutput, Span: [2]SpanPoint{
		{Milliamps: Some(4.0), Value: q(0, "r/min")}, {Milliamps: Some(20.0), Value: q(1750, "r/min")}}}}
	s := Subject{Drive: &d}
	from := func(output float64) (Setpoint, []Check) {
		var out Setpoint
		var checks []Check
		FromOutput(exact.NewExact(), &s, Measure{Unit: revolutionPerMin}, output, &checks, &out)
		return out, checks
	}
	out, checks := from(12)
	require.Empty(t, checks)
	require.Equal(t, Some(875.0), out.AchievedRPM)
	require.Equal(t, Some(12.0), out.Milliamps)
	require.Equal(t, []float64{866.25, 883.75}, []float64{out.Low.Value, out.High.Value})
	for _, c := range []struct {
		milliamps float64
		says      string
	}{
		{3.59, "fault"}, {3.6, "neither"}, {3.79, "neither"}, {3.8, "below its range"}, {3.99, "below its range"},
		{20.01, "above its range"}, {20.5, "above its range"}, {20.51, "neither"}, {21, "neither"}, {21.01, "fault"},
	} {
		_, checks := from(c.milliamps)
		require.Equal(t, CurrentOutsideSignal, checks[0].Code)
		require.Equal(t, Info, checks[0].Code.Severity())
		require.Contains(t, checks[0].Message(), c.says, c.milliamps)
	}
	for _, milliamps := range []float64{4.1, 20} {
		_, checks := from(milliamps)
		require.Empty(t, checks)
	}
	d.Register = Register{Kind: VoltageOutput, Span: [2]SpanPoint{{Volts: Some(0.0), Value: q(0, "r/min")}, {Volts: Some(10.0), Value: q(2000, "r/min")}}}
	out, _ = from(2.5)
	require.Equal(t, Some(500.0), out.AchievedRPM)
	require.Equal(t, Some(2.5), out.Volts)
}

// 1 percent of 500 r/min; 0.1 m a turn; 50 m/min are 164.04 ft/min (SC: international foot).
func TestLimitsAndAmounts(t *testing.T) {
	d := reversible()
	d.Motor.Regulation = Regulation{Percent: Some(1.0), Of: MaxSpeed}
	d.Readout = Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 1}
	section := Section{Length: q(10, "m")}
	s := Subject{Drive: &d, ReadoutSection: &section}
	for _, count := range []int32{5000, -5000} {
		c := exact.NewExact()
		var none []Check
		var out Setpoint
		at := FromCount(c, &s, Measure{Unit: metrePerMinute}, count, &none, &out)
		limits := LimitsAt(c, &s, at)
		require.True(t, limits.Set)
		direction := float64(count) / 5000
		require.InEpsilon(t, 480*direction, limits.Value.Slowest.MotorRPM, 1e-15)
		require.InEpsilon(t, 520*direction, limits.Value.Fastest.MotorRPM, 1e-15)
		require.NotEmpty(t, limits.Value.Fastest.ReadoutText.String())
		amounts := Amounts(c, &s, at, []Measure{{Unit: units.MustParse("ft/min")}, {Unit: revolutionPerMin}, {Unit: units.MustParse("s"), Length: section.Length}})
		require.Len(t, amounts, 3)
		require.Equal(t, 500*direction, amounts[1].Value)
		require.Greater(t, amounts[2].Value, 0.0)
		require.InEpsilon(t, out.Achieved.Value/0.3048, amounts[0].Value, 1e-14)
	}
	c := exact.NewExact()
	var none []Check
	var out Setpoint
	at := FromCount(c, &s, Measure{Unit: metrePerMinute}, 0, &none, &out)
	require.False(t, LimitsAt(c, &s, at).Set)
	require.Empty(t, Amounts(c, &s, at, []Measure{{Unit: units.MustParse("s"), Length: section.Length}}))
}
