package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// fieldCaution stands on every sheet of a measurement at a running machine.
const fieldCaution = "Measure from outside the guards: never reach past one to catch, to mark or to touch what moves."

// Catch writes what a catch test says: each run, the pump, and the references to
// paste into the drive. The error is w's own.
func Catch(w io.Writer, req *linepacev1.CatchRequest, resp *linepacev1.CatchResponse) error {
	var a answer
	a.rows("CATCH TEST", Row{Label: "drive", Text: driveName(req.GetDrive())}, Row{Label: "wanted", Text: wantedUncertainty(req.WantedUncertaintyPercent)})
	t := newGrid("run", "motor r/min", "rate", "uncertain", "amount", "time", "density", "least time", "catching")
	for i, r := range resp.GetRuns() {
		t.AppendRow(table.Row{at("runs", i), Number(r.GetMotorRpm()), Quantity(r.GetRate()), share(r.UncertaintyPercent), share(r.AmountPercent),
			share(r.TimePercent), share(r.DensityPercent), upText(r.GetLeastTime()), upText(r.GetLeastAmount())})
	}
	a.grid("RUNS; uncertainties are expanded (k = 2), the whole and its parts", t)
	if p := resp.GetPump(); p != nil {
		a.rows("PUMP, per turn of its last shaft",
			Row{Label: "moves", Text: uncertain(p.GetDisplacement(), p.GetDisplacementStandardUncertainty())},
			Row{Label: "slip flow", Text: uncertain(p.GetSlipFlow(), p.GetSlipFlowStandardUncertainty())})
	}
	a.measurement(resp.GetMeasured(), resp.GetReferences(), resp.GetChecks(), resp.GetWorking())
	return a.end(w)
}

// Lap writes a belt's speed from laps or a surface wheel, and the references to paste
// into the drive. The error is w's own.
func Lap(w io.Writer, req *linepacev1.LapRequest, resp *linepacev1.LapResponse) error {
	var a answer
	a.rows("BELT SPEED", Row{Label: "drive", Text: driveName(req.GetDrive())}, Row{Label: "wanted", Text: wantedUncertainty(req.WantedUncertaintyPercent)})
	t := newGrid("run", "motor r/min", "belt speed", "uncertain", "length", "time", "laps needed", "over the roll")
	var how []Row
	for i, r := range resp.GetRuns() {
		laps := ""
		if r.LapCountNeeded != nil {
			laps = fmt.Sprint(r.GetLapCountNeeded())
		}
		how = append(how, Row{Label: at("runs", i), Text: measuredBy(req, i)})
		t.AppendRow(table.Row{at("runs", i), Number(r.GetMotorRpm()), Quantity(r.GetSpeed()), share(r.UncertaintyPercent),
			share(r.LengthPercent), share(r.TimePercent), laps, optionalText(r.GetOverRollSpeed())})
	}
	a.grid("RUNS; uncertainties are expanded (k = 2), the whole and its parts", t)
	a.rows("MEASURED BY", how...)
	a.measurement(resp.GetMeasured(), resp.GetReferences(), resp.GetChecks(), resp.GetWorking())
	return a.end(w)
}

// measurement writes what the answers of measurements have in common.
func (a *answer) measurement(m *linepacev1.Measured, refs []*linepacev1.Reference, checks []*linepacev1.Check, steps []*linepacev1.Step) {
	a.rows("THE LINE THROUGH THE RUNS", MeasuredRows(m, "runs")...)
	a.line("FOR THE DRIVE'S DESCRIPTION")
	a.line("references:")
	for _, r := range refs {
		a.line("  - " + referenceText(r))
	}
	a.blank()
	a.checks(checks)
	a.working(steps)
	a.rows("AT THE MACHINE", Row{Mark: "-", Text: fieldCaution})
}

// referenceText writes a reference as it stands in a file of a line.
func referenceText(r *linepacev1.Reference) string {
	text := fmt.Sprintf("{value: {value: %s, unit: %s}, motorRpm: %s", significant(r.GetValue().GetValue(), 9), r.GetValue().GetUnit(), significant(r.GetMotorRpm(), 9))
	if r.UncertaintyPercent != nil {
		text += ", uncertaintyPercent: " + significant(r.GetUncertaintyPercent(), 3)
	}
	return text + "}"
}

// MeasuredRows tells what the references of a drive say in rows of a block; list is
// the field that has them.
func MeasuredRows(m *linepacev1.Measured, list string) []Row {
	line := m.GetThroughOrigin()
	if m.GetForm() == linepacev1.Measured_WITH_OFFSET {
		line = m.GetWithOffset()
	}
	rows := []Row{
		{Label: "measured", Text: measuredText(m, line)},
		{Label: "offset", Text: offsetText(m)},
		{Label: "scatter", Text: scatterText(line)},
		{Label: "straight", Text: lackText(line.GetLackOfFit())},
		{Label: "drivetrain", Text: differenceText(m.GetDifference())},
	}
	if len(line.GetResiduals()) > 2 {
		rows = append(rows, Row{Label: "worst", Text: worstText(line, list)})
	}
	return rows
}

func measuredText(m *linepacev1.Measured, line *linepacev1.Measured_Line) string {
	form := "through zero and "
	if m.GetForm() == linepacev1.Measured_WITH_OFFSET {
		form = "with an offset through "
	}
	text := uncertain(line.GetPerMotorTurn(), line.GetPerMotorTurnStandardUncertainty()) + " of the motor, " + form + counted(int(m.GetPointCount()), "reference")
	if m.GetWeighted() && m.GetPointCount() > 1 {
		text += ", weighted by their stated uncertainties"
	}
	return text
}

// offsetText tells the offset that was tested, whether or not it is used.
func offsetText(m *linepacev1.Measured) string {
	if m.GetWithOffset() == nil {
		return ""
	}
	text := uncertain(m.GetWithOffset().GetOffset(), m.GetWithOffset().GetOffsetStandardUncertainty()) + " at standstill"
	t := m.GetOffsetTest()
	switch {
	case t == nil:
		return text + "; too few references to tell whether it is real"
	case t.Statistic == nil:
		return text + "; real, since the references lie exactly on that line"
	case t.GetReal():
		return fmt.Sprintf("%s; real at %s %%: %s standard uncertainties from zero, more than %s", text, Number(t.GetLevelPercent()), significant(abs(t.GetStatistic()), 3), significant(t.GetCritical(), 4))
	}
	return fmt.Sprintf("%s; not told from zero at %s %%: %s standard uncertainties, of %s that it takes", text, Number(t.GetLevelPercent()), significant(abs(t.GetStatistic()), 3), significant(t.GetCritical(), 4))
}

func abs(x float64) float64 { return max(x, -x) }

func scatterText(line *linepacev1.Measured_Line) string {
	if line.GetResidualStandardDeviation() == nil {
		return ""
	}
	return fmt.Sprintf("%s about the line, %s", threeDigits(line.GetResidualStandardDeviation()), degrees(line.GetDegreesOfFreedom()))
}

func degrees(n int32) string {
	if n == 1 {
		return "1 degree of freedom"
	}
	return fmt.Sprintf("%d degrees of freedom", n)
}

func lackText(t *linepacev1.Measured_LackOfFit) string {
	if t == nil {
		return ""
	}
	against, statistic := "the uncertainties that are stated", "chi-square"
	if t.GetAgainst() == linepacev1.Measured_LackOfFit_REPEATS {
		against, statistic = "the scatter of the repeats", "F"
	}
	verdict := "nothing speaks against a straight line"
	if t.GetFound() {
		verdict = "the references lie farther from it than they may"
	}
	return fmt.Sprintf("%s: %s %s against %s, probability %s", verdict, statistic, significant(t.GetStatistic(), 4), against, significant(t.GetProbability(), 2))
}

func differenceText(d *linepacev1.Measured_Difference) string {
	if d == nil {
		return ""
	}
	text := percent(d.GetPercent(), 3) + " from the drivetrain"
	if d.StandardUncertaintyPercent == nil {
		return text
	}
	verdict := "no more than chance"
	if d.GetSignificant() {
		verdict = "more than chance"
	}
	return fmt.Sprintf("%s (u %s %%): %s at 95 %%", text, significant(d.GetStandardUncertaintyPercent(), 2), verdict)
}

// worstText names the reference that lies farthest off the line.
func worstText(line *linepacev1.Measured_Line, list string) string {
	worst := 0
	for i, r := range line.GetResiduals() {
		if abs(r.GetPercent()) > abs(line.GetResiduals()[worst].GetPercent()) {
			worst = i
		}
	}
	r := line.GetResiduals()[worst]
	text := fmt.Sprintf("%s, at %s r/min, lies %s off the line", at(list, worst), Number(r.GetMotorRpm()), threeDigits(r.GetResidual()))
	if r.Percent != nil {
		text += ", " + percent(r.GetPercent(), 2)
	}
	return text
}

func threeDigits(q *linepacev1.Quantity) string {
	return significant(q.GetValue(), 3) + " " + q.GetUnit()
}

// uncertain writes a quantity with its standard uncertainty, where it has one.
func uncertain(q, u *linepacev1.Quantity) string {
	if u == nil {
		return Quantity(q)
	}
	return fmt.Sprintf("%s (u %s)", Quantity(q), significant(u.GetValue(), 2))
}

func wantedUncertainty(percent *float64) string {
	if percent == nil {
		return ""
	}
	return Number(*percent) + " % expanded uncertainty (k = 2)"
}

func driveName(d *linepacev1.Drive) string {
	if d == nil {
		return ""
	}
	return named(d.GetId(), d.GetDescription())
}

// measuredBy says how a run was measured.
func measuredBy(req *linepacev1.LapRequest, i int) string {
	if i >= len(req.GetRuns()) {
		return ""
	}
	run := req.GetRuns()[i]
	switch wheel := run.GetWheel(); {
	case wheel == nil:
		return fmt.Sprintf("%s in %s", counted(int(run.GetLaps().GetLapCount()), "lap"), Quantity(run.GetLaps().GetTime()))
	case wheel.GetPlace() == linepacev1.LapRequest_Wheel_OVER_ROLL:
		return "wheel over the roll, " + Quantity(wheel.GetSpeed())
	default:
		return "wheel on the run, " + Quantity(wheel.GetSpeed())
	}
}

// at names item i of a list of the request, as faults and checks do.
func at(list string, i int) string { return fmt.Sprintf("%s[%d]", list, i) }

// share writes a percentage where there is one.
func share(percent *float64) string {
	if percent == nil {
		return ""
	}
	return significant(*percent, 3) + " %"
}

func optionalText(q *linepacev1.Quantity) string {
	if q == nil {
		return ""
	}
	return Quantity(q)
}

// upText writes a least quantity with three digits, the last rounded up so that it suffices.
func upText(q *linepacev1.Quantity) string {
	if q == nil {
		return ""
	}
	return roundUp(q.GetValue()) + " " + q.GetUnit()
}

// roundUp writes x > 0 with three significant digits, not less than x.
func roundUp(x float64) string {
	step := math.Pow(10, math.Floor(math.Log10(x))-2)
	return significant(math.Ceil(x/step)*step, 6)
}

// newGrid returns a table with its header; the cells after the first are numbers.
func newGrid(header ...any) table.Writer {
	t := table.NewWriter()
	t.SetStyle(plainStyle())
	t.AppendHeader(header)
	var numbers []table.ColumnConfig
	for column := 2; column <= len(header); column++ {
		numbers = append(numbers, table.ColumnConfig{Number: column, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	t.SetColumnConfigs(numbers)
	t.SuppressEmptyColumns()
	return t
}

// grid writes a table below a heading, without its empty columns.
func (a *answer) grid(heading string, t table.Writer) {
	a.line(heading)
	for line := range strings.SplitSeq(t.Render(), "\n") {
		a.line(line)
	}
	a.blank()
}
