package changeover

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// dimension returns the kind of rate that the blend's shares count.
func (b *Blend) dimension() units.Dimension {
	if b.Basis == Volume {
		return units.VolumeFlow
	}
	return units.MassFlow
}

// unit returns the unit that the blend is asked in.
func (b *Blend) unit() *units.Unit {
	switch {
	case b.Total.Unit != nil:
		return b.Total.Unit
	case b.LeaderRate.Unit != nil:
		return b.LeaderRate.Unit
	}
	return scaling.UsualRateUnit(b.dimension())
}

// leads reports whether component k is the one that the others follow.
func (b *Blend) leads(k int) bool { return b.LeaderID != "" && b.Components[k].DriveID == b.LeaderID }

// leader returns the component that the others follow, or -1.
func (b *Blend) leader() int {
	for k := range b.Components {
		if b.leads(k) {
			return k
		}
	}
	return -1
}

func (p *planner) assignBlend(i int, at *fault.Path, faults *fault.List) {
	b := &p.product.Blends[i]
	if b.ID == "" && !p.fields.alone {
		field := at.Field("id")
		faults.Add(&field, fault.Required, "is needed: 1 to 128 characters")
	}
	p.checkAmount(b, at, faults)
	if b.Basis == Volume && b.TotalBasis == Dry {
		field := at.Field("totalBasis")
		faults.Add(&field, fault.Conflict, "is DRY and the basis is VOLUME; moisture is counted by mass: use MASS, or AS_FED")
	}
	list := at.Field("components")
	sound := true
	for k := range b.Components {
		component := list.Index(k)
		sound = p.assignComponent(i, k, &component, faults) && sound
	}
	if sound {
		checkShares(b, &list, faults)
	}
	p.checkMoisture(b, at, faults)
	p.followLeader(i, at, faults)
}

// checkAmount demands a total, or a leader in its place.
func (p *planner) checkAmount(b *Blend, at *fault.Path, faults *fault.List) {
	leader := at.Field("leaderId")
	rate := at.Field("leaderRate")
	total := at.Field("total")
	switch {
	case b.Total.Unit != nil && b.LeaderID != "":
		faults.Add(&leader, fault.Conflict, "is given beside total; give one: the leader's rate and its share make the total")
	case b.Total.Unit != nil && b.LeaderRate.Unit != nil:
		faults.Add(&rate, fault.Conflict, "is given beside total; give one")
	case b.LeaderRate.Unit != nil && b.LeaderID == "":
		faults.Add(&leader, fault.Required, "is needed with leaderRate: the drive of one of the components")
	case b.LeaderID != "" && b.LeaderRate.Unit == nil:
		if p.fields.alone {
			faults.Add(&rate, fault.Required, "is needed: the rate of leader %q as fed, such as %s", b.LeaderID, b.dimension().Examples())
		}
		return
	case b.LeaderID == "" && b.Total.Unit == nil:
		faults.Add(&total, fault.Required, "is needed: a quantity in a unit of %s, such as %s, or leaderId with leaderRate in its place", b.dimension(), b.dimension().Examples())
		return
	}
	if b.Basis == NoBlendBasis {
		return
	}
	if b.Total.Unit != nil {
		scaling.ValidatePositive(b.Total, at, faults, "total", b.dimension())
	}
	if b.LeaderRate.Unit != nil {
		scaling.ValidatePositive(b.LeaderRate, at, faults, "leaderRate", b.dimension())
	}
}

// followLeader makes the blend's components follow their leader.
func (p *planner) followLeader(i int, at *fault.Path, faults *fault.List) {
	b := &p.product.Blends[i]
	if b.LeaderID == "" {
		return
	}
	field := at.Field("leaderId")
	leader := p.drives.find(b.LeaderID)
	switch {
	case b.leader() < 0 && leader < 0:
		faults.Add(&field, fault.NotFound, "no drive of the %s has the id %q", p.fields.line(), b.LeaderID)
		return
	case b.leader() < 0:
		faults.Add(&field, fault.NotFound, "no component of this blend is on drive %q; name the drive of one of them", b.LeaderID)
		return
	case leader < 0:
		return // the component has its own fault
	}
	for k := range b.Components {
		drive := p.drives.find(b.Components[k].DriveID)
		if drive >= 0 && !b.leads(k) && p.jobs[drive].blend == int32(i) && p.jobs[drive].component == int32(k) {
			p.jobs[drive].leader = int32(leader)
		}
	}
}

// assignComponent gives the component's drive its job. It returns whether its
// share is a share, so that the shares can be summed.
func (p *planner) assignComponent(i, k int, at *fault.Path, faults *fault.List) (sound bool) {
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
	drive, ok := p.claimComponent(b, k, j, at, faults)
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
		p.checkMaterialFor(drive, component.MaterialID, b.dimension(), at, faults)
	}
	return sound
}

// claimComponent gives the component's drive its job. A leader without a rate in
// the blend has its job by a demand of its own, and only lends its share.
func (p *planner) claimComponent(b *Blend, k int, j job, at *fault.Path, faults *fault.List) (drive int, ok bool) {
	if p.fields.alone || !b.leads(k) || b.LeaderRate.Unit != nil {
		return p.claim(b.Components[k].DriveID, j, at, faults)
	}
	drive = p.drives.find(b.LeaderID)
	field := at.Field("driveId")
	switch {
	case drive < 0:
		faults.Add(&field, fault.NotFound, "no drive of the line has the id %q", b.LeaderID)
		return drive, false
	case p.jobs[drive] == noJob:
		faults.Add(&field, fault.Required, "leader %q needs a demand of its own in %s, or leaderRate in the blend", b.LeaderID, &p.fields.demands)
		p.jobs[drive] = j // so that it is not told twice
		return drive, false
	case b.Components[k].Tolerance.Set:
		tolerance := at.Field("tolerance")
		faults.Add(&tolerance, fault.Conflict, "belongs to the leader's own demand, %s", p.describe(&p.jobs[drive]))
	}
	own := &p.jobs[drive].material
	if *own < 0 {
		*own = j.material
	}
	if j.material >= 0 && *own != j.material {
		material := at.Field("materialId")
		faults.Add(&material, fault.Conflict, "is %q here and %q in the leader's own demand", b.Components[k].MaterialID, p.product.Materials[*own].ID)
	}
	return drive, true
}

// checkMoisture demands that a blend with moist materials says what its total counts,
// and of one by itself that it is by mass: its answer tells the composition, which
// volumes of moist materials are not. A plan only asks each drive for its part.
func (p *planner) checkMoisture(b *Blend, at *fault.Path, faults *fault.List) {
	volume := b.Basis == Volume && p.fields.alone
	if volume && b.TotalBasis == Dry || !volume && b.TotalBasis != NoTotalBasis {
		return
	}
	for k := range b.Components {
		i := p.materials.find(b.Components[k].MaterialID)
		if i < 0 {
			continue
		}
		if m := &p.product.Materials[i]; m.Moisture.Basis != scaling.NoMoisture && m.Moisture.Percent != 0 {
			if volume {
				field := at.Field("basis")
				faults.Add(&field, fault.Conflict, "is VOLUME, and material %q is moist; moisture is counted by mass: give shares by MASS, or the material without its moisture", m.ID)
				return
			}
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

// shareOf returns the share of component k as a fraction.
func shareOf(c *exact.Calc, b *Blend, k int) exact.Num {
	if b.Components[k].Balance {
		return c.Int(100).Sub(shares(c, b)).Quo(c.Int(100))
	}
	return c.Percent(b.Components[k].SharePercent)
}

// componentRate returns the rate as fed of component k, in base units, when the
// blend's total is total, in base units.
//
//	share of the total; the balance has 100 percent less all shares
//	from dry to as fed: / (1 - moisture) on the wet basis, * (1 + moisture) on the dry basis
//
// Source: the definitions of moisture content on the wet and the dry basis.
func componentRate(c *exact.Calc, b *Blend, k int, m *scaling.Material, total exact.Num) exact.Num {
	return asFed(c, b, m, total.Mul(shareOf(c, b, k)))
}

// asFed returns a rate that is counted as the blend's total basis says as it is fed.
func asFed(c *exact.Calc, b *Blend, m *scaling.Material, rate exact.Num) exact.Num {
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

// counted is the inverse of asFed.
func counted(c *exact.Calc, b *Blend, m *scaling.Material, rate exact.Num) exact.Num {
	if b.TotalBasis != Dry || m == nil {
		return rate
	}
	switch m.Moisture.Basis {
	case scaling.WetBasis:
		return rate.Mul(c.Int(1).Sub(c.Percent(m.Moisture.Percent)))
	case scaling.DryBasis:
		return rate.Quo(c.Int(1).Add(c.Percent(m.Moisture.Percent)))
	}
	return rate
}
