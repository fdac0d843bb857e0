package measurement

import (
	"slices"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Bounds of what is taken.
const (
	leastCoverage       = 50     // percent
	mostCoverage        = 99.999 // percent
	mostCoverageFactor  = 10
	mostMarksPerTurn    = 100000
	leastUncertainty    = 0.000001 // percent, of a certificate: no tachometer is known as well
	mostInstrumentError = 50       // percent, expanded: more is no measurement
)

// Validate adds to faults everything that is wrong with t, whose drive, material and
// section have passed their own checks. Where faults has some already, of the drive,
// only what needs no drive is checked.
func (t *TachometerCheck) Validate(faults *fault.List) {
	sound := len(*faults) == 0
	v := tachometerValidator{t, faults}
	v.readings()
	v.instrument()
	if !(t.CoveragePercent >= leastCoverage && t.CoveragePercent <= mostCoverage) {
		v.add("coveragePercent", fault.OutOfRange, "is %v; it must be %v to %v percent", t.CoveragePercent, leastCoverage, mostCoverage)
	}
	if sound {
		v.againstDrive()
	}
}

type tachometerValidator struct {
	*TachometerCheck
	faults *fault.List
}

func (v tachometerValidator) add(field string, r fault.Reason, format string, args ...any) {
	at := fault.Root(field)
	v.faults.Add(&at, r, format, args...)
}

// mostReading bounds a reading, in whatever unit.
const mostReading = 1e9

func (v tachometerValidator) readings() {
	list := fault.Root("readings")
	for i, x := range v.Readings {
		at := list.Index(i)
		field := at.Field("value")
		switch {
		case x == 0:
			v.faults.Add(&field, fault.OutOfRange, "is 0: the shaft stands, or the tachometer sees no mark; there is nothing to check")
		case !(x >= 1/mostReading && x <= mostReading):
			v.faults.Add(&field, fault.OutOfRange, "is %v; it must be above 0 and at most %v: choose a unit that fits", x, mostReading)
		}
	}
	if v.Unit == nil || v.Unit == scaling.Unreadable || slices.Contains(v.readingKinds(), v.Unit.Dimension()) {
		return
	}
	at := list.Index(0)
	unit := at.Field("unit")
	if v.Place == NoPlace {
		v.faults.Add(&unit, fault.UnitWrongKind, "%q is a unit of %s; the speed of a shaft is read in r/min, and a surface speed needs wheel in the place of shaft", v.Unit.Symbol(), v.Unit.Dimension())
		return
	}
	v.faults.Add(&unit, fault.UnitWrongKind, "%q is a unit of %s; a wheel reads a surface speed, such as %s, or with tachometer.wheelCircumference its own r/min",
		v.Unit.Symbol(), v.Unit.Dimension(), units.SpeedDim.Examples())
}

// readingKinds is the kind of quantity that is read there.
func (v tachometerValidator) readingKinds() []units.Dimension {
	switch {
	case v.Place == NoPlace:
		return []units.Dimension{units.Rotation}
	case v.Tachometer.Circumference.Unit != nil:
		return []units.Dimension{units.SpeedDim, units.Rotation}
	}
	return []units.Dimension{units.SpeedDim}
}

func (v tachometerValidator) instrument() {
	root := fault.Root("tachometer")
	i := &v.Tachometer
	out := func(field, format string, args ...any) {
		at := root.Field(field)
		v.faults.Add(&at, fault.OutOfRange, format, args...)
	}
	if e := i.ExpandedPercent; e.Set && !(e.Value >= leastUncertainty && e.Value <= mostInstrumentError) {
		out("expandedUncertaintyPercent", "is %v; it must be %v to %v percent of the reading", e.Value, leastUncertainty, mostInstrumentError)
	}
	kind := v.readingKinds()
	if v.Unit != nil && v.Unit != scaling.Unreadable {
		kind = []units.Dimension{v.Unit.Dimension()}
	}
	if i.Expanded.Unit != nil {
		scaling.ValidatePositive(i.Expanded, &root, v.faults, "expandedUncertainty", kind...)
	}
	if k := i.CoverageFactor; !(k >= 1 && k <= mostCoverageFactor) {
		out("coverageFactor", "is %v; it must be 1 to %v: an expanded uncertainty is no smaller than the standard uncertainty", k, mostCoverageFactor)
	}
	if i.Resolution.Unit != nil {
		scaling.ValidatePositive(i.Resolution, &root, v.faults, "resolution", kind...)
	}
	v.gate(&root)
	v.wheel(&root)
}

func (v tachometerValidator) gate(root *fault.Path) {
	i := &v.Tachometer
	if i.Gate.Unit == nil {
		return
	}
	at := root.Field("gate")
	scaling.ValidatePositive(i.Gate, &at, v.faults, "time", units.TimeDim)
	if i.Marks < 1 || i.Marks > mostMarksPerTurn {
		field := at.Field("markCount")
		v.faults.Add(&field, fault.OutOfRange, "is %d; it must be 1 to %d marks in a turn: without a mark nothing is counted", i.Marks, mostMarksPerTurn)
	}
	if p := i.GatePercent; !(p >= 0 && p <= mostInstrumentError) {
		field := at.Field("uncertaintyPercent")
		v.faults.Add(&field, fault.OutOfRange, "is %v; it must be 0 to %v percent of the gate time", p, mostInstrumentError)
	}
	if v.Place != NoPlace && i.Circumference.Unit == nil {
		field := root.Field("wheelCircumference")
		v.faults.Add(&field, fault.Required, "is needed with a gate: it says what one mark of the wheel is worth; a length such as 0.5 m")
	}
}

func (v tachometerValidator) wheel(root *fault.Path) {
	i := &v.Tachometer
	if v.Place == NoPlace {
		if i.Circumference.Unit != nil || i.CircumferencePercent != 0 {
			field := root.Field("wheelCircumference")
			v.faults.Add(&field, fault.Conflict, "is for a surface wheel, and the speed of a shaft was read; say by wheel where the wheel ran, or leave it out")
		}
		return
	}
	if i.Circumference.Unit != nil {
		scaling.ValidatePositive(i.Circumference, root, v.faults, "wheelCircumference", units.LengthDim)
	}
	if p := i.CircumferencePercent; !(p >= 0 && p <= mostInstrumentError) {
		field := root.Field("wheelUncertaintyPercent")
		v.faults.Add(&field, fault.OutOfRange, "is %v; it must be 0 to %v percent of the circumference", p, mostInstrumentError)
	}
}

func (v tachometerValidator) againstDrive() {
	before := len(*v.faults)
	v.place()
	field := v.loaded()
	if len(*v.faults) > before || v.Unit == nil || v.Unit == scaling.Unreadable {
		return
	}
	var c exact.Calc
	if set := v.motion(&c); !(v.read(&c, set.Speed, v.resultUnit()) > 0) {
		v.add(field, fault.Conflict, "sets a stand: there is nothing to measure; load what makes the drive turn")
	}
}

// place checks that there is such a place to measure.
func (v tachometerValidator) place() {
	d := v.Subject.Drive
	loop := d.LoopSensor()
	switch native, _ := d.KnownRateDimension(); {
	case v.Place == NoPlace:
		if v.Shaft == scaling.SensorShaft && (loop == nil || loop.Kind != scaling.ShaftSensor) {
			v.add("shaft", fault.Conflict, "is SENSOR, but no shaft sensor of this drive closes the loop")
		}
	case native != units.SpeedDim:
		v.add("wheel", fault.Conflict, "measures a surface, and the drive does not deliver a length; measure a shaft")
	case v.Place == OverRoll && (d.Delivery.Kind != scaling.Roll || d.Delivery.Diameter.Unit == nil):
		v.add("wheel", fault.Conflict, "is OVER_ROLL, which needs drive.delivery.roll with its diameter and beltThickness; measure on the STRAIGHT_RUN")
	}
}

// loaded checks what is loaded, and returns its field.
func (v tachometerValidator) loaded() (field string) {
	d := v.Subject.Drive
	r := &d.Register
	number := func(field string, kind scaling.RegisterKind, value float64, unit string) {
		if r.Kind != kind {
			v.add(field, fault.Conflict, "does not belong to the drive's register; describe drive.register so, or give the setpoint")
			return
		}
		if low, high := r.Bounds(); value < low || value > high {
			v.add(field, fault.OutOfRange, "is %v; the register takes %v to %v %s", value, low, high, unit)
		}
	}
	switch {
	case v.Count.Set:
		number("count", scaling.IntegerRegister, float64(v.Count.Value), "")
		return "count"
	case v.Milliamps.Set:
		number("milliamps", scaling.CurrentOutput, v.Milliamps.Value, "mA")
		return "milliamps"
	case v.Volts.Set:
		number("volts", scaling.VoltageOutput, v.Volts.Value, "V")
		return "volts"
	}
	v.setpoint()
	return "setpoint"
}

func (v tachometerValidator) setpoint() {
	d, q := v.Subject.Drive, v.Setpoint
	if q.Unit == nil || q.Unit == scaling.Unreadable || !scaling.ValidateRate(d, q, nil, "setpoint", v.faults, units.TimeDim) {
		return
	}
	dim := q.Unit.Dimension()
	if need := scaling.NeedsDensity(d, v.Subject.Material, dim); need != "" {
		material := fault.Root("material")
		at := material.Field(need)
		v.faults.Add(&at, fault.Required, "is needed: the drive delivers a volume or a mass, and the setpoint is in the other")
	}
	if dim != units.TimeDim {
		return
	}
	if native, _ := d.KnownRateDimension(); native != units.SpeedDim {
		v.add("setpoint", fault.Conflict, "is a time, and the drive does not deliver a length")
	} else if v.Subject.ReadoutSection == nil {
		v.add("section", fault.Required, "is needed for a setpoint that is a time")
	}
}
