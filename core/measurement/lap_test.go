package measurement_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	. "linepace.example/core/measurement"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// lapOf: a belt of 30 m goes round three times in 5 min: 18 m/min. 30 mm in 30 m are
// 0.1 %, 0.6 s in 300 s are 0.2 %. The wheel over the roll of 190 mm with a belt of
// 10 mm reads 210/200 of the belt's speed.
func lapOf() Lap {
	return Lap{
		LapLength: q(30, "m"), LengthUncertainty: q(30, "mm"), TimeUncertainty: q(0.6, "s"),
		RollDiameter: q(190, "mm"), BeltThickness: q(10, "mm"), WheelPercent: scaling.Some(0.4), WantedPercent: scaling.Some(0.5),
		Runs: []LapRun{
			{Kind: ByLaps, Laps: 3, Time: q(5, "min"), MotorRPM: 900},
			{Kind: ByWheel, Place: StraightRun, Speed: q(18, "m/min"), MotorRPM: 900},
			{Kind: ByWheel, Place: OverRoll, Speed: q(18.9, "m/min"), MotorRPM: 900},
		},
	}
}

func TestLapByHand(t *testing.T) {
	m := lapOf()
	require.Empty(t, faultsOf(&m))
	speeds, refs, checks := m.Find()
	require.Empty(t, checks)
	for i, speed := range speeds {
		require.InEpsilon(t, 18.0, speed.Speed.Value, 1e-15)
		require.InEpsilon(t, 18.9, speed.OverRoll.Value, 1e-15)
		require.Equal(t, speed.Speed, refs[i].Value)
		require.Equal(t, speed.UncertaintyPercent, refs[i].UncertaintyPercent)
	}
	require.InEpsilon(t, math.Sqrt(0.05), speeds[0].UncertaintyPercent.Value, 1e-14)
	require.Equal(t, 0.4, speeds[1].UncertaintyPercent.Value)
	// One lap takes 100 s: 0.6 %. With two it is 0.3 % and with 0.1 % together 0.316 %.
	require.Equal(t, scaling.Some[int32](2), speeds[0].LapsNeeded)
	require.False(t, speeds[1].LapsNeeded.Set)

	m.WantedPercent = scaling.Some(0.1)
	speeds, _, checks = m.Find()
	require.False(t, speeds[0].LapsNeeded.Set)
	require.Len(t, checks, 3)
	require.Equal(t, []any{scaling.UncertaintyOutOfReach, "the lap length", "runs[0]"}, []any{checks[0].Code, checks[0].Name, checks[0].Field})
	require.Equal(t, []any{scaling.UncertaintyOutOfReach, "the surface wheel", "runs[1]"}, []any{checks[1].Code, checks[1].Name, checks[1].Field})

	m.Runs = m.Runs[:1]
	m.WantedPercent = scaling.Some(0.11)
	speeds, _, checks = m.Find()
	require.Equal(t, scaling.MissesUncertainty, checks[0].Code)
	require.Equal(t, int32(14), speeds[0].LapsNeeded.Value) // 0.6 / sqrt(0.11^2 - 0.1^2) = 13.09
}

// A drive lends its roll, and its readout's unit.
func TestLapOfADrive(t *testing.T) {
	m := lapOf()
	m.RollDiameter, m.BeltThickness = units.Quantity{}, units.Quantity{}
	require.Equal(t, []string{"rollDiameter REQUIRED", "beltThickness REQUIRED"}, faultsOf(&m))
	m.Drive = &scaling.Drive{ID: "belt", Delivery: scaling.Delivery{Kind: scaling.Roll, Diameter: q(190, "mm"), BeltThickness: q(10, "mm")},
		Readout: scaling.Readout{Unit: units.MustParse("ft/min"), Digits: 4}}
	require.Empty(t, faultsOf(&m))
	speeds, _, _ := m.Find()
	require.InEpsilon(t, 18/0.3048, speeds[2].Speed.Value, 1e-15)
	m.Drive.Delivery = scaling.Delivery{Kind: scaling.Pump, Displacement: q(1, "L/r")}
	require.Contains(t, faultsOf(&m), "drive.delivery CONFLICT")
}

func TestLapFaults(t *testing.T) {
	for name, c := range map[string]struct {
		change func(m *Lap)
		want   []string
	}{
		"no lap":             {func(m *Lap) { m.Runs[0].Laps = 0 }, []string{"runs[0].laps.lapCount OUT_OF_RANGE"}},
		"no time":            {func(m *Lap) { m.Runs[0].Time.Value = 0 }, []string{"runs[0].laps.time.value OUT_OF_RANGE"}},
		"wheel stands":       {func(m *Lap) { m.Runs[2].Speed.Value = 0 }, []string{"runs[2].wheel.speed.value OUT_OF_RANGE"}},
		"wheel in r/min":     {func(m *Lap) { m.Runs[1].Speed = q(18, "r/min") }, []string{"runs[1].wheel.speed.unit UNIT_WRONG_DIMENSION"}},
		"no length":          {func(m *Lap) { m.LapLength = units.Quantity{} }, []string{"lapLength REQUIRED"}},
		"negative thickness": {func(m *Lap) { m.BeltThickness.Value = -1 }, []string{"beltThickness.value OUT_OF_RANGE"}},
		"no stopwatch":       {func(m *Lap) { m.TimeUncertainty = units.Quantity{} }, []string{"timeUncertainty REQUIRED"}},
		"no tape":            {func(m *Lap) { m.LengthUncertainty = units.Quantity{} }, []string{"lengthUncertainty REQUIRED"}},
		"wheel not judged":   {func(m *Lap) { m.WheelPercent = scaling.Optional[float64]{} }, []string{"wheelUncertaintyPercent REQUIRED"}},
		"negative rpm":       {func(m *Lap) { m.Runs[1].MotorRPM = -3 }, []string{"runs[1].motorRpm OUT_OF_RANGE"}},
		"no kind":            {func(m *Lap) { m.Runs[0].Kind = NoLapKind }, []string{"runs[0] REQUIRED"}},
		"no place":           {func(m *Lap) { m.Runs[1].Place = NoPlace }, []string{"runs[1].wheel.place REQUIRED"}},
		"tape of no use":     {func(m *Lap) { m.LengthUncertainty = q(31, "m") }, []string{"runs[0] CONFLICT"}},
	} {
		t.Run(name, func(t *testing.T) {
			m := lapOf()
			c.change(&m)
			require.Equal(t, c.want, faultsOf(&m))
		})
	}
}

// The laps needed are the least that reach the wanted uncertainty, by search in
// rational numbers over the decimals as given.
func TestLapsNeededAgainstSearch(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 28))
	found, exactly := 0, 0
	for range 500 {
		m := lapOf()
		m.Runs = m.Runs[:1]
		m.Runs[0].Laps, m.Runs[0].Time = int32(1+r.IntN(5)), q(float64(10+r.IntN(90)), "s")
		m.TimeUncertainty = q(float64(1+r.IntN(9))/10, "s")
		m.LengthUncertainty = q(float64(3*r.IntN(9)+3), "mm")
		m.WantedPercent = scaling.Some(float64(1+r.IntN(12)) / 20)
		speeds, _, _ := m.Find()
		rat := func(v float64) *big.Rat {
			out, _ := new(big.Rat).SetString(strconv.FormatFloat(v, 'g', -1, 64))
			return out
		}
		sq := func(x *big.Rat) *big.Rat { return new(big.Rat).Mul(x, x) }
		length := sq(new(big.Rat).Quo(rat(m.LengthUncertainty.Value), big.NewRat(30000, 1)))
		wanted := sq(new(big.Rat).Quo(rat(m.WantedPercent.Value), big.NewRat(100, 1)))
		one := new(big.Rat).Quo(new(big.Rat).Mul(rat(m.TimeUncertainty.Value), big.NewRat(int64(m.Runs[0].Laps), 1)), rat(m.Runs[0].Time.Value))
		want := int64(0)
		for n := int64(1); n < 2000; n++ {
			sum := new(big.Rat).Add(length, sq(new(big.Rat).Quo(one, big.NewRat(n, 1))))
			if sum.Cmp(wanted) <= 0 {
				want = n
				if sum.Cmp(wanted) == 0 {
					exactly++
				}
				break
			}
		}
		if want == 0 {
			require.False(t, speeds[0].LapsNeeded.Set)
			continue
		}
		found++
		require.Equal(t, want, int64(speeds[0].LapsNeeded.Value))
	}
	require.Greater(t, found, 100)
	t.Log(exactly, "reach it exactly")
}
