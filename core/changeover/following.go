package changeover

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
)

// checkFollowing demands of each drive that is given a ratio to another that its
// demand follows that one. It comes after every drive has its job.
func (p *planner) checkFollowing(faults *fault.List) {
	for i := range p.jobs {
		j := &p.jobs[i]
		d := &p.line.Drives[i]
		if *j == noJob || !d.Register.Follows() {
			continue
		}
		drive := fault.Root(p.fields.drive(i))
		register := drive.Field("register")
		at := register.Field("ratio")
		if d.Register.Kind == scaling.FractionRegister {
			at = register.Field("fraction")
		}
		f := &d.Register.Following
		field := at.Field("leaderId")
		leader := p.drives.find(f.LeaderID)
		kind := NoDemand
		if j.demand >= 0 {
			kind = p.product.Demands[j.demand].Kind
		}
		switch {
		case leader < 0 && f.LeaderID == "", leader == i: // which have their own faults
		case leader < 0:
			faults.Add(&field, fault.NotFound, "no drive of the %s has the id %q", p.fields.line(), f.LeaderID)
		case kind == Stopped, kind == LeaveAsIs:
		case int(j.leader) != leader:
			asked := fault.Root(p.field(j))
			faults.Add(&asked, fault.Conflict, "does not follow %q, and drive %q is given a ratio to that one", f.LeaderID, d.ID)
		default:
			of := at.Field("of")
			scaling.ValidateFollowed(d, &p.line.Drives[leader], p.materialOf(leader), &of, faults)
		}
	}
}

// leading returns what the leader of drive i does, for a drive that is given a ratio
// to it; nil for any other.
func (s *solver) leading(i int) func(*exact.Calc) scaling.Leading {
	leader := int(s.jobs[i].leader)
	if leader < 0 || !s.line.Drives[i].Register.Follows() {
		return nil
	}
	return func(c *exact.Calc) scaling.Leading {
		subject := s.subject(leader)
		return scaling.LeadingAt(c, &subject, s.achieved(c, leader))
	}
}
