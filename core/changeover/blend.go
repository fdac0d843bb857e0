package changeover

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

func (p *planner) assignBlend(i int, at *fault.Path, faults *fault.List) {
	b := &p.product.Blends[i]
	dim := units.MassFlow
	if b.Basis == Volume {
		dim = units.VolumeFlow
	}
	if b.Basis != NoBlendBasis {
		scaling.ValidatePositive(b.Total, at, faults, "total", dim)
	}
	if b.Basis == Volume && b.TotalBasis == Dry {
		field := at.Field("totalBasis")
		faults.Add(&field, fault.Conflict, "is DRY and the basis is VOLUME; moisture is counted by mass: use MASS, or AS_FED")
	}
	list := at.Field("components")
	sound := true
	for k := range b.Components {
		component := list.Index(k)
		sound = p.assignComponent(i, k, dim, &component, faults) && sound
	}
	if sound {
		checkShares(b, &list, faults)
	}
	p.checkMoisture(b, at, faults)
}

// assignComponent gives the component's drive its job. It returns whether its
// share is a share, so that the shares can be summed.
func (p *planner) assignComponent(i, k int, dim units.Dimension, at *fault.Path, faults *fault.List) (sound bool) {
	b := &p.product.Blends[i]
	component := &b.Components[k]
	j := noJob
	j.blend, j.component = int32(i), int32(k)
	j.material = p.material(component.MaterialID, at, faults)
	sound = component.Balance || scaling.ValidateShare(component.SharePercent, 100, at, "sharePercent", faults)
	if t := &component.Tolerance; t.Set {
		tolerance := at.Field("tolerance")
		scaling.ValidateTolerance(&t.Value, &tolerance, faults)
	}
	drive, ok := p.claim(component.DriveID, j, at, faults)
	if !ok {
		return sound
	}
	d := &p.line.Drives[drive]
	native, known := d.KnownRateDimension()
	switch {
	case !known:
	case native != units.VolumeFlow && native != units.MassFlow:
		field := at.Field("driveId")
		faults.Add(&field, fault.Conflict, "drive %q gives %s; a component of a blend needs a volume or a mass", d.ID, rateWords(native))
	case b.Basis != NoBlendBasis:
		p.checkMaterialFor(drive, component.MaterialID, dim, at, faults)
	}
	return sound
}

// checkMoisture demands that a blend with moist materials says what its total counts.
func (p *planner) checkMoisture(b *Blend, at *fault.Path, faults *fault.List) {
	if b.TotalBasis != NoTotalBasis {
		return
	}
	for k := range b.Components {
		i := p.materials.find(b.Components[k].MaterialID)
		if i < 0 {
			continue
		}
		if m := &p.product.Materials[i]; m.Moisture.Basis != scaling.NoMoisture && m.Moisture.Percent != 0 {
			field := at.Field("totalBasis")
			faults.Add(&field, fault.Required, "is needed, since material %q is moist: AS_FED or DRY", m.ID)
			return
		}
	}
}

// checkShares demands that the shares sum to exactly 100 percent, or that one
// component takes what is left, and something is left.
func checkShares(b *Blend, at *fault.Path, faults *fault.List) {
	balances := 0
	for k := range b.Components {
		if b.Components[k].Balance {
			balances++
		}
	}
	sum := scaling.Certain(func(c *exact.Calc) shareSum {
		total := shares(c, b)
		return shareSum{total.Float(), c.Cmp(total, c.Int(100))}
	})
	switch {
	case len(b.Components) == 0:
	case balances > 1:
		faults.Add(at, fault.Conflict, "has %d components that are the balance; at most one can be", balances)
	case balances == 1 && sum.against100 >= 0:
		faults.Add(at, fault.SharesOff, "has shares that sum to %.9g percent beside the balance, so nothing is left for it; they must sum to less than 100", sum.value)
	case balances == 0 && sum.against100 != 0:
		faults.Add(at, fault.SharesOff, "has shares that sum to %.9g percent; they must sum to 100, or one component be the balance", sum.value)
	}
}

type shareSum struct {
	value      float64
	against100 int
}

// shares sums the stated shares in percent.
func shares(c *exact.Calc, b *Blend) exact.Num {
	total := c.Int(0)
	for k := range b.Components {
		if !b.Components[k].Balance {
			total = total.Add(c.Dec(b.Components[k].SharePercent))
		}
	}
	return total
}

// componentRate returns the rate as fed of component k, in base units, when the
// blend's total is total.
//
//	share of the total; the balance has 100 percent less all shares
//	from dry to as fed: / (1 - moisture) on the wet basis, * (1 + moisture) on the dry basis
//
// Source: the definitions of moisture content on the wet and the dry basis.
func componentRate(c *exact.Calc, b *Blend, k int, m *scaling.Material, total units.Quantity) exact.Num {
	component := &b.Components[k]
	share := c.Percent(component.SharePercent)
	if component.Balance {
		share = c.Int(100).Sub(shares(c, b)).Quo(c.Int(100))
	}
	rate := total.Base(c).Mul(share)
	if b.TotalBasis != Dry || m == nil {
		return rate
	}
	switch m.Moisture.Basis {
	case scaling.WetBasis:
		return rate.Quo(c.Int(1).Sub(c.Percent(m.Moisture.Percent)))
	case scaling.DryBasis:
		return rate.Mul(c.Int(1).Add(c.Percent(m.Moisture.Percent)))
	}
	return rate
}
