package measurement

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/statistics"
	"linepace.example/core/units"
)

// TachometerCheck is what a drive was set to, and what a tachometer then read.
type TachometerCheck struct {
	Subject scaling.Subject

	// One of these is what is loaded: a number in the register, or a process rate, a
	// motor speed or a time in the section that is set by other means.
	Count            scaling.Optional[int32]
	Milliamps, Volts scaling.Optional[float64]
	Setpoint         units.Quantity

	Shaft    scaling.Shaft // that was measured, where Place is not set
	Place    Place         // of a surface wheel
	Readings []float64     // in Unit: r/min of a shaft or a wheel, or a surface speed
	Unit     *units.Unit

	Tachometer      Tachometer
	CoveragePercent float64 // wanted of the expanded uncertainty
}

// Tachometer is what is known of an instrument. Uncertainties named percent are of the
// value; those without a factor of their own are expanded with k = 2.
type Tachometer struct {
	ExpandedPercent scaling.Optional[float64] // U of the certificate, percent of the reading
	Expanded        units.Quantity            // or in the readings' kind of unit
	CoverageFactor  float64                   // k of the certificate
	Resolution      units.Quantity            // the last digit; Unit nil: not known

	// A tachometer that counts marks for a gate time. Gate without unit: not so.
	Gate        units.Quantity
	GatePercent float64
	Marks       int32 // that pass in a turn of the shaft or of the wheel

	// A surface wheel. Circumference without unit: it shows the surface speed itself.
	Circumference        units.Quantity
	CircumferencePercent float64
}

// Reading is what the tachometer should read beside what it read. Everything is in Unit,
// magnitudes whichever way the drive turns.
type Reading struct {
	Unit             *units.Unit
	SetRPM           float64 // of the motor
	Expected         float64
	Mean             float64
	Deviation        float64 // mean - expected
	DeviationPercent float64 // of the expected
	Budget           Budget
	Limits           scaling.Optional[Limits] // none: no regulation is described, or the loop holds something else
	Remedies         [4]Remedy
	RemedyCount      int
}

// Limits are the readings between which the drive's regulation keeps the speed, and
// what was found about it.
type Limits struct {
	Low, High   float64
	GuardFactor float64
	GuardBand   float64 // GuardFactor * standard uncertainty
	Verdict     Conformity
}

// Conformity says what a measurement proves of a drive. The numbers are those of the wire.
type Conformity uint8

// Verdicts.
const (
	NoConformity         Conformity = iota
	ConformanceProven               // within the limits by more than the guard band
	NonconformanceProven            // beyond a limit by more than the guard band
	NeitherProven
)

// Remedy is a change of the measurement that would decide it, if the mean stayed as it is.
type Remedy struct {
	Kind  RemedyKind
	Value float64 // gate in the unit of the gate, marks, readings, U as it was given
}

// RemedyKind is a kind of remedy. The numbers are those of the wire.
type RemedyKind uint8

// Remedies.
const (
	NoRemedy RemedyKind = iota
	LongerGate
	MoreMarks
	MoreReadings
	BetterCertificate
)

// The rule of the verdict. ISO 14253-1:2017 proves conformance (or nonconformance) to
// a specification with a probability of 95 % by default: with one limit near, the
// one-sided guard factor is 1.65 for a normal distribution. With few degrees of freedom
// Student's t takes its place where it is larger. Where the limits lie so close
// together that the other one matters, each side gets 2.5 %, factor 1.96.
// The standard is cited from memory.
const (
	GuardEdition     = "ISO 14253-1:2017"
	GuardRule        = GuardEdition + ": conformance is proven within the limits by more than the guard band, nonconformance beyond a limit by more than it, each with a probability of 95 %"
	GuardProbability = 0.95
	oneSidedGuard    = 1.65
	twoSidedGuard    = 1.96
	// nearLimits is where the second limit begins to matter: five standard
	// uncertainties, beyond which it takes less than 0.05 % off the probability.
	nearLimits = 5
)

// Check finds into out what the tachometer should read, what it read with its
// uncertainty, and whether that proves that the drive keeps to its regulation. The
// request has passed [TachometerCheck.Validate].
//
//	expected  = set motor speed * turns of the shaft, or the belt's speed at it
//	mean      = sum(readings) / n
//	guard     = guard factor * standard uncertainty of the mean
//
// What is expected follows from the count that is loaded, so its rounding is known and
// no uncertainty. The regulation is what is judged, so it is none either.
// Nothing is allocated where no check is told. Formula: tachometer-check/1
func (t *TachometerCheck) Check(c *exact.Calc, checks *[]scaling.Check, out *Reading) {
	*out = Reading{Unit: t.resultUnit()}
	set := t.motion(c)
	out.SetRPM = set.Speed.Float()
	out.Expected = t.read(c, set.Speed, out.Unit)
	out.Mean = float64(mean(t.Readings) * t.perReading(c))
	out.Deviation = out.Mean - out.Expected
	out.DeviationPercent = 100 * (out.Deviation / out.Expected)
	t.budget(c, out)
	t.judge(c, set, out)
	t.tell(out, checks)
}

func mean(x []float64) float64 { return statistics.Total(x) / float64(len(x)) }

// resultUnit returns the unit of everything: that of the readings, or that of the
// drive's process rate where a wheel's turns were read.
func (t *TachometerCheck) resultUnit() *units.Unit {
	if t.Place != NoPlace && t.Unit.Dimension() == units.Rotation {
		return scaling.RateUnit(t.Subject.Drive)
	}
	return t.Unit
}

// perReading returns what one unit of a reading is in the result's unit: 1, or what a
// turn of the wheel measures.
func (t *TachometerCheck) perReading(c *exact.Calc) float64 {
	unit := t.resultUnit()
	if unit == t.Unit {
		return 1
	}
	turns := units.Quantity{Value: 1, Unit: t.Unit}.Base(c)
	return units.FromBase(c, turns.Mul(t.Tachometer.Circumference.Base(c)), unit).Float()
}

// motion returns what is set.
func (t *TachometerCheck) motion(c *exact.Calc) scaling.Motion {
	s := &t.Subject
	switch {
	case t.Count.Set:
		return scaling.MotionOfCount(c, s, t.Count.Value)
	case t.Milliamps.Set:
		return scaling.MotionOfNumber(c, s, t.Milliamps.Value)
	case t.Volts.Set:
		return scaling.MotionOfNumber(c, s, t.Volts.Value)
	}
	m := scaling.Measure{Unit: t.Setpoint.Unit}
	if s.ReadoutSection != nil {
		m.Length = s.ReadoutSection.Length
	}
	return scaling.MotionFor(c, s, m, t.Setpoint.Base(c))
}

// read returns what a tachometer shows there when the motor turns at n r/min.
func (t *TachometerCheck) read(c *exact.Calc, n exact.Num, unit *units.Unit) float64 {
	return math.Abs(units.FromBase(c, t.at(c, n), unit).Float())
}

func (t *TachometerCheck) at(c *exact.Calc, n exact.Num) exact.Num {
	d := t.Subject.Drive
	if t.Place == NoPlace {
		return n.Mul(scaling.TurnsOf(c, d, t.Shaft))
	}
	speed := scaling.RateAt(c, &t.Subject, n)
	if roll := &d.Delivery; t.Place == OverRoll && roll.BeltThickness.Unit != nil {
		return speed.Mul(overRoll(c, roll.Diameter, roll.BeltThickness))
	}
	return speed
}

// judge compares the mean with the limits that the regulation sets at the place that
// was measured. A loop closed on a flow meter holds no speed to be judged.
func (t *TachometerCheck) judge(c *exact.Calc, set scaling.Motion, out *Reading) {
	slow, fast, known := scaling.RegulatedSpeeds(c, t.Subject.Drive, set.Speed)
	if s := t.Subject.Drive.LoopSensor(); !known || s != nil && s.Kind == scaling.FlowSensor {
		return
	}
	a, b := t.read(c, slow, out.Unit), t.read(c, fast, out.Unit)
	l := Limits{Low: min(a, b), High: max(a, b)}
	if slow.Float() < 0 && fast.Float() > 0 {
		l.Low = 0 // the regulation allows a stand
	}
	u := out.Budget.Standard
	l.GuardFactor = guardFactor((l.High-l.Low)/u, out.Budget.Dof)
	l.GuardBand = float64(l.GuardFactor * u)
	l.Verdict = conformity(out.Mean, &l)
	out.Limits = scaling.Some(l)
	if l.Verdict == NeitherProven {
		t.remedies(out, &l)
	}
}

// guardFactor returns the guard factor for limits that lie so many standard
// uncertainties apart.
func guardFactor(apart, dof float64) float64 {
	if apart >= nearLimits {
		return max(oneSidedGuard, coverageFactor(2*GuardProbability-1, dof))
	}
	return max(twoSidedGuard, coverageFactor(GuardProbability, dof))
}

func conformity(mean float64, l *Limits) Conformity {
	switch {
	case mean >= l.Low+l.GuardBand && mean <= l.High-l.GuardBand:
		return ConformanceProven
	case mean < l.Low-l.GuardBand || mean > l.High+l.GuardBand:
		return NonconformanceProven
	}
	return NeitherProven
}
