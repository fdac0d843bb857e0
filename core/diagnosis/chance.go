package diagnosis

import (
	"cmp"
	"math"
	"slices"

	"linepace.example/core/scaling"
)

// chances fills in how often a random factor, on which all observations of a place
// agree, would be given a mistake before something else. A mistake comes first where
// its log-likelihood exceeds least.
func (f *finder) chances(out *Answer, least float64) {
	z := math.Sqrt(max(0, -2*least))
	out.ChanceMatchPercent = 100 * f.covered(f.singles, z)
}

// chance returns how often, in percent, a random factor lies as near to some single
// mistake as the observed one to this, or within a standard uncertainty of it.
func (f *finder) chance(s *single, predicted []float64) float64 {
	z := max(1, f.distance(predicted, nil))
	if !s.offset {
		return 100 * f.covered(f.singles, z)
	}
	// An offset takes one observation; the factors of the others must then agree.
	part := 1.0
	for i := range f.observed[1:] {
		part *= min(1, z*f.observed[1+i].sigma/f.reach)
	}
	return 100 * part
}

// stretch is an interval of logarithms of factors.
type stretch struct{ from, to float64 }

// covered returns the share of the reference distribution that lies within z standard
// uncertainties of what one of the singles predicts. With one group it is exact. With
// more it is at most that: overlaps count as often as they occur.
func (f *finder) covered(singles []single, z float64) float64 {
	if len(f.groups) > 1 {
		sum := 0.0
		for k := range singles {
			sum += f.share(&singles[k], z)
		}
		return min(1, sum)
	}
	radius := float64(z * f.groups[0].sigma)
	var list []stretch
	for k := range singles {
		switch s := &singles[k]; {
		case s.offset:
		case s.slips != nil:
			end := float64(s.largest * s.slips[0])
			list = append(list, stretch{min(0, end) - radius, max(0, end) + radius})
		default:
			list = append(list, stretch{s.logs[0] - radius, s.logs[0] + radius})
		}
	}
	return f.union(list)
}

// share is the part of the reference distribution near one single.
func (f *finder) share(s *single, z float64) float64 {
	if s.offset {
		return 0
	}
	part := 1.0
	for g := range f.groups {
		width := float64(2 * z * f.groups[g].sigma)
		if s.slips != nil {
			width += float64(magnitude(s.slips[g]) * s.largest)
		}
		part *= min(1, width/(2*f.reach))
	}
	return part
}

// union returns the part of the reference distribution that stretches cover.
func (f *finder) union(list []stretch) float64 {
	slices.SortFunc(list, func(a, b stretch) int { return cmp.Compare(a.from, b.from) })
	sum, end := 0.0, -f.reach
	for _, s := range list {
		from, to := max(s.from, end), min(s.to, f.reach)
		if to > from {
			sum += to - from
			end = to
		}
	}
	return sum / (2 * f.reach)
}

// pair is two mistakes that were made together.
type pair struct {
	a, b   *single
	misfit float64
}

// addPairs appends the pairs of mistakes that lie nearest to the observed factors.
// There are so many that most factors have one near: they are hints where to look, and
// a second observation, at another place or speed, must tell.
func (f *finder) addPairs(out *Answer) {
	if f.scatter > nearPair*nearPair {
		return
	}
	near, logs := f.pairs()
	slices.SortStableFunc(near, func(a, b pair) int { return cmp.Compare(a.misfit, b.misfit) })
	for _, p := range near[:min(mostPair, len(near))] {
		c := Candidate{Mistakes: []Mistake{p.a.Mistake, p.b.Mistake}, Predicted: make([]float64, len(f.observed))}
		for k := range f.observed {
			g := f.observed[k].group
			c.Predicted[k] = p.a.factors[g] * p.b.factors[g]
		}
		c.ChancePercent = scaling.Some(100 * f.coveredByPairs(logs, max(1, math.Sqrt(p.misfit))))
		f.say(&c)
		out.Candidates = append(out.Candidates, c)
	}
}

// pairs returns the pairs that explain the observations within two standard
// uncertainties, and what every pair predicts for the first group.
func (f *finder) pairs() (near []pair, logs []float64) {
	logs = make([]float64, 0, len(f.singles)*len(f.singles)/2)
	for i := range f.singles {
		for j := range i {
			a, b := &f.singles[j], &f.singles[i]
			if !pairable(a) || !pairable(b) || a.topic == b.topic {
				continue
			}
			logs = append(logs, a.logs[0]+b.logs[0])
			p := pair{a: a, b: b}
			for g := range f.groups {
				z := (f.groups[g].log - a.logs[g] - b.logs[g]) / f.groups[g].sigma
				p.misfit += float64(z * z)
			}
			if p.misfit+f.scatter <= nearPair*nearPair {
				near = append(near, p)
			}
		}
	}
	return near, logs
}

func pairable(s *single) bool { return s.Cause != NoMistake && s.slips == nil && !s.offset }

// coveredByPairs is [finder.covered] for pairs, whose logarithms are logs.
func (f *finder) coveredByPairs(logs []float64, z float64) float64 {
	if len(f.groups) == 1 {
		radius := float64(z * f.groups[0].sigma)
		list := make([]stretch, len(logs))
		for i, log := range logs {
			list[i] = stretch{log - radius, log + radius}
		}
		return f.union(list)
	}
	part := float64(len(logs))
	for g := range f.groups {
		part *= min(1, z*f.groups[g].sigma/f.reach)
	}
	return min(1, part)
}
