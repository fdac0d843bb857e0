package ratio

import (
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Ramps asks how drives are to change speed together. [Ramps.Validate] checks one.
type Ramps struct {
	Drives           []scaling.Drive
	Materials        []scaling.Material
	Ramps            []Ramp
	LeaderID         string // the drive against which ratios are reckoned; empty: the first but a belt that feeders feed onto
	TolerancePercent float64
	Time             units.Quantity // a common time longer than the slowest drive needs
	Stagger          *Stagger
}

// Ramp is the change of one drive's speed, linear in time.
type Ramp struct {
	DriveID, MaterialID string
	From, To            units.Quantity // a rate or a motor speed; absent: the drive stands
	Meaning             Meaning
	FastestTime         units.Quantity    // the shortest ramp-time setting that is allowed, in its meaning
	Acceleration        units.Quantity    // instead: the greatest, of the motor's speed or of the rate
	RampMaxRPM          Optional[float64] // ZeroToMax: the speed that its time goes to; absent: the motor's maximum
	TimeStep            units.Quantity    // of the setting; absent: any time can be set
}

// Meaning is what a drive's ramp-time setting means.
type Meaning uint8

// Meanings.
const (
	NoMeaning  Meaning = iota
	ThisChange         // the time of the change from one speed to the next, whatever they are
	ZeroToMax          // the time from standstill to the maximum speed; a smaller change takes its share
)

// Stagger asks for the start delays of feeders along a belt.
type Stagger struct {
	BeltID  string
	Feeders []StaggeredFeeder
}

// StaggeredFeeder is a feeder over a belt.
type StaggeredFeeder struct {
	DriveID  string
	Distance units.Quantity // along the belt, from where its material falls to a point downstream of all
}

// RampSet is the answer to [Ramps].
type RampSet struct {
	LeastTime    units.Quantity // what the slowest drive needs; absent where there is no common ramp
	CommonTime   units.Quantity
	SlowestID    string
	Ramps        []RampOf
	Alone        OffRatio // each drive by its own fastest ramp: what the leader delivers while any drive is off ratio
	Common       OffRatio // by the common ramp
	Starts       []Start  // in the order in which they start
	PartialBelt  units.Quantity
	Checks       []scaling.Check
	FromSetpoint []scaling.Setpoint // by ramp; zero for a standing drive
	ToSetpoint   []scaling.Setpoint
}

// RampOf is the ramp of one drive. Times are absent for a drive that keeps its speed.
type RampOf struct {
	Drive          *scaling.Drive
	FromRPM, ToRPM Optional[float64] // absent: the drive cannot run what is asked
	FastestTime    units.Quantity    // of this change
	Setting        units.Quantity    // of the ramp time, in the drive's own meaning
	Time           units.Quantity    // of this change by that setting
	Acceleration   units.Quantity    // of the motor by that setting, without its sign
	Amount         units.Quantity    // delivered during the common time
	Alone, Common  OffRatio          // what this drive delivers while it is off ratio
}

// OffRatio tells how long a drive is off ratio, and what is delivered meanwhile.
type OffRatio struct {
	Time   units.Quantity
	Amount units.Quantity
	Excess units.Quantity // of a drive: delivered beyond what the new ratio to the leader asks, over the whole change
}

// Start says when a feeder starts, after the first one.
type Start struct {
	DriveID string
	Delay   units.Quantity // absent: the belt stops before
	Travel  units.Quantity // of the belt meanwhile
}

// Find returns the common ramp. The ramps have been validated.
//
//	time of a change = |change| / acceleration
//	               or  fastest setting, where it means this change
//	               or  fastest setting * |change| / maximum speed, where it means zero to maximum
//	common time      = the greatest of them, in whole steps of the drives whose setting
//	                   means this change, so that they end with the others
//
// Source: a linear ramp has one acceleration. Formulas: ramp-time/1, common-ramp/1,
// ramp-setting/1, off-ratio/1, start-delay/1.
func (q *Ramps) Find() RampSet {
	r := scaling.Certain(q.run)
	if r.out.CommonTime.Unit != nil {
		r.offRatio()
		r.starts()
	}
	return r.out
}

// run finds the times.
func (q *Ramps) run(c *exact.Calc) *rampRun {
	r := &rampRun{c: c, ramps: q, out: RampSet{Ramps: make([]RampOf, len(q.Ramps))}}
	r.ends()
	if r.feasible() {
		r.times()
	}
	return r
}

// rampRun is one evaluation.
type rampRun struct {
	c        *exact.Calc
	ramps    *Ramps
	from, to []scaling.Motion // of each ramp
	change   []exact.Num      // of the motor's speed, without its sign
	fastest  []exact.Num      // min, of this change; only where the speed changes
	changes  []bool
	taken    []float64 // min, of this change by the setting
	out      RampSet
}

// ends finds what the drives do before and after, by the counts that they are given.
func (r *rampRun) ends() {
	n := len(r.ramps.Ramps)
	r.from, r.to, r.change, r.changes = make([]scaling.Motion, n), make([]scaling.Motion, n), make([]exact.Num, n), make([]bool, n)
	r.fastest, r.taken = make([]exact.Num, n), make([]float64, n)
	r.out.FromSetpoint, r.out.ToSetpoint = make([]scaling.Setpoint, n), make([]scaling.Setpoint, n)
	for i := range r.ramps.Ramps {
		ramp := &r.ramps.Ramps[i]
		r.out.Ramps[i].Drive = r.ramps.drive(i)
		r.from[i], r.out.Ramps[i].FromRPM = r.end(i, ramp.From, "from", &r.out.FromSetpoint[i])
		r.to[i], r.out.Ramps[i].ToRPM = r.end(i, ramp.To, "to", &r.out.ToSetpoint[i])
		if r.out.Ramps[i].FromRPM.Set && r.out.Ramps[i].ToRPM.Set { // else there is no motion
			r.change[i] = r.to[i].Speed.Sub(r.from[i].Speed).Abs()
			r.changes[i] = r.c.Sign(r.change[i]) != 0
		}
	}
}

// end finds the motion at one end of ramp i. What is told of the speed before the
// change is only that the drive cannot have it.
func (r *rampRun) end(i int, q units.Quantity, field string, out *scaling.Setpoint) (at scaling.Motion, speed Optional[float64]) {
	s := r.ramps.subject(i)
	if q.Unit == nil {
		return scaling.MotionFor(r.c, &s, scaling.Measure{Unit: rpm}, r.c.Int(0)), scaling.Some(0.0)
	}
	var found []scaling.Check
	at = scaling.For(r.c, &s, scaling.Measure{Unit: q.Unit}, q.Base(r.c), &found, out)
	out.Demanded = q
	path := rampPath(i) + "." + field
	for _, k := range found {
		if field == "from" && r.ramps.Ramps[i].To.Unit != nil && k.Code.Severity() != scaling.Error {
			continue // told of the speed after it
		}
		k.Field = path
		if k.Fit.Unit != nil {
			k.FitField = path
		}
		r.out.Checks = append(r.out.Checks, k)
	}
	return at, out.AchievedRPM
}

// feasible reports whether every drive can run what is asked, and some drive
// changes its speed.
func (r *rampRun) feasible() bool {
	for i := range r.out.Ramps {
		if !r.out.Ramps[i].FromRPM.Set || !r.out.Ramps[i].ToRPM.Set {
			return false
		}
	}
	for i := range r.changes {
		if r.changes[i] {
			return true
		}
	}
	r.out.Checks = append(r.out.Checks, scaling.Check{Code: scaling.NoSpeedChanges, Field: "ramps"})
	return false
}

// times finds the common ramp and what each drive is to be set to for it.
func (r *rampRun) times() {
	c := r.c
	least, slowest := c.Int(0), -1
	for i := range r.ramps.Ramps {
		if !r.changes[i] {
			continue
		}
		r.fastest[i] = r.fastestTime(i)
		if slowest < 0 || c.Cmp(r.fastest[i], least) > 0 {
			least, slowest = r.fastest[i], i
		}
	}
	r.out.SlowestID, r.out.LeastTime = r.ramps.Ramps[slowest].DriveID, inSeconds(c, least)
	common := least
	r.out.CommonTime = r.out.LeastTime
	if step := r.coarsest(); step.Unit != nil {
		if n, ok := c.Ceil(least.Quo(step.Base(c))); ok {
			common, r.out.CommonTime = c.Int(n).Mul(step.Base(c)), steps(n, step)
		}
	}
	if q := r.ramps.Time; q.Unit != nil {
		common = q.Base(c)
		if c.Cmp(common, least) < 0 {
			r.out.CommonTime = units.Quantity{}
			r.out.Checks = append(r.out.Checks, scaling.Check{Code: scaling.RampTooFast, DriveID: r.out.SlowestID, Field: "time",
				Name: r.out.SlowestID, Limit: units.Quantity{Value: units.FromBase(c, least, q.Unit).Float(), Unit: q.Unit}})
			return
		}
		r.out.CommonTime = q
	}
	for i := range r.ramps.Ramps {
		if r.changes[i] {
			r.set(i, common)
		}
	}
}

// coarsest returns the greatest step of a setting that means this change; no unit where
// there is none. A setting from zero to maximum has finer steps of the time that it takes.
func (r *rampRun) coarsest() (step units.Quantity) {
	for i := range r.ramps.Ramps {
		ramp := &r.ramps.Ramps[i]
		if !r.changes[i] || ramp.Meaning != ThisChange || ramp.TimeStep.Unit == nil {
			continue
		}
		if step.Unit == nil || r.c.Cmp(ramp.TimeStep.Base(r.c), step.Base(r.c)) > 0 {
			step = ramp.TimeStep
		}
	}
	return step
}

// fastestTime returns the shortest time in which drive i makes its change.
func (r *rampRun) fastestTime(i int) exact.Num {
	ramp := &r.ramps.Ramps[i]
	switch {
	case ramp.Acceleration.Unit != nil && ramp.Acceleration.Unit.Dimension() == units.RotationPerTime:
		return r.change[i].Quo(ramp.Acceleration.Base(r.c))
	case ramp.Acceleration.Unit != nil:
		return r.to[i].Rate.Sub(r.from[i].Rate).Abs().Quo(ramp.Acceleration.Base(r.c))
	}
	return ramp.FastestTime.Base(r.c).Mul(r.share(i))
}

// share returns the time of drive i's change in parts of its ramp-time setting.
func (r *rampRun) share(i int) exact.Num {
	if r.ramps.Ramps[i].Meaning == ThisChange {
		return r.c.Int(1)
	}
	return r.change[i].Quo(r.c.Dec(r.ramps.rampMax(i)))
}

// set finds the setting of drive i for the common time: to the nearest step, but
// never faster than the drive may.
func (r *rampRun) set(i int, common exact.Num) {
	c, ramp, out := r.c, &r.ramps.Ramps[i], &r.out.Ramps[i]
	share := r.share(i)
	setting := common.Quo(share)
	out.Setting = inSeconds(c, setting)
	if ramp.TimeStep.Unit != nil {
		step := ramp.TimeStep.Base(c)
		if n, ok := c.Round(setting.Quo(step)); ok { // else it is no time that anybody sets
			if c.Cmp(c.Int(n).Mul(step).Mul(share), r.fastest[i]) < 0 {
				n++
			}
			setting = c.Int(n).Mul(step)
			out.Setting = steps(n, ramp.TimeStep)
		}
	}
	took := setting.Mul(share)
	r.taken[i] = took.Float()
	out.FastestTime, out.Time = inSeconds(c, r.fastest[i]), inSeconds(c, took)
	out.Acceleration = units.Quantity{Value: units.FromBase(c, r.change[i].Quo(took), rpmPerSecond).Float(), Unit: rpmPerSecond}
}

// steps returns n steps, to the last digit.
func steps(n int64, step units.Quantity) units.Quantity {
	c := exact.NewExact()
	return units.Quantity{Value: c.Int(n).Mul(c.Dec(step.Value)).True(), Unit: step.Unit}
}

var (
	rpm          = units.MustParse("r/min")
	rpmPerSecond = units.MustParse("r/min/s")
	second       = units.MustParse("s")
	metre        = units.MustParse("m")
)

// inSeconds returns a time in min as a quantity.
func inSeconds(c *exact.Calc, n exact.Num) units.Quantity {
	return units.Quantity{Value: units.FromBase(c, n, second).Float(), Unit: second}
}

// seconds is the same for a time in float64.
func seconds(minutes float64) units.Quantity {
	return units.Quantity{Value: minutes * 60, Unit: second}
}
