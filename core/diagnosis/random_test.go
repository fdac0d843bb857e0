package diagnosis_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	. "linepace.example/core/diagnosis"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Whatever passes validation gets an answer of finite numbers that keeps its promises:
// shares between 0 and 100 percent, likelier before less likely, pairs last, ties both
// ways.
func TestAnswersKeepTheirPromises(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	answered := 0
	for range 3000 {
		p := plants()[random.IntN(len(plants()))]
		s := scaling.Subject{Drive: &p.drive, Material: p.material}
		observations := make([]Observation, 1+random.IntN(4))
		for i := range observations {
			observations[i] = randomObservation(random, p)
		}
		at := fault.Root("observations")
		var faults fault.List
		Validate(&s, observations, &at, &faults)
		if len(faults) > 0 {
			continue
		}
		answered++
		answer := Diagnose(&s, observations, true)
		requireSound(t, &answer)
	}
	require.Greater(t, answered, 2000)
}

func randomObservation(random *rand.Rand, p *plant) Observation {
	wide := func(decades float64) float64 { return math.Pow(10, decades*(2*random.Float64()-1)) }
	o := Observation{MotorRPM: scaling.Some(1000 * wide(2)), UncertaintyPercent: min(50, wide(3.9))}
	o.Observed = units.Quantity{Value: p.rate(o.MotorRPM.Value, p.pulses()) * wide(random.Float64()*6), Unit: units.MustParse(p.unit)}
	if random.IntN(3) == 0 {
		o.Observed = q(o.MotorRPM.Value*wide(4), "r/min")
		o.Shaft = []scaling.Shaft{scaling.MotorShaft, scaling.SensorShaft, scaling.LastShaft}[random.IntN(3)]
	}
	return o
}

func requireSound(t *testing.T, a *Answer) {
	t.Helper()
	finite := func(v float64) { require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%+v", a) }
	percentage := func(v float64) {
		finite(v)
		require.True(t, v >= 0 && v <= 100+1e-9, "%v in %+v", v, a)
	}
	percentage(a.ChanceMatchPercent)
	total, last := 0.0, math.Inf(1)
	for i, c := range a.Candidates {
		require.NotEmpty(t, c.Mistakes)
		for _, m := range c.Mistakes {
			require.NotEmpty(t, m.Text)
			require.NotEmpty(t, m.Confirm)
		}
		if c.LikelihoodPercent.Set {
			percentage(c.LikelihoodPercent.Value)
			require.LessOrEqual(t, c.LikelihoodPercent.Value, last+1e-9)
			total, last = total+c.LikelihoodPercent.Value, c.LikelihoodPercent.Value
		} else {
			last = -1 // nothing single may follow a pair
		}
		percentage(c.ChancePercent.Value)
		for k, predicted := range c.Predicted {
			finite(predicted)
			finite(c.RemainsPercent[k])
		}
		for _, other := range c.Ties {
			require.Contains(t, a.Candidates[other].Ties, i)
		}
	}
	require.LessOrEqual(t, total, 100+1e-6)
	for _, step := range a.Working {
		finite(step.Result.Value)
	}
}
