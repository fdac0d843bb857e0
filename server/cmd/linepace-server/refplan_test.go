package main

import (
	"maps"
	"math/big"
	"strings"
)

// refSetpoint is what the reference expects of one drive.
type refSetpoint struct {
	drive    *refDrive
	action   string
	view     refView // of the demand
	demanded piNumber
	rpm      piNumber // that meets the demand
	blocked  string   // the code that says why there is no setpoint
	limit    refLimit // that blocks
	count    *big.Int // of an integer register
	output   *piNumber
	achieved piNumber // motor speed
	within   *bool
	band     []piNumber // low and high, in the demand's dimension; a time without end has no high
	inBand   *bool
	codes    map[string]bool
	open     bool     // whether REFERENCE_DIFFERS may be said or not
	share    piNumber // of the balance in a blend
	leader   *refSetpoint
}

func (s *refSetpoint) runs() bool { return s.action == "RUN" && s.blocked == "" }

// measuredCodes are the checks that the references give cause for at any speed.
func (r *refDrive) measuredCodes() map[string]bool {
	codes := map[string]bool{}
	if r.fit != nil {
		maps.Copy(codes, r.fit.codes)
	}
	return codes
}

// settle finds the setpoint at which the view has the demanded value.
func (r *refDrive) settle(view refView, demanded piNumber, tolerance *jsonTolerance) *refSetpoint {
	s := &refSetpoint{drive: r, action: "RUN", view: view, demanded: demanded, rpm: view.rpm(demanded), codes: r.measuredCodes()}
	if demanded.sign() > 0 && s.rpm.sign() <= 0 && view.b.sign() > 0 { // it gives more at standstill
		lowest, _ := r.limits(1)
		s.block("BELOW_LOWEST_SPEED", lowest)
		return s
	}
	lowest, highest := r.limits(s.rpm.sign())
	switch speed := s.rpm.abs(); {
	case highest.rpm.less(speed):
		s.block("ABOVE_HIGHEST_SPEED", highest)
		return s
	case speed.less(lowest.rpm):
		s.block("BELOW_LOWEST_SPEED", lowest)
		return s
	}
	s.achieved = s.rpm
	if line := r.register(); line != nil {
		output := line.output(s.rpm)
		if line.integer {
			s.count = output.round()
			s.achieved = line.rpm(ofInt(s.count))
			s.checkCount(line)
		} else {
			s.output = &output
		}
	}
	s.describe()
	s.judge(tolerance)
	return s
}

// describe finds the checks that the drive's description gives cause for.
func (s *refSetpoint) describe() {
	d, measured := s.drive, len(s.drive.References) > 0
	if loop := d.loop(); loop != nil && loop.Flow != nil {
		s.codes["MOTOR_SPEED_NOMINAL"] = true
	}
	for _, stage := range d.Transmission {
		if stage.Gearbox != nil && !stage.Gearbox.Exact && !measured { // a reference does without the ratio
			s.codes["GEARBOX_RATIO_NOMINAL"] = true
		}
	}
	if measured && d.Delivery != nil {
		perTurn, leak, dim := d.delivery(d.Delivery)
		train := refView{dim: dim, a: perTurn.mul(d.last()).mul(fraction(1, 60)), b: leak.neg()}
		speed := exactly(d.fit.first)
		if d.fit.offset {
			speed = exactly(d.fit.meanSpeed)
		}
		if at := train.at(speed); at.sign() > 0 {
			off := d.own.at(speed).div(at).sub(one())
			s.codes["REFERENCE_DIFFERS"] = off.sign() != 0
			s.open = off.sign() != 0 && off.abs().less(fraction(1, 1e14)) // more than a double shows
		}
	}
	if d.Delivery == nil || d.Delivery.Pump == nil {
		return
	}
	calibrated := num(d.Delivery.Pump.AtRpm)
	speed := s.achieved.abs()
	switch {
	case measured && d.fit.offset:
		s.codes["BEYOND_REFERENCES"] = far(speed, exactly(d.fit.low), exactly(d.fit.high))
		return
	case measured:
		calibrated = exactly(d.fit.first)
	}
	s.codes["FAR_FROM_CALIBRATION"] = calibrated.sign() > 0 && far(speed, calibrated, calibrated)
}

func (s *refSetpoint) block(code string, limit refLimit) {
	s.blocked, s.limit = code, limit
	s.codes[code] = true
}

// excess is how far beyond the limit the demanded speed lies, percent of the limit.
func (s *refSetpoint) excess() piNumber {
	speed := s.rpm.abs()
	if s.demanded.sign() > 0 {
		speed = s.rpm // which may lie below standstill
	}
	return speed.sub(s.limit.rpm).abs().div(s.limit.rpm).mul(integer(100))
}

func (s *refSetpoint) checkCount(line *refRegister) {
	speed := s.achieved.abs()
	if num(s.drive.Motor.MaxRpm).less(speed) || speed.less(num(s.drive.Motor.MinRpm)) {
		s.codes["COUNT_PAST_MOTOR_LIMIT"] = true
	}
	if s.view.dim != dimTime {
		return
	}
	miss := func(count *big.Int) piNumber {
		return s.view.at(line.rpm(ofInt(count))).sub(s.demanded).abs()
	}
	// The other neighbour lies on the other side of the demand.
	side := ofInt(s.count).sub(line.output(s.rpm)).sign()
	if side == 0 {
		return
	}
	other := new(big.Int).Sub(s.count, big.NewInt(int64(side)))
	inReach := !ofInt(other).less(line.low) && !line.high.less(ofInt(other))
	if n := line.rpm(ofInt(other)); inReach && n.sign() > 0 && miss(other).less(miss(s.count)) {
		s.codes["OTHER_COUNT_NEARER_IN_TIME"] = true
	}
}

// judge finds the band and the verdicts.
func (s *refSetpoint) judge(tolerance *jsonTolerance) {
	s.band = s.expected()
	if tolerance == nil {
		return
	}
	lowest := s.demanded.mul(one().sub(percent(tolerance.MinusPercent)))
	highest := s.demanded.mul(one().add(percent(tolerance.PlusPercent)))
	if s.demanded.sign() < 0 {
		lowest, highest = highest, lowest
	}
	within := func(values ...piNumber) *bool {
		all := true
		for _, v := range values {
			all = all && !v.less(lowest) && !highest.less(v)
		}
		return &all
	}
	if s.within = within(s.view.at(s.achieved)); !*s.within {
		s.codes["COUNT_OUTSIDE_TOLERANCE"] = true
	}
	if s.band == nil {
		return
	}
	if s.inBand = within(s.band...); len(s.band) < 2 {
		*s.inBand = false
	}
	if !*s.inBand {
		s.codes["BAND_OUTSIDE_TOLERANCE"] = true
	}
}

// expected is the interval of the demand's value by the drive's regulation, or nil.
func (s *refSetpoint) expected() []piNumber {
	motor := s.drive.Motor
	if motor.Regulation == nil {
		return nil
	}
	speed, sign := s.achieved.abs(), integer(int64(s.achieved.sign()))
	var slow, fast piNumber
	if motor.Regulation.DroopPercent != "" {
		slow, fast = speed.mul(one().sub(percent(motor.Regulation.DroopPercent))), speed
	} else {
		of := map[string]piNumber{"SET_SPEED": speed, "MAX_SPEED": num(motor.MaxRpm), "BASE_SPEED": num(motor.BaseRpm)}[motor.Regulation.Of]
		deviation := of.mul(percent(motor.Regulation.Percent))
		slow, fast = speed.sub(deviation), speed.add(deviation)
	}
	if s.view.dim == dimTime && slow.sign() <= 0 {
		return []piNumber{s.view.at(fast)}
	}
	low, high := s.view.at(slow.mul(sign)), s.view.at(fast.mul(sign))
	if high.less(low) {
		low, high = high, low
	}
	return []piNumber{low, high}
}

// readout returns the text, where there is one, and whether it has more digits
// than the display.
func (s *refSetpoint) readout() (text string, ok, tooLong bool) {
	r := s.drive.Readout
	if _, dim := refUnit(r.Unit); dim == dimTime && s.drive.shownSection(r) == nil {
		s.codes["READOUT_WITHOUT_SECTION"] = true
		return "", false, false
	} else if dim == dimTime && s.achieved.sign() == 0 {
		return "", false, false
	}
	value := s.drive.shown(r, s.achieved)
	if _, dim := refUnit(r.Unit); dim == dimTime && value.sign() < 0 {
		value = value.neg() // a time has no sign
	}
	text = value.fixed(r.Decimals)
	if r.Rounding == "CUT_OFF" {
		text = value.cut(r.Decimals)
	}
	digits := len(text) - strings.Count(text, ".") - strings.Count(text, "-")
	return text, digits <= r.Digits, digits > r.Digits
}

// shown is what a readout shows at a speed, in its unit.
func (r *refDrive) shown(readout *jsonReadout, n piNumber) piNumber {
	factor, dim := refUnit(readout.Unit)
	view := refView{}
	if dim == dimTime {
		view = r.dwell(r.shownSection(readout))
	} else {
		view = r.view(dim)
	}
	return view.at(n).div(factor)
}

// shownSection is the section whose dwell a readout shows, or nil.
func (r *refDrive) shownSection(readout *jsonReadout) *jsonSection {
	for i := range r.sections {
		if r.sections[i].ID == readout.SectionID || (readout.SectionID == "" && len(r.sections) == 1) {
			return r.sections[i]
		}
	}
	return nil
}

// refPlan resolves a plan drive by drive, leaders first.
type refPlan struct {
	*jsonPlan
	drives    map[string]*refDrive
	demands   map[string]*jsonDemand
	setpoints map[string]*refSetpoint
	running   *refPlan // of the running product, or nil
}

func newRefPlan(plan *jsonPlan) *refPlan {
	p := &refPlan{jsonPlan: plan, drives: map[string]*refDrive{}, demands: map[string]*jsonDemand{}, setpoints: map[string]*refSetpoint{}}
	conveyed := map[string]*jsonMaterial{}
	for _, d := range plan.Product.Demands {
		p.demands[d.DriveID] = d
		conveyed[d.DriveID] = p.material(d.MaterialID)
	}
	for _, b := range plan.Product.Blends {
		for _, c := range b.Components {
			conveyed[c.DriveID] = p.material(c.MaterialID)
		}
	}
	for _, d := range plan.Line.Drives {
		p.drives[d.ID] = newRefDrive(d, conveyed[d.ID], p.sections(d.ID))
	}
	for _, b := range plan.Product.Blends {
		p.blend(b)
	}
	for _, d := range plan.Product.Demands {
		p.setpoint(d.DriveID)
	}
	if plan.Running != nil {
		p.running = newRefPlan(&jsonPlan{Line: plan.Line, Product: *plan.Running})
	}
	return p
}

func (p *refPlan) sections(drive string) []*jsonSection {
	var sections []*jsonSection
	for _, section := range p.Line.Sections {
		if section.DriveID == drive {
			sections = append(sections, section)
		}
	}
	return sections
}

func (p *refPlan) material(id string) *jsonMaterial {
	for _, m := range p.Product.Materials {
		if m.ID == id {
			return m
		}
	}
	return nil
}

func (p *refPlan) setpoint(id string) *refSetpoint {
	if s := p.setpoints[id]; s != nil {
		return s
	}
	drive, d := p.drives[id], p.demands[id]
	var s *refSetpoint
	switch {
	case d.Rate != nil:
		s = drive.settle(drive.view(d.Rate.dim()), d.Rate.si(), d.Tolerance)
	case d.Dwell != nil:
		s = drive.settle(drive.dwell(p.section(d.Dwell.SectionIDs[0])), d.Dwell.Time.si(), d.Tolerance)
	case d.Stopped != nil:
		s = drive.stop()
	case d.LeaveAsIs != nil:
		s = &refSetpoint{drive: drive, action: "LEAVE", codes: map[string]bool{}}
	default:
		s = p.follow(drive, d)
	}
	p.setpoints[id] = s
	return s
}

func (p *refPlan) section(id string) *jsonSection {
	for _, s := range p.Line.Sections {
		if s.ID == id {
			return s
		}
	}
	panic("reference: no section " + id)
}

// stop finds what the register says for a motor that stands still, where it has that.
func (r *refDrive) stop() *refSetpoint {
	s := &refSetpoint{drive: r, action: "STOP", achieved: integer(0), codes: map[string]bool{}}
	line := r.register()
	if line == nil {
		return s
	}
	output := line.b
	switch whole := output.rational(); {
	case output.less(line.low) || line.high.less(output):
		s.codes["NO_COUNT_FOR_STOP"] = true
	case !line.integer:
		s.output = &output
	case whole != nil && whole.IsInt():
		s.count = whole.Num()
	default:
		s.codes["NO_COUNT_FOR_STOP"] = true
	}
	return s
}

// follow finds what the leader's achieved value asks of a drive.
func (p *refPlan) follow(drive *refDrive, d *jsonDemand) *refSetpoint {
	leader := p.setpoint(d.leader())
	view, asked := p.asked(drive, d)
	if !leader.runs() {
		return &refSetpoint{drive: drive, action: "RUN", view: view, blocked: "LEADER_HAS_NO_SETPOINT", codes: map[string]bool{"LEADER_HAS_NO_SETPOINT": true}}
	}
	s := drive.settle(view, asked(leader.achieved), d.Tolerance)
	s.leader = leader
	return s
}

// asked returns the follower's view and its demand as a function of the leader's speed.
func (p *refPlan) asked(drive *refDrive, d *jsonDemand) (refView, func(piNumber) piNumber) {
	leader := p.drives[d.leader()]
	switch {
	case d.LengthPerPiece == nil && d.Ratio.Basis == "MOTOR_SPEED":
		view := drive.view(dimSpeed)
		return view, func(n piNumber) piNumber { return view.at(n).mul(percent(d.Ratio.Percent)) }
	case d.LengthPerPiece == nil:
		from := leader.view(drive.own.dim)
		return *drive.own, func(n piNumber) piNumber { return from.at(n).mul(percent(d.Ratio.Percent)) }
	}
	from, length := *leader.own, d.LengthPerPiece.Length.si()
	if from.dim == dimLength {
		return drive.view(dimPieces), func(n piNumber) piNumber { return from.at(n).div(length) }
	}
	return drive.view(dimLength), func(n piNumber) piNumber { return from.at(n).mul(length) }
}

func (d *jsonDemand) leader() string {
	switch {
	case d.Ratio != nil:
		return d.Ratio.LeaderID
	case d.LengthPerPiece != nil:
		return d.LengthPerPiece.LeaderID
	}
	return ""
}

// blend finds the setpoints of its components.
func (p *refPlan) blend(b *jsonBlend) {
	dim := dimMass
	if b.Basis == "VOLUME" {
		dim = dimVolume
	}
	rest := one()
	for _, c := range b.Components {
		rest = rest.sub(percent(c.SharePercent))
	}
	for _, c := range b.Components {
		share := percent(c.SharePercent)
		if c.Balance {
			share = rest
		}
		asked := b.Total.si().mul(share)
		if b.TotalBasis == "DRY" { // the feeder is asked for the moist material
			asked = asked.div(p.material(c.MaterialID).dry())
		}
		drive := p.drives[c.DriveID]
		p.setpoints[c.DriveID] = drive.settle(drive.view(dim), asked, c.Tolerance)
		if c.Balance {
			p.setpoints[c.DriveID].share = rest
		}
	}
}

// dry is the dry share of the material's mass as fed.
func (m *jsonMaterial) dry() piNumber {
	switch {
	case m == nil || m.Moisture == nil:
		return one()
	case m.Moisture.Basis == "WET":
		return one().sub(percent(m.Moisture.Percent))
	}
	return one().div(one().add(percent(m.Moisture.Percent)))
}
