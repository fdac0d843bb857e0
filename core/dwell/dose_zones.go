package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// ZoneDose asks for the dose of a dwell from the temperatures of its zones.
type ZoneDose struct {
	Lethality
	Zones []ZoneTemperature
}

// ZoneTemperature is the temperature of a zone.
type ZoneTemperature struct {
	SectionID, ID string
	Temperature   Temperature
}

// ZoneDoses is the dose of a dwell.
type ZoneDoses struct {
	Equivalent units.Quantity
	Parts      []units.Quantity // in the order of the request's zones
	Rates      []float64
}

// validateDose demands that each named zone is there.
func (f *finder) validateDose(faults *fault.List) {
	root := fault.Root("thermalDose")
	f.Dose.Validate(&root, faults)
	list := root.Field("zones")
	seen := map[[2]string]bool{}
	for i := range f.Dose.Zones {
		at, z := list.Index(i), &f.Dose.Zones[i]
		if z.Temperature.validate(&at, "temperature", faults) && len(*faults) == 0 {
			f.Dose.checkExponent(z.Temperature, &at, faults)
		}
		id := [2]string{z.SectionID, z.ID}
		field := at.Field("id")
		switch {
		case seen[id]:
			faults.Add(&field, fault.Duplicate, "zone %q of section %q is named twice", z.ID, z.SectionID)
		case z.ID != "" && f.zone(z) == nil:
			faults.Add(&field, fault.NotFound, "section %q of the dwell has no zone %q", z.SectionID, z.ID)
		}
		seen[id] = true
	}
}

// zone returns the zone of the dwell's sections that z names, or nil.
func (f *finder) zone(z *ZoneTemperature) *scaling.Zone {
	for _, s := range f.route.Sections {
		for i := range s.Zones {
			if s.ID == z.SectionID && s.Zones[i].ID == z.ID {
				return &s.Zones[i]
			}
		}
	}
	return nil
}

// dose adds the dose of the zones at their times.
//
//	F = sum of time * 10^((T - Tref) / z)
func (f *finder) dose(out *Answer) {
	if f.Dose == nil || out.Achieved.Unit == nil {
		return
	}
	sum, in := 0.0, out.Achieved.Unit
	doses := &ZoneDoses{}
	for i := range f.Dose.Zones {
		z := &f.Dose.Zones[i]
		rate := f.Dose.Rate(z.Temperature)
		part := 0.0
		for _, time := range out.Zones {
			if time.SectionID == z.SectionID && time.ID == z.ID {
				part = float64(time.Time.Value * rate)
			}
		}
		sum += part
		doses.Parts = append(doses.Parts, units.Quantity{Value: part, Unit: in})
		doses.Rates = append(doses.Rates, rate)
	}
	doses.Equivalent = units.Quantity{Value: sum, Unit: in}
	out.Dose = doses
	out.Checks = append(out.Checks, DoseChecks("thermalDose", true)...)
}

// DoseChecks returns the cautions that every dose carries: whether it rests on the
// temperatures of zones and not on those of a product.
func DoseChecks(field string, ofZones bool) (checks []scaling.Check) {
	if ofZones {
		checks = append(checks, scaling.Check{Code: scaling.ZoneTemperatureOverstates, Field: field})
	}
	return append(checks, scaling.Check{Code: scaling.ProcessAuthorityDecides, Field: field})
}

// AlongDose asks for the doses of the pieces of a transition, from temperatures along
// the section.
type AlongDose struct {
	Lethality
	Zones []Along // in order of travel, from the entrance on
}

// Along is a length of the section at a temperature.
type Along struct {
	Length      units.Quantity
	Temperature Temperature
}

func (d *AlongDose) validate(t *Transition, p *fault.Path, faults *fault.List) {
	root := p.Field("thermalDose")
	if len(t.Following) > 0 {
		faults.Add(&root, fault.Conflict, "is for one section; leave out following")
	}
	d.Validate(&root, faults)
	list := root.Field("zones")
	if len(d.Zones) == 0 {
		faults.Add(&list, fault.Required, "is needed: lengths of the section with their temperatures, from the entrance on")
	}
	for i := range d.Zones {
		at, z := list.Index(i), &d.Zones[i]
		sound := scaling.ValidatePositive(z.Length, &at, faults, "length", units.LengthDim)
		if z.Temperature.validate(&at, "temperature", faults) && sound && len(*faults) == 0 {
			d.checkExponent(z.Temperature, &at, faults)
		}
	}
	if len(*faults) == 0 && scaling.Certain(func(c *exact.Calc) bool { return c.Cmp(d.length(c), t.Length.Base(c)) > 0 }) {
		faults.Add(&list, fault.OutOfRange, "are together longer than the section of %v %s", t.Length.Value, t.Length.Unit.Symbol())
	}
}

func (d *AlongDose) length(c *exact.Calc) exact.Num {
	sum := c.Int(0)
	for i := range d.Zones {
		sum = sum.Add(d.Zones[i].Length.Base(c))
	}
	return sum
}

// doser finds the doses of pieces at their leading edges.
type doser struct {
	m     *motion
	begin float64
	zones []struct{ from, length, rate float64 }
}

// doser returns the doser of t, nil where no temperatures are given.
func (t *Transition) doser(l *layout) *doser {
	if t.Dose == nil {
		return nil
	}
	d := &doser{m: &l.motion, begin: l.begin.Float()}
	at := l.c.Int(0)
	for i := range t.Dose.Zones {
		z := &t.Dose.Zones[i]
		length := z.Length.Base(l.c)
		d.zones = append(d.zones, struct{ from, length, rate float64 }{at.Float(), length.Float(), t.Dose.Rate(z.Temperature)})
		at = at.Add(length)
	}
	return d
}

// of returns the dose of a piece for which counting begins at travel s, in the unit of
// the ramp.
func (d *doser) of(s float64) (sum float64) {
	for _, z := range d.zones {
		sum += float64(d.m.between(s-d.begin+z.from, z.length) * z.rate)
	}
	return sum
}

// steady returns the dose at a speed that stays.
func (d *doser) steady(speed float64) (sum float64) {
	for _, z := range d.zones {
		sum += float64(z.length * d.m.perMinute / speed * z.rate)
	}
	return sum
}

// addDoses adds to each policy the least and the most dose of its pieces. As with the
// times, they are those of the pieces at the ends: the dose is a sum of times.
func (t *Transition) addDoses(o *Outcome) {
	l := t.lay(new(exact.Calc))
	d := t.doser(l)
	for i := range o.Policies {
		p := &o.Policies[i]
		if !p.Possible {
			continue
		}
		s := newSpan(d.steady(l.v1.Float()))
		switch {
		case p.Name == ClearFirst && o.Outgoing > 0:
			s.add(d.steady(l.v0.Float()))
		case p.Name != ClearFirst:
			for _, at := range t.ends(l, p, o) {
				s.add(d.of(at.Float()))
			}
		}
		p.DoseLeast, p.DoseMost = units.Quantity{Value: s.least, Unit: t.Ramp.Unit}, units.Quantity{Value: s.most, Unit: t.Ramp.Unit}
	}
}

// ends returns the travels at which counting begins for the newest and the oldest
// outgoing piece and for the first incoming one.
func (t *Transition) ends(l *layout, p *Policy, o *Outcome) (ends []exact.Num) {
	if o.Outgoing > 0 {
		ends = append(ends, l.outgoing(0), l.outgoing(o.Outgoing-1))
	}
	if p.FeedStopped.Value == 0 {
		return append(ends, l.incoming(1))
	}
	return append(ends, l.enteredAt(t.held(l.c, p.FeedStopped.Value)))
}
