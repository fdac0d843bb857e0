package exact_test

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"linepace.example/core/exact"
)

// Results and bounds are the same bits on every processor and build: run this at
// GOAMD64=v1 and v3 and on arm64. The table was written by another program in
// another language, testdata/exact/bits.py.
func TestBits(t *testing.T) {
	file, err := os.Open("../../testdata/exact/bits.txt")
	require.NoError(t, err)
	defer file.Close()
	lines := bufio.NewScanner(file)
	count := 0
	for lines.Scan() {
		text, results, ok := strings.Cut(lines.Text(), " = ")
		if strings.HasPrefix(text, "#") && !ok || strings.HasPrefix(text, "# ") {
			continue
		}
		require.True(t, ok, lines.Text())
		f, err := parseFormula(text)
		require.NoError(t, err)
		value, bound, ok := strings.Cut(results, " ")
		require.True(t, ok, results)
		for _, c := range []*exact.Calc{new(exact.Calc), exact.NewExact()} {
			n := f.eval(c)
			requireBits(t, value, n.Float(), "value of "+text)
			requireBits(t, bound, n.Bound(), "bound of "+text)
		}
		count++
	}
	require.NoError(t, lines.Err())
	require.Greater(t, count, 900)
}

func requireBits(t *testing.T, want string, got float64, what string) {
	t.Helper()
	v, err := strconv.ParseFloat(want, 64)
	require.NoError(t, err)
	if math.Float64bits(v) != math.Float64bits(got) {
		t.Fatalf("%s: got %x, want %x", what, got, v)
	}
}

func TestFastPathAllocatesNothing(t *testing.T) {
	var c exact.Calc
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		c = exact.Calc{}
		n := rollCount(&c)
		count, ok := c.Round(n)
		below, _ := c.Floor(n)
		above, _ := c.Ceil(n)
		if !ok || count < below || count > above || c.Cmp(n, c.Int(32767)) > 0 || c.Undecided() {
			t.Fatal(count, below, above)
		}
	}))
}
