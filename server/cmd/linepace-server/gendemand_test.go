package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// build makes the whole plan: perhaps a blend, then drive by drive, each with its
// demand, and in the end a random order of both.
func (g *generator) build() *jsonPlan {
	if g.one(40) {
		g.blend()
	}
	if g.one(30) {
		g.rolls()
	}
	for range 3 + g.IntN(7) {
		dim := pick(g, dimLength, dimLength, dimLength, dimLength, dimVolume, dimVolume, dimMass, dimPieces, dimPieces, refDim{})
		g.demand(g.drive(dim, anyDrive))
	}
	drives, demands := g.plan.Line.Drives, g.plan.Product.Demands
	g.Shuffle(len(drives), func(i, j int) { drives[i], drives[j] = drives[j], drives[i] })
	g.Shuffle(len(demands), func(i, j int) { demands[i], demands[j] = demands[j], demands[i] })
	g.plan.IncludeWorking = g.one(10)
	if g.one(20) {
		g.running()
	}
	return g.plan
}

// running makes the product that runs now: the same one with other rates.
func (g *generator) running() {
	before := g.plan.Product
	before.Demands = nil
	for _, d := range g.plan.Product.Demands {
		other := *d
		if r := g.ref.drives[d.DriveID]; d.Rate != nil {
			other.Rate = g.pointer(g.valueFor(r, r.view(d.Rate.dim()), d.Rate.Unit, num(d.Rate.Value).sign()))
		} else if d.Stopped == nil && d.leader() == "" && g.one(20) {
			other = jsonDemand{DriveID: d.DriveID, LeaveAsIs: &struct{}{}}
		}
		before.Demands = append(before.Demands, &other)
	}
	for _, d := range before.Demands { // a leader that is left as it is has no speed to follow
		for _, leader := range before.Demands {
			if d.leader() == leader.DriveID && leader.LeaveAsIs != nil {
				leader.LeaveAsIs, leader.Rate = nil, &jsonQuantity{g.ref.drives[leader.DriveID].Motor.MaxRpm, "r/min"}
			}
		}
	}
	g.plan.Running = &before
}

func anyDrive(*refDrive) bool { return true }

// rolls adds a roll and one that follows it, both neat and counted in r/min: pi
// cancels between them, so that a tie can be exact.
func (g *generator) rolls() {
	neatRoll := func(r *refDrive) bool {
		return g.neat && r.Delivery != nil && r.Delivery.Roll != nil && len(r.References) == 0 &&
			r.Register != nil && r.Register.Integer != nil && r.Register.Span[0].Value.dim() == dimSpeed
	}
	leader := g.drive(dimLength, neatRoll)
	lowest, highest := leader.limits(1)
	speed := g.twosAndFives(max(lowest.rpm.float64(), highest.rpm.float64()/2), highest.rpm.float64())
	g.add(leader, &jsonDemand{DriveID: leader.ID, Rate: &jsonQuantity{speed, "r/min"}})
	lead := g.ref.setpoints[leader.ID]
	follower := g.drive(dimLength, neatRoll)
	d := &jsonDemand{DriveID: follower.ID, Ratio: &jsonRatio{leader.ID, "100", "PROCESS_RATE"}}
	if !lead.runs() || !g.scaleToTarget(follower, d, leader, lead) {
		g.rate(follower, d)
		d.Ratio = nil
	}
	g.add(follower, d)
}

// add puts a demand into the plan, then sets tolerance and readout to the edge of
// what comes out.
func (g *generator) add(r *refDrive, d *jsonDemand) {
	g.plan.Product.Demands = append(g.plan.Product.Demands, d)
	g.ref.demands[r.ID] = d
	if s := g.ref.setpoint(r.ID); s.runs() {
		d.Tolerance = g.tolerance(s)
		g.readoutAtHalf(s, d)
	}
}

// drive adds a drive that delivers in a dimension, or nothing for the empty one.
func (g *generator) drive(dim refDim, accept func(*refDrive) bool) *refDrive {
	for {
		g.neat = g.one(50)
		d := &jsonDrive{ID: fmt.Sprint("drive-", len(g.plan.Line.Drives)), Motor: g.motor(), Transmission: g.transmission()}
		material := g.material(dim)
		if dim != (refDim{}) && !g.one(6) {
			d.Delivery = g.delivery(dim, newRefDrive(d, material, nil))
		}
		ref := newRefDrive(d, material, g.sectionsFor(d.ID, dim))
		g.reference(d, ref, dim)
		ref = newRefDrive(d, material, ref.sections)
		d.Sensors = g.sensors(d, ref)
		d.Register = g.register(d, ref)
		d.Readout = g.readout(ref)
		if lowest, highest := ref.limits(1); !lowest.rpm.less(highest.rpm.mul(fraction(1, 2))) || !accept(ref) {
			continue
		}
		g.plan.Line.Drives = append(g.plan.Line.Drives, d)
		g.plan.Line.Sections = append(g.plan.Line.Sections, ref.sections...)
		if material != nil {
			g.plan.Product.Materials = append(g.plan.Product.Materials, material)
		}
		g.ref.drives[d.ID] = ref
		return ref
	}
}

// reference measures a drive that has a delivery now and then, and one that has
// none always.
func (g *generator) reference(d *jsonDrive, ref *refDrive, dim refDim) {
	at := g.between(100, 1500)
	switch {
	case dim == (refDim{}) || (ref.own != nil && !g.one(10)):
	case ref.own == nil:
		d.References = []jsonReference{{Value: g.quantity(1e-3, 1, genUnits[dim]), MotorRpm: at}}
	default:
		off := pick(g, fraction(1, 1), fraction(95+g.Int64N(10), 100))
		if value := ref.own.at(num(at)).mul(off); value.sign() > 0 {
			unit := pick(g, genUnits[dim]...)
			factor, _ := refUnit(unit)
			d.References = []jsonReference{{Value: jsonQuantity{g.write(value.div(factor), g.one(50)), unit}, MotorRpm: at}}
		}
	}
	if len(d.References) > 0 && g.one(50) {
		g.moreReferences(d, ref, dim)
	}
}

// moreReferences measures a drive again, at the same speed or at others, exactly or
// with scatter, in other units; some or all with a stated uncertainty.
func (g *generator) moreReferences(d *jsonDrive, ref *refDrive, dim refDim) {
	first := d.References[0]
	model := ref.own
	if model == nil {
		model = &refView{a: first.Value.si().div(num(first.MotorRpm)), b: integer(0)}
	}
	share, scatters := g.IntN(3)*50, g.one(50)
	state := func(r *jsonReference) {
		if g.one(share) {
			r.UncertaintyPercent = pick(g, "1", "0.25", "0.5", g.between(0.01, 10))
		}
	}
	all := []jsonReference{first}
	state(&all[0])
	for range 1 + g.IntN(4) {
		r := jsonReference{MotorRpm: pick(g, first.MotorRpm, "200", "800", g.between(100, 1500), g.between(100, 1500))}
		value := model.at(num(r.MotorRpm))
		if scatters {
			value = value.mul(fraction(970+g.Int64N(60), 1000))
		}
		if value.sign() <= 0 {
			continue
		}
		unit := pick(g, genUnits[dim]...)
		factor, _ := refUnit(unit)
		r.Value = jsonQuantity{g.write(value.div(factor), !scatters), unit}
		state(&r)
		all = append(all, r)
	}
	trial := *d
	trial.References = all
	if fitReferences(&trial).slope.Sign() > 0 {
		d.References = all
	}
}

func (g *generator) material(dim refDim) *jsonMaterial {
	if dim != dimVolume && dim != dimMass {
		return nil
	}
	m := &jsonMaterial{ID: fmt.Sprint("material-", len(g.plan.Product.Materials))}
	m.Density = g.pointer(g.quantity(500, 2500, genDensities))
	m.BulkDensity = g.pointer(g.quantity(200, 2000, genDensities))
	if g.one(50) {
		m.FillPercent = pick(g, "80", "62.5", "100", g.between(20, 100))
	}
	switch g.IntN(3) {
	case 0:
		m.Moisture = &jsonMoisture{pick(g, "20", "37.5", g.between(0.5, 60)), "WET"}
	case 1:
		m.Moisture = &jsonMoisture{pick(g, "25", "28", g.between(0.5, 150)), "DRY"}
	}
	return m
}

func (g *generator) sectionsFor(id string, dim refDim) []*jsonSection {
	var sections []*jsonSection
	if dim == dimLength {
		for i := range g.IntN(3) {
			sections = append(sections, &jsonSection{fmt.Sprint(id, "-section-", i), id, g.quantity(0.5, 100, genLengths)})
		}
	}
	return sections
}

// demand asks something of a drive.
func (g *generator) demand(r *refDrive) {
	d := &jsonDemand{DriveID: r.ID}
	if r.material != nil {
		d.MaterialID = r.material.ID
	}
	switch kind := g.IntN(100); {
	case kind < 2:
		d.LeaveAsIs = &struct{}{}
	case kind < 6:
		d.Stopped = &struct{}{}
	case kind < 50 && g.follow(r, d):
	case kind < 70 && len(r.sections) > 0:
		section := pick(g, r.sections...)
		unit := pick(g, genUnits[dimTime]...)
		d.Dwell = &jsonDwell{[]string{section.ID}, g.valueFor(r, r.dwell(section), unit, 1), &struct{}{}}
	default:
		g.rate(r, d)
	}
	g.add(r, d)
}

// rate asks for a rate in one of the units that the drive can be asked in.
func (g *generator) rate(r *refDrive, d *jsonDemand) {
	dims := []refDim{dimSpeed}
	if r.own != nil {
		dims = append(dims, r.own.dim, r.own.dim, r.own.dim)
		if r.own.dim == dimVolume {
			dims = append(dims, dimMass, dimMass)
		}
		if r.own.dim == dimMass {
			dims = append(dims, dimVolume)
		}
	}
	dim, sign := pick(g, dims...), 1
	if r.spansBelowZero() && g.one(40) {
		if lowest, highest := r.limits(-1); lowest.rpm.less(highest.rpm) {
			sign = -1
		}
	}
	d.Rate = g.pointer(g.valueFor(r, r.view(dim), pick(g, genUnits[dim]...), sign))
}

func (g *generator) valueFor(r *refDrive, view refView, unit string, sign int) jsonQuantity {
	factor, _ := refUnit(unit)
	n, exact := g.target(r, view, sign)
	return jsonQuantity{g.write(view.at(n).div(factor), exact), unit}
}

// target is a motor speed to ask for, and whether it must be met as nearly as a
// double can. The view's value there is not zero and has the sign.
func (g *generator) target(r *refDrive, view refView, sign int) (n piNumber, exact bool) {
	for {
		n, exact = g.speed(r, sign)
		if n.sign() != sign {
			continue
		}
		if view.dim == dimTime {
			return n, exact
		}
		if view.at(n).sign() == sign {
			return n, exact
		}
	}
}

func (g *generator) speed(r *refDrive, sign int) (n piNumber, exact bool) {
	lowest, highest := r.limits(sign)
	toward := integer(int64(sign))
	share := fraction(g.Int64N(1001), 1000)
	n = lowest.rpm.add(highest.rpm.sub(lowest.rpm).mul(share)).mul(toward)
	line := r.register()
	switch kind := g.IntN(100); {
	case kind < 35 && line != nil && line.integer:
		return line.rpm(ofInt(line.output(n).floor()).add(fraction(1, 2))), true
	case kind < 42 && line != nil && line.integer:
		return line.rpm(ofInt(line.output(n).round())), true
	case kind < 50:
		return pick(g, lowest, highest, highest).rpm.mul(toward), true
	case kind < 56:
		little := exactly(new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(g.Int64N(16)), nil)))
		if g.one(40) {
			return lowest.rpm.mul(one().sub(little.mul(fraction(1, 2)))).mul(toward), true
		}
		return highest.rpm.mul(one().add(little)).mul(toward), true
	}
	return n, false
}

// write gives x as nearly as a double can, or with a few digits.
func (g *generator) write(x piNumber, exact bool) json.Number {
	if exact {
		return g.aim(x)
	}
	value := x.float64()
	if g.neat && value > 0 && g.one(50) {
		return g.twosAndFives(value*0.88, value*1.15)
	}
	return g.spell(strconv.FormatFloat(value, 'g', pick(g, 2, 3, 4, 5, 8, 15, 17), 64))
}

// follow makes a drive follow an earlier one, if there is one that it can follow.
func (g *generator) follow(r *refDrive, d *jsonDemand) bool {
	if len(g.plan.Line.Drives) < 2 {
		return false
	}
	leader := g.ref.drives[pick(g, g.plan.Line.Drives[:len(g.plan.Line.Drives)-1]...).ID]
	lead := g.ref.setpoints[leader.ID]
	if lead.action != "RUN" || (!lead.runs() && !g.one(30)) || !g.canGo(r, lead) {
		return false
	}
	switch both := leader.own != nil && r.own != nil; {
	case both && leader.own.dim == r.own.dim && g.one(80):
		d.Ratio = &jsonRatio{leader.ID, "100", "PROCESS_RATE"}
	case both && leader.own.dim == dimLength && r.own.dim == dimPieces && g.one(80):
		d.LengthPerPiece = &jsonLengthPerPiece{leader.ID, jsonQuantity{"1", pick(g, genLengths...)}}
	case both && leader.own.dim == dimPieces && r.own.dim == dimLength && g.one(80):
		d.LengthPerPiece = &jsonLengthPerPiece{leader.ID, jsonQuantity{"1", pick(g, genLengths...)}}
	case g.one(50):
		d.Ratio = &jsonRatio{leader.ID, "100", "MOTOR_SPEED"}
	default:
		return false
	}
	if lead.runs() && !g.scaleToTarget(r, d, leader, lead) {
		d.Ratio, d.LengthPerPiece = nil, nil
		return false
	}
	return true
}

// canGo tells whether a drive can follow in the leader's direction.
func (g *generator) canGo(r *refDrive, lead *refSetpoint) bool {
	speed := lead.achieved
	if !lead.runs() { // it may, when it is asked for another speed
		speed = lead.rpm
	}
	switch own := lead.drive.own; {
	case lead.blocked == "LEADER_HAS_NO_SETPOINT":
		return true
	case own != nil && own.at(speed).sign() != speed.sign(): // a pump below its leak
		return false
	case speed.sign() > 0:
		return true
	}
	lowest, highest := r.limits(-1)
	return r.spansBelowZero() && lowest.rpm.less(highest.rpm)
}

// scaleToTarget sets the ratio or length so that the follower gets where the
// generator wants it; false where no ratio in range does.
func (g *generator) scaleToTarget(r *refDrive, d *jsonDemand, leader *refDrive, lead *refSetpoint) bool {
	view, asked := g.ref.asked(r, d)
	n, exact := g.target(r, view, lead.achieved.sign())
	times := view.at(n).div(asked(lead.achieved))
	if f := times.float64(); f < 1e-4 || f > 5000 {
		return false
	}
	switch {
	case d.Ratio != nil:
		d.Ratio.Percent = g.write(times.mul(integer(100)), exact)
	case leader.own.dim == dimLength:
		d.LengthPerPiece.Length.Value = g.write(one().div(times), exact)
	default:
		d.LengthPerPiece.Length.Value = g.write(times, exact)
	}
	return true
}

// tolerance is nil, wide, narrow, or such that the value or its band just meets it.
func (g *generator) tolerance(s *refSetpoint) *jsonTolerance {
	t := &jsonTolerance{pick(g, "0", "1", g.between(1e-4, 5)), pick(g, "0", "0.5", g.between(1e-4, 5))}
	edges := []piNumber{s.view.at(s.achieved)}
	switch kind := g.IntN(10); {
	case kind < 2:
		return nil
	case kind < 4:
		return t
	case kind < 6:
		return &jsonTolerance{"30", "40"}
	case kind < 8 && s.band != nil:
		edges = s.band
	}
	for _, edge := range edges {
		miss := edge.div(s.demanded).sub(one()).mul(integer(100))
		if hundred := integer(100); hundred.less(miss.abs()) {
			continue
		}
		if miss.sign() < 0 {
			t.MinusPercent = atLeastZero(g.aim(miss.neg()))
		} else {
			t.PlusPercent = atLeastZero(g.aim(miss))
		}
	}
	return t
}

// atLeastZero also drops what the contract takes for no number: below 1e-12.
func atLeastZero(text json.Number) json.Number {
	if num(text).less(fraction(1, 1e12)) {
		return "0"
	}
	return text
}

// readoutAtHalf turns what the readout shows to the middle between two texts: by
// its decimals, by the section whose dwell it shows, or by the roll's diameter.
func (g *generator) readoutAtHalf(s *refSetpoint, d *jsonDemand) {
	r := s.drive
	if r.Readout == nil || !g.one(40) {
		return
	}
	factor, dim := refUnit(r.Readout.Unit)
	if dim == dimTime {
		g.sectionAtHalf(s, d, factor)
		return
	}
	value := r.view(dim).at(s.achieved).div(factor)
	if text, ok := exactText(value); ok {
		_, after, _ := strings.Cut(string(text), ".")
		if strings.HasSuffix(after, "5") && len(after) <= 7 {
			r.Readout.Decimals, r.Readout.Digits = len(after)-1, 9
		}
		return
	}
	g.rollAtHalf(s, dim, value)
}

func (g *generator) sectionAtHalf(s *refSetpoint, d *jsonDemand, factor piNumber) {
	section := s.drive.shownSection(s.drive.Readout)
	if section == nil || (d.Dwell != nil && d.Dwell.SectionIDs[0] == section.ID) {
		return
	}
	ten := ofInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(s.drive.Readout.Decimals)), nil))
	shown := ofInt(s.drive.dwell(section).at(s.achieved).div(factor).mul(ten).floor()).add(fraction(1, 2)).div(ten)
	unit, _ := refUnit(section.Length.Unit)
	length := shown.mul(factor).mul(s.drive.view(dimLength).at(s.achieved)).div(unit)
	section.Length.Value = g.aim(length)
}

// rollAtHalf is for a demand and a register in r/min: then the diameter changes
// the readout alone.
func (g *generator) rollAtHalf(s *refSetpoint, dim refDim, value piNumber) {
	r := s.drive
	inRpm := s.view.dim == dimSpeed && (r.Register == nil || r.Register.Span[0].Value.dim() == dimSpeed)
	if dim != dimLength || !inRpm || r.Delivery == nil || r.Delivery.Roll == nil || len(r.References) > 0 {
		return
	}
	ten := ofInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(r.Readout.Decimals)), nil))
	times := ofInt(value.mul(ten).floor()).add(fraction(1, 2)).div(ten).div(value)
	roll, belt := r.Delivery.Roll, integer(0)
	size := roll.PitchDiameter
	if size == nil {
		size = roll.Diameter
	}
	if roll.BeltThickness != nil {
		belt = roll.BeltThickness.si()
	}
	unit, _ := refUnit(size.Unit)
	wanted := size.si().add(belt).mul(times).sub(belt).div(unit)
	if math.Abs(times.float64()-1) > 0.5 || wanted.sign() <= 0 {
		return
	}
	size.Value = g.aim(wanted)
	*r = *newRefDrive(r.jsonDrive, r.material, r.sections)
}

// blend makes drives that share a total: each is given a speed, the shares come
// from that, and the total then takes one of them where the generator wants it.
func (g *generator) blend() {
	b := &jsonBlend{ID: "blend", Basis: pick(g, "MASS", "MASS", "VOLUME"), TotalBasis: pick(g, "", "AS_FED", "DRY")}
	dim := dimMass
	if b.Basis == "VOLUME" {
		dim, b.TotalBasis = dimVolume, pick(g, "", "AS_FED")
	}
	var drives []*refDrive
	var rates []piNumber
	total := integer(0)
	for range 1 + g.IntN(4) {
		r := g.drive(pick(g, dimVolume, dimVolume, dimMass), anyDrive)
		if b.TotalBasis == "" && r.material.Moisture != nil {
			b.TotalBasis = "AS_FED"
		}
		drives = append(drives, r)
	}
	lead, nearly := g.IntN(len(drives)), false
	for i, r := range drives {
		view := r.view(dim)
		n, exact := g.target(r, view, 1)
		rate := view.at(n)
		if b.TotalBasis == "DRY" {
			rate = rate.mul(r.material.dry())
		}
		if i == lead {
			nearly = exact
		}
		rates = append(rates, rate)
		total = total.add(rate)
	}
	shares := g.shares(b, drives, rates, total)
	b.Total.Unit = pick(g, genUnits[dim]...)
	factor, _ := refUnit(b.Total.Unit)
	b.Total.Value = g.write(rates[lead].div(shares[lead]).div(factor), nearly)
	g.plan.Product.Blends = append(g.plan.Product.Blends, b)
	g.ref.blend(b)
	for _, c := range b.Components {
		if s := g.ref.setpoints[c.DriveID]; s.runs() {
			c.Tolerance = g.tolerance(s)
			g.readoutAtHalf(s, &jsonDemand{})
		}
	}
}

// shares gives the components their share, the last one as the balance or as the
// rest to 100, and returns them as parts of one.
func (g *generator) shares(b *jsonBlend, drives []*refDrive, rates []piNumber, total piNumber) []piNumber {
	rest := integer(100)
	var shares []piNumber
	decimals := 1 + g.IntN(5)
	for i, r := range drives {
		c := &jsonComponent{DriveID: r.ID, MaterialID: r.material.ID}
		b.Components = append(b.Components, c)
		share := rest
		if last := i == len(drives)-1; !last {
			c.SharePercent = json.Number(rates[i].div(total).mul(integer(100)).fixed(decimals))
			share = num(c.SharePercent)
		} else if g.one(60) {
			c.Balance = true
		} else {
			c.SharePercent = json.Number(rest.fixed(decimals))
		}
		if share.sign() <= 0 {
			return g.even(b, drives)
		}
		rest = rest.sub(share)
		shares = append(shares, share.mul(fraction(1, 100)))
	}
	return shares
}

// even gives each of up to five components a neat share, where the rates were too
// unlike for a share of few decimals.
func (g *generator) even(b *jsonBlend, drives []*refDrive) []piNumber {
	b.Components = nil
	neat := map[int][]json.Number{1: {"100"}, 2: {"37.5", "62.5"}, 3: {"50", "12.5", "37.5"}, 4: {"50", "25", "12.5", "12.5"}}[len(drives)]
	var shares []piNumber
	for i, r := range drives {
		b.Components = append(b.Components, &jsonComponent{DriveID: r.ID, MaterialID: r.material.ID, SharePercent: neat[i]})
		shares = append(shares, percent(neat[i]))
	}
	return shares
}
