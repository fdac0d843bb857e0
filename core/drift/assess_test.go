package drift_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	. "linepace.example/core/drift"
)

// pumpHistory simulates a leaking pump under a loop that is closed on the flow: the
// product changes every few days, and the speed with it. leak is the true slip flow on
// a day, L/min; scatter that of the meter, percent.
func pumpHistory(random *rand.Rand, days int, scatter float64, leak func(day float64) float64) *Study {
	s := &Study{
		Model: Model{PerTurn: 0.0125, SlipFlow: 0.5}, Wear: Leak, TolerancePercent: 5, Sigma: scatter,
		Charts: Charts{CUSUM: CUSUM{K: 0.5, H: 5}, EWMA: EWMA{Lambda: 0.2, Width: 3}}, RunningShare: 1, HighestRPM: 1450,
	}
	flow := 4.0
	for day := range days {
		if day%5 == 0 {
			flow = []float64{3, 5, 9}[random.IntN(3)]
		}
		turns := (flow + leak(float64(day))) / 0.0125 * 10 // the loop finds this speed
		amount := flow * 10 * (1 + scatter/100*random.NormFloat64())
		s.Hours = append(s.Hours, float64(day)*24)
		s.Observations = append(s.Observations, Observation{Minutes: 10, Turns: turns, Amount: amount})
	}
	return s
}

func constantLeak(float64) float64 { return 0.5 }

// A loop on the flow turns a sound pump at other speeds for other products. Readings are
// against the model at each speed, so nothing is found but what chance finds.
func TestNoAlarmFromSpeedAlone(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	const histories, days = 200, 100
	alarms, changes := 0, 0
	for range histories {
		a, err := Assess(pumpHistory(random, days, 0.4, constantLeak))
		require.NoError(t, err)
		for _, s := range a.CUSUMs {
			if s.Alarm != NoAlarm {
				alarms++
			}
		}
		if a.HasChange && a.Change.Kind != NoChange {
			changes++
		}
	}
	// One false alarm in 465 readings by the published table (Montgomery, table 16-9: h 5,
	// k 0.5), so 43 of 20000 with a standard deviation of 6.6.
	require.InDelta(t, 43, alarms, 27)
	require.Less(t, changes, histories/20+12) // one in twenty, and three standard deviations
}

// Without the model a change of speed alone would look like wear: the delivery per turn
// at 3 and 9 L/min differs by 9 %.
func TestSpeedChangesWouldMatter(t *testing.T) {
	s := pumpHistory(rand.New(rand.NewPCG(1, 2)), 60, 0.4, constantLeak)
	s.Model.SlipFlow, s.Wear = 0, Share
	a, err := Assess(s)
	require.NoError(t, err)
	alarms := 0
	for _, state := range a.CUSUMs {
		if state.Alarm != NoAlarm {
			alarms++
		}
	}
	require.Greater(t, alarms, 20)
}

// Wear behind the loop is found, dated and measured, and the forecast of the speed limit
// holds the truth as often as it says.
func TestClosedLoopWear(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	const histories, days, begins, rate = 1000, 150, 40.0, 0.02 // L/min a day
	leak := func(day float64) float64 { return 0.5 + rate*math.Max(0, day-begins) }
	found, held, loss := 0, 0, 0.0
	for range histories {
		s := pumpHistory(random, days, 0.4, leak)
		a, err := Assess(s)
		require.NoError(t, err)
		if a.HasChange && a.Change.Kind == Ramp && a.Trending() {
			found++
		}
		loss += (a.Now.Loss.Value - (leak(days-1) - 0.5)) / histories
		// By hand: at the mean flow the motor needs (flow + slip)/0.0125 r/min.
		truth := begins + (1450*0.0125-a.Now.Metered-0.5)/rate
		f := a.Saturated
		require.True(t, a.HasLimit)
		if !f.Never && s.Calendar(f.Earliest)/24 <= truth && (f.Open || truth <= s.Calendar(f.Latest)/24) {
			held++
		}
	}
	t.Logf("wear found in %d, speed limit held in %d of %d histories; mean error of the loss %.4f L/min", found, held, histories, loss)
	require.Greater(t, found, histories*99/100)
	require.InDelta(t, 0, loss, 0.003)
	require.GreaterOrEqual(t, held, histories*93/100)
	require.LessOrEqual(t, held, histories*97/100)
}

// A step of a known factor is named, and nothing is to be corrected before it is found.
func TestAdviceOnNamedSteps(t *testing.T) {
	for _, c := range []struct {
		name   string
		factor float64
		cause  StepCause
	}{{"doubled", 2, Doubled}, {"halved", 0.5, Halved}, {"one tooth more", 16.0 / 15, ToothMore}, {"one tooth less", 14.0 / 15, ToothLess}} {
		t.Run(c.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(7, 8))
			s := &Study{
				Model: Model{PerTurn: 10}, Wear: Share, TolerancePercent: 2, Sigma: 0.2, Teeth: []int32{15},
				Charts: Charts{CUSUM: CUSUM{K: 0.5, H: 5}, EWMA: EWMA{Lambda: 0.2, Width: 3}}, RunningShare: 1,
			}
			for i := range 40 {
				factor := 1.0
				if i >= 25 {
					factor = c.factor
				}
				s.Hours = append(s.Hours, float64(i))
				s.Observations = append(s.Observations, Observation{Minutes: 1, Turns: 100, Amount: 1000 * factor * (1 + 0.002*random.NormFloat64())})
			}
			a, err := Assess(s)
			require.NoError(t, err)
			require.Equal(t, Step, a.Change.Kind)
			require.Equal(t, 25, a.Change.At)
			require.NotEmpty(t, a.Causes)
			require.Equal(t, c.cause, a.Causes[0].Cause)
			advice := Advise(s, a, true)
			require.Equal(t, FindCause, advice[0].Code)
			require.Equal(t, CatchTest, advice[1].Code, "drive and meter cannot be told apart")
		})
	}
}

// After a service the charts begin anew about what the first readings say, and the
// trend before it is no part of the forecast.
func TestEventsBeginAnew(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	s := pumpHistory(random, 120, 0.4, func(day float64) float64 {
		if day >= 80 {
			return 0.6 // serviced, but not as new
		}
		return 0.5 + 0.02*day
	})
	s.Rebased = []int{80}
	a, err := Assess(s)
	require.NoError(t, err)
	require.Equal(t, 80, a.Current)
	require.False(t, a.Now.Drifted)
	require.InDelta(t, 0.1, a.Now.Loss.Value, 0.02)
	alarms := func(a *Assessment) (n int) {
		for _, state := range a.CUSUMs[80:] {
			if state.Alarm != NoAlarm {
				n++
			}
		}
		return n
	}
	require.Less(t, alarms(a), 4, "the new target is known from ten readings only")
	s.Rebased = nil
	whole, err := Assess(s)
	require.NoError(t, err)
	require.Greater(t, alarms(whole), 10)
}

func TestAssessTooFew(t *testing.T) {
	s := pumpHistory(rand.New(rand.NewPCG(1, 1)), 15, 0.4, constantLeak)
	s.Sigma, s.Baseline = 0, 20
	_, err := Assess(s)
	require.ErrorContains(t, err, "20")
	s.Baseline = 15
	_, err = Assess(s)
	require.NoError(t, err)
	s.Rebased = []int{12}
	_, err = Assess(s)
	require.Error(t, err, "the baseline ends at the first event")
	s = pumpHistory(rand.New(rand.NewPCG(1, 1)), 2, 0.4, constantLeak)
	a, err := Assess(s)
	require.NoError(t, err)
	require.False(t, a.HasTrend || a.HasChange || a.Now.HasUncertainty)
	s.Stop = func() bool { return true }
	_, err = Assess(s)
	require.ErrorIs(t, err, ErrStopped)
}
