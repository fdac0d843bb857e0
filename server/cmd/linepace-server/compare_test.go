package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// comparison collects the differences between answers and the reference, and
// counts what was compared.
type comparison struct {
	found       map[string]int
	differences []string
	drive       string
	asked       string  // the drive and its demand as JSON
	loose       float64 // how far a double may lie from the reference, as a share of it
}

func (c *comparison) differs(what string, got, want any) {
	c.differences = append(c.differences, fmt.Sprintf("%s: %s: got %v, want %v%s", c.drive, what, got, want, c.asked))
}

func (c *comparison) plan(reference *refPlan, answer *jsonPlanAnswer) {
	c.found["plan"]++
	if len(answer.Setpoints) != len(reference.drives) {
		c.differs("setpoints", len(answer.Setpoints), len(reference.drives))
	}
	seen := map[string]bool{}
	for i := range answer.Setpoints {
		got := &answer.Setpoints[i]
		c.drive = got.DriveID
		want := reference.setpoints[c.drive]
		if want == nil || seen[c.drive] {
			c.differs("setpoint", "one", "none or only one")
			continue
		}
		seen[c.drive] = true
		c.asked = reference.asks(c.drive)
		c.count(want.drive.fit != nil && len(want.drive.References) > 1, "several references")
		c.count(want.drive.fit != nil && want.drive.fit.offset, "several references of a pump")
		if d := reference.demands[c.drive]; d != nil && d.leader() != "" && !seen[d.leader()] {
			c.differs("order", "before its leader "+d.leader(), "after it")
		}
		c.setpoint(want, got)
		c.change(reference, want, got)
		c.checks(want, answer.Checks)
	}
	c.verdictOf(answer.Verdict, answer.Checks)
}

// asks writes the parts of the request that speak of a drive and its leaders.
func (p *refPlan) asks(drive string) string {
	parts := []any{p.drives[drive].jsonDrive}
	for _, section := range p.drives[drive].sections {
		parts = append(parts, section)
	}
	if m := p.drives[drive].material; m != nil {
		parts = append(parts, m)
	}
	for _, b := range p.Product.Blends {
		if slices.ContainsFunc(b.Components, func(c *jsonComponent) bool { return c.DriveID == drive }) {
			parts = append(parts, b)
		}
	}
	d := p.demands[drive]
	if d != nil {
		parts = append(parts, d)
	}
	text := ""
	for _, part := range parts {
		b, err := json.Marshal(part)
		if err != nil {
			panic(err)
		}
		text += "\n" + string(b)
	}
	if d != nil && d.leader() != "" {
		text += p.asks(d.leader())
	}
	return text
}

// verdictOf holds the verdict against the checks, which have been compared.
func (c *comparison) verdictOf(got string, checks []jsonCheck) {
	verdict := "RUNNABLE"
	for _, check := range checks {
		switch {
		case check.Severity == "ERROR":
			verdict = "NOT_RUNNABLE"
		case check.Severity == "WARNING" && verdict == "RUNNABLE":
			verdict = "RUNNABLE_WITH_WARNINGS"
		}
	}
	c.found["verdict "+verdict]++
	if got != verdict {
		c.drive, c.asked = "", ""
		c.differs("verdict", got, verdict)
	}
}

func (c *comparison) setpoint(want *refSetpoint, got *jsonSetpoint) {
	c.found["setpoint"]++
	c.found["action "+want.action]++
	c.loose = want.looseness()
	if got.Action != want.action {
		c.differs("action", got.Action, want.action)
	}
	if r := want.drive.Register; r != nil && got.Tag != r.Tag {
		c.differs("tag", got.Tag, r.Tag)
	}
	switch {
	case want.action == "STOP":
		c.outputs(want, got)
	case !want.runs():
		c.withoutSetpoint(want, got)
	default:
		c.outputs(want, got)
		c.demand(want, got)
		c.speeds(want, got)
		c.processRate(want, got)
		c.readout(want, got)
		c.judged("withinTolerance", got.Within, want.within)
		c.judged("bandWithinTolerance", got.BandWithin, want.inBand)
		c.band(want, got)
	}
}

// looseness is 1e-12, and what is lost where a small difference of large numbers
// is all that is left: far below the points of the register's line, where a pump
// delivers little more than what leaks back, and in the balance of a blend. A
// follower inherits what its leader lost.
func (s *refSetpoint) looseness() float64 {
	share, at := 1e-12, s.achieved
	if s.leader != nil {
		share = s.leader.looseness()
	}
	switch {
	case s.blocked == "LEADER_HAS_NO_SETPOINT" || s.action != "RUN":
		return share
	case s.blocked != "":
		at = s.limit.rpm.mul(integer(int64(s.rpm.sign())))
	}
	if line := s.drive.register(); line != nil && at.sign() != 0 {
		for _, p := range s.drive.Register.Span {
			share += 1e-15 * math.Abs(line.rpm(p.output()).div(at).float64())
		}
	}
	if own := s.drive.own; own != nil && own.b.sign() != 0 && own.at(at).sign() != 0 {
		share += 1e-15 * math.Abs(own.b.div(own.at(at)).float64())
	}
	if s.share.sign() > 0 {
		share += 1e-15 / s.share.float64()
	}
	return share
}

// withoutSetpoint is for a drive out of range, without a leader, or left as it is.
func (c *comparison) withoutSetpoint(want *refSetpoint, got *jsonSetpoint) {
	if got.Count+got.Milliamps+got.Volts+got.AchievedRpm+got.ErrorPercent+got.PulseHz != "" || got.Achieved != nil ||
		got.Within != nil || got.ReadoutText != nil || got.Band != nil || got.BandWithin != nil || got.ProcessRate != nil {
		c.differs("a drive with no setpoint", fmt.Sprintf("%+v", *got), "no count and nothing achieved")
	}
	if want.blocked != "" && want.blocked != "LEADER_HAS_NO_SETPOINT" {
		c.number("demandedRpm", got.DemandedRpm, want.rpm)
		c.quantity("demanded", got.Demanded, want.view.dim, want.demanded)
	}
}

func (c *comparison) outputs(want *refSetpoint, got *jsonSetpoint) {
	count := json.Number("")
	if want.count != nil {
		count = json.Number(want.count.String())
		c.found["count"]++
	}
	if got.Count != count {
		c.differs("count", got.Count, count)
	}
	milliamps, volts := want.output, want.output
	if want.output != nil && want.drive.Register.Current != nil {
		volts = nil
	} else {
		milliamps = nil
	}
	c.analog("milliamps", got.Milliamps, milliamps, 20)
	c.analog("volts", got.Volts, volts, 10)
}

func (c *comparison) demand(want *refSetpoint, got *jsonSetpoint) {
	c.number("demandedRpm", got.DemandedRpm, want.rpm)
	achieved := want.view.at(want.achieved)
	c.quantity("demanded", got.Demanded, want.view.dim, want.demanded)
	c.quantity("achieved", got.Achieved, want.view.dim, achieved)
	miss := achieved.div(want.demanded).sub(one()).mul(integer(100)).float64()
	if is, err := got.ErrorPercent.Float64(); err != nil || math.Abs(is-miss) > c.percentPoints(miss) {
		c.differs("errorPercent", got.ErrorPercent, miss)
	}
}

// percentPoints is how far a percentage may lie from the reference.
func (c *comparison) percentPoints(value float64) float64 {
	return max(1e-9, 1e-12*math.Abs(value), 100*(c.loose-1e-12))
}

func (c *comparison) speeds(want *refSetpoint, got *jsonSetpoint) {
	c.number("achievedRpm", got.AchievedRpm, want.achieved)
	if want.drive.Delivery != nil || len(want.drive.Transmission) > 0 {
		c.number("lastShaftRpm", got.LastShaftRpm, want.achieved.mul(want.drive.last()))
	} else if got.LastShaftRpm != "" {
		c.differs("lastShaftRpm", got.LastShaftRpm, "none")
	}
	if hertz := want.drive.frequency(); hertz != nil {
		wanted := hertz.at(want.achieved).abs()
		if is, err := got.PulseHz.Float64(); err != nil || math.Abs(is-wanted.float64()) > c.slack(wanted, hertz.b) {
			c.differs("pulseHz", got.PulseHz, wanted.float64())
		}
	} else if got.PulseHz != "" {
		c.differs("pulseHz", got.PulseHz, "none")
	}
}

func (c *comparison) processRate(want *refSetpoint, got *jsonSetpoint) {
	switch {
	case (got.ProcessRate == nil) != (want.drive.own == nil):
		c.differs("processRate", got.ProcessRate, "one where the drive delivers something")
	case got.ProcessRate != nil:
		own := want.drive.own
		c.difference("processRate", got.ProcessRate, own.dim, own.at(want.achieved), own.b)
	}
}

func (c *comparison) readout(want *refSetpoint, got *jsonSetpoint) {
	text, unit := "none", ""
	if got.ReadoutText != nil {
		text = *got.ReadoutText
	}
	if got.ReadoutUnit != nil {
		unit = *got.ReadoutUnit
	}
	wanted, wantedUnit, ok, tooLong := "none", "", false, false
	if r := want.drive.Readout; r != nil {
		if wanted, ok, tooLong = want.readout(); ok {
			wantedUnit = r.Unit
			c.found["readout text"]++
			c.count(r.Rounding == "CUT_OFF", "readout text cut off")
		} else {
			wanted = "none"
		}
	}
	if tooLong {
		want.codes["READOUT_TOO_SHORT"] = true
	}
	if text != wanted || unit != wantedUnit {
		c.differs("readoutText", text+" "+unit, wanted+" "+wantedUnit)
	}
}

func (c *comparison) judged(what string, got, want *bool) {
	switch {
	case (got == nil) != (want == nil):
		c.differs(what, got, want)
	case got == nil:
	case *got != *want:
		c.differs(what, *got, *want)
	default:
		c.found[fmt.Sprint(what, " ", *want)]++
	}
}

func (c *comparison) band(want *refSetpoint, got *jsonSetpoint) {
	switch {
	case (got.Band == nil) != (want.band == nil):
		c.differs("band", got.Band, want.band)
		return
	case want.band == nil:
		return
	}
	widest := want.band[0].abs()
	if len(want.band) == 2 && widest.less(want.band[1].abs()) && want.view.dim != dimTime {
		widest = want.band[1].abs()
	}
	c.difference("band.low", got.Band.Low, want.view.dim, want.band[0], widest)
	switch {
	case len(want.band) == 2:
		c.difference("band.high", got.Band.High, want.view.dim, want.band[1], widest)
	case got.Band.High != nil:
		c.differs("band.high", *got.Band.High, "none, since the time has no end")
	}
}

// change holds what changes against the running product.
func (c *comparison) change(reference *refPlan, want *refSetpoint, got *jsonSetpoint) {
	var was *refSetpoint
	if reference.running != nil && want.action != "LEAVE" {
		was = reference.running.setpoints[c.drive]
		if was.action == "LEAVE" || was.blocked != "" {
			want.codes["RUNNING_SETPOINT_UNKNOWN"] = true
			was = nil
		}
	}
	if (got.Change == nil) != (was == nil) {
		c.differs("change", got.Change, was)
	}
	if was == nil || got.Change == nil {
		return
	}
	c.found["change"]++
	now := jsonSetpoint{Count: got.Change.FromCount, Milliamps: got.Change.FromMilliamps, Volts: got.Change.FromVolts}
	c.outputs(was, &now)
	loose := c.loose
	c.loose = max(loose, was.looseness())
	c.number("change.fromRpm", got.Change.FromRpm, was.achieved)
	known := want.runs() || want.count != nil || want.output != nil
	if !known || was.achieved.sign() == 0 {
		if got.Change.SpeedChangePercent != "" {
			c.differs("change.speedChangePercent", got.Change.SpeedChangePercent, "none")
		}
	} else {
		by := want.achieved.div(was.achieved).sub(one()).mul(integer(100)).float64()
		if is, err := got.Change.SpeedChangePercent.Float64(); err != nil || math.Abs(is-by) > c.percentPoints(by)+c.loose*math.Abs(by) {
			c.differs("change.speedChangePercent", got.Change.SpeedChangePercent, by)
		}
	}
	c.loose = loose
}

func (c *comparison) number(what string, got json.Number, want piNumber) {
	if !c.near(got, want) {
		c.differs(what, got, want.float64())
	}
}

func (c *comparison) near(got json.Number, want piNumber) bool {
	is, err := strconv.ParseFloat(string(got), 64)
	wanted := want.float64()
	return err == nil && math.Abs(is-wanted) <= c.loose*math.Abs(wanted)
}

func (c *comparison) quantity(what string, got *jsonQuantity, dim refDim, want piNumber) {
	c.difference(what, got, dim, want, integer(0))
}

// difference is for a quantity that is the difference of two as large as size.
func (c *comparison) difference(what string, got *jsonQuantity, dim refDim, want, size piNumber) {
	if got == nil {
		c.differs(what, "none", want.float64())
		return
	}
	factor, is := refUnit(got.Unit)
	wanted := want.div(factor).float64()
	value, err := got.Value.Float64()
	if is != dim || err != nil || math.Abs(value-wanted) > c.slack(want.div(factor), size.div(factor)) {
		c.differs(what, *got, wanted)
	}
}

// slack is how far a value may lie from the reference that is the difference of
// two as large as size: a few roundings of those, and what their looseness is more
// than that of others.
func (c *comparison) slack(want, size piNumber) float64 {
	return c.loose*math.Abs(want.float64()) + (4e-15+c.loose-1e-12)*math.Abs(size.float64())
}

// analog holds a current or voltage to within 1e-12 of its range's end.
func (c *comparison) analog(what string, got json.Number, want *piNumber, end float64) {
	is, err := got.Float64()
	switch {
	case want == nil && got != "":
		c.differs(what, got, "none")
	case want != nil && (err != nil || math.Abs(is-want.float64()) > c.loose*end):
		c.differs(what, got, want.float64())
	}
}

// judgedCodes are those whose presence the reference decides.
var judgedCodes = []string{
	"ABOVE_HIGHEST_SPEED", "BELOW_LOWEST_SPEED", "LEADER_HAS_NO_SETPOINT", "COUNT_OUTSIDE_TOLERANCE", "BAND_OUTSIDE_TOLERANCE",
	"OTHER_COUNT_NEARER_IN_TIME", "COUNT_PAST_MOTOR_LIMIT", "READOUT_TOO_SHORT", "READOUT_WITHOUT_SECTION", "FAR_FROM_CALIBRATION",
	"GEARBOX_RATIO_NOMINAL", "REFERENCE_DIFFERS", "NO_COUNT_FOR_STOP", "MOTOR_SPEED_NOMINAL",
	"RUNNING_SETPOINT_UNKNOWN",
	"REFERENCES_CONTRADICT", "REFERENCES_UNWEIGHTED", "SLIP_FLOW_NEGATIVE", "BEYOND_REFERENCES",
}

func (c *comparison) checks(want *refSetpoint, checks []jsonCheck) {
	got := map[string]bool{}
	for i := range checks {
		check := &checks[i]
		if check.DriveID != c.drive {
			continue
		}
		if got[check.Code] {
			c.differs("check", check.Code+" twice", "once")
		}
		got[check.Code] = true
		if check.Code == want.blocked && want.blocked != "LEADER_HAS_NO_SETPOINT" {
			c.outOfRange(want, check)
		}
	}
	for _, code := range judgedCodes {
		if want.codes[code] {
			c.found["check "+code]++
		}
		if got[code] != want.codes[code] && !(want.open && code == "REFERENCE_DIFFERS") {
			c.differs("check "+code, got[code], want.codes[code])
		}
	}
}

func (c *comparison) outOfRange(want *refSetpoint, check *jsonCheck) {
	if !slices.Contains(want.limit.binds, check.Binds) {
		c.differs("binds", check.Binds, strings.Join(want.limit.binds, " or "))
	}
	c.found["limit by "+check.Binds]++
	excess := want.excess().float64()
	if is, err := check.ExcessPercent.Float64(); err != nil || math.Abs(is-excess) > c.percentPoints(excess) {
		c.differs("excessPercent", check.ExcessPercent, excess)
	}
	limit := want.view.at(want.limit.rpm.mul(integer(int64(want.rpm.sign()))))
	c.quantity("limit", check.Limit, want.view.dim, limit)
}
