package units

import (
	"encoding/csv"
	"math"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"linepace.example/core/exact"
)

// readCSV returns the rows of a file in testdata/units as maps by column.
func readCSV(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/units/" + name)
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, column := range records[0] {
			row[column] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func parseRat(t *testing.T, text string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(text)
	require.True(t, ok, text)
	return r
}

// infoByUCUM indexes the unit list; the codes must be unique for that.
func infoByUCUM(t *testing.T) map[string]Info {
	t.Helper()
	byCode := map[string]Info{}
	for _, info := range Table() {
		require.NotContains(t, byCode, info.UCUM)
		byCode[info.UCUM] = info
	}
	return byCode
}

// UCUM essence v2.2 (2024-06-17) and UNECE Recommendation 20, as read into
// testdata/units/ucum_factors.csv: factors exact, floats to the last bit, codes equal.
func TestUCUMAndRec20(t *testing.T) {
	rows := readCSV(t, "ucum_factors.csv")
	require.Len(t, rows, 82)
	listed := infoByUCUM(t)
	dimensions := map[string]Dimension{
		"length": LengthDim, "time": TimeDim, "mass": MassDim, "volume": VolumeDim, "frequency": Frequency,
		"speed": SpeedDim, "volume flow": VolumeFlow, "mass flow": MassFlow, "density": Density,
	}
	for _, row := range rows {
		code := row["ucum"]
		want := parseRat(t, row["factor_exact_rational"])
		dimension := dimensions[row["quantity"]]
		if strings.Contains(code, "{rev}") { // UCUM has no dimension for turns
			dimension = Rotation
		}

		u, err := Parse(code)
		require.NoError(t, err, code)
		require.Zero(t, u.Ratio().Cmp(want), "%s: got %s, want %s", code, u.Ratio(), want)
		require.Equal(t, dimension, u.Dimension(), code)
		float, err := strconv.ParseFloat(row["factor_float_repr"], 64)
		require.NoError(t, err)
		require.Equal(t, float, new(exact.Calc).Const(u.Factor()).Float(), code)

		info, ok := listed[code]
		require.True(t, ok, "%s is not in the table", code)
		require.Equal(t, row["unece_rec20_code"], info.Rec20, code)
		require.Zero(t, parseRat(t, info.Factor).Cmp(want), code)
		own, err := Parse(info.Symbol)
		require.NoError(t, err)
		require.Zero(t, own.Ratio().Cmp(want), info.Symbol)
		require.Equal(t, u.Dimension(), own.Dimension(), info.Symbol)
	}
}

// Every listed UCUM code against another UCUM program, @lhncbc/ucum-lhc 7.1.10
// (testdata/units/README.md). It computes prefixes and powers in float64, a few
// roundings deep: 1e-14 allows 45 of them.
func TestUCUMCodesByAnotherProgram(t *testing.T) {
	listed := infoByUCUM(t)
	rows := readCSV(t, "ucum_lhc.csv")
	require.Len(t, rows, len(listed))
	for _, row := range rows {
		code := row["ucum"]
		info, ok := listed[code]
		require.True(t, ok, code)
		u := MustParse(code)
		exponents := strings.Fields(row["exponents_m_s_g_rad"])
		got, err := strconv.ParseFloat(row["factor_to_g_m_s_rad"], 64)
		require.NoError(t, err, code)

		want, _ := u.Ratio().Float64()
		want *= math.Pow(1000, float64(u.Dimension().Mass)) // kg to g
		require.Equal(t, strconv.Itoa(int(u.Dimension().Length)), exponents[0], code)
		require.Equal(t, strconv.Itoa(int(u.Dimension().Time)), exponents[1], code)
		require.Equal(t, strconv.Itoa(int(u.Dimension().Mass)), exponents[2], code)
		if strings.HasPrefix(code, "deg") { // UCUM's degree is pi/180 rad
			want *= 2 * math.Pi
			require.Equal(t, "1", exponents[3], code)
		}
		require.InEpsilon(t, want, got, 1e-14, "%s (%s)", code, info.Symbol)
	}
}

// Conversions published or computed elsewhere. Sources: UCUM essence v2.2 and
// UNECE Recommendation 20 (RPM "1,67e-2/s", M46) for turns; for the others the
// definitions behind them, computed with GNU units 2.22.
func TestPublishedConversions(t *testing.T) {
	for _, c := range []struct {
		value    float64
		from, to string
		want     string  // exact
		float    float64 // as printed
	}{
		{1, "r/min", "r/s", "1/60", 0.016666666666666666},
		{1, "r/min", "deg/s", "6", 6},
		{1, "gal_us/h", "mL/min", "63.0901964", 63.0901964},
		{1, "lb/ft3", "kg/m3", "28349523125/1769802912", 16.018463373960138},
		{1, "lb/gal_us", "kg/m3", "736351250/6145149", 119.82642731689663},
		{1, "gal_imp", "gal_us", "568261250/473176473", 1.200949925504855},
		{60, "ft", "m", "18.288", 18.288}, // dwell of 90 s: 40 ft/min = 12.192 m/min
		{40, "ft/min", "m/min", "12.192", 12.192},
	} {
		for _, calc := range []*exact.Calc{new(exact.Calc), exact.NewExact()} {
			u := MustParse(c.to)
			got := FromSI(calc, Quantity{c.value, MustParse(c.from)}.SI(calc), u)
			want := calc.Const(exact.NewConstant(parseRat(t, c.want)))
			require.InDelta(t, c.float, got.Float(), got.Bound(), "%g %s in %s", c.value, c.from, c.to)
			difference := calc.Cmp(got, want)
			require.True(t, difference == 0 || calc.Undecided(), "%g %s in %s", c.value, c.from, c.to)
		}
	}
}

// A turn is neither a hertz nor an angle in radians: the trap into which GNU
// units 2.22 and pint 0.19.2 fall with 1 rpm = 0.1047 Hz.
func TestTurnsAreNoHertz(t *testing.T) {
	require.NotEqual(t, MustParse("Hz").Dimension(), MustParse("r/s").Dimension())
	require.NotEqual(t, MustParse("1/min").Dimension(), MustParse("r/min").Dimension())
	require.NotEqual(t, MustParse("pulse/s").Dimension(), MustParse("Hz").Dimension())
	require.NotEqual(t, MustParse("pc/min").Dimension(), MustParse("/min").Dimension())
	require.Equal(t, MustParse("Hz").Dimension(), MustParse("/min").Dimension())
	require.Zero(t, MustParse("r/min").Ratio().Cmp(MustParse("/min").Ratio()))
	_, err := Parse("rad/s")
	var unknown *UnknownError
	require.ErrorAs(t, err, &unknown)
	require.Equal(t, []string{"r", "deg"}, unknown.Suggestions)
}

// Chain speed is pitch times teeth times turns: 0.5 inch * 17 * 300/min is 212.5
// ft/min exactly (GNU units 2.22). Through pi times the pitch diameter it would
// be 213.71434677218564, 0.57 % high.
func TestChainSpeed(t *testing.T) {
	for _, c := range []*exact.Calc{new(exact.Calc), exact.NewExact()} {
		speed := Quantity{0.5, MustParse("in")}.SI(c).Mul(c.Int(17)).Mul(Quantity{300, MustParse("r/min")}.SI(c))
		got := FromSI(c, speed, MustParse("ft/min"))
		require.InDelta(t, 212.5, got.Float(), got.Bound())
		require.Less(t, got.Bound(), 1e-12)
		difference := c.Cmp(got, c.Dec(212.5))
		require.True(t, difference == 0 || c.Undecided())
	}
}
