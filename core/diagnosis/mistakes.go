package diagnosis

import (
	"fmt"
	"slices"
	"strconv"

	"linepace.example/core/elementary"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// effect is what a mistake does: true over reckoned values.
type effect struct {
	motor float64 // of the motor's speed, and so of everything
	stage int     // the ratio is that of this stage: of the shafts behind it, and of the rate
	ratio float64
	rate  float64 // of the process rate alone
	shaft float64 // of observed shaft speeds alone
}

// everywhere is no effect, to be changed at one place.
var everywhere = effect{motor: 1, ratio: 1, rate: 1, shaft: 1}

// on returns the factor that e predicts for an observation.
func (e *effect) on(o *observed) float64 {
	switch {
	case o.process:
		return e.motor * e.ratio * e.rate
	case o.stages > e.stage:
		return e.motor * e.ratio * e.shaft
	}
	return e.motor * e.shaft
}

// single is one mistake as a hypothesis.
type single struct {
	Mistake
	effect  effect    // of a slip and an offset none
	topic   topic     // of two mistakes about one topic none is made with the other
	factors []float64 // predicted for each group
	logs    []float64
	formula string // of the factor, in the names of inputs
	inputs  []scaling.Input

	// A slip has no factor of its own but a direction for each group, -1, 0 or 1,
	// and a largest size.
	slips   []float64
	largest float64
	idle    bool // the fitted size is within its standard uncertainty of none

	offset bool

	logLikelihood float64
}

// topic is what of a drive a mistake is about.
type topic struct {
	of    topicOf
	index int
}

type topicOf uint8

const (
	ofNothing topicOf = iota
	ofSensor
	ofStage
	ofDelivery
	ofUnit
	ofTime
	ofPoint
)

// addAll collects every single mistake that the drive's description allows.
func (f *finder) addAll() {
	f.add(single{Mistake: Mistake{
		Cause: NoMistake, Text: "No mistake: observed and calculated agree within the uncertainty",
		Confirm: "Nothing to do. A smaller uncertainty would show a smaller difference.",
	}, formula: "1"}, everywhere)
	f.addSensor()
	f.addStages()
	f.addDelivery()
	f.addUnits()
	f.addDecimalPoint()
	f.addSlips()
	f.addOffset()
}

// add keeps a mistake with the factors that its effect predicts, unless it predicts
// none for any observation or is there already.
func (f *finder) add(s single, e effect) {
	predicts := s.Cause == NoMistake
	s.effect, s.factors, s.logs = e, make([]float64, len(f.groups)), make([]float64, len(f.groups))
	for i := range f.groups {
		factor := e.on(&f.groups[i].at)
		s.factors[i], s.logs[i] = factor, elementary.Log(factor)
		predicts = predicts || magnitude(s.logs[i]) > sameFactor
	}
	if predicts && !f.has(&s) {
		f.singles = append(f.singles, s)
	}
}

// sameFactor is how near two factors are taken as one, the rounding of their
// products aside.
const sameFactor = 1e-12

// has reports whether the same cause at the same field predicts these factors already.
func (f *finder) has(s *single) bool {
	for i := range f.singles {
		other := &f.singles[i]
		if other.Cause != s.Cause || other.Field != s.Field {
			continue
		}
		same := true
		for g, log := range s.logs {
			same = same && magnitude(log-other.logs[g]) < sameFactor
		}
		if same {
			return true
		}
	}
	return false
}

func value(name string, v float64) scaling.Input {
	return scaling.Input{Name: name, Value: units.Quantity{Value: v, Unit: one}}
}

var (
	one     = units.MustParse("1")
	percent = units.MustParse("%")
)

// short writes six significant digits, for people.
func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// measured reports whether the scale of the drive comes from measured references,
// which hold whatever its stages and its delivery are.
func (f *finder) measured() bool { return len(f.subject.Drive.References) > 0 }

// addSensor adds mistakes about the sensor that closes the loop. With P pulses in a
// turn of a shaft that turns T times per motor turn the loop holds speed * P * T.
// So where P' and T' are true, the motor's speed is P * T / (P' * T') times the
// reckoned one; the inverse where the drive reckons with P' and T' and has P and T.
func (f *finder) addSensor() {
	d := f.subject.Drive
	loop := d.LoopSensor()
	switch i := slices.IndexFunc(d.Sensors, func(s scaling.Sensor) bool { return s.ClosesLoop }); {
	case loop == nil:
		f.addEdges("drive.sensors", "its sensor, which is not described,", 1)
	case loop.Kind == scaling.FlowSensor:
		f.addOtherMeters(i, loop)
	default:
		described := int32(1)
		if loop.EdgesCounted.Set {
			described = loop.EdgesCounted.Value
		}
		f.addEdges(fmt.Sprintf("drive.sensors[%d].shaft.edgesCounted", i), fmt.Sprintf("sensor %q", loop.ID), described)
		f.addOtherSensors(i, loop)
		f.addSensorSide(i, loop)
	}
}

func (f *finder) addMotor(s single, factor float64) {
	e := everywhere
	e.motor = factor
	s.topic = topic{of: ofSensor}
	f.add(s, e)
}

const turnByHand = "Locked out, turn the sensor's shaft by hand through ten turns and see how many pulses the drive has counted."

func (f *finder) addEdges(field, sensor string, described int32) {
	for _, other := range [...]int32{1, 2, 4} {
		if other == described {
			continue
		}
		m := single{
			Mistake: Mistake{Cause: EdgesCounted, Field: field, Confirm: turnByHand},
			inputs:  []scaling.Input{value("described", float64(described)), value("other", float64(other))},
		}
		m.Text = fmt.Sprintf("The drive counts %d edges of each pulse of %s and reckons with %d", other, sensor, described)
		m.formula = "described / other"
		f.addMotor(m, float64(described)/float64(other))
		m.Text = fmt.Sprintf("The drive reckons with %d edges of each pulse of %s and counts %d", other, sensor, described)
		m.formula = "other / described"
		f.addMotor(m, float64(other)/float64(described))
	}
}

// turns returns the turns of the shaft behind so many stages per motor turn.
func (f *finder) turns(stages int32) float64 {
	ratio := f.c.Int(1)
	for i := range f.subject.Drive.Transmission[:stages] {
		ratio = ratio.Mul(f.subject.Drive.Transmission[i].Turns(&f.c))
	}
	return ratio.Float()
}

func (f *finder) addOtherSensors(i int, s *scaling.Sensor) {
	own, ownTurns := s.PulsesCounted(), f.turns(s.StagesFromMotor)
	for j := range f.subject.Drive.Sensors {
		o := &f.subject.Drive.Sensors[j]
		if j == i || o.Kind != scaling.ShaftSensor {
			continue
		}
		other, otherTurns := o.PulsesCounted(), f.turns(o.StagesFromMotor)
		pulses := []scaling.Input{value("pulses", own), value("otherPulses", other)}
		f.addMotor(single{
			Mistake: Mistake{
				Cause: OtherSensorPulses, Field: fmt.Sprintf("drive.sensors[%d].shaft.pulsesPerTurn", i), Confirm: turnByHand,
				Text: fmt.Sprintf("The drive reckons with the %s pulses a turn of sensor %q, and sensor %q with its %s is connected", short(other), o.ID, s.ID, short(own)),
			},
			formula: "otherPulses / pulses", inputs: pulses,
		}, other/own)
		m := single{
			Mistake: Mistake{
				Cause: OtherSensorConnected, Field: fmt.Sprintf("drive.sensors[%d]", j),
				Confirm: "Follow the cable of the drive's speed input to its sensor. " + turnByHand,
			},
			inputs: append(pulses, value("turns", ownTurns), value("otherTurns", otherTurns)),
		}
		m.Text = fmt.Sprintf("Sensor %q is connected, and the drive is set up for sensor %q", o.ID, s.ID)
		m.formula = "pulses * turns / (otherPulses * otherTurns)"
		f.addMotor(m, own*ownTurns/(other*otherTurns))
		m.Text = fmt.Sprintf("The drive is set up for sensor %q, and sensor %q is connected", o.ID, s.ID)
		m.formula = "otherPulses * otherTurns / (pulses * turns)"
		f.addMotor(m, other*otherTurns/(own*ownTurns))
	}
}

// addOtherMeters adds the factors of other flow meters: the loop holds flow * K-factor.
func (f *finder) addOtherMeters(i int, s *scaling.Sensor) {
	own := s.KFactor.Base(&f.c).Float()
	for j := range f.subject.Drive.Sensors {
		o := &f.subject.Drive.Sensors[j]
		if j == i || o.Kind != scaling.FlowSensor {
			continue
		}
		other := o.KFactor.Base(&f.c).Float()
		m := single{
			Mistake: Mistake{
				Cause: OtherSensorPulses, Field: fmt.Sprintf("drive.sensors[%d].flow.kFactor", i),
				Confirm: "Read the K-factor on the meter's plate, and pass a known volume through it while its pulses are counted.",
			},
			inputs: []scaling.Input{{Name: "kFactor", Value: s.KFactor}, {Name: "otherKFactor", Value: o.KFactor}},
		}
		m.Text = fmt.Sprintf("The drive reckons with the K-factor of meter %q, and meter %q is connected", o.ID, s.ID)
		m.formula = "otherKFactor / kFactor"
		f.addMotor(m, other/own)
		m.Text = fmt.Sprintf("Meter %q is connected, and the drive reckons with the K-factor of meter %q", o.ID, s.ID)
		m.formula = "kFactor / otherKFactor"
		f.addMotor(m, own/other)
	}
}

// addSensorSide adds the sensor on the shaft before or behind its own.
func (f *finder) addSensorSide(i int, s *scaling.Sensor) {
	own := f.turns(s.StagesFromMotor)
	for _, other := range [...]int32{s.StagesFromMotor - 1, s.StagesFromMotor + 1} {
		if other < 0 || int(other) > len(f.subject.Drive.Transmission) {
			continue
		}
		turns := f.turns(other)
		m := single{
			Mistake: Mistake{
				Cause: SensorSide, Field: fmt.Sprintf("drive.sensors[%d].shaft.stagesFromMotor", i),
				Confirm: "See on which shaft the sensor sits, and compare that shaft's speed by a tachometer with what the drive shows.",
			},
			inputs: []scaling.Input{value("turns", own), value("otherTurns", turns)},
		}
		m.Text = fmt.Sprintf("Sensor %q sits behind %s, and the drive reckons as if behind %s", s.ID, stages(other), stages(s.StagesFromMotor))
		m.formula = "turns / otherTurns"
		f.addMotor(m, own/turns)
		m.Text = fmt.Sprintf("The drive reckons as if sensor %q sat behind %s, and it sits behind %s", s.ID, stages(other), stages(s.StagesFromMotor))
		m.formula = "otherTurns / turns"
		f.addMotor(m, turns/own)
	}
}

func stages(n int32) string {
	if n == 1 {
		return "1 stage"
	}
	return fmt.Sprintf("%d stages", n)
}

// addStages adds mistakes about each stage of the transmission.
func (f *finder) addStages() {
	for i := range f.subject.Drive.Transmission {
		s := &f.subject.Drive.Transmission[i]
		ratio := s.Turns(&f.c).Float()
		in := []scaling.Input{value("ratio", ratio)}
		compare := "Locked out, turn the shaft before the stage by hand and count the turns behind it; or hold a tachometer to both shafts."
		name := stageName(i, s)
		// A slip stays where it is when the sheaves change places.
		straight := ratio / (1 - s.SlipPercent/100)
		turned := single{Mistake: Mistake{Cause: StageInverted, Field: stageField(i, s), Confirm: compare}, inputs: []scaling.Input{value("ratio", straight)}}
		turned.Text = name + " is turned around: what is described as driver is driven"
		turned.formula = "1 / (ratio * ratio)"
		f.addStage(turned, i, 1/(straight*straight))
		turned.Text = name + " is reckoned the wrong way round: its driver was taken as driven"
		turned.formula = "ratio * ratio"
		f.addStage(turned, i, straight*straight)
		f.addStage(single{
			Mistake: Mistake{Cause: StageLeftOut, Field: stageField(i, s), Confirm: compare, Text: name + " was left out of the calculation"},
			formula: "ratio", inputs: in,
		}, i, ratio)
		f.addStage(single{
			Mistake: Mistake{Cause: StageCountedTwice, Field: stageField(i, s), Confirm: compare,
				Text: name + " was counted twice, or is not in the machine"},
			formula: "1 / ratio", inputs: in,
		}, i, 1/ratio)
	}
}

// addStage adds a mistake about stage i, whose true ratio is factor times the
// reckoned one. Behind the sensor it changes what lies behind the stage. Before the
// sensor there are two cases: the drive's set-up, which holds the sensor's shaft, has
// the mistake too, and the shafts before the stage are off; or only the description
// has it, and what lies behind is off.
func (f *finder) addStage(s single, i int, factor float64) {
	s.topic = topic{ofStage, i}
	e := everywhere
	e.stage, e.ratio = i, factor
	if f.measured() {
		e.rate = 1 / factor // the reference has the true stage in it
	}
	f.add(s, e)
	if i < f.subject.Drive.HeldShaft() {
		e.motor = 1 / factor
		s.formula = "1 / (" + s.formula + ")"
		if f.measured() {
			e.rate = 1
		}
		f.add(s, e)
	}
}

func stageField(i int, s *scaling.Stage) string {
	return fmt.Sprintf("drive.transmission[%d].%s", i,
		[...]string{scaling.GearPair: "gearPair", scaling.Gearbox: "gearbox", scaling.Belt: "belt", scaling.Chain: "chain"}[s.Kind])
}

func stageName(i int, s *scaling.Stage) string {
	kind := [...]string{scaling.GearPair: "gear pair", scaling.Gearbox: "gearbox", scaling.Belt: "belt stage", scaling.Chain: "chain"}[s.Kind]
	return fmt.Sprintf("The %s (stage %d from the motor)", kind, i+1)
}

// addDecimalPoint adds a decimal point that is one to three places off, in a value
// that was entered or read.
func (f *finder) addDecimalPoint() {
	for places, factor := 1, 10.0; places <= 3; places, factor = places+1, factor*10 {
		m := single{
			Mistake: Mistake{
				Cause:   DecimalPoint,
				Text:    fmt.Sprintf("A decimal point is %d places off", places),
				Confirm: "Compare each number that was entered in the drive, in the readout and in the register's two points, digit by digit, with the nameplate or the drawing.",
			},
			topic:  topic{of: ofPoint},
			inputs: []scaling.Input{value("power", factor)},
		}
		if places == 1 {
			m.Text = "A decimal point is 1 place off"
		}
		e := everywhere
		e.motor, m.formula = factor, "power"
		f.add(m, e)
		e.motor, m.formula = 1/factor, "1 / power"
		f.add(m, e)
	}
}
