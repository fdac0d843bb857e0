package main

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // zones by their names on machines that have none

	"github.com/spf13/cobra"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

const (
	// mostRows is how many observations one call takes.
	mostRows = 100000
	// mostRowFaults bounds what is told of a file that is wrong throughout.
	mostRowFaults = 20
)

// csvFlags say which columns of a CSV file are the observations of a request.
type csvFlags struct {
	file, time, layout, zone   string
	rpm, turns, amount, pulses string
	gate, fixedGate, event     string
	separator                  rune
	lines                      []int             // of the rows that were taken, in the file
	columns                    map[string]string // field of the request: column that it came from
	rowFaults, gaps            int
	faults                     faultsError
	location                   *time.Location
	at                         map[string]int // place of a column, by its field
	gateUnit, fixedGateSeconds float64
}

func (f *csvFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.file, "csv", "", "`file` of observations, with a header line and separated by commas or semicolons; the request has the rest")
	c.Flags().StringVar(&f.time, "time", "time", "`column` of the times at which the gates ended")
	c.Flags().StringVar(&f.layout, "time-layout", "rfc3339", "`layout` of the times: rfc3339, or ymd, dmy or mdy with the time of day behind the date, such as 02.03.2026 06:00")
	c.Flags().StringVar(&f.zone, "zone", "", "`zone` of times that have none, such as UTC or Europe/Vienna")
	c.Flags().StringVar(&f.rpm, "rpm", "", "`column` of the mean motor speed, r/min")
	c.Flags().StringVar(&f.turns, "turns", "", "`column` of the motor turns during the gate")
	c.Flags().StringVar(&f.amount, "amount", "", "`column and unit` of what was metered, such as \"volume L\"; an empty field is a gap")
	c.Flags().StringVar(&f.pulses, "pulses", "", "`column` of the meter's pulses during the gate; an empty field is a gap")
	c.Flags().StringVar(&f.gate, "gate", "", "`column and unit` of the length of the gate, in s, min or h")
	c.Flags().StringVar(&f.fixedGate, "fixed-gate", "", "`length` of every gate, such as \"10 min\"")
	c.Flags().StringVar(&f.event, "event", "", "`column` of what was done before the observation: SERVICED, METER_CHANGED, CORRECTED or nothing")
	must(c.MarkFlagFilename("csv", "csv"))
}

// given reports whether a flag about the columns was set, which needs a file.
func (f *csvFlags) given() bool {
	return f.zone != "" || f.layout != "rfc3339" || f.rpm+f.turns+f.amount+f.pulses+f.gate+f.fixedGate+f.event != ""
}

// read reads the file into the request. The error lists what is wrong, each with its
// line and column, up to a bound.
func (f *csvFlags) read(in *input, req *linepacev1.AssessRequest, stderr io.Writer) error {
	if req.GetColumns() != nil || len(req.GetObservations()) > 0 {
		return &hintedError{errors.New("--csv: the request has observations already"), "leave out observations and columns of the request, or --csv"}
	}
	if err := f.choose(); err != nil {
		return err
	}
	name, text, err := in.bytes(f.file)
	if err != nil {
		return err
	}
	f.file = name
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	header, _, _ := bytes.Cut(text, []byte("\n"))
	r := csv.NewReader(bufio.NewReader(watched(bytes.NewReader(text), len(text), stderr)))
	r.Comma, r.ReuseRecord = ',', true
	if bytes.ContainsRune(header, ';') {
		r.Comma = ';'
	}
	f.separator = r.Comma
	if err := f.rows(r, req); err != nil {
		return err
	}
	if f.gaps > 0 {
		fmt.Fprintf(stderr, "linepace: note: %s: %d of %d rows have no amount; they are gaps, not zeros\n", name, f.gaps, f.gaps+len(f.lines))
	}
	return nil
}

var gateUnits = map[string]float64{"s": 1, "min": 60, "h": 3600} // s

// choose checks what the flags say before any row is read.
func (f *csvFlags) choose() error {
	var all faultsError
	wrong := func(format string, args ...any) { all.faults = append(all.faults, fmt.Sprintf(format, args...)) }
	if (f.rpm == "") == (f.turns == "") {
		wrong("--csv needs --rpm or --turns, and one of them alone")
	}
	if (f.amount == "") == (f.pulses == "") {
		wrong("--csv needs --amount or --pulses, and one of them alone")
	}
	if (f.gate == "") == (f.fixedGate == "") {
		wrong("--csv needs --gate or --fixed-gate, and one of them alone")
	}
	if f.fixedGate != "" {
		value, unit := lastWord(f.fixedGate)
		length, err := strconv.ParseFloat(value, 64)
		f.fixedGateSeconds = length * gateUnits[unit]
		if err != nil || !(f.fixedGateSeconds > 0) || math.IsInf(f.fixedGateSeconds, 0) {
			wrong("--fixed-gate is %q; it must be a length above 0 with its unit s, min or h, such as \"10 min\"", f.fixedGate)
		}
	}
	if f.gate != "" {
		_, unit := lastWord(f.gate)
		if f.gateUnit = gateUnits[unit]; f.gateUnit == 0 {
			wrong("--gate is %q; it must be a column and its unit s, min or h, such as \"gate s\"", f.gate)
		}
	}
	if column, unit := lastWord(f.amount); f.amount != "" && (column == "" || unit == "") {
		wrong("--amount is %q; it must be a column and its unit, such as \"volume L\"", f.amount)
	}
	if _, known := layouts[f.layout]; !known && f.layout != "rfc3339" {
		wrong("--time-layout is %q; it must be rfc3339, ymd, dmy or mdy", f.layout)
	}
	var err error
	switch {
	case f.layout == "rfc3339" && f.zone != "":
		wrong("--zone is given, and times in RFC 3339 have their own")
	case f.layout != "rfc3339" && (f.zone == "" || f.zone == "Local"):
		wrong("--time-layout %s needs --zone, such as UTC or Europe/Vienna", f.layout)
	case f.zone != "":
		if f.location, err = time.LoadLocation(f.zone); err != nil {
			wrong("--zone: there is no time zone %q", f.zone)
		}
	}
	if len(all.faults) > 0 {
		return &all
	}
	return nil
}

// lastWord cuts the unit off what stands before it.
func lastWord(text string) (before, last string) {
	text = strings.TrimSpace(text)
	i := strings.LastIndexByte(text, ' ')
	if i < 0 {
		return "", text
	}
	return strings.TrimSpace(text[:i]), text[i+1:]
}

// header finds the columns by their names.
func (f *csvFlags) header(names []string) error {
	amount, _ := lastWord(f.amount)
	gate, _ := lastWord(f.gate)
	f.columns = map[string]string{"seconds": f.time, "motorRpm": f.rpm, "turns": f.turns, "amounts": amount, "meterPulses": f.pulses, "gateSeconds": gate, "events": f.event}
	f.at = map[string]int{}
	var all faultsError
	for _, field := range []string{"seconds", "motorRpm", "turns", "amounts", "meterPulses", "gateSeconds", "events"} {
		want := f.columns[field]
		if want == "" {
			continue
		}
		found := []int{}
		for i, name := range names {
			if strings.TrimSpace(name) == want {
				found = append(found, i)
			}
		}
		switch len(found) {
		case 1:
			f.at[field] = found[0]
		case 0:
			all.faults = append(all.faults, fmt.Sprintf("%s:1: there is no column %q; there are %s", f.file, want, quotedList(names)))
		default:
			all.faults = append(all.faults, fmt.Sprintf("%s:1: there are %d columns %q", f.file, len(found), want))
		}
	}
	if len(all.faults) > 0 {
		return &all
	}
	return nil
}

func quotedList(names []string) string {
	var quoted []string
	for _, name := range names[:min(len(names), 30)] {
		quoted = append(quoted, strconv.Quote(strings.TrimSpace(name)))
	}
	return strings.Join(quoted, ", ")
}

// rows reads the rows into the columns of the request.
func (f *csvFlags) rows(r *csv.Reader, req *linepacev1.AssessRequest) error {
	names, err := r.Read()
	if err == io.EOF {
		return fmt.Errorf("%s is empty", f.file)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", f.file, err)
	}
	if err := f.header(names); err != nil {
		return err
	}
	out := &linepacev1.ObservationColumns{}
	if f.amount != "" {
		_, out.AmountUnit = lastWord(f.amount)
	}
	if f.fixedGate != "" {
		out.GateSeconds = []float64{f.fixedGateSeconds}
	}
	t := rowTaker{csvFlags: f, out: out}
	for {
		record, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			f.fault("%s: %v", f.file, err)
			if !errors.Is(err, csv.ErrFieldCount) {
				break // what follows a broken quote cannot be told apart
			}
			continue
		}
		line, _ := r.FieldPos(0)
		t.take(line, record)
		if len(f.lines) > mostStreamed {
			return &hintedError{fmt.Errorf("%s has more than %d observations, and no more are taken", f.file, mostStreamed), "give a part of the file, or means over longer gates"}
		}
	}
	if f.rowFaults > mostRowFaults {
		f.faults.faults = append(f.faults.faults, fmt.Sprintf("%s: %d more faults like these", f.file, f.rowFaults-mostRowFaults))
	}
	if len(f.faults.faults) > 0 {
		return &f.faults
	}
	if len(f.lines) == 0 {
		return fmt.Errorf("%s has no row with an amount", f.file)
	}
	req.Columns = out
	return nil
}

func (f *csvFlags) fault(format string, args ...any) {
	if f.rowFaults++; f.rowFaults <= mostRowFaults {
		f.faults.faults = append(f.faults.faults, fmt.Sprintf(format, args...))
	}
}

// rowTaker takes one row after the other.
type rowTaker struct {
	*csvFlags
	out     *linepacev1.ObservationColumns
	start   time.Time
	pending linepacev1.Observation_Event // of a gap: it belongs to the next reading
}

func (t *rowTaker) take(line int, record []string) {
	before := t.rowFaults
	when := t.when(line, record)
	t.events(line, record)
	metered := "amounts"
	if t.pulses != "" {
		metered = "meterPulses"
	}
	if strings.TrimSpace(record[t.at[metered]]) == "" {
		t.gaps++
		return
	}
	amount := t.number(line, record, metered)
	speed := "motorRpm"
	if t.turns != "" {
		speed = "turns"
	}
	turned, gate := t.number(line, record, speed), 0.0
	if t.gate != "" {
		gate = t.number(line, record, "gateSeconds") * t.gateUnit
	}
	if t.rowFaults > before {
		return
	}
	t.put(when, amount, turned, gate)
	t.lines = append(t.lines, line)
}

func (t *rowTaker) put(when time.Time, amount, turned, gate float64) {
	out := t.out
	if t.start.IsZero() {
		t.start, out.Start = when, when.UTC().Format(time.RFC3339Nano)
	}
	if t.pending != linepacev1.Observation_EVENT_UNSPECIFIED {
		out.Events = append(out.Events, &linepacev1.ObservationColumns_RowEvent{Row: int32(len(t.lines)), Event: t.pending})
		t.pending = linepacev1.Observation_EVENT_UNSPECIFIED
	}
	out.Seconds = append(out.Seconds, when.Sub(t.start).Seconds())
	if t.pulses != "" {
		out.MeterPulses = append(out.MeterPulses, amount)
	} else {
		out.Amounts = append(out.Amounts, amount)
	}
	if t.turns != "" {
		out.Turns = append(out.Turns, turned)
	} else {
		out.MotorRpm = append(out.MotorRpm, turned)
	}
	if t.gate != "" {
		out.GateSeconds = append(out.GateSeconds, gate)
	}
}

func (t *rowTaker) events(line int, record []string) {
	if t.event == "" {
		return
	}
	text := strings.TrimSpace(record[t.at["events"]])
	if text == "" {
		return
	}
	event, known := linepacev1.Observation_Event_value[text]
	if !known || event == 0 {
		t.fault("%s:%d: column %q is %q; it must be SERVICED, METER_CHANGED, CORRECTED or empty", t.file, line, t.columns["events"], text)
		return
	}
	t.pending = linepacev1.Observation_Event(event)
}

var plainNumber = regexp.MustCompile(`^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

// number reads a number, with a decimal comma only where semicolons separate.
func (t *rowTaker) number(line int, record []string, field string) float64 {
	text := strings.TrimSpace(record[t.at[field]])
	plain := text
	if t.separator == ';' && strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		plain = strings.Replace(text, ",", ".", 1)
	}
	x, err := strconv.ParseFloat(plain, 64)
	if err != nil || !plainNumber.MatchString(plain) {
		t.fault("%s:%d: column %q is %q; it must be a number without separators of thousands", t.file, line, t.columns[field], text)
	}
	return x
}

// layouts are those of times without a zone; seconds may follow.
var layouts = map[string][]string{
	"ymd": {"2006-1-2 15:04", "2006-1-2T15:04", "2006/1/2 15:04", "2006.1.2 15:04"},
	"dmy": {"2.1.2006 15:04", "2/1/2006 15:04", "2-1-2006 15:04"},
	"mdy": {"1/2/2006 15:04", "1-2-2006 15:04", "1.2.2006 15:04"},
}

func (t *rowTaker) when(line int, record []string) time.Time {
	text := strings.TrimSpace(record[t.at["seconds"]])
	if t.location == nil {
		when, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.fault("%s:%d: column %q is %q; it must be an RFC 3339 time such as 2026-03-02T06:00:00Z, or --time-layout must say how it is written", t.file, line, t.columns["seconds"], text)
		}
		return when
	}
	for _, layout := range layouts[t.layout] {
		for _, seconds := range []string{"", ":05"} {
			when, err := time.ParseInLocation(layout+seconds, text, t.location)
			if err != nil {
				continue
			}
			if why := unclear(when, layout+seconds, text, t.location); why != "" {
				t.fault("%s:%d: column %q is %q, which %s in %s; give times in RFC 3339", t.file, line, t.columns["seconds"], text, why, t.zone)
			}
			return when
		}
	}
	t.fault("%s:%d: column %q is %q; it must be a date and a time of day in the layout %s", t.file, line, t.columns["seconds"], text, t.layout)
	return time.Time{}
}

// unclear says why a time of a clock on the wall is not one time: when clocks are put
// on there is none, when they are put back there are two.
func unclear(when time.Time, layout, text string, zone *time.Location) string {
	same := func(u time.Time) bool {
		wall, err := time.ParseInLocation(layout, text, time.UTC)
		_, offset := u.In(zone).Zone()
		return err == nil && u.Add(time.Duration(offset)*time.Second).UTC().Equal(wall)
	}
	if !same(when) {
		return "does not exist"
	}
	for _, by := range []time.Duration{-2 * time.Hour, -time.Hour, -30 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour} {
		if same(when.Add(by)) {
			return "is twice"
		}
	}
	return ""
}

var rowPath = regexp.MustCompile(`^columns(?:\.(\w+))?\[(\d+)\](?:\.(\w+))?`)

// placed tells a fault of the service by the row and the column of the file.
func (f *csvFlags) placed(v refusal.Violation) string {
	m := rowPath.FindStringSubmatch(v.Path)
	if m == nil {
		field, _, _ := strings.Cut(strings.TrimPrefix(v.Path, "columns."), ".")
		if i := slices.Index([]string{"amountUnit", "gateSeconds"}, field); i >= 0 {
			return fmt.Sprintf("%s: %s", []string{"--amount", "--gate"}[i], v.Text)
		}
		return f.file + ": " + v.Path + ": " + v.Text
	}
	i, err := strconv.Atoi(m[2])
	if err != nil || i >= len(f.lines) {
		return f.file + ": " + v.Path + ": " + v.Text
	}
	column := f.columns[m[1]+m[3]]
	if column == "" {
		for _, field := range []string{"amounts", "meterPulses"} {
			if (m[3] == "amount" || m[3] == "meterPulses") && f.columns[field] != "" {
				column = f.columns[field]
			}
		}
	}
	if column == "" {
		return fmt.Sprintf("%s:%d: %s", f.file, f.lines[i], v.Text)
	}
	return fmt.Sprintf("%s:%d: column %q %s", f.file, f.lines[i], column, v.Text)
}
