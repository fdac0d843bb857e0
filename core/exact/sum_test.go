package exact_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
)

// A sum of decimals is that of math/big's rationals: the bound of float64 mode holds
// it, exact mode decides against it, and both modes give the same bits.
func TestSumAgainstRationals(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	for round := range 200 {
		n := r.IntN(40)
		values := make([]float64, n)
		want := new(big.Rat)
		for i := range values {
			values[i] = math.Round((r.Float64()-0.5)*1e6) / math.Pow10(r.IntN(6))
			part, ok := new(big.Rat).SetString(fmt.Sprint(values[i]))
			require.True(t, ok)
			want.Add(want, part.Quo(part, big.NewRat(int64(i%7+1), 1)))
		}
		sum := func(c *exact.Calc) exact.Num {
			return c.Sum(n, func(i int) exact.Num { return c.Dec(values[i]).Quo(c.Int(int64(i%7 + 1))) })
		}
		fast, c := sum(new(exact.Calc)), exact.NewExact()
		certain := sum(c)
		require.Equal(t, math.Float64bits(fast.Float()), math.Float64bits(certain.Float()), "round %d", round)
		require.Equal(t, 0, c.Cmp(certain, c.Const(exact.NewConstant(want))), "round %d: %v", round, values)
		off := new(big.Rat).Sub(new(big.Rat).SetFloat64(fast.Float()), want)
		bound := new(big.Rat).SetFloat64(fast.Bound())
		require.LessOrEqual(t, off.Abs(off).Cmp(bound), 0, "round %d: the bound must hold", round)
	}
}

// With pi in a denominator there is no least common one to find, and the sum is
// right all the same: 1/pi + 2/pi = 3/pi.
func TestSumWithPi(t *testing.T) {
	c := exact.NewExact()
	sum := c.Sum(2, func(i int) exact.Num { return c.Int(int64(i + 1)).Quo(c.Pi()) })
	require.Equal(t, 0, c.Cmp(sum, c.Int(3).Quo(c.Pi())))
	require.Equal(t, 0, c.Sign(c.Sum(0, nil)))
}

// A thousand weighted products: what a fit through measured points sums.
func BenchmarkSumExact(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	values := make([]float64, 1000)
	for i := range values {
		values[i] = math.Round(r.Float64()*1e6) / 1e3
	}
	for b.Loop() {
		c := exact.NewExact()
		c.Sum(len(values), func(i int) exact.Num { return c.Dec(values[i]).Mul(c.Dec(values[i] / 3)) })
	}
}
