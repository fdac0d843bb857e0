package drift_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/drift"
	"linepace.example/core/statistics"
)

// table reads the rows of a file of testdata/drift.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open("../../testdata/drift/" + name)
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

func number(t *testing.T, word string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(word, 64)
	require.NoError(t, err)
	return v
}

// lastDigit returns the unit of the last printed digit.
func lastDigit(word string) float64 {
	_, fraction, _ := strings.Cut(word, ".")
	return math.Pow(10, -float64(len(fraction)))
}

// Montgomery and Runger, tables 16-7 and 16-8.
func TestTabularCUSUM(t *testing.T) {
	const sigma = 2.0 // any: the table's sums are in the unit of x
	chart := drift.CUSUM{Target: 99, K: 1 / sigma, H: 10 / sigma}
	require.NoError(t, chart.Check())
	s := chart.Start()
	rows := table(t, "cusum_table16_8.csv")
	require.Len(t, rows, 20)
	for i, row := range rows {
		s = chart.Step(s, number(t, row[1]), sigma)
		require.InDelta(t, number(t, row[2]), s.High*sigma, 1e-12, i)
		require.InDelta(t, number(t, row[4]), s.Low*sigma, 1e-12, i)
		run := row[3]
		if i == 19 {
			require.Equal(t, "0", run) // misprint
			run = "1"
		}
		require.Equal(t, run, strconv.Itoa(s.HighRun), i)
		require.Equal(t, row[5], strconv.Itoa(s.LowRun), i)
		require.Equal(t, drift.NoAlarm, s.Alarm)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.3 (from memory, recomputed).
func TestHandbookCUSUM(t *testing.T) {
	chart := drift.CUSUM{Target: 325, K: 0.3175, H: 4.1959, RunOn: true}
	s := chart.Start()
	exact := []float64{3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035}
	for i, row := range table(t, "cusum_nist_pmc323.csv") {
		s = chart.Step(s, number(t, row[1]), 1)
		require.InDelta(t, number(t, row[2]), s.High, 0.0051, i)
		require.InDelta(t, number(t, row[3]), s.Low, 0.0051, i)
		if i >= 12 {
			require.InDelta(t, exact[i-12], s.High, 1e-11, i)
		}
		require.Equal(t, i >= 13, s.Alarm == drift.High, i)
	}
	require.Equal(t, 8, s.HighRun) // since reading 13, where the process moved
}

// Lucas and Crosier (1982), table 5.
func TestFastInitialResponse(t *testing.T) {
	x := []float64{0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6}
	for head, want := range map[float64][]float64{
		0:   {0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0},
		2.5: {2.8, 4.2, 5.1, 6.6, 7.2, 7.4, 9.5},
	} {
		chart := drift.CUSUM{K: 0.5, H: 5, HeadStart: head, RunOn: true}
		s := chart.Start()
		for i, v := range x {
			s = chart.Step(s, v, 1)
			require.InDelta(t, want[i], s.High, 1e-12)
			require.Equal(t, want[i] > 5, s.Alarm == drift.High)
		}
	}
}

// After an alarm a chart begins anew with its head start, and about another target
// when it is re-based.
func TestResetAndRebase(t *testing.T) {
	charts := drift.Charts{
		CUSUM: drift.CUSUM{K: 0.5, H: 4, HeadStart: 2},
		EWMA:  drift.EWMA{Lambda: 0.4, Width: 3},
	}
	c, e := charts.CUSUM.Step(charts.CUSUM.Start(), -9, 1), charts.EWMA.Step(charts.EWMA.Start(), -9, 1)
	require.Equal(t, drift.Low, c.Alarm)
	require.Equal(t, drift.Low, e.Alarm)
	require.InDelta(t, 10.5, c.Low, 1e-12)
	require.InDelta(t, -3.6, e.Average, 1e-12)
	c, e = charts.CUSUM.Step(c, 0.2, 1), charts.EWMA.Step(e, 0.2, 1)
	require.Equal(t, charts.CUSUM.Step(charts.CUSUM.Start(), 0.2, 1), c)
	require.Equal(t, charts.EWMA.Step(charts.EWMA.Start(), 0.2, 1), e)

	moved := charts.Rebase(100)
	require.Equal(t, 0.0, charts.CUSUM.Target)
	require.Equal(t, moved.CUSUM.Step(moved.CUSUM.Start(), 100.2, 1).High, 1.7000000000000028)
	require.Equal(t, 100.0, moved.EWMA.Start().Average)
}

// NIST/SEMATECH e-Handbook 6.3.2.4; the page truncates the lower limit to 47.4115.
func TestHandbookEWMA(t *testing.T) {
	chart := drift.EWMA{Target: 50, Lambda: 0.3, Width: 3, SteadyLimits: true}
	require.NoError(t, chart.Check())
	s := chart.Start()
	rows := table(t, "ewma_nist_pmc324.csv")
	require.Len(t, rows, 21)
	for i, row := range rows[1:] {
		s = chart.Step(s, number(t, row[1]), 2.0539)
		require.InDelta(t, number(t, row[2]), s.Average, 0.00501, i)
		require.InDelta(t, 52.588431738, s.UpperSide, 1e-9)
		require.InDelta(t, 47.411568262, s.LowerSide, 1e-9)
		require.Equal(t, drift.NoAlarm, s.Alarm)
	}
}

// The recursion of the variance is that of the weights written out, also for
// readings of unequal sigma, and settles at the steady limits for equal ones.
func TestVarianceRecursion(t *testing.T) {
	chart := drift.EWMA{Lambda: 0.2, Width: 3, RunOn: true}
	s := chart.Start()
	sigmas := []float64{1, 3, 0.5, 2, 2, 0.1}
	for n := range sigmas {
		s = chart.Step(s, 0, sigmas[n])
		want := 0.0
		for i := range n + 1 {
			w := 0.2 * math.Pow(0.8, float64(n-i)) * sigmas[i]
			want += w * w
		}
		require.InEpsilon(t, want, s.Variance, 1e-13)
		require.InEpsilon(t, 3*math.Sqrt(want), s.UpperSide, 1e-13)
	}
	for range 200 {
		s = chart.Step(s, 0, 1)
	}
	require.InEpsilon(t, 3*math.Sqrt(0.2/1.8), s.UpperSide, 1e-13)
}

func runLength(t *testing.T, chart interface {
	RunLength(drift.Condition) (drift.RunLength, error)
}, shift, ratio float64) float64 {
	t.Helper()
	got, err := chart.RunLength(drift.Condition{Shift: shift, SigmaRatio: ratio})
	require.NoError(t, err)
	require.False(t, got.Beyond)
	return got.Readings
}

// Lucas and Crosier (1982), Montgomery and Runger table 16-9, Lucas and Saccucci
// (1990): to one unit in the last printed digit, as numbers this size rounded.
func TestPublishedRunLengths(t *testing.T) {
	type chart interface {
		RunLength(drift.Condition) (drift.RunLength, error)
	}
	charts := map[string][2]chart{
		"k.5h4": {drift.CUSUM{K: 0.5, H: 4}, drift.CUSUM{K: 0.5, H: 4, HeadStart: 2}},
		"h4|h5": {drift.CUSUM{K: 0.5, H: 4}, drift.CUSUM{K: 0.5, H: 5}},
		"ewma":  {drift.EWMA{Lambda: 0.5, Width: 3.071}, drift.EWMA{Lambda: 0.03, Width: 2.437}},
	}
	rows := table(t, "arl_published.csv")
	require.Len(t, rows, 33)
	for _, row := range rows {
		pair, ok := charts[row[1]]
		require.True(t, ok, row[1])
		for i, printed := range row[3:] {
			got := runLength(t, pair[i], number(t, row[2]), 1)
			if d := got - number(t, printed); math.Abs(d) > lastDigit(printed) {
				t.Errorf("%s %d at %s: got %.4f, printed %s", row[1], i, row[2], got, printed)
			}
			require.InEpsilon(t, got, runLength(t, pair[i], -number(t, row[2]), 1), 1e-9, "both sides are alike")
		}
	}
}

// The decision interval for a run length of 370 (R package spc 0.6.7, computed). The
// table of D. M. Hawkins, Journal of Quality Technology 25, 1993, prints
// 8.01 4.77 3.34 2.52 1.99 1.61 (from memory; the last is 1.604).
func TestDecisionIntervals(t *testing.T) {
	for k, h := range map[float64]float64{0.25: 8.0083, 0.5: 4.7738, 0.75: 3.3390, 1: 2.5163, 1.25: 1.9862, 1.5: 1.6041} {
		below := runLength(t, drift.CUSUM{K: k, H: h - 0.00006}, 0, 1)
		above := runLength(t, drift.CUSUM{K: k, H: h + 0.00006}, 0, 1)
		require.True(t, below < 370 && 370 < above, "k %v: %v to %v", k, below, above)
	}
}

// Where the readings' own standard deviation is not the chart's, and shifts, a
// simulation tells the run length.
func TestRunLengthsAgainstSimulation(t *testing.T) {
	const runs = 20000
	r := rand.New(rand.NewPCG(11, 12))
	for _, at := range []drift.Condition{{Shift: 0, SigmaRatio: 1.6}, {Shift: 0.8, SigmaRatio: 0.7}, {Shift: -1.2, SigmaRatio: 1.3}} {
		cusum := drift.CUSUM{K: 0.5, H: 3.5, HeadStart: 1.5}
		ewma := drift.EWMA{Lambda: 0.2, Width: 2.7, SteadyLimits: true}
		var total, squares [2]float64
		for range runs {
			c, e := cusum.Start(), ewma.Start()
			for n := 1.0; c.Alarm == drift.NoAlarm || e.Alarm == drift.NoAlarm; n++ {
				x := at.Shift + at.SigmaRatio*r.NormFloat64()
				for i, step := range []func() drift.Alarm{
					func() drift.Alarm { c = cusum.Step(c, x, 1); return c.Alarm },
					func() drift.Alarm { e = ewma.Step(e, x, 1); return e.Alarm },
				} {
					if []drift.Alarm{c.Alarm, e.Alarm}[i] == drift.NoAlarm && step() != drift.NoAlarm {
						total[i] += n
						squares[i] += n * n
					}
				}
			}
		}
		for i, want := range []float64{runLength(t, cusum, at.Shift, at.SigmaRatio), runLength(t, ewma, at.Shift, at.SigmaRatio)} {
			mean := total[i] / runs
			se := math.Sqrt((squares[i]/runs - mean*mean) / runs)
			require.InDelta(t, mean, want, 4*se, "%v chart %d", at, i)
		}
	}
}

// With Lambda 1 an EWMA is a Shewhart chart, whose run length is one over the
// chance of an alarm; so is a CUSUM with a tiny decision interval, nearly.
func TestRunLengthLimits(t *testing.T) {
	for _, m := range []float64{0, 0.5, 1, 3, 5} {
		p := statistics.NormalTail(3-m) + statistics.NormalTail(3+m)
		require.InEpsilon(t, 1/p, runLength(t, drift.EWMA{Lambda: 1, Width: 3}, m, 1), 1e-9)
		require.InEpsilon(t, 1/p, runLength(t, drift.CUSUM{K: 3, H: 1e-9}, m, 1), 1e-7)
	}
	for _, chart := range []interface {
		RunLength(drift.Condition) (drift.RunLength, error)
	}{drift.CUSUM{K: 2, H: 20}, drift.CUSUM{K: 8, H: 50}, drift.EWMA{Lambda: 0.5, Width: 9}, drift.EWMA{Lambda: 1, Width: 10}} {
		got, err := chart.RunLength(drift.Condition{SigmaRatio: 1})
		require.NoError(t, err)
		require.Equal(t, drift.RunLength{Readings: 1e10, Beyond: true}, got)
	}
	// Beyond on one side, and finite on the other.
	require.InDelta(t, 12.5, runLength(t, drift.CUSUM{K: 4, H: 50}, 8, 1), 1)
}

func TestChartDomains(t *testing.T) {
	nan := math.NaN()
	good := drift.Condition{SigmaRatio: 1}
	for _, c := range []struct {
		name  string
		chart interface {
			Check() error
			RunLength(drift.Condition) (drift.RunLength, error)
		}
	}{
		{"target", drift.CUSUM{Target: nan, K: 1, H: 1}}, {"k", drift.CUSUM{K: -1, H: 1}}, {"k", drift.CUSUM{K: nan, H: 1}},
		{"h", drift.CUSUM{K: 1, H: 0}}, {"h", drift.CUSUM{K: 1, H: 51}}, {"h", drift.CUSUM{K: 1, H: nan}},
		{"headStart", drift.CUSUM{K: 1, H: 4, HeadStart: 4}}, {"headStart", drift.CUSUM{K: 1, H: 4, HeadStart: -1}},
		{"target", drift.EWMA{Target: 1e101, Lambda: 1, Width: 1}}, {"lambda", drift.EWMA{Lambda: 0, Width: 3}}, {"lambda", drift.EWMA{Lambda: 1.1, Width: 3}},
		{"width", drift.EWMA{Lambda: 0.5, Width: 0}}, {"width", drift.EWMA{Lambda: 0.5, Width: nan}},
	} {
		var domain *statistics.DomainError
		require.ErrorAs(t, c.chart.Check(), &domain)
		require.Equal(t, c.name, domain.Name)
		_, err := c.chart.RunLength(good)
		require.ErrorAs(t, err, &domain)
	}
	for _, at := range []drift.Condition{{}, {SigmaRatio: nan}, {SigmaRatio: 11}, {SigmaRatio: 1, Shift: 101}, {SigmaRatio: 1, Shift: nan}} {
		_, err := drift.CUSUM{K: 0.5, H: 5}.RunLength(at)
		require.Error(t, err)
		_, err = drift.EWMA{Lambda: 0.5, Width: 3}.RunLength(at)
		require.Error(t, err)
	}
	_, err := drift.CUSUM{K: 0.5, H: 50}.RunLength(drift.Condition{SigmaRatio: 0.1})
	require.ErrorContains(t, err, "h is 50")
	_, err = drift.EWMA{Lambda: 1e-5, Width: 3}.RunLength(good)
	require.ErrorContains(t, err, "lambda is 1e-05")
}

func TestCheckReading(t *testing.T) {
	require.NoError(t, drift.CheckReading(-1e100, 1e-100))
	for _, bad := range [][2]float64{{math.NaN(), 1}, {math.Inf(1), 1}, {1e101, 1}, {0, 0}, {0, -1}, {0, math.NaN()}, {0, math.Inf(1)}} {
		var domain *statistics.DomainError
		require.ErrorAs(t, drift.CheckReading(bad[0], bad[1]), &domain)
	}
}

func TestBaseline(t *testing.T) {
	x := []float64{10, 12, 11, 9, 10, 12, 8, 11, 10, 9}
	b, err := drift.BaselineOf(x)
	require.NoError(t, err)
	s, err := statistics.Summarise(x)
	require.NoError(t, err)
	require.Equal(t, s.Mean, b.Target)
	require.Equal(t, s.SD, b.Sigma)
	require.Equal(t, s.MeanU(), b.TargetU)
	require.Equal(t, s.Lag1, b.Lag1)
	require.False(t, b.Correlated)
	// Ten readings: chi-square quantiles 2.700 and 19.023 at 9 degrees of freedom, of any table.
	require.InEpsilon(t, b.Sigma*math.Sqrt(9/19.0228), b.SigmaBounds.Low, 1e-5)
	require.InEpsilon(t, b.Sigma*math.Sqrt(9/2.70039), b.SigmaBounds.High, 1e-5)

	b, err = drift.BaselineOf([]float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10})
	require.NoError(t, err)
	require.True(t, b.Correlated)
	var few *statistics.TooFewError
	_, err = drift.BaselineOf(x[:9])
	require.ErrorAs(t, err, &few)
	require.Equal(t, 10, few.Need)
	var spread *statistics.NoSpreadError
	_, err = drift.BaselineOf(make([]float64, 12))
	require.ErrorAs(t, err, &spread)
	x[3] = math.NaN()
	var domain *statistics.DomainError
	_, err = drift.BaselineOf(x)
	require.ErrorAs(t, err, &domain)
}

var sink float64

func BenchmarkRunLength(b *testing.B) {
	for name, chart := range map[string]interface {
		RunLength(drift.Condition) (drift.RunLength, error)
	}{"CUSUM h 5": drift.CUSUM{K: 0.5, H: 5}, "EWMA 0.03": drift.EWMA{Lambda: 0.03, Width: 2.437}} {
		b.Run(name, func(b *testing.B) {
			for range b.N {
				got, _ := chart.RunLength(drift.Condition{Shift: 1, SigmaRatio: 0.7})
				sink += got.Readings
			}
		})
	}
}

func BenchmarkCharts(b *testing.B) {
	cusum, ewma := drift.CUSUM{K: 0.5, H: 1e9}, drift.EWMA{Lambda: 0.2, Width: 3}
	c, e := cusum.Start(), ewma.Start()
	for i := range b.N {
		x := float64(i&7) - 3.5
		c, e = cusum.Step(c, x, 2), ewma.Step(e, x, 2)
	}
	sink += c.High + e.Average
}
