package ratio

import (
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// drawRun is one evaluation of a chain.
type drawRun struct {
	c      *exact.Calc
	chain  *DrawChain
	leader int            // in the rolls
	ratio  []exact.Num    // wanted, to the roll before; 1 for the first
	toLead []exact.Num    // wanted, to the leader
	rate   [2][]exact.Num // achieved surface speeds
	limit  [2][]limits
	ok     [2][]bool // has a setpoint
	out    Draws
}

// limits are how far a roll's speed may lie from what it follows, as parts of it.
type limits struct {
	rounding           exact.Num // half a count, either way
	under, over        exact.Num // by its regulation
	rounded, regulated bool      // what is known
}

func newDrawRun(c *exact.Calc, d *DrawChain) *drawRun {
	n := len(d.Rolls)
	r := &drawRun{c: c, chain: d, leader: d.leader(), ratio: make([]exact.Num, n), toLead: make([]exact.Num, n)}
	r.out.Rolls = make([]DrawnRoll, n)
	for s := range schemeNames {
		r.rate[s], r.limit[s], r.ok[s] = make([]exact.Num, n), make([]limits, n), make([]bool, n)
	}
	for i := range d.Rolls {
		r.ratio[i] = d.Rolls[i].ratio(c)
		r.out.Rolls[i].Drive = d.drive(i)
		if i > 0 {
			r.out.Rolls[i].WantedRatio = scaling.Some(r.ratio[i].Float())
			r.out.Rolls[i].WantedPercent = scaling.Some(d.Rolls[i].percent())
		}
	}
	r.toLead[r.leader] = c.Int(1)
	for i := r.leader + 1; i < n; i++ {
		r.toLead[i] = r.toLead[i-1].Mul(r.ratio[i])
	}
	for i := r.leader - 1; i >= 0; i-- {
		r.toLead[i] = r.toLead[i+1].Quo(r.ratio[i+1])
	}
	for i := range r.toLead {
		r.out.Rolls[i].LeaderRatio = r.toLead[i].Float()
	}
	return r
}

// ratio returns the draw ratio that is wanted of a roll.
func (roll *DrawRoll) ratio(c *exact.Calc) exact.Num {
	switch {
	case roll.DrawRatio.Set:
		return c.Dec(roll.DrawRatio.Value)
	case roll.DrawPercent.Set:
		return c.Int(1).Add(c.Percent(roll.DrawPercent.Value))
	}
	return c.Int(1)
}

// percent returns the draw that is wanted of a roll, which has one, digit for digit.
func (roll *DrawRoll) percent() float64 {
	if roll.DrawPercent.Set {
		return roll.DrawPercent.Value
	}
	c := exact.NewExact()
	return roll.ratio(c).Sub(c.Int(1)).Mul(c.Int(100)).True()
}

// rateUnit is the unit in which the surface speeds are told.
func (d *DrawChain) rateUnit() *units.Unit {
	if d.LeaderRate.Unit.Dimension() == units.SpeedDim {
		return d.LeaderRate.Unit
	}
	return scaling.RateUnit(d.drive(d.leader()))
}

// follow finds the setpoints, from the leader outwards.
func (r *drawRun) follow() {
	d := r.chain
	for s := range schemeNames {
		r.set(Scheme(s), r.leader, scaling.Measure{Unit: d.LeaderRate.Unit}, d.LeaderRate.Base(r.c))
		r.out.Rolls[r.leader].Follows[s].Setpoint.Demanded = d.LeaderRate // digit for digit as it was sent
		for i := r.leader + 1; i < len(d.Rolls); i++ {
			r.setFollower(Scheme(s), i, i-1)
		}
		for i := r.leader - 1; i >= 0; i-- {
			r.setFollower(Scheme(s), i, i+1)
		}
	}
}

// setFollower finds the setpoint of roll i, whose neighbour towards the leader is given.
func (r *drawRun) setFollower(s Scheme, i, neighbour int) {
	followed := r.followed(s, i)
	if !r.ok[s][followed] {
		r.check(scaling.Check{Code: scaling.LeaderHasNoSetpoint, Name: r.chain.Rolls[followed].DriveID}, i)
		return
	}
	amount := r.rate[s][followed]
	switch {
	case s == Direct:
		amount = amount.Mul(r.toLead[i])
	case neighbour < i:
		amount = amount.Mul(r.ratio[i])
	default:
		amount = amount.Quo(r.ratio[neighbour])
	}
	r.set(s, i, scaling.Measure{Unit: r.chain.rateUnit()}, amount)
}

// followed returns the roll that roll i follows, or i for the leader.
func (r *drawRun) followed(s Scheme, i int) int {
	switch {
	case s == Direct || i == r.leader:
		return r.leader
	case i > r.leader:
		return i - 1
	}
	return i + 1
}

// set finds the setpoint of roll i for an amount of m.
func (r *drawRun) set(s Scheme, i int, m scaling.Measure, amount exact.Num) {
	subject := scaling.Subject{Drive: r.chain.drive(i)}
	out := &r.out.Rolls[i].Follows[s].Setpoint
	var found []scaling.Check
	at := scaling.For(r.c, &subject, m, amount, &found, out)
	for _, k := range found {
		k.Fit = units.Quantity{} // it would be of this roll's speed, which the request does not hold
		r.check(k, i)
	}
	if !out.AchievedRPM.Set {
		return
	}
	r.ok[s][i], r.rate[s][i] = true, at.Rate
	r.limit[s][i] = r.limitsOf(&subject, out, scaling.MotionFor(r.c, &subject, m, amount).Speed, at.Speed)
}

// limitsOf finds how far the speed of a roll that was given out may lie from what
// it follows. Half a count is reckoned against the speed that was asked, and the
// regulation against the speed that is set.
func (r *drawRun) limitsOf(s *scaling.Subject, out *scaling.Setpoint, asked, set exact.Num) (l limits) {
	c := r.c
	if out.Count.Set {
		step := scaling.MotionOfCount(c, s, 1).Speed.Sub(scaling.MotionOfCount(c, s, 0).Speed).Abs()
		l.rounding, l.rounded = step.Quo(asked.Abs()).Quo(c.Int(2)), true
	}
	motor := &s.Drive.Motor
	part := c.Percent(motor.Regulation.Percent.Value)
	switch g := &motor.Regulation; {
	case g.DroopPercent.Set:
		l.under, l.over, l.regulated = c.Percent(g.DroopPercent.Value), c.Int(0), true
		return l
	case !g.Percent.Set:
		return l
	case g.Of == scaling.MaxSpeed:
		part = part.Mul(c.Dec(motor.MaxRPM)).Quo(set.Abs())
	case g.Of == scaling.BaseSpeed:
		part = part.Mul(c.Dec(motor.BaseRPM.Value)).Quo(set.Abs())
	}
	l.under, l.over, l.regulated = part, part, true
	return l
}

// check adds k about roll i, once for both schemes.
func (r *drawRun) check(k scaling.Check, i int) {
	k.DriveID, k.Field = r.chain.Rolls[i].DriveID, rollPath(i)
	for j := range r.out.Checks {
		if other := &r.out.Checks[j]; other.Code == k.Code && other.Field == k.Field && other.Name == k.Name {
			return
		}
	}
	r.out.Checks = append(r.out.Checks, k)
}

func percentOf(c *exact.Calc, part exact.Num) float64 { return part.Mul(c.Int(100)).Float() }

// drawOf returns the draw, in percent, of a ratio of speeds.
func drawOf(c *exact.Calc, ratio exact.Num) Optional[float64] {
	return scaling.Some(percentOf(c, ratio.Sub(c.Int(1))))
}
