package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// relation is rate = perTurn * n - leak with n in r/min of the motor and the rate
// in base units (m, kg, pieces, per minute) of its kind. A drive without delivery and reference
// has no relation, and kind is then noKind.
type relation struct {
	perTurn exact.Num
	leak    exact.Num // only where leaks; below zero where measured references say so
	leaks   bool
	itself  bool // the rate is the motor speed itself: perTurn is 1
	kind    kind
}

// relate makes r, which is zero, the relation of d for material m (nil: none).
//
//	perTurn = transmission ratio * delivery per turn of the last shaft
//
// or what [relation.ofReferences] says, where there are any, or a correction.
//
// Source: kinematics; measured references decide over the drivetrain, since they
// are what happens.
// last is the last shaft's turns per motor turn.
func (r *relation) relate(c *exact.Calc, d *Drive, m *Material, last exact.Num) {
	switch {
	case d.Corrected():
		r.ofCorrection(c, d)
	case len(d.References) > 0:
		r.ofReferences(c, d)
	default:
		r.ofDrivetrain(c, d, m, last)
	}
}

func (r *relation) ofDrivetrain(c *exact.Calc, d *Drive, m *Material, last exact.Num) {
	if d.Delivery.Kind == NoDelivery {
		return
	}
	r.perTurn, r.kind = last.Mul(perLastTurn(c, &d.Delivery, m)), d.Delivery.rateKind()
	if slip := d.Delivery.SlipFlow; d.Delivery.Kind == Pump && slip.Unit != nil && slip.Value != 0 {
		r.leak, r.leaks = slip.Base(c), true
	}
}

// transmissionRatio returns turns of the shaft behind the given stages per turn
// of the motor.
//
//	gear pair, chain  driverTeeth / drivenTeeth
//	gearbox           1 / ratio
//	belt              driverDiameter / drivenDiameter * (1 - slip)
func transmissionRatio(c *exact.Calc, stages []Stage) exact.Num {
	if len(stages) == 0 {
		return c.Int(1)
	}
	ratio := stageRatio(c, &stages[0])
	for i := range stages[1:] {
		ratio = ratio.Mul(stageRatio(c, &stages[1+i]))
	}
	return ratio
}

// shafts holds turns of the shafts that matter per turn of the motor.
type shafts struct {
	last   exact.Num
	sensor exact.Num // of the shaft sensor that closes the loop, where there is one
}

// shaftsOf returns the shafts of d, whose sensor in the loop is s, or nil.
func shaftsOf(c *exact.Calc, d *Drive, s *Sensor) shafts {
	turns := shafts{last: transmissionRatio(c, d.Transmission)}
	if s == nil || s.Kind != ShaftSensor {
		return turns
	}
	turns.sensor = turns.last
	if n := int(s.StagesFromMotor); n < len(d.Transmission) {
		turns.sensor = transmissionRatio(c, d.Transmission[:n])
	}
	return turns
}

func stageRatio(c *exact.Calc, s *Stage) exact.Num {
	switch s.Kind {
	case GearPair, Chain:
		return c.Int(int64(s.DriverTeeth)).Quo(c.Int(int64(s.DrivenTeeth)))
	case Gearbox:
		return c.Int(1).Quo(c.Dec(s.Ratio))
	case Belt:
		return s.DriverDiameter.Base(c).Quo(s.DrivenDiameter.Base(c)).Mul(oneLess(c, s.SlipPercent))
	}
	panic("core/scaling: internal error: stage without kind")
}

// oneLess returns 1 - percent/100.
func oneLess(c *exact.Calc, percent float64) exact.Num {
	if percent == 0 {
		return c.Int(1)
	}
	return c.Int(1).Sub(c.Percent(percent))
}

// perLastTurn returns what one turn of the last shaft delivers, in base units.
//
//	roll      pi * (diameter + belt thickness) * (1 - slip), or pi * pitch diameter * (1 - slip)
//	sprocket  teeth * pitch (not pi times a pitch diameter: a chain is a polygon)
//	pump      displacement, or displacement * volumetric efficiency
//	screw     volume per turn * fill
//	feeder    mass per turn, or volume per turn
//	indexer   pieces per turn
func perLastTurn(c *exact.Calc, d *Delivery, m *Material) exact.Num {
	switch d.Kind {
	case Roll:
		return c.Pi().Mul(rollDiameter(c, d)).Mul(oneLess(c, d.SlipPercent))
	case Sprocket:
		return c.Int(int64(d.Teeth)).Mul(d.Pitch.Base(c))
	case Pump:
		if e := d.VolumetricEfficiencyPercent; e.Set {
			return d.Displacement.Base(c).Mul(c.Percent(e.Value))
		}
		return d.Displacement.Base(c)
	case Screw:
		if m != nil && m.FillPercent.Set {
			return d.VolumePerTurn.Base(c).Mul(c.Percent(m.FillPercent.Value))
		}
		return d.VolumePerTurn.Base(c)
	case Feeder:
		if d.MassPerTurn.Unit != nil {
			return d.MassPerTurn.Base(c)
		}
		return d.VolumePerTurn.Base(c)
	case Indexer:
		return c.Dec(d.PiecesPerTurn)
	}
	panic("core/scaling: internal error: delivery without kind")
}

// rollDiameter returns the diameter at which the conveyed length is reckoned. A
// belt's neutral axis lies at half its thickness on either side of the roll, so
// the whole thickness is added to the diameter.
func rollDiameter(c *exact.Calc, d *Delivery) exact.Num {
	if d.PitchDiameter.Unit != nil {
		return d.PitchDiameter.Base(c)
	}
	if d.BeltThickness.Unit == nil {
		return d.Diameter.Base(c)
	}
	return d.Diameter.Base(c).Add(d.BeltThickness.Base(c))
}

// rateKind is the kind of process rate that the delivery gives by itself.
func (d *Delivery) rateKind() kind {
	switch d.Kind {
	case Roll, Sprocket:
		return lengthRate
	case Pump, Screw:
		return volumeRate
	case Feeder:
		if d.MassPerTurn.Unit != nil {
			return massRate
		}
		return volumeRate
	case Indexer:
		return pieceRate
	}
	return noKind
}

// RateDimension returns the kind of process rate that d gives by itself: that of
// its measured reference, else that of its delivery, else the zero Dimension.
func (d *Drive) RateDimension() units.Dimension {
	if len(d.References) > 0 {
		return d.References[0].Value.Unit.Dimension()
	}
	return dimensions[d.Delivery.rateKind()]
}

// rateKind is the kind of [Drive.RateDimension].
func (d *Drive) rateKind() kind {
	if len(d.References) > 0 {
		return kindOf(d.References[0].Value.Unit)
	}
	return d.Delivery.rateKind()
}

// rate returns the process rate at n r/min.
func (r *relation) rate(n exact.Num) exact.Num {
	if r.itself {
		return n
	}
	rate := r.perTurn.Mul(n)
	if r.leaks {
		rate = rate.Sub(r.leak)
	}
	return rate
}

// speed returns the r/min that give a process rate.
func (r *relation) speed(rate exact.Num) exact.Num {
	if r.itself {
		return rate
	}
	if r.leaks {
		rate = rate.Add(r.leak)
	}
	return rate.Quo(r.perTurn)
}

// DensityFor returns the density that turns d's volume rate into a mass rate:
// bulk density for what falls out of a screw or feeder, density for a liquid.
func DensityFor(d *Drive, m *Material) units.Quantity {
	switch {
	case m == nil:
		return units.Quantity{}
	case d.Delivery.Kind == Pump:
		return m.Density
	case d.Delivery.Kind == NoDelivery && m.BulkDensity.Unit == nil:
		return m.Density
	}
	return m.BulkDensity
}

// converts reports whether a rate of kind a can be turned into one of b on
// drive d with material m.
func converts(d *Drive, m *Material, a, b kind) bool {
	if a == b {
		return true
	}
	volumeAndMass := a == volumeRate && b == massRate || a == massRate && b == volumeRate
	return volumeAndMass && DensityFor(d, m).Unit != nil
}

// convert turns a rate of kind a into kind b; converts(d, m, a, b) holds.
//
//	mass rate = volume rate * density
func convert(c *exact.Calc, d *Drive, m *Material, rate exact.Num, a, b kind) exact.Num {
	switch {
	case a == b:
		return rate
	case b == massRate:
		return rate.Mul(DensityFor(d, m).Base(c))
	}
	return rate.Quo(DensityFor(d, m).Base(c))
}
