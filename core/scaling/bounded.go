package scaling

import (
	"math"

	"linepace.example/core/exact"
)

// Goal says on which side of a demanded time the achieved one may lie.
type Goal uint8

// Goals. The zero value takes the nearest count.
const (
	Nearest Goal = iota
	AtLeast      // no shorter: the fastest count that is slow enough
	AtMost       // no longer: the slowest count that is fast enough
	Between      // no shorter than the amount, and no longer than Measure.Most: as AtLeast
)

// bounded finds the setpoint of a time at least or at most, of which n is the motor
// speed: where the count must be rounded, it is to the safe side.
//
// A bound that the drive keeps at its limit already is met there: a time of at
// least ten minutes by a belt that takes eleven at its fastest.
func (r *run) bounded(amount, n exact.Num) Motion {
	target, ok := r.reach(n)
	if !ok {
		return Motion{}
	}
	speed, ok := r.loadBounded(target)
	if !ok {
		return Motion{}
	}
	at := r.at(speed)
	r.describe(at)
	r.compareBounds(amount, r.amount(at), speed)
	return at
}

// reach returns the speed within the drive's limits that keeps the bounds and is
// nearest to n, or adds the check that says why there is none.
func (r *run) reach(n exact.Num) (target exact.Num, ok bool) {
	c, usable := r.c, r.speedLimits(1)
	if c.Cmp(usable.low, usable.high) > 0 {
		return n, r.inRange(n) // the drive has no speed at all
	}
	slowest, hasSlowest := n, r.measure.Goal == AtMost
	if r.measure.Goal == Between {
		slowest, hasSlowest = r.speed(r.measure.Most(c)), true
	}
	switch {
	case hasSlowest && c.Cmp(slowest, usable.high) > 0:
		r.addOutOfRange(AboveHighestSpeed, slowest, usable.high, usable.highBy, 1, usable)
		return n, false
	case r.measure.Goal != AtMost && c.Cmp(n, usable.low) < 0:
		r.addOutOfRange(BelowLowestSpeed, n, usable.low, usable.lowBy, 1, usable)
		return n, false
	case r.measure.Goal == AtMost && c.Cmp(n, usable.low) < 0:
		r.add(Check{Code: SpeedLimitMeetsBound, Binds: usable.lowBy})
		return usable.low, true
	case r.measure.Goal != AtMost && c.Cmp(n, usable.high) > 0:
		r.add(Check{Code: SpeedLimitMeetsBound, Binds: usable.highBy})
		return usable.high, true
	}
	return n, true
}

// roundsDown reports whether the safe side of a number that the register is asked
// for is below it: slower, and slower is less.
func (r *run) roundsDown() bool { return r.line.rising == (r.measure.Goal != AtMost) }

// loadBounded is load to the safe side. Where the register's steps leave no count
// between two bounds a check says so.
func (r *run) loadBounded(n exact.Num) (speed exact.Num, ok bool) {
	if r.subject.Drive.Register.Kind != IntegerRegister {
		speed, _ = r.load(n)
		return speed, true
	}
	c, number := r.c, r.line.number(n)
	count, _ := c.Ceil(number)
	if r.roundsDown() {
		count, _ = c.Floor(number)
	}
	speed = r.line.speed(c.Int(count))
	if r.measure.Goal == Between {
		if time := r.amount(r.at(speed)); c.Cmp(time, r.measure.Most(c)) > 0 {
			r.add(Check{Code: NoCountWithinBounds, Limit: r.inUnit(time)})
			return speed, false
		}
	}
	r.out.Count = Some(int32(count))
	r.checkMotorLimit(speed)
	if nearest, _ := c.Round(number); nearest != count {
		r.add(Check{Code: NearestCountBreaksBound, Number: float64(nearest)})
	}
	return speed, true
}

// compareBounds tells by how much the achieved time, which motor speed n gives, is
// on the safe side, and whether the whole expected band is.
func (r *run) compareBounds(bound, achieved, n exact.Num) {
	c := r.c
	r.out.Achieved = r.inUnit(achieved)
	r.out.ErrorPercent = Some(achieved.Sub(bound).Quo(bound).Mul(c.Int(100)).Float())
	margin := achieved.Sub(bound)
	switch r.measure.Goal {
	case AtMost:
		margin = margin.Neg()
	case Between:
		if above := r.measure.Most(c).Sub(achieved); c.Cmp(above, margin) < 0 {
			margin = above
		}
	}
	r.out.Margin = r.inUnit(margin)
	r.out.WithinTolerance = Some(true)
	low, high, known := r.band(n)
	if !known {
		return
	}
	r.out.Low, r.out.High = r.quantityUnlessEndless(low), r.quantityUnlessEndless(high)
	within := r.keeps(bound, low) && r.keeps(bound, high)
	r.out.BandWithinTolerance = Some(within)
	if !within {
		r.add(Check{Code: BandOutsideTolerance})
	}
}

// keeps reports whether one end of the band keeps the bounds.
func (r *run) keeps(bound exact.Num, e end) bool {
	c := r.c
	switch r.measure.Goal {
	case AtLeast:
		return e.endless || c.Cmp(e.amount, bound) >= 0
	case AtMost:
		return !e.endless && c.Cmp(e.amount, bound) <= 0
	}
	return !e.endless && c.Cmp(e.amount, bound) >= 0 && c.Cmp(e.amount, r.measure.Most(c)) <= 0
}

// RatePerCount returns the change of s's process rate for one count at a rate, without
// its sign, where its register is an integer. Of a reciprocal register, whose count is
// a step of time, it grows with the square of the rate: rate^2 / length * step.
func RatePerCount(c *exact.Calc, s *Subject, at exact.Num) (rate exact.Num, ok bool) {
	if s.Drive.Register.Kind != IntegerRegister {
		return exact.Num{}, false
	}
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	if r.line.reciprocal {
		return at.Mul(at).Quo(r.line.length).Mul(r.line.dx.Quo(r.line.dk).Abs()), true
	}
	return r.rel.perTurn.Mul(r.line.step()), true
}

// targetStep shows the limit, where a bound that the drive keeps at its limit
// already was met there, and returns the speed that is loaded.
func (w *worker) targetStep(demanded Input) Input {
	target, _ := w.reach(w.speed(w.out.Demanded.Base(w.c)))
	if target.Float() == demanded.Value.Value {
		return demanded
	}
	w.limitSteps()
	return Input{"speed", speedQuantity(target.Float())}
}

// boundedCountStep derives the count on the safe side of a number. Where the number
// is that count and its float64 lies just past it, the number is shown as it is.
func (w *worker) boundedCountStep(number Input) {
	count := float64(w.out.Count.Value)
	formula, name, rounded := "ceil(number)", "next whole count above, the safe side", math.Ceil(number.Value.Value)
	if w.roundsDown() {
		formula, name, rounded = "floor(number)", "next whole count below, the safe side", math.Floor(number.Value.Value)
	}
	if rounded != count {
		number.Value.Value = count
	}
	w.step("bounded-count/1", name, formula, plain(count), number)
}

// marginStep derives how far the achieved time is on the safe side.
func (w *worker) marginStep() {
	achieved, bound := Input{"achieved", w.out.Achieved}, Input{"bound", w.out.Demanded}
	switch w.measure.Goal {
	case AtLeast:
		w.step("margin/1", "how far that is on the safe side", "achieved - bound", w.out.Margin, achieved, bound)
	case AtMost:
		w.step("margin/1", "how far that is on the safe side", "bound - achieved", w.out.Margin, achieved, bound)
	case Between:
		most := Input{"most", w.inUnit(w.measure.Most(w.c))}
		w.step("margin/1", "how far that is from the nearer bound", "min(achieved - bound, most - achieved)", w.out.Margin, achieved, bound, most)
	}
}
