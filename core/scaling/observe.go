package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// MotionOfNumber returns the motion that a number in s's register sets: a count, mA
// or V. The register exists.
func MotionOfNumber(c *exact.Calc, s *Subject, number float64) Motion {
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	return r.at(r.line.speed(c.Dec(number)))
}

// TurnsOf returns the turns of a shaft of d per turn of its motor, slips included. A
// sensor's shaft is that of the shaft sensor that closes the loop, which d then has.
func TurnsOf(c *exact.Calc, d *Drive, shaft Shaft) exact.Num {
	return transmissionRatio(c, d.Transmission[:d.StagesTo(shaft)])
}

// StagesTo returns the number of stages between the motor and a shaft of d.
func (d *Drive) StagesTo(shaft Shaft) int {
	switch shaft {
	case LastShaft:
		return len(d.Transmission)
	case SensorShaft:
		return int(d.LoopSensor().StagesFromMotor)
	}
	return 0
}

// HeldShaft returns the number of stages between the motor and the shaft whose speed
// the loop holds: that of the shaft sensor that closes the loop, else the motor's.
// What slips before that shaft the loop corrects; what slips behind it, it does not.
func (d *Drive) HeldShaft() int {
	if s := d.LoopSensor(); s != nil && s.Kind == ShaftSensor {
		return int(s.StagesFromMotor)
	}
	return 0
}

// Turns returns the turns that a stage gives for each turn that it takes.
//
//	gear pair, chain  driverTeeth / drivenTeeth
//	gearbox           1 / ratio
//	belt              driverDiameter / drivenDiameter * (1 - slip)
func (s *Stage) Turns(c *exact.Calc) exact.Num { return stageRatio(c, s) }

// PulsesCounted returns what a shaft sensor counts in a turn of its own shaft.
//
//	pulses per turn * edges counted
func (s *Sensor) PulsesCounted() float64 {
	if s.EdgesCounted.Set {
		return s.PulsesPerTurn * float64(s.EdgesCounted.Value)
	}
	return s.PulsesPerTurn
}

// RateOf returns the process rate of a motion of s in base units of the kind of
// quantity dim, which the material's density can turn it into ([NeedsDensity]).
func RateOf(c *exact.Calc, s *Subject, at Motion, dim units.Dimension) exact.Num {
	return convert(c, s.Drive, s.Material, at.Rate, s.Drive.rateKind(), kindOfDimension(dim))
}

// RegulatedSpeeds returns the slowest and the fastest motor speed that d's regulation
// allows at set speed n; known is false where none is described.
func RegulatedSpeeds(c *exact.Calc, d *Drive, n exact.Num) (slow, fast exact.Num, known bool) {
	r := run{c: c, subject: Subject{Drive: d}}
	return r.regulated(n)
}

// RateAt returns the process rate of s at n r/min of its motor, in base units of the
// kind of [Drive.RateDimension], which s's drive has.
func RateAt(c *exact.Calc, s *Subject, n exact.Num) exact.Num {
	return MotionFor(c, s, Measure{Unit: revolutionPerMin}, n).Rate
}

// NumberWorking derives the motor speed that a number in s's register sets, and the
// process rate at it.
func NumberWorking(s *Subject, number float64) []Step {
	var r run
	c := new(exact.Calc)
	r.begin(c, s, Measure{}, nil, nil)
	w := worker{run: &r}
	w.scaleSteps()
	n := r.line.speed(c.Dec(number))
	w.numberSpeedStep("achieved-speed/1", "motor speed that the number in the register sets", Input{"number", plain(number)}, speedQuantity(n.Float()))
	w.rateStep(n)
	return w.steps
}

// SpeedWorking derives the motor speed that an amount of measure m asks for, and the
// process rate at it.
func SpeedWorking(s *Subject, m Measure, amount units.Quantity) []Step {
	var r run
	c := new(exact.Calc)
	n := MotionFor(c, s, m, amount.Base(c)).Speed
	r.begin(c, s, m, nil, &Setpoint{Demanded: amount, DemandedRPM: Some(n.Float())})
	w := worker{run: &r}
	w.scaleSteps()
	w.speedStep()
	w.rateStep(n)
	return w.steps
}

func (w *worker) rateStep(n exact.Num) {
	if w.rel.kind == noKind {
		return
	}
	formula, inputs := w.rateFormula("speed")
	w.step("process-rate/1", "process rate at that speed", formula, quantity(w.c, w.rel.rate(n), RateUnit(w.subject.Drive)),
		append(inputs, Input{"speed", speedQuantity(n.Float())})...)
}
