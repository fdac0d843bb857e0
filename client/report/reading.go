package report

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// CheckReading writes what a tachometer should read, what it read with its uncertainty
// line by line, and what that proves of the drive. The error is w's own.
func CheckReading(w io.Writer, req *linepacev1.CheckReadingRequest, resp *linepacev1.CheckReadingResponse) error {
	var a answer
	u := resp.GetExpandedUncertainty().GetValue()
	a.rows("TACHOMETER CHECK",
		Row{Label: "drive", Text: named(req.GetDrive().GetId(), req.GetDrive().GetDescription())},
		Row{Label: "loaded", Text: loadedText(req) + ", which sets " + Number(resp.GetSetRpm()) + " r/min of the motor"},
		Row{Label: "at", Text: pointText(req)},
		Row{Label: "expected", Text: Quantity(resp.GetExpected())},
		Row{Label: "measured", Text: fmt.Sprintf("%s, mean of %s", withUncertainty(resp.GetMeasured(), u), counted(len(req.GetReadings()), "reading"))},
		Row{Label: "deviation", Text: fmt.Sprintf("%s, %s", withUncertainty(resp.GetDeviation(), u), percent(resp.GetDeviationPercent(), 3))},
		Row{Label: "coverage", Text: fmt.Sprintf("%s %%, k = %s%s", Number(resp.GetCoveragePercent()), significant(resp.GetCoverageFactor(), 3), dofText(resp.DegreesOfFreedom))})
	a.conformity(req, resp)
	a.budget(resp)
	a.checks(resp.GetChecks())
	a.working(resp.GetWorking())
	return a.end(w)
}

func loadedText(req *linepacev1.CheckReadingRequest) string {
	switch loaded := req.GetLoaded().(type) {
	case *linepacev1.CheckReadingRequest_Count:
		return "count " + strconv.Itoa(int(loaded.Count))
	case *linepacev1.CheckReadingRequest_Milliamps:
		return Number(loaded.Milliamps) + " mA"
	case *linepacev1.CheckReadingRequest_Volts:
		return Number(loaded.Volts) + " V"
	case *linepacev1.CheckReadingRequest_Setpoint:
		return Quantity(loaded.Setpoint)
	}
	return ""
}

func pointText(req *linepacev1.CheckReadingRequest) string {
	switch req.GetPoint().(type) {
	case *linepacev1.CheckReadingRequest_Wheel:
		if req.GetWheel() == linepacev1.CheckReadingRequest_OVER_ROLL {
			return "the surface over the roll, by a wheel"
		}
		return "the surface on the straight run, by a wheel"
	}
	switch req.GetShaft() {
	case linepacev1.Register_SENSOR:
		return "the shaft of the sensor in the loop"
	case linepacev1.Register_LAST:
		return "the last shaft"
	}
	return "the motor shaft"
}

// withUncertainty writes a measured value with its expanded uncertainty, whose two
// significant digits say how far the value is worth writing (GUM 7.2.6).
func withUncertainty(q *linepacev1.Quantity, u float64) string {
	decimals := 0
	if u > 0 && !math.IsInf(u, 0) {
		decimals = min(max(0, 1-int(math.Floor(math.Log10(u)))), 12)
	}
	write := func(v float64) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
	return fmt.Sprintf("%s %s, U = %s %s", write(q.GetValue()), q.GetUnit(), write(u), q.GetUnit())
}

func dofText(dof *float64) string {
	if dof == nil {
		return ""
	}
	return fmt.Sprintf(", %.0f effective degrees of freedom", *dof)
}

// conformity writes what the measurement proves of the drive.
func (a *answer) conformity(req *linepacev1.CheckReadingRequest, resp *linepacev1.CheckReadingResponse) {
	l := resp.GetLimits()
	if l == nil {
		why := "no regulation is described that could be judged"
		if req.GetDrive().GetMotor().GetRegulation() != nil {
			why = "the loop holds a flow, and the motor's speed is what that takes"
		}
		a.rows("", Row{Label: "VERDICT", Text: "none: " + why})
		return
	}
	verdict := "UNKNOWN"
	switch l.GetVerdict() {
	case linepacev1.CheckReadingResponse_Limits_CONFORMANCE_PROVEN:
		verdict = "CONFORMANCE PROVEN: the drive keeps to its regulation"
	case linepacev1.CheckReadingResponse_Limits_NONCONFORMANCE_PROVEN:
		verdict = "NONCONFORMANCE PROVEN: the drive does not keep to its regulation"
	case linepacev1.CheckReadingResponse_Limits_NEITHER_PROVEN:
		verdict = "NEITHER PROVEN: the uncertainty is too large to tell"
	}
	rows := []Row{
		{Label: "VERDICT", Text: verdict},
		{Label: "limits", Text: fmt.Sprintf("%s to %s, by the drive's regulation", Quantity(l.GetLow()), Quantity(l.GetHigh()))},
		{Label: "guard band", Text: fmt.Sprintf("%s, %s standard uncertainties", Quantity(l.GetGuardBand()), significant(l.GetGuardFactor(), 3))},
		{Label: "rule", Text: l.GetRule()},
	}
	for i, r := range resp.GetRemedies() {
		label := "decided by"
		if i > 0 {
			label = "or by"
		}
		rows = append(rows, Row{Label: label, Text: r.GetText()})
	}
	a.rows("", rows...)
}

var (
	sourceNames = map[linepacev1.CheckReadingResponse_BudgetLine_Source]string{
		linepacev1.CheckReadingResponse_BudgetLine_SCATTER:             "scatter",
		linepacev1.CheckReadingResponse_BudgetLine_CERTIFICATE:         "certificate",
		linepacev1.CheckReadingResponse_BudgetLine_LAST_DIGIT:          "last digit",
		linepacev1.CheckReadingResponse_BudgetLine_COUNTED_MARKS:       "counted marks",
		linepacev1.CheckReadingResponse_BudgetLine_GATE_TIME:           "gate time",
		linepacev1.CheckReadingResponse_BudgetLine_WHEEL_CIRCUMFERENCE: "wheel",
	}
	evaluationNames = map[linepacev1.CheckReadingResponse_BudgetLine_Evaluation]string{
		linepacev1.CheckReadingResponse_BudgetLine_TYPE_A: "A",
		linepacev1.CheckReadingResponse_BudgetLine_TYPE_B: "B",
	}
)

// budget writes the uncertainty line by line.
func (a *answer) budget(resp *linepacev1.CheckReadingResponse) {
	unit := resp.GetStandardUncertainty().GetUnit()
	a.line("UNCERTAINTY, after the GUM (JCGM 100:2008)")
	t := table.NewWriter()
	t.SetStyle(plainStyle())
	t.AppendHeader(table.Row{"", "source", "type", "value", "distribution", "divisor", "sensitivity", "u", "dof", "share"})
	t.SetColumnConfigs(append(alignedRight(1, 6, 7, 8, 9, 10),
		table.ColumnConfig{Number: 4, Align: text.AlignRight, AlignHeader: text.AlignRight, WidthMax: 14, WidthMaxEnforcer: text.WrapHard}))
	for i, l := range resp.GetBudget() {
		dof := "-"
		if l.DegreesOfFreedom != nil {
			dof = Number(l.GetDegreesOfFreedom())
		}
		t.AppendRow(table.Row{i + 1, sourceNames[l.GetSource()], evaluationNames[l.GetEvaluation()], significant(l.GetValue().GetValue(), 4) + " " + Clean(l.GetValue().GetUnit()),
			strings.ToLower(l.GetDistribution().String()), significant(l.GetDivisor(), 4), significant(l.GetSensitivity(), 4),
			significant(l.GetStandardUncertainty().GetValue(), 3), dof, strconv.FormatFloat(l.GetSharePercent(), 'f', 1, 64) + " %"})
	}
	for line := range strings.SplitSeq(t.Render(), "\n") {
		a.line(line)
	}
	a.labelled("units", "u in "+unit+", sensitivity in "+unit+" for one of the value's unit")
	a.labelled("combined", Quantity(resp.GetStandardUncertainty()))
	a.labelled("expanded", Quantity(resp.GetExpandedUncertainty()))
	a.blank()
}

// alignedRight are columns of numbers.
func alignedRight(numbers ...int) []table.ColumnConfig {
	out := make([]table.ColumnConfig, len(numbers))
	for i, n := range numbers {
		out[i] = table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight}
	}
	return out
}
