package report

import (
	"fmt"
	"io"
	"math"

	"github.com/jedib0t/go-pretty/v6/table"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Gear writes the integers of an electronic gear and what they lose, fractions of
// smaller integers, and change gears. The error is w's own.
func Gear(w io.Writer, req *linepacev1.GearRequest, resp *linepacev1.GearResponse) error {
	var a answer
	rows := []Row{{Label: "ratio", Text: significant(resp.GetRatio(), 12) + " " + ratioOf(req)}}
	if resp.Numerator != nil {
		rows = append(rows, Row{Label: "set", Text: fmt.Sprintf("numerator %d, denominator %d: %s", resp.GetNumerator(), resp.GetDenominator(), offText(resp.GetErrorPpm()))})
	}
	a.rows("GEAR", append(rows, lossRows(req, resp.GetLoss())...)...)
	a.changeGears(resp.GetChangeGears())
	a.convergents(resp.GetConvergents())
	a.driveChecks(resp.GetChecks())
	a.working(resp.GetWorking())
	return a.end(w)
}

// ratioOf says of what the ratio is.
func ratioOf(req *linepacev1.GearRequest) string {
	switch from := req.GetFrom().(type) {
	case *linepacev1.GearRequest_Teeth_:
		return "turns of the last gear for each turn of the first"
	case *linepacev1.GearRequest_Sensors_:
		return fmt.Sprintf("pulses of %s for each pulse of %s", from.Sensors.GetFollowerId(), from.Sensors.GetLeaderId())
	}
	return "pulses of the follower for each pulse of the leader"
}

func offText(ppm float64) string {
	switch {
	case ppm == 0:
		return "exactly the ratio"
	case ppm > 0:
		return fmt.Sprintf("%s ppm fast", small(ppm))
	}
	return fmt.Sprintf("%s ppm slow", small(-ppm))
}

func lossRows(req *linepacev1.GearRequest, loss *linepacev1.GearResponse_Loss) (rows []Row) {
	if loss == nil {
		return nil
	}
	rows = append(rows, Row{Label: "one pulse", Text: fmt.Sprintf("is off after %s pulses of the leader%s", Number(loss.GetLeaderPulsesToOnePulseCount()), within(loss.GetTimeToOnePulse()))},
		Row{Label: "one repeat", Text: fmt.Sprintf("is off after %s repeats%s", Number(loss.GetRepeatsToOneRepeatCount()), within(loss.GetTimeToOneRepeat()))})
	if lost := loss.GetPulsesLostPerHour(); lost != nil {
		verb := "loses"
		if lost.GetValue() < 0 {
			verb = "gains"
		}
		text := fmt.Sprintf("%s pulses an hour with the leader at %s", Number(math.Abs(lost.GetValue())), Quantity(req.GetLeaderRate()))
		if amount := loss.GetAmountLostPerHour(); amount != nil {
			text += fmt.Sprintf(", %s %s", Number(math.Abs(amount.GetValue())), amount.GetUnit())
		}
		rows = append(rows, Row{Label: verb, Text: text})
	}
	return rows
}

// within says how long something takes, where that is known.
func within(time *linepacev1.Quantity) string {
	if time == nil {
		return ""
	}
	return ", that is " + durationText(time.GetValue())
}

// durationText writes hours in the unit in which people would say them.
func durationText(hours float64) string {
	switch {
	case hours < 2.0/60:
		return Number(hours*3600) + " s"
	case hours < 2:
		return Number(hours*60) + " min"
	case hours < 48:
		return Number(hours) + " h"
	}
	return Number(hours/24) + " days"
}

func (a *answer) changeGears(g *linepacev1.GearResponse_ChangeGears) {
	if g == nil {
		return
	}
	var rows []Row
	for i, pair := range g.GetPairs() {
		rows = append(rows, Row{Label: fmt.Sprintf("pair %d", i+1), Text: fmt.Sprintf("driver %d teeth, driven %d teeth", pair.GetDriverTeeth(), pair.GetDrivenTeeth())})
	}
	a.rows("CHANGE GEARS", append(rows, Row{Label: "error", Text: offText(g.GetErrorPpm())})...)
}

func (a *answer) convergents(fractions []*linepacev1.GearResponse_Fraction) {
	if len(fractions) == 0 {
		return
	}
	a.line("FRACTIONS FROM COARSE TO FINE, each nearer than any of smaller integers")
	rows := []table.Row{{"", "numerator", "denominator", "ppm off"}}
	for _, f := range fractions {
		rows = append(rows, table.Row{"", f.GetNumerator(), f.GetDenominator(), small(f.GetErrorPpm())})
	}
	a.numbers(rows)
	a.blank()
}
