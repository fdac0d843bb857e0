package exact

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
)

// arithmeticGeometricPi is pi by the Gauss-Legendre iteration (Brent 1976,
// Salamin 1976), which shares nothing with the arctangent series under test.
func arithmeticGeometricPi(precision uint) *big.Float {
	number := func(v float64) *big.Float { return new(big.Float).SetPrec(precision).SetFloat64(v) }
	a, b, t, p := number(1), number(0.5), number(0.25), number(1)
	b.Sqrt(b)
	for range 14 { // doubles the digits each time
		mean := number(0).Add(a, b)
		mean.Mul(mean, number(0.5))
		b.Mul(a, b).Sqrt(b)
		step := number(0).Sub(a, mean)
		step.Mul(step, step).Mul(step, p)
		t.Sub(t, step)
		p.Mul(p, number(2))
		a = mean
	}
	a.Add(a, b)
	return a.Mul(a, a).Quo(a, t.Mul(t, number(4)))
}

func TestPiBoundsEnclosePi(t *testing.T) {
	pi := arithmeticGeometricPi(8300)
	// The Gauss-Legendre value is checked in turn against math.Pi's neighbours.
	require.Equal(t, "3.141592653589793238462643383279502884197169399375105820974944592", pi.Text('f', 63))
	for bits := uint(firstBits); bits <= 8192; bits *= 2 {
		bounds := piBounds(bits)
		scaled := new(big.Float).SetMantExp(pi, int(bits))
		floor, _ := scaled.Int(nil)
		require.LessOrEqual(t, bounds.low.Cmp(floor), 0, bits)
		require.Positive(t, bounds.high.Cmp(floor), bits)
		width := new(big.Int).Sub(bounds.high, bounds.low)
		require.LessOrEqual(t, width.Cmp(big.NewInt(3)), 0, bits)
		require.Equal(t, int(bits)+2, bounds.low.BitLen())
	}
}
