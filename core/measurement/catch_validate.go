package measurement

import (
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Validate adds to faults everything that is wrong with m, whose drive and material
// have been validated by themselves.
func (m *Catch) Validate(faults *fault.List) {
	before := len(*faults)
	list := fault.Root("runs")
	for i := range m.Runs {
		at := list.Index(i)
		m.validateRun(i, &at, faults)
	}
	m.validateUncertainties(faults)
	if len(*faults) > before || len(m.Runs) == 0 {
		return
	}
	if m.validateKind(faults); len(*faults) > before {
		return
	}
	refs := m.references(m.rates())
	for i := range refs {
		at := list.Index(i)
		scaling.ValidatePositive(refs[i].Value, &at, faults, "rate", refs[i].Value.Unit.Dimension())
		whole(refs[i].UncertaintyPercent.Value, &at, faults)
	}
	if d := rated(m.Drive, refs); len(*faults) == before && !d.ReferencesRise() {
		faults.Add(&list, fault.Conflict, "give a line that does not rise with the speed, as if the pump delivered no more when it turns faster; look for exchanged or mistyped values")
	}
}

func (m *Catch) validateRun(i int, p *fault.Path, faults *fault.List) {
	run, first := &m.Runs[i], m.Runs[0].Amount.Unit
	sound := scaling.ValidatePositive(run.Amount, p, faults, "amount", units.MassDim, units.VolumeDim)
	if sound && i > 0 && first != nil && first != scaling.Unreadable && first.Dimension() != run.Amount.Unit.Dimension() {
		at := p.Field("amount")
		unit := at.Field("unit")
		faults.Add(&unit, fault.UnitWrongKind, "%q is a unit of %s, and the first run is in %q; give all of them as masses or all as volumes",
			run.Amount.Unit.Symbol(), run.Amount.Unit.Dimension(), first.Symbol())
	}
	scaling.ValidatePositive(run.Time, p, faults, "time", units.TimeDim)
	scaling.ValidateMotorRPM(run.MotorRPM, p, "motorRpm", faults)
}

func (m *Catch) validateUncertainties(faults *fault.List) {
	kinds := []units.Dimension{units.MassDim, units.VolumeDim}
	if len(m.Runs) > 0 {
		if u := m.Runs[0].Amount.Unit; u != nil && (u.Dimension() == units.MassDim || u.Dimension() == units.VolumeDim) {
			kinds = []units.Dimension{u.Dimension()}
		}
	}
	if m.AmountUncertainty.Unit != nil {
		scaling.ValidatePositive(m.AmountUncertainty, nil, faults, "amountUncertainty", kinds...)
	}
	if m.Capacity.Unit != nil {
		scaling.ValidatePositive(m.Capacity, nil, faults, "capacity", kinds...)
	}
	if m.TimeUncertainty.Unit != nil {
		scaling.ValidatePositive(m.TimeUncertainty, nil, faults, "timeUncertainty", units.TimeDim)
	}
	validateShare(m.AmountPercent, "amountUncertaintyPercent", faults)
	validateShare(m.DensityPercent, "densityUncertaintyPercent", faults)
	validateShare(m.WantedPercent, "wantedUncertaintyPercent", faults)
	amount, time := m.knowsAmount(), m.TimeUncertainty.Unit != nil
	pair(time, amount || m.WantedPercent.Set, "timeUncertainty", "without it the uncertainty of a rate would come out too small", faults)
	pair(amount, time || m.WantedPercent.Set, "amountUncertainty", "without it, or amountUncertaintyPercent, the uncertainty of a rate would come out too small", faults)
}

func validateShare(p scaling.Optional[float64], field string, faults *fault.List) {
	if p.Set {
		scaling.ValidateShare(p.Value, 100, nil, field, faults)
	}
}

func (m *Catch) knowsAmount() bool { return m.AmountUncertainty.Unit != nil || m.AmountPercent.Set }

// validateKind demands that what was caught can be told as what the drive delivers.
func (m *Catch) validateKind(faults *fault.List) {
	_, own := ownUnit(m.Drive)
	switch own {
	case units.Dimension{}:
	case units.VolumeFlow, units.MassFlow:
		if field := scaling.NeedsDensity(rated(m.Drive, nil), m.Material, m.caught()); field != "" {
			material := fault.Root("material")
			at := material.Field(field)
			faults.Add(&at, fault.Required, "is needed: the drive delivers a volume or a mass, and the other was caught")
		}
	default:
		drive := fault.Root("drive")
		at := drive.Field("delivery")
		faults.Add(&at, fault.Conflict, "delivers %s; a catch test is for what delivers a volume or a mass", own)
	}
}
