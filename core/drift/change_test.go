package drift_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/drift"
	"linepace.example/core/statistics"
)

func upTo(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i)
	}
	return x
}

// The annual flow of the Nile at Aswan, 1871 to 1970 (G. W. Cobb, Biometrika 65,
// 1978; from memory). It dropped after 1898, from a mean of 1097.75 to 849.97 (100 million m³).
func TestNile(t *testing.T) {
	flow := []float64{
		1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260,
		1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821,
		768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801,
		1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
	}
	c, err := drift.FindChange(upTo(len(flow)), flow, nil)
	require.NoError(t, err)
	require.Equal(t, drift.Step, c.Kind)
	require.Equal(t, 1899, 1871+c.At)
	require.InDelta(t, 1097.75, c.Before.Value, 1e-9)
	require.InDelta(t, 849.9722, c.After.Value, 1e-4)
	require.LessOrEqual(t, 1871+c.Low, 1897) // Cobb's interval is a few years wide
	require.LessOrEqual(t, 1871+c.High, 1902)
	require.Greater(t, c.StepOverRamp, 6.0)
}

// NIST/SEMATECH e-Handbook 6.3.2.3 (from memory): the level rose at reading 13.
func TestHandbookChange(t *testing.T) {
	var x, y []float64
	for i, row := range table(t, "cusum_nist_pmc323.csv") {
		x, y = append(x, float64(i)), append(y, number(t, row[1]))
	}
	c, err := drift.FindChange(x, y, nil)
	require.NoError(t, err)
	require.Equal(t, drift.Step, c.Kind)
	require.Equal(t, 13, c.At+1)
}

// The place and the values of the best step and ramp are those of fitting every one
// of them anew.
func TestChangeAgainstEveryFit(t *testing.T) {
	r := rand.New(rand.NewPCG(23, 24))
	kinds := map[drift.ChangeKind]int{}
	for range 400 {
		n := 6 + r.IntN(40)
		x, y, w := make([]float64, n), make([]float64, n), make([]float64, n)
		at, step, ramp := r.IntN(n), 6*float64(r.IntN(2)), 0.5*float64(r.IntN(2))
		for i := range x {
			x[i] = 3*float64(i) + r.Float64()
			y[i], w[i] = 1e3+r.NormFloat64(), 0.5+r.Float64()
			if i >= at {
				y[i] += step + ramp*(x[i]-x[at])
			}
		}
		c, err := drift.FindChange(x, y, w)
		require.NoError(t, err)
		kinds[c.Kind]++

		sse := func(model []float64) (float64, statistics.Line) {
			if slices.Min(model) == slices.Max(model) {
				return math.Inf(1), statistics.Line{}
			}
			l, err := statistics.FitLineWeighted(model, y, w)
			require.NoError(t, err)
			return l.SSE, l
		}
		bestStep, bestRamp := math.Inf(1), math.Inf(1)
		stepAt, rampAt := 0, 0
		var stepLine, rampLine statistics.Line
		for k := range n {
			jump, hinge := make([]float64, n), make([]float64, n)
			for i := range x {
				if i >= k {
					jump[i] = 1
				}
				hinge[i] = max(0, x[i]-x[k])
			}
			if e, l := sse(jump); k >= 2 && k <= n-2 && e < bestStep {
				bestStep, stepAt, stepLine = e, k, l
			}
			if e, l := sse(hinge); k <= n-3 && e < bestRamp {
				bestRamp, rampAt, rampLine = e, k, l
			}
		}
		size := float64(n)
		require.InDelta(t, (size-3)*math.Log(bestRamp/bestStep), c.StepOverRamp, 1e-6)
		switch c.Kind {
		case drift.Step:
			require.Equal(t, stepAt, c.At)
			require.InDelta(t, stepLine.Intercept, c.Before.Value, 1e-9)
			require.InDelta(t, stepLine.At(1), c.After.Value, 1e-9)
			require.InEpsilon(t, math.Sqrt(bestStep/(size-3)), c.ResidualSD, 1e-8)
			require.InEpsilon(t, stepLine.InterceptU/stepLine.ResidualSD, c.Before.U/c.ResidualSD, 1e-8)
			require.InEpsilon(t, stepLine.AtU(1)/stepLine.ResidualSD, c.After.U/c.ResidualSD, 1e-8)
		case drift.Ramp:
			require.Equal(t, rampAt, c.At)
			require.InDelta(t, rampLine.Intercept, c.Before.Value, 1e-9)
			require.InDelta(t, rampLine.Slope, c.Slope.Value, 1e-9)
			require.InEpsilon(t, rampLine.SlopeU/rampLine.ResidualSD, c.Slope.U/c.ResidualSD, 1e-8)
			require.InEpsilon(t, rampLine.InterceptU/rampLine.ResidualSD, c.Before.U/c.ResidualSD, 1e-8)
		default:
			require.LessOrEqual(t, max(c.Step, c.Ramp), 0.0)
		}
		if c.Kind != drift.NoChange {
			require.LessOrEqual(t, c.Low, c.At)
			require.GreaterOrEqual(t, c.High, c.At)
		}
	}
	require.Greater(t, min(kinds[drift.NoChange], kinds[drift.Step], kinds[drift.Ramp]), 40, kinds)
}

// Of readings without a change few are told to have one; steps and ramps are told
// apart, and their interval holds the place about as often as it says.
func TestChangeSimulated(t *testing.T) {
	r := rand.New(rand.NewPCG(25, 26))
	for _, n := range []int{20, 60, 300} {
		const trials = 500
		var wrong, steps, ramps, stepHeld, rampHeld int
		for range trials {
			x, flat, step, ramp := upTo(n), make([]float64, n), make([]float64, n), make([]float64, n)
			at := n/4 + r.IntN(n/3)
			for i := range x {
				flat[i] = r.NormFloat64()
				step[i], ramp[i] = flat[i], flat[i]
				if i >= at {
					step[i] += 3
					ramp[i] += 15 * float64(i-at) / float64(n)
				}
			}
			c, err := drift.FindChange(x, flat, nil)
			require.NoError(t, err)
			if c.Kind != drift.NoChange {
				wrong++
			}
			c, err = drift.FindChange(x, step, nil)
			require.NoError(t, err)
			if c.Kind == drift.Step {
				steps++
				if c.Low <= at && at <= c.High {
					stepHeld++
				}
			}
			c, err = drift.FindChange(x, ramp, nil)
			require.NoError(t, err)
			if c.Kind == drift.Ramp {
				ramps++
				if c.Low <= at && at <= c.High {
					rampHeld++
				}
			}
		}
		t.Logf("n %d: false %d, steps %d (held %d), ramps %d (held %d) of %d", n, wrong, steps, stepHeld, ramps, rampHeld, trials)
		require.Less(t, wrong, trials/20)
		require.Greater(t, steps, trials*85/100)
		require.Greater(t, ramps, trials*85/100)
		require.Greater(t, stepHeld, steps*93/100)
		require.Greater(t, rampHeld, ramps*90/100)
	}
}

// A step as small as the scatter has a wide interval, which holds its place about as
// often as it says.
func TestPlaceOfSmallStep(t *testing.T) {
	r := rand.New(rand.NewPCG(45, 46))
	const n, at, trials = 200, 90, 1000
	found, held := 0, 0
	for range trials {
		y := make([]float64, n)
		for i := range y {
			y[i] = r.NormFloat64()
			if i >= at {
				y[i]++
			}
		}
		c, err := drift.FindChange(upTo(n), y, nil)
		require.NoError(t, err)
		if c.Kind == drift.Step {
			found++
			if c.Low <= at && at <= c.High {
				held++
			}
		}
	}
	require.Greater(t, found, trials*8/10)
	t.Logf("held %d of %d", held, found)
	require.Greater(t, held, found*94/100)
	require.Less(t, held, found*99/100)
}

// Readings without scatter are no trouble.
func TestExactChanges(t *testing.T) {
	x := upTo(10)
	c, err := drift.FindChange(x, []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1}, nil)
	require.NoError(t, err)
	require.Equal(t, drift.NoChange, c.Kind)
	require.InDelta(t, 0.1, c.Before.Value, 1e-16)
	c, err = drift.FindChange(x, []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.2, 0.2, 0.2, 0.2, 0.2}, nil)
	require.NoError(t, err)
	require.Equal(t, drift.Step, c.Kind)
	require.Equal(t, [3]int{5, 5, 5}, [3]int{c.At, c.Low, c.High})
	c, err = drift.FindChange(x, []float64{0.1, 0.1, 0.1, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7}, nil)
	require.NoError(t, err)
	require.Equal(t, drift.Ramp, c.Kind)
	require.Equal(t, [3]int{3, 3, 3}, [3]int{c.At, c.Low, c.High})
	require.InDelta(t, 0.1, c.Slope.Value, 1e-14)
	c, err = drift.FindChange(x, []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, nil)
	require.NoError(t, err)
	require.Equal(t, drift.Ramp, c.Kind)
	require.Equal(t, 0, c.At)
}

func TestChangeDomains(t *testing.T) {
	good := upTo(6)
	var few *statistics.TooFewError
	_, err := drift.FindChange(good[:5], good[:5], nil)
	require.ErrorAs(t, err, &few)
	require.Equal(t, 6, few.Need)
	var length *statistics.LengthError
	_, err = drift.FindChange(good, good[:5], nil)
	require.ErrorAs(t, err, &length)
	_, err = drift.FindChange(good, good, good[:5])
	require.ErrorAs(t, err, &length)
	var domain *statistics.DomainError
	for _, bad := range [][3][]float64{
		{{0, 1, 2, 2, 4, 5}, good, nil}, {{0, 1, 2, 1.5, 4, 5}, good, nil}, {{0, 1, 2, math.NaN(), 4, 5}, good, nil},
		{good, {0, 1, 2, math.Inf(1), 4, 5}, nil}, {good, good, {1, 1, 1, 0, 1, 1}}, {good, good, {1, 1, 1, math.NaN(), 1, 1}},
	} {
		_, err = drift.FindChange(bad[0], bad[1], bad[2])
		require.ErrorAs(t, err, &domain)
		require.Equal(t, 3, domain.Index)
	}
}

func TestNamedSteps(t *testing.T) {
	name := func(factor, u float64, teeth ...int32) []drift.StepName {
		t.Helper()
		names, err := drift.NameStep(statistics.Value{Value: factor, U: u}, teeth, 2)
		require.NoError(t, err)
		return names
	}
	require.Equal(t, drift.Doubled, name(2.003, 0.002, 15, 38)[0].Cause)
	require.Equal(t, drift.Halved, name(0.4995, 0.001, 15, 38)[0].Cause)
	// A 15-tooth driver wheel taken for 16, and a driven 38 for 37.
	got := name(16.0/15+0.0005, 0.001, 15, 38)
	require.Len(t, got, 1)
	require.Equal(t, drift.StepName{Cause: drift.ToothMore, Teeth: 15, Factor: 16.0 / 15, Off: got[0].Off}, got[0])
	require.InDelta(t, 0.5, got[0].Off, 1e-9)
	got = name(38.0/37, 0.0002, 15, 38)
	require.Equal(t, []drift.StepName{{Cause: drift.ToothLess, Teeth: 38, Driven: true, Factor: 38.0 / 37}}, got)
	// An uncertain step agrees with several, the nearest first.
	got = name(1.026, 0.01, 38)
	require.Len(t, got, 2)
	require.Less(t, got[0].Off, got[1].Off)
	require.Empty(t, name(1.001, 0.001, 38))
	require.Empty(t, name(1.3, 0.01, 38))
	require.Empty(t, name(3, 0.01))

	var domain *statistics.DomainError
	for _, v := range []statistics.Value{{Value: 0, U: 1}, {Value: math.NaN(), U: 1}, {Value: 2, U: 0}, {Value: 2, U: math.NaN()}} {
		_, err := drift.NameStep(v, nil, 2)
		require.ErrorAs(t, err, &domain)
	}
	_, err := drift.NameStep(statistics.Value{Value: 2, U: 1}, []int32{20, 1}, 2)
	require.ErrorAs(t, err, &domain)
	require.Equal(t, 1, domain.Index)
	_, err = drift.NameStep(statistics.Value{Value: 2, U: 1}, nil, 0)
	require.ErrorAs(t, err, &domain)
}

func BenchmarkFindChange(b *testing.B) {
	x, y := shapes["year"](rand.New(rand.NewPCG(27, 28)), 1000000)
	for range b.N {
		c, err := drift.FindChange(x, y, nil)
		if err != nil {
			b.Fatal(err)
		}
		sink += c.Step
	}
}
