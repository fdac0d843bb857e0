package measurement_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	. "linepace.example/core/measurement"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

func q(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

// glazePump pumps a glaze through a gearbox of 10.
func glazePump() *scaling.Drive {
	return &scaling.Drive{ID: "glaze-pump", Motor: scaling.Motor{MaxRPM: 1500},
		Transmission: []scaling.Stage{{Kind: scaling.Gearbox, Ratio: 10, Exact: true}},
		Delivery:     scaling.Delivery{Kind: scaling.Pump, Displacement: q(100, "mL/r")},
		Readout:      scaling.Readout{Unit: units.MustParse("L/min"), Digits: 4}}
}

func glaze() *scaling.Material { return &scaling.Material{ID: "glaze", Density: q(1.5, "kg/L")} }

// catchOf has numbers that can be followed by hand: 6 kg in 2 min are 3 kg/min and, at
// 1.5 kg/L, 2 L/min. Of the amount 6 g in 6 kg and 0.1 %, of the time 0.24 s in 120 s, of
// the density 0.3 %: 0.1, 0.1, 0.2 and 0.3 %, together sqrt(0.15) %.
func catchOf() Catch {
	return Catch{
		Drive: glazePump(), Material: glaze(), DensityPercent: scaling.Some(0.3),
		AmountUncertainty: q(6, "g"), AmountPercent: scaling.Some(0.1), TimeUncertainty: q(0.24, "s"),
		Runs: []CatchRun{{Amount: q(6, "kg"), Time: q(2, "min"), MotorRPM: 300}},
	}
}

func faultsOf(m interface{ Validate(*fault.List) }) []string {
	var faults fault.List
	m.Validate(&faults)
	var out []string
	for _, f := range faults {
		out = append(out, f.Path+" "+string(f.Reason))
	}
	return out
}

func TestCatchByHand(t *testing.T) {
	m := catchOf()
	require.Empty(t, faultsOf(&m))
	rates, refs, checks := m.Find()
	require.Empty(t, checks)
	require.Equal(t, q(2, "L/min"), rates[0].Rate)
	require.InEpsilon(t, math.Sqrt(0.02), rates[0].AmountPercent.Value, 1e-14)
	require.InEpsilon(t, 0.2, rates[0].TimePercent.Value, 1e-14)
	require.Equal(t, 0.3, rates[0].DensityPercent.Value)
	require.InEpsilon(t, math.Sqrt(0.15), rates[0].UncertaintyPercent.Value, 1e-14)
	require.Equal(t, scaling.Reference{Value: q(2, "L/min"), MotorRPM: 300, UncertaintyPercent: rates[0].UncertaintyPercent}, refs[0])

	// Wanted 0.5 %: sqrt(0.1^2 + 0.2^2) / sqrt(0.5^2 - 0.1^2 - 0.3^2) of two minutes.
	m.WantedPercent = scaling.Some(0.5)
	rates, _, checks = m.Find()
	require.Empty(t, checks)
	times := math.Sqrt(0.05 / 0.15)
	require.InEpsilon(t, 2*times, rates[0].LeastTime.Value, 1e-14)
	require.InEpsilon(t, 6*times, rates[0].LeastAmount.Value, 1e-14)

	// Wanted 0.36 %: longer than it ran.
	m.WantedPercent = scaling.Some(0.36)
	rates, _, checks = m.Find()
	require.Len(t, checks, 1)
	require.Equal(t, scaling.MissesUncertainty, checks[0].Code)
	require.Equal(t, "runs[0]", checks[0].Field)
	require.Greater(t, rates[0].LeastTime.Value, 2.0)

	// The same within a vessel of 7 kg, where 7.8 kg are needed.
	m.Capacity = q(7, "kg")
	rates, _, checks = m.Find()
	require.Equal(t, scaling.UncertaintyOutOfReach, checks[0].Code)
	require.Equal(t, "a full pan or vessel", checks[0].Name)
	require.InEpsilon(t, math.Sqrt(0.05*36/49+0.1), checks[0].Number, 1e-14)
	require.Nil(t, rates[0].LeastTime.Unit)

	// Balance and density alone take sqrt(0.1) % = 0.316 %.
	m.WantedPercent = scaling.Some(0.3)
	_, _, checks = m.Find()
	require.Equal(t, scaling.UncertaintyOutOfReach, checks[0].Code)
	require.Equal(t, "balance and density", checks[0].Name)
	require.InEpsilon(t, math.Sqrt(0.1), checks[0].Number, 1e-14)
}

// Without a drive the rate is that of what was caught, per motor turn.
func TestCatchWithoutDrive(t *testing.T) {
	m := Catch{Runs: []CatchRun{{Amount: q(500, "g"), Time: q(30, "s"), MotorRPM: 300}}}
	require.Empty(t, faultsOf(&m))
	rates, refs, _ := m.Find()
	require.Equal(t, q(60, "kg/h"), rates[0].Rate)
	require.False(t, refs[0].UncertaintyPercent.Set)
}

func TestCatchFaults(t *testing.T) {
	for name, c := range map[string]struct {
		change func(m *Catch)
		want   []string
	}{
		"zero":                   {func(m *Catch) { m.Runs[0].Amount.Value = 0 }, []string{"runs[0].amount.value OUT_OF_RANGE"}},
		"negative time":          {func(m *Catch) { m.Runs[0].Time.Value = -1 }, []string{"runs[0].time.value OUT_OF_RANGE"}},
		"length for amount":      {func(m *Catch) { m.Runs[0].Amount = q(1, "m") }, []string{"runs[0].amount.unit UNIT_WRONG_DIMENSION"}},
		"mass and volume":        {func(m *Catch) { m.Runs = append(m.Runs, CatchRun{q(1, "L"), q(1, "min"), 100}) }, []string{"runs[1].amount.unit UNIT_WRONG_DIMENSION"}},
		"no speed":               {func(m *Catch) { m.Runs[0].MotorRPM = 0 }, []string{"runs[0].motorRpm OUT_OF_RANGE"}},
		"no density":             {func(m *Catch) { m.Material = nil }, []string{"material.density REQUIRED"}},
		"no stopwatch":           {func(m *Catch) { m.TimeUncertainty = units.Quantity{} }, []string{"timeUncertainty REQUIRED"}},
		"no balance":             {func(m *Catch) { m.AmountUncertainty, m.AmountPercent = units.Quantity{}, scaling.Optional[float64]{} }, []string{"amountUncertainty REQUIRED"}},
		"balance in litres":      {func(m *Catch) { m.AmountUncertainty = q(1, "mL") }, []string{"amountUncertainty.unit UNIT_WRONG_DIMENSION"}},
		"capacity in litres":     {func(m *Catch) { m.Capacity = q(10, "L") }, []string{"capacity.unit UNIT_WRONG_DIMENSION"}},
		"wanted 0":               {func(m *Catch) { m.WantedPercent = scaling.Some(0.0) }, []string{"wantedUncertaintyPercent OUT_OF_RANGE"}},
		"uncertain past all use": {func(m *Catch) { m.AmountUncertainty = q(7, "kg") }, []string{"runs[0] CONFLICT"}},
		"a belt": {func(m *Catch) {
			m.Drive.Delivery = scaling.Delivery{Kind: scaling.Sprocket, Teeth: 12, Pitch: q(1, "in")}
		}, []string{"drive.delivery CONFLICT"}},
		"less when faster": {func(m *Catch) { m.Runs = append(m.Runs, CatchRun{q(5, "kg"), q(2, "min"), 600}) }, []string{"runs CONFLICT"}},
		"out of all range": {func(m *Catch) { m.Runs[0] = CatchRun{q(1e12, "t"), q(1e-12, "s"), 100} }, []string{"runs[0].rate.value OUT_OF_RANGE", "runs[0] CONFLICT"}},
	} {
		t.Run(name, func(t *testing.T) {
			m := catchOf()
			c.change(&m)
			require.Equal(t, c.want, faultsOf(&m))
		})
	}
}

// The stated uncertainty covers what noise of that size makes of it: of many catches
// with a balance, a stopwatch and a density that err by normal noise of half the
// expanded uncertainty, 95.45 % of the rates lie within it.
func TestCatchUncertaintyCovers(t *testing.T) {
	r := rand.New(rand.NewPCG(20, 4))
	const runs = 20000
	inside := 0
	for range runs {
		m := catchOf()
		run := &m.Runs[0]
		run.Amount.Value = 6 + r.NormFloat64()*0.003 + 6*r.NormFloat64()*0.0005
		run.Time.Value = 2 + r.NormFloat64()*0.002
		m.Material.Density.Value = 1.5 * (1 + r.NormFloat64()*0.0015)
		rates, _, _ := m.Find()
		if math.Abs(rates[0].Rate.Value-2) <= 2*rates[0].UncertaintyPercent.Value/100 {
			inside++
		}
	}
	// Six standard deviations of the count.
	require.InDelta(t, 0.9545, float64(inside)/runs, 6*math.Sqrt(0.9545*0.0455/runs))
}

func TestWorkingAddsUp(t *testing.T) {
	m := catchOf()
	m.WantedPercent = scaling.Some(0.5)
	rates, _, _ := m.Find()
	steps := m.Working(rates)
	require.Len(t, steps, 3)
	m.Drive.Delivery = scaling.Delivery{Kind: scaling.Feeder, MassPerTurn: q(10, "g/r")}
	m.Material.BulkDensity = q(0.9, "kg/L")
	m.Runs[0].Amount, m.AmountUncertainty = q(3, "L"), q(10, "mL")
	m.WantedPercent.Value = 0.9
	require.Empty(t, faultsOf(&m))
	rates, _, _ = m.Find()
	steps = append(steps, m.Working(rates)...)
	l := lapOf()
	require.Empty(t, faultsOf(&l))
	speeds, _, _ := l.Find()
	steps = append(steps, l.Working(speeds)...)
	require.Len(t, steps, 11)
	for _, step := range steps {
		got, want, err := formulatest.Evaluate(step)
		require.NoError(t, err)
		require.InEpsilon(t, want, got, 1e-13, "%s: %s", step.ID, step.Formula)
	}
}
