package fraction_test

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	. "linepace.example/core/fraction"
)

// The referee below tries every pair, in exact fractions. Pi stands there with 60
// digits (MacTutor's table of pi), far more than tell two of these pairs apart.

const side = 200

type goal struct {
	name   string
	target Target
	value  *big.Rat
}

func goals(t *testing.T) []goal {
	rat := func(text string) *big.Rat {
		r, ok := new(big.Rat).SetString(text)
		require.True(t, ok)
		return r
	}
	return []goal{
		{"pi", pi, rat("3.141592653589793238462643383279502884197169399375105820974944")},
		{"e", e, rat("2.718281828459045")},
		{"one half", Decimal(0.5), rat("1/2")},
		{"one and a half percent", Decimal(0.015), rat("0.015")},
		{"25.4", Decimal(25.4), rat("25.4")},
		{"101/199", over(101, 199), rat("101/199")},
		{"middle of 1/3 and 2/5", over(11, 30), rat("11/30")},
		{"middle of 199 and 200", Decimal(199.5), rat("199.5")},
		{"just below one", Decimal(0.9999999), rat("0.9999999")},
		{"golden", Decimal(1.6180339887498949), rat("1.6180339887498949")},
		{"small", Decimal(0.0031), rat("0.0031")},
		{"large", Decimal(12345.5), rat("12345.5")},
	}
}

// better reports whether p is to be taken before q.
func (g *goal) better(f Form, p, q Pair) bool {
	switch c := g.off(f, p).Cmp(g.off(f, q)); {
	case c != 0:
		return c < 0
	case p.Denominator != q.Denominator:
		return p.Denominator < q.Denominator
	}
	return p.Numerator < q.Numerator
}

func (g *goal) off(f Form, p Pair) *big.Rat {
	off := value(f, p)
	off.Sub(off, g.value)
	return off.Abs(off)
}

func value(f Form, p Pair) *big.Rat {
	if f == Reciprocal {
		return new(big.Rat).SetInt64(p.Numerator * p.Denominator)
	}
	return big.NewRat(p.Numerator, p.Denominator)
}

// Every pair of bounds up to 200: the pair found is the best of all pairs within
// them. The best within (a, b) is that within (a-1, b), that within (a, b-1), or (a, b).
func TestBestOfAllPairs(t *testing.T) {
	all := goals(t)
	if testing.Short() { // on another processor
		all = all[:3]
	}
	for _, form := range []Form{Proportional, Reciprocal} {
		for _, g := range all {
			compared, refused := 0, 0
			var above [side + 1]Pair
			for a := int64(1); a <= side; a++ {
				var left Pair
				for b := int64(1); b <= side; b++ {
					best := Pair{a, b}
					for _, other := range []Pair{above[b], left} {
						if other != (Pair{}) && g.better(form, other, best) {
							best = other
						}
					}
					above[b], left = best, best
					got, err := Best(form, g.target, terms(a, b))
					if err != nil {
						require.True(t, g.outOfReach(form, a, b), "%s %d %d: %v", g.name, a, b, err)
						refused++
						continue
					}
					require.False(t, g.outOfReach(form, a, b))
					require.Equal(t, best, got, "%s within %d and %d", g.name, a, b)
					compared++
				}
			}
			t.Logf("%s: %d bounds compared, %d out of reach", g.name, compared, refused)
			require.Equal(t, side*side, compared+refused)
		}
	}
}

// outOfReach reports whether the target is at most half of the least, or at least
// twice the greatest value.
func (g *goal) outOfReach(f Form, a, b int64) bool {
	least, greatest := value(f, Pair{1, b}), value(f, Pair{a, 1})
	if f == Reciprocal {
		least, greatest = value(f, Pair{1, 1}), value(f, Pair{a, b})
	}
	two := big.NewRat(2, 1)
	return new(big.Rat).Mul(g.value, two).Cmp(least) <= 0 || g.value.Cmp(greatest.Mul(greatest, two)) >= 0
}

// Minima, preferences and catalogues of targets, against every pair.
func TestLeastWorstOfAllPairs(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	found, refused := 0, 0
	for range 1500 {
		form := []Form{Proportional, Reciprocal}[random.IntN(2)]
		b := Bounds{MaxNumerator: 1 + random.Int64N(60), MaxDenominator: 1 + random.Int64N(60)}
		b.Minimum = random.Int64N(min(b.MaxNumerator, b.MaxDenominator) + 1)
		if random.IntN(2) == 0 {
			low := random.Int64N(60)
			b.Prefer = func(p Pair) bool { return p.Denominator >= low }
		}
		targets, values := someTargets(random, form)
		got, err := LeastWorst(form, targets, b)
		if err != nil {
			refused++
			continue
		}
		found++
		want := leastWorst(form, values, b)
		require.Equal(t, worst(form, values, want), worst(form, values, got), "%v %+v: want %v, got %v", values, b, want, got)
		if form == Reciprocal { // of a fraction only the lowest terms are offered
			require.Equal(t, want, got, "%v %+v", values, b)
		}
		require.True(t, got.Numerator >= b.Minimum && got.Denominator >= b.Minimum)
	}
	t.Logf("%d found, %d out of reach", found, refused)
	require.Greater(t, found, 900)
}

// someTargets are 1 to 5 decimals of four digits, not far from each other.
func someTargets(random *rand.Rand, form Form) (targets []Target, values []*big.Rat) {
	size := 0.02 + 8*random.Float64()
	if form == Reciprocal {
		size = 0.6 + 2000*random.Float64()*random.Float64()
	}
	for range 1 + random.IntN(5) {
		scaled := max(int64(size*(0.7+0.6*random.Float64())*1000), 1)
		targets, values = append(targets, over(scaled, 1000)), append(values, big.NewRat(scaled, 1000))
	}
	return targets, values
}

func leastWorst(form Form, values []*big.Rat, b Bounds) (best Pair) {
	m := max(b.Minimum, 1)
	for d := m; d <= b.MaxDenominator; d++ {
		for n := m; n <= b.MaxNumerator; n++ {
			p := Pair{n, d}
			if best == (Pair{}) || before(form, values, b, p, best) {
				best = p
			}
		}
	}
	return best
}

func before(form Form, values []*big.Rat, b Bounds, p, q Pair) bool {
	switch c := worst(form, values, p).Cmp(worst(form, values, q)); {
	case c != 0:
		return c < 0
	case b.Prefer != nil && b.Prefer(p) != b.Prefer(q):
		return b.Prefer(p)
	case p.Denominator != q.Denominator:
		return p.Denominator < q.Denominator
	}
	return p.Numerator < q.Numerator
}

func worst(form Form, values []*big.Rat, p Pair) *big.Rat {
	out := new(big.Rat)
	for _, v := range values {
		off := new(big.Rat).Sub(value(form, p), v)
		off.Abs(off).Quo(off, v)
		if off.Cmp(out) > 0 {
			out = off
		}
	}
	return out
}

// A minimum that leaves fractions in lowest terms below it, and bounds that are
// wide: against every denominator.
func TestMinimumWithWideBounds(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 5))
	for range 60 {
		m := 1 + random.Int64N(400)
		b := Bounds{MaxNumerator: m + random.Int64N(4000), MaxDenominator: m + random.Int64N(4000), Minimum: m}
		scaled := 1 + random.Int64N(4_000_000)
		target := big.NewRat(scaled, 1_000_000)
		got, err := Best(Proportional, over(scaled, 1_000_000), b)
		if err != nil {
			continue
		}
		g := goal{value: target}
		best := got
		for d := m; d <= b.MaxDenominator; d++ {
			exact := new(big.Rat).Mul(target, big.NewRat(d, 1))
			floor := new(big.Int).Quo(exact.Num(), exact.Denom()).Int64()
			for _, n := range []int64{floor, floor + 1} {
				p := Pair{min(max(n, m), b.MaxNumerator), d}
				if g.off(Proportional, p).Cmp(g.off(Proportional, best)) < 0 {
					best = p
				}
			}
		}
		require.Equal(t, best, got, "%v %+v", target, b)
	}
}
