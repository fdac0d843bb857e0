package ratio_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	. "linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

const anyInteger = math.MaxInt32

func gear(ratio float64, maxNumerator, maxDenominator int32) Gear {
	return Gear{Ratio: some(ratio), MaxNumerator: maxNumerator, MaxDenominator: maxDenominator}
}

func find(t *testing.T, g *Gear) GearFraction {
	t.Helper()
	requireSound(t, g.Validate)
	out, err := g.Find()
	require.NoError(t, err)
	requireGearAddsUp(t, g, &out)
	return out
}

// requireGearAddsUp is requireAddsUp, and looser for the difference of two nearly
// equal numbers, of which a float64 keeps sixteen digits.
func requireGearAddsUp(t *testing.T, g *Gear, out *GearFraction) {
	t.Helper()
	for _, step := range g.Working(out) {
		if step.ID != "fraction-error/1" && step.ID != "change-gears/1" {
			requireAddsUp(t, []scaling.Step{step})
			continue
		}
		got, want, err := formulatest.Evaluate(step)
		require.NoError(t, err)
		require.InDelta(t, want, got, 1e-15)
	}
}

// Published and computed tables. CPython's own tests of limit_denominator and its
// documentation; a gear pair for 1.234 (on the Stern-Brocot tree and gearing);
// Python 3.11.2 fractions; both terms bounded: exhaustive search; the wheels of
// Huygens' planetarium, 206/7 (from memory).
func TestGearPublished(t *testing.T) {
	for _, c := range []struct {
		ratio                        float64
		maxNumerator, maxDenominator int32
		numerator, denominator       int32
	}{
		{3.1415926535897932, anyInteger, 10000, 355, 113}, {3.1415926535897932, anyInteger, 113, 355, 113},
		{3.1415926535897932, anyInteger, 112, 333, 106}, {1.005, anyInteger, 100, 1, 1}, {1.005, anyInteger, 101, 102, 101},
		{3.1415926535897932, anyInteger, 10, 22, 7}, {3.1415926535897932, anyInteger, 100, 311, 99}, {3.1415926535897932, anyInteger, 1000, 355, 113},
		{1.234, anyInteger, 20, 21, 17}, {1.234, anyInteger, 100, 58, 47},
		{0.3048, anyInteger, 100, 25, 82}, {0.3048, anyInteger, 1000, 235, 771}, {25.4, anyInteger, 4, 76, 3}, {25.4, anyInteger, 5, 127, 5},
		{0.0001, anyInteger, 10000, 1, 10000}, {4.8828125e-4, anyInteger, 2047, 1, 2047}, {4.8828125e-4, anyInteger, 2048, 1, 2048},
		{math.Pi, 32767, 32767, 355, 113}, {math.Pi, 255, 255, 245, 78}, {1.0123456789, 65535, 65535, 82, 81},
	} {
		g := gear(c.ratio, c.maxNumerator, c.maxDenominator)
		out := find(t, &g)
		require.Equal(t, [2]int32{c.numerator, c.denominator}, [2]int32{out.Fraction.Value.Numerator, out.Fraction.Value.Denominator}, "%v", c)
	}
	// 4321/8765 and 77708431/2640858 by their teeth.
	g := Gear{Teeth: []TeethPair{{4321, 8765}}, MaxNumerator: anyInteger, MaxDenominator: 10000}
	out := find(t, &g)
	require.Equal(t, Fraction{4321, 8765, 0}, out.Fraction.Value)
	require.False(t, out.Loss.Set, "an exact fraction loses nothing")
	// Relative errors as computed by exhaustive search: 8.49e-8, 1.80e-4, 1.11e-10.
	for _, c := range []struct {
		ratio float64
		max   int32
		ppm   string
	}{{math.Pi, 32767, "0.0849"}, {math.Pi, 255, "-180"}, {1.0123456789, 65535, "0.000111"}} {
		g := gear(c.ratio, c.max, c.max)
		out := find(t, &g)
		require.Equal(t, c.ppm, fmt.Sprintf("%.3g", out.Fraction.Value.ErrorPPM))
	}
}

// The ratio that an exact fraction cannot be 0 for: 0.0001 with denominators to 5000.
func TestGearOutOfReach(t *testing.T) {
	for _, c := range []struct {
		g    Gear
		want string
	}{
		{gear(0.0001, anyInteger, 5000), "maxDenominator OUT_OF_RANGE"},
		{gear(5000, 1000, 10), "maxNumerator OUT_OF_RANGE"},
		{Gear{Ratio: some(50.0), ChangeGears: &ChangeGears{20, 100, 2}}, "changeGears OUT_OF_RANGE"},
		{Gear{Ratio: some(0.01), ChangeGears: &ChangeGears{20, 100, 1}}, "changeGears OUT_OF_RANGE"},
		{Gear{Teeth: []TeethPair{{1, 100000}, {1, 100000}}, MaxNumerator: 10, MaxDenominator: anyInteger}, "teeth OUT_OF_RANGE"},
	} {
		requireSound(t, c.g.Validate)
		_, err := c.g.Find()
		require.Error(t, err)
		requireFault(t, c.want, err.(fault.List))
	}
}

// Convergents of pi, e (sympy 1.11.1; OEIS A002485, A002486, A007676, A007677 from
// memory) and of Huygens' ratio for Saturn (from memory). Those of the doubles are
// those of the numbers as far as they are listed.
func TestConvergentsPublished(t *testing.T) {
	text := func(g Gear) (out string) {
		for _, f := range find(t, &g).Convergents {
			out += fmt.Sprintf("%d/%d ", f.Numerator, f.Denominator)
		}
		return out
	}
	require.Equal(t, "3/1 22/7 333/106 355/113 103993/33102 104348/33215 208341/66317 312689/99532 ", text(gear(math.Pi, 312689, 99532)))
	require.Equal(t, "2/1 3/1 8/3 11/4 19/7 87/32 106/39 193/71 1264/465 1457/536 ", text(gear(math.E, 1457, 536)))
	require.Equal(t, "29/1 59/2 147/5 206/7 1177/40 1383/47 ", text(gear(77708431.0/2640858, 1383, 47)))
}

// Computed by exhaustive search: the two-stage trains of 20 to 100 teeth nearest to
// pi, 3927/1250 with an error of 2.338e-6, and to e, 1457/536 with 6.45e-7 (relative
// errors; other pairs of the same products are as good).
func TestChangeGearsComputed(t *testing.T) {
	for _, c := range []struct {
		ratio float64
		num   int64
		den   int64
		off   string
	}{{math.Pi, 3927, 1250, "2.338e-06"}, {math.E, 1457, 536, "6.45e-07"}} {
		g := Gear{Ratio: some(c.ratio), ChangeGears: &ChangeGears{MinTeeth: 20, MaxTeeth: 100, Stages: 2}}
		out := find(t, &g)
		require.False(t, out.Fraction.Set)
		require.Len(t, out.Train, 2)
		a, b := out.Train[0], out.Train[1]
		top, bottom := int64(a.DriverTeeth)*int64(b.DriverTeeth), int64(a.DrivenTeeth)*int64(b.DrivenTeeth)
		require.Equal(t, top*c.den, bottom*c.num, "%v", out.Train)
		digits := len(c.off) - 6
		require.Equal(t, c.off, fmt.Sprintf("%.*e", digits, math.Abs(out.TrainPPM)*1e-6))
		for _, pair := range out.Train {
			for _, teeth := range []int32{pair.DriverTeeth, pair.DrivenTeeth} {
				require.GreaterOrEqual(t, teeth, int32(20))
				require.LessOrEqual(t, teeth, int32(100))
			}
		}
	}
}

// Small trains against a search through all of them, in rational numbers.
func TestChangeGearsAgainstAll(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 200 {
		low := 5 + rng.Int32N(10)
		b := ChangeGears{MinTeeth: low, MaxTeeth: low + rng.Int32N(9), Stages: 1 + rng.Int32N(2)}
		reach := float64(b.MaxTeeth) / float64(b.MinTeeth) // of one stage
		v := math.Round(1000*(1/reach+rng.Float64()*(reach-1/reach))) / 1000
		if rng.IntN(4) == 0 {
			v = float64(low) / float64(low+1)
		}
		want, ok := new(big.Rat).SetString(fmt.Sprint(v))
		require.True(t, ok)
		g := Gear{Ratio: some(v), ChangeGears: &b}
		out := find(t, &g)
		value := big.NewRat(1, 1)
		for _, p := range out.Train {
			value.Mul(value, big.NewRat(int64(p.DriverTeeth), int64(p.DrivenTeeth)))
		}
		require.Len(t, out.Train, int(b.Stages))
		got := value.Sub(value, want).Abs(value)
		each := func(yield func(int64)) {
			for i := b.MinTeeth; i <= b.MaxTeeth; i++ {
				if b.Stages == 1 {
					yield(int64(i))
					continue
				}
				for k := b.MinTeeth; k <= b.MaxTeeth; k++ {
					yield(int64(i) * int64(k))
				}
			}
		}
		each(func(top int64) {
			each(func(bottom int64) {
				off := big.NewRat(top, bottom)
				off.Sub(off, want).Abs(off)
				require.LessOrEqual(t, got.Cmp(off), 0, "%d/%d is nearer to %v than %v", top, bottom, v, out.Train)
			})
		})
	}
}

// Worked by hand: 1/3 for 0.3333 is 1/30000 of a pulse too much for each leader
// pulse. At 3000 pulse/s that is 360 pulses an hour, one in 10 s; a repeat of 720
// pulses is gained in 2 h, within a shift.
func TestGearLossByHand(t *testing.T) {
	g := Gear{Ratio: some(0.3333), MaxNumerator: 9, MaxDenominator: 9, LeaderRate: q(3000, "pulse/s"), Repeat: q(720, "pulse")}
	out := find(t, &g)
	require.Equal(t, int32(3), out.Fraction.Value.Denominator)
	require.InEpsilon(t, 1e6/9999, out.Fraction.Value.ErrorPPM, 1e-14)
	loss := out.Loss.Value
	require.Equal(t, q(-360, "pulse/h").Value, loss.PulsesPerHour.Value, "it gains")
	require.Equal(t, 30000.0, loss.LeaderPulsesToPulse)
	require.InEpsilon(t, 1.0/360, loss.TimeToPulse.Value, 1e-15)
	require.Equal(t, 9999.0, loss.RepeatsToRepeat)
	require.Equal(t, 2.0, loss.TimeToRepeat.Value)
	require.Equal(t, []scaling.Code{scaling.RatioFitsExactly, scaling.RepeatSoonLost}, codes(out.Checks))
	require.Equal(t, "3333/10000", out.Checks[0].Name)
	// A fraction that is too small; fractions.Fraction of Python 3.11 gives these:
	// e = 2721/1001 - 27182818/10000000, 1/|e|, 4096/(|e|*2000*3600).
	slow := gear(2.7182818, 9999, 9999)
	slow.LeaderRate, slow.Repeat = q(2000, "Hz"), q(4096, "pulse")
	behind := find(t, &slow).Loss.Value
	require.InEpsilon(t, 0.5883716283716284, behind.PulsesPerHour.Value, 1e-15)
	require.InEpsilon(t, 12237163.81418093, behind.LeaderPulsesToPulse, 1e-15)
	require.InEpsilon(t, 6961.586525400707, behind.TimeToRepeat.Value, 1e-15)
	g.Repeat = q(7200, "pulse") // 20 h
	require.Equal(t, []scaling.Code{scaling.RatioFitsExactly}, codes(find(t, &g).Checks))
	g.Repeat, g.LeaderRate = units.Quantity{}, q(3000, "Hz")
	require.Equal(t, loss.PulsesPerHour.Value, find(t, &g).Loss.Value.PulsesPerHour.Value)
}

func sensed(d scaling.Drive, pulses float64, stages int32) scaling.Drive {
	d.Sensors = []scaling.Sensor{{ID: "s", Kind: scaling.ShaftSensor, ClosesLoop: true, PulsesPerTurn: pulses, StagesFromMotor: stages}}
	return d
}

// Worked by hand: a print roll of 200 mm with 1024 pulses a turn follows a web roll
// of 100 mm with 600 pulses a turn at 100.2 %: 1.002 * (1024/200)/(600/100), where pi
// cancels: 1.002*1024*100/(600*200) = 0.85504 = 2672/3125. At 60 m/min the web roll
// gives 60/(0.1*pi)*600 pulses per min.
func TestGearOfTwoSensorsByHand(t *testing.T) {
	web, print := sensed(roll("web", q(100, "mm")), 600, 0), sensed(roll("print", q(200, "mm")), 1024, 0)
	g := Gear{Drives: []scaling.Drive{web, print}, Sensors: &SensorPair{LeaderID: "web", FollowerID: "print", Percent: some(100.2)},
		MaxNumerator: 9999, MaxDenominator: 9999, LeaderRate: q(60, "m/min"), Repeat: q(628, "mm")}
	out := find(t, &g)
	require.Equal(t, Fraction{2672, 3125, 0}, out.Fraction.Value)
	require.InDelta(t, 0.85504, out.Ratio, 1e-15)
	g.MaxDenominator = 3000
	out = find(t, &g)
	f, loss := out.Fraction.Value, out.Loss.Value
	off := float64(f.Numerator)/float64(f.Denominator) - 0.85504
	pulses := 60 / (0.1 * math.Pi) * 600
	require.InEpsilon(t, -off*pulses*60, loss.PulsesPerHour.Value, 1e-9)
	require.InEpsilon(t, -off*pulses*60/1024*200*math.Pi, loss.AmountPerHour.Value, 1e-9)
	require.Equal(t, "mm/h", loss.AmountPerHour.Unit.Symbol())
	require.InEpsilon(t, 628/math.Abs(loss.AmountPerHour.Value), loss.TimeToRepeat.Value, 1e-9)
}

// Worked by hand: a cutter of 2 pieces a turn, 500 pulses a turn, one piece for each
// 410 mm of a belt on a sprocket of 20 teeth of 12.5 mm, 360 pulses a turn of a motor
// that a 1:4 pair slows down: belt 4*360/0.25 = 5760 pulse/m, cutter 250 pulse/pc, so
// 250/(0.41*5760) = 250/2361.6 = 3125/29520 = 625/5904.
func TestGearOfLengthPerPiece(t *testing.T) {
	belt := sensed(scaling.Drive{ID: "belt", Motor: scaling.Motor{MaxRPM: 3000}, Transmission: []scaling.Stage{{Kind: scaling.GearPair, DriverTeeth: 15, DrivenTeeth: 60}},
		Delivery: scaling.Delivery{Kind: scaling.Sprocket, Teeth: 20, Pitch: q(12.5, "mm")}}, 360, 0)
	cutter := sensed(scaling.Drive{ID: "cutter", Motor: scaling.Motor{MaxRPM: 3000}, Delivery: scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 2}}, 500, 0)
	g := Gear{Drives: []scaling.Drive{belt, cutter}, Sensors: &SensorPair{LeaderID: "belt", FollowerID: "cutter", LengthPerPiece: q(410, "mm")},
		MaxNumerator: 65535, MaxDenominator: 65535}
	require.Equal(t, Fraction{625, 5904, 0}, find(t, &g).Fraction.Value)
	g.Sensors.LeaderID, g.Sensors.FollowerID = "cutter", "belt"
	require.Equal(t, Fraction{5904, 625, 0}, find(t, &g).Fraction.Value)
	// A roll in place of the sprocket brings pi in; the fraction is the best all the same.
	belt.Delivery = scaling.Delivery{Kind: scaling.Roll, Diameter: q(80, "mm")}
	g.Drives[0] = belt
	out := find(t, &g)
	require.InEpsilon(t, 0.41*4*360/(0.08*math.Pi)/250, out.Ratio, 1e-14)
	require.NotContains(t, codes(out.Checks), scaling.RatioFitsExactly)
}

// What is only nominal in the descriptions is told: it errs more than any fraction.
func TestGearTellsNominalGearbox(t *testing.T) {
	a, b := sensed(roll("a", q(100, "mm")), 600, 0), sensed(roll("b", q(100, "mm")), 600, 0)
	b.Transmission = []scaling.Stage{{Kind: scaling.Gearbox, Ratio: 19.7}}
	g := Gear{Drives: []scaling.Drive{a, b}, Sensors: &SensorPair{LeaderID: "a", FollowerID: "b", Percent: some(100.0)}, MaxNumerator: 999, MaxDenominator: 999}
	out := find(t, &g)
	require.Equal(t, []scaling.Code{scaling.GearboxRatioNominal}, codes(out.Checks))
	require.Equal(t, "drives[1]", out.Checks[0].Field)
}

func TestGearFaults(t *testing.T) {
	pump := sensed(scaling.Drive{ID: "pump", Motor: scaling.Motor{MaxRPM: 3000}, Delivery: scaling.Delivery{Kind: scaling.Pump, Displacement: q(1, "mL/r"), SlipFlow: q(1, "mL/min")}}, 60, 0)
	bare := scaling.Drive{ID: "bare", Motor: scaling.Motor{MaxRPM: 3000}}
	drives := []scaling.Drive{sensed(roll("a", q(100, "mm")), 600, 0), sensed(roll("b", q(100, "mm")), 600, 0), roll("c", q(1, "mm")), pump, bare, sensed(feeder("f", 3), 60, 0)}
	pair := func(leader, follower string, percent float64) Gear {
		return Gear{Drives: drives, Sensors: &SensorPair{LeaderID: leader, FollowerID: follower, Percent: some(percent)}, MaxNumerator: 9, MaxDenominator: 9}
	}
	with := func(g Gear, spoil func(*Gear)) Gear { spoil(&g); return g }
	for _, c := range []struct {
		g    Gear
		want string
	}{
		{gear(0, 9, 9), "ratio OUT_OF_RANGE"},
		{gear(-1, 9, 9), "ratio OUT_OF_RANGE"},
		{gear(math.NaN(), 9, 9), "ratio OUT_OF_RANGE"},
		{gear(1e12, 9, 9), "ratio OUT_OF_RANGE"},
		{gear(1, 0, 9), "maxNumerator OUT_OF_RANGE"},
		{gear(1, 9, 0), "maxDenominator OUT_OF_RANGE"},
		{gear(1, 0, 0), "maxDenominator OUT_OF_RANGE"},
		{gear(1, 9, -1), "maxDenominator OUT_OF_RANGE"},
		{Gear{Teeth: []TeethPair{{0, 3}}, MaxNumerator: 9, MaxDenominator: 9}, "teeth.pairs[0].driverTeeth OUT_OF_RANGE"},
		{Gear{Teeth: []TeethPair{{3, -3}}, MaxNumerator: 9, MaxDenominator: 9}, "teeth.pairs[0].drivenTeeth OUT_OF_RANGE"},
		{Gear{Ratio: some(1.0), ChangeGears: &ChangeGears{0, 100, 2}}, "changeGears.minTeeth OUT_OF_RANGE"},
		{Gear{Ratio: some(1.0), ChangeGears: &ChangeGears{20, 10, 2}}, "changeGears.maxTeeth OUT_OF_RANGE"},
		{Gear{Ratio: some(1.0), ChangeGears: &ChangeGears{20, 100, 3}}, "changeGears.stages OUT_OF_RANGE"},
		{with(gear(1, 9, 9), func(g *Gear) { g.LeaderRate = q(3, "m/min") }), "leaderRate.unit UNIT_WRONG_DIMENSION"},
		{with(gear(1, 9, 9), func(g *Gear) { g.LeaderRate = q(0, "Hz") }), "leaderRate.value OUT_OF_RANGE"},
		{with(gear(1, 9, 9), func(g *Gear) { g.Repeat = q(3, "mm") }), "repeat.unit UNIT_WRONG_DIMENSION"},
		{pair("a", "b", 0), "sensors.percent OUT_OF_RANGE"},
		{pair("a", "a", 100), "sensors.followerId CONFLICT"},
		{pair("a", "x", 100), "sensors.followerId NOT_FOUND"},
		{pair("a", "c", 100), "sensors.followerId CONFLICT"},
		{pair("pump", "b", 100), "sensors.leaderId CONFLICT"},
		{pair("bare", "b", 100), "sensors.leaderId CONFLICT"},
		{pair("a", "f", 100), "sensors.percent CONFLICT"},
		{with(pair("a", "b", 1), func(g *Gear) { g.Sensors.Percent.Set = false }), "sensors REQUIRED"},
		{with(pair("a", "b", 1), func(g *Gear) { g.Sensors.LengthPerPiece = q(1, "m") }), "sensors.lengthPerPiece CONFLICT"},
		{with(pair("a", "b", 1), func(g *Gear) { g.LeaderRate = q(1, "kg/h") }), "leaderRate.unit UNIT_WRONG_DIMENSION"},
		{with(pair("a", "b", 1), func(g *Gear) { g.Repeat = q(1, "kg") }), "repeat.unit UNIT_WRONG_DIMENSION"},
	} {
		var faults fault.List
		c.g.Validate(&faults)
		requireFault(t, c.want, faults)
	}
}

func BenchmarkChangeGears(b *testing.B) {
	g := Gear{Ratio: some(math.Pi), ChangeGears: &ChangeGears{MinTeeth: 1, MaxTeeth: 300, Stages: 2}}
	for b.Loop() {
		_, err := g.Find()
		require.NoError(b, err)
	}
}

// The working of random gears adds up, and its last terms are the fraction's.
func TestGearWorkingEndsInTheFraction(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 500 {
		g := gear(math.Round(1e6*math.Exp(4*rng.Float64()-2))/1e6, 50+rng.Int32N(5000), 50+rng.Int32N(5000))
		out := find(t, &g)
		var last [2]float64
		for _, step := range g.Working(&out) {
			if step.ID == "fraction/1" {
				last[0], last[1] = last[1], step.Result.Value
			}
		}
		f := out.Fraction.Value
		require.Equal(t, [2]float64{float64(f.Numerator), float64(f.Denominator)}, last, "%v", g)
	}
}
