package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every rank of many small sets is found, with limits so small that the sets go all the
// ways that large ones go: samples, cuts, splits of equal slopes, runs of equal residuals.
func TestEveryRank(t *testing.T) {
	r := rand.New(rand.NewPCG(61, 62))
	value := []func(i int) (x, y float64){
		func(int) (x, y float64) { return r.NormFloat64(), r.NormFloat64() },
		func(i int) (x, y float64) { return float64(i), math.Floor(float64(i) / 3) },
		func(i int) (x, y float64) { return 0.1 * float64(i), 0.7*float64(i/4) + 0.1*float64(r.IntN(2)) },
		func(int) (x, y float64) { return float64(r.IntN(6)), float64(r.IntN(3)) },
		func(int) (x, y float64) { return 0.1 * float64(r.IntN(4)), 0.7*float64(r.IntN(3)) + 0.1 },
		func(i int) (x, y float64) { return 1e9 + float64(i)/16, 1e6 + 1e-4*r.NormFloat64() },
		func(int) (x, y float64) {
			return math.Ldexp(r.Float64()-0.5, r.IntN(200)-100), math.Ldexp(1, r.IntN(200)-100)
		},
		// Slopes halfway between two float64.
		func(int) (x, y float64) {
			return float64(r.IntN(3)), []float64{-1, 0, 1, 0x1p53, 0x1p53 + 2, 0x1p53 + 4}[r.IntN(6)]
		},
	}
	for round := range 800 {
		n := 3 + r.IntN(40)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = value[round%len(value)](i)
		}
		x[0]++ // not all the same
		sortedX, sortedY, err := sortedPoints("", x, y)
		require.NoError(t, err)
		s := newSelector(sortedX, sortedY, nil)
		s.few, s.short = int64(n), 2+r.IntN(8)
		var slopes []float64
		for j := range n {
			for i := range j {
				if sortedX[i] < sortedX[j] {
					slopes = append(slopes, exactSlope(point{sortedX[i], sortedY[i]}, point{sortedX[j], sortedY[j]}))
				}
			}
		}
		slices.Sort(slopes)
		low, high := s.ends()
		require.Equal(t, int64(len(slopes)), high.count)
		var ranks []int64
		for k := range slopes {
			if r.IntN(4) == 0 || k == 0 || k == len(slopes)-1 {
				ranks = append(ranks, int64(k+1))
			}
		}
		require.True(t, s.find(low, high, ranks))
		for _, k := range ranks {
			require.Equal(t, slopes[k-1], s.found[k], "rank %d of %d, round %d", k, len(slopes), round)
		}
	}
}
