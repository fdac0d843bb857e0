package changeover

import (
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// A chain of drives hangs on one quantity, its root: the total of a blend, the rate
// or the time of a demand. Every drive's limits, carried back along the chain, are
// limits of the root, and the narrowest of them make the window.

// window returns the range of the root that drive i hangs on, with what each drive
// does exactly: the rounding of leaders to their counts is not in it. It is found
// once for each root.
//
//	limit of the root = what the root would be if the drive ran at its limit
//	window            = greatest of the lowest limits to least of the highest
//
// Formula: window/1
func (s *solver) window(i int) *scaling.Window {
	root := s.rootOf(i)
	if w, found := s.windows[root]; found {
		return w
	}
	if s.windows == nil {
		s.windows = map[rootOf]*scaling.Window{}
	}
	var known *scaling.Window
	if s.trials += s.weight(root); s.trials <= mostTrials && s.rootValue(i).Value > 0 { // it is for forward speeds
		w, _, _ := s.narrowest(root)
		known = &w
	}
	s.windows[root] = known
	return known
}

func (s *solver) rootValue(i int) units.Quantity {
	asked, _ := s.rootQuantity(&s.jobs[s.head(i)])
	return asked
}

// weight is what finding the window of a root counts for among the drives planned
// on trial.
func (s *solver) weight(root rootOf) (n int) {
	for _, i := range s.hanging(root) {
		n += 1 + int(s.jobs[i].depth)
	}
	return n
}

// hanging returns the drives that hang on a root, in the line's order.
func (s *solver) hanging(root rootOf) []int32 {
	if s.byRoot == nil {
		s.byRoot = map[rootOf][]int32{}
		for i := range s.jobs {
			if j := &s.jobs[i]; *j != noJob && s.kind(j) != Stopped && s.kind(j) != LeaveAsIs {
				of := s.rootOf(i)
				s.byRoot[of] = append(s.byRoot[of], int32(i))
			}
		}
	}
	return s.byRoot[root]
}

// rootOf returns the root of drive i.
func (s *solver) rootOf(i int) rootOf {
	j := &s.jobs[s.head(i)]
	return rootOf{j.blend, j.demand}
}

// narrowest returns the window of a root, and its ends in base units.
func (s *solver) narrowest(root rootOf) (out scaling.Window, low, high exact.Num) {
	c := new(exact.Calc)
	for _, drive := range s.hanging(root) {
		i := int(drive)
		subject := s.alone(i)
		of := scaling.RangeOf(c, &subject)
		slow, fast := s.rootAt(c, i, of.Low), s.rootAt(c, i, of.High)
		asked, field := s.rootQuantity(&s.jobs[s.head(i)])
		if s.kind(&s.jobs[s.head(i)]) == Dwell {
			slow, fast, of.LowBy, of.HighBy = fast, slow, of.HighBy, of.LowBy
		}
		id := s.line.Drives[i].ID
		// Which of two equal limits binds is of no account, nor is a difference that
		// float64 cannot tell.
		if out.Field == "" || c.Cmp(slow, low) > 0 {
			low, out.LowDrive, out.LowBinds = slow, id, of.LowBy
		}
		if out.Field == "" || c.Cmp(fast, high) < 0 {
			high, out.HighDrive, out.HighBinds = fast, id, of.HighBy
		}
		out.Field = field
		out.Low, out.High = inUnit(c, low, asked.Unit), inUnit(c, high, asked.Unit)
	}
	return out, low, high
}

// alone is the subject of drive i for its own limits. What a register can say of a
// ratio to the leader is no limit of the root: the ratio stays as the root changes.
func (s *solver) alone(i int) scaling.Subject {
	subject := s.subject(i)
	subject.Leader = nil
	return subject
}

// ends returns the ends of a window that is known, from the drives that bind there.
func (s *solver) ends(c *exact.Calc, w *scaling.Window) (low, high exact.Num) {
	i, k := s.drives.find(w.LowDrive), s.drives.find(w.HighDrive)
	atLow, atHigh := s.alone(i), s.alone(k)
	return s.rootAt(c, i, scaling.RangeOf(c, &atLow).Low), s.rootAt(c, k, scaling.RangeOf(c, &atHigh).High)
}

// rootAt returns what the root of drive i would be if the drive ran at a speed of
// 0 or more: not below zero, and endless where a time would be.
func (s *solver) rootAt(c *exact.Calc, i int, speed exact.Num) exact.Num {
	for {
		subject := s.alone(i)
		at := scaling.MotionOfSpeed(c, &subject, speed)
		j := &s.jobs[i]
		if j.leader < 0 {
			return s.rootOfMotion(c, i, &subject, at)
		}
		leader := int(j.leader)
		ofLeader := s.alone(leader)
		demand := NoDemand
		if j.demand >= 0 {
			demand = s.product.Demands[j.demand].Kind
		}
		if demand == Ratio && s.product.Demands[j.demand].Basis == MotorSpeed {
			speed = at.Speed.Quo(c.Percent(s.product.Demands[j.demand].Percent))
		} else {
			speed = scaling.MotionOfRate(c, &ofLeader, s.leaderRate(c, i, at)).Speed
		}
		i = leader
	}
}

// leaderRate returns the rate of the leader, of its own kind, that drive i follows
// with a motion. It is the inverse of [solver.amount].
func (s *solver) leaderRate(c *exact.Calc, i int, at scaling.Motion) exact.Num {
	j := &s.jobs[i]
	leader := int(j.leader)
	d, m := &s.line.Drives[i], s.materialOf(i)
	own := s.line.Drives[leader].RateDimension()
	back := func(rate exact.Num, dim units.Dimension) exact.Num {
		return scaling.FromDimension(c, &s.line.Drives[leader], s.materialOf(leader), rate, dim)
	}
	if j.blend >= 0 {
		b := &s.product.Blends[j.blend]
		mine := counted(c, b, m, scaling.InDimension(c, d, m, at.Rate, b.dimension()))
		total := mine.Quo(shareOf(c, b, int(j.component)))
		return back(asFed(c, b, s.materialOf(leader), total.Mul(shareOf(c, b, b.leader()))), b.dimension())
	}
	demand := &s.product.Demands[j.demand]
	switch {
	case demand.Kind == Ratio:
		return at.Rate.Quo(c.Percent(demand.Percent))
	case demand.Kind == Dose:
		mine := scaling.InDimension(c, d, m, at.Rate, rateOf(demand.Amount))
		return back(mine.Mul(demand.Per.Base(c)).Quo(demand.Amount.Base(c)), rateOf(demand.Per))
	case own == units.SpeedDim:
		return at.Rate.Mul(demand.Length.Base(c))
	}
	return at.Rate.Quo(demand.Length.Base(c))
}

// rootOfMotion returns what the root is where drive i, at the head of its chain,
// has a motion.
func (s *solver) rootOfMotion(c *exact.Calc, i int, subject *scaling.Subject, at scaling.Motion) exact.Num {
	j := &s.jobs[i]
	if s.kind(j) == Dwell && c.Sign(at.Rate) <= 0 {
		return c.Dec(endless)
	}
	amount := scaling.AmountOf(c, subject, s.measure(i), at)
	if j.route >= 0 {
		amount = amount.Quo(s.routes[j.route].Part(c, s.line.Drives[i].ID))
	}
	if j.blend >= 0 {
		if b := &s.product.Blends[j.blend]; !b.leads(int(j.component)) {
			amount = counted(c, b, s.materialOf(i), amount).Quo(shareOf(c, b, int(j.component)))
		}
	}
	if c.Sign(amount) < 0 {
		return c.Int(0)
	}
	return amount
}

// endless stands for the time in a section that does not move, in minutes.
const endless = 1e12
