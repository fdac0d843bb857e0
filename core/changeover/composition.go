package changeover

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// BlendRequest asks for a blend by itself.
type BlendRequest struct {
	Drives    []scaling.Drive
	Materials []scaling.Material
	Blend     *Blend
	Working   bool
}

// Composition is a blend's setpoints, one for each component in the blend's order,
// and what they give together.
type Composition struct {
	LeaderID string // the blend's leader, or else its first component's drive
	Portions []Portion
	Total    units.Quantity            // that is achieved, counted as the blend's total basis says; Unit nil: a drive has no setpoint
	Largest  scaling.Optional[float64] // magnitude of the portions' errors, percent
	Proven   scaling.Optional[bool]    // that no other counts make it smaller; absent: they were not chosen together
	Checks   []scaling.Check
	Verdict  Verdict
	Working  []scaling.Step
}

// Portion is one component's part of a blend.
type Portion struct {
	Setpoint
	RatioToLeaderPercent scaling.Optional[float64] // demanded motor speed over the leader's
	RateToLeaderPercent  scaling.Optional[float64] // demanded rate over the leader's, as fed
	PulseRatio           scaling.Optional[float64] // pulses for each of the leader's
	SharePercent         float64
	AchievedSharePercent scaling.Optional[float64]
	ErrorPercent         scaling.Optional[float64] // as the blend's objective counts it

	share    exact.Num
	rate     units.Quantity    // that is achieved as fed, in the blend's unit
	dry      units.Quantity    // the same without moisture, where the blend counts that
	moisture *scaling.Material // whose moisture that is
}

// Mix finds the setpoints of a blend and its composition. It returns every fault
// of the request at once, after those that reading it has found already. stop is
// that of [Make].
//
//	achieved share = achieved rate / sum of all
//	error          = achieved share - share, or the same over the share
//
// Source: material balance. Formulas: blend-total/1, achieved-share/1, share-error/1
func Mix(req *BlendRequest, found fault.List, stop func() bool) (out Composition, faults fault.List, ok bool) {
	faults = found
	line := &Line{Drives: req.Drives}
	of := newLineIndex(line)
	list := fault.Root("drives")
	checkDrives(line.Drives, &of, &list, &faults)
	product := &Product{Materials: req.Materials, Blends: []Blend{*req.Blend}}
	p := newPlanner(line, &of, product, fields{materials: fault.Root("materials"), blends: fault.Root("blend"), alone: true})
	order := p.prepare(&faults)
	if len(faults) > 0 {
		return Composition{}, faults, true
	}
	s := newSolver(p, req.Working, stop)
	if !s.run(order) {
		return Composition{}, nil, false
	}
	return s.compose(), nil, true
}

// compose tells what the setpoints of the only blend give.
func (s *solver) compose() Composition {
	b := &s.product.Blends[0]
	out := Composition{Portions: make([]Portion, len(b.Components)), Checks: s.plan.Checks, Verdict: VerdictOf(s.plan.Checks)}
	if s.blends != nil {
		out.Proven = s.blends[0].proven
	}
	c := new(exact.Calc)
	lead := max(b.leader(), 0)
	out.LeaderID = b.Components[lead].DriveID
	for k := range out.Portions {
		s.describe(c, b, k, lead, &out.Portions[k])
	}
	s.weigh(c, b, &out)
	if s.working {
		out.Working = compositionSteps(b, &out)
	}
	return out
}

// describe fills in what portion k is by itself and against the leader.
func (s *solver) describe(c *exact.Calc, b *Blend, k, lead int, out *Portion) {
	i, leader := s.drives.find(b.Components[k].DriveID), s.drives.find(b.Components[lead].DriveID)
	out.Setpoint = s.plan.Setpoints[s.of[i].place]
	out.share = shareOf(c, b, k)
	out.SharePercent = b.Components[k].SharePercent
	if b.Components[k].Balance {
		out.SharePercent = out.share.Mul(c.Int(100)).Float()
	}
	if !out.DemandedRPM.Set || !s.plan.Setpoints[s.of[leader].place].DemandedRPM.Set {
		return
	}
	mine, theirs := s.asked(c, i), s.asked(c, leader)
	if b.LeaderID != "" && k != lead {
		theirs = s.achieved(c, leader) // which is what this one follows
	}
	percents := func(a, b exact.Num) scaling.Optional[float64] {
		return scaling.Some(a.Quo(b).Mul(c.Int(100)).Float())
	}
	rate := func(i int, at scaling.Motion) exact.Num {
		return scaling.InDimension(c, &s.line.Drives[i], s.materialOf(i), at.Rate, b.dimension())
	}
	out.RatioToLeaderPercent = percents(mine.Speed, theirs.Speed)
	out.RateToLeaderPercent = percents(rate(i, mine), rate(leader, theirs))
	subject, ofLeader := s.subject(i), s.subject(leader)
	pulses, ok := scaling.PulsesAt(c, &subject, mine)
	ofTheirs, alsoOK := scaling.PulsesAt(c, &ofLeader, theirs)
	if ok && alsoOK {
		out.PulseRatio = scaling.Some(pulses.Quo(ofTheirs).Float())
	}
}

// asked returns the motion that meets what is asked of drive i.
func (s *solver) asked(c *exact.Calc, i int) scaling.Motion {
	subject := s.subject(i)
	return scaling.MotionFor(c, &subject, s.measure(i), s.amount(c, i))
}

// weigh finds the composition, where every component has a setpoint.
func (s *solver) weigh(c *exact.Calc, b *Blend, out *Composition) {
	total := c.Int(0)
	amounts := make([]exact.Num, len(out.Portions))
	for k := range out.Portions {
		p := &out.Portions[k]
		i := s.drives.find(b.Components[k].DriveID)
		if !p.AchievedRPM.Set {
			return
		}
		m := s.materialOf(i)
		fed := scaling.InDimension(c, &s.line.Drives[i], m, s.achieved(c, i).Rate, b.dimension())
		amounts[k] = counted(c, b, m, fed)
		p.rate = inUnit(c, fed, b.unit())
		if b.moist(m) {
			p.dry, p.moisture = inUnit(c, amounts[k], b.unit()), m
		}
		total = total.Add(amounts[k])
	}
	if !(total.Float() > 0) {
		return // they deliver nothing, which their checks say
	}
	out.Total = inUnit(c, total, b.unit())
	largest := 0.0
	for k := range out.Portions {
		p := &out.Portions[k]
		share := amounts[k].Quo(total)
		off := share.Sub(p.share)
		if b.Objective == ratio.Relative {
			off = off.Quo(p.share)
		}
		p.AchievedSharePercent = scaling.Some(share.Mul(c.Int(100)).Float())
		p.ErrorPercent = scaling.Some(off.Mul(c.Int(100)).Float())
		largest = max(largest, math.Abs(p.ErrorPercent.Value))
	}
	out.Largest = scaling.Some(largest)
}

// moist reports whether the blend counts material m without its moisture.
func (b *Blend) moist(m *scaling.Material) bool {
	return b.TotalBasis == Dry && m != nil && m.Moisture.Basis != scaling.NoMoisture
}

func inUnit(c *exact.Calc, amount exact.Num, u *units.Unit) units.Quantity {
	return units.Quantity{Value: units.FromBase(c, amount, u).Float(), Unit: u}
}
