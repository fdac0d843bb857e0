package report

import (
	"fmt"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// registerRows tells what a register takes, and of what it speaks.
func registerRows(r *linepacev1.Register, s *linepacev1.ScaleResponse) []Row {
	takes := "a voltage"
	switch {
	case r.GetInteger() != nil:
		takes = "an integer, " + r.GetInteger().GetType().String()
	case r.GetCurrent() != nil:
		takes = "a current"
	}
	rows := []Row{{Label: "takes", Text: takes}, {Label: "speaks of", Text: spokenOf(r)}}
	if s.CountAtMin != nil && s.CountAtMax != nil {
		rows = append(rows, Row{Label: "usable", Text: fmt.Sprintf("counts %d at the lowest usable speed to %d at the highest", s.GetCountAtMin(), s.GetCountAtMax())})
	}
	return rows
}

// spokenOf says what a register's points give: the speed of a shaft, or a rate.
func spokenOf(r *linepacev1.Register) string {
	if r.GetDwellLength() != nil {
		return fmt.Sprintf("the time over %s, in %s", Quantity(r.GetDwellLength()), r.GetSpan()[0].GetValue().GetUnit())
	}
	unit := ""
	for _, point := range r.GetSpan() {
		unit = point.GetValue().GetUnit()
	}
	switch {
	case r.GetShaft() == linepacev1.Register_SENSOR:
		return "the speed of the shaft of the sensor in the loop, in " + unit
	case r.GetShaft() == linepacev1.Register_LAST:
		return "the speed of the last shaft, in " + unit
	case strings.HasPrefix(unit, "r/") || strings.HasPrefix(unit, "{rev}/"):
		return "the motor's speed, in " + unit
	}
	return "the process rate, in " + unit
}

// readoutRows tells what a readout shows over the usable range.
func readoutRows(readout *linepacev1.Readout, r *linepacev1.ReadoutReport) []Row {
	shows := func(text *string) string {
		if text == nil {
			return ""
		}
		return *text + " " + readout.GetUnit()
	}
	atStand := shows(r.TextAtStand)
	if r.TextAtStand == nil {
		atStand = "a time without end: what it shows is its maker's choice"
	}
	return []Row{
		{Label: "at stand", Text: atStand},
		{Label: "at lowest", Text: shows(r.GetAtMin().Text)},
		{Label: "at highest", Text: shows(r.GetAtMax().Text)},
		{Label: "last digit", Text: digitText(r)},
		{Label: "sensor", Text: sensorDigitText(r)},
	}
}

// digitText tells what one of the last digit means, which for a time depends on the speed.
func digitText(r *linepacev1.ReadoutReport) string {
	low, high := r.GetAtMin(), r.GetAtMax()
	text := Quantity(r.GetDigit())
	if low.DigitRpm == nil || high.DigitRpm == nil {
		return text
	}
	text += " is " + digitAt(low, text)
	if Number(low.GetDigitRpm()) == Number(high.GetDigitRpm()) {
		return text
	}
	return text + " at the lowest speed, " + digitAt(high, "") + " at the highest"
}

// digitAt says what a digit is as a rate, unless that is what it says itself, and as a
// speed.
func digitAt(s *linepacev1.ReadoutReport_State, digit string) string {
	text := Number(s.GetDigitRpm()) + " r/min of the motor"
	if rate := s.GetDigitRate(); rate != nil && Quantity(rate) != digit {
		text = Quantity(rate) + ", " + text
	}
	return text
}

func sensorDigitText(r *linepacev1.ReadoutReport) string {
	low, high := r.GetAtMin(), r.GetAtMax()
	if low.SensorDigits == nil || high.SensorDigits == nil {
		return ""
	}
	text := "one pulse or clock tick more moves the reading by " + Number(low.GetSensorDigits()) + " of its last digit"
	if Number(low.GetSensorDigits()) == Number(high.GetSensorDigits()) {
		return text
	}
	return text + " at the lowest speed, by " + Number(high.GetSensorDigits()) + " at the highest"
}

// sensorRows tells what one sensor tells over the usable range.
func sensorRows(number int, drive *linepacev1.Drive, s *linepacev1.SensorReport) []Row {
	where := s.GetId() + ", a flow meter"
	if s.GetShaft() != "" {
		where = fmt.Sprintf("%s, on %s, %s for each turn of the motor", s.GetId(), s.GetShaft(), pulses(s.GetPulsesPerMotorTurn()))
	}
	for _, sensor := range drive.GetSensors() {
		if sensor.GetId() == s.GetId() && sensor.GetClosesLoop() {
			where += "; it closes the loop, which holds " + held(s)
		}
	}
	return []Row{
		{Mark: fmt.Sprint(number), Text: where},
		{Label: "frequency", Text: fmt.Sprintf("%s Hz at the lowest usable speed, %s Hz at the highest", Number(s.GetAtMin().GetPulseHz()), Number(s.GetAtMax().GetPulseHz()))},
		{Label: "tells", Text: bothEnds(s, resolutionText)},
		{Label: "new value", Text: bothEnds(s, updateText)},
		{Label: "wanted", Text: wantedText(s)},
	}
}

func pulses(n float64) string {
	if n == 1 {
		return "1 pulse"
	}
	return Number(n) + " pulses"
}

// held says what a loop holds, since slip behind the sensor is not corrected.
func held(s *linepacev1.SensorReport) string {
	if s.GetShaft() == "" {
		return "the flow"
	}
	return "that shaft: slip before it is corrected, slip after it is not"
}

// bothEnds joins what is told of either end of the usable range.
func bothEnds(s *linepacev1.SensorReport, text func(*linepacev1.SensorReport_State) string) string {
	low, high := text(s.GetAtMin()), text(s.GetAtMax())
	switch {
	case low == "" || high == "":
		return ""
	case low == high:
		return low
	}
	return low + " at the lowest, " + high + " at the highest"
}

func resolutionText(s *linepacev1.SensorReport_State) string {
	if s.ResolutionHz == nil {
		return ""
	}
	text := Number(s.GetResolutionHz()) + " Hz, which is " + Number(s.GetResolutionRpm()) + " r/min of the motor"
	if s.GetResolutionRate() != nil {
		text += ", " + Quantity(s.GetResolutionRate())
	}
	return text + " or " + Number(s.GetResolutionPercent()) + " %"
}

func updateText(s *linepacev1.SensorReport_State) string {
	if s.GetUpdateTime() == nil {
		return ""
	}
	return "every " + Quantity(s.GetUpdateTime())
}

func wantedText(s *linepacev1.SensorReport) string {
	if s.WantedHz == nil {
		return ""
	}
	return fmt.Sprintf("the resolution that is wanted is just met at %s Hz; it needs %s", Number(s.GetWantedHz()), bothEnds(s, func(s *linepacev1.SensorReport_State) string {
		return Quantity(s.GetWantedUpdateTime())
	}))
}

// fractionRows tells a scale fraction and what it does to the readings.
func fractionRows(drive *linepacev1.Drive, f *linepacev1.ScaleFraction) []Row {
	unit := drive.GetReadout().GetUnit()
	basis, basisUnit := basisText(f)
	pair, reading := fmt.Sprintf("%d / %d", f.GetNumerator(), f.GetDenominator()), basis+" * numerator / denominator"
	if f.GetForm() == linepacev1.ScaleFraction_RECIPROCAL {
		pair, reading = fmt.Sprintf("%d * %d", f.GetNumerator(), f.GetDenominator()), "numerator * denominator / "+basis
	}
	rows := []Row{
		{Label: "pair", Text: pair + ", " + strings.ToLower(f.GetForm().String())},
		{Label: "reading", Text: reading + ", in last digits of the readout"},
		{Label: "stands for", Text: Number(f.GetTarget())},
		{Label: "error", Text: ppm(f.GetErrorPpm())},
	}
	if v := f.GetVerifyAt(); v != nil {
		rows = append(rows, Row{Label: "verify", Text: fmt.Sprintf("at %s %s, which is %s r/min of the motor, the readout shows %s %s",
			Number(v.GetBasis()), basisUnit, Number(v.GetMotorRpm()), v.GetReadoutText(), unit)})
	}
	rows = append(rows, comparisonRows(f.GetReadings(), unit)...)
	for _, a := range f.GetCatalogue() {
		rows = append(rows, Row{Label: "for", Text: a.GetId() + ": " + ppm(a.GetErrorPpm())})
	}
	return rows
}

func basisText(f *linepacev1.ScaleFraction) (what, unit string) {
	switch f.GetBasis() {
	case linepacev1.ScaleFraction_PULSE_FREQUENCY:
		return "the frequency of " + f.GetSensorId() + " in Hz", "Hz"
	case linepacev1.ScaleFraction_LAST_SHAFT_SPEED:
		return "the last shaft's speed in r/min", "r/min of the last shaft"
	}
	return "the motor's speed in r/min", "r/min"
}

func ppm(x float64) string {
	text := Number(x)
	if x > 0 {
		text = "+" + text
	}
	return text + " parts per million"
}

func comparisonRows(c *linepacev1.ScaleFraction_Comparison, unit string) []Row {
	if c == nil {
		return nil
	}
	if c.GetDifferingCount() == 0 {
		return []Row{{Label: "readings", Text: fmt.Sprintf("the same as the exact ones at all %s of the usable range", counted(int(c.GetComparedCount()), "count"))}}
	}
	rows := []Row{{Label: "readings", Text: fmt.Sprintf("other than the exact ones at %d of %s of the usable range",
		c.GetDifferingCount(), counted(int(c.GetComparedCount()), "count"))}}
	for _, r := range []struct {
		label   string
		reading *linepacev1.ScaleFraction_Reading
	}{{"first", c.GetFirst()}, {"last", c.GetLast()}, {"worst", c.GetWorst()}} {
		rows = append(rows, Row{Label: r.label, Text: fmt.Sprintf("at count %d %s in place of %s",
			r.reading.GetCount(), shown(r.reading.GetDeviceText(), unit), shown(r.reading.GetExactText(), unit))})
	}
	return rows
}

// shown writes a readout's text, or that it has none.
func shown(text, unit string) string {
	if text == "" {
		return "more than its digits hold"
	}
	return text + " " + unit
}
