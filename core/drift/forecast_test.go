package drift_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/drift"
	"linepace.example/core/statistics"
)

func fit(t *testing.T, x, y []float64) statistics.Line {
	t.Helper()
	l, err := statistics.FitLine(x, y)
	require.NoError(t, err)
	return l
}

func forecast(t *testing.T, l statistics.Line, level float64, upper bool, now float64) drift.Forecast {
	t.Helper()
	f, err := drift.ForecastOf(l, drift.Limit{Level: level, Upper: upper}, now, 0.95)
	require.NoError(t, err)
	return f
}

// The ends of the interval are where the confidence band of the line, of statsmodels
// 0.13.5 and R 4.2.2 by its formula, crosses the limit: 85 to 113 days, say, for a K-factor of 990.
func TestForecastOfKFactor(t *testing.T) {
	x := []float64{0, 7, 14, 21, 28, 35, 42, 49, 56, 63, 70, 77}
	y := []float64{1000.3, 999.1, 998.6, 998.9, 996.8, 996.9, 995.2, 995.6, 993.9, 993.1, 993.3, 991.4}
	l := fit(t, x, y)
	f := forecast(t, l, 990, false, 77)
	require.True(t, f.HasAt)
	require.False(t, f.Reached || f.Open || f.OpenBefore || f.Never)
	require.InEpsilon(t, (1000.3012820512822-990)/0.10934065934066961, f.At, 1e-11)
	for _, at := range []float64{f.Earliest, f.Latest} {
		band, err := l.MeanInterval(at, 0.95)
		require.NoError(t, err)
		require.InDelta(t, 0, min(math.Abs(band.Low-990), math.Abs(band.High-990)), 1e-9)
	}
	require.Less(t, f.Earliest, f.At)
	require.Less(t, f.At, f.Latest)

	// It leads away from a limit above, and is past one that it crossed.
	require.Equal(t, drift.Forecast{Never: true}, forecast(t, l, 1010, true, 77))
	past := forecast(t, l, 995, false, 77)
	require.True(t, past.Reached && past.HasAt)
	require.Less(t, past.At, 77.0)
	require.Less(t, past.Latest, 77.0)
	// What is not reached is not told to be in the past.
	near := forecast(t, l, 991.8, false, 77)
	require.False(t, near.Reached)
	require.Equal(t, 77.0, near.Earliest)
	require.Greater(t, near.Latest, near.At)
}

func TestForecastMayBeOpen(t *testing.T) {
	r := rand.New(rand.NewPCG(33, 34))
	x, y := upTo(20), make([]float64, 20)
	for i := range y {
		y[i] = r.NormFloat64()
	}
	l := fit(t, x, y)
	f := forecast(t, l, 5, true, 19)
	require.True(t, f.Open)
	require.Greater(t, f.Earliest, 19.0)
	require.False(t, f.Reached || f.Never || f.OpenBefore)
	// Within the scatter of the line nothing can be told.
	f = forecast(t, l, l.At(19)+0.01, true, 19)
	require.True(t, f.Open)
	require.Equal(t, 19.0, f.Earliest)
	require.False(t, f.OpenBefore)
	f = forecast(t, l, l.At(19)-5, true, 19)
	require.True(t, f.Reached && f.OpenBefore)

	flat := fit(t, x, make([]float64, 20))
	f = forecast(t, flat, 5, true, 19)
	require.True(t, f.Open && !f.HasAt && !f.Reached)

	var domain *statistics.DomainError
	for _, bad := range [][3]float64{{math.NaN(), 19, 0.95}, {5, math.Inf(1), 0.95}, {5, 19, 1}, {5, 19, 0}} {
		_, err := drift.ForecastOf(l, drift.Limit{Level: bad[0]}, bad[1], bad[2])
		require.ErrorAs(t, err, &domain)
	}
}

// leakingPump simulates a pump under closed-loop flow control whose gaps widen
// steadily, through changes of product, as the code under test knows nothing of it: the
// loop holds the flow, the meter scatters, and pulses are whole.
type leakingPump struct {
	perTurn, slip, growth float64 // L/r, L/min, L/min per hour
	scatter               float64 // of the meter, relative
	r                     *rand.Rand
}

func (p leakingPump) observe(hours, flow float64) drift.Observation {
	const minutes, perLitre, perTurn = 10, 200, 60
	rpm := (flow + p.slip + p.growth*hours) / p.perTurn
	count := func(pulses float64) float64 { return math.Floor(pulses + p.r.Float64()) }
	turnPulses := count(rpm * minutes * perTurn)
	amountPulses := count(flow * minutes * perLitre * (1 + p.scatter*p.r.NormFloat64()))
	return drift.Observation{
		Minutes: minutes, Turns: turnPulses / perTurn, TurnPulses: turnPulses,
		Amount: amountPulses / perLitre, AmountPulses: amountPulses,
	}
}

var flows = []float64{40, 90, 60, 25} // of the products, L/min

// In 1,000 histories each the 95 % interval of both forecasts holds the true time in 93 to 97 %.
func TestForecastCoverage(t *testing.T) {
	const histories, days, limitRPM, tolerance = 1000, 90, 1750, 10
	model := drift.Model{PerTurn: 0.08, SlipFlow: 2}
	for name, growth := range map[string]float64{"fast": 0.01, "slow": 0.0004, "hardly": 0.00004} {
		t.Run(name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(35, 36))
			var held, open [2]int
			for range histories {
				p := leakingPump{perTurn: model.PerTurn, slip: model.SlipFlow, growth: growth * (0.5 + r.Float64()), scatter: 0.004, r: r}
				var x, y, w []float64
				for day := range days {
					hours := 20 * float64(day)
					loss, err := model.LossBy(drift.Leak, p.observe(hours, flows[day/7%len(flows)]))
					require.NoError(t, err)
					x, y, w = append(x, hours), append(y, loss.Value), append(w, loss.Weight())
				}
				trend, err := statistics.FitLineWeighted(x, y, w)
				require.NoError(t, err)
				saturation, err := model.LossAtSpeed(drift.Leak, 90, limitRPM)
				require.NoError(t, err)
				leaving, err := model.LossAtTolerance(drift.Leak, tolerance, 1000)
				require.NoError(t, err)
				for i, level := range []float64{saturation, leaving} {
					f := forecast(t, trend, level, true, x[len(x)-1])
					truth := level / p.growth
					if !f.Never && (f.OpenBefore || f.Earliest <= truth) && (f.Open || truth <= f.Latest) {
						held[i]++
					}
					if f.Open {
						open[i]++
					}
				}
			}
			t.Logf("held %v, open %v of %d", held, open, histories)
			for i := range held {
				require.GreaterOrEqual(t, held[i], histories*93/100)
				require.LessOrEqual(t, held[i], histories*97/100)
			}
		})
	}
}

// A change of product alone alarms no more often than steady running, and the leak is
// found although the flow is held.
func TestClosedLoopDoesNotHideWear(t *testing.T) {
	const histories = 300
	model := drift.Model{PerTurn: 0.08, SlipFlow: 2}
	alarms := func(growth float64, flow func(day int) float64) (alarmed int, change drift.ChangeKind) {
		r := rand.New(rand.NewPCG(37, 38))
		kinds := map[drift.ChangeKind]int{}
		for range histories {
			p := leakingPump{perTurn: model.PerTurn, slip: model.SlipFlow, growth: growth, scatter: 0.004, r: r}
			charts := drift.Charts{CUSUM: drift.CUSUM{K: 0.5, H: 5}, EWMA: drift.EWMA{Lambda: 0.2, Width: 3}}
			c, e := charts.CUSUM.Start(), charts.EWMA.Start()
			alarm := false
			var x, y []float64
			for day := range 60 {
				o := p.observe(20*float64(day), flow(day))
				reading, err := model.Read(o)
				require.NoError(t, err)
				sigma := math.Hypot(0.4, reading.CountingU)
				c, e = charts.CUSUM.Step(c, reading.Percent, sigma), charts.EWMA.Step(e, reading.Percent, sigma)
				alarm = alarm || c.Alarm == drift.Low || e.Alarm == drift.Low
				loss, err := model.LossBy(drift.Leak, o)
				require.NoError(t, err)
				x, y = append(x, 20*float64(day)), append(y, loss.Value/loss.PerPoint)
			}
			if alarm {
				alarmed++
			}
			found, err := drift.FindChange(x, y, nil)
			require.NoError(t, err)
			kinds[found.Kind]++
		}
		for kind, count := range kinds {
			if count > histories/2 {
				change = kind
			}
		}
		return alarmed, change
	}
	product := func(day int) float64 { return flows[day/7%len(flows)] }
	steady, _ := alarms(0, func(int) float64 { return 60 })
	changing, change := alarms(0, product)
	require.InDelta(t, steady, changing, 4*math.Sqrt(2*float64(steady)))
	require.Less(t, changing, histories/4) // about 60 readings in 465 and 560, on one side
	require.Equal(t, drift.NoChange, change)
	worn, change := alarms(0.001, func(int) float64 { return 60 })
	require.Equal(t, histories, worn)
	require.Equal(t, drift.Ramp, change)
	worn, _ = alarms(0.001, product)
	require.Equal(t, histories, worn)
}
