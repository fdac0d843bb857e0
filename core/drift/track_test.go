package drift_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/drift"
	"linepace.example/core/statistics"
)

var watch = drift.Watch{
	Model:    drift.Model{PerTurn: 0.08, SlipFlow: 2},
	Charts:   drift.Charts{CUSUM: drift.CUSUM{K: 0.5, H: 5}, EWMA: drift.EWMA{Lambda: 0.2, Width: 3}},
	Baseline: 20,
}

// history makes observations of a leaking pump, a day apart.
func history(n int, growth float64) []drift.Observation {
	p := leakingPump{perTurn: 0.08, slip: 2, growth: growth, scatter: 0.004, r: rand.New(rand.NewPCG(51, 52))}
	out := make([]drift.Observation, n)
	for day := range out {
		out[day] = p.observe(20*float64(day), flows[day/7%len(flows)])
	}
	return out
}

// Step by step it is what the baseline, the charts and the line say of all together.
func TestWatchAgainstItsParts(t *testing.T) {
	require.NoError(t, watch.Check())
	s := watch.Start()
	var percents, x, losses, weights []float64
	counting := 0.0
	var c drift.CUSUMState
	var e drift.EWMAState
	var charts drift.Charts
	sigma := 0.0
	for i, o := range history(80, 0.002) {
		var got drift.Watching
		var err error
		require.Equal(t, i >= 20, s.Charting(watch))
		s, got, err = watch.Step(s, 20*float64(i), o)
		require.NoError(t, err)
		reading, err := watch.Model.Read(o)
		require.NoError(t, err)
		loss, err := watch.Model.LossBy(drift.Leak, o)
		require.NoError(t, err)
		require.Equal(t, reading, got.Reading)
		require.Equal(t, loss, got.Loss)
		require.Equal(t, i < 20, got.InBaseline)
		percents, x = append(percents, reading.Percent), append(x, 20*float64(i))
		losses, weights = append(losses, loss.Value), append(weights, loss.Weight())
		if i < 20 {
			counting += reading.CountingU * reading.CountingU
		}
		if i == 19 {
			baseline, err := drift.BaselineOf(percents)
			require.NoError(t, err)
			sigma = math.Sqrt(baseline.Sigma*baseline.Sigma - counting/20)
			require.InEpsilon(t, sigma, s.Sigma, 1e-12)
			require.InDelta(t, baseline.Target, s.Target, 1e-12)
			charts = watch.Charts.Rebase(baseline.Target)
			c, e = charts.CUSUM.Start(), charts.EWMA.Start()
		}
		if i >= 20 {
			own := math.Hypot(sigma, reading.CountingU)
			c, e = charts.CUSUM.Step(c, reading.Percent, own), charts.EWMA.Step(e, reading.Percent, own)
			require.InEpsilon(t, own, got.Sigma, 1e-12)
			require.InDelta(t, c.Low, s.CUSUM.Low, 1e-9)
			require.InDelta(t, e.Average, s.EWMA.Average, 1e-9)
			require.Equal(t, c.Alarm, s.CUSUM.Alarm)
		}
	}
	want, err := statistics.FitLineWeighted(x, losses, weights)
	require.NoError(t, err)
	trend, err := s.Trend.Line()
	require.NoError(t, err)
	require.InEpsilon(t, want.Slope, trend.Slope, 1e-10)
	require.InEpsilon(t, want.SlopeU, trend.SlopeU, 1e-9)
	f, err := drift.ForecastOf(trend, drift.Limit{Level: 48, Upper: true}, s.X, 0.95)
	require.NoError(t, err)
	require.True(t, f.Earliest <= 24000 && 24000 <= f.Latest, "%+v", f)
}

// The state travels as text, at every place, and another process goes on to the same bits.
func TestWatchResumes(t *testing.T) {
	whole, parts := watch.Start(), watch.Start()
	alarms := 0
	for i, o := range history(120, 0.003) {
		var err error
		whole, _, err = watch.Step(whole, float64(i), o)
		require.NoError(t, err)
		text, err := json.Marshal(parts)
		require.NoError(t, err)
		var resumed drift.Watched
		require.NoError(t, json.Unmarshal(text, &resumed))
		require.Equal(t, parts, resumed)
		parts, _, err = watch.Step(resumed, float64(i), o)
		require.NoError(t, err)
		require.Equal(t, whole, parts)
		if whole.CUSUM.Alarm == drift.Low {
			alarms++
		}
	}
	require.Greater(t, alarms, 1, "after an alarm the chart begins anew, and alarms again")
}

func TestWatchWithGivenSigma(t *testing.T) {
	given := watch
	given.Baseline, given.Sigma, given.Charts.CUSUM.Target = 0, 0.5, -0.3
	require.NoError(t, given.Check())
	s := given.Start()
	require.True(t, s.Charting(given))
	o := history(1, 0)[0]
	o.AmountPulses, o.TurnPulses = 0, 0
	s, got, err := given.Step(s, 1, o)
	require.NoError(t, err)
	require.False(t, got.InBaseline)
	require.Equal(t, 0.5, got.Sigma)
	require.InDelta(t, max(0, (got.Reading.Percent+0.3)/0.5-0.5), s.CUSUM.High, 1e-12)
	require.InDelta(t, -0.3+0.2*(got.Reading.Percent+0.3), s.EWMA.Average, 1e-12)
}

// Where counting explains all of a baseline's scatter, a tenth of it is left.
func TestWatchOfCountedBaseline(t *testing.T) {
	s := watch.Start()
	for i := range 20 {
		o := drift.Observation{Minutes: 10, Turns: 10000, TurnPulses: 1e6, Amount: 780 + float64(i%2), AmountPulses: 20}
		var err error
		s, _, err = watch.Step(s, float64(i), o)
		require.NoError(t, err)
	}
	summary, err := s.Percents.Summary()
	require.NoError(t, err)
	require.Equal(t, summary.SD/10, s.Sigma)
}

// A bad observation is refused, and leaves the state as it was.
func TestWatchRefuses(t *testing.T) {
	good := history(1, 0)[0]
	s, _, err := watch.Step(watch.Start(), 10, good)
	require.NoError(t, err)
	for _, bad := range []struct {
		name string
		x    float64
		o    drift.Observation
	}{
		{"x", 10, good}, {"x", 9, good}, {"x", math.NaN(), good}, {"turns", 11, drift.Observation{Minutes: 1}},
		{"amount", 11, drift.Observation{Minutes: 1, Turns: 1000, Amount: -1}},
	} {
		after, out, err := watch.Step(s, bad.x, bad.o)
		var domain *statistics.DomainError
		require.ErrorAs(t, err, &domain)
		require.Equal(t, bad.name, domain.Name)
		require.Equal(t, s, after)
		require.Zero(t, out)
	}
	same := watch.Start()
	o := drift.Observation{Minutes: 10, Turns: 10000, Amount: 780}
	for i := range 20 {
		before := same
		same, _, err = watch.Step(same, float64(i), o)
		if i == 19 {
			var spread *statistics.NoSpreadError
			require.ErrorAs(t, err, &spread)
			require.Equal(t, before, same)
		}
	}

	for _, change := range []func(w *drift.Watch){
		func(w *drift.Watch) { w.Model.PerTurn = 0 }, func(w *drift.Watch) { w.Charts.CUSUM.H = 0 }, func(w *drift.Watch) { w.Charts.EWMA.Lambda = 0 },
		func(w *drift.Watch) { w.Wear = 2 }, func(w *drift.Watch) { w.Sigma = -1 }, func(w *drift.Watch) { w.Sigma = math.NaN() },
		func(w *drift.Watch) { w.Sigma = 1 }, func(w *drift.Watch) { w.Baseline = 9 }, func(w *drift.Watch) { w.Baseline = 0 },
	} {
		w := watch
		change(&w)
		require.Error(t, w.Check())
	}
}

func TestWatchAllocatesNothing(t *testing.T) {
	o := history(40, 0)
	require.Zero(t, testing.AllocsPerRun(10, func() {
		s := watch.Start()
		for i := range o {
			s, _, _ = watch.Step(s, float64(i), o[i])
		}
		sink += s.X
	}))
}

func BenchmarkWatch(b *testing.B) {
	o := history(1024, 0)
	s := watch.Start()
	for i := range b.N {
		s, _, _ = watch.Step(s, float64(i), o[i&1023])
	}
	sink += s.X
}
