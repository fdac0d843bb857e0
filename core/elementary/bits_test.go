package elementary

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Results are the same bits on every processor and build: run this at GOAMD64=v1
// and v3, with the processor's fused multiply-add switched off, and on arm64. The
// table was written by another program in another language,
// testdata/elementary/bits.py.
func TestBits(t *testing.T) {
	functions := map[string]func(x []float64) float64{
		"exp":           func(x []float64) float64 { return Exp(x[0]) },
		"log":           func(x []float64) float64 { return Log(x[0]) },
		"log1p":         func(x []float64) float64 { return Log1p(x[0]) },
		"log1pMinus":    func(x []float64) float64 { return Log1pMinus(x[0]) },
		"exp10":         func(x []float64) float64 { return Exp10(x[0]) },
		"pow":           func(x []float64) float64 { return Pow(x[0], x[1]) },
		"erfc":          func(x []float64) float64 { return Erfc(x[0]) },
		"normalTail":    func(x []float64) float64 { return NormalTail(x[0]) },
		"logGamma":      func(x []float64) float64 { return LogGamma(x[0]) },
		"stirlingError": func(x []float64) float64 { return StirlingError(x[0]) },
	}
	file, err := os.Open("../../testdata/elementary/bits.txt")
	require.NoError(t, err)
	defer file.Close()
	lines := bufio.NewScanner(file)
	count, seen := 0, map[string]bool{}
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		call, result, ok := strings.Cut(lines.Text(), " = ")
		require.True(t, ok, lines.Text())
		words := strings.Fields(call)
		f, ok := functions[words[0]]
		require.True(t, ok, words[0])
		var x []float64
		for _, word := range words[1:] {
			x = append(x, parse(t, word))
		}
		if got := f(x); math.Float64bits(got) != math.Float64bits(parse(t, result)) {
			t.Errorf("%s: got %x, want %s", call, got, result)
		}
		count++
		seen[words[0]] = true
	}
	require.NoError(t, lines.Err())
	require.Equal(t, 900, count)
	require.Len(t, seen, len(functions))
}

func parse(t *testing.T, word string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(word, 64)
	require.NoError(t, err)
	return v
}
