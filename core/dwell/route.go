package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Demand is a time that pieces ought to spend in sections: Time, or a bound on
// either side. A nil Unit means that a time is not given.
type Demand struct {
	SectionIDs []string // in order of travel
	Time       units.Quantity
	AtLeast    units.Quantity
	AtMost     units.Quantity
	Piece      Piece
	Belts      []Belt // where more than one drive moves the sections
}

// Belt is the part of one drive in a time over the sections of several: a share of
// the time, or a speed in proportion to that of the others.
type Belt struct {
	DriveID          string
	TimeSharePercent scaling.Optional[float64]
	SpeedPercent     scaling.Optional[float64]
}

// Plain reports whether d is a time of a point in a single section, for which
// the section's length says everything.
func (d *Demand) Plain() bool {
	return len(d.SectionIDs) == 1 && d.Time.Unit != nil && d.Piece.Meaning == Point && len(d.Belts) == 0
}

// Asked returns the time that is asked for first, its field, and on which side of
// it the achieved one may lie.
func (d *Demand) Asked() (time units.Quantity, field string, goal scaling.Goal) {
	switch {
	case d.Time.Unit != nil:
		return d.Time, "time", scaling.Nearest
	case d.AtLeast.Unit == nil:
		return d.AtMost, "atMost", scaling.AtMost
	case d.AtMost.Unit == nil:
		return d.AtLeast, "atLeast", scaling.AtLeast
	}
	return d.AtLeast, "atLeast", scaling.Between
}

// Route is the way of a piece through sections.
//
// A piece moves with the belt on which its centre lies. A dead plate, which has no
// drive, is crossed at the speed of the belt before it, which pushes: a dead plate
// only lengthens that belt's part of the way. So with a piece of length p, the
// centre goes from 0 to the end of the last section for a point, from p/2 to p/2
// before it while the piece is wholly inside, and from p/2 before the entrance to
// p/2 behind the exit while any part is. Before the first section and behind the
// last the piece is taken to move as in them.
type Route struct {
	Sections []*scaling.Section
	Piece    Piece
	Belts    []Belt
}

// Way returns the part of the way over which the drive moves the piece.
func (r *Route) Way(c *exact.Calc, driveID string) exact.Num {
	sum := c.Int(0)
	for _, part := range r.parts(c, driveID) {
		sum = sum.Add(part.to.Sub(part.from))
	}
	return sum
}

// stretch is a part of the way, between two positions of the piece's centre.
type stretch struct{ from, to exact.Num }

// parts returns the stretches over which the drive moves the piece.
func (r *Route) parts(c *exact.Calc, driveID string) (parts []stretch) {
	begin, end := r.ends(c)
	at, last := c.Int(0), len(r.Sections)-1
	for i, s := range r.Sections {
		from, to := at, at.Add(s.Length.Base(c))
		if i < last && s.DeadPlate.Unit != nil {
			to = to.Add(s.DeadPlate.Base(c))
		}
		at = to
		if i == 0 || c.Cmp(from, begin) < 0 {
			from = begin
		}
		if i == last || c.Cmp(to, end) > 0 {
			to = end
		}
		if s.DriveID == driveID && c.Cmp(from, to) < 0 {
			parts = append(parts, stretch{from, to})
		}
	}
	return parts
}

// ends returns where the piece's centre is when its time begins and when it ends,
// from the entrance of the first section on.
func (r *Route) ends(c *exact.Calc) (begin, end exact.Num) {
	begin, end = c.Int(0), r.length(c)
	half := r.Piece.size(c).Quo(c.Int(2))
	switch r.Piece.Meaning {
	case WholePiece:
		return half, end.Sub(half)
	case AnyPart:
		return half.Neg(), end.Add(half)
	case leadingEdge:
		return half.Neg(), end.Sub(half)
	}
	return begin, end
}

// length returns the length from the first section's entrance to the last one's exit.
func (r *Route) length(c *exact.Calc) exact.Num {
	sum := c.Int(0)
	for i, s := range r.Sections {
		sum = sum.Add(s.Length.Base(c))
		if i < len(r.Sections)-1 && s.DeadPlate.Unit != nil {
			sum = sum.Add(s.DeadPlate.Base(c))
		}
	}
	return sum
}

// Part returns the drive's part of the whole time.
//
//	time share      share / 100
//	speed in ratio  (way / speed) / sum of (way / speed) of all belts
func (r *Route) Part(c *exact.Calc, driveID string) exact.Num {
	own, sum := c.Int(1), c.Int(0)
	if len(r.Belts) == 0 {
		return own
	}
	for i := range r.Belts {
		b := &r.Belts[i]
		if b.TimeSharePercent.Set {
			if b.DriveID == driveID {
				return c.Percent(b.TimeSharePercent.Value)
			}
			continue
		}
		part := r.Way(c, b.DriveID).Quo(c.Dec(b.SpeedPercent.Value))
		if b.DriveID == driveID {
			own = part
		}
		sum = sum.Add(part)
	}
	return own.Quo(sum)
}

// Measure returns how a demand over the route is counted on the drive: as its part
// of the way, in its part of the time.
func (r *Route) Measure(d *Demand, driveID string) scaling.Measure {
	asked, _, goal := d.Asked()
	way := r.Way(new(exact.Calc), driveID).Float()
	m := scaling.Measure{
		Unit:   asked.Unit,
		Length: units.Quantity{Value: way, Unit: metre},
		Way:    func(c *exact.Calc) exact.Num { return r.Way(c, driveID) },
		Goal:   goal,
	}
	if goal == scaling.Between {
		m.Most = func(c *exact.Calc) exact.Num { return d.AtMost.Base(c).Mul(r.Part(c, driveID)) }
	}
	return m
}

// DriveIDs returns the drives that move the sections, each once, in order of travel.
func (r *Route) DriveIDs() []string {
	var ids []string
	seen := map[string]bool{}
	for _, s := range r.Sections {
		if !seen[s.DriveID] {
			seen[s.DriveID] = true
			ids = append(ids, s.DriveID)
		}
	}
	return ids
}

// Validate adds to faults what is wrong with d by itself, at path p.
func (d *Demand) Validate(p *fault.Path, faults *fault.List) {
	const needed = "is needed: time, or atLeast, atMost or both"
	bounded := d.AtLeast.Unit != nil || d.AtMost.Unit != nil
	at := p.Field("time")
	switch {
	case d.Time.Unit == nil && !bounded:
		faults.Add(&at, fault.Required, needed)
	case d.Time.Unit != nil && bounded:
		faults.Add(&at, fault.Conflict, "is given together with a bound; give time, or atLeast, atMost or both")
	}
	sound := true
	for _, q := range []struct {
		units.Quantity
		field string
	}{{d.Time, "time"}, {d.AtLeast, "atLeast"}, {d.AtMost, "atMost"}} {
		if q.Unit != nil {
			sound = scaling.ValidatePositive(q.Quantity, p, faults, q.field, units.TimeDim) && sound
		}
	}
	if sound && d.AtLeast.Unit != nil && d.AtMost.Unit != nil && isLess(d.AtMost, d.AtLeast) {
		at := p.Field("atMost")
		faults.Add(&at, fault.OutOfRange, "is %v %s, shorter than atLeast, %v %s", d.AtMost.Value, d.AtMost.Unit.Symbol(), d.AtLeast.Value, d.AtLeast.Unit.Symbol())
	}
	if d.Piece.Length.Unit != nil || d.Piece.Meaning > Point {
		at := p.Field(meaningFields[d.Piece.Meaning])
		scaling.ValidatePositive(d.Piece.Length, &at, faults, "length", units.LengthDim)
	}
}

// meaningFields names the fields of the request that say a meaning.
var meaningFields = [...]string{Point: "point", WholePiece: "wholePiece", AnyPart: "anyPart"}

// ValidateOn adds to faults what is wrong with d on the sections of its route,
// which are sound by themselves, at path p.
func (d *Demand) ValidateOn(r *Route, p *fault.Path, faults *fault.List) {
	if d.Piece.Meaning == WholePiece {
		at := p.Field("wholePiece")
		field := at.Field("length")
		if scaling.Certain(func(c *exact.Calc) bool { return c.Cmp(r.Piece.size(c), r.length(c)) >= 0 }) {
			faults.Add(&field, fault.OutOfRange, "is %v %s, no shorter than the sections are long: the piece is never wholly inside; give a shorter piece, or point or anyPart",
				d.Piece.Length.Value, d.Piece.Length.Unit.Symbol())
			return
		}
	}
	drives := r.DriveIDs()
	if d.validateBelts(drives, p, faults) {
		for i, id := range drives {
			d.checkWay(r, id, i, p, faults)
		}
	}
}

// checkWay demands that each drive has a part of the way.
func (d *Demand) checkWay(r *Route, driveID string, i int, p *fault.Path, faults *fault.List) {
	if scaling.Certain(func(c *exact.Calc) bool { return c.Sign(r.Way(c, driveID)) > 0 }) {
		return
	}
	list := p.Field("belts")
	at := list.Index(i)
	faults.Add(&at, fault.Conflict, "drive %q moves the piece over no part of its way: its centre never lies on that belt while the time is counted", driveID)
}

// validateBelts demands a belt for each drive where there are several, all with
// shares of the time that sum to 100 or all with speeds.
func (d *Demand) validateBelts(drives []string, p *fault.Path, faults *fault.List) bool {
	list := p.Field("belts")
	before := len(*faults)
	switch {
	case len(drives) == 1 && len(d.Belts) == 0:
		return true
	case len(drives) == 1:
		faults.Add(&list, fault.Conflict, "is given, but drive %q alone moves the sections; leave it out", drives[0])
		return false
	case len(d.Belts) == 0:
		faults.Add(&list, fault.Required, "is needed: %d drives move the sections, so say each one's timeSharePercent, or each one's speedPercent", len(drives))
		return false
	}
	named := map[string]int{}
	for i := range d.Belts {
		at := list.Index(i)
		d.validateBelt(i, drives, named, &at, faults)
	}
	for _, id := range drives {
		if _, ok := named[id]; !ok {
			faults.Add(&list, fault.Required, "leaves out drive %q, which moves one of the sections", id)
		}
	}
	if len(*faults) == before && d.Belts[0].TimeSharePercent.Set {
		d.validateShares(&list, faults)
	}
	return len(*faults) == before
}

func (d *Demand) validateBelt(i int, drives []string, named map[string]int, at *fault.Path, faults *fault.List) {
	b := &d.Belts[i]
	field := at.Field("driveId")
	if first, twice := named[b.DriveID]; twice {
		faults.Add(&field, fault.Duplicate, "%q is named by belts[%d] already", b.DriveID, first)
	}
	named[b.DriveID] = i
	known := false
	for _, id := range drives {
		known = known || id == b.DriveID
	}
	if !known && b.DriveID != "" {
		faults.Add(&field, fault.NotFound, "drive %q moves none of the sections", b.DriveID)
	}
	switch {
	case b.TimeSharePercent.Set != d.Belts[0].TimeSharePercent.Set:
		faults.Add(at, fault.Conflict, "mixes timeSharePercent and speedPercent; give one of them for all belts")
	case b.TimeSharePercent.Set:
		scaling.ValidateShare(b.TimeSharePercent.Value, 100, at, "timeSharePercent", faults)
	case b.SpeedPercent.Set:
		scaling.ValidateShare(b.SpeedPercent.Value, 1e6, at, "speedPercent", faults)
	}
}

func (d *Demand) validateShares(list *fault.Path, faults *fault.List) {
	sum := func(c *exact.Calc) exact.Num {
		sum := c.Int(0)
		for i := range d.Belts {
			sum = sum.Add(c.Dec(d.Belts[i].TimeSharePercent.Value))
		}
		return sum
	}
	if scaling.Certain(func(c *exact.Calc) bool { return c.Cmp(sum(c), c.Int(100)) != 0 }) {
		faults.Add(list, fault.SharesOff, "has time shares that sum to %v percent; they must sum to 100", sum(new(exact.Calc)).Float())
	}
}
