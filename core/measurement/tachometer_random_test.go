package measurement_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	. "linepace.example/core/measurement"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Whatever passes validation gets finite numbers, a verdict that its own limits bear
// out, shares that add up, and remedies that decide.
func TestRandomTachometerChecks(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 14253))
	verdicts := map[Conformity]int{}
	remedies := 0
	for range 5000 {
		d := conveyor()
		d.Motor.Regulation.Percent = scaling.Some(math.Pow(10, -2+3*random.Float64()))
		k := randomCheck(random, &d)
		var faults fault.List
		k.Validate(&faults)
		require.Empty(t, faults)
		out, _ := check(&k)
		b := &out.Budget
		shares, squares := 0.0, 0.0
		for _, l := range b.Lines[:b.Count] {
			shares += l.SharePercent
			squares += l.Standard * l.Standard
		}
		require.InDelta(t, 100, shares, 1e-9)
		require.InEpsilon(t, math.Sqrt(squares), b.Standard, 1e-12)
		require.GreaterOrEqual(t, b.Dof, float64(max(1, len(k.Readings)-1)))
		l := out.Limits.Value
		require.GreaterOrEqual(t, l.GuardFactor, 1.65)
		verdicts[l.Verdict]++
		switch l.Verdict {
		case ConformanceProven:
			require.True(t, out.Mean-l.Low >= 1.65*b.Standard && l.High-out.Mean >= 1.65*b.Standard)
		case NonconformanceProven:
			require.True(t, l.Low-out.Mean > 1.65*b.Standard || out.Mean-l.High > 1.65*b.Standard)
		}
		for _, r := range out.Remedies[:out.RemedyCount] {
			remedies++
			require.True(t, r.Value > 0 && !math.IsInf(r.Value, 0), "%+v", r)
			require.NotEmpty(t, r.Text(&k))
			again := mended(&k, &r)
			if again == nil {
				continue
			}
			after, _ := check(again)
			require.NotEqual(t, NeitherProven, after.Limits.Value.Verdict, "remedy %+v of %+v", r, k)
		}
		for _, step := range k.Working(&out) {
			require.False(t, math.IsNaN(step.Result.Value) || math.IsInf(step.Result.Value, 0), "%s", step.ID)
		}
	}
	for _, v := range []Conformity{ConformanceProven, NonconformanceProven, NeitherProven} {
		require.Greater(t, verdicts[v], 200, "%v", verdicts)
	}
	require.Greater(t, remedies, 300)
}

func randomCheck(random *rand.Rand, d *scaling.Drive) TachometerCheck {
	mean := 1000 * (1 + 0.02*random.NormFloat64())
	readings := make([]float64, 1+random.IntN(6))
	for i := range readings {
		readings[i] = mean * (1 + 0.001*random.Float64()*random.NormFloat64())
	}
	k := atMotor(d, readings...)
	k.CoveragePercent = 50 + 49.9*random.Float64()
	k.Tachometer.ExpandedPercent.Value = math.Pow(10, -3+3*random.Float64())
	if random.IntN(2) == 0 {
		k.Tachometer.Gate, k.Tachometer.Marks = quantity(math.Pow(10, random.Float64()), "s"), int32(1+random.IntN(100))
	}
	if random.IntN(2) == 0 {
		k.Tachometer.Resolution = units.Quantity{}
	}
	return k
}

// mended is the check as a remedy would have it, or nil for more readings, whose scatter
// would have to be made up.
func mended(k *TachometerCheck, r *Remedy) *TachometerCheck {
	out := *k
	switch r.Kind {
	case LongerGate:
		out.Tachometer.Gate.Value = r.Value * (1 + 1e-6)
	case MoreMarks:
		out.Tachometer.Marks = int32(r.Value)
	case BetterCertificate:
		out.Tachometer.ExpandedPercent.Value = r.Value * (1 - 1e-6)
		if out.Tachometer.ExpandedPercent.Value < 1e-6 {
			return nil
		}
	case MoreReadings:
		return nil
	}
	return &out
}
