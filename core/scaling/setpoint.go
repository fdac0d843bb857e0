package scaling

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Tolerance is how far an achieved value may lie from the demanded one, percent
// of the demanded one, 0 to 100 each way.
type Tolerance struct{ MinusPercent, PlusPercent float64 }

// Subject is what a setpoint is found for: a drive with what the product brings
// to it. All of it has been validated.
type Subject struct {
	Drive          *Drive
	Material       *Material                 // nil: none
	ReadoutSection *Section                  // nil: none; the section whose dwell a time readout shows
	Tolerance      *Tolerance                // nil: not judged
	Leader         func(*exact.Calc) Leading // nil: not known; what a register that follows is given a ratio to
	Count          Optional[int32]           // to load in place of the nearest: chosen together with other drives'
}

// Measure is how a demand is counted: as a process rate, as a motor speed, or as
// a time in a section, in a unit of that kind.
type Measure struct {
	Unit   *units.Unit
	Length units.Quantity // the section's length, for a unit of time
	// Way is the travel that takes the time, where that is not Length itself; Length
	// is then what the working shows of it.
	Way  func(*exact.Calc) exact.Num
	Goal Goal
	Most func(*exact.Calc) exact.Num // Between: the longest time
}

// way returns the travel that takes the time.
func (m *Measure) way(c *exact.Calc) exact.Num {
	if m.Way != nil {
		return m.Way(c)
	}
	return m.Length.Base(c)
}

// Setpoint is what one drive is to be given, and what it then does. What does
// not exist is absent (a nil Unit, an Optional that is not set, an empty text).
type Setpoint struct {
	Demanded            units.Quantity
	DemandedRPM         Optional[float64]
	Count               Optional[int32]
	NearestCount        Optional[int32] // where Count was chosen together with others and is not that
	Fraction            Optional[Fraction]
	Milliamps           Optional[float64]
	Volts               Optional[float64]
	AchievedRPM         Optional[float64]
	LastShaftRPM        Optional[float64]
	ProcessRate         units.Quantity // at the achieved speed
	Achieved            units.Quantity
	ErrorPercent        Optional[float64] // (achieved - demanded) / demanded * 100
	ReadoutText         Text
	PulseHz             Optional[float64]
	Margin              units.Quantity // of a time at least or at most: how far Achieved is on the safe side
	WithinTolerance     Optional[bool]
	Low, High           units.Quantity // expected band; High is absent where a time has no upper end
	BandWithinTolerance Optional[bool]
}

// run is one evaluation of one drive's setpoint.
type run struct {
	c       *exact.Calc
	subject Subject
	measure Measure
	asked   kind    // of the measure
	sensor  *Sensor // the one that closes the loop, or nil
	turns   shafts
	pulses  exact.Num // per motor turn, of a shaft sensor that closes the loop
	rel     relation
	line    line
	checks  *[]Check
	out     *Setpoint
}

// Motion is a motor speed in r/min, and the process rate at it in base units of
// the drive's own [Drive.RateDimension], where it has one.
type Motion struct{ Speed, Rate exact.Num }

// For finds into out the setpoint of s for an amount of measure m, in base units (r/min
// for a motor speed). Checks are appended to checks; their Field and
// FitField are left to the caller, who knows where the request asks this.
//
//	motor speed = (rate + leak) / perTurn, with rate = length / time for a time
//	count       = the register's line at that speed, rounded to nearest, ties away from zero
//	achieved    = the same relations back from the count
//
// The setpoint of a drive out of range has no count; its check has the limit and
// a value of the demand that would fit. The motion that is achieved is returned,
// or none where the drive is out of range. Formulas: motor-speed/1, count/1.
func For(c *exact.Calc, s *Subject, m Measure, amount exact.Num, checks *[]Check, out *Setpoint) Motion {
	*out = Setpoint{}
	var r run
	r.begin(c, s, m, checks, out)
	n := r.speed(amount)
	out.Demanded = units.Quantity{Value: units.FromBase(c, amount, m.Unit).Float(), Unit: m.Unit}
	out.DemandedRPM = Some(n.Float())
	if !r.reaches(amount, n) {
		return Motion{}
	}
	if m.Goal != Nearest {
		return r.bounded(amount, n)
	}
	if !r.inRange(n) {
		return Motion{}
	}
	speed, rounded := r.load(n)
	at := r.at(speed)
	r.describe(at)
	if rounded {
		r.compare(amount, r.amount(at), speed)
	} else {
		r.compare(amount, amount, speed)
	}
	return at
}

// FromCount finds into out what a loaded count of an integer register does; the demanded
// values are absent. A count that sets a speed out of range is told by a check.
// Measure m, a rate or a motor speed, gives the unit of the achieved value. The motion
// that the count sets is returned.
func FromCount(c *exact.Calc, s *Subject, m Measure, count int32, checks *[]Check, out *Setpoint) Motion {
	*out = Setpoint{Count: Some(count)}
	return fromNumber(c, s, m, c.Int(int64(count)), checks, out)
}

// FromOutput is FromCount for what stands at a current output in mA, or at a voltage
// output in V. A current that is no signal of a speed is told by a check.
func FromOutput(c *exact.Calc, s *Subject, m Measure, output float64, checks *[]Check, out *Setpoint) Motion {
	if s.Drive.Register.Kind == VoltageOutput {
		*out = Setpoint{Volts: Some(output)}
	} else {
		*out = Setpoint{Milliamps: Some(output)}
		if text := signalBand(output); text != "" {
			*checks = append(*checks, Check{Code: CurrentOutsideSignal, DriveID: s.Drive.ID, Text: text})
		}
	}
	return fromNumber(c, s, m, c.Dec(output), checks, out)
}

func fromNumber(c *exact.Calc, s *Subject, m Measure, number exact.Num, checks *[]Check, out *Setpoint) Motion {
	var r run
	r.begin(c, s, m, checks, out)
	n := r.line.speed(number)
	switch {
	case c.Sign(n) == 0:
		n = c.Int(0) // without the traces of rounding
	case !r.inRange(n):
		(*checks)[len(*checks)-1].Fit = units.Quantity{} // a rate, and what is asked is a number
	}
	at := r.at(n)
	r.describe(at)
	out.Achieved = r.inUnit(r.amount(at))
	if low, high, known := r.band(n); known && c.Sign(n) != 0 {
		out.Low, out.High = r.quantityUnlessEndless(low), r.quantityUnlessEndless(high)
	}
	return at
}

// begin prepares r, which is zero, for its evaluation. It is not returned by value,
// since copying what has just been written costs as much as finding it.
func (r *run) begin(c *exact.Calc, s *Subject, m Measure, checks *[]Check, out *Setpoint) {
	d := s.Drive
	r.c, r.subject, r.measure, r.checks, r.out = c, *s, m, checks, out
	if m.Unit != nil {
		r.asked = kindOf(m.Unit)
	}
	r.sensor = d.LoopSensor()
	r.turns = shaftsOf(c, d, r.sensor)
	if r.sensor != nil && r.sensor.Kind == ShaftSensor {
		r.pulses = pulsesPerMotorTurn(c, r.sensor, &r.turns)
	}
	r.rel.relate(c, d, s.Material, r.turns.last)
	switch {
	case d.Register.Follows():
		r.follow()
	case d.Register.Kind != NoRegister:
		r.line.draw(c, d, &r.rel, &r.turns)
	}
}

// at returns the motion at n r/min.
func (r *run) at(n exact.Num) Motion {
	if r.rel.kind == noKind {
		return Motion{Speed: n}
	}
	return Motion{Speed: n, Rate: r.rel.rate(n)}
}

func (r *run) add(k Check) {
	k.DriveID = r.subject.Drive.ID
	*r.checks = append(*r.checks, k)
}

// speed returns the motor speed in r/min that gives an amount of the measure.
func (r *run) speed(amount exact.Num) exact.Num {
	d := r.subject.Drive
	switch r.asked {
	case motorSpeed:
		return amount
	case timeInSection:
		return r.rel.speed(r.measure.way(r.c).Quo(amount))
	default:
		return r.rel.speed(convert(r.c, d, r.subject.Material, amount, r.asked, r.rel.kind))
	}
}

// amount is the inverse of speed.
func (r *run) amount(at Motion) exact.Num {
	d := r.subject.Drive
	switch r.asked {
	case motorSpeed:
		return at.Speed
	case timeInSection:
		return r.measure.way(r.c).Quo(at.Rate)
	default:
		return convert(r.c, d, r.subject.Material, at.Rate, r.rel.kind, r.asked)
	}
}

// inUnit returns an amount of the measure as a quantity.
func (r *run) inUnit(amount exact.Num) units.Quantity {
	return units.Quantity{Value: units.FromBase(r.c, amount, r.measure.Unit).Float(), Unit: r.measure.Unit}
}

// inRange reports whether speed n lies within the drive's limits, and adds the
// check that says by how much it does not.
func (r *run) inRange(n exact.Num) bool {
	c := r.c
	sign := c.Sign(n)
	size := magnitude(n, sign)
	usable := r.speedLimits(sign)
	switch {
	case c.Cmp(size, usable.high) > 0:
		r.addOutOfRange(AboveHighestSpeed, size, usable.high, usable.highBy, sign, usable)
	case c.Cmp(size, usable.low) < 0:
		r.addOutOfRange(BelowLowestSpeed, size, usable.low, usable.lowBy, sign, usable)
	default:
		return true
	}
	return false
}

// reaches reports whether a speed gives the amount: a line whose slip flow is below
// zero gives more at standstill than a small demand asks for.
func (r *run) reaches(amount, n exact.Num) bool {
	c := r.c
	if !r.rel.leaks || r.asked == motorSpeed || c.Sign(amount) <= 0 || c.Sign(n) > 0 {
		return true
	}
	usable := r.speedLimits(1)
	r.addOutOfRange(BelowLowestSpeed, n, usable.low, usable.lowBy, 1, usable)
	return false
}

func (r *run) addOutOfRange(code Code, size, limit exact.Num, by Bound, sign int, usable limits) {
	k := Check{Code: code, Binds: by, Limit: r.inUnit(r.amount(r.at(magnitude(limit, sign))))}
	if r.c.Sign(limit) > 0 { // else the register cannot ask for this direction at all
		k.ExcessPercent = Some(size.Sub(limit).Abs().Quo(limit).Mul(r.c.Int(100)).Float())
	}
	if r.c.Cmp(usable.low, usable.high) <= 0 {
		k.Fit = r.inside(k.Limit, usable, sign)
	}
	r.add(k)
}

// inside rounds a limit to six significant digits on the side that the drive can
// run, so that the rounded value really fits.
func (r *run) inside(limit units.Quantity, usable limits, sign int) units.Quantity {
	for _, v := range neighbours(limit.Value) {
		q := units.Quantity{Value: v, Unit: limit.Unit}
		if v == 0 {
			continue
		}
		size := magnitude(r.speed(q.Base(r.c)), sign)
		if r.c.Cmp(size, usable.low) >= 0 && r.c.Cmp(size, usable.high) <= 0 {
			return q
		}
	}
	return units.Quantity{}
}

// load turns speed n into what the register takes, and returns the speed that this
// gives. Only a register of integers rounds.
func (r *run) load(n exact.Num) (speed exact.Num, rounded bool) {
	switch r.subject.Drive.Register.Kind {
	case IntegerRegister:
		number := r.line.number(n)
		count := r.choose(number)
		r.out.Count = Some(int32(count))
		speed = r.line.speed(r.c.Int(count))
		r.checkMotorLimit(speed)
		r.checkNearerInTime(number, count, n)
		return speed, true
	case FractionRegister:
		return r.divide(n), true
	case CurrentOutput:
		r.out.Milliamps = Some(r.line.number(n).Float())
	case VoltageOutput:
		r.out.Volts = Some(r.line.number(n).Float())
	}
	return n, false
}

// choose returns the count for a number: the nearest, or the one that was chosen
// together with those of other drives.
func (r *run) choose(number exact.Num) int64 {
	nearest, _ := r.c.Round(number)
	chosen := r.subject.Count
	if !chosen.Set || int64(chosen.Value) == nearest {
		return nearest
	}
	r.out.NearestCount = Some(int32(nearest))
	r.add(Check{Code: CountChosenTogether, Number: float64(nearest)})
	return int64(chosen.Value)
}

func (r *run) checkMotorLimit(achieved exact.Num) {
	c, motor := r.c, &r.subject.Drive.Motor
	size := achieved.Abs()
	if c.Cmp(size, c.Dec(motor.MaxRPM)) > 0 || c.Cmp(size, c.Dec(motor.MinRPM)) < 0 {
		r.add(Check{Code: CountPastMotorLimit, Number: achieved.Float()})
	}
}

// onTheCount is how near to a count a demand is taken to ask for just that count
// when its neighbour is compared: there the neighbour, a whole count away, cannot
// be the nearer one.
const onTheCount = 1e-6

// checkNearerInTime tells where the neighbour on the other side of the demand is
// nearer to the demanded time: time goes with the reciprocal of the speed, so the
// middle between two counts is not the middle between their times.
func (r *run) checkNearerInTime(number exact.Num, count int64, demanded exact.Num) {
	off := number.Float() - float64(count)
	if r.asked != timeInSection || math.Abs(off) < onTheCount {
		return
	}
	other := count + 1
	if off < 0 {
		other = count - 1
	}
	c := r.c
	low, high := r.subject.Drive.Register.Bounds()
	n := r.line.speed(c.Int(other))
	if float64(other) < low || float64(other) > high || c.Sign(n) != c.Sign(demanded) {
		return
	}
	time := r.amount(r.at(demanded))
	chosen := r.amount(r.at(r.line.speed(c.Int(count)))).Sub(time).Abs()
	if c.Cmp(r.amount(r.at(n)).Sub(time).Abs(), chosen) < 0 {
		r.add(Check{Code: OtherCountNearerInTime, Number: float64(other)})
	}
}

// describe fills in what a motion does: shafts, process value, readout, pulses.
func (r *run) describe(at Motion) {
	d := r.subject.Drive
	r.out.AchievedRPM = Some(at.Speed.Float())
	if d.Delivery.Kind != NoDelivery || len(d.Transmission) > 0 {
		r.out.LastShaftRPM = Some(at.Speed.Mul(r.turns.last).Float())
	}
	if r.rel.kind != noKind {
		r.out.ProcessRate = quantity(r.c, at.Rate, RateUnit(d))
		if r.rel.leaks && r.c.Sign(r.rel.leak) > 0 && r.c.Sign(at.Rate) != r.c.Sign(at.Speed) {
			r.add(Check{Code: DeliversNothing})
		}
	}
	if hz, ok := r.pulseRate(at); ok {
		r.out.PulseHz = Some(hz.Abs().Float())
	}
	if d.Readout.Unit != nil {
		r.readout(at)
	}
	r.checkDrive(at.Speed)
	r.checkSensors(at)
}

func (r *run) readout(at Motion) {
	readout := &r.subject.Drive.Readout
	v, ok := r.readoutValue(at)
	if !ok {
		r.addNoReadout()
		return
	}
	if r.out.ReadoutText, ok = readoutText(r.c, readout, v); !ok {
		r.add(Check{Code: ReadoutTooShort, Decimals: readout.decimalsThatFit(r.c, v)})
	}
}

// addNoReadout tells what is missing for the readout's text. At a stand a time has
// no end, and nothing is missing.
func (r *run) addNoReadout() {
	switch shown := kindOf(r.subject.Drive.Readout.Unit); {
	case shown != timeInSection:
		r.add(Check{Code: ReadoutWithoutDensity, Name: NeedsDensity(r.subject.Drive, r.subject.Material, dimensions[shown])})
	case r.subject.ReadoutSection == nil:
		r.add(Check{Code: ReadoutWithoutSection})
	}
}

// farFromCalibration is how far from its calibration a single efficiency of a
// pump is trusted; common practice, no published source.
const farFromCalibration = 1.5

// checkDrive tells what the drive's description leaves open at speed n.
func (r *run) checkDrive(n exact.Num) {
	c, d := r.c, r.subject.Drive
	if d.Corrected() {
		r.add(Check{Code: CorrectionInForce})
	}
	if calibrated := calibrationSpeed(d); calibrated > 0 {
		size := n.Abs()
		far := c.Dec(farFromCalibration)
		at := c.Dec(calibrated)
		if c.Cmp(size, at.Mul(far)) > 0 || c.Cmp(size.Mul(far), at) < 0 {
			r.add(Check{Code: FarFromCalibration, Number: calibrated})
		}
	}
	if r.sensor != nil && r.sensor.Kind == FlowSensor {
		r.add(Check{Code: MotorSpeedNominal})
	}
	if hasNominalGearbox(d) {
		r.add(Check{Code: GearboxRatioNominal})
	}
	if len(d.References) > 0 && !d.Corrected() {
		if off, ok := r.referenceDiffers(); ok && off != 0 {
			r.addDiffers(off)
		}
		r.checkReach(n)
	}
}

func (r *run) addDiffers(percent float64) {
	k := Check{Code: ReferenceDiffers, Number: percent}
	if len(r.subject.Drive.References) > 1 {
		k.Name = "references"
	}
	r.add(k)
}

// calibrationSpeed returns the motor speed in r/min to which what is known of a
// pump is tied: that of its references, where it is one, else its efficiency's,
// else 0.
func calibrationSpeed(d *Drive) float64 {
	switch {
	case d.Delivery.Kind != Pump, d.Corrected(), d.ReferenceForm() == WithOffset:
		return 0
	case len(d.References) > 0:
		return d.References[0].MotorRPM
	case d.Delivery.VolumetricEfficiencyPercent.Set:
		return d.Delivery.AtRPM.Value
	}
	return 0
}

func hasNominalGearbox(d *Drive) bool {
	for i := range d.Transmission {
		if d.Transmission[i].Kind == Gearbox && !d.Transmission[i].Exact {
			return len(d.References) == 0 && !d.Corrected()
		}
	}
	return false
}

// referenceDiffers returns by how many percent the measured reference lies from
// what the drivetrain says at the reference's speed, where both are known in one
// kind of rate: 0 where they are equal, and where float64 does not tell them apart.
// Of several references it is their line, at their mean speed.
func (r *run) referenceDiffers() (percent float64, ok bool) {
	c, d, m := r.c, r.subject.Drive, r.subject.Material
	if len(d.References) == 0 || d.Delivery.Kind == NoDelivery {
		return 0, false
	}
	ref := &d.References[0]
	var train relation
	train.ofDrivetrain(c, d, m, r.turns.last)
	measured := kindOf(ref.Value.Unit)
	if !converts(d, m, train.kind, measured) {
		return 0, false
	}
	speed, rate := c.Dec(ref.MotorRPM), ref.Value.Base(c)
	if len(d.References) > 1 {
		speed, rate = r.middle()
	}
	calculated := train.rate(speed)
	if c.Sign(calculated) <= 0 {
		return 0, false
	}
	calculated = convert(c, d, m, calculated, train.kind, measured)
	off := rate.Sub(calculated)
	if c.Sign(off) == 0 {
		return 0, true
	}
	return off.Quo(calculated).Mul(c.Int(100)).Float(), true
}

// compare judges the achieved amount, which motor speed n gives, against the
// demanded one.
func (r *run) compare(demanded, achieved, n exact.Num) {
	r.out.Achieved = r.inUnit(achieved)
	r.out.ErrorPercent = Some(achieved.Sub(demanded).Quo(demanded).Mul(r.c.Int(100)).Float())
	low, high, known := r.band(n)
	if known {
		r.out.Low, r.out.High = r.quantityUnlessEndless(low), r.quantityUnlessEndless(high)
	}
	if r.subject.Tolerance == nil {
		return
	}
	least, most := r.tolerance()
	within := r.tolerated(least, most, achieved.Quo(demanded))
	r.out.WithinTolerance = Some(within)
	if !within {
		r.add(Check{Code: CountOutsideTolerance, Number: r.out.ErrorPercent.Value})
	}
	if known {
		within = !low.endless && !high.endless && r.tolerated(least, most, low.amount.Quo(demanded)) && r.tolerated(least, most, high.amount.Quo(demanded))
		r.out.BandWithinTolerance = Some(within)
		if !within {
			r.add(Check{Code: BandOutsideTolerance})
		}
	}
}

// tolerance returns 1 - minus and 1 + plus.
func (r *run) tolerance() (least, most exact.Num) {
	c, t := r.c, r.subject.Tolerance
	return c.Int(1).Sub(c.Percent(t.MinusPercent)), c.Int(1).Add(c.Percent(t.PlusPercent))
}

// tolerated reports whether part, of what is demanded, lies between least and most.
func (r *run) tolerated(least, most, part exact.Num) bool {
	return r.c.Cmp(part, least) >= 0 && r.c.Cmp(part, most) <= 0
}

// end is one end of the expected band, in the measure; a time at standstill is endless.
type end struct {
	amount  exact.Num
	endless bool
}

func (r *run) quantityUnlessEndless(e end) units.Quantity {
	if e.endless {
		return units.Quantity{}
	}
	return r.inUnit(e.amount)
}

// band returns the ends between which the drive's regulation keeps the value, low
// before high, when the set speed is n; known is false where none is described.
// A share of a speed below zero widens it downwards.
func (r *run) band(n exact.Num) (low, high end, known bool) {
	slow, fast, known := r.regulated(n)
	g := &r.subject.Drive.Motor.Regulation
	ofSetSpeed := g.DroopPercent.Set || g.Of == SetSpeed
	switch {
	case !known:
		return end{}, end{}, false
	case r.asked == timeInSection, ofSetSpeed && r.c.Sign(n) < 0:
		return r.end(fast), r.end(slow), true
	}
	return r.end(slow), r.end(fast), true
}

// regulated returns the slowest and fastest speed at set speed n.
//
//	n * (1 +- percent/100), n +- percent/100 of the maximum or base speed,
//	or n * (1 - droop/100) to n
func (r *run) regulated(n exact.Num) (slow, fast exact.Num, known bool) {
	c, motor := r.c, &r.subject.Drive.Motor
	g := &motor.Regulation
	if g.DroopPercent.Set {
		return n.Mul(oneLess(c, g.DroopPercent.Value)), n, true
	}
	if !g.Percent.Set {
		return n, n, false
	}
	base := n
	switch g.Of {
	case MaxSpeed:
		base = c.Dec(motor.MaxRPM)
	case BaseSpeed:
		base = c.Dec(motor.BaseRPM.Value)
	}
	either := base.Mul(c.Percent(g.Percent.Value))
	return n.Sub(either), n.Add(either), true
}

func (r *run) end(n exact.Num) end {
	at := r.at(n)
	if r.asked == timeInSection && r.c.Sign(at.Rate) <= 0 {
		return end{endless: true}
	}
	return end{amount: r.amount(at)}
}

// Stop finds into out what asks s's register for a motor that stands still: the
// number on its line at speed zero. Nothing is set where the register cannot say
// that exactly within its range; then a check tells. A pump that leaks is such a
// drive where its register counts flow: no flow is not no speed.
func Stop(c *exact.Calc, s *Subject, checks *[]Check, out *Setpoint) {
	*out = Setpoint{}
	r := &s.Drive.Register
	if r.Kind == NoRegister {
		return
	}
	var e run
	e.begin(c, s, Measure{Unit: revolutionPerMin}, checks, out)
	if r.Follows() {
		e.stopFollowing(r)
		return
	}
	if e.line.reciprocal { // no time is the time of a standstill
		e.add(Check{Code: NoCountForStop})
		return
	}
	number := e.line.number(c.Int(0))
	low, high := r.Bounds()
	inside := c.Cmp(number, c.Dec(low)) >= 0 && c.Cmp(number, c.Dec(high)) <= 0
	n, _ := c.Round(number)
	switch {
	case inside && r.Kind == CurrentOutput:
		out.Milliamps = Some(number.Float())
	case inside && r.Kind == VoltageOutput:
		out.Volts = Some(number.Float())
	case inside && c.Cmp(number, c.Int(n)) == 0:
		out.Count = Some(int32(n))
	default:
		e.add(Check{Code: NoCountForStop})
		return
	}
	out.AchievedRPM = Some(0.0)
}

// MotionFor returns the motion that gives an amount of m, whether or not the drive
// can run it.
func MotionFor(c *exact.Calc, s *Subject, m Measure, amount exact.Num) Motion {
	var r run
	r.begin(c, s, m, nil, nil)
	return r.at(r.speed(amount))
}

// MotionOfCount returns the motion that a count sets.
func MotionOfCount(c *exact.Calc, s *Subject, count int32) Motion {
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	return r.at(r.line.speed(c.Int(int64(count))))
}
