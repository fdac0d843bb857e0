package main

import (
	"encoding/json"
	"math/big"
	"math/rand/v2"

	"github.com/stretchr/testify/require"
)

// alone asks for one drive of a plan by itself: for the setpoint of what it is
// asked for there, and for what a count does.
func (d *differ) alone(c *comparison, p *refPlan, r *rand.Rand) {
	drive := p.drives[p.Line.Drives[r.IntN(len(p.Line.Drives))].ID]
	if own := p.demands[drive.ID]; own != nil && (own.Rate != nil || own.Dwell != nil) {
		d.target(c, p, drive, own)
	}
	if line := drive.register(); line != nil && line.integer {
		d.fromCount(c, drive, line, r)
	}
}

// request names the drive with its material and the one section that both its
// target and its readout speak of; nil where they speak of two.
func (r *refDrive) request(target *jsonSection) *jsonSetpointRequest {
	section := target
	if r.Readout != nil {
		if shown := r.shownSection(r.Readout); r.Readout.SectionID != "" && shown != nil {
			if target != nil && target.ID != shown.ID {
				return nil
			}
			section = shown
		}
	}
	return &jsonSetpointRequest{Drive: r.jsonDrive, Material: r.material, Section: section}
}

func (d *differ) target(c *comparison, p *refPlan, drive *refDrive, demand *jsonDemand) {
	var section *jsonSection
	target := demand.Rate
	if demand.Dwell != nil {
		section, target = p.section(demand.Dwell.SectionIDs[0]), &demand.Dwell.Time
	}
	request := drive.request(section)
	if request == nil {
		return
	}
	request.Target, request.Tolerance = target, demand.Tolerance
	want, answer := d.ask(c, request)
	if answer == nil {
		return
	}
	c.found["alone: target"]++
	for _, check := range answer.Checks {
		if check.Code != want.blocked {
			continue
		}
		if check.FitField != "target" || check.Fit == nil {
			c.differs("fit", check.Fit, "a value for the target, since the drive can run")
			return
		}
		request.Target = check.Fit
		if fitting, _ := d.ask(c, request); !fitting.runs() {
			c.differs("fit", *check.Fit, "a target with which the drive runs")
		}
	}
}

// ask has a target answered and compared.
func (d *differ) ask(c *comparison, request *jsonSetpointRequest) (*refSetpoint, *jsonSetpointAnswer) {
	text, err := json.Marshal(request)
	require.NoError(d, err)
	read := &jsonSetpointRequest{}
	require.NoError(d, json.Unmarshal(text, read))
	drive := readAlone(read)
	view := refView{}
	if read.Target.dim() == dimTime {
		view = drive.dwell(read.Section)
	} else {
		view = drive.view(read.Target.dim())
	}
	want := drive.settle(view, read.Target.si(), read.Tolerance)
	return want, d.askAs(c, text, want)
}

// readAlone is the drive that a request describes.
func readAlone(read *jsonSetpointRequest) *refDrive {
	var sections []*jsonSection
	if read.Section != nil {
		sections = append(sections, read.Section)
	}
	return newRefDrive(read.Drive, read.Material, sections)
}

// askAs posts a request and compares the answer.
func (d *differ) askAs(c *comparison, text []byte, want *refSetpoint) *jsonSetpointAnswer {
	answer := &jsonSetpointAnswer{}
	if !d.post("/v1/scaling:setpoint", text, answer) {
		return nil
	}
	c.drive, c.asked = want.drive.ID, "\n"+string(text)
	c.setpoint(want, &answer.Setpoint)
	c.checks(want, answer.Checks)
	c.verdictOf(answer.Verdict, answer.Checks)
	return answer
}

// fromCount asks what a count does: mostly one that the drive can run, now and then
// standstill, one beyond a limit or one for the other direction.
func (d *differ) fromCount(c *comparison, drive *refDrive, line *refRegister, r *rand.Rand) {
	_, highest := drive.limits(1)
	count := line.output(highest.rpm.mul(fraction(r.Int64N(1400)-200, 1000))).round()
	switch {
	case r.IntN(10) == 0:
		count = line.b.round()
	case ofInt(count).less(line.low):
		count = line.low.floor()
	case line.high.less(ofInt(count)):
		count = line.high.floor()
	}
	if ofInt(count).less(line.low) || line.high.less(ofInt(count)) {
		return
	}
	request := drive.request(nil)
	request.Count = json.Number(count.String())
	text, err := json.Marshal(request)
	require.NoError(d, err)
	read := &jsonSetpointRequest{}
	require.NoError(d, json.Unmarshal(text, read))
	answer := &jsonSetpointAnswer{}
	if !d.post("/v1/scaling:setpoint", text, answer) {
		return
	}
	c.drive, c.asked = drive.ID, "\n"+string(text)
	c.fromCount(readAlone(read).withCount(count), answer)
}

// withCount is what a loaded count does; codes says whether that is out of range.
func (r *refDrive) withCount(count *big.Int) *refSetpoint {
	n := r.register().rpm(ofInt(count))
	s := &refSetpoint{drive: r, action: "RUN", view: r.view(dimSpeed), rpm: n, achieved: n, count: count, codes: r.measuredCodes()}
	if lowest, highest := r.limits(n.sign()); n.sign() != 0 {
		switch speed := n.abs(); {
		case highest.rpm.less(speed):
			s.limit = highest
			s.codes["ABOVE_HIGHEST_SPEED"] = true
		case speed.less(lowest.rpm):
			s.limit = lowest
			s.codes["BELOW_LOWEST_SPEED"] = true
		}
	}
	s.describe()
	return s
}

func (c *comparison) fromCount(want *refSetpoint, answer *jsonSetpointAnswer) {
	got := &answer.Setpoint
	c.found["alone: count"]++
	c.count(want.achieved.sign() == 0, "alone: count of standstill")
	c.count(want.achieved.sign() < 0, "alone: count below zero")
	c.count(want.limit.binds != nil, "alone: count out of range")
	if got.Demanded != nil || got.DemandedRpm+got.ErrorPercent != "" || got.Within != nil {
		c.differs("from a count", *got, "nothing demanded")
	}
	c.loose = want.looseness()
	c.outputs(want, got)
	c.speeds(want, got)
	c.processRate(want, got)
	c.readout(want, got)
	dim := dimSpeed
	if want.drive.own != nil {
		dim = want.drive.own.dim
	}
	view := want.drive.view(dim)
	c.difference("achieved", got.Achieved, dim, view.at(want.achieved), view.b)
	for i := range answer.Checks {
		check := &answer.Checks[i]
		if check.Fit != nil {
			c.differs("fit", *check.Fit, "none for a count")
		}
		if want.limit.binds != nil && (check.Code == "ABOVE_HIGHEST_SPEED" || check.Code == "BELOW_LOWEST_SPEED") {
			want.view = view
			c.outOfRange(want, check)
		}
	}
	c.checks(want, answer.Checks)
	c.verdictOf(answer.Verdict, answer.Checks)
}
