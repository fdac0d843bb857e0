// Package diagnosis finds the mistake that explains why a drive gives something else
// than was calculated.
//
// What is known is the factor observed / calculated, with its uncertainty. Most
// mistakes in setting up a drive (edges counted twice, a stage turned around, feet
// for metres) predict a factor of their own, which follows from the drive's own
// numbers. Each single mistake is a hypothesis, and so are a slip and an offset,
// whose size is fitted, and "something else", by which every factor is as likely as
// its reciprocal and as any other on a logarithmic scale. They are ranked by their
// likelihood.
//
// # Model
//
// The drive reckons with what is described; the machine differs from that in the
// mistake, or the other way round: both directions of a mistake are hypotheses.
// The loop holds the shaft of its sensor. So a mistake about the sensor changes the
// speed of every shaft; one about a stage that of the shafts behind it and the
// process rate; one about the delivery the process rate alone. With observations at
// several places each mistake predicts a factor for each of them.
//
// Logarithms of factors are taken as normally distributed with the relative standard
// uncertainty of the observation.
//
// Sources: kinematics for the factors; likelihood ratios and the log-uniform
// reference by Jaynes, Probability Theory, 2003, sections 4.4 and 12.4.
package diagnosis

import (
	"linepace.example/core/elementary"
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Observation is a pair of what was calculated and what was observed.
type Observation struct {
	// One of these says what the drive was set to: its motor speed in r/min as the
	// drive shows or takes it, the count in its register, or the value that its
	// readout shows or that was calculated by other means.
	MotorRPM scaling.Optional[float64]
	Count    scaling.Optional[int32]
	Shown    units.Quantity

	Observed           units.Quantity // a process rate, or r/min of Shaft
	Shaft              scaling.Shaft
	UncertaintyPercent float64 // expanded, k = 2, percent of the observed value
}

// Answer holds what was compared, and what may explain it, the likeliest first.
type Answer struct {
	Compared   []Compared
	Candidates []Candidate
	// ChanceMatchPercent is how often a factor that no mistake explains would be
	// given one first, percent: the share of the factors from 1/ReferenceSpan to
	// ReferenceSpan, on a logarithmic scale, which lie that near to one.
	ChanceMatchPercent float64
	Considered         int    // single mistakes that the drive's description allows
	Next               string // what to observe next, in words, or empty
	Working            []scaling.Step
}

// ReferenceSpan bounds the factors that are reckoned with where no mistake explains
// one: log-uniform from 1/1000 to 1000. A convention; it covers a decimal point that
// is three places off.
const ReferenceSpan = 1000

// Compared is an observation beside its calculated value.
type Compared struct {
	Calculated, Observed       units.Quantity // in the unit of the observed value
	Factor                     float64        // observed / calculated
	StandardUncertaintyPercent float64        // of the factor, percent of it
}

// Candidate is something that may explain the observations.
type Candidate struct {
	// Mistakes are one, or two that must have come together.
	Mistakes []Mistake
	// Predicted and RemainsPercent are for each observation the factor that the
	// candidate predicts, and (factor / predicted - 1) * 100. Empty for something else.
	Predicted, RemainsPercent []float64
	// LikelihoodPercent is the candidate's share of the likelihood of all single
	// mistakes and something else, when something else is as likely beforehand as
	// all single mistakes together. Absent for a pair.
	LikelihoodPercent scaling.Optional[float64]
	// ChancePercent is how often a factor that no mistake explains would lie as near
	// to one (to a pair, where this is one), or within a standard uncertainty of it,
	// percent. Absent for something else.
	ChancePercent scaling.Optional[float64]
	// Ties are the places in the list of the other candidates whose predictions lie
	// closer to this one's than four standard uncertainties: the observations cannot
	// tell them apart.
	Ties []int

	single *single // of one mistake
}

// Mistake is one mistake about a drive.
type Mistake struct {
	Cause   Cause
	Field   string         // the request's field that it is about, a lowerCamel path, or empty
	Text    string         // what is mistaken
	Confirm string         // how to find out
	Size    units.Quantity // fitted: of a slip or an offset
}

// Cause is a kind of mistake. The numbers are those of the wire.
type Cause uint8

// Causes.
const (
	NoCause Cause = iota
	NoMistake
	EdgesCounted
	OtherSensorPulses
	OtherSensorConnected
	SensorSide
	StageInverted
	StageLeftOut
	StageCountedTwice
	RadiusForDiameter
	CircumferenceForDiameter
	BeltThickness
	UnitOfAmount
	UnitOfTime
	UsForImperialGallon
	DecimalPoint
	FillOrEfficiency
	Slip
	Offset
	SomethingElse
)

// Diagnose ranks what may explain the observations of s, all of which have passed
// [Validate].
//
// Formula: diagnosis/1
func Diagnose(s *scaling.Subject, observations []Observation, working bool) Answer {
	f := finder{subject: s, observed: make([]observed, len(observations))}
	out := Answer{Compared: make([]Compared, len(observations))}
	for i := range observations {
		f.observe(&observations[i], &f.observed[i], &out.Compared[i])
	}
	f.group()
	f.addAll()
	f.rank(&out)
	out.Next = f.next(&out)
	if working {
		out.Working = f.working(&out)
	}
	return out
}

// observed is an observation as the hypotheses see it.
type observed struct {
	process    bool // a process rate, not a shaft
	stages     int  // between the motor and the shaft
	log        float64
	sigma      float64 // standard uncertainty of log
	factor     float64
	calculated float64 // in the unit of observed
	unit       *units.Unit
	group      int
}

// finder collects hypotheses and ranks them.
type finder struct {
	c        exact.Calc
	subject  *scaling.Subject
	observed []observed
	groups   []group
	singles  []single
	reach    float64 // ln ReferenceSpan
	scatter  float64 // squared distance of the observations from their groups, in standard uncertainties
}

// coverage is the factor from a standard to an expanded uncertainty as the contract
// takes it.
const coverage = 2

func (f *finder) observe(in *Observation, o *observed, out *Compared) {
	d := f.subject.Drive
	o.process = in.Observed.Unit.Dimension() != units.Rotation
	if o.unit = in.Observed.Unit; !o.process {
		o.stages = d.StagesTo(in.Shaft)
	}
	o.calculated = magnitude(calculated(&f.c, f.subject, in))
	o.factor = magnitude(in.Observed.Value) / o.calculated
	o.sigma = in.UncertaintyPercent / 100 / coverage
	o.log = elementary.Log(o.factor)
	*out = Compared{
		Calculated:                 units.Quantity{Value: o.calculated, Unit: o.unit},
		Observed:                   in.Observed,
		Factor:                     o.factor,
		StandardUncertaintyPercent: in.UncertaintyPercent / coverage,
	}
}

// calculated returns what is reckoned at the place of an observation, in its unit.
func calculated(c *exact.Calc, s *scaling.Subject, in *Observation) float64 {
	dim := in.Observed.Unit.Dimension()
	if u := in.Shown.Unit; u != nil && u.Dimension() == dim && in.Shaft == scaling.MotorShaft {
		return units.FromBase(c, in.Shown.Base(c), in.Observed.Unit).Float() // without a detour by the motor
	}
	at := motion(c, s, in)
	amount := at.Speed
	if dim != units.Rotation {
		amount = scaling.RateOf(c, s, at, dim)
	} else {
		amount = amount.Mul(scaling.TurnsOf(c, s.Drive, in.Shaft))
	}
	return units.FromBase(c, amount, in.Observed.Unit).Float()
}

// motion returns the motion that the drive was set to.
func motion(c *exact.Calc, s *scaling.Subject, in *Observation) scaling.Motion {
	switch {
	case in.Count.Set:
		return scaling.MotionOfCount(c, s, in.Count.Value)
	case in.MotorRPM.Set:
		return scaling.MotionFor(c, s, scaling.Measure{Unit: rpm}, c.Dec(in.MotorRPM.Value))
	}
	m := scaling.Measure{Unit: in.Shown.Unit}
	if s.ReadoutSection != nil {
		m.Length = s.ReadoutSection.Length
	}
	return scaling.MotionFor(c, s, m, in.Shown.Base(c))
}

var rpm = units.MustParse("r/min")

func magnitude(v float64) float64 { return max(v, -v) }
