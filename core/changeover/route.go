package changeover

import (
	"linepace.example/core/dwell"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// A dwell that is not that of a point in one section has a route. Where several
// drives move it, each has a demand of its own and gets its part of the time.

// checkRoute resolves the sections of a dwell, of which the drive moves one at least.
func (p *planner) checkRoute(drive int, demand *Demand, at *fault.Path, faults *fault.List) {
	route := dwell.Route{Piece: demand.Dwell.Piece, Belts: demand.Dwell.Belts}
	path := at.Field("dwell")
	list := path.Field("sectionIds")
	before, moves := len(*faults), false
	named := map[string]int{}
	for i, id := range demand.Dwell.SectionIDs {
		field := list.Index(i)
		section := p.sections.find(id)
		switch first, twice := named[id]; {
		case twice:
			faults.Add(&field, fault.Duplicate, "%q is named by sectionIds[%d] already; a piece passes a section once", id, first)
		case section >= 0:
			route.Sections = append(route.Sections, &p.line.Sections[section])
			moves = moves || p.line.Sections[section].DriveID == p.line.Drives[drive].ID
		case id != "":
			faults.Add(&field, fault.NotFound, "no section of the line has the id %q", id)
		}
		named[id] = i
	}
	if len(*faults) == before && !moves {
		faults.Add(&list, fault.Conflict, "names no section that drive %q moves", p.line.Drives[drive].ID)
	}
	if demand.Tolerance.Set && demand.Dwell.Time.Unit == nil {
		field := at.Field("tolerance")
		faults.Add(&field, fault.Conflict, "is given, but a bound has none: give atLeast and atMost for a range")
	}
	if len(*faults) > 0 { // sections and lengths may be at fault themselves
		return
	}
	demand.Dwell.ValidateOn(&route, &path, faults)
	p.jobs[drive].route = int32(len(p.routes))
	p.routes = append(p.routes, route)
}

// askedDwell returns the time that a dwell asks for first, and whether all of it
// falls to the job's drive.
func (p *planner) askedDwell(j *job) (asked units.Quantity, whole bool) {
	demand := &p.product.Demands[j.demand]
	if demand.Dwell == nil {
		return demand.Time, true
	}
	asked, _, _ = demand.Dwell.Asked()
	return asked, len(demand.Dwell.Belts) == 0
}

// finishDwell tells for a check of a drive with a route the field that it speaks of
// and a time that would fit: that of the drive where it has all of the time, else a
// whole time that gives the drive a part that fits. Of two bounds both may have to
// move, so none is offered.
func (s *solver) finishDwell(i int, out *Setpoint, check *scaling.Check) {
	j := &s.jobs[i]
	d := s.product.Demands[j.demand].Dwell
	if d.AtLeast.Unit != nil && d.AtMost.Unit != nil {
		if check.Code == scaling.AboveHighestSpeed {
			check.Field = s.planner.describe(j) + ".dwell.atMost"
		}
		check.Fit = units.Quantity{}
		return
	}
	switch {
	case check.Limit.Unit == nil || !check.ExcessPercent.Set:
	case len(d.Belts) > 0:
		check.Fit, check.FitField = s.fitOfRoot(i, out.Demanded.Value/check.Limit.Value, check.Code == scaling.BelowLowestSpeed)
	case check.Fit.Unit != nil:
		check.FitField = check.Field
	}
}
