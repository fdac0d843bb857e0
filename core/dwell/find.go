package dwell

import (
	"slices"
	"strconv"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Request asks for the speeds that give a dwell.
type Request struct {
	Drives    []scaling.Drive // those that move none of the demand's sections are left alone
	Sections  []scaling.Section
	Demand    Demand
	Tolerance scaling.Optional[scaling.Tolerance]
	Pieces    *Pieces // nil: not described
	Dose      *ZoneDose
	Working   bool
}

// Answer is the setpoints for a dwell, and what they give.
type Answer struct {
	Setpoints []Setpoint // in order of travel
	Checks    []scaling.Check
	// The rest is absent where a drive has no setpoint.
	Achieved     units.Quantity // over all sections
	Margin       units.Quantity // of a bound
	TimePerCount units.Quantity // change of Achieved for one count, of the drive for which it is greatest
	Zones        []ZoneTime
	Throughput   *Throughput // where pieces are described
	Dose         *ZoneDoses  // where temperatures are given
	Working      []scaling.Step
}

// Setpoint is that of one drive, whose demand is its part of the time.
type Setpoint struct {
	scaling.Setpoint
	Drive        *scaling.Drive
	Speed        units.Quantity // of the belt
	TimePerCount units.Quantity // change of its time for one count
	// CoarseBelow and CoarseAbove are the speed below or above which one count changes the
	// time by more than the tolerance takes in; one of them, where a tolerance is given.
	CoarseBelow, CoarseAbove units.Quantity
	ReadoutDigit             units.Quantity // what the last digit of a time readout is worth, as speed
	Working                  []scaling.Step
}

// ZoneTime is the time that a point takes through a zone.
type ZoneTime struct {
	SectionID, ID string
	Time          units.Quantity
}

// finder is a request with its names resolved.
type finder struct {
	*Request
	route  Route
	drives []*scaling.Drive // in order of travel
}

// Find finds the speeds and setpoints of req, or everything that is wrong with it
// after the faults that reading it has found already.
func Find(req *Request, found fault.List) (Answer, fault.List) {
	f := finder{Request: req}
	if faults := f.prepare(found); len(faults) > 0 {
		return Answer{}, faults
	}
	out := scaling.Certain(f.answer)
	f.fits(&out)
	f.dose(&out)
	if req.Working {
		f.working(&out)
	}
	return out, nil
}

func (f *finder) prepare(faults fault.List) fault.List {
	root := fault.Root("drives")
	drives := map[string]int{}
	for i := range f.Drives {
		at := root.Index(i)
		scaling.Validate(&f.Drives[i], &at, &faults)
		unique(drives, "drives", f.Drives[i].ID, i, &at, &faults)
	}
	root = fault.Root("sections")
	sections := map[string]int{}
	for i := range f.Sections {
		at := root.Index(i)
		scaling.ValidateSection(&f.Sections[i], &at, &faults)
		unique(sections, "sections", f.Sections[i].ID, i, &at, &faults)
	}
	dwell := fault.Root("dwell")
	f.Demand.Validate(&dwell, &faults)
	f.resolve(drives, sections, &dwell, &faults)
	if f.Tolerance.Set {
		at := fault.Root("tolerance")
		scaling.ValidateTolerance(&f.Tolerance.Value, &at, &faults)
		if f.Demand.Time.Unit == nil {
			faults.Add(&at, fault.Conflict, "is given, but a bound has none: give atLeast and atMost for a range")
		}
	}
	if f.Pieces != nil {
		f.Pieces.validate(&faults)
	}
	if f.Dose != nil {
		f.validateDose(&faults)
	}
	if len(faults) == 0 {
		f.Demand.ValidateOn(&f.route, &dwell, &faults)
	}
	return faults
}

func unique(ids map[string]int, list, id string, i int, at *fault.Path, faults *fault.List) {
	if first, twice := ids[id]; twice && id != "" {
		field := at.Field("id")
		faults.Add(&field, fault.Duplicate, "%q is also the id of %s[%d]; give each its own", id, list, first)
		return
	}
	ids[id] = i
}

// resolve finds the sections that the demand names, and their drives.
func (f *finder) resolve(drives, sections map[string]int, dwell *fault.Path, faults *fault.List) {
	f.route = Route{Piece: f.Demand.Piece, Belts: f.Demand.Belts}
	list := dwell.Field("sectionIds")
	named := map[string]int{}
	for i, id := range f.Demand.SectionIDs {
		at := list.Index(i)
		place, known := sections[id]
		switch first, twice := named[id]; {
		case twice:
			faults.Add(&at, fault.Duplicate, "%q is named by sectionIds[%d] already; a piece passes a section once", id, first)
		case known:
			f.route.Sections = append(f.route.Sections, &f.Sections[place])
		case id != "":
			faults.Add(&at, fault.NotFound, "no section of the request has the id %q", id)
		}
		named[id] = i
	}
	for _, id := range f.route.DriveIDs() {
		f.resolveDrive(id, drives, sections, faults)
	}
}

func (f *finder) resolveDrive(id string, drives, sections map[string]int, faults *fault.List) {
	i, known := drives[id]
	if !known {
		for _, s := range f.route.Sections {
			if s.DriveID == id && id != "" {
				root := fault.Root("sections")
				at := root.Index(sections[s.ID])
				field := at.Field("driveId")
				faults.Add(&field, fault.NotFound, "no drive of the request has the id %q", id)
			}
		}
		return
	}
	d := &f.Drives[i]
	f.drives = append(f.drives, d)
	if dim, known := d.KnownRateDimension(); known && dim != units.SpeedDim {
		root := fault.Root("drives")
		at := root.Index(i)
		faults.Add(&at, fault.Conflict, "moves a section, and does not deliver a length: give it a roll or a sprocket, or a reference in a unit such as m/min")
	}
}

// subject returns what the setpoint of a drive is found for.
func (f *finder) subject(d *scaling.Drive) scaling.Subject {
	s := scaling.Subject{Drive: d, ReadoutSection: f.readoutSection(d)}
	if f.Tolerance.Set {
		s.Tolerance = &f.Tolerance.Value
	}
	return s
}

// readoutSection returns the section whose dwell a time readout of d shows: the one
// it names, else the only one that it moves.
func (f *finder) readoutSection(d *scaling.Drive) (section *scaling.Section) {
	if d.Readout.Unit == nil || d.Readout.Unit.Dimension() != units.TimeDim {
		return nil
	}
	for i := range f.Sections {
		switch s := &f.Sections[i]; {
		case s.DriveID != d.ID:
		case s.ID == d.Readout.SectionID:
			return s
		case d.Readout.SectionID != "":
		case section != nil:
			return nil
		default:
			section = s
		}
	}
	return section
}

// asked is the time that is asked for, with its place in the request.
func (f *finder) asked() (time units.Quantity, field string) {
	time, field, _ = f.Demand.Asked()
	return time, "dwell." + field
}

// answer finds the setpoints, once, with c.
//
//	achieved time   sum over the drives of way / speed
//	time per count  (time of the drive)^2 / way * speed per count
//
// Source: kinematics; the second is the derivative of way / speed.
func (f *finder) answer(c *exact.Calc) Answer {
	out := Answer{Setpoints: make([]Setpoint, len(f.drives))}
	asked, field := f.asked()
	run := moving{speeds: map[string]exact.Num{}}
	for i, d := range f.drives {
		sp := &out.Setpoints[i]
		sp.Drive = d
		subject, measure := f.subject(d), f.route.Measure(&f.Demand, d.ID)
		before := len(out.Checks)
		at := scaling.For(c, &subject, measure, asked.Base(c).Mul(f.route.Part(c, d.ID)), &out.Checks, &sp.Setpoint)
		f.place(out.Checks[before:], d, field, measure.Goal)
		if len(f.drives) == 1 {
			sp.Demanded = asked // digit for digit as it was sent
		}
		if !sp.AchievedRPM.Set {
			run.incomplete = true
			continue
		}
		run.speeds[d.ID] = at.Rate
		f.describe(c, &subject, at.Rate, sp)
	}
	if !run.incomplete {
		f.whole(c, &run, &out)
	}
	f.checkDeadPlates(c, &out)
	return out
}

// moving is the speeds of the belts at their setpoints, by drive.
type moving struct {
	speeds     map[string]exact.Num
	incomplete bool
}

// place tells for each check of drive d the field that it speaks of: one of the drive
// itself, or the demand.
func (f *finder) place(checks []scaling.Check, d *scaling.Drive, field string, goal scaling.Goal) {
	for k := range checks {
		if checks[k].Field != "" {
			checks[k].Within(f.pathOf(d))
			continue
		}
		checks[k].Field = field
		if goal == scaling.Between && checks[k].Code == scaling.AboveHighestSpeed {
			checks[k].Field = "dwell.atMost"
		}
		switch {
		case checks[k].Fit.Unit == nil:
		case len(f.drives) > 1:
			checks[k].Fit = units.Quantity{} // of the drive's part; see fits
		default:
			checks[k].FitField = checks[k].Field
		}
	}
}

func (f *finder) pathOf(d *scaling.Drive) string {
	root := fault.Root("drives")
	at := root.Index(slices.IndexFunc(f.Drives, func(other scaling.Drive) bool { return other.ID == d.ID }))
	return at.String()
}

// describe adds what the belt does.
func (f *finder) describe(c *exact.Calc, s *scaling.Subject, rate exact.Num, sp *Setpoint) {
	u := scaling.RateUnit(s.Drive)
	sp.Speed = units.Quantity{Value: units.FromBase(c, rate, u).Float(), Unit: u}
	f.readoutDigit(c, s, rate, sp)
	perCount, ok := scaling.RatePerCount(c, s, rate)
	if !ok {
		return
	}
	f.coarse(c, s.Drive, rate, perCount, sp)
	way := f.route.Way(c, s.Drive.ID)
	time := way.Quo(rate)
	sp.TimePerCount = f.time(c, time.Mul(time).Quo(way).Mul(perCount))
}

// readoutDigit tells what the last digit of a time readout is worth: its steps are
// equal in time, so at twice the speed each is worth four times as much of it.
//
//	speed^2 / length * digit
func (f *finder) readoutDigit(c *exact.Calc, s *scaling.Subject, rate exact.Num, sp *Setpoint) {
	r := &s.Drive.Readout
	if s.ReadoutSection == nil || r.Unit == nil || r.Unit.Dimension() != units.TimeDim {
		return
	}
	digit := units.Quantity{Value: 1, Unit: r.Unit}.Base(c)
	for range r.Decimals {
		digit = digit.Quo(c.Int(10))
	}
	worth := rate.Mul(rate).Quo(s.ReadoutSection.Length.Base(c)).Mul(digit)
	u := sp.Speed.Unit
	sp.ReadoutDigit = units.Quantity{Value: units.FromBase(c, worth, u).Float(), Unit: u}
}

// coarse tells from which speed on one count changes the time by more than the tolerance
// takes in: below it where counts are steps of speed, above it where they are steps of
// time.
//
//	step of speed / (minus + plus), or speed * (minus + plus) / (step of speed / speed)
func (f *finder) coarse(c *exact.Calc, d *scaling.Drive, rate, perCount exact.Num, sp *Setpoint) {
	if !f.Tolerance.Set {
		return
	}
	t := &f.Tolerance.Value
	width := c.Percent(t.MinusPercent).Add(c.Percent(t.PlusPercent))
	if c.Sign(width) == 0 {
		return
	}
	u := sp.Speed.Unit
	if d.Register.DwellLength.Unit != nil {
		speed := rate.Mul(rate).Mul(width).Quo(perCount)
		sp.CoarseAbove = units.Quantity{Value: units.FromBase(c, speed, u).Float(), Unit: u}
		return
	}
	sp.CoarseBelow = units.Quantity{Value: units.FromBase(c, perCount.Quo(width), u).Float(), Unit: u}
}

// time returns n minutes in the unit of the demand.
func (f *finder) time(c *exact.Calc, n exact.Num) units.Quantity {
	asked, _, _ := f.Demand.Asked()
	return units.Quantity{Value: units.FromBase(c, n, asked.Unit).Float(), Unit: asked.Unit}
}

// whole adds what all belts give together.
func (f *finder) whole(c *exact.Calc, run *moving, out *Answer) {
	sum := c.Int(0)
	for i, d := range f.drives {
		sum = sum.Add(f.route.Way(c, d.ID).Quo(run.speeds[d.ID]))
		if t := out.Setpoints[i].TimePerCount; t.Unit != nil && t.Value > out.TimePerCount.Value {
			out.TimePerCount = t
		}
	}
	out.Achieved = f.time(c, sum)
	f.margin(c, sum, out)
	for _, s := range f.route.Sections {
		for i := range s.Zones {
			z := &s.Zones[i]
			out.Zones = append(out.Zones, ZoneTime{s.ID, z.ID, f.time(c, z.Length.Base(c).Quo(run.speeds[s.DriveID]))})
		}
	}
	if f.Pieces != nil {
		f.throughput(c, run, out)
	}
}

// margin tells how far the whole time is on the safe side of a bound.
func (f *finder) margin(c *exact.Calc, achieved exact.Num, out *Answer) {
	d := &f.Demand
	if d.Time.Unit != nil {
		return
	}
	var margin exact.Num
	if d.AtLeast.Unit != nil {
		margin = achieved.Sub(d.AtLeast.Base(c))
	}
	if d.AtMost.Unit != nil {
		below := d.AtMost.Base(c).Sub(achieved)
		if d.AtLeast.Unit == nil || c.Cmp(below, margin) < 0 {
			margin = below
		}
	}
	out.Margin = f.time(c, margin)
}

// fitTries bounds how often a value is moved inwards before it is given up.
const fitTries = 10

// fits finds for each drive out of range of a series the whole time that would fit.
// A proposed value is proven by asking for it.
func (f *finder) fits(out *Answer) {
	if len(f.drives) == 1 {
		return
	}
	for k := range out.Checks {
		check := &out.Checks[k]
		if check.Limit.Unit == nil || !check.ExcessPercent.Set {
			continue
		}
		for i := range out.Setpoints {
			if out.Setpoints[i].Drive.ID == check.DriveID {
				check.Fit, check.FitField = f.fitOf(check, out.Setpoints[i].Demanded)
			}
		}
	}
}

// fitOf returns a time for the check's field with which all drives would run.
func (f *finder) fitOf(check *scaling.Check, part units.Quantity) (fit units.Quantity, field string) {
	asked, field := f.asked()
	if check.Field != field || f.Demand.AtLeast.Unit != nil && f.Demand.AtMost.Unit != nil {
		return units.Quantity{}, "" // of two bounds both may have to move
	}
	step := 0.0
	for range fitTries {
		inwards := 1 + step
		if check.Code == scaling.BelowLowestSpeed {
			inwards = 1 - step
		}
		try := *f.Request
		fit = units.Quantity{Value: sixDigits(asked.Value * (check.Limit.Value / part.Value) * inwards), Unit: asked.Unit}
		try.Demand.replace(fit)
		trial := finder{Request: &try, route: f.route, drives: f.drives}
		trial.Pieces = nil
		if answer := scaling.Certain(trial.answer); answer.Achieved.Unit != nil {
			return fit, field
		}
		step = max(2*step, 1.0/(1<<15))
	}
	return units.Quantity{}, ""
}

// replace puts another time in the place of the one that is asked for.
func (d *Demand) replace(time units.Quantity) {
	switch {
	case d.Time.Unit != nil:
		d.Time = time
	case d.AtLeast.Unit != nil:
		d.AtLeast = time
	default:
		d.AtMost = time
	}
}

// sixDigits rounds to six significant digits.
func sixDigits(v float64) float64 {
	out, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	return out
}
