package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

// DeliveryModel is what a drive delivers, told of its motor shaft:
//
//	rate = PerTurn * n - SlipFlow
type DeliveryModel struct {
	PerTurn  units.Quantity // a length, volume, mass or pieces per turn of the motor, above 0
	SlipFlow units.Quantity // of a pump: a volume per time, 0 or more; Unit nil means 0
	Pump     bool           // a volume per turn, and slip flow is known or 0
}

// ValidateDeliveryModel adds a fault for everything that is wrong with m, which is at p.
func ValidateDeliveryModel(m *DeliveryModel, p *fault.Path, faults *fault.List) {
	v := validator{faults}
	if !m.Pump {
		v.quantity(m.PerTurn, p, "perTurn", units.LengthPerTurn, units.VolumePerTurn, units.MassPerTurn, units.PiecesPerTurn)
		return
	}
	at := p.Field("pump")
	v.quantity(m.PerTurn, &at, "displacement", units.VolumePerTurn)
	v.zeroOrMore(m.SlipFlow, &at, "slipFlow", units.VolumeFlow)
}

// ValidateCorrection adds a fault, at p, where d does not deliver what its correction
// says it does.
func ValidateCorrection(d *Drive, p *fault.Path, faults *fault.List) {
	own, known := d.KnownRateDimension()
	corrected := d.Correction.PerTurn.Unit.Dimension().Times(units.TurnDim).Per(units.TimeDim)
	switch {
	case !known:
	case own == (units.Dimension{}):
		faults.Add(p, fault.Conflict, "corrects drive %q, which is not described to deliver anything: describe its delivery or its references", d.ID)
	case own != corrected:
		faults.Add(p, fault.Conflict, "corrects a %s, and drive %q delivers a %s", corrected, d.ID, own)
	}
}

// Corrected reports whether a correction of what d delivers is in force.
func (d *Drive) Corrected() bool { return d.Correction.PerTurn.Unit != nil }

// ofCorrection makes r the relation that a correction says.
//
// Formula: corrected-model/1
func (r *relation) ofCorrection(c *exact.Calc, d *Drive) {
	m := &d.Correction
	r.perTurn, r.kind = m.PerTurn.Base(c), d.rateKind()
	if m.SlipFlow.Unit != nil && m.SlipFlow.Value != 0 {
		r.leak, r.leaks = m.SlipFlow.Base(c), true
	}
}
