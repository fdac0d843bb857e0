package units

import (
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"linepace.example/core/exact"
	"pgregory.net/rapid"
)

func TestGrammar(t *testing.T) {
	for _, c := range []struct {
		text  string
		ratio string
		dim   Dimension
	}{
		{"m/min", "1/60", SpeedDim},
		{"m.min-1", "1/60", SpeedDim},
		{"m·min⁻¹", "1/60", SpeedDim},
		{"min-1.m", "1/60", SpeedDim},
		{"[ft_i].min^-1", "127/25000", SpeedDim},
		{"kg/m3", "1", Density},
		{"kg/m^3", "1", Density},
		{"kg/m+3", "1", Density},
		{"kg/m^+3", "1", Density},
		{"kg/m³", "1", Density},
		{"kg.m-3", "1", Density},
		{"kg/m/m/m", "1", Density},
		{"kg/h/m", "1/3600", MassDim.Per(TimeDim).Per(LengthDim)},
		{"lb/ft3", "28349523125/1769802912", Density},
		{"1", "1", Plain},
		{"%", "1/100", Plain},
		{"1/min", "1/60", Frequency},
		{"/min", "1/60", Frequency},
		{"min⁻¹", "1/60", Frequency},
		{"/m/s", "1", Frequency.Per(LengthDim)},
		{"mm/mm", "1", Plain},
		{"in/ft", "1/12", Plain},
		{"µm", "1/1000000", LengthDim},
		{"\u03bcm/s", "1/1000000", SpeedDim},
		{"ml/r", "1/1000000", VolumePerTurn},
		{"{pc}/min", "1/60", PieceRate},
		{"{piece}/min", "1/60", PieceRate},
		{"{turn}/s", "1", Rotation},
		{"pulse/L", "1000", PulsesPerVolume},
		{"K", "1", TemperatureDim},
		{"m9", "1", Dimension{Length: 9}},
	} {
		u, err := Parse(c.text)
		require.NoError(t, err, c.text)
		require.Equal(t, c.text, u.Symbol())
		require.Zero(t, u.Ratio().Cmp(parseRat(t, c.ratio)), "%s: got %s", c.text, u.Ratio())
		require.Equal(t, c.dim, u.Dimension(), c.text)
	}
}

func TestSyntaxErrors(t *testing.T) {
	for _, text := range []string{
		"", " ", " m", "m ", "m /s", "m\u00a0/s", "m/", "/", "//m", "m//s", "m..s", ".m", "m.", "m/s.kg", "m/s·kg", "m/s-1",
		"m/s⁻¹", "m^", "m-", "m0", "m10", "m³²", "m^³", "m^^2", "m--1", "m2-", "1m", "2", "10.m", "m/1", "1.m", "60s", "(m)", "m/(s.kg)",
		"m*s", "%/min", "m.%", "[", "[in_i", "{", "{rev", "]", "m]", "\xff", "m\x00", "m,s", "m;", "m=1", "½", "m⁰", "m⁺¹",
		"m{wet}", "m5.m5", "mi9/pc/in", "/m9/m", strings.Repeat("m", 65), "wk9.d/s9.t9", "um6.um3/m.s9",
	} {
		u, err := Parse(text)
		require.Nil(t, u, "%q", text)
		var syntax *SyntaxError
		require.ErrorAs(t, err, &syntax, "%q", text)
		require.NotEmpty(t, syntax.Reason)
		require.LessOrEqual(t, len(err.Error()), 400)
	}
}

func TestAmbiguous(t *testing.T) {
	for text, instead := range map[string][]string{
		"gal":     {"gal_us", "gal_imp"},
		"gal/min": {"gal_us", "gal_imp"},
		"GAL":     {"gal_us", "gal_imp"},
		"lb/gal":  {"gal_us", "gal_imp"},
		"gpm":     {"gal_us/min", "gal_imp/min", "g/min"},
		"ton/h":   {"t", "ston", "lton"},
		"tons":    {"t", "ston", "lton"},
		"cfm":     {"ft3/min"},
		"pt":      {"pt_us", "pt_imp"},
		"qt/h":    {"qt_us", "qt_imp"},
		"bbl/d":   {"bbl_us", "gal_us", "L"},
		"fl_oz":   {"fl_oz_us", "fl_oz_imp"},
		"gr":      {"grain", "g"},
		"ppm":     {"pc/min", "%"},
	} {
		_, err := Parse(text)
		var ambiguous *AmbiguousError
		require.ErrorAs(t, err, &ambiguous, text)
		require.Equal(t, instead, ambiguous.Instead, text)
		require.Equal(t, text, ambiguous.Text)
		require.Contains(t, err.Error(), instead[0])
	}
}

func TestUnknown(t *testing.T) {
	for text, suggestions := range map[string][]string{
		"rpm":      {"r/min"},
		"rev/min":  {"r/min"},
		"1/rev":    {"r"},
		"sec":      {"s"},
		"m/sec":    {"s"},
		"hr":       {"h"},
		"lbs/hr":   {"lb"},
		"lpm":      {"L/min"},
		"fpm":      {"ft/min"},
		"FPM":      {"ft/min"},
		"pcs/min":  {"pc"},
		"M":        {"m"},
		"M/min":    {"m"},
		"KG":       {"kg"},
		"HZ":       {"Hz"},
		"Mm":       {"mm"},
		"rad":      {"r", "deg"},
		"degC":     {"K"},
		"°C":       {"K"},
		"Cel":      {"K"},
		"gallus":   {"gal_us"},
		"gals_us":  {"gal_us"},
		"pulsee":   {"pulse"},
		"Ω":        nil,
		"furlong":  nil,
		"[furl]/s": nil,
		"{wet}":    nil,
	} {
		_, err := Parse(text)
		var unknown *UnknownError
		require.ErrorAs(t, err, &unknown, text)
		require.Equal(t, suggestions, slices.Clip(unknown.Suggestions), text)
		require.Equal(t, text, unknown.Text)
	}
}

// Whatever a message proposes must itself be accepted.
func TestProposalsParse(t *testing.T) {
	for _, row := range slices.Concat(ambiguous, otherwise) {
		require.NotEmpty(t, row.symbols)
		for _, instead := range row.instead {
			_, err := Parse(instead)
			require.NoError(t, err, row.symbols)
		}
		for _, symbol := range row.symbols {
			require.Equal(t, strings.ToLower(symbol), symbol)
			require.NotContains(t, registered.units, symbol)
			_, err := Parse(symbol)
			require.Error(t, err, symbol)
			require.NotEmpty(t, row.instead)
		}
	}
}

func TestTable(t *testing.T) {
	symbols := map[string]bool{}
	codes := map[string]string{}
	for _, info := range Table() {
		require.False(t, symbols[info.Symbol], info.Symbol)
		symbols[info.Symbol] = true
		u := MustParse(info.Symbol)
		require.Equal(t, u.Ratio().String(), info.Factor)
		require.Equal(t, u.Dimension().String(), info.Dimension)
		require.NotEmpty(t, info.Name)
		require.NotEmpty(t, info.Quantity)
		ucum := MustParse(info.UCUM)
		require.Equal(t, u.Dimension(), ucum.Dimension(), info.Symbol)
		require.Zero(t, u.Ratio().Cmp(ucum.Ratio()), info.Symbol)
		if info.Rec20 != "" {
			require.Empty(t, codes[info.Rec20], "%s and %s share %s", info.Symbol, codes[info.Rec20], info.Rec20)
			codes[info.Rec20] = info.Symbol
		}
	}
	require.Equal(t, Table(), Table())
	Table()[0].Symbol = "changed"
	require.Equal(t, "m", Table()[0].Symbol)
}

// Interned units must be what the parser makes of the same text.
func TestInternedEqualParsed(t *testing.T) {
	for symbol, u := range registered.units {
		require.Equal(t, symbol, u.Symbol())
		if symbol == "%" {
			continue
		}
		parsed, err := registered.parse(symbol)
		require.NoError(t, err)
		require.Equal(t, u.Dimension(), parsed.Dimension(), symbol)
		require.Zero(t, u.Ratio().Cmp(parsed.Ratio()), symbol)
	}
}

func TestDimensionWords(t *testing.T) {
	for want, d := range map[string]Dimension{
		"length per time":                    SpeedDim,
		"volume per turn":                    VolumePerTurn,
		"mass per volume":                    Density,
		"pulse per volume":                   PulsesPerVolume,
		"turn per time":                      Rotation,
		"count per time":                     Frequency,
		"plain number":                       Plain,
		"area":                               AreaDim,
		"mass per length per time squared":   {Mass: 1, Length: -1, Time: -2},
		"mass times area per time cubed":     {Mass: 1, Length: 2, Time: -3},
		"length to the power 4":              {Length: 4},
		"piece per turn":                     PiecesPerTurn,
		"temperature per length":             {Temperature: 1, Length: -1},
		"mass per length per temperature":    {Mass: 1, Length: -1, Temperature: -1},
		"length per time squared":            AccelerationDim,
		"count per length to the power 5":    {Length: -5},
		"pulse times piece per turn squared": {Pulse: 1, Piece: 1, Turn: -2},
	} {
		require.Equal(t, want, d.String())
	}
}

func TestExamples(t *testing.T) {
	for want, d := range map[string]Dimension{
		"m/min, ft/min, in/s, mm/s, m/s":              SpeedDim,
		"r/min, r/s, deg/s":                           Rotation,
		"L/min, gal_us/min, gal_imp/min, mL/min, L/h": VolumeFlow,
		"kg/L, kg/m3, g/cm3, g/mL, lb/ft3":            Density,
		"1, %":                                        Plain,
		"kg/m/s2":                                     {Mass: 1, Length: -1, Time: -2},
		"1/m5":                                        {Length: -5},
		"pulse.pc/r2":                                 {Pulse: 1, Piece: 1, Turn: -2},
		"mL/r, L/r, cm3/r, in3/r, gal_us/r":           VolumePerTurn,
		"pulse/L, pulse/mL, pulse/m3, pulse/gal_us, pulse/gal_imp": PulsesPerVolume,
	} {
		require.Equal(t, want, d.Examples())
		for _, example := range strings.Split(want, ", ") {
			require.Equal(t, d, MustParse(example).Dimension())
		}
	}
}

// term is a table symbol to a power.
type term struct {
	info  Info
	power int
}

func (x term) text() string {
	if x.power == 1 {
		return x.info.Symbol
	}
	return x.info.Symbol + strconv.Itoa(x.power)
}

func genTerms(t *rapid.T, label string, from, to int, powers *rapid.Generator[int]) []term {
	atoms := Table()[:len(symbolRows)]
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) term {
		return term{rapid.SampledFrom(atoms).Draw(t, "symbol"), powers.Draw(t, "power")}
	}), from, to).Draw(t, label)
}

// genCompound returns a unit's text with the factor and dimension that follow
// from the table by arithmetic of its own.
func genCompound(t *rapid.T) (string, *big.Rat, Dimension) {
	above := genTerms(t, "above", 1, 3, rapid.SampledFrom([]int{1, 2, 3, -1, -2}))
	below := genTerms(t, "below", 0, 2, rapid.SampledFrom([]int{1, 2, 3}))
	ratio, dim := big.NewRat(1, 1), Plain
	var words []string
	apply := func(x term, sign int) {
		factor, _ := new(big.Rat).SetString(x.info.Factor)
		unit := registered.symbols[x.info.Symbol].dim
		for range max(x.power, -x.power) {
			if (x.power > 0) == (sign > 0) {
				ratio.Mul(ratio, factor)
				dim = dim.Times(unit)
			} else {
				ratio.Quo(ratio, factor)
				dim = dim.Per(unit)
			}
		}
	}
	for _, x := range above {
		words = append(words, x.text())
		apply(x, 1)
	}
	text := strings.Join(words, ".")
	for _, x := range below {
		text += "/" + x.text()
		apply(x, -1)
	}
	return text, ratio, dim
}

func inRange(ratio *big.Rat, d Dimension) bool {
	for _, b := range d.bases() {
		if b.exponent > maxExponent || b.exponent < -maxExponent {
			return false
		}
	}
	return ratio.Cmp(maxFactor) <= 0 && ratio.Cmp(minFactor) >= 0
}

func TestCompoundsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text, ratio, dim := genCompound(t)
		u, err := Parse(text)
		if len(text) > maxLength || !inRange(ratio, dim) {
			if err == nil {
				t.Fatalf("%s: accepted beyond the limits", text)
			}
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if u.Ratio().Cmp(ratio) != 0 || u.Dimension() != dim {
			t.Fatalf("%s: got %s %s, want %s %s", text, u.Ratio(), u.Dimension(), ratio, dim)
		}
		again, err := Parse(dim.BaseUnit())
		if err != nil || again.Dimension() != dim || again.Ratio().Cmp(big.NewRat(1, 1)) != 0 {
			t.Fatalf("%s: base unit %s: %v", text, dim.BaseUnit(), err)
		}
	})
}

// SI and FromSI against rationals: within the bound, and exactly in exact mode.
func TestConversionsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text, ratio, dim := genCompound(t)
		if len(text) > maxLength || !inRange(ratio, dim) {
			return
		}
		value := rapid.Float64Range(-1e12, 1e12).Draw(t, "value")
		if value != 0 && math.Abs(value) < 1e-12 {
			return // outside the domain of core/exact once multiplied by a factor
		}
		q := Quantity{value, MustParse(text)}
		decimal, _ := new(big.Rat).SetString(strconv.FormatFloat(value, 'g', -1, 64))
		want := new(big.Rat).Mul(decimal, ratio)

		c := new(exact.Calc)
		si := q.SI(c)
		requireWithin(t, "SI", si, want)
		requireWithin(t, "FromSI", FromSI(c, si, q.Unit), decimal)

		c = exact.NewExact()
		si = q.SI(c)
		if c.Cmp(si, c.Const(exact.NewConstant(want))) != 0 {
			t.Fatalf("%v %s is not exactly %s", value, text, want)
		}
		if c.Cmp(FromSI(c, si, q.Unit), c.Dec(value)) != 0 {
			t.Fatalf("%v %s does not come back exactly", value, text)
		}
	})
}

func requireWithin(t *rapid.T, what string, n exact.Num, want *big.Rat) {
	t.Helper()
	got, bound := new(big.Rat).SetFloat64(n.Float()), new(big.Rat).SetFloat64(n.Bound())
	difference := got.Sub(got, want)
	if difference.Abs(difference).Cmp(bound) > 0 {
		t.Fatalf("%s: got %v, want %s, bound %v", what, n.Float(), want.RatString(), n.Bound())
	}
	if scale := new(big.Rat).Abs(want); bound.Cmp(scale.Mul(scale, big.NewRat(1, 1e14))) > 0 {
		t.Fatalf("%s: bound %v is needlessly wide for %v", what, n.Bound(), n.Float())
	}
}

// A whole number in a unit with a whole factor or divisor takes one rounding at
// most: the value is v*num/den in float64, whatever the factor's own error.
func TestSIRoundsOnce(t *testing.T) {
	c := new(exact.Calc)
	for v := -2000.0; v <= 2000; v++ {
		require.Equal(t, v/60+0, Quantity{v, MustParse("r/min")}.SI(c).Float())
		require.Equal(t, v*381/1250+0, Quantity{v, MustParse("ft")}.SI(c).Float())
		n := Quantity{v, MustParse("kg/L")}.SI(c)
		require.Equal(t, v*1000+0, n.Float())
		require.Equal(t, v*127/25000+0, Quantity{v, MustParse("[ft_i]/min")}.SI(c).Float())
	}
	require.Zero(t, Quantity{1750, MustParse("s")}.SI(c).Bound())
}

func TestRatioIsACopy(t *testing.T) {
	u := MustParse("m/min")
	u.Ratio().SetInt64(7)
	require.Equal(t, "1/60", u.Ratio().String())
}

func TestMustParsePanics(t *testing.T) {
	require.Panics(t, func() { MustParse("gal") })
}

func TestHotPathAllocatesNothing(t *testing.T) {
	for _, symbol := range []string{"m/min", "r/min", "gal_us/min", "kg/m3", "kg/m³", "mL/r", "[ft_i]/min", "%", "lb/ft3", "pulse/gal_us"} {
		require.Zero(t, testing.AllocsPerRun(100, func() {
			u, err := Parse(symbol)
			if err != nil || u == nil {
				t.Fatal(err)
			}
			c := new(exact.Calc)
			n := FromSI(c, Quantity{18, u}.SI(c), u)
			if n.Float() < 17 || n.Float() > 19 {
				t.Fatal(n)
			}
		}), symbol)
	}
}

const corpus = "testdata/fuzz/FuzzParse"

// An empty corpus would let the fuzz target pass on nothing.
func TestFuzzCorpusIsThere(t *testing.T) {
	files, err := filepath.Glob(corpus + "/*")
	require.NoError(t, err)
	require.Greater(t, len(files), 20)
	for _, file := range files {
		content, err := os.ReadFile(file)
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(string(content), "go test fuzz v1\nstring("), file)
	}
}

// FuzzParse: any text gives a unit or a typed error, never a panic; a unit keeps
// its text, and each of its factors stands the way to SI and back.
func FuzzParse(f *testing.F) {
	f.Fuzz(func(t *testing.T, text string) {
		u, err := Parse(text)
		if err != nil {
			checkError(t, u, err)
			return
		}
		if u.Symbol() != text || u.Ratio().Sign() <= 0 || !inRange(u.Ratio(), u.Dimension()) {
			t.Fatalf("%q: got %q, factor %s, %s", text, u.Symbol(), u.Ratio(), u.Dimension())
		}
		if parsed, err := registered.parse(text); text != "%" && (err != nil || parsed.Ratio().Cmp(u.Ratio()) != 0 || parsed.Dimension() != u.Dimension()) {
			t.Fatalf("%q: parsing differs from look-up: %v", text, err)
		}
		if base := u.Dimension().BaseUnit(); MustParse(base).Dimension() != u.Dimension() {
			t.Fatalf("%q: base unit %q differs", text, base)
		}
		c := exact.NewExact()
		if c.Cmp(FromSI(c, Quantity{0.1, u}.SI(c), u), c.Dec(0.1)) != 0 {
			t.Fatalf("%q: no way back from SI", text)
		}
	})
}

func checkError(t *testing.T, u *Unit, err error) {
	t.Helper()
	switch err := err.(type) {
	case *UnknownError, *AmbiguousError, *SyntaxError:
	default:
		t.Fatalf("untyped error %T", err)
	}
	if u != nil || len(err.Error()) < 10 || len(err.Error()) > 1000 {
		t.Fatalf("unit %v with error %q", u, err)
	}
}

func BenchmarkParse(b *testing.B) {
	for _, symbol := range []string{"m/min", "kg/h/m", "gal/min", "mils"} {
		b.Run(symbol, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, _ = Parse(symbol)
			}
		})
	}
}

func BenchmarkSI(b *testing.B) {
	q := Quantity{18, MustParse("ft/min")}
	for b.Loop() {
		c := new(exact.Calc)
		_ = q.SI(c)
	}
}

func Example() {
	c := new(exact.Calc)
	speed := Quantity{Value: 40, Unit: MustParse("ft/min")}
	fmt.Println(FromSI(c, speed.SI(c), MustParse("m/min")).Float())
	_, err := Parse("gal/min")
	fmt.Println(err)
	// Output:
	// 12.192
	// unit "gal/min": "gal" can be read in more than one way (US or imperial); write gal_us or gal_imp
}
