package drift

import (
	"cmp"
	"math"
	"slices"

	"linepace.example/core/elementary"
)

// This file orders points by how they lie about a line of some slope, exactly.
//
// Let the points be numbered by ascending x, and by ascending y where x is the
// same. The slope from point i to a later point j of greater x is at most c just
// when y[j] - c x[j] <= y[i] - c x[i]. So in the order of these residuals (of equal
// ones the greater x first) exactly the pairs whose slope is at most c are turned
// round against their numbers, and the slopes can be counted in O(n log n).

// points are numbered as above. |x| and |y| are 0 or within smallest and greatest.
type points struct {
	x, y  []float64
	short int // a list of so many is sorted by comparing
	sort  orderScratch
}

// Within these bounds no product or residual below underflows or overflows.
const (
	smallestValue = 1e-60
	greatestValue = 1e60
)

// cut divides slopes: those below it are at most at + half, or, if it is open, less
// than that. half is 0 or half the distance of at to a neighbouring float64, so
// that a cut may lie where rounding to float64 changes from one to the next.
type cut struct {
	at, half float64
	open     bool
}

// below returns the cut under all slopes that round to v, and above the one over
// them. A slope that is not 0 never rounds to 0, since points are bounded.
func below(v float64) cut {
	if v == 0 {
		return cut{open: true}
	}
	return cut{at: v, half: -(v - math.Nextafter(v, math.Inf(-1))) / 2, open: even(v)}
}

func above(v float64) cut {
	if v == 0 {
		return cut{}
	}
	return cut{at: v, half: (math.Nextafter(v, math.Inf(1)) - v) / 2, open: !even(v)}
}

// even tells whether a tie rounds to v.
func even(v float64) bool { return math.Float64bits(v)&1 == 0 }

// residual is y - (at + half) x as a sum of two.
type residual struct{ hi, lo float64 }

type orderScratch struct {
	residuals  []residual
	maxError   float64 // bounds how much two residuals together may be off
	keys, swap []uint64
}

// order returns the numbers of the points in the order that the cut gives them.
func (p *points) order(c cut) []int32 {
	n := len(p.x)
	if p.sort.residuals == nil {
		p.sort = orderScratch{residuals: make([]residual, n), keys: make([]uint64, n), swap: make([]uint64, n)}
	}
	p.fillResiduals(c)
	out := make([]int32, n)
	for t := range out {
		out[t] = int32(t) // ties: by number, or the greater x first
		if !c.open {
			out[t] = int32(n - 1 - t)
		}
	}
	p.sortRun(out, p.comparison(c))
	return out
}

// sortRun sorts by the first 32 bits of where residuals lie between the least and the
// greatest, and then each run that these leave open.
func (p *points) sortRun(list []int32, compare func(i, j int32) int) {
	// About one of them: residuals may be close to one another and far from zero.
	base := p.sort.residuals[list[0]].hi
	about := func(i int32) float64 { return (p.sort.residuals[i].hi - base) + p.sort.residuals[i].lo }
	low, high := math.Inf(1), math.Inf(-1)
	for _, i := range list {
		v := about(i)
		low, high = min(low, v), max(high, v)
	}
	scale := math.MaxUint32 / (high - low)
	// Keys that differ by two or more must tell the order: they do if the errors of two
	// residuals are far less than what a key stands for. Residuals that are all alike make
	// that infinite or no number, and are not asked for it again.
	if !(p.sort.maxError*scale < 0.25) || len(list) < p.short {
		if !slices.IsSortedFunc(list, compare) {
			slices.SortFunc(list, compare)
		}
		return
	}
	keys := p.sort.keys[:len(list)]
	for t, i := range list {
		keys[t] = uint64((about(i)-low)*scale)<<32 | uint64(i)
	}
	keys = radixSort(keys, p.sort.swap[:len(list)])
	var open [][2]int // keys is used again for long runs: find them first
	from := 0
	for t, key := range keys {
		list[t] = int32(key & math.MaxUint32)
		if t+1 < len(keys) && keys[t+1]>>32-key>>32 < 2 {
			continue
		}
		if to := t + 1; to-from > 1 {
			open = append(open, [2]int{from, to})
		}
		from = t + 1
	}
	for _, run := range open {
		p.sortRun(list[run[0]:run[1]], compare)
	}
}

// fillResiduals computes the residuals.
func (p *points) fillResiduals(c cut) {
	greatest := 0.0
	for i, x := range p.x {
		product, e := elementary.TwoProduct(c.at, x)
		s, f := elementary.TwoSum(p.y[i], -product)
		s, f = elementary.TwoSum(s, f-e-float64(c.half*x))
		p.sort.residuals[i] = residual{s, f}
		greatest = max(greatest, math.Abs(p.y[i]), math.Abs(product))
	}
	// Each residual is off by less than 2^-103 of this, and so is their difference's rounding.
	p.sort.maxError = greatest * 0x1p-100
}

// comparison returns the exact order of points at a cut.
func (p *points) comparison(c cut) func(i, j int32) int {
	maxError := p.sort.maxError
	return func(i, j int32) int {
		a, b := p.sort.residuals[i], p.sort.residuals[j]
		switch d := (a.hi - b.hi) + (a.lo - b.lo); {
		case d > maxError:
			return 1
		case d < -maxError:
			return -1
		}
		sign := p.compareExactly(c, int(i), int(j))
		switch {
		case sign != 0:
			return sign
		case !c.open && p.x[i] != p.x[j]:
			return cmp.Compare(j, i)
		}
		return cmp.Compare(i, j)
	}
}

// compareExactly returns the sign of the difference of the residuals of i and j.
func (p *points) compareExactly(c cut, i, j int) int {
	var terms [8]float64
	terms[0], terms[1] = elementary.TwoSum(p.y[i], -p.y[j])
	dx, e := elementary.TwoSum(p.x[j], -p.x[i])
	terms[2], terms[3] = elementary.TwoProduct(c.at, dx)
	terms[4], terms[5] = elementary.TwoProduct(c.at, e)
	terms[6], terms[7] = float64(c.half*dx), float64(c.half*e)
	return signOfSum(terms)
}

// signOfSum returns the sign of the exact sum. Source: J. R. Shewchuk, Adaptive precision
// floating-point arithmetic, Discrete & Computational Geometry 18, 1997, theorem 10.
func signOfSum(terms [8]float64) int {
	var parts [8]float64 // of ascending magnitude, not overlapping
	n := 0
	for _, q := range terms {
		if q == 0 {
			continue
		}
		kept := 0
		for _, part := range parts[:n] {
			var e float64
			if q, e = elementary.TwoSum(q, part); e != 0 {
				parts[kept] = e
				kept++
			}
		}
		if n = kept; q != 0 {
			parts[n] = q
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return cmp.Compare(parts[n-1], 0)
}

// radixSort sorts by the upper 32 bits, stably, and returns the one of keys and swap
// that holds the result.
func radixSort(keys, swap []uint64) []uint64 {
	for shift := 32; shift < 64; shift += 11 {
		var starts [1 << 11]int32
		for _, k := range keys {
			starts[k>>shift&(1<<11-1)]++
		}
		total := int32(0)
		for d, count := range starts {
			starts[d] = total
			total += count
		}
		for _, k := range keys {
			d := k >> shift & (1<<11 - 1)
			swap[starts[d]] = k
			starts[d]++
		}
		keys, swap = swap, keys
	}
	return keys
}

// inversions calls each, if there is one, with every value that comes after a run of
// greater ones, and with those: once for each pair that is out of ascending order.
// It returns how many pairs that are, and leaves the list sorted. If stop ends
// it, ok is false. scratch is as long as the list.
func inversions[T int32 | float64](list, scratch []T, stop Stop, each func(greater []T, v T)) (count int64, ok bool) {
	const block = 8
	n := len(list)
	for from := 0; from < n; from += block {
		count += insertEach(list[from:min(from+block, n)], each)
	}
	from, to := list, scratch
	for width := block; width < n; width *= 2 {
		if stop.now() {
			return 0, false
		}
		for at := 0; at < n; at += 2 * width {
			middle, end := min(at+width, n), min(at+2*width, n)
			if each == nil {
				count += merge(from[at:middle], from[middle:end], to[at:end])
			} else {
				count += mergeEach(from[at:middle], from[middle:end], to[at:end], each)
			}
		}
		from, to = to, from
	}
	if &from[0] != &list[0] {
		copy(list, from)
	}
	return count, true
}

// insertEach sorts a short list.
func insertEach[T int32 | float64](list []T, each func(greater []T, v T)) (count int64) {
	for t := 1; t < len(list); t++ {
		v, k := list[t], t
		for k > 0 && list[k-1] > v {
			k--
		}
		if k == t {
			continue
		}
		count += int64(t - k)
		if each != nil {
			each(list[k:t], v)
		}
		copy(list[k+1:t+1], list[k:t])
		list[k] = v
	}
	return count
}

// merge merges two sorted lists and counts the pairs that are out of order. Which
// list is next is as good as random, so that a branch on it would cost more than all the rest.
func merge[T int32 | float64](left, right, to []T) (count int64) {
	l, r := 0, 0
	for l < len(left) && r < len(right) {
		a, b := left[l], right[r]
		second := 0
		v := a
		if b < a {
			second = 1
			v = b
		}
		to[l+r] = v
		count += int64(second * (len(left) - l))
		l += 1 - second
		r += second
	}
	t := l + r
	t += copy(to[t:], left[l:])
	copy(to[t:], right[r:])
	return count
}

// mergeEach is merge that tells the pairs.
func mergeEach[T int32 | float64](left, right, to []T, each func(greater []T, v T)) (count int64) {
	l := 0
	for r, v := range right {
		for l < len(left) && left[l] <= v {
			to[l+r] = left[l]
			l++
		}
		to[l+r] = v
		if l < len(left) {
			count += int64(len(left) - l)
			each(left[l:], v)
		}
	}
	copy(to[l+len(right):], left[l:])
	return count
}
