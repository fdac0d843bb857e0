package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"linepace.example/core/elementary"
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

const rootTwoPi = 2.5066282746310002

// farApart is how many standard uncertainties apart predictions must lie to be told
// apart.
const farApart = 4

// Bounds of the list.
const (
	mostFar  = 3 // single mistakes that are listed though they are far off, where none is near
	mostPair = 3 // pairs that are listed where no single mistake explains the factor
	nearPair = 2 // standard uncertainties within which a pair explains it
)

// group holds the observations at one place, whose factors every mistake without a
// fitted size predicts to be equal.
type group struct {
	at         observed // one of them
	log, sigma float64  // weighted mean, and its standard uncertainty
	members    []int
}

// group sorts the observations into groups.
//
//	log = sum(log / sigma^2) / sum(1 / sigma^2), sigma = 1 / sqrt(sum(1 / sigma^2))
func (f *finder) group() {
	for i := range f.observed {
		o := &f.observed[i]
		o.group = slices.IndexFunc(f.groups, func(g group) bool {
			return g.at.process == o.process && g.at.stages == o.stages
		})
		if o.group < 0 {
			o.group = len(f.groups)
			f.groups = append(f.groups, group{at: *o})
		}
		g := &f.groups[o.group]
		g.members = append(g.members, i)
	}
	for i := range f.groups {
		g := &f.groups[i]
		var top, bottom float64
		for _, k := range g.members {
			o := &f.observed[k]
			top += o.log / (o.sigma * o.sigma)
			bottom += 1 / (o.sigma * o.sigma)
		}
		g.log, g.sigma = top/bottom, 1/math.Sqrt(bottom)
		for _, k := range g.members {
			z := (f.observed[k].log - g.log) / f.observed[k].sigma
			f.scatter += float64(z * z)
		}
	}
}

// rank fills in the answer's candidates.
func (f *finder) rank(out *Answer) {
	f.reach = elementary.Log(ReferenceSpan)
	predicted := make([][]float64, len(f.singles)) // by observation
	for k := range f.singles {
		s := &f.singles[k]
		switch {
		case s.offset:
			predicted[k] = f.fitOffset(s)
			continue
		case s.slips != nil:
			f.fitSlip(s)
		default:
			s.logLikelihood = -(f.misfit(s.logs) + f.scatter) / 2
		}
		predicted[k] = make([]float64, len(f.observed))
		for i := range f.observed {
			predicted[k][i] = s.factors[f.observed[i].group]
		}
	}
	order := make([]int, len(f.singles))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(f.singles[b].logLikelihood, f.singles[a].logLikelihood)
	})
	f.list(out, order, predicted)
}

// misfit returns the squared distance of logarithms of factors to the groups, in
// standard uncertainties.
func (f *finder) misfit(logs []float64) float64 {
	sum := 0.0
	for g := range f.groups {
		z := (f.groups[g].log - logs[g]) / f.groups[g].sigma
		sum += float64(z * z)
	}
	return sum
}

// unknown returns the likelihood's logarithm of something else: by half a factor for
// each group that is log-uniform from 1/ReferenceSpan to ReferenceSpan, by half one for
// each observation. Scatter is that within the groups.
func (f *finder) unknown(scatter float64) float64 {
	factors, free := float64(-scatter/2), 0.0
	for g := range f.groups {
		factors += elementary.Log(rootTwoPi * f.groups[g].sigma / (2 * f.reach))
	}
	for i := range f.observed {
		free += elementary.Log(rootTwoPi * f.observed[i].sigma / (2 * f.reach))
	}
	return sumOfLogs(factors, free) - elementary.Log(2)
}

// sumOfLogs returns ln(e^a + e^b).
func sumOfLogs(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	return a + elementary.Log1p(elementary.Exp(b-a))
}

// list writes the candidates: singles and something else by their weight, then pairs
// where something else comes first. A single's weight is its likelihood over the
// number of singles, so that all of them together weigh as much as something else.
func (f *finder) list(out *Answer, order []int, predicted [][]float64) {
	count := elementary.Log(float64(len(f.singles)))
	other := f.unknown(f.scatter)
	total := other
	for k := range f.singles {
		total = sumOfLogs(total, f.singles[k].logLikelihood-count)
	}
	share := func(weight float64) scaling.Optional[float64] {
		return scaling.Some(100 * elementary.Exp(weight-total))
	}
	f.chances(out, f.unknown(0)+count)
	told, unexplained := false, f.singles[order[0]].logLikelihood-count <= other
	for _, k := range order {
		s := &f.singles[k]
		if !told && s.logLikelihood-count <= other {
			f.tellUnknown(out, share(other))
			told = true
		}
		if s.idle || !f.near(predicted[k], predicted[order[0]]) && !(unexplained && len(out.Candidates) <= mostFar) {
			continue
		}
		candidate := Candidate{
			Mistakes: []Mistake{s.Mistake}, Predicted: predicted[k],
			LikelihoodPercent: share(s.logLikelihood - count), ChancePercent: scaling.Some(f.chance(s, predicted[k])),
			single: s,
		}
		f.say(&candidate)
		out.Candidates = append(out.Candidates, candidate)
	}
	if !told {
		f.tellUnknown(out, share(other))
	}
	if unexplained {
		f.addPairs(out)
	}
	f.tie(out)
	out.Considered = len(f.singles)
}

// near reports whether a prediction cannot be told from what was observed, or not from
// the likeliest one.
func (f *finder) near(predicted, likeliest []float64) bool {
	return f.distance(predicted, nil) < farApart || f.distance(predicted, likeliest) < farApart
}

func (f *finder) tellUnknown(out *Answer, share scaling.Optional[float64]) {
	out.Candidates = append(out.Candidates, Candidate{
		Mistakes: []Mistake{{
			Cause: SomethingElse, Text: "Something else: no single mistake that the drive's description allows",
			Confirm: "Hold a tachometer to the motor shaft and to the last shaft, and observe both as well: that tells in which part of the drive to look.",
		}},
		LikelihoodPercent: share,
	})
}

// say fills in what remains, and the fitted sizes in words.
func (f *finder) say(c *Candidate) {
	c.RemainsPercent = make([]float64, len(f.observed))
	for i := range f.observed {
		c.RemainsPercent[i] = 100 * (f.observed[i].factor/c.Predicted[i] - 1)
	}
	for i := range c.Mistakes {
		if m := &c.Mistakes[i]; m.Size.Unit != nil {
			m.Text += fmt.Sprintf(", of about %s %s", strconv.FormatFloat(m.Size.Value, 'g', 3, 64), m.Size.Unit.Symbol())
		}
	}
}

// distance returns how far a prediction lies from another, or from what was observed
// where that is nil, in standard uncertainties.
func (f *finder) distance(a, b []float64) float64 {
	sum := 0.0
	for i := range f.observed {
		o := &f.observed[i]
		to := o.log
		if b != nil {
			to = safeLog(b[i])
		}
		z := (safeLog(a[i]) - to) / o.sigma
		sum += float64(z * z)
	}
	return math.Sqrt(sum)
}

// safeLog is the logarithm, and very far away for what an offset takes below zero.
func safeLog(v float64) float64 {
	if v <= 0 {
		return -1e3
	}
	return elementary.Log(v)
}

// tie finds for each candidate the others that it cannot be told from.
func (f *finder) tie(out *Answer) {
	for i := range out.Candidates {
		for j := range out.Candidates {
			a, b := out.Candidates[i].Predicted, out.Candidates[j].Predicted
			if i != j && a != nil && b != nil && f.distance(a, b) < farApart {
				out.Candidates[i].Ties = append(out.Candidates[i].Ties, j)
			}
		}
	}
}

func quantity(v float64, u *units.Unit) units.Quantity { return units.Quantity{Value: v, Unit: u} }
func percents(v float64) units.Quantity                { return quantity(v, percent) }

func fromBase(c *exact.Calc, v float64, u *units.Unit) units.Quantity {
	return quantity(units.FromBase(c, c.Dec(v), u).Float(), u)
}
