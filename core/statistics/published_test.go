package statistics_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/statistics"
)

// columns reads the columns of a file of testdata/statistics.
func columns(t *testing.T, name string) [][]float64 {
	t.Helper()
	file, err := os.Open("../../testdata/statistics/" + name)
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	out := make([][]float64, len(rows[0]))
	for _, row := range rows[1:] {
		for i, word := range row {
			v, err := strconv.ParseFloat(word, 64)
			require.NoError(t, err)
			out[i] = append(out[i], v)
		}
	}
	return out
}

func close(t *testing.T, want, got, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("got %.17g, want %.17g within %g of it: off by %g", got, want, relative, (got-want)/want)
	}
}

// rounds demands that got rounds to the decimals that were printed.
func rounds(t *testing.T, printed string, got float64) {
	t.Helper()
	decimals := 0
	for i := range printed {
		if printed[i] == '.' {
			decimals = len(printed) - i - 1
		}
	}
	require.Equal(t, printed, strconv.FormatFloat(got, 'f', decimals, 64))
}

// exists unwraps a result that must exist.
func exists(v float64, ok bool) float64 {
	if !ok {
		panic("absent")
	}
	return v
}

// NIST StRD Norris, certified to 15 digits. Intervals: statsmodels 0.13.5 and R
// 4.2.2 predict.lm, which agree.
func TestNorris(t *testing.T) {
	data := columns(t, "norris.csv")
	l, err := statistics.FitLine(data[1], data[0])
	require.NoError(t, err)
	const digits = 1e-12
	close(t, -0.262323073774029, l.Intercept, digits)
	close(t, 0.232818234301152, l.InterceptU, digits)
	close(t, 1.00211681802045, l.Slope, digits)
	close(t, 0.429796848199937e-03, l.SlopeU, digits)
	close(t, 0.884796396144373, l.ResidualSD, digits)
	close(t, 26.6173985294224, l.SSE, digits)
	close(t, 0.999993745883712, exists(l.R2()), digits)
	f, p, ok := l.F()
	require.True(t, ok)
	close(t, 5436385.54079785, f, digits)
	require.Less(t, p, 1e-80)
	require.Equal(t, 34, l.Dof)

	interval := func(low, high float64, got statistics.Interval, err error) {
		t.Helper()
		require.NoError(t, err)
		close(t, low, got.Low, 1e-11)
		close(t, high, got.High, 1e-11)
	}
	close(t, 500.796085936453, l.At(500), 1e-13)
	got, err := l.MeanInterval(500, 0.95)
	interval(500.48819647153334, 501.1039754013726, got, err)
	got, err = l.PredictionInterval(500, 0, 0.95)
	interval(498.9717940541834, 502.62037781872255, got, err)
	got, err = l.PredictionInterval(1100, 0, 0.95)
	interval(1100.1487084611126, 1103.9836450363382, got, err)
	got, err = l.PredictionInterval(0, 0, 0.95)
	interval(-2.12165354327612, 1.597007395728, got, err)
}

// NIST StRD NoInt1, certified to 15 digits; R² is about zero.
func TestNoInt1(t *testing.T) {
	data := columns(t, "noint1.csv")
	l, err := statistics.FitOrigin(data[1], data[0])
	require.NoError(t, err)
	close(t, 2.07438016528926, l.Slope, 1e-14)
	close(t, 0.165289256198347e-01, l.SlopeU, 1e-13)
	close(t, 3.56753034006338, l.ResidualSD, 1e-13)
	close(t, 0.999365492298663, exists(l.R2()), 1e-14)
	require.Equal(t, 10, l.Dof)
}

// NIST StRD univariate: NumAcc1 and NumAcc3 are exact by construction; the data of
// NumAcc3 are no binary numbers, which limits what any float64 computation gets
// out of them. Michelso is certified to 15 digits.
func TestUnivariate(t *testing.T) {
	s, err := statistics.Summarise([]float64{10000001, 10000003, 10000002})
	require.NoError(t, err)
	require.Equal(t, statistics.Summary{Count: 3, Mean: 10000002, SD: 1, Min: 10000001, Max: 10000003, Lag1: -0.5}, s)

	x := []float64{1000000.2}
	for range 500 {
		x = append(x, 1000000.1, 1000000.3)
	}
	s, err = statistics.Summarise(x)
	require.NoError(t, err)
	close(t, 1000000.2, s.Mean, 1e-15)
	close(t, 0.1, s.SD, 1e-9)
	close(t, -0.999, s.Lag1, 1e-8)

	s, err = statistics.Summarise(columns(t, "michelso.csv")[0])
	require.NoError(t, err)
	close(t, 299.8524, s.Mean, 1e-15)
	close(t, 0.0790105478190518, s.SD, 1e-12)
	close(t, 0.535199668621283, s.Lag1, 1e-12)
}

// JCGM 100:2008 (GUM) H.3, a thermometer's line about 20 °C. The printed values
// are the standard's; the digits are computed with 20 decimals, GTC agrees.
func TestThermometer(t *testing.T) {
	data := columns(t, "gum_h3.csv")
	x := make([]float64, len(data[0]))
	for i, v := range data[0] {
		x[i] = v - 20
	}
	l, err := statistics.FitLine(x, data[1])
	require.NoError(t, err)
	rounds(t, "-0.1712", l.Intercept)
	rounds(t, "0.0029", l.InterceptU)
	rounds(t, "0.00218", l.Slope)
	rounds(t, "0.00067", l.SlopeU)
	rounds(t, "-0.930", l.Covariance/l.SlopeU/l.InterceptU)
	rounds(t, "0.0035", l.ResidualSD)
	const digits = 1e-12
	close(t, -0.17120379013134997706, l.Intercept, digits)
	close(t, 0.0028775978351599537134, l.InterceptU, digits)
	close(t, 0.0021826977398872779719, l.Slope, digits)
	close(t, 0.00066793877322783170172, l.SlopeU, digits)
	close(t, -0.930429603093446, l.Covariance/l.SlopeU/l.InterceptU, digits)
	close(t, 0.0034975639635052840552, l.ResidualSD, digits)
	rounds(t, "-0.1494", l.At(10))
	rounds(t, "0.0041", l.AtU(10))
	close(t, -0.149376812732477, l.At(10), digits)
	close(t, 0.00413859575285495, l.AtU(10), digits)
}

// JCGM 100:2008 (GUM) H.1, an end gauge, in nm. Effective degrees of freedom,
// coverage factor and expanded uncertainty of the text are from memory.
func TestEndGauge(t *testing.T) {
	const gauge, expansion = 50000623, 11.5e-6 // nm, 1/K
	u, dof, err := statistics.Combine([]statistics.Component{
		{U: 25, Dof: 18}, {U: 5.8, Dof: 24}, {U: 3.9, Dof: 5}, {U: 6.7, Dof: 8},
		{U: gauge * 0.1 * 1e-6 / math.Sqrt(3), Dof: 50},      // 2.887
		{U: gauge * expansion * 0.05 / math.Sqrt(3), Dof: 2}, // 16.599
	})
	require.NoError(t, err)
	rounds(t, "32", u)
	close(t, 31.663879111008633, u, 1e-14)
	close(t, 16.75185573762724, dof, 1e-13)
	k, err := statistics.CoverageFactor(0.99, math.Floor(dof))
	require.NoError(t, err)
	rounds(t, "2.92", k)
	rounds(t, "93", k*32)
}

// ISO/TS 28037:2010, 6.3 example 1, and inverse and forward use of its line.
func TestStatedLine(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6}
	u := []float64{0.5, 0.5, 0.5, 0.5, 0.5, 0.5}
	l, err := statistics.FitLineStated(x, []float64{3.3, 5.6, 7.1, 9.3, 10.7, 12.1}, u)
	require.NoError(t, err)
	rounds(t, "1.867", l.Intercept)
	rounds(t, "0.465", l.InterceptU)
	rounds(t, "1.757", l.Slope)
	rounds(t, "0.120", l.SlopeU)
	rounds(t, "-0.050", l.Covariance)
	rounds(t, "1.665", l.SSE)
	const digits = 1e-12
	close(t, 1.86666666666666667, l.Intercept, digits)
	close(t, 0.465474668125631, l.InterceptU, digits)
	close(t, 1.75714285714285714, l.Slope, digits)
	close(t, 0.119522860933439, l.SlopeU, digits)
	close(t, -0.05, l.Covariance, digits)
	close(t, 1.66476190476, l.SSE, 1e-11)
	require.Greater(t, exists(l.ChiSquare()), 0.05)

	inverse, err := l.Inverse(10.5, 0.5)
	require.NoError(t, err)
	close(t, 4.91327913279133, inverse.Value, digits)
	close(t, 0.32203556012891, inverse.U, digits)
	forward := l.Forward(3.5, 0.2)
	close(t, 8.01666666666667, forward.Value, digits)
	close(t, 0.406409531732455, forward.U, digits)
}

// ISO/TS 28037:2010, annex E example: equal uncertainties that are not known.
func TestLineOfUnknownUncertainty(t *testing.T) {
	l, err := statistics.FitLine([]float64{1, 2, 3, 4, 5, 6}, []float64{3.014, 5.225, 7.004, 9.061, 11.201, 12.762})
	require.NoError(t, err)
	const digits = 1e-12
	close(t, 1.172, l.Intercept, digits)
	close(t, 0.158875093196181, l.InterceptU, digits)
	close(t, 1.96357142857143, l.Slope, digits)
	close(t, 0.0407953578791729, l.SlopeU, digits)
	close(t, -0.00582491428571429, l.Covariance, digits)
	close(t, 0.11649828571, l.SSE, 1e-10)
	rounds(t, "0.171", l.ResidualSD)
	rounds(t, "8.04", l.At(3.5))
	rounds(t, "0.18", l.ReadingU(3.5, 0))
	rounds(t, "8.044", l.At(3.5)-0.0005) // the text truncates 8.0445
	rounds(t, "0.070", l.AtU(3.5))
	inverse, err := l.Inverse(10.5, l.ResidualSD)
	require.NoError(t, err)
	rounds(t, "4.751", inverse.Value)
	rounds(t, "0.097", inverse.U)
}

// A K-factor's trend with days (made-up data), computed with statsmodels 0.13.5 and
// R 4.2.2, which agree.
func TestTrendOfKFactor(t *testing.T) {
	data := columns(t, "kfactor_drift.csv")
	l, err := statistics.FitLine(data[0], data[1])
	require.NoError(t, err)
	const digits = 1e-11
	close(t, 1000.3012820512822, l.Intercept, digits)
	close(t, 0.29332285484242104, l.InterceptU, digits)
	close(t, -0.10934065934066961, l.Slope, digits)
	close(t, 0.0064530232197376695, l.SlopeU, digits)
	close(t, 0.5401685397003749, l.ResidualSD, digits)
	close(t, 0.9663415784807364, exists(l.R2()), digits)
	slope, err := l.SlopeInterval(0.95)
	require.NoError(t, err)
	close(t, -0.12371889108919899, slope.Low, digits)
	close(t, -0.09496242759214023, slope.High, digits)
	for day, want := range map[float64]statistics.Interval{
		90:  {Low: 989.0054230026947, High: 991.9158224185492},
		120: {Low: 985.4650391067985, High: 988.8957667540053},
		180: {Low: 978.2307024125868, High: 983.0092243273367},
	} {
		got, err := l.PredictionInterval(day, 0, 0.95)
		require.NoError(t, err)
		close(t, want.Low, got.Low, digits)
		close(t, want.High, got.High, digits)
	}
}

// 40 CFR 1065.602, examples of its equations.
func TestRegulationStatistics(t *testing.T) {
	s, err := statistics.Summarise([]float64{10.60, 11.91, 11.09})
	require.NoError(t, err)
	rounds(t, "11.20", s.Mean)
	rounds(t, "0.6619", s.SD)
	s, err = statistics.Summarise([]float64{1806.4, 1803.1, 1798.9})
	require.NoError(t, err)
	rounds(t, "2.8", s.Mean-1800)
	median, err := statistics.Median([]float64{41.861, 41.515, 41.902, 41.780})
	require.NoError(t, err)
	close(t, 41.8205, median, 1e-15)
	paired := statistics.Summary{Count: 16, Mean: -0.12580, SD: 0.04837}
	rounds(t, "10.403", math.Abs(exists(paired.T(0))))

	for dof, printed := range map[float64]string{
		1: "12.706", 2: "4.303", 3: "3.182", 4: "2.776", 5: "2.571", 8: "2.306", 9: "2.262", 10: "2.228", 16: "2.120", 20: "2.086", 100: "1.984",
	} {
		rounds(t, printed, statistics.StudentQuantile(0.975, dof))
		k, err := statistics.CoverageFactor(0.95, dof)
		require.NoError(t, err)
		rounds(t, printed, k)
	}
}

// Prediction of one value, from a lecture's example of concrete blocks: 1312 ± 59.
func TestPredictionOfOneValue(t *testing.T) {
	s := statistics.Summary{Count: 10, Mean: 1312, SD: 25}
	got, err := s.PredictionInterval(0.95)
	require.NoError(t, err)
	rounds(t, "59", got.High-1312)
	close(t, 59.3142612058559352, got.High-1312, 1e-4) // with 2.262 for the quantile
	close(t, 2*1312, got.Low+got.High, 1e-15)
}
