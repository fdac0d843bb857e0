package report

import (
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// CommissioningDrive is what a commissioning sheet says of one drive.
type CommissioningDrive struct {
	Drive  *linepacev1.Drive
	Scale  *linepacev1.ScaleResponse // nil where there is none
	Why    string                    // there is none
	Points []CommissioningPoint
}

// CommissioningPoint is one speed at which a drive is tried.
type CommissioningPoint struct {
	Name   string // low, set or high
	Answer *linepacev1.SetpointResponse
}

// CommissioningSheet writes the sheet on which a technician notes what each drive of a
// line really does at three points: what to load, what to expect on shaft, delivery,
// readout and sensor, between which limits, and room for what was found and what was
// left. Product is nil where the points rest on none. The error is w's own.
func CommissioningSheet(w io.Writer, line *linepacev1.Line, product *linepacev1.Product, drives []CommissioningDrive) error {
	var p page
	p.line("COMMISSIONING SHEET")
	p.blank()
	p.labelled("line", named(line.GetId(), line.GetDescription()))
	if product != nil {
		p.labelled("product", named(product.GetId(), product.GetDescription()))
	}
	p.labelled("tried by", blankLine)
	p.labelled("date", blankLine)
	p.labelled("instrument", blankLine)
	p.blank()
	p.cautions()
	p.line("AT EACH POINT")
	for i, step := range commissioningSteps {
		p.hanging(fmt.Sprint(i+1), step)
	}
	p.blank()
	for i := range drives {
		p.commissioning(i+1, &drives[i])
	}
	_, err := io.WriteString(w, p.String())
	return err
}

const blankLine = "________________________"

var commissioningSteps = []string{
	"Load the number and let the drive settle.",
	"Measure each shaft and the delivery, and read the readout. Write what you find below \"as found\".",
	"Outside the limits: find out why before you change a scale. Then measure again, and write it below \"as left\".",
}

func (p *page) commissioning(number int, d *CommissioningDrive) {
	p.hanging(fmt.Sprint(number), named(d.Drive.GetId(), d.Drive.GetDescription()))
	if d.Scale != nil {
		for _, row := range ScaleRows(d.Drive, d.Scale)[:3] {
			p.labelled(row.Label, row.Text)
		}
	} else {
		p.labelled("no scale", d.Why)
	}
	told := map[string]bool{}
	for i := range d.Points {
		p.commissioningPoint(&d.Points[i], told)
	}
	p.blank()
}

// commissioningPoint writes one point. A check that was told stays told.
func (p *page) commissioningPoint(point *CommissioningPoint, told map[string]bool) {
	p.blank()
	setpoint := point.Answer.GetSetpoint()
	load := "set the speed by the drive's own means"
	if value := setpointText(setpoint); value != "" {
		load = value + " into " + register(setpoint)
	}
	p.labelled(strings.ToUpper(point.Name), load)
	for row := range strings.SplitSeq(expectations(point.Answer), "\n") {
		p.line("    " + row)
	}
	if point.Answer.GetSlowest() == nil {
		p.labelled("limits", "not known: how closely the drive holds its speed is not described")
	}
	p.labelled("that is", strings.Join(quantities(point.Answer.GetInUnits()), ", "))
	for _, check := range point.Answer.GetChecks() {
		if !told[check.GetMessage()] {
			told[check.GetMessage()] = true
			p.labelled(strings.ToLower(check.GetSeverity().String()), check.GetMessage())
		}
	}
}

func quantities(list []*linepacev1.Quantity) []string {
	out := make([]string, len(list))
	for i, q := range list {
		out[i] = Quantity(q)
	}
	return out
}

// expectations is the table of what is to be expected, with room to write.
func expectations(answer *linepacev1.SetpointResponse) string {
	t := table.NewWriter()
	t.SetStyle(plainStyle())
	t.AppendHeader(table.Row{"", "expect", "slowest", "fastest", "as found", "as left"})
	t.SetColumnConfigs([]table.ColumnConfig{
		{Number: 1, WidthMax: 24, WidthMaxEnforcer: text.WrapHard},
		{Number: 2, Align: text.AlignRight, AlignHeader: text.AlignRight},
		{Number: 3, Align: text.AlignRight, AlignHeader: text.AlignRight},
		{Number: 4, Align: text.AlignRight, AlignHeader: text.AlignRight},
	})
	setpoint := answer.GetSetpoint()
	here := &linepacev1.SetpointResponse_Expected{
		MotorRpm: setpoint.GetAchievedRpm(), LastShaftRpm: setpoint.LastShaftRpm, ProcessRate: setpoint.GetProcessRate(),
		ReadoutText: setpoint.ReadoutText, PulseHz: setpoint.PulseHz,
	}
	columns := []*linepacev1.SetpointResponse_Expected{here, answer.GetSlowest(), answer.GetFastest()}
	for _, row := range expectationRows(here, setpoint.GetReadoutUnit()) {
		cells := table.Row{Clean(row.label)}
		for _, column := range columns {
			cells = append(cells, Clean(row.text(column)))
		}
		t.AppendRow(append(cells, "____________", "____________"))
	}
	return t.Render()
}

// expectationRow is one line of the table; text is of a column, which may be nil.
type expectationRow struct {
	label string
	text  func(*linepacev1.SetpointResponse_Expected) string
}

// expectationRows are the lines for which there is something to expect.
func expectationRows(here *linepacev1.SetpointResponse_Expected, readoutUnit string) []expectationRow {
	number := func(of func(*linepacev1.SetpointResponse_Expected) float64) func(*linepacev1.SetpointResponse_Expected) string {
		return func(e *linepacev1.SetpointResponse_Expected) string {
			if e == nil {
				return ""
			}
			return Number(of(e))
		}
	}
	rows := []expectationRow{{"motor shaft, r/min", number((*linepacev1.SetpointResponse_Expected).GetMotorRpm)}}
	if here.LastShaftRpm != nil {
		rows = append(rows, expectationRow{"last shaft, r/min", number((*linepacev1.SetpointResponse_Expected).GetLastShaftRpm)})
	}
	if rate := here.GetProcessRate(); rate != nil {
		rows = append(rows, expectationRow{"delivery, " + rate.GetUnit(), number(func(e *linepacev1.SetpointResponse_Expected) float64 {
			return e.GetProcessRate().GetValue()
		})})
	}
	if here.ReadoutText != nil {
		rows = append(rows, expectationRow{"readout, " + readoutUnit, (*linepacev1.SetpointResponse_Expected).GetReadoutText})
	}
	if here.PulseHz != nil {
		rows = append(rows, expectationRow{"sensor, Hz", number((*linepacev1.SetpointResponse_Expected).GetPulseHz)})
	}
	return rows
}
