package report

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// driftCaution stands on every sheet that may carry a correction.
const driftCaution = "A correction makes up for what the meter says. Weigh a catch test before you load one: a meter that reads low looks like a pump that wears."

// Drift writes whether a drive still delivers what it did when it was commissioned:
// what to do first, then what that rests on. The error is w's own.
func Drift(w io.Writer, req *linepacev1.AssessRequest, resp *linepacev1.AssessResponse) error {
	a := drifting{req: req, resp: resp}
	a.rows("DRIFT", Row{Label: "drive", Text: driveName(req.GetDrive())}, Row{Label: "usual speed", Text: Number(resp.GetNow().GetUsualRpm()) + " r/min of the motor"},
		Row{Label: "readings", Text: a.readings()})
	a.rows("WHAT TO DO", adviceRows(resp.GetAdvice())...)
	a.rows("DELIVERY NOW, at the usual speed", a.now()...)
	a.rows("CHARTS", a.charts()...)
	a.rows("CHANGE, since anything was last done to drive, meter or scale", a.change()...)
	if len(resp.GetForecasts()) > 0 {
		a.rows("WHEN LIMITS ARE REACHED, if it goes on as it has; 95 % confidence", a.forecasts()...)
	}
	a.correction()
	a.working(resp.GetWorking())
	a.rows("AT THE MACHINE", Row{Mark: "-", Text: driftCaution}, Row{Mark: "-", Text: fieldCaution})
	return a.end(w)
}

type drifting struct {
	answer
	req  *linepacev1.AssessRequest
	resp *linepacev1.AssessResponse
}

func adviceRows(advice []*linepacev1.AssessResponse_Advice) (rows []Row) {
	for _, each := range advice {
		rows = append(rows, Row{Label: strings.ToLower(each.GetSeverity().String()), Text: each.GetMessage()})
	}
	return rows
}

func (a *drifting) readings() string {
	s := a.resp.GetSummary()
	text := counted(int(s.GetReadingCount()), "reading")
	if s.GetGapCount() > 0 {
		text += ", " + counted(int(s.GetGapCount()), "gap")
	}
	if s.GetCurrentCount() != s.GetReadingCount() {
		text += fmt.Sprintf("; %d since something was last done", s.GetCurrentCount())
	}
	return text + "; the last at " + moment(a.resp.GetNow().GetTime())
}

func (a *drifting) now() []Row {
	n := a.resp.GetNow()
	change := percent(n.GetChangePercent(), 2)
	if n.UncertaintyPercent != nil {
		change += fmt.Sprintf(", uncertain by %s points (95 %% confidence)", significant(n.GetUncertaintyPercent(), 2))
	}
	change += ", against the commissioned model"
	meter := ""
	if n.MeterUncertaintyPercent != nil {
		meter = fmt.Sprintf("its accuracy adds %s points, to all readings alike", significant(n.GetMeterUncertaintyPercent(), 2))
	}
	within := "NOT WITHIN"
	if n.GetWithinTolerance() {
		within = "within"
	}
	return []Row{
		{Label: "delivers", Text: Quantity(n.GetPerTurn()) + " of the motor"},
		{Label: "change", Text: change},
		{Label: "meter", Text: meter},
		{Label: "tolerance", Text: fmt.Sprintf("%s the %s %% that it may differ", within, Number(a.req.GetTolerancePercent()))},
		{Label: "loss", Text: a.loss(n.GetLoss())},
	}
}

// loss says what a loss is a part of.
func (a *drifting) loss(q *linepacev1.Quantity) string {
	text := threeDigits(q)
	if q.GetUnit() == "%" {
		return text + " of what a turn delivered"
	}
	return text + " more leaks back than when it was commissioned"
}

func (a *drifting) charts() []Row {
	s := a.resp.GetSummary()
	scatter := fmt.Sprintf("a reading has a standard deviation of %s %%", significant(s.GetSigmaPercent(), 3))
	if s.SigmaLowPercent != nil {
		scatter += fmt.Sprintf(", learned from the first %d (%s %% to %s %%), about %s", a.req.GetSigma().GetBaseline(),
			significant(s.GetSigmaLowPercent(), 3), significant(s.GetSigmaHighPercent(), 3), percent(s.GetTargetPercent(), 2))
	}
	return []Row{
		{Label: "scatter", Text: scatter},
		{Label: "CUSUM", Text: a.alarms(a.resp.GetCusum())},
		{Label: "", Text: runLengths(a.resp.GetCusum())},
		{Label: "EWMA", Text: a.alarms(a.resp.GetEwma())},
		{Label: "", Text: runLengths(a.resp.GetEwma())},
		{Label: "dependence", Text: dependence(s)},
	}
}

func (a *drifting) alarms(c *linepacev1.AssessResponse_Chart) string {
	if c.GetAlarmCount() == 0 {
		return "no alarm"
	}
	first, last := c.GetAlarms()[0], c.GetAlarms()[len(c.GetAlarms())-1]
	text := fmt.Sprintf("%s; the first at %s: %s is delivered than expected", counted(int(c.GetAlarmCount()), "alarm"), moment(first.GetTime()), lessOrMore(first.GetHigh()))
	if began := a.timeOf(first.BeganIndex); began != "" {
		text += ", by its own reckoning since about " + began
	}
	if c.GetAlarmCount() > 1 && int(c.GetAlarmCount()) == len(c.GetAlarms()) {
		text += "; the last at " + moment(last.GetTime())
	}
	return text
}

func lessOrMore(high bool) string {
	if high {
		return "more"
	}
	return "less"
}

// runLengths says how a chart errs.
func runLengths(c *linepacev1.AssessResponse_Chart) string {
	text := fmt.Sprintf("a false alarm in %s readings on average", significant(c.GetRunLengthInControl(), 3))
	if c.RunLengthLow != nil && c.RunLengthHigh != nil {
		text += fmt.Sprintf(" (%s to %s, as the standard deviation is known no better)", significant(min(c.GetRunLengthLow(), c.GetRunLengthHigh()), 3), significant(max(c.GetRunLengthLow(), c.GetRunLengthHigh()), 3))
	}
	return text + fmt.Sprintf("; a shift of one standard deviation alarms after %s", significant(c.GetRunLengthAtShift(), 3))
}

func dependence(s *linepacev1.AssessResponse_Summary) string {
	if s.Lag1Autocorrelation == nil {
		return ""
	}
	verdict := "readings do not depend on the ones before them, so the lengths above hold"
	if s.GetCorrelated() {
		verdict = "readings depend on the ones before them, so false alarms come sooner than said above"
	}
	return fmt.Sprintf("%s (lag-1 autocorrelation %.2f)", verdict, s.GetLag1Autocorrelation())
}

func (a *drifting) change() []Row {
	rows := []Row{{Label: "kind", Text: a.kind()}}
	for _, cause := range a.resp.GetChange().GetCauses() {
		rows = append(rows, Row{Label: "may be", Text: fmt.Sprintf("%s (a factor of %s; the step is %s standard uncertainties off it)", cause.GetText(), significant(cause.GetFactor(), 4), significant(cause.GetOff(), 2))})
	}
	t := a.resp.GetTrend()
	if t == nil {
		return rows
	}
	chance := "chance alone explains that"
	if t.GetSignificant() {
		chance = "chance alone does not explain that"
	}
	return append(rows,
		Row{Label: "loss grows", Text: by(t.GetPer_1000Hours(), t.GetPer_1000HoursLow(), t.GetPer_1000HoursHigh()) + " in 1000 running hours, by least squares"},
		Row{Label: "", Text: by(t.GetMedianPer_1000Hours(), t.GetMedianPer_1000HoursLow(), t.GetMedianPer_1000HoursHigh()) + ", by the median of all slopes (Theil and Sen)"},
		Row{Label: "", Text: fmt.Sprintf("%s (Mann and Kendall: S = %s, probability %s)", chance, significant(t.GetMannKendallS(), 6), significant(t.GetMannKendallP(), 2))})
}

// by writes a rate of change with its bounds, where it has them.
func by(q, low, high *linepacev1.Quantity) string {
	if low == nil || high == nil {
		return threeDigits(q)
	}
	return fmt.Sprintf("%s (%s to %s)", threeDigits(q), significant(low.GetValue(), 3), significant(high.GetValue(), 3))
}

func (a *drifting) kind() string {
	c := a.resp.GetChange()
	switch c.GetKind() {
	case linepacev1.AssessResponse_Change_KIND_UNSPECIFIED:
		return "too few readings to tell: six are needed"
	case linepacev1.AssessResponse_Change_NONE:
		return "none that chance does not explain"
	}
	when := fmt.Sprintf("%s, or between %s and %s", moment(c.GetTime()), a.timeOf(c.FirstIndex), a.timeOf(c.LastIndex))
	if c.GetFirstIndex() == c.GetLastIndex() {
		when = moment(c.GetTime())
	}
	if c.GetKind() == linepacev1.AssessResponse_Change_STEP {
		return fmt.Sprintf("a step from %s to %s at %s", percent(c.GetBeforePercent(), 2), percent(c.GetAfterPercent(), 2), when)
	}
	return fmt.Sprintf("a ramp away from %s, from %s", percent(c.GetBeforePercent(), 2), when)
}

func (a *drifting) forecasts() (rows []Row) {
	for _, f := range a.resp.GetForecasts() {
		label := "tolerance"
		if f.GetWhat() == linepacev1.AssessResponse_Forecast_SPEED_AT_LIMIT {
			label = "top speed"
		}
		rows = append(rows, Row{Label: label, Text: forecastText(f)})
	}
	return rows
}

// forecastText says in plain words when a limit is reached.
func forecastText(f *linepacev1.AssessResponse_Forecast) string {
	what := "left, if the speed is not corrected"
	if f.GetWhat() == linepacev1.AssessResponse_Forecast_SPEED_AT_LIMIT {
		what = "needed to make up for the loss: correction then ends"
	}
	at := fmt.Sprintf("%s, at a loss of %s: ", what, threeDigits(f.GetLoss()))
	switch {
	case f.GetReached():
		return at + "already so"
	case f.GetNever():
		return at + "never, as it goes now"
	case f.GetTime() == "":
		at += "not on the line of the trend"
	default:
		at += "about " + day(f.GetTime())
	}
	switch {
	case f.GetEarliest() == "" && f.GetLatest() == "":
		return at + "; how soon or how late is open, perhaps never"
	case f.GetLatest() == "":
		return at + "; not before " + day(f.GetEarliest()) + ", and open: perhaps never"
	case f.GetEarliest() == "":
		return at + "; at the latest " + day(f.GetLatest())
	}
	return fmt.Sprintf("%s; between %s and %s", at, day(f.GetEarliest()), day(f.GetLatest()))
}

// correction writes what makes the model hold again, with what to put into the line's file.
func (a *drifting) correction() {
	c := a.resp.GetCorrection()
	if c == nil {
		return
	}
	a.rows("CORRECTION",
		Row{Label: "model", Text: modelText(c.GetOverlay().GetModel())},
		Row{Label: "so far", Text: a.setpoint(c.GetCommissionedSetpoint())},
		Row{Label: "corrected", Text: a.setpoint(c.GetSetpoint())},
		Row{Label: "scale", Text: fractionText(c.GetScaleFraction())})
	a.line("FOR THE FILE OF THE LINE, once a catch test bears it out")
	for _, line := range overlayLines(c.GetOverlay()) {
		a.line(Clean(line))
	}
	a.blank()
}

// fractionText tells the two integers of a scale, or nothing.
func fractionText(f *linepacev1.ScaleFraction) string {
	if f == nil {
		return ""
	}
	sign := "/"
	if f.GetForm() == linepacev1.ScaleFraction_RECIPROCAL {
		sign = "*"
	}
	return fmt.Sprintf("%d %s %d into the device, off by %s parts per million", f.GetNumerator(), sign, f.GetDenominator(), Number(f.GetErrorPpm()))
}

func modelText(m *linepacev1.DeliveryModel) string {
	if pump := m.GetPump(); pump != nil {
		return fmt.Sprintf("%s of the motor, less %s that leaks back", Quantity(pump.GetDisplacement()), Quantity(pump.GetSlipFlow()))
	}
	return Quantity(m.GetPerTurn()) + " of the motor"
}

// setpoint says what gives the usual process rate by a model.
func (a *drifting) setpoint(p *linepacev1.Setpoint) string {
	if p == nil {
		return ""
	}
	text := fmt.Sprintf("%s take %s r/min of the motor", Quantity(p.GetDemanded()), Number(p.GetDemandedRpm()))
	value := setpointText(p)
	switch {
	case value != "":
		return text + ": " + value + " into " + register(p)
	case a.req.GetDrive().GetRegister() != nil:
		return text + ": no setpoint, the drive cannot run so"
	}
	return text
}

// overlayLines writes a correction as it stands in a file of a line, with every digit.
func overlayLines(c *linepacev1.DriveCorrection) []string {
	id := strconv.Quote(c.GetDriveId())
	model := []string{"      perTurn: " + whole(c.GetModel().GetPerTurn())}
	if pump := c.GetModel().GetPump(); pump != nil {
		model = []string{"      pump:", "        displacement: " + whole(pump.GetDisplacement()), "        slipFlow: " + whole(pump.GetSlipFlow())}
	}
	e := c.GetEvidence()
	return slices.Concat([]string{"corrections:", "  - driveId: " + id, "    model:"}, model, []string{
		"    evidence:",
		"      digest: " + strconv.Quote(e.GetDigest()),
		"      first: " + strconv.Quote(e.GetFirst()),
		"      last: " + strconv.Quote(e.GetLast()),
		"      readingCount: " + strconv.Itoa(int(e.GetReadingCount())),
	})
}

// whole writes a quantity with all its digits.
func whole(q *linepacev1.Quantity) string {
	return fmt.Sprintf("{value: %s, unit: %s}", strconv.FormatFloat(q.GetValue(), 'g', -1, 64), q.GetUnit())
}

// timeOf returns when an observation of the request was made; "" where there is none.
func (a *drifting) timeOf(index *int32) string {
	if index == nil {
		return ""
	}
	i := int(*index)
	if rows := a.req.GetObservations(); i >= 0 && i < len(rows) {
		return moment(rows[i].GetTime())
	}
	seconds := a.req.GetColumns().GetSeconds()
	start, err := time.Parse(time.RFC3339, a.req.GetColumns().GetStart())
	if err != nil || i < 0 || i >= len(seconds) {
		return ""
	}
	return moment(start.Add(time.Duration(seconds[i] * float64(time.Second))).Format(time.RFC3339))
}

// moment writes a time of the service for reading, in UTC and to the minute.
func moment(rfc3339 string) string {
	t, err := time.Parse(time.RFC3339, rfc3339)
	if err != nil {
		return rfc3339
	}
	return t.UTC().Format("2006-01-02 15:04") + " UTC"
}

// day is moment without the time of day, which a forecast does not know.
func day(rfc3339 string) string {
	date, _, _ := strings.Cut(moment(rfc3339), " ")
	return date
}
