package changeover

import (
	"linepace.example/core/exact"
	"linepace.example/core/ratio"
	"linepace.example/core/scaling"
)

// jointPlan is what is known of a blend whose counts are chosen together.
type jointPlan struct {
	done   bool
	proven scaling.Optional[bool] // absent: nothing was chosen, since a drive cannot run
}

// jointTrials is what choosing the counts of a blend counts for among the drives
// that are planned on trial.
const jointTrials = mostTrials / 100

// chooseCounts chooses the counts of the blend of job j together, where it asks for
// that and they are not chosen yet. A leader keeps its own.
func (s *solver) chooseCounts(j *job) {
	b, plan := &s.product.Blends[j.blend], &s.blends[j.blend]
	if b.Rounding != Joint || plan.done || b.leads(int(j.component)) || j.leader >= 0 && !s.runs(j.leader) {
		return
	}
	plan.done = true
	for k := range b.Components {
		s.of[s.drives.find(b.Components[k].DriveID)].chosen.Set = false
	}
	parts := make([]ratio.Part, len(b.Components))
	counts := make([]int32, len(b.Components))
	for k := range b.Components {
		if !s.part(b, k, &parts[k], &counts[k]) {
			return
		}
	}
	s.trials += jointTrials
	out, ok := ratio.Joint(parts, b.Objective, ratio.MostNodes, s.stop)
	if !ok {
		return
	}
	for k := range parts {
		if out.Other[k] {
			s.of[s.drives.find(b.Components[k].DriveID)].chosen = scaling.Some(counts[k])
		}
	}
	plan.proven = scaling.Some(out.Proven)
	if !out.Proven && s.trial == nil {
		blend := s.fields.blend(int(j.blend))
		field := blend.Field("rounding")
		s.plan.Checks = append(s.plan.Checks, scaling.Check{Code: scaling.CountsNotProven, DriveID: s.line.Drives[s.drives.find(b.Components[j.component].DriveID)].ID, Field: field.String()})
	}
}

// part finds what the counts of component k give, counted as the blend's total is,
// and the count that is not the nearest. It returns false where the drive cannot
// run, or gives nothing.
func (s *solver) part(b *Blend, k int, out *ratio.Part, other *int32) bool {
	i := s.drives.find(b.Components[k].DriveID)
	m := s.materialOf(i)
	if b.leads(k) {
		*out = scaling.Certain(func(c *exact.Calc) ratio.Part {
			rate := scaling.InDimension(c, &s.line.Drives[i], m, s.achieved(c, i).Rate, b.dimension())
			return ratio.Part{Share: shareOf(c, b, k).Float(), Amount: counted(c, b, m, rate).Float()}
		})
		return out.Amount > 0
	}
	subject := s.subject(i)
	choices := scaling.Certain(func(c *exact.Calc) scaling.Choices {
		asked := s.amount(c, i)
		if c.Sign(asked) <= 0 {
			return scaling.Choices{}
		}
		return scaling.ChoicesFor(c, &subject, s.measure(i), asked)
	})
	if !choices.Runs || choices.Gives <= 0 {
		return false
	}
	c := new(exact.Calc)
	perFed := counted(c, b, m, c.Int(1)).Float()
	*out = ratio.Part{
		Share: shareOf(c, b, k).Float(), Amount: choices.Gives * perFed,
		HasOther: choices.HasOther, Other: choices.Gets * perFed,
	}
	*other = choices.Other
	return true
}

// componentAmount returns what is asked of drive i, a component of a blend, as fed.
//
//	leader     its rate, as given
//	follower   its share of the total that the leader's achieved rate makes:
//	           total = leader's achieved rate / leader's share
//	otherwise  its share of the total
func (s *solver) componentAmount(c *exact.Calc, i int) exact.Num {
	j := &s.jobs[i]
	b := &s.product.Blends[j.blend]
	switch {
	case b.leads(int(j.component)):
		return s.root(j, b.LeaderRate).Base(c)
	case j.leader < 0:
		return componentRate(c, b, int(j.component), s.materialOf(i), s.root(j, b.Total).Base(c))
	}
	return componentRate(c, b, int(j.component), s.materialOf(i), s.totalOfLeader(c, b))
}

// totalOfLeader returns the total of a blend that its leader's achieved rate makes.
func (s *solver) totalOfLeader(c *exact.Calc, b *Blend) exact.Num {
	i := s.drives.find(b.LeaderID)
	m := s.materialOf(i)
	rate := scaling.InDimension(c, &s.line.Drives[i], m, s.achieved(c, i).Rate, b.dimension())
	return counted(c, b, m, rate).Quo(shareOf(c, b, b.leader()))
}
