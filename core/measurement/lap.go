package measurement

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Lap is a measurement of a belt's speed: by the time of whole laps, or by a surface
// wheel.
type Lap struct {
	Drive             *scaling.Drive // nil: none
	Runs              []LapRun
	LapLength         units.Quantity // along mid-thickness
	LengthUncertainty units.Quantity
	TimeUncertainty   units.Quantity
	WheelPercent      scaling.Optional[float64] // uncertainty of a wheel's reading
	RollDiameter      units.Quantity            // Unit nil: the drive's roll's
	BeltThickness     units.Quantity            // Unit nil: the drive's roll's
	WantedPercent     scaling.Optional[float64]
}

// LapRun is one measurement; Kind says which fields count.
type LapRun struct {
	Kind     LapKind
	Laps     int32          // ByLaps
	Time     units.Quantity // ByLaps
	Place    Place          // ByWheel
	Speed    units.Quantity // ByWheel
	MotorRPM float64
}

// LapKind is a way to measure a belt's speed.
type LapKind uint8

// Ways to measure a belt's speed.
const (
	NoLapKind LapKind = iota
	ByLaps
	ByWheel
)

// LapSpeed is what a run says of the belt. The percentages are parts of an expanded
// uncertainty; they are absent where none was given.
type LapSpeed struct {
	MotorRPM                   float64
	Speed                      units.Quantity // on the straight run
	UncertaintyPercent         scaling.Optional[float64]
	LengthPercent, TimePercent scaling.Optional[float64]
	OverRoll                   units.Quantity // of the outer surface; Unit nil: not known
	LapsNeeded                 scaling.Optional[int32]
}

// mostLaps is more than anyone counts.
const mostLaps = 1_000_000

// roll returns diameter and belt thickness of the roll: as given, or the drive's.
func (m *Lap) roll() (diameter, thickness units.Quantity) {
	diameter, thickness = m.RollDiameter, m.BeltThickness
	if m.Drive == nil || m.Drive.Delivery.Kind != scaling.Roll {
		return diameter, thickness
	}
	if diameter.Unit == nil {
		diameter = m.Drive.Delivery.Diameter
	}
	if thickness.Unit == nil {
		thickness = m.Drive.Delivery.BeltThickness
	}
	return diameter, thickness
}

// Find returns the belt's speed by each run, all of them as references of the drive,
// and what the user must know.
//
//	speed       = laps * lap length / time
//	speed       = wheel's reading, over a roll divided by its [overRoll]
//	uncertainty = sqrt((ul/l)^2 + (ut/t)^2), or the wheel's
//
// Source: GUM 5.1.6. m has passed Validate. Formulas: lap-speed/1, wheel-speed/1,
// lap-uncertainty/1, laps-needed/1.
func (m *Lap) Find() (speeds []LapSpeed, refs []scaling.Reference, checks []scaling.Check) {
	speeds = m.speeds()
	if m.WantedPercent.Set {
		list := fault.Root("runs")
		for i := range speeds {
			at := list.Index(i)
			m.judge(&m.Runs[i], &speeds[i], at.String(), &checks)
		}
	}
	return speeds, m.references(speeds), checks
}

// unit is that of the speeds: the drive's, else that of the first wheel's reading,
// else m/min.
func (m *Lap) unit() *units.Unit {
	if unit, _ := ownUnit(m.Drive); unit != nil {
		return unit
	}
	for i := range m.Runs {
		if m.Runs[i].Kind == ByWheel {
			return m.Runs[i].Speed.Unit
		}
	}
	return scaling.UsualRateUnit(units.SpeedDim)
}

func (m *Lap) speeds() []LapSpeed {
	unit := m.unit()
	diameter, thickness := m.roll()
	out := make([]LapSpeed, len(m.Runs))
	for i := range m.Runs {
		run, c := &m.Runs[i], new(exact.Calc)
		speed := m.speed(c, run)
		out[i] = LapSpeed{MotorRPM: run.MotorRPM, Speed: units.Quantity{Value: units.FromBase(c, speed, unit).Float(), Unit: unit}}
		if diameter.Unit != nil && thickness.Unit != nil {
			over := speed.Mul(overRoll(c, diameter, thickness))
			out[i].OverRoll = units.Quantity{Value: units.FromBase(c, over, unit).Float(), Unit: unit}
		}
		m.weigh(run, &out[i])
	}
	return out
}

// speed returns the belt's speed on its straight runs.
func (m *Lap) speed(c *exact.Calc, run *LapRun) exact.Num {
	switch {
	case run.Kind == ByWheel && run.Place == OverRoll:
		diameter, thickness := m.roll()
		return run.Speed.Base(c).Quo(overRoll(c, diameter, thickness))
	case run.Kind == ByWheel:
		return run.Speed.Base(c)
	}
	return c.Int(int64(run.Laps)).Mul(m.LapLength.Base(c)).Quo(run.Time.Base(c))
}

// weigh finds the uncertainty of a run's speed.
func (m *Lap) weigh(run *LapRun, out *LapSpeed) {
	switch {
	case run.Kind == ByWheel:
		out.UncertaintyPercent = m.WheelPercent
	case m.TimeUncertainty.Unit != nil:
		out.LengthPercent = scaling.Some(percentOf(m.LengthUncertainty, m.LapLength))
		out.TimePercent = scaling.Some(percentOf(m.TimeUncertainty, run.Time))
		out.UncertaintyPercent = scaling.Some(root(out.LengthPercent.Value, out.TimePercent.Value))
	}
}

// judge finds the laps for the wanted uncertainty at a run's speed, or says why none
// suffice.
func (m *Lap) judge(run *LapRun, out *LapSpeed, field string, checks *[]scaling.Check) {
	wanted := m.WantedPercent.Value
	k := scaling.Check{Field: field, Allowed: wanted}
	if m.Drive != nil {
		k.DriveID = m.Drive.ID
	}
	if run.Kind == ByLaps {
		out.LapsNeeded = m.lapsNeeded(run)
	}
	switch {
	case run.Kind == ByWheel && out.UncertaintyPercent.Value > wanted:
		k.Code, k.Name, k.Number = scaling.UncertaintyOutOfReach, "the surface wheel", out.UncertaintyPercent.Value
	case run.Kind == ByLaps && !out.LapsNeeded.Set:
		k.Code, k.Name, k.Number = scaling.UncertaintyOutOfReach, "the lap length", out.LengthPercent.Value
	case out.UncertaintyPercent.Value > wanted:
		k.Code, k.Number = scaling.MissesUncertainty, out.UncertaintyPercent.Value
	default:
		return
	}
	*checks = append(*checks, k)
}

// lapsNeeded returns the least whole number of laps whose speed has the wanted
// uncertainty, decided exactly; absent where none up to mostLaps has.
//
//	laps^2 >= (ut/t1)^2 / (wanted^2 - (ul/l)^2)
//
// t1: time of one lap at the run's speed.
func (m *Lap) lapsNeeded(run *LapRun) scaling.Optional[int32] {
	return scaling.Certain(func(c *exact.Calc) scaling.Optional[int32] {
		length := m.LengthUncertainty.Base(c).Quo(m.LapLength.Base(c))
		wanted := c.Percent(m.WantedPercent.Value)
		room := wanted.Mul(wanted).Sub(length.Mul(length))
		if c.Sign(room) <= 0 {
			return scaling.Optional[int32]{}
		}
		oneLap := m.TimeUncertainty.Base(c).Mul(c.Int(int64(run.Laps))).Quo(run.Time.Base(c))
		squared := oneLap.Mul(oneLap)
		enough := func(n int64) bool { return c.Cmp(c.Int(n*n).Mul(room), squared) >= 0 }
		if !enough(mostLaps) {
			return scaling.Optional[int32]{}
		}
		n := max(1, int64(math.Sqrt(squared.Quo(room).Float())))
		for !enough(n) {
			n++
		}
		for n > 1 && enough(n-1) {
			n--
		}
		return scaling.Some(int32(n))
	})
}

func (m *Lap) references(speeds []LapSpeed) []scaling.Reference {
	out := make([]scaling.Reference, len(speeds))
	for i := range speeds {
		out[i] = scaling.Reference{Value: speeds[i].Speed, MotorRPM: speeds[i].MotorRPM, UncertaintyPercent: speeds[i].UncertaintyPercent}
	}
	return out
}

// Rated returns m's drive with refs, which Find found, as its references; without a
// drive one that is nothing but a motor.
func (m *Lap) Rated(refs []scaling.Reference) *scaling.Drive { return rated(m.Drive, refs) }
