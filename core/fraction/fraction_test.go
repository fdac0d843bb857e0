package fraction_test

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	. "linepace.example/core/fraction"
)

func pi(c *exact.Calc) exact.Num { return c.Pi() }

// e to 16 digits, as math.E stands for them.
var e = Decimal(math.E)

func over(a, b int64) Target {
	return func(c *exact.Calc) exact.Num { return c.Int(a).Quo(c.Int(b)) }
}

func terms(numerator, denominator int64) Bounds {
	return Bounds{MaxNumerator: numerator, MaxDenominator: denominator}
}

// Published and computed tables. CPython's own tests of limit_denominator
// (test_fractions) and its documentation; continued fractions of pi and e (OEIS
// A002485, A002486, A007676, A007677, from memory, recomputed with sympy 1.11.1);
// the wheels of Huygens' planetarium (ratio from memory); a gear pair for 1.234;
// both terms bounded: exhaustive search.
func TestPublished(t *testing.T) {
	const free = MaxTerm
	for _, c := range []struct {
		target                         Target
		maxNumerator, maxDenominator   int64
		wantNumerator, wantDenominator int64
	}{
		{Decimal(math.Pi), free, 10000, 355, 113},
		{Decimal(math.Pi), free, 113, 355, 113},
		{Decimal(math.Pi), free, 112, 333, 106},
		{Decimal(1.005), free, 100, 1, 1},
		{Decimal(1.005), free, 101, 102, 101},
		{pi, free, 10, 22, 7},
		{pi, free, 100, 311, 99},
		{pi, free, 1000, 355, 113},
		{over(4321, 8765), free, 10000, 4321, 8765},
		{pi, free, 33102, 103993, 33102}, {pi, free, 33215, 104348, 33215},
		{pi, free, 66317, 208341, 66317}, {pi, free, 99532, 312689, 99532},
		{e, free, 1, 3, 1}, {e, free, 3, 8, 3}, {e, free, 4, 11, 4}, {e, free, 7, 19, 7}, {e, free, 32, 87, 32},
		{e, free, 39, 106, 39}, {e, free, 71, 193, 71}, {e, free, 465, 1264, 465}, {e, free, 536, 1457, 536},
		{over(77708431, 2640858), free, 1, 29, 1}, {over(77708431, 2640858), free, 2, 59, 2},
		{over(77708431, 2640858), free, 5, 147, 5}, {over(77708431, 2640858), free, 7, 206, 7},
		{over(77708431, 2640858), free, 40, 1177, 40}, {over(77708431, 2640858), free, 47, 1383, 47},
		{Decimal(1.234), free, 20, 21, 17},
		{Decimal(1.234), free, 100, 58, 47},
		{Decimal(0.3048), free, 100, 25, 82},
		{Decimal(0.3048), free, 1000, 235, 771},
		{Decimal(25.4), free, 4, 76, 3},
		{Decimal(25.4), free, 5, 127, 5},
		{Decimal(0.0001), free, 10000, 1, 10000},
		{Decimal(4.8828125e-4), free, 2047, 1, 2047},
		{Decimal(4.8828125e-4), free, 2048, 1, 2048},
		{pi, 32767, 32767, 355, 113},
		{pi, 255, 255, 245, 78},
		{Decimal(1.0123456789), 65535, 65535, 82, 81},
	} {
		got, err := Best(Proportional, c.target, terms(c.maxNumerator, c.maxDenominator))
		require.NoError(t, err)
		require.Equal(t, Pair{c.wantNumerator, c.wantDenominator}, got)
	}
}

// The table that a general-purpose library computes; its header names it.
func TestAgainstPythonFractions(t *testing.T) {
	data, err := os.ReadFile("../../testdata/fraction/limit_denominator.csv")
	require.NoError(t, err)
	rows := 0
	for line := range strings.Lines(string(data)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		cells := strings.Split(strings.TrimSpace(line), ",")
		target, err := strconv.ParseFloat(cells[0], 64)
		require.NoError(t, err)
		var n [3]int64
		for i, cell := range cells[1:] {
			n[i], err = strconv.ParseInt(cell, 10, 64)
			require.NoError(t, err)
		}
		got, err := Best(Proportional, Decimal(target), terms(MaxTerm, n[0]))
		require.NoError(t, err, line)
		require.Equal(t, Pair{n[1], n[2]}, got, line)
		rows++
	}
	require.Greater(t, rows, 1800)
}

// The first two as exhaustive search gives them, the others worked by hand; of the
// third, a small difference, all digits must hold.
func TestErrorPPM(t *testing.T) {
	require.InEpsilon(t, 0.0849, Pair{355, 113}.ErrorPPM(Proportional, pi), 1e-3)
	require.InEpsilon(t, -180, Pair{245, 78}.ErrorPPM(Proportional, pi), 5e-3)
	require.InEpsilon(t, 1.11e-4, Pair{82, 81}.ErrorPPM(Proportional, Decimal(1.0123456789)), 1e-2)
	require.InEpsilon(t, -1.9999999999999996e-10, Pair{1, 1}.ErrorPPM(Proportional, Decimal(1.0000000000000002)), 1e-15) // -2e-10 / (1 + 2e-16)
	require.Zero(t, Pair{3, 4}.ErrorPPM(Proportional, Decimal(0.75)))
	require.InEpsilon(t, 1e6, Pair{3, 4}.ErrorPPM(Reciprocal, Decimal(6)), 1e-15)
}

// Two-stage trains of 20 to 100 teeth: no other pair of stages is nearer than the
// one that exhaustive search gives.
func TestNearerTellsGearTrainsApart(t *testing.T) {
	for _, c := range []struct {
		target Target
		best   Pair
		ppm    float64
	}{
		{pi, Pair{51 * 77, 25 * 50}, 2.338},
		{e, Pair{47 * 93, 24 * 67}, 0.645},
	} {
		require.InEpsilon(t, c.ppm, math.Abs(c.best.ErrorPPM(Proportional, c.target)), 1e-3)
		random := rand.New(rand.NewPCG(1, 2))
		teeth := func() int64 { return 20 + random.Int64N(81) }
		for range 20000 {
			require.GreaterOrEqual(t, Nearer(Proportional, c.target, Pair{teeth() * teeth(), teeth() * teeth()}, c.best), 0)
		}
	}
	require.Equal(t, -1, Nearer(Proportional, Decimal(0.4999), Pair{1, 3}, Pair{2, 3}))
	require.Equal(t, 0, Nearer(Proportional, Decimal(0.5), Pair{1, 3}, Pair{2, 3}))
}

func TestRefused(t *testing.T) {
	for name, b := range map[string]Bounds{
		"denominator of 0":      terms(1, 0),
		"denominator below 0":   terms(1, -1),
		"numerator of 0":        terms(0, 1),
		"too great":             terms(MaxTerm+1, 1),
		"minimum above maximum": {MaxNumerator: 10, MaxDenominator: 5, Minimum: 6},
		"minimum too great":     {MaxNumerator: 1e6, MaxDenominator: 1e6, Minimum: MaxMinimum + 1},
		"minimum below 0":       {MaxNumerator: 10, MaxDenominator: 5, Minimum: -1},
	} {
		_, err := Best(Proportional, pi, b)
		require.ErrorIs(t, err, ErrBounds, name)
	}
	_, err := LeastWorst(Proportional, nil, terms(1, 1))
	require.ErrorIs(t, err, ErrBounds)
	for _, c := range []struct {
		form   Form
		target Target
		bounds Bounds
		small  bool
	}{
		{Proportional, Decimal(0.0001), terms(1, 5000), true}, // nearer to no gear ratio at all
		{Proportional, Decimal(20), terms(10, 5000), false},
		{Reciprocal, Decimal(0.5), terms(10, 10), true},
		{Reciprocal, Decimal(200), terms(10, 10), false},
		{Reciprocal, Decimal(2e12), terms(MaxTerm, MaxTerm), false},
		{Reciprocal, Decimal(49.9), Bounds{MaxNumerator: 20, MaxDenominator: 20, Minimum: 10}, true},
	} {
		_, err := Best(c.form, c.target, c.bounds)
		var out *OutOfReachError
		require.ErrorAs(t, err, &out)
		require.Equal(t, c.small, out.Small)
		require.NotEmpty(t, out.Error())
	}
}
