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

// randomFormula applies 1 to 12 operations to decimals, integers and pi. It
// prefers differences of nearly equal values, and keeps magnitudes within the
// package's domain and divisors away from zero.
func randomFormula(r *rand.Rand, referee *referee) formula {
	leaf := func() formula {
		switch r.IntN(8) {
		case 0:
			return circle()
		case 1:
			return whole(r.Int64N(1<<uint(1+r.IntN(62))) - r.Int64N(1000))
		case 2:
			return dec(math.Round(1e4*r.NormFloat64()) / 1e3)
		}
		return dec(r.NormFloat64() * math.Pow10(r.IntN(9)-4))
	}
	magnitude := func(f formula) float64 {
		v, _ := referee.eval(f).Float64()
		return math.Abs(v)
	}
	f := leaf()
	for range 1 + r.IntN(12) {
		g := leaf()
		switch r.IntN(7) {
		case 0: // cancel to the last digits
			v, _ := referee.eval(f).Float64()
			f = f.minus(dec(v * (1 + float64(r.IntN(5)-2)*0x1p-50)))
			continue
		case 1, 2:
			f = f.plus(g)
		case 3:
			f = g.minus(f)
		case 4:
			f = f.times(g)
		case 5:
			if magnitude(g) > 1e-6 {
				f = f.over(g)
			}
		case 6:
			if magnitude(f) > 1e-12 {
				f = g.over(f)
			}
		}
		if m := magnitude(f); m > 1e60 || m < 1e-60 && m != 0 {
			f = leaf()
		}
	}
	return f
}

func TestBoundHolds(t *testing.T) {
	t.Parallel()
	cases := 100_000
	if testing.Short() {
		cases /= 20
	}
	r := rand.New(rand.NewPCG(7, 20250102))
	referee := newReferee(600) // cancellation costs up to 60 bits a step
	bound, infinite := referee.float(), 0
	for range cases {
		f := randomFormula(r, referee)
		n := f.eval(new(exact.Calc))
		if math.IsInf(n.Bound(), 1) {
			infinite++
			continue
		}
		requireBound(t, f, n, referee.eval(f), bound)
	}
	t.Logf("%d formulas, %d with a divisor that float64 cannot tell from zero", cases, infinite)
	require.Less(t, infinite, cases/5)
}

func requireBound(t *testing.T, f formula, n exact.Num, want, room *big.Float) {
	t.Helper()
	room.SetFloat64(n.Float())
	room.Sub(room, want).Abs(room)
	if room.Cmp(new(big.Float).SetFloat64(n.Bound())) > 0 {
		t.Fatalf("%s: got %v, want %.20g, differs by %.3g, bound %.3g", f, n.Float(), want, room, n.Bound())
	}
}

// Decimals and pi by themselves, and one operation: the bound must hold here
// without slack from elsewhere.
func TestBoundHoldsForOneOperation(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 20250102))
	referee := newReferee(400)
	room := referee.float()
	for range 100_000 {
		a, b := math.Ldexp(1+r.Float64(), r.IntN(20)-10), math.Ldexp(1+r.Float64(), r.IntN(20)-10)
		for _, f := range []formula{dec(a), dec(a).plus(dec(b)), dec(a).minus(dec(b)), dec(a).times(dec(b)), dec(a).over(dec(b)),
			circle().times(dec(b)), whole(r.Int64()).plus(whole(r.Int64())), whole(r.Int64N(1 << 30)).times(whole(r.Int64N(1 << 30)))} {
			requireBound(t, f, f.eval(new(exact.Calc)), referee.eval(f), room)
		}
	}
	// Integers that float64 rounds: the sum's own rounding is the whole error.
	odd := whole(1<<53 - 1).plus(whole(1<<53 - 2))
	requireBound(t, odd, odd.eval(new(exact.Calc)), referee.eval(odd), room)
	requireBound(t, circle(), circle().eval(new(exact.Calc)), referee.eval(circle()), room)
	require.Positive(t, circle().eval(new(exact.Calc)).Bound())
}

// A bound that is true but wide would send everything to exact mode: without
// additions it must stay within the sum of the operations' roundings.
func TestBoundIsTight(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 20250102))
	for range 10_000 {
		f, steps := circle(), 1.0
		for range 1 + r.IntN(10) {
			g := dec(0.1 + 10*r.Float64())
			steps += 3 // a decimal's rounding, the operation's, which a quotient counts twice
			if r.IntN(2) == 0 {
				f = f.times(g)
			} else {
				f = f.over(g)
			}
		}
		n := f.eval(new(exact.Calc))
		require.LessOrEqual(t, n.Bound(), steps*0x1.0001p-53*math.Abs(n.Float()), f)
	}
}

// convergents returns the best approximations p/q of pi whose terms fit int64.
func convergents(t *testing.T) (p, q []int64) {
	x, _, err := big.ParseFloat(publishedPi, 10, 640, big.ToNearestEven)
	require.NoError(t, err)
	p, q = []int64{1}, []int64{0}
	lastP, lastQ := big.NewInt(0), big.NewInt(1)
	nextP, nextQ := big.NewInt(1), big.NewInt(0)
	for {
		a, _ := x.Int(nil)
		lastP, nextP = nextP, new(big.Int).Add(new(big.Int).Mul(a, nextP), lastP)
		lastQ, nextQ = nextQ, new(big.Int).Add(new(big.Int).Mul(a, nextQ), lastQ)
		if !nextP.IsInt64() {
			return p[1:], q[1:]
		}
		p, q = append(p, nextP.Int64()), append(q, nextQ.Int64())
		x.Sub(x, new(big.Float).SetInt(a))
		x.Quo(big.NewFloat(1).SetPrec(640), x)
	}
}

// sign asks by the two-step protocol and says whether exact mode was needed.
func sign(f formula) (int, bool) {
	c := new(exact.Calc)
	got := c.Sign(f.eval(c))
	if !c.Undecided() {
		return got, false
	}
	c = exact.NewExact()
	return c.Sign(f.eval(c)), true
}

// Convergents of pi alternate below and above it (Khinchin, Continued Fractions,
// theorem 4); the first ones are the published 3, 22/7, 333/106, 355/113, ...
func TestSignOfConvergents(t *testing.T) {
	p, q := convergents(t)
	require.Equal(t, []int64{3, 22, 333, 355, 103993, 104348, 208341, 312689}, p[:8])
	require.Equal(t, []int64{1, 7, 106, 113, 33102, 33215, 66317, 99532}, q[:8])
	require.Greater(t, len(p), 30)
	needed := 0
	for i := range p {
		want := -1 + 2*(i%2)
		for _, f := range []formula{
			whole(p[i]).over(whole(q[i])).minus(circle()),
			whole(p[i]).minus(circle().times(whole(q[i]))),
			whole(p[i]).over(circle()).minus(whole(q[i])),
			whole(p[i]).over(whole(q[i]).times(circle())).minus(whole(1)),
		} {
			got, slow := sign(f)
			require.Equal(t, want, got, f)
			if slow {
				needed++
			}
		}
	}
	require.Positive(t, needed)
}

// Polynomials in pi whose constant is given to 17, 34, ... 136 digits: each sign
// hangs on digits of pi further out, past the first precision and the second.
func TestSignOfPolynomialsNearZero(t *testing.T) {
	s := newSource(11)
	s.referee = newReferee(660)
	for range 4000 {
		f := circle()
		for range s.IntN(3) {
			f = f.times(circle())
		}
		f = whole(1 + s.Int64N(1_000_000)).times(f)
		if s.IntN(2) == 0 {
			f = f.plus(circle().times(dec(s.decimal(-100, 100))))
		}
		g := f
		for range 1 + s.IntN(8) {
			v, _ := s.referee.eval(g).Float64()
			g = g.minus(dec(v))
		}
		last, _ := s.referee.eval(g).Float64()
		g = g.minus(dec(s.lastDigit(last)))
		got, slow := sign(g)
		require.True(t, slow)
		require.Equal(t, s.referee.eval(g).Sign(), got, g)

		// As a numerator and as a denominator, next to an integer and beyond.
		c := exact.NewExact()
		n, ok := c.Floor(g.plus(whole(41)).eval(c))
		require.True(t, ok)
		require.Equal(t, int64(41+(got-1)/2), n, g)
		quotient := whole(1).over(g).eval(c)
		require.Equal(t, got, c.Sign(quotient))
		want, _ := s.referee.eval(whole(1).over(g)).Float64()
		require.InEpsilon(t, want, quotient.Float(), 1e-15, g)
	}
}

// k*pi against a multiple of 10^-17, the finest decimals of a quantity near one.
func TestSignOfMultiplesOfPi(t *testing.T) {
	referee := newReferee(400)
	r := rand.New(rand.NewPCG(12, 20250102))
	for range 20_000 {
		k := whole(1 + r.Int64N(1_000_000_000))
		multiple := k.times(circle())
		above, _ := referee.eval(multiple).Float64()
		units := referee.eval(multiple.minus(dec(above)).times(whole(1e17)))
		m, _ := units.Int64()
		f := multiple.minus(dec(above)).minus(whole(m + r.Int64N(3) - 1).over(whole(1e17)))
		got, _ := sign(f)
		require.Equal(t, referee.eval(f).Sign(), got, f)
	}
}

// A belt's length around two equal pulleys is pi*d + 2*a. The ratio of two such
// lengths is rational where d and a keep their proportion, though pi does not
// simply cancel.
func TestCommonFactorWithPi(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 20250102))
	length := func(d, a formula) formula { return circle().times(d).plus(whole(2).times(a)) }
	for range 20_000 {
		d, a := dec(float64(1+r.IntN(999))/1000), dec(float64(1+r.IntN(9999))/1000)
		k := dec(float64(1+r.IntN(200_000)) / 2)
		f := length(d.times(k), a.times(k)).over(length(d, a))
		c := exact.NewExact()
		n := f.eval(c)
		require.Zero(t, c.Cmp(n, k.eval(c)), f)
		floor, ok := c.Floor(n)
		require.True(t, ok)
		require.Equal(t, int64(math.Floor(k[0].value)), floor, f)
		rounded, _ := c.Round(n)
		require.Equal(t, int64(math.Round(k[0].value)), rounded, f)
		negative, _ := c.Round(n.Neg())
		require.Equal(t, -rounded, negative, f)
	}
}

func TestRoundLimit(t *testing.T) {
	const limit = 1 << 51
	for _, c := range []struct {
		f                  formula
		round, floor, ceil bool
	}{
		{whole(limit - 1), true, true, true},
		{whole(limit), false, false, false},
		{whole(-limit), false, false, false},
		{whole(1 - limit), true, true, true},
		{whole(limit - 1).plus(dec(0.25)), true, true, false},
		{whole(limit - 1).plus(dec(0.5)), false, true, false},
		{whole(1 - limit).minus(dec(0.25)), true, false, true},
		{whole(1 - limit).minus(dec(0.5)), false, false, true},
		{circle().over(circle()).times(whole(limit - 1)), true, true, true},
		{dec(1e300), false, false, false},
		{dec(-1e139), false, false, false},
		{dec(1e-139), true, true, true},
	} {
		for i, want := range []bool{c.round, c.floor, c.ceil} {
			ask := func(calc *exact.Calc) (int64, bool) {
				n := c.f.eval(calc)
				return []func(exact.Num) (int64, bool){calc.Round, calc.Floor, calc.Ceil}[i](n)
			}
			calc := new(exact.Calc)
			n, ok := ask(calc)
			exactly, exactOK := ask(exact.NewExact())
			require.Equal(t, want, exactOK, "%s %d", c.f, i)
			if !calc.Undecided() {
				require.Equal(t, want, ok, "%s %d", c.f, i)
				require.Equal(t, exactly, n)
			}
			if !exactOK {
				require.Zero(t, exactly)
			}
		}
	}
}

// Division by what float64 cannot tell from zero: undecided, then right.
func TestQuotientByNearlyZero(t *testing.T) {
	third := dec(0.1).plus(dec(0.2)).minus(dec(0.3))
	f := whole(1).over(third.plus(dec(1e-20)))
	c := new(exact.Calc)
	n := f.eval(c)
	require.True(t, math.IsInf(n.Bound(), 1))
	c.Round(n.Mul(c.Dec(1e-20)))
	require.True(t, c.Undecided())

	c = exact.NewExact()
	n = f.eval(c)
	require.InEpsilon(t, 1e20, n.Float(), 1e-15)
	require.LessOrEqual(t, math.Abs(n.Float()-1e20), n.Bound())
	rounded, ok := c.Round(n.Mul(c.Dec(1e-20)))
	require.True(t, ok)
	require.Equal(t, int64(1), rounded)
	require.Panics(t, func() { f := whole(1).over(third); f.eval(exact.NewExact()) })

	// A zero divisor in float64 mode must not decide anything, whatever is asked.
	for _, ask := range []func(*exact.Calc, exact.Num){
		func(c *exact.Calc, n exact.Num) { c.Round(n) },
		func(c *exact.Calc, n exact.Num) { c.Floor(n) },
		func(c *exact.Calc, n exact.Num) { c.Ceil(n) },
		func(c *exact.Calc, n exact.Num) { c.Sign(n) },
		func(c *exact.Calc, n exact.Num) { c.Cmp(c.Int(5), n) },
		func(c *exact.Calc, n exact.Num) { c.Round(n.Mul(c.Int(0))) },
		func(c *exact.Calc, n exact.Num) { c.Floor(c.Int(0).Mul(n).Add(c.Int(7))) },
		func(c *exact.Calc, n exact.Num) { c.Round(n.Abs().Neg().Sub(n).Quo(c.Pi())) },
	} {
		c := new(exact.Calc)
		ask(c, whole(1).over(third).eval(c))
		require.True(t, c.Undecided())
	}
}

func TestSmallParts(t *testing.T) {
	for _, c := range []*exact.Calc{new(exact.Calc), exact.NewExact()} {
		require.Equal(t, c.Exact(), c.Sign(c.Dec(0.1).Add(c.Dec(0.2)).Sub(c.Dec(0.3))) == 0 && !c.Undecided())

		require.Equal(t, 1, c.Sign(c.Percent(2.5)))
		require.InDelta(t, 0.025, c.Percent(2.5).Float(), c.Percent(2.5).Bound())
		require.Equal(t, c.Dec(3.5).Float(), c.Dec(-3.5).Abs().Float())
		require.Equal(t, 1, c.Sign(c.Dec(-3.5).Abs()))
		require.Equal(t, -1, c.Cmp(c.Dec(-2), c.Dec(1e-9)))
		require.Equal(t, 0, c.Sign(c.Int(0)))
		require.Equal(t, 0, c.Cmp(c.Int(7), c.Dec(7)))
		require.False(t, math.Signbit(c.Dec(0).Neg().Float()), "negative zero")
		require.False(t, math.Signbit(c.Dec(math.Copysign(0, -1)).Float()), "negative zero")

		half := c.Const(exact.NewConstant(big.NewRat(1, 2)))
		require.Zero(t, half.Bound())
		n, ok := c.Round(half)
		require.True(t, ok)
		require.Equal(t, int64(1), n)
		require.Positive(t, c.Const(exact.NewConstant(big.NewRat(1, 60))).Bound())
		require.Positive(t, c.Int(1<<53+1).Bound())
		require.Zero(t, c.Int(1<<53).Bound())
	}
	c := exact.NewExact()
	sixty := c.Int(60).Mul(c.Const(exact.NewConstant(big.NewRat(1, 60))))
	require.Zero(t, c.Cmp(sixty, c.Int(1)))
	require.Equal(t, 1, c.Cmp(c.Int(1<<53+1), c.Int(1<<53)))
	require.False(t, c.Undecided())
}

// A decimal means its shortest text over the whole domain of the package, and
// beyond it as far as float64 goes.
func TestDecimalIsItsShortestText(t *testing.T) {
	c := exact.NewExact()
	r := rand.New(rand.NewPCG(14, 20250102))
	values := []float64{0, 0.1, 1e-140, 1e140, 5e-324, math.MaxFloat64, 1e21, 1e22, 1e23, 123456789012345680, 0x1p53, 0x1p-30, -0.3}
	for range 20_000 {
		values = append(values, math.Ldexp(r.Float64()-0.5, r.IntN(900)-450))
	}
	for _, v := range values {
		want, ok := new(big.Rat).SetString(fmt.Sprint(v))
		require.True(t, ok)
		require.Zero(t, c.Cmp(c.Dec(v), c.Const(exact.NewConstant(want))), v)
	}
}

// A long sum of decimals and fractions stays exact and ends in time: numbers
// that grow are reduced on the way.
func TestLongSum(t *testing.T) {
	c := exact.NewExact()
	want := new(big.Rat)
	sum := c.Int(0)
	for k := int64(1); k <= 500; k++ {
		sum = sum.Add(c.Int(1).Quo(c.Int(k))).Add(c.Dec(0.001 * float64(k)).Mul(c.Pi())).Sub(c.Dec(0.001 * float64(k)).Mul(c.Pi()))
		want.Add(want, big.NewRat(1, k))
	}
	require.Zero(t, c.Cmp(sum, c.Const(exact.NewConstant(want))))
	require.InDelta(t, 6.79282342999052460, sum.Float(), sum.Bound()) // harmonic number H(500)
}
