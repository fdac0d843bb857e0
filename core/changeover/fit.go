package changeover

import (
	"slices"
	"strconv"

	"linepace.example/core/units"
)

// A derived demand that is out of range cannot be mended where it stands: what
// must change is the leader's demand or the blend's total. Because every leader
// rounds to its own counts, a proposed value is proven by planning the chain
// with it before it is offered.

// trial is a value tried in place of a root quantity.
type trial struct {
	root  rootOf
	value units.Quantity
}

// rootOf names the quantity on which a chain of drives hangs: the total of a
// blend, or the rate or time of a demand; -1 where it is not that.
type rootOf struct{ blend, demand int32 }

// derived reports whether drive i's demand hangs on another drive's or on a total.
func (s *solver) derived(i int) bool { return s.jobs[i].leader >= 0 || s.jobs[i].blend >= 0 }

// head returns the drive at the head of i's chain of leaders.
func (s *solver) head(i int) int {
	for s.jobs[i].leader >= 0 {
		i = int(s.jobs[i].leader)
	}
	return i
}

// root returns the quantity that job j hangs on: asked, or the value that is tried
// in its place.
func (s *solver) root(j *job, asked units.Quantity) units.Quantity {
	if s.trial != nil && s.trial.root == (rootOf{j.blend, j.demand}) {
		return s.trial.value
	}
	return asked
}

// fitTries bounds how often a candidate is moved inwards. Each leader of a chain
// may be off by the rounding of its count; the first step is one part in 2^15,
// about half a count of a 16 bit register, and the steps double.
const fitTries = 10

// mostTrials bounds the drives planned on trial for one plan, so that a line with
// everything out of range is answered as fast as any other. Beyond it the checks
// still say by how much, and offer no value.
const mostTrials = 20000

// fitOfRoot returns the value of the quantity that drive i's demand hangs on with
// which the drive and all its leaders would run, and that quantity's field. factor
// is the drive's limit over its demand, and faster says on which side the drive can
// run: a demand next to its limit has a factor of 1. Nothing is returned where no
// value is found.
func (s *solver) fitOfRoot(i int, factor float64, faster bool) (fit units.Quantity, field string) {
	j := &s.jobs[s.head(i)]
	asked, field := s.rootQuantity(j)
	if s.kind(j) == Dwell {
		factor, faster = 1/factor, !faster
	}
	try := solver{planner: s.planner, of: s.of, stop: s.stop, trial: &trial{root: rootOf{j.blend, j.demand}}}
	if s.blends != nil { // what is chosen together reaches beyond the chain
		try.blends, try.of = make([]jointPlan, len(s.blends)), slices.Clone(s.of)
	}
	defer s.keepPlaces(i)()
	step := 0.0
	for range fitTries {
		inwards := 1 - step
		if faster {
			inwards = 1 + step
		}
		try.trial.value = units.Quantity{Value: sixDigits(asked.Value * factor * inwards), Unit: asked.Unit}
		if s.trials += len(try.plan.Setpoints) + try.trials; s.trials > mostTrials {
			break
		}
		try.trials = 0
		clear(try.blends)
		if try.chainRuns(i) {
			return try.trial.value, field
		}
		step = max(2*step, 1.0/(1<<15))
	}
	return units.Quantity{}, ""
}

// keepPlaces remembers the places of drive i and its leaders in the plan, which a
// trial overwrites, and returns the function that puts them back.
func (s *solver) keepPlaces(i int) (restore func()) {
	var places []placed
	for k := i; k >= 0; k = int(s.jobs[k].leader) {
		places = append(places, s.of[k])
	}
	return func() {
		for k := i; k >= 0; k = int(s.jobs[k].leader) {
			s.of[k], places = places[0], places[1:]
		}
	}
}

// chainRuns plans drive i's leaders and then drive i with the trial's value, and
// reports whether each gets a setpoint.
func (s *solver) chainRuns(i int) bool {
	if leader := int(s.jobs[i].leader); leader < 0 {
		s.plan = Plan{}
	} else if !s.chainRuns(leader) {
		return false
	}
	place := len(s.plan.Setpoints)
	s.of[i].place = int32(place)
	s.plan.Setpoints = append(s.plan.Setpoints, Setpoint{})
	s.fill(i, &s.plan.Setpoints[place])
	return s.runs(int32(i))
}

// rootQuantity returns the quantity that the head of a chain is asked for, and its field.
func (s *solver) rootQuantity(j *job) (q units.Quantity, field string) {
	if j.blend >= 0 {
		blend := s.fields.blend(int(j.blend))
		if b := &s.product.Blends[j.blend]; b.leads(int(j.component)) {
			rate := blend.Field("leaderRate")
			return b.LeaderRate, rate.String()
		}
		total := blend.Field("total")
		return s.product.Blends[j.blend].Total, total.String()
	}
	demand := &s.product.Demands[j.demand]
	if demand.Kind == Dwell {
		asked, _ := s.askedDwell(j)
		return asked, s.field(j)
	}
	return demand.Rate, s.field(j)
}

// sixDigits rounds to six significant digits.
func sixDigits(v float64) float64 {
	out, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	return out
}
