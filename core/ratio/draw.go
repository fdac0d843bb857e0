package ratio

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// DrawChain asks for the speeds of rolls that draw a material from one to the next.
// [DrawChain.Validate] checks one.
type DrawChain struct {
	Drives      []scaling.Drive
	LeaderID    string         // the roll that the line's speed is set at; empty: the first
	LeaderRate  units.Quantity // a surface speed, or a motor speed in r/min
	Rolls       []DrawRoll     // upstream first
	Tolerance   *scaling.Tolerance
	Disturbance *Disturbance
}

// DrawRoll is a roll of a chain. The first has no draw, every other one exactly one
// of the two, against the roll before it.
type DrawRoll struct {
	DriveID     string
	DrawPercent Optional[float64] // (v - v of the roll before) / v of the roll before * 100
	DrawRatio   Optional[float64] // v / v of the roll before
}

// Disturbance is a change of one roll's speed that nobody asked for.
type Disturbance struct {
	DriveID            string
	SpeedChangePercent float64
}

// Scheme is a way for rolls to follow each other.
type Scheme uint8

// Schemes. DIRECT: each roll follows the leader. CASCADED: each roll follows its
// neighbour on the leader's side. Either follows what the other's count really gives.
const (
	Direct Scheme = iota
	Cascaded
)

var schemeNames = [...]string{Direct: "direct", Cascaded: "cascaded"}

// String names the scheme.
func (s Scheme) String() string { return schemeNames[s] }

// Draws is the answer to a [DrawChain].
type Draws struct {
	Rolls  []DrawnRoll
	Totals [2]DrawTotal // by scheme
	Checks []scaling.Check
}

// DrawnRoll is what one roll is to do.
type DrawnRoll struct {
	Drive         *scaling.Drive
	WantedPercent Optional[float64] // draw from the roll before
	WantedRatio   Optional[float64] // v / v of the roll before
	LeaderRatio   float64           // v / v of the leader, wanted
	Follows       [2]Followed       // by scheme
}

// Followed is what one scheme makes of one roll. What does not exist is absent.
type Followed struct {
	Setpoint scaling.Setpoint
	// The draw against the roll before.
	Percent, Ratio       Optional[float64] // achieved
	ErrorPercent         Optional[float64] // (achieved - wanted) / wanted * 100, of the ratio
	Rounding, Regulation Optional[Spread]
	WithinTolerance      Optional[bool]
	BandWithinTolerance  Optional[bool] // with the regulation
	// The same against the leader, where errors may add up.
	LeaderRatio, LeaderErrorPercent  Optional[float64]
	LeaderRounding, LeaderRegulation Optional[Spread]
	Disturbed                        Optional[Disturbed]
}

// Spread is how far a ratio of speeds may lie from where it should, in percent of
// it: the worst case either way, in which every roll errs to the worst side at
// once, and the root of the sum of the squares of the rolls' own limits, which
// independent errors seldom exceed.
type Spread struct{ LowPercent, HighPercent, RootSumSquarePercent float64 }

// Disturbed is what a disturbance does to a roll and to the draw before it.
type Disturbed struct {
	SpeedChangePercent float64
	DrawChangePercent  Optional[float64] // of the ratio to the roll before
	Percent            Optional[float64] // the draw from the roll before, then
	FirstChangePercent float64           // of the ratio to the first roll
}

// DrawTotal is the draw over the whole chain, the last roll against the first, and
// the largest error of a draw within it.
type DrawTotal struct {
	Percent, Ratio      Optional[float64]
	ErrorPercent        Optional[float64]
	LargestErrorPercent Optional[float64] // without its sign
}

// Find returns what each scheme does. The chain has been validated.
//
//	direct    speed = leader's achieved speed * product of the draw ratios between
//	cascaded  speed = neighbour's achieved speed * draw ratio, upstream of the leader / draw ratio
//
// Source: the draw of two rolls is that of their surface speeds, and draws in a
// row multiply. Formula: draw-speed/1.
func (d *DrawChain) Find() Draws {
	return scaling.Certain(func(c *exact.Calc) Draws {
		r := newDrawRun(c, d)
		r.follow()
		for i := range r.out.Rolls {
			for s := range schemeNames {
				r.judge(Scheme(s), i)
			}
		}
		r.total()
		return r.out
	})
}

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

// judge tells how far roll i comes from its draw and from its ratio to the leader.
func (r *drawRun) judge(s Scheme, i int) {
	f, c := &r.out.Rolls[i].Follows[s], r.c
	r.disturb(s, i)
	if !r.ok[s][i] {
		return
	}
	if r.ok[s][r.leader] && i != r.leader {
		achieved := r.rate[s][i].Quo(r.rate[s][r.leader])
		f.LeaderRatio = scaling.Some(achieved.Float())
		f.LeaderErrorPercent = scaling.Some(percentOf(c, achieved.Quo(r.toLead[i]).Sub(c.Int(1))))
		f.LeaderRounding, f.LeaderRegulation = r.spreads(s, r.between(s, i), nil)
	}
	if i == 0 || !r.ok[s][i-1] {
		return
	}
	achieved := r.rate[s][i].Quo(r.rate[s][i-1])
	f.Percent, f.Ratio = drawOf(c, achieved), scaling.Some(achieved.Float())
	f.ErrorPercent = scaling.Some(percentOf(c, achieved.Quo(r.ratio[i]).Sub(c.Int(1))))
	faster, slower := r.apart(s, i)
	f.Rounding, f.Regulation = r.spreads(s, faster, slower)
	r.tolerate(s, i, achieved, faster, slower)
}

// between lists the rolls whose own errors make up that of roll i against the leader.
func (r *drawRun) between(s Scheme, i int) (rolls []int) {
	for ; i != r.leader; i = r.followed(s, i) {
		rolls = append(rolls, i)
	}
	return rolls
}

// apart lists the rolls whose own errors make up that of the draw before roll i:
// those that take part in its speed and not in that of the roll before, and the
// other way round.
func (r *drawRun) apart(s Scheme, i int) (above, below []int) {
	switch {
	case s == Cascaded && i > r.leader:
		return []int{i}, nil
	case s == Cascaded:
		return nil, []int{i - 1}
	}
	return r.between(s, i), r.between(s, i-1)
}

// spreads returns the spread of a ratio to which the rolls above and below its
// line contribute, by rounding and by regulation.
func (r *drawRun) spreads(s Scheme, above, below []int) (rounding, regulation Optional[Spread]) {
	round := func(l *limits) (under, over exact.Num, known bool) { return l.rounding, l.rounding, l.rounded }
	hold := func(l *limits) (under, over exact.Num, known bool) { return l.under, l.over, l.regulated }
	return r.spread(s, above, below, round), r.spread(s, above, below, hold)
}

type limitOf func(*limits) (under, over exact.Num, known bool)

// worst returns the least and the greatest factor by which a ratio may be off.
//
//	least    = product of (1 - under) above the line / product of (1 + over) below it
//	greatest = product of (1 + over) above the line / product of (1 - under) below it
//
// It is not known where the limit of a roll is not, or allows a standstill.
func (r *drawRun) worst(s Scheme, above, below []int, of limitOf) (least, greatest exact.Num, known bool) {
	c := r.c
	one := c.Int(1)
	least, greatest = one, one
	for k, rolls := range [...][]int{above, below} {
		for _, i := range rolls {
			under, over, known := of(&r.limit[s][i])
			if !known || c.Cmp(under, one) >= 0 {
				return one, one, false
			}
			slow, fast := one.Sub(under), one.Add(over)
			if k == 0 {
				least, greatest = least.Mul(slow), greatest.Mul(fast)
			} else {
				least, greatest = least.Quo(fast), greatest.Quo(slow)
			}
		}
	}
	return least, greatest, true
}

func (r *drawRun) spread(s Scheme, above, below []int, of limitOf) Optional[Spread] {
	least, greatest, known := r.worst(s, above, below, of)
	if !known {
		return Optional[Spread]{}
	}
	one := r.c.Int(1)
	out := Spread{LowPercent: percentOf(r.c, least.Sub(one)), HighPercent: percentOf(r.c, greatest.Sub(one))}
	squares := 0.0
	for _, rolls := range [...][]int{above, below} {
		for _, i := range rolls {
			under, over, _ := of(&r.limit[s][i])
			part := 100 * max(under.Float(), over.Float())
			squares += float64(part * part)
		}
	}
	out.RootSumSquarePercent = math.Sqrt(squares)
	return scaling.Some(out)
}

// tolerate judges the achieved draw ratio before roll i, and with it the band that
// the regulation leaves. A draw that is wanted and may vanish is told: the material
// then goes slack.
func (r *drawRun) tolerate(s Scheme, i int, achieved exact.Num, above, below []int) {
	c, f := r.c, &r.out.Rolls[i].Follows[s]
	one := c.Int(1)
	hold := func(l *limits) (under, over exact.Num, known bool) { return l.under, l.over, l.regulated }
	least, greatest, known := r.worst(s, above, below, hold)
	slowest := achieved.Mul(least) // the achieved draw itself where no regulation is known
	if c.Cmp(r.ratio[i], one) > 0 && c.Cmp(slowest, one) < 0 {
		r.check(scaling.Check{Code: scaling.DrawMayVanish, Name: s.String(), Number: percentOf(c, slowest.Sub(one))}, i)
	}
	t := r.chain.Tolerance
	if t == nil {
		return
	}
	low, high := one.Sub(c.Percent(t.MinusPercent)), one.Add(c.Percent(t.PlusPercent))
	within := func(factor exact.Num) bool {
		off := achieved.Mul(factor).Quo(r.ratio[i])
		return c.Cmp(off, low) >= 0 && c.Cmp(off, high) <= 0
	}
	f.WithinTolerance = scaling.Some(within(one))
	if !f.WithinTolerance.Value {
		r.check(scaling.Check{Code: scaling.DrawOutsideTolerance, Name: s.String(), Number: f.ErrorPercent.Value}, i)
	}
	if known {
		f.BandWithinTolerance = scaling.Some(within(least) && within(greatest))
		if !f.BandWithinTolerance.Value {
			r.check(scaling.Check{Code: scaling.DrawBandOutsideTolerance, Name: s.String()}, i)
		}
	}
}

// disturb tells what a change of one roll's speed does to roll i and the draw before it.
//
//	change of a ratio = (1 + change of the upper speed) / (1 + change of the lower one) - 1
func (r *drawRun) disturb(s Scheme, i int) {
	d := r.chain.Disturbance
	if d == nil {
		return
	}
	c := r.c
	one, factor := c.Int(1), r.factor(s, i)
	out := Disturbed{
		SpeedChangePercent: percentOf(c, factor.Sub(one)),
		FirstChangePercent: percentOf(c, factor.Quo(r.factor(s, 0)).Sub(one)),
	}
	if i > 0 {
		change := factor.Quo(r.factor(s, i-1))
		out.DrawChangePercent = scaling.Some(percentOf(c, change.Sub(one)))
		if r.ok[s][i] && r.ok[s][i-1] {
			out.Percent = drawOf(c, r.rate[s][i].Quo(r.rate[s][i-1]).Mul(change))
		}
	}
	r.out.Rolls[i].Follows[s].Disturbed = scaling.Some(out)
}

// factor returns what the disturbance makes of the speed of roll i: it follows
// where the disturbed roll is itself or one that it follows, at first or second hand.
func (r *drawRun) factor(s Scheme, i int) exact.Num {
	d := r.chain.Disturbance
	for {
		if r.chain.Rolls[i].DriveID == d.DriveID {
			return r.c.Int(1).Add(r.c.Percent(d.SpeedChangePercent))
		}
		if i == r.leader {
			return r.c.Int(1)
		}
		i = r.followed(s, i)
	}
}

// total tells the draw over the whole chain.
func (r *drawRun) total() {
	last, c := len(r.out.Rolls)-1, r.c
	for s := range schemeNames {
		t := &r.out.Totals[s]
		if r.ok[s][0] && r.ok[s][last] {
			achieved := r.rate[s][last].Quo(r.rate[s][0])
			t.Percent, t.Ratio = drawOf(c, achieved), scaling.Some(achieved.Float())
			t.ErrorPercent = scaling.Some(percentOf(c, achieved.Quo(r.toLead[last].Quo(r.toLead[0])).Sub(c.Int(1))))
		}
		for i := range r.out.Rolls {
			if e := r.out.Rolls[i].Follows[s].ErrorPercent; e.Set && (!t.LargestErrorPercent.Set || math.Abs(e.Value) > t.LargestErrorPercent.Value) {
				t.LargestErrorPercent = scaling.Some(math.Abs(e.Value))
			}
		}
	}
}
