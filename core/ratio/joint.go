// Package ratio finds what holds flows and speeds to each other.
package ratio

import (
	"cmp"
	"math"
	"slices"
)

// A blend's parts each take one of two counts, the nearest to what is asked of it
// or the neighbour on the other side, and every share depends on the sum of all.
// Which of the 2^n combinations makes the largest error of a share least is found
// here: proven where the search ends, the best found where it is cut off.

// Part is one part of a blend, with what each of its counts gives.
type Part struct {
	Share    float64 // of the whole that is asked, a fraction above 0 to 1
	Amount   float64 // that the nearest count gives, in any one unit, above 0
	Other    float64 // that the neighbour gives, above 0; only where HasOther
	HasOther bool
}

// Objective is what the error of a share is counted in.
type Objective uint8

// Objectives.
const (
	Points   Objective = iota // achieved share less the share
	Relative                  // the same over the share
)

// Counts is which counts to take together.
type Counts struct {
	Other   []bool  // by part: the neighbour in place of the nearest
	Total   float64 // sum of the amounts
	Largest float64 // largest magnitude of the parts' errors, as a fraction
	Proven  bool    // no combination has a smaller one, to within Alike
	Nodes   int     // of the search
}

const (
	// Alike is the difference below which two errors, as fractions of the whole or
	// of the share, count as equal, and the one found first stays. It is far above
	// what rounding in float64 does to a sum of a thousand shares, and far below
	// what a scale or a pulse counter can tell.
	Alike = 0x1p-40

	// MostNodes bounds a search. Twenty parts need a few thousand.
	MostNodes = 1 << 17

	// mostTail bounds the parts whose combinations are tabulated.
	mostTail = 11

	stopEvery = 1 << 10
)

// Joint returns which counts make the largest error of a share least, among all
// combinations whose total lies within one rounding step of the total of the
// nearest counts: |total - total of nearest| <= the largest |other - nearest| of
// any part. The nearest counts are such a combination, so the answer is never
// worse than they are. The same parts in the same order give the same answer on
// every machine. A search of more than most nodes ends with the best found.
// stop, where it is not nil, ends a search that nobody waits for; ok is then false.
//
//	error = |amount / total - share|, or |amount / total - share| / share
//
// Method: the combinations of the parts that matter least are tabulated, sorted by
// their sum. Those of the others are walked by branch and bound: an error below
// the best so far confines the total from both sides, and the table has few sums
// that lead there (Horowitz and Sahni, Computing partitions with applications to
// the knapsack problem, J. ACM 21 (1974) 277-292). Formula: joint-count/1
func Joint(parts []Part, o Objective, most int, stop func() bool) (out Counts, ok bool) {
	s := newSearch(parts, o, most, stop)
	s.improve()
	s.run()
	return Counts{Other: s.best, Total: s.total(s.best), Largest: s.error, Proven: !s.cut, Nodes: s.nodes}, !s.stopped
}

// part is a Part as the search needs it. error = |scaled[k] / total - target|.
type part struct {
	amount, scaled [2]float64 // by choice: nearest, other
	target         float64    // 1 where errors are relative to the share
	choices        int
	index          int // in the parts that were given
}

// within returns the open interval of totals in which choice k of p has an error
// below e.
func (p *part) within(k int, e float64) span {
	out := span{low: p.scaled[k] / (p.target + e), high: math.Inf(1)}
	if p.target > e {
		out.high = p.scaled[k] / (p.target - e)
	}
	return out
}

// span is an interval of totals.
type span struct{ low, high float64 }

func (a span) and(b span) span    { return span{max(a.low, b.low), min(a.high, b.high)} }
func (a span) empty() bool        { return a.low > a.high }
func (a span) has(v float64) bool { return v >= a.low && v <= a.high }

// entry is a combination of the tail's choices.
type entry struct {
	sum   float64
	allow span   // of totals, at the error when the table was made
	other uint32 // a bit for each part of the tail
}

type search struct {
	parts   []part // as given
	fixed   []part // whose choice is settled
	head    []part // walked, what matters most first
	tail    []part // tabulated
	table   []entry
	chosen  []bool // of the head, on the way to the present node
	rest    []span // by depth in the head: what the parts from there on can add
	window  span   // of totals that are taken
	settled span   // of totals at which every fixed part is better than error
	base    float64
	best    []bool // by part as given
	trial   []bool
	error   float64 // of best
	nodes   int
	most    int
	cut     bool
	stopped bool
	stop    func() bool
}

func newSearch(parts []Part, o Objective, most int, stop func() bool) *search {
	s := &search{parts: make([]part, len(parts)), best: make([]bool, len(parts)), trial: make([]bool, len(parts)), most: most, stop: stop}
	step := 0.0
	for i := range parts {
		in, p := &parts[i], &s.parts[i]
		*p = part{amount: [2]float64{in.Amount, in.Other}, target: in.Share, choices: 1, index: i}
		p.scaled = p.amount
		if o == Relative {
			p.target, p.scaled = 1, [2]float64{in.Amount / in.Share, in.Other / in.Share}
		}
		if in.HasOther {
			p.choices = 2
			step = max(step, math.Abs(in.Other-in.Amount))
		}
	}
	total := s.total(s.best)
	step += float64(Alike * total)
	s.window = span{total - step, total + step}
	s.error = s.largest(s.best, total, math.Inf(1))
	return s
}

// total sums the amounts of a combination.
func (s *search) total(other []bool) float64 {
	sum := 0.0
	for i := range s.parts {
		sum += s.parts[i].amount[choice(other[i])]
	}
	return sum
}

func choice(other bool) int {
	if other {
		return 1
	}
	return 0
}

// largest returns the largest error of a combination, or enough where it is no
// less than that.
func (s *search) largest(other []bool, total, enough float64) float64 {
	worst, part := 0.0, 1/total
	for i := range s.parts {
		p := &s.parts[i]
		e := math.Abs(float64(p.scaled[choice(other[i])]*part) - p.target)
		if e > worst {
			if worst = e; worst >= enough {
				return enough
			}
		}
	}
	return worst
}

// better is the error below which a combination is better than the best.
func (s *search) better() float64 { return s.error - Alike }

// tick counts a node, and reports whether the search goes on.
func (s *search) tick(n int) bool {
	if s.cut || s.stopped {
		return false
	}
	before := s.nodes
	s.nodes += n
	if s.nodes > s.most {
		s.cut = true
	}
	if s.stop != nil && before/stopEvery != s.nodes/stopEvery && s.stop() {
		s.stopped = true
	}
	return !s.cut && !s.stopped
}

// improve takes the other choice of one part at a time, as long as that is
// better, so that the search begins with a good bound.
func (s *search) improve() {
	cost := 1 + len(s.parts)/16
	total := s.total(s.best)
	for changed := true; changed; {
		changed = false
		for i := range s.parts {
			p := &s.parts[i]
			if p.choices < 2 {
				continue
			}
			if !s.tick(cost) {
				return
			}
			now := choice(s.best[i])
			t := total - p.amount[now] + p.amount[1-now]
			if !s.window.has(t) {
				continue
			}
			s.best[i] = !s.best[i]
			if e := s.largest(s.best, t, s.better()); e < s.better() {
				s.error, total, changed = e, t, true
			} else {
				s.best[i] = !s.best[i]
			}
		}
	}
}

// run searches whatever could still be better.
func (s *search) run() {
	if s.cut || s.stopped || s.better() <= 0 {
		return
	}
	open := s.settle()
	if s.settled.empty() {
		return
	}
	s.split(open)
	s.tabulate()
	s.walk(0, s.base, s.settled)
}

// settle drops the choices with which nothing can be better than the best, and
// returns the parts that have two left.
func (s *search) settle() (open []part) {
	allow := s.window
	for i := range s.parts {
		p := s.parts[i]
		kept := 0
		var of span
		for k := range p.choices {
			if at := p.within(k, s.better()); !at.and(s.window).empty() {
				p.amount[kept], p.scaled[kept] = p.amount[k], p.scaled[k]
				of = at
				kept++
			}
		}
		switch kept {
		case 2:
			open = append(open, p)
			continue
		case 0:
			of = span{1, 0} // none: the best is proven
		}
		if kept < p.choices {
			p.choices = -1 // the one that is left may be the other
		}
		s.fixed = append(s.fixed, p)
		s.base += p.amount[0]
		allow = allow.and(of)
	}
	s.settled = allow
	return open
}

// split orders the parts by how much a choice changes their error, and makes the
// last of them the tail.
func (s *search) split(open []part) {
	slices.SortStableFunc(open, func(a, b part) int {
		return cmp.Compare(math.Abs(b.scaled[1]-b.scaled[0]), math.Abs(a.scaled[1]-a.scaled[0]))
	})
	n := len(open) - min(len(open)/2, mostTail)
	s.head, s.tail = open[:n], open[n:]
	s.chosen = make([]bool, n)
}

// tabulate makes the table of the tail's combinations, sorted by their sums, by
// merging it with itself for each part.
func (s *search) tabulate() {
	size := 1 << len(s.tail)
	s.table = append(make([]entry, 0, size), entry{allow: s.window})
	next := make([]entry, 0, size)
	for b := range s.tail {
		p := &s.tail[b]
		less, more := 0, 1
		if p.amount[0] > p.amount[1] {
			less, more = 1, 0
		}
		next = mergeChoices(next[:0], s.table, p, less, more, uint32(1)<<b, s.better())
		s.table, next = next, s.table
	}
	low, high := 0.0, 0.0
	if len(s.table) > 0 {
		low, high = s.table[0].sum, s.table[len(s.table)-1].sum
	}
	s.rest = make([]span, len(s.head)+1)
	s.rest[len(s.head)] = span{low, high}
	for k := len(s.head) - 1; k >= 0; k-- {
		a := s.head[k].amount
		s.rest[k] = span{s.rest[k+1].low + min(a[0], a[1]), s.rest[k+1].high + max(a[0], a[1])}
	}
}

// mergeChoices appends to out each entry of table with either choice of p, in
// order of the sums, less what cannot be better than e.
func mergeChoices(out, table []entry, p *part, less, more int, bit uint32, e float64) []entry {
	add := func(t *entry, k int) {
		n := entry{sum: t.sum + p.amount[k], allow: t.allow.and(p.within(k, e)), other: t.other}
		if k == 1 {
			n.other |= bit
		}
		if !n.allow.empty() {
			out = append(out, n)
		}
	}
	i := 0
	for j := range table {
		for i < len(table) && table[i].sum+p.amount[less] <= table[j].sum+p.amount[more] {
			add(&table[i], less)
			i++
		}
		add(&table[j], more)
	}
	for ; i < len(table); i++ {
		add(&table[i], less)
	}
	return out
}

// walk tries the choices of the head from part k on. sum is what is settled, and
// allow the totals at which all that is settled is better than the best.
func (s *search) walk(k int, sum float64, allow span) {
	if !s.tick(1) || allow.and(span{sum + s.rest[k].low, sum + s.rest[k].high}).empty() {
		return
	}
	if k == len(s.head) {
		s.scan(sum, allow)
		return
	}
	p := &s.head[k]
	for c := range 2 {
		s.chosen[k] = c == 1
		s.walk(k+1, sum+p.amount[c], allow.and(p.within(c, s.better())))
	}
}

// scan tries the combinations of the tail that take the total to where it is allowed.
func (s *search) scan(sum float64, allow span) {
	from, _ := slices.BinarySearchFunc(s.table, allow.low-sum, func(t entry, v float64) int { return cmp.Compare(t.sum, v) })
	for i := from; i < len(s.table); i++ {
		t := &s.table[i]
		total := sum + t.sum
		switch {
		case total > allow.high:
			return
		case !t.allow.has(total) || total < allow.low:
			continue
		}
		if !s.tick(1) {
			return
		}
		if s.take(t, total) {
			allow = s.allowed()
		}
	}
}

// take makes the present combination the best if it is better.
func (s *search) take(t *entry, total float64) bool {
	for i := range s.fixed {
		s.set(&s.fixed[i], false)
	}
	for k := range s.head {
		s.set(&s.head[k], s.chosen[k])
	}
	for b := range s.tail {
		s.set(&s.tail[b], t.other&(1<<b) != 0)
	}
	e := s.largest(s.trial, total, s.better())
	if e >= s.better() {
		return false
	}
	s.error = e
	copy(s.best, s.trial)
	return true
}

// set notes the choice of p in the trial. Of a part with one choice left, that one
// stands first.
func (s *search) set(p *part, other bool) {
	if p.choices < 0 {
		other = p.amount[0] != s.parts[p.index].amount[0]
	}
	s.trial[p.index] = other
}

// allowed returns the totals at which everything that is settled at the present
// node is better than the best.
func (s *search) allowed() span {
	allow := s.window
	for i := range s.fixed {
		allow = allow.and(s.fixed[i].within(0, s.better()))
	}
	s.settled = allow
	for k := range s.head {
		allow = allow.and(s.head[k].within(choice(s.chosen[k]), s.better()))
	}
	return allow
}
