package dwell

import (
	"fmt"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

var one = units.MustParse("1")

// Steps derives the drive's part of the way and of the time, which make up its
// measure and its demanded time.
func (r *Route) Steps(d *Demand, driveID string, part units.Quantity) []scaling.Step {
	c := new(exact.Calc)
	steps := []scaling.Step{r.wayStep(c, driveID)}
	if len(r.Belts) == 0 {
		return steps
	}
	asked, _, _ := d.Asked()
	share := units.Quantity{Value: r.Part(c, driveID).Float(), Unit: one}
	if !r.Belts[0].TimeSharePercent.Set {
		steps = append(steps, r.shareStep(c, driveID, share))
	} else {
		share = units.Quantity{Value: share.Value * 100, Unit: percent}
	}
	return append(steps, step("dwell-part/1", "time on this drive's belts", "time * share", part, input("time", asked), input("share", share)))
}

func (r *Route) wayStep(c *exact.Calc, driveID string) scaling.Step {
	way := metres(r.Way(c, driveID).Float())
	if len(r.Sections) == 1 {
		return wayStep(&r.Piece, r.Sections[0].Length, way)
	}
	var terms []string
	var inputs []scaling.Input
	for i, p := range r.parts(c, driveID) {
		n := fmt.Sprint(i + 1)
		terms = append(terms, "to"+n+" - from"+n)
		inputs = append(inputs, input("from"+n, metres(p.from.Float())), input("to"+n, metres(p.to.Float())))
	}
	return step("dwell-way/1", "travel on this drive's belts, between positions of the piece's centre", strings.Join(terms, " + "), way, inputs...)
}

// shareStep derives the share of the time from the speeds in ratio.
func (r *Route) shareStep(c *exact.Calc, driveID string, share units.Quantity) scaling.Step {
	var terms []string
	var inputs []scaling.Input
	own := ""
	for i := range r.Belts {
		b, n := &r.Belts[i], fmt.Sprint(i+1)
		terms = append(terms, "way"+n+" / speed"+n)
		inputs = append(inputs, input("way"+n, metres(r.Way(c, b.DriveID).Float())), input("speed"+n, units.Quantity{Value: b.SpeedPercent.Value, Unit: percent}))
		if b.DriveID == driveID {
			own = terms[i]
		}
	}
	return step("dwell-part/1", "share of the time on this drive's belts", own+" / ("+strings.Join(terms, " + ")+")", share, inputs...)
}

// working adds how each number of out was found.
func (f *finder) working(out *Answer) {
	for i := range out.Setpoints {
		f.driveSteps(&out.Setpoints[i])
	}
	if out.Achieved.Unit == nil {
		return
	}
	f.totalStep(out)
	for _, z := range out.Zones {
		f.zoneStep(z, out)
	}
	if out.Throughput != nil {
		f.throughputSteps(out)
	}
}

func (f *finder) driveSteps(sp *Setpoint) {
	c := new(exact.Calc)
	measure, subject := f.route.Measure(&f.Demand, sp.Drive.ID), f.subject(sp.Drive)
	if !f.Demand.Plain() {
		sp.Working = f.route.Steps(&f.Demand, sp.Drive.ID, sp.Demanded)
	}
	sp.Working = append(sp.Working, scaling.Working(&subject, measure, &sp.Setpoint)...)
	if sp.TimePerCount.Unit != nil {
		perCount, _ := scaling.RatePerCount(c, &subject, sp.Speed.Base(c))
		sp.Working = append(sp.Working, step("time-per-count/1", "change of the time for one count", "time * time / way * speedPerCount", sp.TimePerCount,
			input("time", sp.Achieved), input("way", measure.Length), input("speedPerCount", speed(perCount.Float()))))
	}
}

func (f *finder) totalStep(out *Answer) {
	if len(f.drives) == 1 {
		return // it is the setpoint's own
	}
	var terms []string
	var inputs []scaling.Input
	for i := range out.Setpoints {
		n := fmt.Sprint(i + 1)
		terms = append(terms, "time"+n)
		inputs = append(inputs, input("time"+n, out.Setpoints[i].Achieved))
	}
	out.Working = append(out.Working, step("dwell-total/1", "time over all sections", strings.Join(terms, " + "), out.Achieved, inputs...))
}

// speedOf returns the speed of the belt of a section.
func (f *finder) speedOf(driveID string, out *Answer) units.Quantity {
	for i := range out.Setpoints {
		if out.Setpoints[i].Drive.ID == driveID {
			return out.Setpoints[i].Speed
		}
	}
	return units.Quantity{}
}

func (f *finder) zoneStep(z ZoneTime, out *Answer) {
	for _, s := range f.route.Sections {
		for i := range s.Zones {
			if s.ID == z.SectionID && s.Zones[i].ID == z.ID {
				out.Working = append(out.Working, step("zone-time/1", "time of a point in zone "+z.ID+" of section "+s.ID, "length / speed", z.Time,
					input("length", s.Zones[i].Length), input("speed", f.speedOf(s.DriveID, out))))
			}
		}
	}
}

func (f *finder) throughputSteps(out *Answer) {
	c, p, t := new(exact.Calc), f.Pieces, out.Throughput
	rows := input("rows", units.Quantity{Value: p.rows(c).Float(), Unit: piece})
	add := func(id, name, formula string, result units.Quantity, inputs ...scaling.Input) {
		out.Working = append(out.Working, step(id, name, formula, result, inputs...))
	}
	rate := input("rate", t.PieceRate)
	if p.Rate.Unit == nil {
		add("piece-rate/1", "pieces in all rows", "rows * speed / pitch", t.PieceRate, rows, input("speed", f.speedOf(f.drives[0].ID, out)), input("pitch", p.Pitch))
	}
	for i := range t.Belts {
		l := &t.Belts[i]
		belt := " on the belt of " + l.DriveID
		add("pitch/1", "pitch"+belt, "rows * speed / rate", l.Pitch, rows, input("speed", f.speedOf(l.DriveID, out)), rate)
		add("pitch/1", "gap"+belt, "pitch - length", l.Gap, input("pitch", l.Pitch), input("length", p.Length))
		add("loading/1", "loading"+belt, "rate / speed", l.Loading, rate, input("speed", f.speedOf(l.DriveID, out)))
	}
	point := Route{Sections: f.route.Sections, Piece: Piece{Meaning: Point}}
	var terms []string
	inputs := []scaling.Input{rate}
	for i, d := range f.drives {
		n := fmt.Sprint(i + 1)
		terms = append(terms, "way"+n+" / speed"+n)
		inputs = append(inputs, input("way"+n, metres(point.Way(c, d.ID).Float())), input("speed"+n, f.speedOf(d.ID, out)))
	}
	add("work-in-process/1", "pieces on the way (Little's law)", "rate * ("+strings.Join(terms, " + ")+")", t.WorkInProcess, inputs...)
	if p.Mass.Unit != nil {
		mass := input("mass", units.Quantity{Value: p.Mass.Base(c).Float(), Unit: kilogramPerPiece})
		add("mass-rate/1", "mass in all rows", "rate * mass", t.MassRate, rate, mass)
	}
}
