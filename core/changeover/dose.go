package changeover

import (
	"slices"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// rateOf returns the kind of rate that an amount in time is.
func rateOf(q units.Quantity) units.Dimension { return q.Unit.Dimension().Per(units.TimeDim) }

// doseKinds are what a dose is counted in, and what it is for.
var doseKinds = []units.Dimension{units.MassDim, units.VolumeDim, units.LengthDim, units.PieceDim}

func (p *planner) checkDose(drive int, demand *Demand, at *fault.Path, faults *fault.List) {
	dose := at.Field("dose")
	amount := scaling.ValidatePositive(demand.Amount, &dose, faults, "amount", doseKinds...)
	scaling.ValidatePositive(demand.Per, &dose, faults, "per", doseKinds...)
	p.follow(drive, demand.LeaderID, &dose, faults)
	d := &p.line.Drives[drive]
	native, known := d.KnownRateDimension()
	switch {
	case !amount || !known:
	case native == rateOf(demand.Amount):
	case massAndVolume(native, rateOf(demand.Amount)):
		p.checkMaterialFor(drive, demand.MaterialID, rateOf(demand.Amount), at, faults)
	default:
		field := dose.Field("amount")
		addOtherKind(demand.Amount.Unit, &field, d, faults)
	}
}

// addOtherKind adds a fault at the unit of a quantity that d does not deliver.
func addOtherKind(u *units.Unit, at *fault.Path, d *scaling.Drive, faults *fault.List) {
	unit := at.Field("unit")
	faults.Add(&unit, fault.UnitWrongKind, "%q is a unit of %s, but drive %q gives %s", u.Symbol(), u.Dimension(), d.ID, rateWords(d.RateDimension()))
}

func massAndVolume(a, b units.Dimension) bool {
	return a == units.MassFlow && b == units.VolumeFlow || a == units.VolumeFlow && b == units.MassFlow
}

// checkDosed demands that each leader of a dose delivers what the dose is for. It
// comes after every drive has its job, since the leader's material is told there.
func (p *planner) checkDosed(faults *fault.List) {
	for i := range p.jobs {
		j := &p.jobs[i]
		if j.demand < 0 || j.leader < 0 || p.product.Demands[j.demand].Kind != Dose {
			continue
		}
		per := p.product.Demands[j.demand].Per
		leader := &p.line.Drives[j.leader]
		native, known := leader.KnownRateDimension()
		if per.Unit == nil || !slices.Contains(doseKinds, per.Unit.Dimension()) || !known || native == rateOf(per) {
			continue
		}
		demand := p.fields.demands.Index(int(j.demand))
		dose := demand.Field("dose")
		field := dose.Field("per")
		switch missing := scaling.NeedsDensity(leader, p.materialOf(int(j.leader)), rateOf(per)); {
		case !massAndVolume(native, rateOf(per)):
			addOtherKind(per.Unit, &field, leader, faults)
		case missing != "":
			faults.Add(&field, fault.Required, "needs the %s of the material of the leader, drive %q, which gives %s", missing, leader.ID, rateWords(native))
		}
	}
}

// doseAmount returns the rate that a dose asks for, in base units of its amount.
//
//	leader's achieved rate * amount / per
func (s *solver) doseAmount(c *exact.Calc, j *job) exact.Num {
	demand := &s.product.Demands[j.demand]
	return s.dosed(c, j).Mul(demand.Amount.Base(c)).Quo(demand.Per.Base(c))
}

// dosed returns the leader's achieved rate, counted as the dose is for it.
func (s *solver) dosed(c *exact.Calc, j *job) exact.Num {
	i := int(j.leader)
	return scaling.InDimension(c, &s.line.Drives[i], s.materialOf(i), s.achieved(c, i).Rate, rateOf(s.product.Demands[j.demand].Per))
}

// doseSteps derives a dose from what the leader achieves.
func (s *solver) doseSteps(j *job, out *Setpoint) []scaling.Step {
	demand := &s.product.Demands[j.demand]
	i := int(j.leader)
	d := &s.line.Drives[i]
	rate := s.plan.Setpoints[s.of[i].place].ProcessRate
	var steps []scaling.Step
	if dim := rateOf(demand.Per); d.RateDimension() != dim {
		c := new(exact.Calc)
		fed := scaling.Input{Name: "rate", Value: rate}
		rate = inUnit(c, s.dosed(c, j), scaling.UsualRateUnit(dim))
		formula := "rate * density"
		if dim == units.VolumeFlow {
			formula = "rate / density"
		}
		steps = append(steps, scaling.Step{ID: "material-rate/1", Name: "the leader's rate as the dose counts it", Formula: formula, Result: rate,
			Inputs: []scaling.Input{fed, {Name: "density", Value: scaling.DensityFor(d, s.materialOf(i))}}})
	}
	return append(steps, scaling.Step{ID: "dose/1", Name: "what the leader's achieved rate asks", Formula: "leader * amount / per", Result: out.Demanded,
		Inputs: []scaling.Input{{Name: "leader", Value: rate}, {Name: "amount", Value: demand.Amount}, {Name: "per", Value: demand.Per}}})
}
