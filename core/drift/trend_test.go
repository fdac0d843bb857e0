package drift_test

import (
	"cmp"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"linepace.example/core/drift"
	"linepace.example/core/statistics"
)

// Sen (1968). The ends of the interval are 26/7 and 35/8, printed as 3.71 and 4.38.
func TestSen(t *testing.T) {
	x, y := []float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}
	l, err := drift.TheilSenLine(x, y, 0.93, nil)
	require.NoError(t, err)
	require.Equal(t, drift.TheilSen{
		Count: 7, Pairs: 21, Slope: 4, Low: 26.0 / 7, High: 35.0 / 8, LowRank: 4, Bounded: true, Intercept: 6, SeparateIntercept: 4,
	}, l)
}

// scipy 1.10.1, test_mstats_basic.py: the two conventions for the intercept.
func TestTinyTheilSen(t *testing.T) {
	l, err := drift.TheilSenLine([]float64{0, 1, 2}, []float64{0, 1, 1}, 0.95, nil)
	require.NoError(t, err)
	require.Equal(t, drift.TheilSen{Count: 3, Pairs: 3, Slope: 0.5, Intercept: 0, SeparateIntercept: 0.5}, l)
}

// Computed with scipy 1.10.1 and by hand: 50/3 and 196/3.
func TestSmallMannKendall(t *testing.T) {
	m, err := drift.MannKendallTest([]float64{1, 2, 3, 4, 5}, []float64{1, 2, 3, 4, 5}, nil)
	require.NoError(t, err)
	require.Equal(t, int64(10), m.S)
	require.InEpsilon(t, 50.0/3, m.Variance, 1e-15)
	require.InEpsilon(t, 2.2045407685048604, m.Z, 1e-12)
	require.InEpsilon(t, 0.02748633611151033, m.P, 1e-12)
	require.InEpsilon(t, 2.0/120, m.ExactP, 1e-14) // two orders of 5!
	require.Equal(t, 1.0, m.Tau)

	x, y := []float64{1, 2, 3, 4, 5, 6, 7, 8}, []float64{10, 9.7, 9.9, 9.5, 9.6, 9.2, 9.3, 9.0}
	m, err = drift.MannKendallTest(x, y, nil)
	require.NoError(t, err)
	require.Equal(t, int64(-22), m.S)
	require.InEpsilon(t, 196.0/3, m.Variance, 1e-15)
	require.InEpsilon(t, -2.598076211353316, m.Z, 1e-12)
	require.InEpsilon(t, 0.009374768459434876, m.P, 1e-12)
	l, err := drift.TheilSenLine(x, y, 0.95, nil)
	require.NoError(t, err)
	require.InEpsilon(t, -0.13392857142857142, l.Slope, 1e-12)
}

// M. Hollander and D. A. Wolfe, lightness and quality of canned tuna, from R 4.2.2
// help(cor.test): tau 0.4444, one-sided p 0.05972; scipy 1.10.1 gives the digits.
func TestExactKendall(t *testing.T) {
	x := []float64{44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1}
	y := []float64{2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8}
	m, err := drift.MannKendallTest(x, y, nil)
	require.NoError(t, err)
	require.InEpsilon(t, 4.0/9, m.Tau, 1e-15)
	require.True(t, m.HasExactP)
	require.InEpsilon(t, 0.11943893298059964, m.ExactP, 1e-13)
}

// shapes makes points of many kinds: scattered, on grids, on stairs, repeated, with
// huge offsets and far outliers.
var shapes = map[string]func(r *rand.Rand, n int) (x, y []float64){
	"scattered": func(r *rand.Rand, n int) (x, y []float64) {
		for range n {
			x = append(x, r.NormFloat64())
			y = append(y, x[len(x)-1]+r.NormFloat64())
		}
		return
	},
	"year": func(r *rand.Rand, n int) (x, y []float64) {
		turns := 0.0
		for range n {
			turns += 30 * (1400 + 40*r.Float64())
			x, y = append(x, turns), append(y, 100-1e-9*turns+0.3*r.NormFloat64())
		}
		return
	},
	"grid": func(r *rand.Rand, n int) (x, y []float64) {
		for range n {
			x, y = append(x, float64(r.IntN(n/3+2))), append(y, float64(r.IntN(4)))
		}
		return
	},
	"stairs": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			x, y = append(x, float64(i)), append(y, math.Floor(float64(i)/3))
		}
		return
	},
	"decimal stairs": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			x, y = append(x, 0.1*float64(i)), append(y, 0.7*math.Floor(float64(i)/7)+0.1*float64(r.IntN(2)))
		}
		return
	},
	"line": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			x, y = append(x, 0.3*float64(i)), append(y, 1e6-0.1*float64(i))
		}
		return
	},
	"flat": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			x, y = append(x, float64(i/2)), append(y, 7)
		}
		return
	},
	"few x": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			x, y = append(x, float64(i%2)), append(y, r.Float64())
		}
		return
	},
	"pulses": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			x, y = append(x, 1700.5*float64(i)), append(y, math.Round(4000*(1-1e-4*float64(i)/float64(n))+r.NormFloat64())/4000)
		}
		return
	},
	"outliers": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			v := r.NormFloat64()
			if r.IntN(10) == 0 {
				v *= 1e12
			}
			x, y = append(x, 1e9+float64(i)), append(y, 1e9+v)
		}
		return
	},
	"far from zero": func(r *rand.Rand, n int) (x, y []float64) {
		for i := range n {
			x, y = append(x, 1e9+float64(i)/16), append(y, 1e6+1e-4*r.NormFloat64())
		}
		return
	},
	"magnitudes": func(r *rand.Rand, n int) (x, y []float64) {
		for range n {
			x = append(x, math.Ldexp(r.Float64()-0.5, r.IntN(300)-150))
			y = append(y, math.Ldexp(r.Float64()-0.5, r.IntN(300)-150))
		}
		return
	},
}

// bruteSlopes returns every slope in ascending order, each the exact quotient of the
// exact differences, rounded once.
func bruteSlopes(x, y []float64) []float64 {
	rx, ry := make([]*big.Rat, len(x)), make([]*big.Rat, len(x))
	for i := range x {
		rx[i], ry[i] = new(big.Rat).SetFloat64(x[i]), new(big.Rat).SetFloat64(y[i])
	}
	var slopes []float64
	dx, dy := new(big.Rat), new(big.Rat)
	for j := range x {
		for i := range j {
			if x[i] != x[j] {
				f, _ := dy.Quo(dy.Sub(ry[j], ry[i]), dx.Sub(rx[j], rx[i])).Float64()
				slopes = append(slopes, f)
			}
		}
	}
	slices.Sort(slopes)
	return slopes
}

func bruteS(x, y []float64) (s int64) {
	for j := range x {
		for i := range j {
			s += int64(cmp.Compare(x[j], x[i]) * cmp.Compare(y[j], y[i]))
		}
	}
	return s
}

// The O(n log n) results are those of looking at every pair, bit for bit.
func TestTrendAgainstEveryPair(t *testing.T) {
	for name, shape := range shapes {
		t.Run(name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(13, 14))
			for _, n := range []int{3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 17, 30, 31, 60, 100, 101, 240, 241, 420} {
				x, y := shape(r, n)
				r.Shuffle(n, func(i, j int) { x[i], x[j], y[i], y[j] = x[j], x[i], y[j], y[i] })
				if slices.Min(x) == slices.Max(x) {
					continue
				}
				l, err := drift.TheilSenLine(x, y, 0.9, nil)
				require.NoError(t, err)
				slopes := bruteSlopes(x, y)
				pairs := len(slopes)
				require.Equal(t, int64(pairs), l.Pairs)
				require.Equal(t, slopes[(pairs-1)/2]/2+slopes[pairs/2]/2, l.Slope, n)
				if l.Bounded {
					require.Equal(t, slopes[l.LowRank-1], l.Low, n)
					require.Equal(t, slopes[pairs-int(l.LowRank)], l.High, n)
				}
				rest := make([]float64, n)
				for i := range x {
					rest[i] = y[i] - float64(l.Slope*x[i])
				}
				median, err := statistics.Median(rest)
				require.NoError(t, err)
				require.InDelta(t, median, l.Intercept, 1e-15*math.Abs(median))

				m, err := drift.MannKendallTest(x, y, nil)
				require.NoError(t, err)
				require.Equal(t, bruteS(x, y), m.S)
				if name == "scattered" { // gonum takes a tie for a fall
					require.InDelta(t, stat.Kendall(x, y, nil), m.Tau, 1e-12)
				}
			}
		})
	}
}

// Many points, few different slopes: integers, whose slopes are right in float64.
func TestManyEqualSlopes(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	const n = 1500
	for name, f := range map[string]func(i int) float64{
		"third":  func(i int) float64 { return math.Floor(float64(i) / 3) },
		"levels": func(i int) float64 { return float64(r.IntN(3)) },
		"step":   func(i int) float64 { return float64(2 * i / n) },
		"noise":  func(i int) float64 { return float64(i/10 + r.IntN(20)) },
	} {
		x, y := make([]float64, n), make([]float64, n)
		var slopes []float64
		for j := range x {
			x[j], y[j] = float64(j), f(j)
			for i := range j {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
		slices.Sort(slopes)
		l, err := drift.TheilSenLine(x, y, 0.95, nil)
		require.NoError(t, err)
		require.Equal(t, slopes[len(slopes)/2-1]/2+slopes[len(slopes)/2]/2, l.Slope, name)
		require.Equal(t, slopes[l.LowRank-1], l.Low, name)
		require.Equal(t, slopes[len(slopes)-int(l.LowRank)], l.High, name)
	}
}

// Points may be the same many times over.
func TestRepeatedPoints(t *testing.T) {
	var x, y, fewX, fewY []float64
	for i := range 6 {
		fewX, fewY = append(fewX, 0.1*float64(i)), append(fewY, 0.7*float64(i*i%7)+0.1)
		for range 700 {
			x, y = append(x, fewX[i]), append(y, fewY[i])
		}
	}
	l, err := drift.TheilSenLine(x, y, 0.95, nil)
	require.NoError(t, err)
	slopes := bruteSlopes(fewX, fewY) // each of them 700² times
	require.NotZero(t, l.Slope)
	require.Equal(t, slopes[len(slopes)/2], l.Slope)
	require.Equal(t, int64(len(slopes)*700*700), l.Pairs)
	require.Equal(t, slopes[(l.LowRank-1)/(700*700)], l.Low)
	require.Equal(t, slopes[(l.Pairs-l.LowRank)/(700*700)], l.High)
}

// The variance with ties is that of S over all orders of y.
func TestVarianceWithTies(t *testing.T) {
	x, y := []float64{1, 1, 2, 3, 3, 3}, []float64{5, 2, 2, 2, 7, 7}
	var total, squares, count float64
	var permute func(k int)
	permute = func(k int) {
		if k == len(y) {
			s := float64(bruteS(x, y))
			total, squares, count = total+s, squares+s*s, count+1
			return
		}
		for i := k; i < len(y); i++ {
			y[k], y[i] = y[i], y[k]
			permute(k + 1)
			y[k], y[i] = y[i], y[k]
		}
	}
	m, err := drift.MannKendallTest(x, y, nil)
	require.NoError(t, err)
	permute(0)
	require.Zero(t, total)
	require.InEpsilon(t, squares/count, m.Variance, 1e-14)
	require.False(t, m.HasExactP)
}

// The exact probability is the share of orders whose S is at least as far from zero.
func TestExactPAgainstAllOrders(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7}
	for _, y := range [][]float64{{1, 2, 3, 4, 5, 6, 7}, {2, 1, 3, 4, 7, 6, 5}, {7, 5, 6, 3, 4, 1, 2}, {4, 1, 6, 2, 7, 3, 5}} {
		m, err := drift.MannKendallTest(x, y, nil)
		require.NoError(t, err)
		far, count := 0.0, 0.0
		order := slices.Clone(x)
		var permute func(k int)
		permute = func(k int) {
			if k == len(order) {
				count++
				if s := bruteS(x, order); max(s, -s) >= max(m.S, -m.S) {
					far++
				}
				return
			}
			for i := k; i < len(order); i++ {
				order[k], order[i] = order[i], order[k]
				permute(k + 1)
				order[k], order[i] = order[i], order[k]
			}
		}
		permute(0)
		require.InEpsilon(t, far/count, m.ExactP, 1e-13)
	}
}

// The interval covers the true slope as often as it says.
func TestTheilSenCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 18))
	covered := 0
	const trials = 2000
	for range trials {
		var x, y []float64
		for i := range 25 {
			x, y = append(x, float64(i)), append(y, 0.3*float64(i)+r.NormFloat64())
		}
		l, err := drift.TheilSenLine(x, y, 0.9, nil)
		require.NoError(t, err)
		if l.Low <= 0.3 && 0.3 <= l.High {
			covered++
		}
	}
	require.InDelta(t, 0.9, float64(covered)/trials, 0.025)
}

func TestTrendDomains(t *testing.T) {
	good := []float64{1, 2, 3}
	for _, do := range []func(x, y []float64) error{
		func(x, y []float64) error { _, err := drift.TheilSenLine(x, y, 0.95, nil); return err },
		func(x, y []float64) error { _, err := drift.MannKendallTest(x, y, nil); return err },
	} {
		var few *statistics.TooFewError
		require.ErrorAs(t, do(good[:1], good[:1]), &few)
		var length *statistics.LengthError
		require.ErrorAs(t, do(good, good[:2]), &length)
		var spread *statistics.NoSpreadError
		require.ErrorAs(t, do([]float64{4, 4, 4}, good), &spread)
		var domain *statistics.DomainError
		for _, bad := range []float64{math.NaN(), math.Inf(1), 1e61, 1e-61} {
			require.ErrorAs(t, do([]float64{1, bad, 3}, good), &domain)
			require.Equal(t, 1, domain.Index)
			require.ErrorAs(t, do(good, []float64{1, 2, bad}), &domain)
			require.Equal(t, 2, domain.Index)
		}
	}
	_, err := drift.TheilSenLine(good, good, 1, nil)
	require.Error(t, err)
	x, y := []float64{3, 1, 2}, []float64{1, 2, 9}
	_, err = drift.TheilSenLine(x, y, 0.95, nil)
	require.NoError(t, err)
	_, err = drift.MannKendallTest(x, y, nil)
	require.NoError(t, err)
	require.Equal(t, [][]float64{{3, 1, 2}, {1, 2, 9}}, [][]float64{x, y})
}

// A stop function ends both, whenever it says so.
func TestTrendStops(t *testing.T) {
	x, y := shapes["scattered"](rand.New(rand.NewPCG(19, 20)), 5000)
	for _, do := range []func(stop drift.Stop) error{
		func(stop drift.Stop) error { _, err := drift.TheilSenLine(x, y, 0.95, stop); return err },
		func(stop drift.Stop) error { _, err := drift.MannKendallTest(x, y, stop); return err },
	} {
		asked := 0
		require.NoError(t, do(func() bool { asked++; return false }))
		require.Greater(t, asked, 5)
		for after := range asked {
			left := after
			require.ErrorIs(t, do(func() bool { left--; return left < 0 }), drift.ErrStopped)
		}
	}
}

func BenchmarkTrend(b *testing.B) {
	for _, n := range []int{1000, 10000, 100000, 1000000} {
		for name, shape := range shapes {
			b.Run(fmt.Sprint(name, "/", n), func(b *testing.B) {
				x, y := shape(rand.New(rand.NewPCG(21, 22)), n)
				b.ResetTimer()
				b.ReportAllocs()
				for range b.N {
					l, err := drift.TheilSenLine(x, y, 0.95, nil)
					if err != nil {
						b.Fatal(err)
					}
					sink += l.Slope
				}
			})
		}
	}
}

func BenchmarkMannKendall(b *testing.B) {
	x, y := shapes["pulses"](rand.New(rand.NewPCG(21, 22)), 1000000)
	b.ReportAllocs()
	for range b.N {
		m, err := drift.MannKendallTest(x, y, nil)
		if err != nil {
			b.Fatal(err)
		}
		sink += m.P
	}
}
