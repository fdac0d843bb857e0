package statistics_test

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/statistics"
)

func runningOf(x []float64) (r statistics.Running) {
	for _, v := range x {
		r = r.Add(v)
	}
	return r
}

func runningLine(x, y, w []float64) (r statistics.RunningLine) {
	for i := range x {
		weight := 1.0
		if w != nil {
			weight = w[i]
		}
		r = r.Add(x[i], y[i], weight)
	}
	return r
}

// NIST StRD NumAcc1, NumAcc3 and Michelso, one value after the other.
func TestRunningUnivariate(t *testing.T) {
	s, err := runningOf([]float64{10000001, 10000003, 10000002}).Summary()
	require.NoError(t, err)
	require.Equal(t, statistics.Summary{Count: 3, Mean: 10000002, SD: 1, Min: 10000001, Max: 10000003, Lag1: -0.5}, s)
	x := []float64{1000000.2}
	for range 500 {
		x = append(x, 1000000.1, 1000000.3)
	}
	s, err = runningOf(x).Summary()
	require.NoError(t, err)
	close(t, 0.1, s.SD, 1e-8)
	close(t, -0.999, s.Lag1, 1e-8)
	s, err = runningOf(columns(t, "michelso.csv")[0]).Summary()
	require.NoError(t, err)
	close(t, 299.8524, s.Mean, 1e-14)
	close(t, 0.0790105478190518, s.SD, 1e-11)
	close(t, 0.535199668621283, s.Lag1, 1e-10)
}

// NIST StRD Norris, one point after the other.
func TestRunningNorris(t *testing.T) {
	data := columns(t, "norris.csv")
	l, err := runningLine(data[1], data[0], nil).Line()
	require.NoError(t, err)
	const digits = 1e-11
	close(t, -0.262323073774029, l.Intercept, digits)
	close(t, 0.232818234301152, l.InterceptU, digits)
	close(t, 1.00211681802045, l.Slope, digits)
	close(t, 0.429796848199937e-03, l.SlopeU, digits)
	close(t, 0.884796396144373, l.ResidualSD, digits)
	close(t, 26.6173985294224, l.SSE, digits)
	close(t, 0.999993745883712, exists(l.R2()), digits)
}

// The same as all at once, at every length, wherever the level and however close the fit.
func TestRunningAgainstAllAtOnce(t *testing.T) {
	r := rand.New(rand.NewPCG(41, 42))
	for range 60 {
		x, y, w := randomPoints(r, 40, 1, math.Pow(10, float64(-r.IntN(6))))
		level := 1e4 * r.Float64()
		for i := range y {
			y[i] += level
			if r.IntN(3) == 0 {
				x[i] = math.Round(x[i])
			}
		}
		for n := 3; n <= len(x); n++ {
			want, err := statistics.FitLineWeighted(x[:n], y[:n], w[:n])
			require.NoError(t, err)
			got, err := runningLine(x[:n], y[:n], w[:n]).Line()
			require.NoError(t, err)
			close(t, want.Slope, got.Slope, 1e-9)
			close(t, want.At(5), got.At(5), 1e-12)
			if n > 3 {
				close(t, want.SSE, got.SSE, 1e-5)
				close(t, want.AtU(12), got.AtU(12), 1e-5)
			}
			all, err := statistics.Summarise(y[:n])
			require.NoError(t, err)
			one, err := runningOf(y[:n]).Summary()
			require.NoError(t, err)
			close(t, all.Mean, one.Mean, 1e-14)
			close(t, all.SD, one.SD, 1e-9)
			require.InDelta(t, all.Lag1, one.Lag1, 1e-8)
			require.Equal(t, [3]float64{float64(n), all.Min, all.Max}, [3]float64{float64(one.Count), one.Min, one.Max})
		}
	}
}

// Points at one x first, and nothing but those.
func TestRunningLineAtOneX(t *testing.T) {
	x, y, w := []float64{2, 2, 2, 5, 5, 7}, []float64{1, 2, 4, 3, 6, 9}, []float64{1, 2, 1, 1, 3, 1}
	want, err := statistics.FitLineWeighted(x, y, w)
	require.NoError(t, err)
	got, err := runningLine(x, y, w).Line()
	require.NoError(t, err)
	close(t, want.SSE, got.SSE, 1e-14)
	close(t, want.Slope, got.Slope, 1e-14)
	var spread *statistics.NoSpreadError
	_, err = runningLine(x[:3], y[:3], w[:3]).Line()
	require.ErrorAs(t, err, &spread)
	var few *statistics.TooFewError
	_, err = runningLine(x[3:5], y[3:5], nil).Line()
	require.ErrorAs(t, err, &few)
	_, err = runningOf(x[:1]).Summary()
	require.ErrorAs(t, err, &few)
	s, err := runningOf([]float64{0.1, 0.1, 0.1}).Summary()
	require.NoError(t, err)
	require.Equal(t, statistics.Summary{Count: 3, Mean: 0.1, Min: 0.1, Max: 0.1}, s)
}

// As TestBits.
func TestRunningBits(t *testing.T) {
	h := fnv.New64a()
	x, y, w := randomPoints(rand.New(rand.NewPCG(43, 44)), 1000, 1, 0.1)
	var line statistics.RunningLine
	var run statistics.Running
	for i := range x {
		line, run = line.Add(x[i], y[i], w[i]), run.Add(y[i])
		for _, v := range []float64{line.XMean, line.YMean, line.XX, line.XY, line.YY, line.SSE, run.Mean, run.Squares, run.Neighbours} {
			fmt.Fprintf(h, "%016x", math.Float64bits(v))
		}
	}
	require.Equal(t, "dbb5f9ae9109965d", fmt.Sprintf("%016x", h.Sum64()))
}

func BenchmarkRunningLine(b *testing.B) {
	var r statistics.RunningLine
	for i := range b.N {
		r = r.Add(float64(i), float64(i&15), 1)
	}
	sink += r.SSE
}
