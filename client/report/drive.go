package report

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// loadList writes one row for each drive, in the order in which to load them.
func (s *sheet) loadList() {
	if s.runnable() {
		s.line("SETPOINTS, leaders before their followers")
	} else {
		s.line("SETPOINTS as far as they exist, for information only: do not load them")
	}
	t := table.NewWriter()
	t.SetStyle(plainStyle())
	t.AppendHeader(table.Row{"", "drive", "do", "setpoint", "into", "readout", "motor r/min"})
	t.SetColumnConfigs([]table.ColumnConfig{
		{Number: 1, Align: text.AlignRight},
		{Number: 2, WidthMax: 18, WidthMaxEnforcer: text.WrapHard},
		{Number: 4, Align: text.AlignRight, AlignHeader: text.AlignRight},
		{Number: 5, WidthMax: 22, WidthMaxEnforcer: text.WrapHard},
		{Number: 6, Align: text.AlignRight, AlignHeader: text.AlignRight, WidthMax: 14, WidthMaxEnforcer: text.WrapHard},
		{Number: 7, Align: text.AlignRight, AlignHeader: text.AlignRight},
	})
	for i, p := range s.resp.GetSetpoints() {
		t.AppendRow(s.loadRow(i+1, p))
	}
	for line := range strings.SplitSeq(t.Render(), "\n") {
		s.line(line)
	}
	s.blank()
}

// plainStyle is a table of blanks alone, which every printer has.
func plainStyle() table.Style {
	style := table.StyleDefault
	style.Options = table.OptionsNoBordersAndSeparators
	style.Format.Header = text.FormatDefault
	style.Box.PaddingLeft, style.Box.PaddingRight = "", "  "
	return style
}

func (s *sheet) loadRow(number int, p *linepacev1.Setpoint) table.Row {
	row := table.Row{strconv.Itoa(number), Clean(p.GetDriveId()), s.do(p), "-", "-", "-", "-"}
	if value := setpointText(p); value != "" {
		row[3], row[4] = value, Clean(register(p))
	}
	if p.ReadoutText != nil {
		row[5] = Clean(readoutText(p))
	}
	if p.AchievedRpm != nil {
		row[6] = strconv.FormatFloat(p.GetAchievedRpm(), 'f', 2, 64) // so that the points stand in line
	}
	return row
}

// do says in a word what to do with a drive: nothing unless the whole plan may run.
func (s *sheet) do(p *linepacev1.Setpoint) string {
	switch {
	case !s.runnable():
		return "nothing"
	case p.GetAction() == linepacev1.Setpoint_RUN:
		return "run"
	case p.GetAction() == linepacev1.Setpoint_STOP:
		return "stop"
	}
	return "leave"
}

// setpointText writes what the controller is given, or "" where it is given nothing.
func setpointText(p *linepacev1.Setpoint) string {
	switch {
	case p.RatioText != nil:
		return p.GetRatioText() + " %"
	case p.Fraction != nil:
		return fmt.Sprintf("%d/%d", p.GetFraction().GetNumerator(), p.GetFraction().GetDenominator())
	case p.Count != nil:
		return strconv.Itoa(int(p.GetCount()))
	case p.Milliamps != nil:
		return Number(p.GetMilliamps()) + " mA"
	case p.Volts != nil:
		return Number(p.GetVolts()) + " V"
	}
	return ""
}

// register names the register by its tag.
func register(p *linepacev1.Setpoint) string {
	if p.GetTag() == "" {
		return "its register"
	}
	return p.GetTag()
}

func readoutText(p *linepacev1.Setpoint) string { return p.GetReadoutText() + " " + p.GetReadoutUnit() }

// failed reports whether an ERROR speaks of the setpoint's drive.
func (s *sheet) failed(p *linepacev1.Setpoint) bool {
	for _, check := range s.resp.GetChecks() {
		if check.GetSeverity() == linepacev1.Check_ERROR && check.GetDriveId() == p.GetDriveId() {
			return true
		}
	}
	return false
}

// card writes all that is known of one drive's setpoint.
func (s *sheet) card(number int, p *linepacev1.Setpoint) {
	s.hanging(strconv.Itoa(number), named(p.GetDriveId(), s.lookups.drives[p.GetDriveId()].GetDescription()))
	switch p.GetAction() {
	case linepacev1.Setpoint_RUN:
		s.run(p)
	case linepacev1.Setpoint_STOP:
		s.stop(p)
	case linepacev1.Setpoint_LEAVE:
		s.labelled("leave as is", "change nothing on this drive")
	}
	s.change(p)
	s.remarks(p)
	s.blank()
}

func (s *sheet) run(p *linepacev1.Setpoint) {
	s.labelled("load", s.loadText(p))
	if p.ReadoutText != nil {
		s.labelled("readout", readoutText(p))
	}
	s.speed(p)
	if p.PulseHz != nil {
		s.labelled("sensor", s.loopSensor(p)+Number(p.GetPulseHz())+" Hz")
	}
	s.asked(p)
	if p.GetAchieved() != nil {
		s.labelled("gives", achievedText(p))
	}
	if band := p.GetBand(); band != nil {
		s.labelled("expect", fmt.Sprintf("%s to %s, as closely as the drive holds its speed",
			bandEnd(band.GetLow()), bandEnd(band.GetHigh())))
	}
	s.labelled("tolerance", s.toleranceText(p))
}

// bandEnd writes an end of a band, which a time has not where the drive might stand.
func bandEnd(q *linepacev1.Quantity) string {
	if q == nil {
		return "no limit"
	}
	return Quantity(q)
}

func (s *sheet) loadText(p *linepacev1.Setpoint) string {
	value := setpointText(p)
	switch {
	case value != "" && s.runnable():
		return value + " into " + register(p)
	case value != "":
		return "nothing: the plan is not runnable"
	case s.failed(p):
		return "nothing: this drive has no setpoint"
	}
	return "no register is described: set the speed below by the drive's own means"
}

// speed tells what a tachometer shows, or what speed would be needed.
func (s *sheet) speed(p *linepacev1.Setpoint) {
	switch {
	case p.AchievedRpm != nil && p.LastShaftRpm != nil:
		s.labelled("tachometer", fmt.Sprintf("motor shaft %s r/min, last shaft %s r/min",
			Number(p.GetAchievedRpm()), Number(p.GetLastShaftRpm())))
	case p.AchievedRpm != nil:
		s.labelled("tachometer", fmt.Sprintf("motor shaft %s r/min", Number(p.GetAchievedRpm())))
	case p.DemandedRpm != nil:
		s.labelled("needs", fmt.Sprintf("%s r/min of the motor", Number(p.GetDemandedRpm())))
	}
}

// loopSensor names the sensor that closes the loop.
func (s *sheet) loopSensor(p *linepacev1.Setpoint) string {
	for _, sensor := range s.lookups.drives[p.GetDriveId()].GetSensors() {
		if sensor.GetClosesLoop() {
			return sensor.GetId() + " "
		}
	}
	return ""
}

func (s *sheet) asked(p *linepacev1.Setpoint) {
	why := s.lookups.asked[p.GetDriveId()]
	if p.GetDemanded() == nil {
		s.labelled("asked", why)
		return
	}
	text := Quantity(p.GetDemanded())
	if s.lookups.dry[p.GetDriveId()] {
		text += " as fed" // with the moisture that the blend's total leaves out
	}
	if why != "" {
		text += ": " + why
	}
	s.labelled("asked", text)
}

func achievedText(p *linepacev1.Setpoint) string {
	text := Quantity(p.GetAchieved())
	if p.ErrorPercent != nil {
		text += ", " + percent(p.GetErrorPercent(), 3) + " from what was asked"
	}
	return text
}

func (s *sheet) toleranceText(p *linepacev1.Setpoint) string {
	tolerance := s.lookups.tolerances[p.GetDriveId()]
	if p.GetMargin() != nil {
		text := "kept at the setpoint" + marginText(p.GetMargin())
		if p.BandWithinTolerance != nil && !p.GetBandWithinTolerance() {
			text += ", NOT KEPT over all that is to be expected"
		}
		return text
	}
	if tolerance == nil {
		return ""
	}
	text := percent(-tolerance.GetMinusPercent(), -1) + " to " + percent(tolerance.GetPlusPercent(), -1)
	if p.WithinTolerance != nil {
		text += ": " + met(p.GetWithinTolerance()) + " at the setpoint"
	}
	if p.BandWithinTolerance != nil {
		text += ", " + met(p.GetBandWithinTolerance()) + " over all that is to be expected"
	}
	return text
}

func met(yes bool) string {
	if yes {
		return "met"
	}
	return "NOT MET"
}

func (s *sheet) stop(p *linepacev1.Setpoint) {
	text := "bring the drive to a stand"
	value := setpointText(p)
	switch {
	case !s.runnable():
		text = "not yet: the plan is not runnable"
	case value != "":
		text += ": load " + value + " into " + register(p)
	}
	s.labelled("stop", text)
}

func (s *sheet) change(p *linepacev1.Setpoint) {
	change := p.GetChange()
	if change == nil {
		return
	}
	if p.AchievedRpm != nil && p.GetAchievedRpm() == change.GetFromRpm() {
		s.labelled("change", "none")
		return
	}
	var parts []string
	if change.FromCount != nil && p.Count != nil {
		parts = append(parts, fmt.Sprintf("count from %d to %d", change.GetFromCount(), p.GetCount()))
	}
	if p.AchievedRpm != nil {
		speed := fmt.Sprintf("motor from %s to %s r/min", Number(change.GetFromRpm()), Number(p.GetAchievedRpm()))
		if change.SpeedChangePercent != nil {
			speed += " (" + percent(change.GetSpeedChangePercent(), 1) + ")"
		}
		parts = append(parts, speed)
	} else {
		parts = append(parts, fmt.Sprintf("motor runs at %s r/min now", Number(change.GetFromRpm())))
	}
	s.labelled("change", strings.Join(parts, ", "))
}

// remarks points to the drive's faults and warnings above and tells its notes.
func (s *sheet) remarks(p *linepacev1.Setpoint) {
	var marks []string
	for i, check := range s.resp.GetChecks() {
		if check.GetDriveId() == p.GetDriveId() && check.GetSeverity() != linepacev1.Check_INFO {
			marks = append(marks, s.marks[i])
		}
	}
	if len(marks) > 0 {
		s.labelled("LOOK AT", strings.Join(marks, ", ")+" above")
	}
	for _, check := range s.resp.GetChecks() {
		if check.GetDriveId() == p.GetDriveId() && check.GetSeverity() == linepacev1.Check_INFO {
			s.labelled("note", check.GetMessage())
		}
	}
}
