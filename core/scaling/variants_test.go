package scaling

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

// The cases of this file are worked by hand from the relations that the package
// states; their numbers are chosen so that the arithmetic can be followed.

func codes(checks []Check) []Code {
	var out []Code
	for _, c := range checks {
		out = append(out, c.Code)
	}
	return out
}

func TestDeliveries(t *testing.T) {
	material := Material{ID: "m", Density: q(1.2, "kg/L"), BulkDensity: q(0.8, "kg/L"), FillPercent: Some(50.0)}
	for name, c := range map[string]struct {
		delivery Delivery
		target   units.Quantity
		rpm      float64
	}{
		"belt thickness counts whole":    {Delivery{Kind: Roll, Diameter: q(98, "mm"), BeltThickness: q(2, "mm")}, q(10*math.Pi, "m/min"), 100},
		"pitch diameter counts as given": {Delivery{Kind: Roll, PitchDiameter: q(100, "mm")}, q(10*math.Pi, "m/min"), 100},
		"roll slip":                      {Delivery{Kind: Roll, PitchDiameter: q(100, "mm"), SlipPercent: 20}, q(10*math.Pi, "m/min"), 125},
		"pump: (9 + 1) / 0.1":            {Delivery{Kind: Pump, Displacement: q(0.1, "L/r"), SlipFlow: q(1, "L/min")}, q(9, "L/min"), 100},
		"pump by mass: 10.8 / 1.2":       {Delivery{Kind: Pump, Displacement: q(0.1, "L/r"), SlipFlow: q(1, "L/min")}, q(10.8, "kg/min"), 100},
		"pump by efficiency":             {Delivery{Kind: Pump, Displacement: q(0.1, "L/r"), VolumetricEfficiencyPercent: Some(90.0), AtRPM: Some(100.0)}, q(9, "L/min"), 100},
		"screw at half fill":             {Delivery{Kind: Screw, VolumePerTurn: q(2, "L/r")}, q(100, "L/min"), 100},
		"screw by mass: 80 / 0.8":        {Delivery{Kind: Screw, VolumePerTurn: q(2, "L/r")}, q(80, "kg/min"), 100},
		"feeder by mass":                 {Delivery{Kind: Feeder, MassPerTurn: q(500, "g/r")}, q(3, "t/h"), 100},
		"feeder mass to volume":          {Delivery{Kind: Feeder, MassPerTurn: q(800, "g/r")}, q(100, "L/min"), 100},
		"feeder by volume ignores fill":  {Delivery{Kind: Feeder, VolumePerTurn: q(2, "L/r")}, q(160, "kg/min"), 100},
		"indexer":                        {Delivery{Kind: Indexer, PiecesPerTurn: 0.5}, q(50, "pc/min"), 100},
	} {
		t.Run(name, func(t *testing.T) {
			d := Drive{Motor: Motor{MaxRPM: 1000}, Delivery: c.delivery}
			out, checks := set(Subject{Drive: &d, Material: &material}, c.target, units.Quantity{})
			require.Empty(t, checks)
			require.InEpsilon(t, c.rpm, out.DemandedRPM.Value, 1e-15)
			require.InEpsilon(t, c.target.Value, out.Achieved.Value, 1e-14)
		})
	}
}

func TestBeltStageSlips(t *testing.T) {
	stage := Stage{Kind: Belt, DriverDiameter: q(4, "in"), DrivenDiameter: q(203.2, "mm"), SlipPercent: 2}
	require.InEpsilon(t, 49.0, lastShaft(t, 100, stage), 1e-15)
}

// A register on another shaft, a falling span and a process unit all say the same
// speed in their own way.
func TestRegisterSpans(t *testing.T) {
	for name, c := range map[string]struct {
		register Register
		count    int32
	}{
		"motor":              {counts(0, q(0, "r/min"), 10000, q(1000, "r/min")), 5000},
		"last shaft":         {func() Register { r := counts(0, q(0, "r/min"), 1000, q(100, "r/min")); r.Shaft = LastShaft; return r }(), 500},
		"sensor's shaft":     {func() Register { r := counts(0, q(0, "r/min"), 1000, q(100, "r/min")); r.Shaft = SensorShaft; return r }(), 500},
		"falling":            {counts(10000, q(0, "r/min"), 0, q(1000, "r/min")), 5000},
		"offset":             {counts(400, q(0, "r/min"), 2000, q(1000, "r/min")), 1200},
		"process unit":       {counts(0, q(0, "m/min"), 2000, q(20, "m/min")), 500},
		"other process unit": {counts(0, q(0, "mm/s"), 1000, q(1, "m/s")), 83},
	} {
		t.Run(name, func(t *testing.T) {
			d := belt(c.register)
			d.Transmission = []Stage{{Kind: Gearbox, Ratio: 10, Exact: true}}
			d.Sensors = []Sensor{{Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 100, StagesFromMotor: 1}}
			s := Subject{Drive: &d}
			out, checks := set(s, q(5, "m/min"), units.Quantity{})
			require.Empty(t, checks)
			require.InEpsilon(t, 500.0, out.DemandedRPM.Value, 1e-15)
			require.Equal(t, c.count, out.Count.Value)
			require.InEpsilon(t, out.AchievedRPM.Value/60*100/10, out.PulseHz.Value, 1e-15)

			var none []Check
			var back Setpoint
			FromCount(new(exact.Calc), &s, Measure{Unit: units.MustParse("m/min")}, c.count, &none, &back)
			require.Equal(t, out.AchievedRPM.Value, back.AchievedRPM.Value)
			require.Equal(t, out.Achieved.Value, back.Achieved.Value)
			require.False(t, back.DemandedRPM.Set)
		})
	}
}

func TestVoltageOutput(t *testing.T) {
	d := Drive{Motor: Motor{MaxRPM: 2000}, Register: Register{Kind: VoltageOutput, Span: [2]SpanPoint{
		{Volts: Some(0.0), Value: q(0, "r/min")}, {Volts: Some(10.0), Value: q(2000, "r/min")}}}}
	out, _ := set(Subject{Drive: &d}, q(500, "r/min"), units.Quantity{})
	require.Equal(t, Some(2.5), out.Volts)
	require.False(t, out.Count.Set)
	require.Equal(t, Some(0.0), out.ErrorPercent)
}

func TestLimitsAndWhatBinds(t *testing.T) {
	base := func() Drive {
		d := belt(counts(0, q(0, "r/min"), 20000, q(2000, "r/min")))
		d.Motor = Motor{MinRPM: 100, MaxRPM: 1000}
		d.Sensors = []Sensor{{Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 6}}
		return d
	}
	for name, c := range map[string]struct {
		change    func(d *Drive)
		low, high float64
		by        [2]Bound
	}{
		"motor":                    {func(d *Drive) {}, 100, 1000, [2]Bound{MotorBound, MotorBound}},
		"sensor's least frequency": {func(d *Drive) { d.Sensors[0].MinHz = 20 }, 200, 1000, [2]Bound{SensorBound, MotorBound}},
		"input's highest":          {func(d *Drive) { d.Sensors[0].MaxHz = Some(50.0) }, 100, 500, [2]Bound{MotorBound, SensorBound}},
		"edges count":              {func(d *Drive) { d.Sensors[0].MaxHz = Some(50.0); d.Sensors[0].EdgesCounted = Some[int32](2) }, 100, 250, [2]Bound{MotorBound, SensorBound}},
		"register's first count":   {func(d *Drive) { d.Register = counts(0, q(0, "r/min"), 4, q(800, "r/min")) }, 200, 1000, [2]Bound{RegisterBound, MotorBound}},
		"register's end":           {func(d *Drive) { d.Register = counts(0, q(0, "r/min"), 65535, q(900, "r/min")) }, 100, 900, [2]Bound{MotorBound, RegisterBound}},
		"register starts turning":  {func(d *Drive) { d.Register = counts(0, q(150, "r/min"), 1000, q(950, "r/min")) }, 150, 1000, [2]Bound{RegisterBound, MotorBound}},
	} {
		t.Run(name, func(t *testing.T) {
			d := base()
			c.change(&d)
			s := Subject{Drive: &d}
			var none []Check
			scale := ScaleOf(new(exact.Calc), &s, &none)
			require.InEpsilon(t, c.low, scale.EffectiveMinRPM, 1e-15)
			require.InEpsilon(t, c.high, scale.EffectiveMaxRPM, 1e-15)
			require.Equal(t, c.by, [2]Bound{scale.EffectiveMinBinds, scale.EffectiveMaxBinds})

			atLow, checks := set(s, q(c.low, "r/min"), units.Quantity{})
			require.Empty(t, checks)
			require.True(t, atLow.AchievedRPM.Set)
			below, checks := set(s, q(c.low*0.9, "r/min"), units.Quantity{})
			require.Equal(t, []Code{BelowLowestSpeed}, codes(checks))
			require.Equal(t, c.by[0], checks[0].Binds)
			require.InDelta(t, 10, checks[0].ExcessPercent.Value, 1e-9)
			require.Equal(t, c.low, checks[0].Fit.Value)
			require.False(t, below.Count.Set)
			require.False(t, below.AchievedRPM.Set)
			above, checks := set(s, q(c.high*1.1, "r/min"), units.Quantity{})
			require.Equal(t, []Code{AboveHighestSpeed}, codes(checks))
			require.Equal(t, c.by[1], checks[0].Binds)
			require.InDelta(t, 10, checks[0].ExcessPercent.Value, 1e-9)
			require.Equal(t, c.high, checks[0].Fit.Value)
			require.False(t, above.Count.Set)
		})
	}
}

// The limit itself is allowed, one digit more is not: no rounding error decides.
func TestLimitIsExact(t *testing.T) {
	d := belt(Register{})
	d.Motor = Motor{MaxRPM: 0.3}
	_, checks := set(Subject{Drive: &d}, q(0.03, "m/min"), units.Quantity{})
	require.Empty(t, checks)
	_, checks = set(Subject{Drive: &d}, q(0.030000000000000002, "m/min"), units.Quantity{})
	require.Equal(t, []Code{AboveHighestSpeed}, codes(checks))
}

func TestTolerances(t *testing.T) {
	d := belt(counts(0, q(0, "r/min"), 100, q(1000, "r/min")))
	judge := func(target float64, tol Tolerance) (Setpoint, []Check) {
		return set(Subject{Drive: &d, Tolerance: &tol}, q(target, "r/min"), units.Quantity{})
	}
	out, checks := judge(104, Tolerance{MinusPercent: 1})
	require.Equal(t, int32(10), out.Count.Value)
	require.Equal(t, Some(false), out.WithinTolerance)
	require.Equal(t, []Code{CountOutsideTolerance}, codes(checks))
	require.False(t, out.BandWithinTolerance.Set)

	out, _ = judge(80, Tolerance{MinusPercent: 0, PlusPercent: 0})
	require.Equal(t, Some(true), out.WithinTolerance, "met exactly")

	d.Motor.Regulation = Regulation{Percent: Some(1.0), Of: MaxSpeed} // 20 r/min of 2000
	out, checks = judge(1000, Tolerance{MinusPercent: 2, PlusPercent: 2})
	require.Equal(t, Some(true), out.BandWithinTolerance, "met exactly")
	require.Empty(t, checks)
	out, checks = judge(990, Tolerance{MinusPercent: 2, PlusPercent: 2})
	require.Equal(t, Some(false), out.BandWithinTolerance)
	require.Equal(t, []Code{BandOutsideTolerance}, codes(checks))
	require.Equal(t, []float64{970, 1010}, []float64{out.Low.Value, out.High.Value})

	d.Motor.Regulation = Regulation{DroopPercent: Some(2.0)}
	out, _ = judge(1000, Tolerance{})
	require.Equal(t, []float64{980, 1000}, []float64{out.Low.Value, out.High.Value})
	d.Motor.BaseRPM = Some(1500.0)
	d.Motor.Regulation = Regulation{Percent: Some(2.0), Of: BaseSpeed}
	out, _ = judge(1000, Tolerance{})
	require.Equal(t, []float64{970, 1030}, []float64{out.Low.Value, out.High.Value})
}

// A drive whose regulation reaches standstill may take for ever: the band of a
// dwell then has no upper end.
func TestBandWithoutEnd(t *testing.T) {
	d := belt(Register{})
	d.Motor.Regulation = Regulation{Percent: Some(1.0), Of: MaxSpeed}
	tolerance := Tolerance{MinusPercent: 100, PlusPercent: 100}
	out, checks := set(Subject{Drive: &d, Tolerance: &tolerance}, q(10, "min"), q(10, "m"))
	require.Equal(t, 10.0, out.DemandedRPM.Value)
	require.NotNil(t, out.Low.Unit)
	require.Nil(t, out.High.Unit)
	require.Equal(t, Some(false), out.BandWithinTolerance)
	require.Equal(t, []Code{BandOutsideTolerance}, codes(checks))
}

func TestReadouts(t *testing.T) {
	section := Section{ID: "s", Length: q(10, "m")}
	for name, c := range map[string]struct {
		readout Readout
		section *Section
		text    string
		code    []Code
	}{
		"process rate":        {Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 2}, nil, "5.00", nil},
		"other unit":          {Readout{Unit: units.MustParse("ft/min"), Digits: 5, Decimals: 3}, nil, "16.404", nil},
		"motor speed":         {Readout{Unit: units.MustParse("r/min"), Digits: 4, Decimals: 0}, nil, "50", nil},
		"time":                {Readout{Unit: units.MustParse("min"), Digits: 3, Decimals: 2}, &section, "2.00", nil},
		"time in s":           {Readout{Unit: units.MustParse("s"), Digits: 3, Decimals: 0}, &section, "120", nil},
		"time, no section":    {Readout{Unit: units.MustParse("min"), Digits: 3, Decimals: 2}, nil, "", []Code{ReadoutWithoutSection}},
		"too short":           {Readout{Unit: units.MustParse("mm/min"), Digits: 3, Decimals: 0}, nil, "", []Code{ReadoutTooShort}},
		"zero before a point": {Readout{Unit: units.MustParse("m/s"), Digits: 4, Decimals: 3}, nil, "0.083", nil},
	} {
		t.Run(name, func(t *testing.T) {
			d := belt(Register{})
			d.Readout = c.readout
			out, checks := set(Subject{Drive: &d, ReadoutSection: c.section}, q(5, "m/min"), units.Quantity{})
			require.Equal(t, c.text, out.ReadoutText.String())
			require.Equal(t, c.code, codes(checks))
		})
	}
}

func TestReadoutRoundsTiesAwayFromZero(t *testing.T) {
	d := belt(Register{})
	d.Readout = Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 1}
	out, _ := set(Subject{Drive: &d}, q(2.25, "m/min"), units.Quantity{})
	require.Equal(t, "2.3", out.ReadoutText.String())
	out, _ = set(Subject{Drive: &d}, q(0.35, "m/min"), units.Quantity{}) // the double lies below 0.35
	require.Equal(t, "0.4", out.ReadoutText.String())
}

func TestReadoutDecimals(t *testing.T) {
	section := Section{ID: "s", Length: q(10, "m")}
	d := belt(Register{})
	d.Motor = Motor{MinRPM: 10, MaxRPM: 2000} // 1 to 200 m/min, 10 min to 0.05 min
	for _, c := range []struct {
		unit     string
		digits   int32
		decimals Optional[int32]
	}{
		{"m/min", 4, Some[int32](1)}, {"m/min", 3, Some[int32](0)}, {"m/min", 2, Optional[int32]{}},
		{"min", 4, Some[int32](2)}, {"s", 4, Some[int32](1)},
	} {
		d.Readout = Readout{Unit: units.MustParse(c.unit), Digits: c.digits}
		var none []Check
		scale := ScaleOf(new(exact.Calc), &Subject{Drive: &d, ReadoutSection: &section}, &none)
		require.Equal(t, c.decimals, scale.ReadoutDecimals, "%d digits of %s", c.digits, c.unit)
	}
}

// Between counts k and k+1 the times' middle lies below the counts' middle.
func TestNeighbourNearerInTime(t *testing.T) {
	d := belt(counts(0, q(0, "r/min"), 1000, q(1000, "r/min")))
	out, checks := set(Subject{Drive: &d}, q(10/1.45, "min"), q(1, "m")) // count 1.45: 1 is 14.5 times 10/1.45... 10 and 5 min
	require.Equal(t, int32(1), out.Count.Value)
	require.Equal(t, []Code{OtherCountNearerInTime}, codes(checks))
	require.Equal(t, 2.0, checks[0].Number)
	out, checks = set(Subject{Drive: &d}, q(10/1.3, "min"), q(1, "m"))
	require.Equal(t, int32(1), out.Count.Value)
	require.Empty(t, checks)
}

func TestRoundingPastTheMotorLimit(t *testing.T) {
	d := belt(counts(0, q(0, "r/min"), 200, q(2000, "r/min")))
	d.Motor.MaxRPM = 1996
	out, checks := set(Subject{Drive: &d}, q(1996, "r/min"), units.Quantity{})
	require.Equal(t, int32(200), out.Count.Value)
	require.Equal(t, []Code{CountPastMotorLimit}, codes(checks))
}

func TestPumpFarFromItsCalibration(t *testing.T) {
	d := Drive{Motor: Motor{MaxRPM: 2000}, Delivery: Delivery{Kind: Pump, Displacement: q(10, "mL/r"), VolumetricEfficiencyPercent: Some(90.0), AtRPM: Some(900.0)}}
	for rpm, want := range map[float64][]Code{600: nil, 1350: nil, 599: {FarFromCalibration}, 1351: {FarFromCalibration}} {
		_, checks := set(Subject{Drive: &d}, q(rpm, "r/min"), units.Quantity{})
		require.Equal(t, want, codes(checks), "%v r/min", rpm)
	}
}

func TestReferenceDecidesOverTheDrivetrain(t *testing.T) {
	d := belt(Register{}) // 0.1 m a turn
	d.References = []Reference{{Value: q(102, "m/min"), MotorRPM: 1000}}
	out, checks := set(Subject{Drive: &d}, q(51, "m/min"), units.Quantity{})
	require.InEpsilon(t, 500.0, out.DemandedRPM.Value, 1e-15)
	require.Equal(t, []Code{ReferenceDiffers}, codes(checks))
	require.InDelta(t, 2, checks[0].Number, 1e-12)
}

func TestFlowLoop(t *testing.T) {
	d := Drive{Motor: Motor{MaxRPM: 2000}, Delivery: Delivery{Kind: Pump, Displacement: q(10, "mL/r")},
		Sensors: []Sensor{{Kind: FlowSensor, ClosesLoop: true, KFactor: q(600, "pulse/L")}}}
	out, checks := set(Subject{Drive: &d}, q(5, "L/min"), units.Quantity{})
	require.Equal(t, Some(50.0), out.PulseHz)
	require.Equal(t, []Code{MotorSpeedNominal}, codes(checks))
}

// A drive that may turn backwards may be asked for a negative rate, not a negative time.
func TestNegativeTargets(t *testing.T) {
	d := belt(Register{Kind: IntegerRegister, Type: Int16, Span: [2]SpanPoint{
		{Count: Some[int32](-1000), Value: q(-1000, "r/min")}, {Count: Some[int32](1000), Value: q(1000, "r/min")}}})
	var faults fault.List
	require.True(t, ValidateRate(&d, q(-5, "m/min"), nil, "target", &faults, units.TimeDim))
	require.Empty(t, faults)
	require.False(t, ValidateRate(&d, q(-5, "min"), nil, "target", &faults, units.TimeDim))
	require.Len(t, faults, 1)
	require.Equal(t, "target.value", faults[0].Path)
	require.Equal(t, fault.OutOfRange, faults[0].Reason)
}

// No flow is not no speed: a pump that leaks turns while its register says 0 L/min.
func TestStopOfALeakingPump(t *testing.T) {
	d := Drive{Motor: Motor{MaxRPM: 2000}, Delivery: Delivery{Kind: Pump, Displacement: q(10, "mL/r"), SlipFlow: q(1, "L/min")}, Register: counts(0, q(0, "L/min"), 1000, q(10, "L/min"))}
	var checks []Check
	var out Setpoint
	Stop(exact.NewExact(), &Subject{Drive: &d}, &checks, &out)
	require.Equal(t, []Code{NoCountForStop}, codes(checks))
	require.False(t, out.Count.Set)
	d.Register.Type = Int16
	checks = nil
	Stop(exact.NewExact(), &Subject{Drive: &d}, &checks, &out)
	require.Empty(t, checks)
	require.Equal(t, Some[int32](-100), out.Count)
}

func TestStop(t *testing.T) {
	for name, c := range map[string]struct {
		register Register
		want     Setpoint
		code     []Code
	}{
		"zero count":    {counts(0, q(0, "r/min"), 1000, q(1000, "r/min")), Setpoint{Count: Some[int32](0), AchievedRPM: Some(0.0)}, nil},
		"offset count":  {counts(400, q(0, "r/min"), 2000, q(1000, "r/min")), Setpoint{Count: Some[int32](400), AchievedRPM: Some(0.0)}, nil},
		"between two":   {counts(0, q(-0.5, "r/min"), 1000, q(999.5, "r/min")), Setpoint{}, []Code{NoCountForStop}},
		"outside type":  {counts(0, q(10, "r/min"), 1000, q(1010, "r/min")), Setpoint{}, []Code{NoCountForStop}},
		"current":       {Register{Kind: CurrentOutput, Span: [2]SpanPoint{{Milliamps: Some(4.0), Value: q(0, "r/min")}, {Milliamps: Some(20.0), Value: q(10, "r/min")}}}, Setpoint{Milliamps: Some(4.0), AchievedRPM: Some(0.0)}, nil},
		"no register":   {Register{}, Setpoint{}, nil},
		"from 1e-1 off": {counts(1, q(0.1, "r/min"), 4, q(0.4, "r/min")), Setpoint{Count: Some[int32](0), AchievedRPM: Some(0.0)}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			d := belt(c.register)
			var checks []Check
			got := Certain(func(c *exact.Calc) (out Setpoint) {
				checks = nil
				Stop(c, &Subject{Drive: &d}, &checks, &out)
				return out
			})
			require.Equal(t, c.want, got)
			require.Equal(t, c.code, codes(checks))
		})
	}
}
