package diagnosis

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// The expanded uncertainties that are taken, percent: below the least no process rate
// is known; beyond the most every second factor would match some mistake.
const leastUncertain, mostUncertain = 0.0001, 50

// Validate adds to faults everything that is wrong with observations of s. Its path is
// p. Where faults has some already, of the drive, only what needs no drive is checked.
func Validate(s *scaling.Subject, observations []Observation, p *fault.Path, faults *fault.List) {
	sound := len(*faults) == 0
	for i := range observations {
		at := p.Index(i)
		v := validator{s, &observations[i], &at, faults}
		v.uncertainty()
		if v.moved() && sound {
			v.againstDrive()
		}
	}
}

type validator struct {
	subject *scaling.Subject
	*Observation
	at     *fault.Path
	faults *fault.List
}

func (v validator) add(field string, r fault.Reason, format string, args ...any) {
	at := v.at.Field(field)
	v.faults.Add(&at, r, format, args...)
}

func (v validator) uncertainty() {
	if u := v.UncertaintyPercent; !(u >= leastUncertain && u <= mostUncertain) {
		v.add("uncertaintyPercent", fault.OutOfRange,
			"is %v; it must be %v to %v percent: without it nothing can be told from chance", u, leastUncertain, mostUncertain)
	}
}

// moved reports whether a value was observed that is not zero.
func (v validator) moved() bool {
	u := v.Observed.Unit
	if u == nil || u == scaling.Unreadable {
		return false // a matter of shape, or already told
	}
	if v.Observed.Value == 0 {
		at := v.at.Field("observed")
		field := at.Field("value")
		v.faults.Add(&field, fault.OutOfRange, "is 0: nothing moved, so there is no factor to explain; see first why the drive stands or the instrument sees nothing")
		return false
	}
	return true
}

func (v validator) againstDrive() {
	before := len(*v.faults)
	v.set()
	v.observedValue()
	if len(*v.faults) == before && !v.comparable() {
		v.add("observed", fault.Conflict,
			"has nothing to be compared with: set so, the drive is calculated to give nothing at that place; observe it at a speed at which it delivers")
	}
}

// set checks what the drive was set to.
func (v validator) set() {
	d := v.subject.Drive
	switch {
	case v.Count.Set:
		v.count()
	case v.MotorRPM.Set:
		v.motor()
	case v.Shown.Unit != nil && v.Shown.Unit != scaling.Unreadable:
		if scaling.ValidateRate(d, v.Shown, v.at, "shown", v.faults, units.TimeDim) {
			v.convertible(v.Shown.Unit.Dimension(), "shown")
		}
	}
}

// The range of a motor's speed in r/min.
const minRPM, maxRPM = 1e-12, 1e6

func (v validator) motor() {
	n := v.MotorRPM.Value
	if v.subject.Drive.MayTurnBackwards() {
		n = magnitude(n)
	}
	if !(n >= minRPM && n <= maxRPM) {
		v.add("motorRpm", fault.OutOfRange, "is %v; it must be above 0 and at most %v r/min", v.MotorRPM.Value, maxRPM)
	}
}

func (v validator) count() {
	r := &v.subject.Drive.Register
	if r.Kind != scaling.IntegerRegister {
		v.add("count", fault.Conflict, "is given, but the drive describes no integer register; describe drive.register, or give motorRpm")
		return
	}
	if low, high := r.Bounds(); float64(v.Count.Value) < low || float64(v.Count.Value) > high {
		v.add("count", fault.OutOfRange, "is %d; a register of type %s takes %v to %v", v.Count.Value, r.Type, low, high)
	}
}

// observedValue checks what was observed.
func (v validator) observedValue() {
	d, u := v.subject.Drive, v.Observed.Unit
	if !scaling.ValidateRate(d, v.Observed, v.at, "observed", v.faults) {
		return
	}
	v.convertible(u.Dimension(), "observed")
	switch {
	case v.Shaft == scaling.MotorShaft:
	case u.Dimension() != units.Rotation:
		v.add("shaft", fault.Conflict, "is for an observed speed in r/min; this one is in %s", u.Symbol())
	case v.Shaft == scaling.SensorShaft && (d.LoopSensor() == nil || d.LoopSensor().Kind != scaling.ShaftSensor):
		v.add("shaft", fault.Conflict, "is SENSOR, but no shaft sensor of this drive closes the loop")
	}
}

// convertible checks that what the drive delivers can be told in dim.
func (v validator) convertible(dim units.Dimension, field string) {
	if need := scaling.NeedsDensity(v.subject.Drive, v.subject.Material, dim); need != "" {
		material := fault.Root("material")
		at := material.Field(need)
		asked := v.at.Field(field)
		v.faults.Add(&at, fault.Required, "is needed: the drive delivers a volume or a mass, and %s is in the other", asked.String())
		return
	}
	if dim != units.TimeDim {
		return
	}
	if native, _ := v.subject.Drive.KnownRateDimension(); native != units.SpeedDim {
		v.add(field, fault.Conflict, "is a time, and the drive does not deliver a length")
	} else if v.subject.ReadoutSection == nil {
		at := fault.Root("section")
		v.faults.Add(&at, fault.Required, "is needed for a shown time")
	}
}

// comparable reports whether there is a calculated value above zero, or below it on
// a drive that turns backwards.
func (v validator) comparable() bool {
	var c exact.Calc
	at := motion(&c, v.subject, v.Observation)
	value := calculated(&c, v.subject, v.Observation)
	return value != 0 && (value > 0) == (at.Speed.Float() > 0)
}
