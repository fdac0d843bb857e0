package drift

import (
	"math"
	"math/big"
	"math/bits"
	"slices"

	"linepace.example/core/elementary"
	"linepace.example/core/statistics"
)

// This file finds order statistics of the slopes between all pairs of points in
// O(n log n) time and O(n) memory, exactly. It narrows the range of slopes down
// around each wanted rank with cuts through a sample, after J. Matoušek, Randomized
// optimal algorithm for slope selection, Information Processing Letters 39, 1991,
// until few enough are left to look at each. The sample is drawn from a fixed seed;
// it decides how soon the answer is found, and not which it is.

// bound is a cut: the points in its order, and the count of slopes below it.
type bound struct {
	order []int32
	count int64
}

// selector finds slopes by rank, counted from 1 in ascending order.
type selector struct {
	points
	found      map[int64]float64 // by rank, rounded to the nearest float64
	few        int64             // slopes that are looked at together
	stop       Stop
	random     uint64
	rank       []int32
	list, swap []int32
	placed     []point // in the order of the lower bound, so that slopes are near one another in memory
}

type point struct{ x, y float64 }

// So many slopes are looked at together, or four times the number of points if that is more;
// shortRun is how many points are sorted by comparing them. Tests take less, so that few
// points go every way.
const (
	fewSlopes = 1 << 14
	shortRun  = 512
)

// newSelector takes points in ascending order of x, and of y where x is the same.
func newSelector(x, y []float64, stop Stop) *selector {
	n := len(x)
	return &selector{
		points: points{x: x, y: y, short: shortRun}, found: map[int64]float64{}, few: max(fewSlopes, 4*int64(n)), stop: stop, random: 1,
		rank: make([]int32, n), list: make([]int32, n), swap: make([]int32, n), placed: make([]point, n),
	}
}

// ends returns the bounds below and above all slopes.
func (s *selector) ends() (low, high bound) {
	n := len(s.x)
	low, high = bound{order: make([]int32, n)}, bound{order: make([]int32, 0, n)}
	for i := range low.order {
		low.order[i] = int32(i)
	}
	for to := n; to > 0; {
		from := to - 1
		for from > 0 && s.x[from-1] == s.x[to-1] {
			from--
		}
		high.order = append(high.order, low.order[from:to]...)
		high.count += int64(to-from) * int64(from)
		to = from
	}
	return low, high
}

// at returns the bound at a cut.
func (s *selector) at(c cut) (bound, bool) {
	if s.stop.now() {
		return bound{}, false
	}
	b := bound{order: s.order(c)}
	copy(s.list, b.order)
	var ok bool
	b.count, ok = inversions(s.list, s.swap, s.stop, nil)
	return b, ok
}

// between calls each with every point v and those later points whose slopes from it
// lie between low and high, as their places in low.order and in placed.
func (s *selector) between(low, high bound, each func(later []int32, v int32)) bool {
	for place, i := range low.order {
		s.rank[i] = int32(place)
		s.placed[place] = point{s.x[i], s.y[i]}
	}
	for place, i := range high.order {
		s.list[place] = s.rank[i]
	}
	_, ok := inversions(s.list, s.swap, s.stop, each)
	return ok
}

// find finds the slopes of the ranks, which are ascending and between low and high.
// It returns false if it was stopped.
func (s *selector) find(low, high bound, ranks []int64) bool {
	switch count := high.count - low.count; {
	case len(ranks) == 0:
		return true
	case count <= s.few:
		return s.lookAtEach(low, high, ranks)
	}
	sample, ok := s.sample(low, high)
	if !ok {
		return false
	}
	for _, span := range s.spans(low, high, sample, ranks) {
		if !s.narrow(low, high, sample, span) {
			return false
		}
	}
	return true
}

// lookAtEach finds the ranks among few slopes.
func (s *selector) lookAtEach(low, high bound, ranks []int64) bool {
	slopes := make([]float64, 0, high.count-low.count)
	ok := s.between(low, high, func(later []int32, v int32) {
		from := s.placed[v]
		for _, place := range later {
			slopes = append(slopes, slope(from, s.placed[place]))
		}
	})
	if !ok {
		return false
	}
	from := 0
	for _, k := range ranks {
		at := int(k - low.count - 1)
		s.found[k] = statistics.Nth(slopes[from:], at-from)
		from = at
	}
	return true
}

// sample returns slopes between low and high in no order, one from each of as many
// equal parts as there are points.
func (s *selector) sample(low, high bound) ([]float64, bool) {
	count, size := uint64(high.count-low.count), uint64(len(s.x)) // few is not less than size
	slopes := make([]float64, 0, size)
	var seen, next uint64
	draw := func() {
		t := uint64(len(slopes))
		if t == size {
			next = math.MaxUint64
			return
		}
		from, to := part(t, size, count), part(t+1, size, count)
		s.random = s.random*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
		next = from + (s.random>>20)%(to-from)
	}
	draw()
	ok := s.between(low, high, func(later []int32, v int32) {
		for next < seen+uint64(len(later)) {
			slopes = append(slopes, slope(s.placed[v], s.placed[later[next-seen]]))
			draw()
		}
		seen += uint64(len(later))
	})
	return slopes, ok
}

// part returns t count / size, for t <= size.
func part(t, size, count uint64) uint64 {
	if t == size {
		return count
	}
	hi, lo := bits.Mul64(t, count)
	q, _ := bits.Div64(hi, lo, size)
	return q
}

// span is a range of slopes, by places in the order of a sample, within which some
// ranks most likely lie.
type span struct {
	from, to  int
	low, high float64
	ranks     []int64
}

// spans returns the ranges of a sample for the ranks, joined where they overlap.
func (s *selector) spans(low, high bound, sample []float64, ranks []int64) []span {
	var spans []span
	size := len(sample)
	for i, k := range ranks {
		share := (float64(k-low.count) - 0.5) / float64(high.count-low.count)
		middle := float64(share * float64(size))
		margin := 2*math.Sqrt(float64(middle*(1-share))) + 1
		from, to := max(int(middle-margin), 0), min(int(middle+margin)+1, size-1)
		if last := len(spans) - 1; last >= 0 && from <= spans[last].to {
			spans[last].to = max(spans[last].to, to)
			spans[last].ranks = ranks[i-len(spans[last].ranks) : i+1]
			continue
		}
		spans = append(spans, span{from: from, to: to, ranks: ranks[i : i+1]})
	}
	from := 0
	for i := range spans {
		in := &spans[i]
		in.low = statistics.Nth(sample[from:], in.from-from)
		in.high = statistics.Nth(sample[in.from:], in.to-in.from)
		from = in.to
	}
	return spans
}

// narrow finds the ranks of a span with cuts below and above it.
func (s *selector) narrow(low, high bound, sample []float64, in span) bool {
	a, ok := s.at(below(in.low))
	if !ok {
		return false
	}
	b, ok := s.at(above(in.high))
	if !ok {
		return false
	}
	if a.count == low.count && b.count == high.count && in.low != in.high {
		return s.split(low, high, sample, in.ranks)
	}
	first, rest := divide(in.ranks, a.count)
	middle, last := divide(rest, b.count)
	if in.low == in.high {
		for _, k := range middle {
			s.found[k] = in.low // all between the cuts round to it
		}
		middle = nil
	}
	return s.find(low, a, first) && s.find(a, b, middle) && s.find(b, high, last)
}

// split divides a range that a sample does not narrow, because so many slopes agree.
func (s *selector) split(low, high bound, sample []float64, ranks []int64) bool {
	v, greatest := statistics.Nth(sample, len(sample)/2), slices.Max(sample)
	c := above(v)
	if v == greatest {
		c = below(v)
	}
	b, ok := s.at(c)
	if !ok {
		return false
	}
	first, last := divide(ranks, b.count)
	return s.find(low, b, first) && s.find(b, high, last)
}

// divide divides ascending ranks into those up to count and the rest.
func divide(ranks []int64, count int64) (first, rest []int64) {
	for i, k := range ranks {
		if k > count {
			return ranks[:i], ranks[i:]
		}
	}
	return ranks, nil
}

// slope returns the slope from a to b, correctly rounded.
func slope(a, b point) float64 {
	dy, ey := elementary.TwoSum(b.y, -a.y)
	dx, ex := elementary.TwoSum(b.x, -a.x)
	q := dy / dx
	if ey == 0 && ex == 0 || dy == 0 {
		return q
	}
	// What is left of dy + ey after q (dx + ex), within 2^-50 of it; unless that decides
	// the rounding of q or of the sum, they are right.
	const sure = 1 - 0x1p-40
	p, e := elementary.TwoProduct(q, dx)
	rest := ((dy - p) - e) + (ey - float64(q*ex))
	if math.Abs(rest) < float64(halfUnit(q)*sure)*dx {
		return q
	}
	sum, off := elementary.TwoSum(q, rest/dx)
	if math.Abs(off) < float64(halfUnit(sum)*sure) {
		return sum
	}
	return exactSlope(a, b)
}

// halfUnit returns half the distance of v to the nearest other float64.
func halfUnit(v float64) float64 {
	power := math.Float64frombits(math.Float64bits(v) & (0x7ff << 52))
	if power == math.Abs(v) {
		return power * 0x1p-54
	}
	return power * 0x1p-53
}

func exactSlope(a, b point) float64 {
	rat := func(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }
	dy, dx := rat(b.y), rat(b.x)
	dy.Sub(dy, rat(a.y))
	dx.Sub(dx, rat(a.x))
	f, _ := dy.Quo(dy, dx).Float64()
	return f
}
