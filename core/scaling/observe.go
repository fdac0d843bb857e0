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
