package measurement

import (
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Validate adds to faults everything that is wrong with m, whose drive has been
// validated by itself.
func (m *Lap) Validate(faults *fault.List) {
	before := len(*faults)
	if _, own := ownUnit(m.Drive); own != (units.Dimension{}) && own != units.SpeedDim {
		drive := fault.Root("drive")
		at := drive.Field("delivery")
		faults.Add(&at, fault.Conflict, "delivers %s; laps and surface wheels measure what delivers a length", own)
	}
	list := fault.Root("runs")
	var byLaps, byWheel, overRoll bool
	for i := range m.Runs {
		run, at := &m.Runs[i], list.Index(i)
		byLaps = byLaps || run.Kind == ByLaps
		byWheel = byWheel || run.Kind == ByWheel
		overRoll = overRoll || run.Kind == ByWheel && run.Place == OverRoll
		run.validate(&at, faults)
	}
	m.validateLengths(byLaps, overRoll, faults)
	m.validateUncertainties(byLaps, byWheel, faults)
	if len(*faults) > before {
		return
	}
	for i, ref := range m.references(m.speeds()) {
		at := list.Index(i)
		scaling.ValidatePositive(ref.Value, &at, faults, "speed", units.SpeedDim)
		whole(ref.UncertaintyPercent.Value, &at, faults)
	}
}

func (r *LapRun) validate(p *fault.Path, faults *fault.List) {
	scaling.ValidateMotorRPM(r.MotorRPM, p, "motorRpm", faults)
	switch r.Kind {
	case ByLaps:
		at := p.Field("laps")
		scaling.ValidatePositive(r.Time, &at, faults, "time", units.TimeDim)
		if r.Laps < 1 || r.Laps > mostLaps {
			field := at.Field("lapCount")
			faults.Add(&field, fault.OutOfRange, "is %d; it must be a whole number of laps, 1 to %d", r.Laps, mostLaps)
		}
	case ByWheel:
		at := p.Field("wheel")
		scaling.ValidatePositive(r.Speed, &at, faults, "speed", units.SpeedDim)
		if r.Place != StraightRun && r.Place != OverRoll {
			field := at.Field("place")
			faults.Add(&field, fault.Required, "is needed: STRAIGHT_RUN or OVER_ROLL")
		}
	default:
		faults.Add(p, fault.Required, "needs one of laps and wheel")
	}
}

func (m *Lap) validateLengths(byLaps, overRoll bool, faults *fault.List) {
	if byLaps || m.LapLength.Unit != nil {
		scaling.ValidatePositive(m.LapLength, nil, faults, "lapLength", units.LengthDim)
	}
	if m.RollDiameter.Unit != nil {
		scaling.ValidatePositive(m.RollDiameter, nil, faults, "rollDiameter", units.LengthDim)
	}
	scaling.ValidateZeroOrMore(m.BeltThickness, nil, faults, "beltThickness", units.LengthDim)
	if !overRoll {
		return
	}
	diameter, thickness := m.roll()
	const why = "is needed for a wheel over the roll, whose outer surface is faster than the belt"
	if diameter.Unit == nil {
		at := fault.Root("rollDiameter")
		faults.Add(&at, fault.Required, why)
	}
	if thickness.Unit == nil {
		at := fault.Root("beltThickness")
		faults.Add(&at, fault.Required, why)
	}
}

func (m *Lap) validateUncertainties(byLaps, byWheel bool, faults *fault.List) {
	if m.LengthUncertainty.Unit != nil {
		scaling.ValidatePositive(m.LengthUncertainty, nil, faults, "lengthUncertainty", units.LengthDim)
	}
	if m.TimeUncertainty.Unit != nil {
		scaling.ValidatePositive(m.TimeUncertainty, nil, faults, "timeUncertainty", units.TimeDim)
	}
	validateShare(m.WheelPercent, "wheelUncertaintyPercent", faults)
	validateShare(m.WantedPercent, "wantedUncertaintyPercent", faults)
	length, time, wanted := m.LengthUncertainty.Unit != nil, m.TimeUncertainty.Unit != nil, m.WantedPercent.Set
	const why = "without it the uncertainty of a speed would come out too small"
	pair(length, time || wanted && byLaps, "lengthUncertainty", why, faults)
	pair(time, length || wanted && byLaps, "timeUncertainty", why, faults)
	pair(m.WheelPercent.Set, wanted && byWheel, "wheelUncertaintyPercent", "it is what a wheel's reading is judged by", faults)
}
