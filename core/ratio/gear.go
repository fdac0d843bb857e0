package ratio

import (
	"errors"
	"fmt"
	"strconv"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/fraction"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Gear asks for the two integers of an electronic gear, for the teeth of change
// gears, or for both. The ratio is of the follower to the leader: exactly one of
// Ratio, Teeth and Sensors. [Gear.Validate] checks one.
type Gear struct {
	Ratio          scaling.Optional[float64]
	Teeth          []TeethPair // from the leader to the follower
	Sensors        *SensorPair
	Drives         []scaling.Drive // for Sensors
	MaxNumerator   int32           // 0, both of them: no fraction is wanted
	MaxDenominator int32
	ChangeGears    *ChangeGears
	LeaderRate     units.Quantity // pulses per time; with Sensors also a rate or a motor speed of the leader
	Repeat         units.Quantity // pulses of the follower; with Sensors also what the follower delivers
}

// TeethPair is one mesh: driven speed = driver speed * DriverTeeth / DrivenTeeth.
type TeethPair struct{ DriverTeeth, DrivenTeeth int32 }

// SensorPair holds two drives to each other by the pulses of the sensors in their
// loops. Exactly one of Percent and LengthPerPiece.
type SensorPair struct {
	LeaderID, FollowerID string
	Percent              scaling.Optional[float64] // the follower's process rate, of the leader's
	LengthPerPiece       units.Quantity            // one of the two delivers a length, the other pieces
}

// ChangeGears bounds the gears that are at hand.
type ChangeGears struct{ MinTeeth, MaxTeeth, Stages int32 }

// GearFraction is the answer to a [Gear].
type GearFraction struct {
	Ratio       float64 // that is wanted
	Fraction    Optional[Fraction]
	Convergents []Fraction // within the bounds, coarse to fine
	Loss        Optional[Loss]
	Train       []TeethPair // of the change gears
	TrainPPM    float64
	Checks      []scaling.Check
}

// Optional is [scaling.Optional].
type Optional[T any] = scaling.Optional[T]

// Fraction is two integers, with the error of their quotient in parts per million
// of the ratio.
type Fraction struct {
	Numerator, Denominator int32
	ErrorPPM               float64
}

// Loss is what an inexact fraction loses. What needs a rate or a repeat that the
// request does not give is absent.
type Loss struct {
	PulsesPerHour       units.Quantity // of the follower; below zero where it gains
	AmountPerHour       units.Quantity // the same in what the follower delivers
	LeaderPulsesToPulse float64        // until the follower is one pulse off
	TimeToPulse         units.Quantity
	RepeatsToRepeat     float64 // until the follower is one whole repeat off
	TimeToRepeat        units.Quantity
}

// shift is how soon a lost repeat is warned of; common practice, no published source.
const shift = 8 * 60 // min

// target is the wanted ratio: follower pulses per leader pulse, or turns for teeth.
//
//	teeth    product of driver / driven
//	sensors  percent / 100 * follower's pulses per unit delivered / leader's
//	         or length per piece in place of percent / 100, its inverse for a follower that delivers pieces
//
// Formula: gear-ratio/1.
func (g *Gear) target(c *exact.Calc) exact.Num {
	switch {
	case g.Ratio.Set:
		return c.Dec(g.Ratio.Value)
	case g.Sensors != nil:
		follower, leader := g.pulsesPerUnit(c, g.Sensors.FollowerID), g.pulsesPerUnit(c, g.Sensors.LeaderID)
		return g.followed(c).Mul(follower).Quo(leader)
	}
	ratio := c.Int(1)
	for _, pair := range g.Teeth {
		ratio = ratio.Mul(c.Int(int64(pair.DriverTeeth))).Quo(c.Int(int64(pair.DrivenTeeth)))
	}
	return ratio
}

// followed returns what the follower is to deliver for each unit of the leader.
func (g *Gear) followed(c *exact.Calc) exact.Num {
	s := g.Sensors
	switch {
	case s.LengthPerPiece.Unit == nil:
		return c.Percent(s.Percent.Value)
	case g.drive(s.FollowerID).RateDimension() == units.PieceRate:
		return c.Int(1).Quo(s.LengthPerPiece.Base(c))
	}
	return s.LengthPerPiece.Base(c)
}

// pulsesPerUnit returns the pulses of the sensor in a drive's loop for each base
// unit that the drive delivers: those per minute at one unit per minute.
func (g *Gear) pulsesPerUnit(c *exact.Calc, id string) exact.Num {
	d := g.drive(id)
	return g.pulseRate(c, id, scaling.Measure{Unit: scaling.UsualRateUnit(d.RateDimension())}, c.Int(1))
}

// pulseRate returns the pulses per minute of the sensor in a drive's loop.
func (g *Gear) pulseRate(c *exact.Calc, id string, m scaling.Measure, amount exact.Num) exact.Num {
	s := scaling.Subject{Drive: g.drive(id)}
	hz, _ := scaling.PulsesAt(c, &s, scaling.MotionFor(c, &s, m, amount))
	return hz.Mul(c.Int(60))
}

// Find returns the best fraction and what it loses, and the best change gears. The
// gear has been validated. The error is a [fault.List]: nothing within the bounds
// stands for the ratio.
//
// Source: the Stern-Brocot tree, see core/fraction; an exhaustive search for change
// gears. Formulas: gear-ratio/1, fraction/1, fraction-error/1, gear-loss/1.
func (g *Gear) Find() (GearFraction, error) {
	c := exact.NewExact()
	ratio := g.target(c)
	out := GearFraction{Ratio: ratio.True()}
	var faults fault.List
	if !inReach(ratio.True()) {
		at := fault.Root(g.source())
		faults.Add(&at, fault.OutOfRange, "makes a ratio of %v; it must be %v to %v", ratio.True(), leastGear, mostGear)
		return out, faults
	}
	if g.MaxNumerator > 0 {
		g.findFraction(c, ratio, &out, &faults)
	}
	if g.ChangeGears != nil {
		g.findTrain(&out, &faults)
	}
	if g.Sensors != nil {
		g.checkDrives(&out)
	}
	return out, faults.Err()
}

func (g *Gear) findFraction(c *exact.Calc, ratio exact.Num, out *GearFraction, faults *fault.List) {
	pair, err := fraction.Best(fraction.Proportional, g.target, fraction.Bounds{MaxNumerator: int64(g.MaxNumerator), MaxDenominator: int64(g.MaxDenominator)})
	if err != nil {
		outOfReach(err, ratio.True(), faults)
		return
	}
	found := g.fraction(pair)
	out.Fraction = scaling.Some(found)
	whole, ends := convergents(c, ratio)
	for _, p := range whole {
		if p.Numerator <= int64(g.MaxNumerator) && p.Denominator <= int64(g.MaxDenominator) {
			out.Convergents = append(out.Convergents, g.fraction(p))
		}
	}
	if found.ErrorPPM == 0 {
		return
	}
	if last := whole[len(whole)-1]; ends {
		out.Checks = append(out.Checks, scaling.Check{Code: scaling.RatioFitsExactly, Field: g.source(),
			Name: fmt.Sprintf("%d/%d", last.Numerator, last.Denominator)})
	}
	g.findLoss(c, pair.Value(c, fraction.Proportional).Sub(ratio), ratio, out)
}

// outOfReach says which bound would have to be greater.
func outOfReach(err error, ratio float64, faults *fault.List) {
	var reach *fraction.OutOfReachError
	if !errors.As(err, &reach) {
		panic("core/ratio: internal error: " + err.Error()) // the bounds have been validated
	}
	at := fault.Root("maxNumerator")
	if reach.Small {
		at = fault.Root("maxDenominator")
	}
	faults.Add(&at, fault.OutOfRange, "is too small for the ratio %v: the bounds reach from %v to %v; raise it", ratio, reach.Least, reach.Greatest)
}

func (g *Gear) fraction(p fraction.Pair) Fraction {
	return Fraction{int32(p.Numerator), int32(p.Denominator), p.ErrorPPM(fraction.Proportional, g.target)}
}

// convergents returns the convergents of a ratio's continued fraction whose terms
// are at most [fraction.MaxTerm], and whether the last of them is the ratio itself.
// Each is nearer to the ratio than any fraction of smaller terms.
//
// Source: Hardy and Wright, An Introduction to the Theory of Numbers, chapter X
// (from memory): h = a*h1 + h2, k = a*k1 + k2 with the partial quotients a.
func convergents(c *exact.Calc, ratio exact.Num) (out []fraction.Pair, ends bool) {
	before, last := fraction.Pair{Denominator: 1}, fraction.Pair{Numerator: 1}
	for {
		a, ok := c.Floor(ratio)
		if !ok || a > (fraction.MaxTerm-before.Numerator)/max(last.Numerator, 1) || a > (fraction.MaxTerm-before.Denominator)/max(last.Denominator, 1) {
			return out, false
		}
		before, last = last, fraction.Pair{Numerator: a*last.Numerator + before.Numerator, Denominator: a*last.Denominator + before.Denominator}
		if last.Numerator > 0 {
			out = append(out, last)
		}
		rest := ratio.Sub(c.Int(a))
		if c.Sign(rest) == 0 {
			return out, true
		}
		ratio = c.Int(1).Quo(rest)
	}
}

// findLoss tells what an error of the fraction, follower pulses per leader pulse,
// comes to.
//
//	lost per hour                      = -error * leader's pulses per hour
//	leader pulses to one pulse         = 1 / |error|
//	time to one pulse, to one repeat   = 1, or the repeat's pulses, / (|error| * leader's pulses per time)
//	repeats to one repeat              = ratio / |error|
//
// Formula: gear-loss/1.
func (g *Gear) findLoss(c *exact.Calc, off, ratio exact.Num, out *GearFraction) {
	size, one := off.Abs(), c.Int(1)
	loss := Loss{LeaderPulsesToPulse: one.Quo(size).True(), RepeatsToRepeat: ratio.Quo(size).True()}
	if g.LeaderRate.Unit != nil {
		rate := g.leaderPulses(c) // per min
		lost := off.Neg().Mul(rate)
		loss.PulsesPerHour = trueQuantity(c, lost, pulsePerHour)
		loss.TimeToPulse = trueQuantity(c, one.Quo(size.Mul(rate)), hour)
		if g.Sensors != nil {
			per := g.pulsesPerUnit(c, g.Sensors.FollowerID)
			loss.AmountPerHour = trueQuantity(c, lost.Quo(per), perHour(g.drive(g.Sensors.FollowerID).RateDimension()))
		}
		if g.Repeat.Unit != nil {
			time := g.repeatPulses(c).Quo(size.Mul(rate))
			loss.TimeToRepeat = trueQuantity(c, time, hour)
			if c.Cmp(time, c.Int(shift)) < 0 {
				out.Checks = append(out.Checks, scaling.Check{Code: scaling.RepeatSoonLost, Field: "repeat", Number: loss.TimeToRepeat.Value})
			}
		}
	}
	out.Loss = scaling.Some(loss)
}

// leaderPulses returns the leader's pulses per minute.
func (g *Gear) leaderPulses(c *exact.Calc) exact.Num {
	if isPulseRate(g.LeaderRate.Unit) {
		return g.LeaderRate.Base(c)
	}
	return g.pulseRate(c, g.Sensors.LeaderID, scaling.Measure{Unit: g.LeaderRate.Unit}, g.LeaderRate.Base(c))
}

// repeatPulses returns the follower's pulses in one repeat.
func (g *Gear) repeatPulses(c *exact.Calc) exact.Num {
	if g.Repeat.Unit.Dimension() == units.PulseDim {
		return g.Repeat.Base(c)
	}
	return g.Repeat.Base(c).Mul(g.pulsesPerUnit(c, g.Sensors.FollowerID))
}

// checkDrives tells what the descriptions of the two drives leave open.
func (g *Gear) checkDrives(out *GearFraction) {
	for _, id := range [...]string{g.Sensors.LeaderID, g.Sensors.FollowerID} {
		i := findDrive(g.Drives, id)
		s := scaling.Subject{Drive: &g.Drives[i]}
		var found []scaling.Check
		scaling.Certain(func(c *exact.Calc) scaling.Scale {
			found = nil
			return scaling.ScaleOf(c, &s, &found)
		})
		for _, k := range found {
			k.Field = "drives[" + strconv.Itoa(i) + "]"
			out.Checks = append(out.Checks, k)
		}
	}
}

// source is the field that gives the ratio.
func (g *Gear) source() string {
	switch {
	case g.Ratio.Set:
		return "ratio"
	case g.Sensors != nil:
		return "sensors"
	}
	return "teeth"
}

func (g *Gear) drive(id string) *scaling.Drive { return &g.Drives[findDrive(g.Drives, id)] }

var (
	hour         = units.MustParse("h")
	pulsePerHour = units.MustParse("pulse/h")
)

// trueQuantity returns n, in base units, as a quantity to the last digits of a float64.
func trueQuantity(c *exact.Calc, n exact.Num, u *units.Unit) units.Quantity {
	return units.Quantity{Value: units.FromBase(c, n, u).True(), Unit: u}
}

// perHour is the unit in which losses of a kind of delivery are told.
func perHour(dim units.Dimension) *units.Unit {
	switch dim {
	case units.SpeedDim:
		return millimetrePerHour
	case units.VolumeFlow:
		return millilitrePerHour
	case units.MassFlow:
		return gramPerHour
	}
	return piecePerHour
}

var (
	millimetrePerHour = units.MustParse("mm/h")
	millilitrePerHour = units.MustParse("mL/h")
	gramPerHour       = units.MustParse("g/h")
	piecePerHour      = units.MustParse("pc/h")
)
