package elementary

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func points(n int, at func(r *rand.Rand) float64, also ...float64) []float64 {
	r := rand.New(rand.NewPCG(20, 26))
	for range n {
		also = append(also, at(r))
	}
	return also
}

func uniform(low, high float64) func(*rand.Rand) float64 {
	return func(r *rand.Rand) float64 { return low + (high-low)*r.Float64() }
}

// anyMagnitude covers every exponent of a positive float64 evenly.
func anyMagnitude(r *rand.Rand) float64 {
	return math.Ldexp(0.5+r.Float64()/2, r.IntN(2098)-1073)
}

func TestErrorBounds(t *testing.T) {
	half := big.NewFloat(0.5)
	lnTen := bigLog(bigOf(10))
	cases := []struct {
		name  string
		f     func(float64) float64
		want  func(*big.Float) *big.Float
		bound float64
		floor float64
		at    []float64
	}{
		{name: "Exp", f: Exp, want: bigExp, bound: 0.52, at: points(3000, uniform(-745.1, 709.78),
			0, 1, -1, 0x1p-1074, -0x1p-1074, 0x1p-60, 1e-9, math.Ln2, math.Ln2/64, 3*math.Ln2/64, -math.Ln2/64, 709.782712893384, -708.4, -744.5, -745.13, 0.5, 30)},
		{name: "Exp near 0", f: Exp, want: bigExp, bound: 0.52, at: points(2000, uniform(-2, 2))},
		{name: "Log", f: Log, want: bigLog, bound: 0.51, at: points(1500, anyMagnitude,
			0x1p-1074, 0x1p-1022, math.MaxFloat64, 2, 0.5, 10, math.Sqrt2, math.Sqrt2/2, 1-0x1p-53, 1+0x1p-52)},
		{name: "Log near 1", f: Log, want: bigLog, bound: 0.51, at: points(1500, uniform(0.5, 2))},
		{name: "Log1p", f: Log1p, want: func(x *big.Float) *big.Float { return bigLog(x.Add(x, big.NewFloat(1))) }, bound: 0.51,
			at: points(1000, uniform(-1, 3), 1e-17, -1e-17, 1e-9, -1e-9, 0x1p-60, -1+0x1p-53, 1e300, 1.7e308, 0x1p199, 0x1p201, 0x1p-1074)},
		{name: "Log1pMinus", f: Log1pMinus, want: func(x *big.Float) *big.Float {
			y := bigLog(bigNew(referenceBits).Add(x, big.NewFloat(1)))
			return y.Sub(y, x)
		}, bound: 2, at: points(1000, uniform(-1, 3), append(points(500, uniform(-0.01, 0.01)), 1e-17, -1e-17, 1e-9, 0x1p-7, -0x1p-7, 0x1.fp-8, -0x1.fp-8, 1e15, 1e308)...)},
		{name: "Exp10", f: Exp10, want: func(x *big.Float) *big.Float { return bigExp(x.Mul(x, lnTen)) }, bound: 0.53,
			at: points(2000, uniform(-323.3, 308.25), 0.1, -0.1, 1e-20, 308.2547155599167, -307.6, -323)},
		{name: "Erfc", f: Erfc, want: bigErfc, bound: 4, at: points(150, uniform(-6, 27.2), append(points(200, uniform(-3, 3)), 1e-20, 1e-9, 0.5, seriesUpTo, math.Nextafter(seriesUpTo, 0), 26.5, 27.2)...)},
		{name: "NormalTail", f: NormalTail, want: func(x *big.Float) *big.Float {
			y := bigErfc(x.Quo(x, bigNew(referenceBits).Sqrt(bigOf(2))))
			return y.Mul(y, half)
		}, bound: 4, at: points(150, uniform(-8.5, 38.4), append(points(200, uniform(-4, 4)), 1e-20, 3.5355339059327373, 3.535533905932738, 37.5, 38.4)...)},
		{name: "LogGamma", f: LogGamma, want: bigLogGamma, bound: 4, floor: 0x1p-52, at: points(100, uniform(0, 3),
			append(points(100, uniform(0, 200)), 0x1p-1000, 1e-9, 1, 2, 3, 0.5, 11.999, 12, 1e3, 1e9, 1e18, 9e19, 2e20, 1e300, 2.5e305)...)},
		{name: "StirlingError", f: StirlingError, want: func(x *big.Float) *big.Float {
			y := bigLogGamma(x)
			return y.Sub(y, bigApproximateLogGamma(x))
		}, bound: 16, at: points(100, uniform(0, 20), 1e-300, 1e-9, 0.5, 1, 11.999, 12, 1e3, 1e6)},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			worst, where := 0.0, 0.0
			for _, x := range c.at {
				got, want := c.f(x), c.want(bigOf(x))
				e := ulps(got, want, c.floor)
				if math.Abs(got) < 0x1p-1022 {
					require.LessOrEqual(t, e, 1.0, "subnormal result at %x", x)
					continue
				}
				if e > worst {
					worst, where = e, x
				}
			}
			t.Logf("worst of %d: %.3f ulp at %v", len(c.at), worst, where)
			require.LessOrEqual(t, worst, c.bound, "at %v (%x): %v", where, where, c.f(where))
		})
	}
}

func TestPowErrorBound(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	worst := 0.0
	for range 2000 {
		x := anyMagnitude(r)
		if r.IntN(2) == 0 {
			x = 0.5 + r.Float64()
		}
		l := math.Abs(math.Log(x))
		y := (2*r.Float64() - 1) * 700 / l
		want := bigExp(bigNew(referenceBits).Mul(bigLog(bigOf(x)), bigOf(y)))
		e := ulps(Pow(x, y), want, 0)
		require.LessOrEqual(t, e, 0.53, "%x ^ %x", x, y)
		worst = max(worst, e)
	}
	t.Logf("worst: %.3f ulp", worst)
}

// A power that float64 holds comes out exactly.
func TestExactPowers(t *testing.T) {
	power := 1.0
	for n := range 23 {
		require.Equal(t, power, Exp10(float64(n)))
		require.Equal(t, power, Pow(10, float64(n)))
		power *= 10
	}
	for n := -1074; n < 1024; n++ {
		require.Equal(t, math.Ldexp(1, n), Pow(2, float64(n)), n)
	}
	for _, x := range []float64{3, 5, 7, 1.5, 12.25} {
		require.Equal(t, x*x, Pow(x, 2))
		require.Equal(t, x, Pow(x*x, 0.5))
		require.Equal(t, x, Pow(x, 1))
		require.Equal(t, 1.0, Pow(x, 0))
	}
}

func TestSpecialValues(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	equal := func(want, got float64) {
		t.Helper()
		if math.IsNaN(want) {
			require.True(t, math.IsNaN(got), got)
			return
		}
		require.Equal(t, want, got)
	}
	for _, c := range []struct {
		f    func(float64) float64
		x, y float64
	}{
		{Exp, inf, inf}, {Exp, -inf, 0}, {Exp, nan, nan}, {Exp, 709.79, inf}, {Exp, 1e300, inf}, {Exp, -745.14, 0}, {Exp, -1e300, 0}, {Exp, 0, 1},
		{Log, 0, -inf}, {Log, inf, inf}, {Log, -1, nan}, {Log, nan, nan}, {Log, 1, 0},
		{Log1p, -1, -inf}, {Log1p, inf, inf}, {Log1p, -1.5, nan}, {Log1p, nan, nan}, {Log1p, 0, 0},
		{Log1pMinus, -1, -inf}, {Log1pMinus, inf, -inf}, {Log1pMinus, -1.5, nan}, {Log1pMinus, nan, nan}, {Log1pMinus, 0, 0},
		{Exp10, inf, inf}, {Exp10, -inf, 0}, {Exp10, nan, nan}, {Exp10, 309, inf}, {Exp10, -324, 0},
		{Erfc, inf, 0}, {Erfc, -inf, 2}, {Erfc, nan, nan}, {Erfc, 0, 1},
		{NormalTail, inf, 0}, {NormalTail, -inf, 1}, {NormalTail, nan, nan}, {NormalTail, 0, 0.5},
		{LogGamma, 0, inf}, {LogGamma, inf, inf}, {LogGamma, -1, nan}, {LogGamma, nan, nan}, {LogGamma, 1, 0}, {LogGamma, 2, 0},
		{StirlingError, 0, inf}, {StirlingError, inf, 0}, {StirlingError, -1, nan}, {StirlingError, nan, nan},
	} {
		equal(c.y, c.f(c.x))
	}
	for _, c := range []struct{ x, y, power float64 }{
		{-1, 2, nan}, {nan, 0, nan}, {2, nan, nan}, {0, 0, 1}, {0, 2, 0}, {0, -2, inf}, {inf, 2, inf}, {inf, -2, 0}, {inf, 0, 1},
		{2, inf, inf}, {2, -inf, 0}, {0.5, inf, 0}, {0.5, -inf, inf}, {1, inf, 1}, {10, 400, inf}, {10, -400, 0}, {1e-300, 1e300, 0},
		{1 + 0x1p-52, 0x1p-1074, 1}, {0x1p-1074, 1, 0x1p-1074},
	} {
		equal(c.power, Pow(c.x, c.y))
	}
}

// Neither a table's seam nor the change of method makes a step in the wrong direction.
func TestMonotone(t *testing.T) {
	for _, c := range []struct {
		f    func(float64) float64
		at   []float64
		sign float64
	}{
		{Exp, []float64{math.Ln2 / 64, -math.Ln2 / 64, 3 * math.Ln2 / 64, 100 * math.Ln2}, 1},
		{Log, []float64{127.5 / 128, 128.5 / 128, math.Sqrt2, 1.25}, 1},
		{Log1pMinus, []float64{0x1p-7}, -1},
		{Exp10, []float64{1, 2, 0.5}, 1},
	} {
		for _, x := range c.at {
			last := c.f(x - 1e-4)
			for k := -99; k <= 100; k++ {
				next := c.f(x + float64(k)*1e-6)
				require.GreaterOrEqual(t, c.sign*next, c.sign*last, x)
				last = next
			}
		}
	}
}

func TestTables(t *testing.T) {
	pair := func(want *big.Float, got double, name string, args ...any) {
		t.Helper()
		hi, _ := want.Float64()
		lo, _ := bigNew(referenceBits).Sub(want, bigOf(hi)).Float64()
		require.Equal(t, double{hi, lo}, got, name, args)
	}
	ln2 := bigLog(bigOf(2))
	for j, got := range powersOfTwo {
		x := bigNew(referenceBits).Mul(ln2, bigOf(float64(j)/32))
		pair(bigExp(x), got, "2^(j/32)", j)
	}
	for i, got := range logs {
		want := bigLog(bigOf(128 / float64(firstLog+i)))
		pair(want.Neg(want), got, "-ln c", i)
	}
	pair(bigLog(bigOf(10)), ln10, "ln 10")
	pair(bigNew(referenceBits).Sqrt(bigOf(0.5)), rootHalf, "sqrt(1/2)")
	rootPi := bigNew(referenceBits).Sqrt(bigPi(referenceBits))
	pair(bigNew(referenceBits).Quo(bigOf(2), rootPi), twoOverRootPi, "2/sqrt(pi)")
	twoPi := bigPi(referenceBits)
	c := bigLog(twoPi.Mul(twoPi, bigOf(2)))
	pair(c.Quo(c, bigOf(2)), halfLnTwoPi, "ln(2 pi)/2")
	f, _ := bigNew(referenceBits).Quo(bigOf(1), rootPi).Float64()
	require.Equal(t, f, invRootPi)

	f, _ = bigNew(referenceBits).Sub(ln2, bigOf(ln2Hi)).Float64()
	require.Equal(t, f, ln2Lo)
	f, _ = bigNew(referenceBits).Sub(bigNew(referenceBits).Quo(ln2, bigOf(32)), bigOf(stepHi)).Float64()
	require.Equal(t, f, stepLo)
	f, _ = bigNew(referenceBits).Quo(bigOf(32), ln2).Float64()
	require.Equal(t, f, stepsPerUnit)
}

func TestAllocatesNothing(t *testing.T) {
	require.Zero(t, testing.AllocsPerRun(100, func() {
		sink += Exp(1.5) + Log(1.5) + Pow(1.5, 2.5) + Erfc(0.3) + Erfc(3) + LogGamma(4.5)
	}))
}

var sink float64

func BenchmarkElementary(b *testing.B) {
	for name, f := range map[string]func(float64) float64{
		"Exp": Exp, "Log": Log, "Exp10": Exp10, "NormalTail": NormalTail, "LogGamma": LogGamma,
	} {
		b.Run(name, func(b *testing.B) {
			for i := range b.N {
				sink += f(0.5 + float64(i&1023)/256)
			}
		})
	}
}
