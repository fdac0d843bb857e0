package measurement_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	. "linepace.example/core/measurement"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

func quantity(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

// conveyor is a belt of 8 mm on a roll of 152 mm, behind a gearbox and a V-belt, with
// tenths of a motor r/min in its register and 0.5 % of the set speed as its regulation.
func conveyor() scaling.Drive {
	return scaling.Drive{
		ID:    "conveyor",
		Motor: scaling.Motor{MaxRPM: 1750, Regulation: scaling.Regulation{Percent: scaling.Some(0.5), Of: scaling.SetSpeed}},
		Transmission: []scaling.Stage{
			{Kind: scaling.Belt, DriverDiameter: quantity(100, "mm"), DrivenDiameter: quantity(200, "mm"), SlipPercent: 1},
			{Kind: scaling.Gearbox, Ratio: 20, Exact: true},
		},
		Delivery: scaling.Delivery{Kind: scaling.Roll, Diameter: quantity(152, "mm"), BeltThickness: quantity(8, "mm")},
		Sensors:  []scaling.Sensor{{ID: "pickup", Kind: scaling.ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60}},
		Register: scaling.Register{Kind: scaling.IntegerRegister, Type: scaling.Uint16, Span: [2]scaling.SpanPoint{
			{Count: scaling.Some[int32](0), Value: quantity(0, "r/min")}, {Count: scaling.Some[int32](17500), Value: quantity(1750, "r/min")}}},
	}
}

// atMotor is a check of the motor shaft of d at 1000 r/min by an instrument of 0.05 %.
func atMotor(d *scaling.Drive, readings ...float64) TachometerCheck {
	return TachometerCheck{
		Subject: scaling.Subject{Drive: d}, Count: scaling.Some[int32](10000),
		Readings: readings, Unit: units.MustParse("r/min"), CoveragePercent: 95,
		Tachometer: Tachometer{ExpandedPercent: scaling.Some(0.05), CoverageFactor: 2, Resolution: quantity(0.1, "r/min")},
	}
}

func check(t *TachometerCheck) (out Reading, checks []scaling.Check) {
	t.Check(new(exact.Calc), &checks, &out)
	return out, checks
}

// Worked by hand from the stated relations.
func TestExpectedReadings(t *testing.T) {
	d := conveyor()
	behind := conveyor()
	behind.Sensors[0].StagesFromMotor = 2
	perTurn := math.Pi * 0.160 * 0.5 * 0.99 / 20 // m of belt in a turn of the motor
	for name, c := range map[string]struct {
		drive  *scaling.Drive
		change func(*TachometerCheck)
		want   float64
		unit   string
		codes  []scaling.Code
	}{
		"motor shaft": {&d, func(*TachometerCheck) {}, 1000, "r/min", nil},
		"last shaft, behind a V-belt": {&d, func(k *TachometerCheck) { k.Shaft = scaling.LastShaft }, 1000 * 0.5 * 0.99 / 20, "r/min",
			[]scaling.Code{scaling.SlipNotCorrected}},
		"motor shaft before the sensor": {&behind, func(*TachometerCheck) {}, 1000, "r/min", []scaling.Code{scaling.SlipCorrected}},
		"the sensor's own shaft":        {&behind, func(k *TachometerCheck) { k.Shaft = scaling.SensorShaft }, 1000 * 0.5 * 0.99 / 20, "r/min", nil},
		"straight run": {&d, func(k *TachometerCheck) { k.Place, k.Unit = StraightRun, units.MustParse("m/min") }, 1000 * perTurn, "m/min",
			[]scaling.Code{scaling.SlipNotCorrected}},
		"over the roll": {&behind, func(k *TachometerCheck) { k.Place, k.Unit = OverRoll, units.MustParse("ft/min") }, 1000 * perTurn / 0.3048 * 168 / 160, "ft/min", nil},
		"turns of a wheel": {&behind, func(k *TachometerCheck) {
			k.Place, k.Tachometer.Circumference = StraightRun, quantity(1, "m")
		}, 1000 * perTurn, "m/min", nil},
		"a rate that was set": {&d, func(k *TachometerCheck) {
			k.Count, k.Setpoint = scaling.Optional[int32]{}, quantity(perTurn*500, "m/min")
		}, 500, "r/min", nil},
		"one reading": {&d, func(k *TachometerCheck) { k.Readings = k.Readings[:1] }, 1000, "r/min", []scaling.Code{scaling.SingleReading}},
	} {
		t.Run(name, func(t *testing.T) {
			k := atMotor(c.drive, c.want, c.want*1.0002, c.want*0.9998)
			k.Tachometer.Resolution = units.Quantity{}
			c.change(&k)
			var faults fault.List
			k.Validate(&faults)
			require.Empty(t, faults)
			out, checks := check(&k)
			require.InEpsilon(t, c.want, out.Expected, 1e-12)
			require.Equal(t, c.unit, out.Unit.Symbol())
			var codes []scaling.Code
			for _, k := range checks {
				codes = append(codes, k.Code)
				require.NotEmpty(t, k.Message())
				require.Equal(t, "conveyor", k.DriveID)
			}
			require.Equal(t, c.codes, codes)
		})
	}
}

// The count's rounding is known: what is expected is what the count sets, not what was
// asked of it.
func TestCountRoundingIsNoUncertainty(t *testing.T) {
	d := conveyor()
	d.Register.Span[1] = scaling.SpanPoint{Count: scaling.Some[int32](175), Value: quantity(1750, "r/min")}
	k := atMotor(&d, 1380)
	k.Count = scaling.Some[int32](138) // for 1382.4 r/min, say
	out, _ := check(&k)
	require.Equal(t, 1380.0, out.Expected)
	require.Zero(t, out.Deviation)
	require.Less(t, out.Budget.Standard, 0.5)
}

// The budget line by line, worked by hand: three readings of 1000.0, 1000.2 and 999.8
// r/min, s = 0.2; U = 0.05 % with k = 2; last digit 0.1; 60 marks in 1 s.
func TestBudgetByHand(t *testing.T) {
	d := conveyor()
	k := atMotor(&d, 1000, 1000.2, 999.8)
	k.Tachometer.Gate, k.Tachometer.GatePercent, k.Tachometer.Marks = quantity(1, "s"), 0.01, 60
	out, _ := check(&k)
	b := &out.Budget
	want := []struct {
		source   Source
		standard float64
		dof      float64
	}{
		{Scatter, 0.2 / math.Sqrt(3), 2},
		{Certificate, 0.25, math.Inf(1)},
		{LastDigit, 0.05 / math.Sqrt(3), math.Inf(1)},
		{CountedMarks, 1 / math.Sqrt(6) / math.Sqrt(3), math.Inf(1)},
		{GateTime, 0.05, math.Inf(1)},
	}
	require.Equal(t, len(want), b.Count)
	sum, fourths := 0.0, 0.0
	for i, l := range b.Lines[:b.Count] {
		require.Equal(t, want[i].source, l.Source)
		require.InEpsilon(t, want[i].standard, l.Standard, 1e-9, "%v", l.Source)
		require.Equal(t, want[i].dof, l.Dof)
		sum += want[i].standard * want[i].standard
		fourths += math.Pow(want[i].standard, 4) / want[i].dof
	}
	require.InEpsilon(t, math.Sqrt(sum), b.Standard, 1e-9)
	require.InEpsilon(t, sum*sum/fourths, b.EffectiveDof, 1e-9)
	require.Equal(t, math.Floor(b.EffectiveDof), b.Dof)
	require.Equal(t, 204.0, b.Dof)
	require.InDelta(t, 1.972, b.CoverageFactor, 0.0005) // t of 200 degrees of freedom in common tables, from memory
	require.InEpsilon(t, b.CoverageFactor*b.Standard, b.Expanded, 1e-12)
	// The regulation, 5 r/min either way, is judged and is no part of the uncertainty.
	require.Less(t, b.Expanded, 1.0)
}

// The guard band after ISO 14253-1:2017, from memory of the standard: 1.65 standard
// uncertainties from each limit for a probability of 95 %. Limits here are 995 and 1005
// r/min, u is 0.252 r/min for one reading (0.25 and 0.1/sqrt(12)).
func TestVerdicts(t *testing.T) {
	d := conveyor()
	guard := 1.65 * math.Hypot(0.25, 0.05/math.Sqrt(3))
	for _, c := range []struct {
		mean float64
		want Conformity
	}{
		{1000, ConformanceProven},
		{1005 - 1.01*guard, ConformanceProven}, {1005 - 0.99*guard, NeitherProven}, {1005, NeitherProven},
		{1005 + 0.99*guard, NeitherProven}, {1005 + 1.02*guard, NonconformanceProven},
		{995 + 1.01*guard, ConformanceProven}, {995 + 0.99*guard, NeitherProven},
		{995 - 0.99*guard, NeitherProven}, {995 - 1.02*guard, NonconformanceProven},
	} {
		k := atMotor(&d, c.mean)
		out, _ := check(&k)
		l := out.Limits.Value
		require.True(t, out.Limits.Set)
		require.InDelta(t, 995, l.Low, 1e-9)
		require.InDelta(t, 1005, l.High, 1e-9)
		require.Equal(t, 1.65, l.GuardFactor)
		require.InEpsilon(t, guard, l.GuardBand, 0.01*math.Abs(c.mean-1000)/5+1e-9) // U is a percentage of the reading
		require.Equal(t, c.want, l.Verdict, "mean %v", c.mean)
		require.Equal(t, c.want == NeitherProven && c.mean != 1005, out.RemedyCount > 0, "mean %v", c.mean)
	}
}

func TestNoVerdict(t *testing.T) {
	d := conveyor()
	d.Motor.Regulation = scaling.Regulation{}
	k := atMotor(&d, 1001, 1001.2)
	out, _ := check(&k)
	require.False(t, out.Limits.Set, "without a regulation nothing is judged")
	require.InDelta(t, 1.1, out.Deviation, 1e-9)
	require.InDelta(t, 0.11, out.DeviationPercent, 1e-9)
	require.Positive(t, out.Budget.Expanded)

	pump := scaling.Drive{Motor: scaling.Motor{MaxRPM: 1750, Regulation: scaling.Regulation{Percent: scaling.Some(0.5), Of: scaling.SetSpeed}},
		Delivery: scaling.Delivery{Kind: scaling.Pump, Displacement: quantity(10, "mL/r")},
		Sensors:  []scaling.Sensor{{ID: "meter", Kind: scaling.FlowSensor, ClosesLoop: true, KFactor: quantity(250, "pulse/L")}}}
	k = atMotor(&pump, 1001, 1001.2)
	k.Count, k.Setpoint = scaling.Optional[int32]{}, quantity(1000, "r/min")
	out, checks := check(&k)
	require.False(t, out.Limits.Set, "the loop holds the flow")
	require.Equal(t, scaling.MotorSpeedNominal, checks[0].Code)
}

// Limits of droop, of a maximum speed, of a drive that turns backwards, and limits so
// close that nothing could be proven.
func TestLimits(t *testing.T) {
	limits := func(change func(*scaling.Drive, *TachometerCheck)) (Limits, []scaling.Check) {
		d := conveyor()
		k := atMotor(&d, 1000, 1000)
		change(&d, &k)
		out, checks := check(&k)
		return out.Limits.Value, checks
	}
	l, _ := limits(func(d *scaling.Drive, _ *TachometerCheck) {
		d.Motor.Regulation = scaling.Regulation{DroopPercent: scaling.Some(2.0)}
	})
	require.InDelta(t, 980, l.Low, 1e-9)
	require.InDelta(t, 1000, l.High, 1e-9)
	l, _ = limits(func(d *scaling.Drive, _ *TachometerCheck) {
		d.Motor.Regulation = scaling.Regulation{Percent: scaling.Some(1.0), Of: scaling.MaxSpeed}
	})
	require.InDelta(t, 982.5, l.Low, 1e-9)
	require.InDelta(t, 1017.5, l.High, 1e-9)
	l, _ = limits(func(d *scaling.Drive, k *TachometerCheck) {
		d.Register.Type = scaling.Int16
		d.Register.Span[0] = scaling.SpanPoint{Count: scaling.Some[int32](-17500), Value: quantity(-1750, "r/min")}
		k.Count = scaling.Some[int32](-10000)
	})
	require.InDelta(t, 995, l.Low, 1e-9)
	require.InDelta(t, 1005, l.High, 1e-9)
	l, checks := limits(func(d *scaling.Drive, _ *TachometerCheck) {
		d.Motor.Regulation.Percent = scaling.Some(0.02)
	})
	require.Equal(t, NeitherProven, l.Verdict)
	require.Equal(t, scaling.LimitsTooClose, checks[0].Code)
	require.InDelta(t, 1.96, l.GuardFactor, 1e-9)
}

// What is proposed decides: the check is made again so, at the same mean.
func TestRemediesDecide(t *testing.T) {
	d := conveyor()
	base := atMotor(&d, 1003.8, 1004.6, 1004.2)
	base.Tachometer = Tachometer{ExpandedPercent: scaling.Some(0.02), CoverageFactor: 2, Gate: quantity(0.5, "s"), Marks: 30}
	out, _ := check(&base)
	require.Equal(t, NeitherProven, out.Limits.Value.Verdict)
	kinds := map[RemedyKind]bool{}
	for _, r := range out.Remedies[:out.RemedyCount] {
		kinds[r.Kind] = true
		k := base
		switch r.Kind {
		case LongerGate:
			require.Greater(t, r.Value, 0.5)
			k.Tachometer.Gate.Value = r.Value * (1 + 1e-9)
		case MoreMarks:
			require.Greater(t, r.Value, 30.0)
			k.Tachometer.Marks = int32(r.Value)
		case MoreReadings:
			require.Greater(t, r.Value, 3.0)
			k.Readings = repeated(base.Readings, int(r.Value))
		case BetterCertificate:
			require.Less(t, r.Value, 0.02)
			k.Tachometer.ExpandedPercent.Value = r.Value * (1 - 1e-9)
		}
		again, _ := check(&k)
		require.Equal(t, ConformanceProven, again.Limits.Value.Verdict, "remedy %d: %v", r.Kind, r.Value)
	}
	require.True(t, kinds[MoreReadings] && kinds[LongerGate] && kinds[MoreMarks], "%v", out.Remedies)

	certificate := atMotor(&d, 1004.7, 1004.7, 1004.7)
	out, _ = check(&certificate)
	require.Equal(t, []Remedy{{BetterCertificate, out.Remedies[0].Value}}, out.Remedies[:out.RemedyCount])
}

// repeated returns n readings with the mean and the deviation of the given ones.
func repeated(of []float64, n int) []float64 {
	var mean float64
	for _, x := range of {
		mean += x / float64(len(of))
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = mean
	}
	spread := (of[1] - of[0]) / 2 * math.Sqrt(float64(n-1)/2) // of two of them: s of the three is 0.4
	out[0], out[1] = mean-spread, mean+spread
	return out
}

// A simulated tachometer: an error of the instrument as its certificate says, scatter of
// the speed, and marks that are really counted within a gate of random phase. The true
// speed lies within the expanded uncertainty in 95 percent; a drive exactly at its limit
// is proven to conform, or not to, in at most 5 percent each. With three readings it is
// 94 percent, since Welch and Satterthwaite's formula takes the few
// readings' scatter for the true one.
func TestSimulatedTachometer(t *testing.T) {
	random := rand.New(rand.NewPCG(14253, 1))
	d := conveyor()
	const rows = 20000
	for name, c := range map[string]struct {
		speed           float64
		scatter         float64
		readings        int
		covered         float64 // percent, at least
		wrong           float64 // percent, at most
		conforms, fails bool
	}{
		"one reading, at the limit":     {1005, 0, 1, 95, 5, false, false},
		"three readings, at the limit":  {1005, 0.6, 3, 94, 5, false, false},
		"eight readings, at the limit":  {995, 0.6, 8, 95, 5, false, false},
		"three readings, at set speed":  {1000, 0.6, 3, 94, 5, true, false},
		"three readings, beyond limits": {1012, 0.6, 3, 94, 5, false, true},
	} {
		t.Run(name, func(t *testing.T) {
			covered, conforms, fails := 0, 0, 0
			readings := make([]float64, c.readings)
			for range rows {
				instrument := 1 + 0.05/2/100*random.NormFloat64()
				gate := 1.9 + 0.1*random.Float64() // s, so that its end falls anywhere between two of 60 marks
				for i := range readings {
					speed := (c.speed + c.scatter*random.NormFloat64()) * instrument
					pulses := math.Floor(random.Float64() + speed/60*60*gate)
					readings[i] = pulses / 60 / gate * 60
				}
				k := atMotor(&d, readings...)
				k.Tachometer.Resolution = units.Quantity{}
				k.Tachometer.Gate, k.Tachometer.Marks = quantity(gate, "s"), 60
				out, _ := check(&k)
				if math.Abs(out.Mean-c.speed) <= out.Budget.Expanded {
					covered++
				}
				switch out.Limits.Value.Verdict {
				case ConformanceProven:
					conforms++
				case NonconformanceProven:
					fails++
				}
			}
			share := func(n int) float64 { return 100 * float64(n) / rows }
			t.Logf("covered %.1f %%, proven to conform %.1f %%, proven not to %.1f %%", share(covered), share(conforms), share(fails))
			const slack = 0.5 // three standard deviations of 20000 draws at 5 percent
			require.GreaterOrEqual(t, share(covered), c.covered-slack)
			if c.conforms {
				require.Greater(t, share(conforms), 99.0)
			} else {
				require.LessOrEqual(t, share(conforms), c.wrong+slack)
			}
			if c.fails {
				require.Greater(t, share(fails), 99.0)
			} else {
				require.LessOrEqual(t, share(fails), c.wrong+slack)
			}
		})
	}
}

// Every step's formula gives its result.
func TestTachometerWorkingAddsUp(t *testing.T) {
	d := conveyor()
	for name, change := range map[string]func(*TachometerCheck){
		"shaft": func(*TachometerCheck) {},
		"droop": func(k *TachometerCheck) {
			k.Subject.Drive.Motor.Regulation = scaling.Regulation{DroopPercent: scaling.Some(2.0)}
		},
		"of base": func(k *TachometerCheck) {
			k.Subject.Drive.Motor.BaseRPM = scaling.Some(1440.0)
			k.Subject.Drive.Motor.Regulation = scaling.Regulation{Percent: scaling.Some(0.3), Of: scaling.BaseSpeed}
		},
		"last shaft": func(k *TachometerCheck) { k.Shaft, k.Unit = scaling.LastShaft, units.MustParse("r/s") },
		"wheel that shows a speed": func(k *TachometerCheck) {
			k.Place, k.Unit, k.Readings = OverRoll, units.MustParse("ft/min"), []float64{40, 41}
			k.Tachometer = Tachometer{Expanded: quantity(0.1, "m/min"), CoverageFactor: 2, Resolution: quantity(0.1, "ft/min"), CircumferencePercent: 0.2}
		},
		"wheel that shows turns": func(k *TachometerCheck) {
			k.Place, k.Readings = StraightRun, []float64{24, 25}
			k.Tachometer.Circumference, k.Tachometer.CircumferencePercent = quantity(500, "mm"), 0.2
		},
		"set": func(k *TachometerCheck) { k.Count, k.Setpoint = scaling.Optional[int32]{}, quantity(10, "m/min") },
		"time": func(k *TachometerCheck) {
			k.Count, k.Setpoint = scaling.Optional[int32]{}, quantity(10, "min")
			k.Subject.ReadoutSection = &scaling.Section{Length: quantity(90, "m")}
		},
	} {
		t.Run(name, func(t *testing.T) {
			drive := d
			k := atMotor(&drive, 1000, 1000.2, 999.7)
			k.Tachometer.Gate, k.Tachometer.GatePercent, k.Tachometer.Marks = quantity(1, "s"), 0.01, 60
			change(&k)
			var faults fault.List
			k.Validate(&faults)
			require.Empty(t, faults)
			out, _ := check(&k)
			steps := k.Working(&out)
			require.Greater(t, len(steps), 8)
			for _, step := range steps {
				got, want, err := formulatest.Evaluate(step)
				require.NoError(t, err)
				require.InDelta(t, want, got, 1e-11*math.Max(math.Abs(want), 1), "%s: %s", step.ID, step.Formula)
			}
		})
	}
}

func TestBadTachometerChecks(t *testing.T) {
	d := conveyor()
	bare := scaling.Drive{Motor: scaling.Motor{MaxRPM: 1500}}
	type violation struct {
		path   string
		reason fault.Reason
	}
	for name, c := range map[string]struct {
		change func(*TachometerCheck)
		want   []violation
	}{
		"reading of zero":    {func(k *TachometerCheck) { k.Readings[1] = 0 }, []violation{{"readings[1].value", fault.OutOfRange}}},
		"reading below zero": {func(k *TachometerCheck) { k.Readings[0] = -5 }, []violation{{"readings[0].value", fault.OutOfRange}}},
		"shaft in m/min":     {func(k *TachometerCheck) { k.Unit = units.MustParse("m/min") }, []violation{{"readings[0].unit", fault.UnitWrongKind}, {"tachometer.resolution.unit", fault.UnitWrongKind}}},
		"wheel in r/min":     {func(k *TachometerCheck) { k.Place = StraightRun }, []violation{{"readings[0].unit", fault.UnitWrongKind}}},
		"k below 1":          {func(k *TachometerCheck) { k.Tachometer.CoverageFactor = 0.5 }, []violation{{"tachometer.coverageFactor", fault.OutOfRange}}},
		"no uncertainty":     {func(k *TachometerCheck) { k.Tachometer.ExpandedPercent.Value = 0 }, []violation{{"tachometer.expandedUncertaintyPercent", fault.OutOfRange}}},
		"absolute, of zero": {func(k *TachometerCheck) {
			k.Tachometer.ExpandedPercent.Set, k.Tachometer.Expanded = false, quantity(0, "r/min")
		}, []violation{{"tachometer.expandedUncertainty.value", fault.OutOfRange}}},
		"resolution of zero": {func(k *TachometerCheck) { k.Tachometer.Resolution.Value = 0 }, []violation{{"tachometer.resolution.value", fault.OutOfRange}}},
		"gate of zero":       {func(k *TachometerCheck) { k.Tachometer.Gate, k.Tachometer.Marks = quantity(0, "s"), 1 }, []violation{{"tachometer.gate.time.value", fault.OutOfRange}}},
		"no marks":           {func(k *TachometerCheck) { k.Tachometer.Gate = quantity(1, "s") }, []violation{{"tachometer.gate.markCount", fault.OutOfRange}}},
		"gate of a mass":     {func(k *TachometerCheck) { k.Tachometer.Gate, k.Tachometer.Marks = quantity(1, "kg"), 1 }, []violation{{"tachometer.gate.time.unit", fault.UnitWrongKind}}},
		"wheel on a shaft":   {func(k *TachometerCheck) { k.Tachometer.Circumference = quantity(0.5, "m") }, []violation{{"tachometer.wheelCircumference", fault.Conflict}}},
		"wheel with a gate": {func(k *TachometerCheck) {
			k.Place, k.Unit, k.Tachometer.Resolution = StraightRun, units.MustParse("m/min"), units.Quantity{}
			k.Tachometer.Gate, k.Tachometer.Marks = quantity(1, "s"), 1
		}, []violation{{"tachometer.wheelCircumference", fault.Required}}},
		"wheel without length": {func(k *TachometerCheck) {
			k.Subject.Drive, k.Place, k.Unit, k.Tachometer.Resolution = &bare, StraightRun, units.MustParse("m/min"), units.Quantity{}
			k.Count, k.Setpoint = scaling.Optional[int32]{}, quantity(1000, "r/min")
		}, []violation{{"wheel", fault.Conflict}}},
		"over a pitch diameter": {func(k *TachometerCheck) {
			pitch := d
			pitch.Delivery = scaling.Delivery{Kind: scaling.Roll, PitchDiameter: quantity(160, "mm")}
			k.Subject.Drive, k.Place, k.Unit, k.Tachometer.Resolution = &pitch, OverRoll, units.MustParse("m/min"), units.Quantity{}
		}, []violation{{"wheel", fault.Conflict}}},
		"no such sensor": {func(k *TachometerCheck) {
			k.Subject.Drive, k.Shaft = &bare, scaling.SensorShaft
			k.Count, k.Setpoint = scaling.Optional[int32]{}, quantity(1000, "r/min")
		}, []violation{{"shaft", fault.Conflict}}},
		"count without register": {func(k *TachometerCheck) { k.Subject.Drive = &bare }, []violation{{"count", fault.Conflict}}},
		"count beyond":           {func(k *TachometerCheck) { k.Count.Value = 70000 }, []violation{{"count", fault.OutOfRange}}},
		"current of an integer":  {func(k *TachometerCheck) { k.Count.Set, k.Milliamps = false, scaling.Some(12.0) }, []violation{{"milliamps", fault.Conflict}}},
		"count of a stand":       {func(k *TachometerCheck) { k.Count.Value = 0 }, []violation{{"count", fault.Conflict}}},
		"coverage":               {func(k *TachometerCheck) { k.CoveragePercent = 100 }, []violation{{"coveragePercent", fault.OutOfRange}}},
		"setpoint of a mass":     {func(k *TachometerCheck) { k.Count.Set, k.Setpoint = false, quantity(3, "kg/h") }, []violation{{"setpoint.unit", fault.UnitWrongKind}}},
		"time without section":   {func(k *TachometerCheck) { k.Count.Set, k.Setpoint = false, quantity(3, "min") }, []violation{{"section", fault.Required}}},
	} {
		t.Run(name, func(t *testing.T) {
			k := atMotor(&d, 1000, 1001)
			c.change(&k)
			var faults fault.List
			k.Validate(&faults)
			var got []violation
			for _, f := range faults {
				got = append(got, violation{f.Path, f.Reason})
			}
			require.Equal(t, c.want, got, "%v", faults)
		})
	}
}

func TestCheckAllocatesNothing(t *testing.T) {
	d := conveyor()
	k := atMotor(&d, 1000, 1000.2, 999.8)
	k.Tachometer.Gate, k.Tachometer.Marks = quantity(1, "s"), 60
	var out Reading
	checks := make([]scaling.Check, 0, 4)
	c := new(exact.Calc)
	require.Zero(t, testing.AllocsPerRun(100, func() {
		checks = checks[:0]
		k.Check(c, &checks, &out)
	}))
}

func BenchmarkCheck(b *testing.B) {
	d := conveyor()
	k := atMotor(&d, 1000, 1000.2, 999.8)
	k.Tachometer.Gate, k.Tachometer.Marks = quantity(1, "s"), 60
	var out Reading
	var checks []scaling.Check
	c := new(exact.Calc)
	b.ReportAllocs()
	for b.Loop() {
		k.Check(c, &checks, &out)
	}
}
