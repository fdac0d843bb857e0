package scaling_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/fraction"
	. "linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

func always() bool { return false }

// drum is a roll of 160 mm behind 40:1 and 18:36 teeth, after the example that
// mpmath 1.2.1 computed: 1750 r/min are 10.9955742875642763 m/min. Its sensor gives
// 60 pulses per motor turn, so 1750 Hz.
func drum() Drive {
	return Drive{
		ID:           "drum",
		Motor:        Motor{MinRPM: 90, MaxRPM: 1750},
		Transmission: []Stage{{Kind: Gearbox, Ratio: 40, Exact: true}, {Kind: GearPair, DriverTeeth: 18, DrivenTeeth: 36}},
		Delivery:     Delivery{Kind: Roll, Diameter: q(160, "mm")},
		Sensors:      []Sensor{{ID: "s", Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60}},
		Readout:      Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 2},
		Register:     counts(0, q(0, "r/min"), 17500, q(1750, "r/min")),
	}
}

// The number is worked by hand: 1099.5574 counts at 1750 Hz.
func TestProportionalFraction(t *testing.T) {
	d := drum()
	var checks []Check
	f, ok := FractionOf(&Subject{Drive: &d}, &FractionRequest{Bounds: fraction.Bounds{MaxNumerator: 9999, MaxDenominator: 9999}}, &checks, always)
	require.True(t, ok)
	require.Equal(t, fraction.Proportional, f.Form)
	require.Equal(t, PulseFrequency, f.Basis)
	require.InEpsilon(t, 1099.55742875642763/1750, f.Target, 1e-15)
	require.InDelta(t, (float64(f.Numerator)/float64(f.Denominator)/f.Target-1)*1e6, f.ErrorPPM, 1e-9)
	require.Less(t, math.Abs(f.ErrorPPM), 0.1)
	point := f.Verify.Value
	require.True(t, f.Verify.Set)
	require.Zero(t, int64(point.Basis)%f.Denominator)
	require.Equal(t, point.Basis, point.MotorRPM) // 60 pulses a turn: as many Hz as r/min
	require.Equal(t, fmt.Sprintf("%.2f", point.Basis*float64(f.Numerator)/float64(f.Denominator)/100), point.Text)
	require.EqualValues(t, 17500-900+1, f.Readings.Value.Compared)
	for basis, factor := range map[Basis]float64{MotorTurns: 1, LastTurns: 80} {
		g, ok := FractionOf(&Subject{Drive: &d}, &FractionRequest{Basis: basis, Bounds: fraction.Bounds{MaxNumerator: 9999, MaxDenominator: 9999}}, &checks, always)
		require.True(t, ok)
		require.InEpsilon(t, f.Target*factor, g.Target, 1e-15)
	}
}

// A display with a pickup of its own, 3 pulses a turn of the last shaft: 1/80 of the
// motor's, which is 3/80/60 Hz at 1 r/min.
func TestFractionOfAnotherSensor(t *testing.T) {
	d := drum()
	d.Sensors = append(d.Sensors, Sensor{ID: "own", Kind: ShaftSensor, PulsesPerTurn: 3, StagesFromMotor: 2})
	var checks []Check
	f, ok := FractionOf(&Subject{Drive: &d}, &FractionRequest{SensorID: "own", Bounds: fraction.Bounds{MaxNumerator: 99999, MaxDenominator: 99}}, &checks, always)
	require.True(t, ok)
	require.Equal(t, "own", f.SensorID)
	require.InEpsilon(t, 1099.55742875642763/1750*80*60/3, f.Target, 1e-15)
	require.False(t, f.Verify.Set) // no whole multiple of the denominator lies between 0.06 and 1.09 Hz
}

// A kiln of 48 m: its time in min with one decimal times the motor speed is
// 480 m / (m per turn), whatever the speed.
func TestReciprocalFraction(t *testing.T) {
	d := drum()
	d.Readout = Readout{Unit: units.MustParse("min"), Digits: 4, Decimals: 1}
	s := Subject{Drive: &d, ReadoutSection: &Section{Length: q(48, "m")}}
	var checks []Check
	f, ok := FractionOf(&s, &FractionRequest{Basis: MotorTurns, Bounds: fraction.Bounds{MaxNumerator: 9999, MaxDenominator: 9999}}, &checks, always)
	require.True(t, ok)
	require.Equal(t, fraction.Reciprocal, f.Form)
	require.InEpsilon(t, 480*1750/10.9955742875642763, f.Target, 1e-15)
	off := math.Abs(float64(f.Numerator*f.Denominator) - f.Target)
	for a := range 9999 { // every pair
		b := math.Round(f.Target / float64(a+1))
		require.False(t, b <= 9999 && math.Abs(b*float64(a+1)-f.Target) < off)
	}
	require.True(t, f.Verify.Set)
	require.EqualValues(t, f.Denominator, f.Verify.Value.MotorRPM)
	require.Equal(t, fmt.Sprintf("%.1f", float64(f.Numerator)/10), f.Verify.Value.Text)
	require.EqualValues(t, 17500-900+1, f.Readings.Value.Compared)
	require.Less(t, f.Readings.Value.Differing, int64(100)) // 8 ppm of up to 850 digits: one boundary in 150
}

// Every reading, found again with big fractions from the pair and from the relation.
func TestReadingsThatDiffer(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	differing := 0
	for range 40 {
		teeth := 10 + random.Int32N(90)
		d := Drive{
			Motor:    Motor{MinRPM: 50, MaxRPM: 500},
			Delivery: Delivery{Kind: Sprocket, Teeth: teeth, Pitch: q(12.7, "mm")},
			Readout:  Readout{Unit: units.MustParse("m/min"), Digits: 5, Decimals: 2, Truncates: random.IntN(2) == 0},
			Register: counts(0, q(0, "r/min"), 1000, q(500, "r/min")),
		}
		most := 3 + random.Int64N(60)
		var checks []Check
		f, ok := FractionOf(&Subject{Drive: &d}, &FractionRequest{Bounds: fraction.Bounds{MaxNumerator: 100 * most, MaxDenominator: most}}, &checks, always)
		require.True(t, ok)
		want := Readings{}
		worst := int64(0)
		for count := int32(100); count <= 1000; count++ {
			rpm := big.NewRat(int64(count), 2)
			exactly := shown(&d.Readout, new(big.Rat).Mul(rpm, big.NewRat(int64(teeth)*127*100, 10000)))
			device := shown(&d.Readout, new(big.Rat).Mul(rpm, big.NewRat(f.Numerator, f.Denominator)))
			want.Compared++
			if exactly == device {
				continue
			}
			want.Differing++
			here := Some(Reading{count, fmt.Sprintf("%.2f", float64(exactly)/100), fmt.Sprintf("%.2f", float64(device)/100)})
			if !want.First.Set {
				want.First = here
			}
			want.Last, want.Listed = here, append(want.Listed, here.Value)
			if off := max(exactly-device, device-exactly); off > worst {
				worst, want.Worst = off, here
			}
		}
		require.Equal(t, Some(want), f.Readings)
		require.Equal(t, want.Differing > 0, len(checks) == 1)
		differing += int(want.Differing)
	}
	require.Greater(t, differing, 1000)
}

func shown(r *Readout, digits *big.Rat) int64 {
	if !r.Truncates {
		digits.Add(digits, big.NewRat(1, 2))
	}
	return new(big.Int).Quo(digits.Num(), digits.Denom()).Int64()
}

func TestCatalogueHasOneFraction(t *testing.T) {
	screw := Drive{
		Motor: Motor{MinRPM: 100, MaxRPM: 1500}, Delivery: Delivery{Kind: Screw, VolumePerTurn: q(0.4, "L/r")},
		Readout: Readout{Unit: units.MustParse("kg/h"), Digits: 5},
	}
	dense := func(v float64) Subject {
		return Subject{Drive: &screw, Material: &Material{BulkDensity: q(v, "kg/L")}}
	}
	own := dense(1.0) // 24 kg/h per r/min
	var checks []Check
	q := FractionRequest{Bounds: fraction.Bounds{MaxNumerator: 999, MaxDenominator: 10}, Catalogue: []Subject{dense(0.98), dense(1.02)}}
	f, ok := FractionOf(&own, &q, &checks, always)
	require.True(t, ok)
	require.Len(t, f.Catalogue, 2)
	// Worked by hand: between 23.52 and 24.48 the harmonic mean is 23.9904; of the
	// fractions with such denominators 24 lies nearest.
	require.Equal(t, fraction.Pair{Numerator: 24, Denominator: 1}, f.Pair)
	require.Zero(t, f.ErrorPPM)
	require.InEpsilon(t, 20408.163265306123, f.Catalogue[0], 1e-12)
	require.InEpsilon(t, -19607.843137254902, f.Catalogue[1], 1e-12)
	require.Empty(t, f.Readings)
}

func TestNoFraction(t *testing.T) {
	d := drum()
	pump := Drive{Motor: Motor{MaxRPM: 1500}, Delivery: Delivery{Kind: Pump, Displacement: q(12, "mL/r"), SlipFlow: q(0.2, "L/min")},
		Readout: Readout{Unit: units.MustParse("L/min"), Digits: 4, Decimals: 2}}
	metered := pump
	metered.Sensors = []Sensor{{Kind: FlowSensor, ClosesLoop: true, KFactor: q(250, "pulse/L")}}
	inTurns := metered
	inTurns.Readout.Unit = units.MustParse("r/min")
	timed := d
	timed.Readout.Unit = units.MustParse("min")
	screw := Drive{Motor: Motor{MaxRPM: 1500}, Delivery: Delivery{Kind: Screw, VolumePerTurn: q(1, "L/r")}, Readout: Readout{Unit: units.MustParse("kg/h"), Digits: 4}}
	for name, c := range map[string]struct {
		drive *Drive
		basis Basis
		text  string
	}{
		"sound":              {&d, NoBasis, ""},
		"metered":            {&metered, NoBasis, ""},
		"leaks":              {&pump, NoBasis, "the pump leaks"},
		"leaks at the motor": {&metered, MotorTurns, "the pump leaks"},
		"speed from flow":    {&inTurns, NoBasis, "the pump leaks"},
		"speed from speed":   {&inTurns, MotorTurns, ""},
		"no sensor":          {&pump, PulseFrequency, "no sensor"},
		"no section":         {&timed, NoBasis, "no section"},
		"no density":         {&screw, NoBasis, "density"},
	} {
		got := ReasonNoFraction(&Subject{Drive: c.drive}, &FractionRequest{Basis: c.basis})
		require.Contains(t, got, c.text, name)
		require.Equal(t, c.text == "", got == "", name)
	}
	var checks []Check
	_, ok := FractionOf(&Subject{Drive: &d}, &FractionRequest{Bounds: fraction.Bounds{MaxNumerator: 1, MaxDenominator: 9999, Minimum: 1}, Basis: LastTurns}, &checks, always)
	require.False(t, ok)
	require.Equal(t, NoScaleFraction, checks[0].Code)
	require.Contains(t, checks[0].Message(), "50.26")
}

func TestFractionWorkingAddsUp(t *testing.T) {
	d := drum()
	timed := d
	timed.Readout.Unit = units.MustParse("min")
	for _, drive := range []*Drive{&d, &timed} {
		for _, basis := range []Basis{PulseFrequency, MotorTurns, LastTurns} {
			s := Subject{Drive: drive, ReadoutSection: &Section{Length: q(48, "m")}}
			var checks []Check
			f, ok := FractionOf(&s, &FractionRequest{Basis: basis, Bounds: fraction.Bounds{MaxNumerator: 9999, MaxDenominator: 9999}}, &checks, always)
			require.True(t, ok)
			steps := FractionWorking(&s, &f)
			require.Len(t, steps, 3)
			for _, step := range steps {
				got, want, err := formulatest.Evaluate(step)
				require.NoError(t, err)
				require.InDelta(t, want, got, 1e-12*math.Max(math.Abs(want), 1), step.ID)
			}
		}
	}
}

// A caller that gives up ends the comparison.
func TestFractionStops(t *testing.T) {
	d := drum()
	var checks []Check
	_, ok := FractionOf(&Subject{Drive: &d}, &FractionRequest{Bounds: fraction.Bounds{MaxNumerator: 9, MaxDenominator: 9}}, &checks, func() bool { return true })
	require.False(t, ok)
	d.Register = counts(0, q(0, "r/min"), 65535, q(1, "r/min"))
	d.Register.Type = Int32
	_, ok = FractionOf(&Subject{Drive: &d}, &FractionRequest{Bounds: fraction.Bounds{MaxNumerator: 9, MaxDenominator: 9}}, &checks, always)
	require.True(t, ok)
	require.Equal(t, TooManyCountsToCompare, checks[len(checks)-1].Code)
}

// Counts next to the ends that set a usable speed, of a rising and a falling register:
// 0.7 r/min a count from 100 to 1000 r/min.
func TestCountsWithinTheUsableRange(t *testing.T) {
	for _, c := range []struct {
		register Register
		low      int32
		high     int32
	}{
		{counts(0, q(0, "r/min"), 10000, q(7000, "r/min")), 143, 1428},  // 100.1 and 999.6 r/min
		{counts(10000, q(0, "r/min"), 0, q(7000, "r/min")), 9857, 8572}, // the same from 10000 down
		{counts(0, q(0, "r/min"), 10, q(7000, "r/min")), 1, 1},          // 700 r/min alone
	} {
		d := drum()
		d.Motor, d.Sensors, d.Register = Motor{MinRPM: 100, MaxRPM: 1000}, nil, c.register
		var checks []Check
		scale := ScaleOf(exact.NewExact(), &Subject{Drive: &d}, &checks)
		require.Equal(t, []Optional[int32]{Some(c.low), Some(c.high)}, []Optional[int32]{scale.CountAtMin, scale.CountAtMax})
	}
	d := drum()
	d.Motor, d.Sensors, d.Register = Motor{MinRPM: 100, MaxRPM: 600}, nil, counts(0, q(0, "r/min"), 10, q(7000, "r/min"))
	var checks []Check
	require.False(t, ScaleOf(exact.NewExact(), &Subject{Drive: &d}, &checks).CountAtMin.Set)
}
