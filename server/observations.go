package server

import (
	"regexp"
	"strings"
	"time"

	"linepace.example/core/drift"
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// observed are the observations of a request in base units, without the gaps.
type observed struct {
	hours    []float64 // from the first
	readings []drift.Observation
	rebased  []int   // readings before which something was done
	index    []int32 // of each reading in the request
	gaps     int32
	pulses   bool // something was metered by pulses
}

// placed is where in time a series stands.
type placed struct {
	start   time.Time // of the first reading
	last    time.Time // of the last observation
	begun   bool      // there is a first reading
	seen    bool      // there is an observation
	pending bool      // an event before a gap belongs to the next reading
}

// observing reads observations against the model that they are to be compared with.
type observing struct {
	*decoder
	model   drift.Model
	kind    units.Dimension // of the amounts
	density float64         // kg per m3; 0: none known
	kFactor units.Quantity
	observed
	placed
	before int32 // observations of the requests before this one
}

// row is one observation with everything in place.
type row struct {
	at                   fault.Path
	time                 time.Time
	rpm, turns, pulses   *float64
	amount, gate         units.Quantity
	event                bool
	timeField, gateField string
}

// list reads the observations of a request in the form in which they are given.
func (o *observing) list(in []*linepacev1.Observation) {
	root := fault.Root("observations")
	for i, each := range in {
		if len(o.faults) > refusal.MaxViolations {
			return
		}
		r := row{
			at: root.Index(i), rpm: each.MotorRpm, turns: each.Turns, pulses: each.MeterPulses,
			event: each.GetEvent() != linepacev1.Observation_EVENT_UNSPECIFIED, timeField: "time", gateField: "gate",
		}
		var err error
		if r.time, err = time.Parse(time.RFC3339, each.GetTime()); err != nil {
			at := r.at.Field("time")
			o.faults.Add(&at, fault.Malformed, "is %q; it must be an RFC 3339 date and time such as 2026-03-02T06:00:00Z", each.GetTime())
			continue
		}
		r.amount, r.gate = o.quantity(each.GetAmount(), &r.at, "amount"), o.quantity(each.GetGate(), &r.at, "gate")
		o.row(i, &r)
	}
}

// row takes one observation.
func (o *observing) row(i int, r *row) {
	found := len(o.faults)
	o.order(r)
	o.pending = o.pending || r.event
	if r.amount.Unit == nil && r.pulses == nil {
		o.gaps++
		return
	}
	reading := drift.Observation{Minutes: o.minutes(r)}
	reading.Turns = o.turns(r, reading.Minutes)
	reading.Amount, reading.AmountPulses = o.amount(r)
	if len(o.faults) > found {
		return
	}
	if _, err := o.model.Read(reading); err != nil {
		o.faults.Add(&r.at, fault.OutOfRange, "cannot be read against the commissioned model: %s", err)
		return
	}
	if !o.begun {
		o.start, o.begun = r.time, true
	}
	if o.pending {
		o.rebased, o.pending = append(o.rebased, len(o.readings)), false
	}
	o.hours = append(o.hours, r.time.Sub(o.start).Hours())
	o.readings = append(o.readings, reading)
	o.index = append(o.index, o.before+int32(i))
	o.pulses = o.pulses || r.pulses != nil
}

// order holds the times to rise.
func (o *observing) order(r *row) {
	if o.seen && !r.time.After(o.last) {
		at := r.at.Field(r.timeField)
		o.faults.Add(&at, fault.OutOfRange, "is not later than the time of the observation before, %s; observations stand in the order of their times, each once", o.last.Format(time.RFC3339Nano))
	}
	o.last, o.seen = r.time, true
}

func (o *observing) minutes(r *row) float64 {
	if !scaling.ValidatePositive(r.gate, &r.at, &o.faults, r.gateField, units.TimeDim) {
		return 0
	}
	return r.gate.Base(new(exact.Calc)).Float()
}

func (o *observing) turns(r *row, minutes float64) float64 {
	rpm, turns := r.at.Field("motorRpm"), r.at.Field("turns")
	switch {
	case r.rpm == nil && r.turns == nil:
		o.faults.Add(&rpm, fault.Required, "is needed, or turns: how fast or how far the motor turned during the gate")
	case r.rpm != nil && r.turns != nil:
		o.faults.Add(&turns, fault.Conflict, "is given, and motorRpm too: give one of them")
	case r.rpm != nil && !(*r.rpm > 0 && *r.rpm <= 1e6):
		o.faults.Add(&rpm, fault.OutOfRange, "is %v; it must be above 0 and at most 1000000 r/min; leave an observation at a stand out", *r.rpm)
	case r.rpm != nil:
		return *r.rpm * minutes
	case !(*r.turns > 0 && *r.turns <= 1e15):
		o.faults.Add(&turns, fault.OutOfRange, "is %v; it must be above 0 and at most 1e15 turns; leave an observation at a stand out", *r.turns)
	default:
		return *r.turns
	}
	return 0
}

// amount returns what was metered, in base units of the model's kind, and the pulses
// that it was counted in.
func (o *observing) amount(r *row) (amount, pulses float64) {
	at, count := r.at.Field("amount"), r.at.Field("meterPulses")
	switch {
	case r.amount.Unit != nil && r.pulses != nil:
		o.faults.Add(&count, fault.Conflict, "is given, and amount too: give one of them")
	case r.pulses == nil:
		return o.metered(r.amount, &at), 0
	case o.kFactor.Unit == nil:
		meter := fault.Root("meter")
		k := meter.Field("kFactor")
		o.faults.Add(&k, fault.Required, "is needed where meterPulses are given: pulses per amount, such as 250 pulse/L")
	case *r.pulses < 0:
		o.faults.Add(&count, fault.OutOfRange, "is %v: a meter counts up; where it was reset to zero, leave the observation out or give the pulses of the gate alone", *r.pulses)
	case *r.pulses > 1e15:
		o.faults.Add(&count, fault.OutOfRange, "is %v; it must be at most 1e15 pulses", *r.pulses)
	case o.kFactor.Unit != scaling.Unreadable && o.kFactor.Value > 0:
		per := o.kFactor.Base(new(exact.Calc)).Float()
		return o.inKind(*r.pulses/per, units.PulseDim.Per(o.kFactor.Unit.Dimension()), &count), *r.pulses
	}
	return 0, 0
}

func (o *observing) metered(q units.Quantity, at *fault.Path) float64 {
	if q.Unit == scaling.Unreadable {
		return 0
	}
	if q.Value < 0 {
		value := at.Field("value")
		o.faults.Add(&value, fault.OutOfRange, "is %v; an amount is 0 or more; where a totaliser was reset, give what passed during the gate", q.Value)
		return 0
	}
	return o.inKind(q.Base(new(exact.Calc)).Float(), q.Unit.Dimension(), at)
}

// inKind turns a volume into a mass or back where the model is in the other.
func (o *observing) inKind(amount float64, is units.Dimension, at *fault.Path) float64 {
	switch {
	case is == o.kind:
		return amount
	case is == units.MassDim && o.kind == units.VolumeDim && o.density > 0:
		return amount / o.density
	case is == units.VolumeDim && o.kind == units.MassDim && o.density > 0:
		return amount * o.density
	case (is == units.MassDim || is == units.VolumeDim) && (o.kind == units.MassDim || o.kind == units.VolumeDim):
		material := fault.Root("material")
		o.faults.Add(&material, fault.Required, "with its density is needed: what was metered is a %s, and the drive delivers a %s", is, o.kind)
	default:
		o.faults.Add(at, fault.UnitWrongKind, "is a %s, and the drive delivers a %s", is, o.kind)
	}
	return 0
}

// columns reads observations that are given as columns.
func (o *observing) columns(in *linepacev1.ObservationColumns) {
	root := fault.Root("columns")
	start, err := time.Parse(time.RFC3339, in.GetStart())
	if err != nil {
		at := root.Field("start")
		o.faults.Add(&at, fault.Malformed, "is %q; it must be an RFC 3339 date and time such as 2026-03-02T06:00:00Z", in.GetStart())
	}
	events := o.rowEvents(in, &root)
	unit := (*units.Unit)(nil)
	if len(in.GetAmounts()) > 0 {
		at := root.Field("amountUnit")
		unit = o.unitAt(in.GetAmountUnit(), &at)
	}
	if !o.alike(in, &root) || len(o.faults) > 0 {
		return
	}
	defer o.turnToColumns()
	for i, seconds := range in.GetSeconds() {
		if len(o.faults) > refusal.MaxViolations {
			return
		}
		if !(seconds > -9e9 && seconds < 9e9) {
			at := root.Field("seconds")
			at = at.Index(i)
			o.faults.Add(&at, fault.OutOfRange, "is %v; it must be within 9e9 s (285 years) of start", seconds)
			continue
		}
		gates := in.GetGateSeconds()
		r := row{
			at: root.Index(i), time: start.Add(time.Duration(seconds * float64(time.Second))), event: events[int32(i)],
			rpm: item(in.GetMotorRpm(), i), turns: item(in.GetTurns(), i), pulses: item(in.GetMeterPulses(), i),
			gate: units.Quantity{Value: gates[min(i, len(gates)-1)], Unit: second}, timeField: "seconds", gateField: "gateSeconds",
		}
		if amount := item(in.GetAmounts(), i); amount != nil {
			r.amount = units.Quantity{Value: *amount, Unit: unit}
		}
		o.row(i, &r)
	}
}

// rowField is the path of a field of a row.
var rowField = regexp.MustCompile(`^columns\[(\d+)\]\.(\w+).*$`)

// turnToColumns turns paths of a row's fields into those of a request that has columns:
// columns[3].turns is columns.turns[3] there.
func (o *observing) turnToColumns() {
	for i := range o.faults {
		o.faults[i].Path = strings.Replace(rowField.ReplaceAllString(o.faults[i].Path, "columns.$2[$1]"), ".amount[", ".amounts[", 1)
	}
}

// item returns where a row of a column stands; nil of an empty column.
func item(column []float64, i int) *float64 {
	if i >= len(column) {
		return nil
	}
	return &column[i]
}

// alike holds the columns to one length.
func (o *observing) alike(in *linepacev1.ObservationColumns, root *fault.Path) bool {
	n, found := len(in.GetSeconds()), len(o.faults)
	if n == 0 {
		at := root.Field("seconds")
		o.faults.Add(&at, fault.Required, "is needed: when each gate ended, s from start")
	}
	for _, column := range []struct {
		name   string
		length int
		one    bool
	}{
		{"motorRpm", len(in.GetMotorRpm()), false}, {"turns", len(in.GetTurns()), false},
		{"amounts", len(in.GetAmounts()), false}, {"meterPulses", len(in.GetMeterPulses()), false}, {"gateSeconds", len(in.GetGateSeconds()), true},
	} {
		at := root.Field(column.name)
		switch {
		case column.length == n || column.one && column.length == 1:
		case column.one && column.length == 0:
			o.faults.Add(&at, fault.Required, "is needed: the length of each gate, s, or one number for all")
		case column.length > 0:
			o.faults.Add(&at, fault.Conflict, "has %d rows and seconds %d; a column has as many as all others, or none", column.length, n)
		}
	}
	return len(o.faults) == found
}

func (o *observing) rowEvents(in *linepacev1.ObservationColumns, root *fault.Path) map[int32]bool {
	out := map[int32]bool{}
	list := root.Field("events")
	for i, e := range in.GetEvents() {
		if e.GetRow() < 0 || int(e.GetRow()) >= len(in.GetSeconds()) {
			at := list.Index(i)
			at = at.Field("row")
			o.faults.Add(&at, fault.OutOfRange, "is %d; the rows are 0 to %d", e.GetRow(), len(in.GetSeconds())-1)
		}
		out[e.GetRow()] = true
	}
	return out
}
