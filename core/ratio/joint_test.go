package ratio

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// whole is a blend in whole numbers: part i is asked for weight[i] of the sum of all,
// and its counts give nearest[i] or other[i]; 0 is none.
type whole struct{ weight, nearest, other []int64 }

// randomWhole makes a blend of n parts as feeders have them: a total of a hundred
// million units, counts of a hundredth to a ten thousandth of each part, or all of
// one size, or of three.
func randomWhole(r *rand.Rand, n, kind int) whole {
	var w whole
	sum := int64(0)
	for range n {
		w.weight = append(w.weight, 50+r.Int64N(1000))
		sum += w.weight[len(w.weight)-1]
	}
	for i := range n {
		asked := float64(w.weight[i]) / float64(sum) * 1e8
		step := int64(asked * math.Pow(10, -4+2*r.Float64()))
		switch kind {
		case 1:
			step = 25000
		case 2:
			step = []int64{10000, 25000, 100000}[r.IntN(3)]
		}
		low := int64(asked) / step * step
		nearest, other := low, low+step
		if 2*(asked-float64(low)) >= float64(step) {
			nearest, other = other, nearest
		}
		if r.IntN(12) == 0 || other <= 0 {
			other = 0
		}
		w.nearest, w.other = append(w.nearest, nearest), append(w.other, other)
	}
	return w
}

func (w whole) parts() []Part {
	sum := int64(0)
	for _, v := range w.weight {
		sum += v
	}
	parts := make([]Part, len(w.weight))
	for i := range parts {
		parts[i] = Part{Share: float64(w.weight[i]) / float64(sum), Amount: float64(w.nearest[i]), Other: float64(w.other[i]), HasOther: w.other[i] > 0}
	}
	return parts
}

// errorOf returns the largest error of a combination, and its total, by the
// definition and in whole numbers: |amount/total - weight/sum|, or that over weight/sum.
func (w whole) errorOf(mask uint64, o Objective) (largest *big.Rat, total int64) {
	sum := int64(0)
	amounts := make([]int64, len(w.weight))
	for i := range amounts {
		amounts[i] = w.nearest[i]
		if mask&(1<<i) != 0 {
			amounts[i] = w.other[i]
		}
		total += amounts[i]
		sum += w.weight[i]
	}
	at, worst := 0, int64(-1)
	for i, a := range amounts {
		off := a*sum - w.weight[i]*total
		if off < 0 {
			off = -off
		}
		// Of two parts the one with more of off, or of off/weight, is worse.
		switch {
		case worst < 0, o == Points && off > worst, o == Relative && big.NewRat(off, w.weight[i]).Cmp(big.NewRat(worst, w.weight[at])) > 0:
			at, worst = i, off
		}
	}
	whole := new(big.Int).Mul(big.NewInt(total), big.NewInt(sum))
	if o == Relative {
		whole = new(big.Int).Mul(big.NewInt(total), big.NewInt(w.weight[at]))
	}
	return new(big.Rat).SetFrac(big.NewInt(worst), whole), total
}

// least returns the least largest error of all combinations whose total lies
// within one step of that of the nearest counts.
func (w whole) least(o Objective) *big.Rat {
	_, each := w.errorOf(0, o)
	step := int64(0)
	for i := range w.other {
		if w.other[i] > 0 {
			step = max(step, w.other[i]-w.nearest[i], w.nearest[i]-w.other[i])
		}
	}
	var best *big.Rat
	for mask := range uint64(1) << len(w.weight) {
		possible := true
		for i := range w.other {
			possible = possible && (mask&(1<<i) == 0 || w.other[i] > 0)
		}
		if !possible {
			continue
		}
		e, total := w.errorOf(mask, o)
		if total-each <= step && each-total <= step && (best == nil || e.Cmp(best) < 0) {
			best = e
		}
	}
	return best
}

// The answer is that of an exhaustive search in whole numbers, which shares nothing
// with the search but the definition.
func TestJointAgainstExhaustiveSearch(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 19))
	better := 0
	for n := 1; n <= 12; n++ {
		cases := 60
		if n > 8 {
			cases = 4 << (12 - n)
		}
		for range cases {
			for kind := range 3 {
				w := randomWhole(r, n, kind)
				for _, o := range []Objective{Points, Relative} {
					out, ok := Joint(w.parts(), o, MostNodes, nil)
					require.True(t, ok)
					require.True(t, out.Proven, "%+v", w)
					got, total := w.errorOf(maskOf(out.Other), o)
					each, _ := w.errorOf(0, o)
					want, _ := w.least(o).Float64()
					gotFloat, _ := got.Float64()
					require.InDelta(t, want, gotFloat, Alike, "%+v", w)
					require.InDelta(t, gotFloat, out.Largest, 1e-13)
					require.InEpsilon(t, float64(total), out.Total, 1e-14)
					require.LessOrEqual(t, got.Cmp(each), 0, "worse than each by itself: %+v", w)
					if got.Cmp(each) < 0 {
						better++
					}
				}
			}
		}
	}
	require.Greater(t, better, 1000, "choosing together mends nothing")
}

func maskOf(other []bool) (mask uint64) {
	for i, yes := range other {
		if yes {
			mask |= 1 << i
		}
	}
	return mask
}

// Largest remainders give whole numbers that add up to a given total, here 25, 64
// and 166 of 255 for 0.1, 0.25 and 0.65 (computed by hand). They hold the total and
// not the error: chosen together, and with the total free by one, the shares are
// no further off.
func TestLargestRemaindersAreNoBetter(t *testing.T) {
	parts := []Part{
		{Share: 0.1, Amount: 26, Other: 25, HasOther: true}, // of 25.5
		{Share: 0.25, Amount: 64, Other: 63, HasOther: true},
		{Share: 0.65, Amount: 166, Other: 165, HasOther: true}, // of 165.75
	}
	out, ok := Joint(parts, Points, MostNodes, nil)
	require.True(t, ok)
	require.True(t, out.Proven)
	remainders := math.Abs(25.0/255 - 0.1)
	require.Less(t, out.Largest, remainders)
	require.Equal(t, []bool{false, false, false}, out.Other) // 26 64 166 of 256: 0.15625 points
	require.InDelta(t, 26.0/256-0.1, out.Largest, 1e-15)
}

// Where nothing is gained the nearest counts stay, and of equals the first.
func TestJointKeepsTheNearest(t *testing.T) {
	half := []Part{{Share: 0.5, Amount: 11, Other: 10, HasOther: true}, {Share: 0.5, Amount: 11, Other: 10, HasOther: true}}
	out, _ := Joint(half, Points, MostNodes, nil)
	require.Equal(t, []bool{false, false}, out.Other)
	require.Zero(t, out.Largest)
	require.True(t, out.Proven)

	one := []Part{{Share: 1, Amount: 3, Other: 2, HasOther: true}}
	out, _ = Joint(one, Relative, MostNodes, nil)
	require.Equal(t, []bool{false}, out.Other)

	// Three alike that are a little over a half each: all would round up.
	third := Part{Share: 1.0 / 3, Amount: 34, Other: 33, HasOther: true}
	out, _ = Joint([]Part{third, third, third}, Points, MostNodes, nil)
	require.Equal(t, []bool{false, false, false}, out.Other)
}

// A search that is cut off says so, and is no worse than each by itself.
func TestJointCutOff(t *testing.T) {
	w := randomWhole(rand.New(rand.NewPCG(2, 3)), 60, 0)
	out, ok := Joint(w.parts(), Relative, 5000, nil)
	require.True(t, ok)
	require.False(t, out.Proven)
	require.LessOrEqual(t, out.Nodes, 5100)
	each, _ := w.errorOf(0, Relative)
	eachFloat, _ := each.Float64()
	require.Less(t, out.Largest, eachFloat)
	got, total := w.errorOf(maskOf(out.Other), Relative)
	gotFloat, _ := got.Float64()
	require.InDelta(t, gotFloat, out.Largest, 1e-13)
	require.InEpsilon(t, float64(total), out.Total, 1e-14)

	again, _ := Joint(w.parts(), Relative, 5000, nil)
	require.Equal(t, out, again)

	calls := 0
	_, ok = Joint(w.parts(), Relative, math.MaxInt, func() bool { calls++; return calls == 3 })
	require.False(t, ok)
	require.Equal(t, 3, calls)
}

// A thousand parts, of which the search cannot try a fraction, end as soon.
func TestJointOfManyParts(t *testing.T) {
	w := randomWhole(rand.New(rand.NewPCG(7, 7)), 1000, 2)
	parts := w.parts()
	out, ok := Joint(parts, Points, MostNodes, nil)
	require.True(t, ok)
	require.LessOrEqual(t, out.Nodes, MostNodes+100)
	require.Len(t, out.Other, 1000)
}

func BenchmarkJoint(b *testing.B) {
	for _, n := range []int{3, 12, 20, 24, 40} {
		for kind, name := range []string{"unlike", "alike", "three"} {
			for _, o := range []Objective{Points, Relative} {
				b.Run(fmt.Sprint(n, "/", name, "/", []string{"points", "relative"}[o]), func(b *testing.B) {
					r := rand.New(rand.NewPCG(1, uint64(n)))
					cases := make([][]Part, 101)
					for i := range cases {
						cases[i] = randomWhole(r, n, kind).parts()
					}
					b.ReportAllocs()
					i, nodes, proven := 0, 0, 0
					for b.Loop() {
						out, _ := Joint(cases[i%len(cases)], o, MostNodes, nil)
						nodes += out.Nodes
						if out.Proven {
							proven++
						}
						i++
					}
					b.ReportMetric(float64(nodes)/float64(i), "nodes/op")
					b.ReportMetric(100*float64(proven)/float64(i), "%proven")
				})
			}
		}
	}
}
