package exact_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"runtime/debug"
	"strconv"
	"testing"

	"linepace.example/core/exact"
)

// The cases below stand for the formulas of the service: a register's count from
// a surface speed, a chain, a pump with slip flow, a draw between rolls, a dwell.
// Each is decided by the two-step protocol of the package and compared, without
// any tolerance, with big.Float at 400 bits; where that cannot tell a value from
// a boundary, with exact fractions.

// families hold 2,050,000 cases together.
var families = []struct {
	name  string
	count int
	make  func(*source) formula
}{
	{"roll, typical", 500_000, func(s *source) formula { return s.roll(false) }},
	{"roll, next to a tie", 300_000, func(s *source) formula { return s.roll(true) }},
	{"sprocket, typical", 300_000, func(s *source) formula { return s.sprocket(false) }},
	{"sprocket, on and next to a tie", 300_000, func(s *source) formula { return s.sprocket(true) }},
	{"two rolls, pi cancels, on and next to a tie", 200_000, (*source).twoRolls},
	{"pump with slip flow", 150_000, (*source).pump},
	{"dwell time shown", 100_000, (*source).dwell},
	{"sums that nearly cancel", 200_000, (*source).cancelling},
}

func TestAgainstReference(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // the referee makes much garbage
	const parts = 2
	t.Run("all", func(t *testing.T) {
		for i, family := range families {
			for part := range parts {
				t.Run(fmt.Sprintf("%s/%d", family.name, part), func(t *testing.T) {
					t.Parallel()
					count := family.count / parts
					if testing.Short() {
						count /= 20
					}
					s := newSource(uint64(100*i + part))
					j := newJudge(t)
					for range count {
						j.judge(family.make(s))
					}
					t.Logf("%d cases; %.2f %% needed exact mode; %.2f %% were ties or integers",
						j.cases, 100*float64(j.undecided)/float64(j.cases), 100*float64(j.onBoundary)/float64(j.cases))
				})
			}
		}
	})
}

// judge compares decisions and counts.
type judge struct {
	t                            *testing.T
	referee                      *referee
	fraction, half, difference   *big.Float
	cases, undecided, onBoundary int
}

func newJudge(t *testing.T) *judge {
	r := newReferee(400)
	return &judge{t: t, referee: r, fraction: r.float(), half: r.float().SetFloat64(0.5), difference: r.float()}
}

// decisions are what a caller asks of one value.
type decisions struct {
	round, floor, ceil int64
	// cmp is against the half below or above, whichever is nearer to the value.
	cmp int
}

// boundary is the half-integer that cmp compares with.
func boundary(floor int64) float64 { return float64(floor) + 0.5 }

func (j *judge) judge(f formula) {
	j.cases++
	want := j.decide(f)
	fast := new(exact.Calc)
	n := f.eval(fast)
	got := decisions{}
	undecided := false
	ask := func(c *exact.Calc, n exact.Num, got *decisions, step int) {
		ok := true
		switch step {
		case 0:
			got.round, ok = c.Round(n)
		case 1:
			got.floor, ok = c.Floor(n)
		case 2:
			got.ceil, ok = c.Ceil(n)
		case 3:
			got.cmp = c.Cmp(n, c.Dec(boundary(want.floor)))
		}
		if !ok {
			j.t.Fatalf("%s: refused as too large", f)
		}
	}
	// Each decision has a Calc of its own, so that a fast one is not covered up
	// by the exact run that another one asks for.
	var slow *exact.Calc
	var precise exact.Num
	for step := range 4 {
		c := new(exact.Calc)
		ask(c, n, &got, step)
		if !c.Undecided() {
			continue
		}
		undecided = true
		if slow == nil {
			slow = exact.NewExact()
			precise = f.eval(slow)
		}
		ask(slow, precise, &got, step)
	}
	if undecided {
		j.undecided++
		j.checkSameFloat(f, n, precise)
	} else if j.cases%8 == 0 { // exact mode must also be right where it is not needed
		slow = exact.NewExact()
		precise = f.eval(slow)
		again := decisions{}
		for step := range 4 {
			ask(slow, precise, &again, step)
		}
		if again != want {
			j.t.Fatalf("%s: exact mode gives %+v, want %+v", f, again, want)
		}
		j.checkSameFloat(f, n, precise)
	}
	if slow != nil && slow.Undecided() {
		j.t.Fatalf("%s: undecided in exact mode", f)
	}
	if got != want {
		j.t.Fatalf("%s: got %+v, want %+v (float %v, bound %v)", f, got, want, n.Float(), n.Bound())
	}
}

// checkSameFloat demands that exact mode repeats the float64 result bit for bit.
func (j *judge) checkSameFloat(f formula, fast, precise exact.Num) {
	if math.IsInf(fast.Bound(), 1) {
		return // a division that float64 could not do
	}
	if math.Float64bits(fast.Float()) != math.Float64bits(precise.Float()) || fast.Bound() != precise.Bound() {
		j.t.Fatalf("%s: %v +/- %v in float64 mode, %v +/- %v in exact mode", f, fast.Float(), fast.Bound(), precise.Float(), precise.Bound())
	}
}

// nearZero is far above the referee's error (2^-380 relative to the largest
// intermediate, which is below 2^60) and far below the distance of any value
// from a boundary that formulas over a few 17-digit decimals can reach.
const nearZero = -280

func (j *judge) isNearZero(x *big.Float) bool {
	return x.Sign() == 0 || x.MantExp(nil) < nearZero
}

func (j *judge) decide(f formula) decisions {
	x := j.referee.eval(f)
	whole, _ := x.Int64() // towards zero
	fraction := j.fraction.Sub(x, j.difference.SetInt64(whole))
	negative := x.Sign() < 0
	fraction.Abs(fraction)
	toHalf := j.difference.Sub(fraction, j.half)
	side := toHalf.Sign()
	doubtful := j.isNearZero(fraction) || j.isNearZero(toHalf)
	doubtful = doubtful || j.isNearZero(toHalf.Sub(toHalf, j.half)) // next to the integer beyond
	if doubtful {
		j.onBoundary++
		return j.decideExactly(f)
	}
	d := decisions{round: whole, floor: whole, ceil: whole + 1, cmp: side}
	if side > 0 {
		d.round++
	}
	if negative {
		d = decisions{round: whole, floor: whole - 1, ceil: whole, cmp: -side}
		if side > 0 {
			d.round--
		}
	}
	return d
}

func (j *judge) decideExactly(f formula) decisions {
	x, err := f.rational()
	if err != nil {
		j.t.Fatal(err)
	}
	floor := new(big.Int).Div(x.Num(), x.Denom()).Int64()
	d := decisions{floor: floor, ceil: floor, round: floor}
	if !x.IsInt() {
		d.ceil++
	}
	d.cmp = x.Cmp(new(big.Rat).SetFrac64(2*floor+1, 2))
	if d.cmp > 0 || d.cmp == 0 && x.Sign() > 0 {
		d.round++
	}
	return d
}

// source makes formulas from random parameters of a plant's size.
type source struct {
	*rand.Rand
	referee *referee
}

func newSource(seed uint64) *source {
	return &source{rand.New(rand.NewPCG(seed, 20250101)), newReferee(400)}
}

// decimal returns a number between low and high with 1 to 6 decimals, or now and
// then with all the digits that a float64 has.
func (s *source) decimal(low, high float64) float64 {
	v := low + (high-low)*s.Float64()
	if s.IntN(8) == 0 {
		return v
	}
	return s.parse(strconv.FormatFloat(v, 'f', 1+s.IntN(6), 64), low)
}

func (s *source) parse(text string, fallback float64) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(err)
	}
	if v == 0 {
		return fallback
	}
	return v
}

func (s *source) oneOf(values ...float64) float64 { return values[s.IntN(len(values))] }

// register is two points, count against motor speed, rising or falling.
type register struct {
	c0, c1 int64
	n0, n1 float64
}

func (s *source) register() register {
	switch s.IntN(5) {
	case 0:
		return register{0, 18000, 0, 1800}
	case 1:
		return register{-32768, 32767, -2000, 2000}
	case 2:
		return register{819, 4095, s.decimal(-100, 100), s.decimal(1000, 3000)}
	case 3:
		return register{30000, -30000, s.decimal(-3000, -1), s.decimal(1, 3000)}
	}
	return register{int64(s.IntN(1000)) - 500, 1000 + int64(s.IntN(2_000_000_000)), s.decimal(-10, 10), s.decimal(20, 6000)}
}

// count is c0 + (n - n0)*(c1 - c0)/(n1 - n0).
func (r register) count(n formula) formula {
	return whole(r.c0).plus(n.minus(dec(r.n0)).times(r.span()))
}

func (r register) span() formula {
	return whole(r.c1).minus(whole(r.c0)).over(dec(r.n1).minus(dec(r.n0)))
}

// speedAt is the motor speed at which the count is c.
func (r register) speedAt(c formula) formula {
	return dec(r.n0).plus(c.minus(whole(r.c0)).over(r.span()))
}

func (s *source) someCount(r register) formula {
	low, high := min(r.c0, r.c1), max(r.c0, r.c1)
	return whole(low + s.Int64N(high-low+1)).plus(dec(s.oneOf(0.5, 0.5, 0.5, 0, -0.5)))
}

// ratios multiplies by up to three stages and divides by one belt's slip.
func (s *source) ratios(n formula) formula {
	for range s.IntN(4) {
		n = n.times(dec(s.decimal(0.2, 60))).over(dec(s.decimal(0.2, 60)))
	}
	if s.IntN(2) == 0 {
		n = n.over(whole(1).minus(dec(s.decimal(-0.5, 5)).over(whole(100))))
	}
	return n
}

// roll: v through pi*(d+t), ratios and slip to a count. Next to a tie, v is
// solved from a count and a half.
func (s *source) roll(tie bool) formula {
	perTurn := circle().times(dec(s.decimal(0.02, 1.5)).plus(dec(s.decimal(0, 0.02))))
	r := s.register()
	stages := s.ratios(formula{})
	motor := func(v formula) formula { return append(v.over(perTurn), stages...) }
	if !tie {
		return r.count(motor(dec(s.decimal(-100, 100))))
	}
	// motor is linear without offset: v = n / motor(1).
	v := r.speedAt(s.someCount(r)).over(motor(whole(1)))
	return r.count(motor(s.near(v)))
}

// near writes a value as a decimal, or as a sum of two or three where each adds
// 17 digits, and moves the last digit of the last one by up to one.
func (s *source) near(value formula) formula {
	rest := s.referee.float().Set(s.referee.eval(value))
	sum := formula{}
	for terms := 1 + s.IntN(3); ; terms-- {
		v, _ := rest.Float64()
		if v == 0 {
			v = 1e-30
		}
		if terms == 1 {
			v = s.lastDigit(v)
		}
		if len(sum) == 0 {
			sum = dec(v)
		} else {
			sum = sum.plus(dec(v))
		}
		if terms == 1 {
			return sum
		}
		taken, _ := s.referee.float().SetString(strconv.FormatFloat(v, 'g', -1, 64))
		rest.Sub(rest, taken)
	}
}

// lastDigit moves v by at most one unit in the last place, binary or decimal.
func (s *source) lastDigit(v float64) float64 {
	if s.IntN(2) == 0 {
		return s.oneOf(v, math.Nextafter(v, math.Inf(1)), math.Nextafter(v, math.Inf(-1)))
	}
	digits := 12 + s.IntN(4)
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-float64(digits-1))
	return s.parse(strconv.FormatFloat(v+unit*float64(s.IntN(3)-1), 'e', digits-1, 64), v)
}

// sprocket: no pi, so a count and a half is reached exactly where the divisors
// are products of twos and fives.
func (s *source) sprocket(tie bool) formula {
	pitch, teeth := dec(s.oneOf(0.0127, 0.00635, 0.01905, 0.0254, 0.008)), whole(8+s.Int64N(40))
	if !tie {
		v := dec(s.decimal(-100, 100))
		r := s.register()
		return r.count(s.ratios(v.over(pitch.times(teeth))))
	}
	gear := dec(s.oneOf(1, 2, 2.5, 4, 5, 8, 10, 12.5, 16, 20, 25, 32, 40, 50, 100))
	r := register{0, 18000, 0, 1800}
	if s.IntN(2) == 0 {
		r = register{int64(s.IntN(100)) - 50, 0, s.oneOf(0, 0.5, -1.25), 0}
		r.c1, r.n1 = r.c0+int64(s.oneOf(10, 100, 2000, 32000, 4096)), r.n0+s.oneOf(1, 10, 16, 1000, 2000)
	}
	k := s.Int64N(40_000) - 20_000
	n := r.speedAt(whole(k).plus(dec(s.oneOf(0.5, 0.5, 0.5, 0))))
	v := n.times(pitch).times(teeth).over(gear)
	motor := func(v formula) formula { return v.over(pitch.times(teeth)).times(gear) }
	switch s.IntN(4) {
	case 0: // as many digits as the tie needs
		rational, err := v.rational()
		if err != nil {
			panic(err)
		}
		exactly, _ := rational.Float64()
		return r.count(motor(dec(exactly)))
	case 1: // the unrounded tie itself
		return r.count(motor(v))
	}
	return r.count(motor(s.near(v)))
}

// twoRolls: a follower at a draw against its leader, where the circumferences
// divide out.
func (s *source) twoRolls() formula {
	d1, d2 := dec(s.oneOf(0.16, 0.2, 0.32, 0.5, 0.08)), dec(s.oneOf(0.1, 0.125, 0.25, 0.4, 1))
	g1, g2 := dec(s.oneOf(10, 20, 12.5, 40)), dec(s.oneOf(5, 25, 30, 60, 17.5))
	draw := whole(1).plus(dec(s.oneOf(0, 1, 2.5, -0.5, 102.4)).over(whole(100)))
	follower := func(n formula) formula {
		surface := n.over(g1).times(circle().times(d1))
		return surface.times(draw).over(d2.times(circle())).times(g2)
	}
	k := whole(s.Int64N(30_000) - 15_000).plus(dec(s.oneOf(0.5, 0.5, 0)))
	n := k.over(whole(10)).over(follower(whole(1)))
	switch s.IntN(4) {
	case 0: // the tie itself
	case 1: // to the nearest float64, which often is the tie
		v, _ := s.referee.eval(n).Float64()
		n = dec(v)
	default:
		n = s.near(n)
	}
	return register{0, 18000, 0, 1800}.count(follower(n))
}

// pump: turns from a flow and a slip flow, n = (Q + slip)/displacement.
func (s *source) pump() formula {
	displacement, slip := dec(s.decimal(0.5, 900)), dec(s.decimal(-3, 40))
	r := s.register()
	stages := s.ratios(formula{})
	motor := func(q formula) formula { return append(q.plus(slip).over(displacement), stages...) }
	q := dec(s.decimal(0, 5000))
	if s.IntN(2) == 0 {
		scale := append(whole(1).over(displacement), stages...)
		q = s.near(r.speedAt(s.someCount(r)).over(scale).minus(slip))
	}
	return r.count(motor(q))
}

// dwell: the minutes shown, in units of the last decimal: 10^k * length / (pi*d*n).
func (s *source) dwell() formula {
	scale := whole(int64(math.Pow10(s.IntN(4))))
	length := dec(s.decimal(1, 120)).plus(dec(s.decimal(0, 2)))
	speed := circle().times(dec(s.decimal(0.02, 0.5))).times(dec(s.decimal(0.05, 40)))
	if s.IntN(2) == 0 {
		shown := whole(s.Int64N(100_000)).plus(dec(0.5))
		speed = s.near(scale.times(length).over(shown))
		if s.IntN(2) == 0 { // with pi: solve the diameter
			n := dec(s.decimal(0.05, 40))
			speed = circle().times(s.near(speed.over(circle()).over(n))).times(n)
		}
	}
	return scale.times(length).over(speed)
}

// cancelling: large terms, with and without pi, that leave a small remainder.
func (s *source) cancelling() formula {
	a, b := dec(s.decimal(1e3, 1e8)), dec(s.decimal(1e3, 1e8))
	large := a.times(b)
	if s.IntN(2) == 0 {
		large = large.times(circle())
	}
	remainder := whole(s.Int64N(2001) - 1000).plus(dec(s.oneOf(0.5, 0.25, 0, 0.125)))
	switch s.IntN(3) {
	case 0: // exactly the remainder
		return large.plus(remainder).minus(b.times(a)).minus(large.minus(a.times(b)))
	case 1: // large - (large - remainder), in decimals
		return large.minus(s.near(large.minus(remainder)))
	}
	return large.plus(remainder).minus(s.near(large))
}
