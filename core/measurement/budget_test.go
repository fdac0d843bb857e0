package measurement

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/units"
)

// lines makes a budget of standard uncertainties with their degrees of freedom.
func lines(coverage float64, parts ...[2]float64) Budget {
	var b Budget
	for _, p := range parts {
		b.add(BudgetLine{Type: TypeA, Value: units.Quantity{Value: p[0], Unit: one}, Divisor: 1, Sensitivity: 1, Dof: p[1]})
	}
	b.combine(coverage)
	return b
}

// JCGM 100:2008 (GUM), example H.1, end-gauge calibration, in nm: u_c = 32 nm, effective
// degrees of freedom 16, t_99 = 2.92, U_99 = 93 nm. The components are as published;
// the last three results are from memory of the same example, and worked again from them.
func TestGUMEndGauge(t *testing.T) {
	b := lines(99, [2]float64{25, 18}, [2]float64{5.8, 24}, [2]float64{3.9, 5}, [2]float64{6.7, 8}, [2]float64{2.887, 50}, [2]float64{16.599, 2})
	require.InEpsilon(t, 31.663879111008633, b.Standard, 1e-5) // from components with more digits
	require.InEpsilon(t, 16.75185573762724, b.EffectiveDof, 1e-5)
	require.Equal(t, 16.0, b.Dof)
	require.InDelta(t, 2.92, b.CoverageFactor, 0.005)
	require.Equal(t, 93.0, math.Round(b.CoverageFactor*math.Round(b.Standard)))
	shares := 0.0
	for _, l := range b.Lines[:b.Count] {
		shares += l.SharePercent
	}
	require.InDelta(t, 100, shares, 1e-12)
}

// Gate method of a tachometer: N pulses of 60 marks in a gate of 1 s whose time is known
// to 50 ppm. Computed with Python's package uncertainties 3.1.6: 1750 pulses on 60 marks
// give 1750(0.58394...) r/min for one count either way taken as rectangular, 0.41752... as
// triangular; 29 pulses on one mark 1740(34.641...) r/min, rectangular.
func TestGateMethod(t *testing.T) {
	for _, k := range []struct {
		pulses, marks float64
		distribution  Distribution
		divisor, want float64
	}{
		{1750, 60, Rectangular, math.Sqrt(3), 0.5839431336468761},
		{1750, 60, Triangular, math.Sqrt(6), 0.4175199596027317},
		{29, 1, Rectangular, math.Sqrt(3), 34.64112540030997},
	} {
		var b Budget
		speed := k.pulses / k.marks * 60
		b.add(BudgetLine{Source: CountedMarks, Distribution: k.distribution, Value: units.Quantity{Value: 1, Unit: pulse}, Divisor: k.divisor, Sensitivity: 60 / k.marks})
		b.add(BudgetLine{Source: GateTime, Distribution: Normal, Value: percents(0.01), Divisor: 2, Sensitivity: speed / 100})
		b.combine(95)
		require.InEpsilon(t, k.want, b.Standard, 1e-12)
	}
}

// Student's t for 95 %, as printed in 40 CFR 1065.602, Table 1.
func TestCoverageFactors(t *testing.T) {
	want := map[float64]float64{1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 8: 2.306, 9: 2.262, 10: 2.228, 16: 2.120, 20: 2.086, 100: 1.984}
	for range 2 { // the second time from what was kept
		for dof, k := range want {
			require.InDelta(t, k, coverageFactor(0.95, dof), 0.0005, "%v degrees of freedom", dof)
		}
	}
	require.InDelta(t, 1.6449, coverageFactor(0.90, math.Inf(1)), 0.00005)
	// Whatever takes the place of what is kept, what is found is the same.
	first := map[float64]float64{}
	for dof := 1.0; dof < 2000; dof++ {
		first[dof] = coverageFactor(0.95, dof)
	}
	for dof := 1.0; dof < 2000; dof += 7 {
		require.Equal(t, first[dof], coverageFactor(0.95, dof))
	}
}
