package report

import (
	"fmt"
	"io"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// mostTracked is how many alarms a text lists.
const mostTracked = 20

// Track writes what new observations of a drive say. The state, which the next request
// needs, stands in the answer and not in the text. The error is w's own.
func Track(w io.Writer, req *linepacev1.TrackRequest, resp *linepacev1.TrackResponse) error {
	var a answer
	s := resp.GetSummary()
	a.rows("TRACK",
		Row{Label: "drive", Text: driveName(req.GetSetup().GetDrive())},
		Row{Label: "readings", Text: fmt.Sprintf("%s since the watch began, %s gaps; %s since something was last done", Number(s.GetReadingCount()), Number(s.GetGapCount()), Number(s.GetCurrentCount()))},
		Row{Label: "mean", Text: trackedPercent(s.MeanPercent)},
		Row{Label: "target", Text: trackedPercent(s.TargetPercent)},
		Row{Label: "loss grows", Text: trackedTrend(resp.GetTrend())},
		Row{Label: "state", Text: stateText(resp.GetState())})
	var advice []Row
	for _, each := range resp.GetAdvice() {
		advice = append(advice, Row{Label: strings.ToLower(each.GetSeverity().String()), Text: each.GetMessage()})
	}
	a.rows("WHAT TO KNOW", advice...)
	a.tracked(resp.GetResults())
	return a.end(w)
}

func trackedPercent(p *float64) string {
	if p == nil {
		return ""
	}
	return percent(*p, 3) + " against what the model expects"
}

func trackedTrend(t *linepacev1.TrackResponse_Trend) string {
	if t == nil {
		return ""
	}
	return fmt.Sprintf("%s (%s to %s) in 1000 hours, by least squares; 95 %% confidence",
		Quantity(t.GetPer_1000Hours()), Number(t.GetPer_1000HoursLow().GetValue()), Number(t.GetPer_1000HoursHigh().GetValue()))
}

func stateText(state string) string {
	return fmt.Sprintf("%d characters: --json prints it; give it with the next observations", len(state))
}

// tracked lists the alarms, and the last reading.
func (a *answer) tracked(results []*linepacev1.TrackResponse_Result) {
	var rows []Row
	alarms := 0
	for i, r := range results {
		alarmed := r.GetCusumAlarm() != 0 || r.GetEwmaAlarm() != 0
		if alarmed {
			alarms++
		}
		if alarmed && alarms <= mostTracked {
			rows = append(rows, Row{Label: "alarm", Text: moment(r.GetTime()) + ": " + percent(r.GetPercent(), 3) + alarmText("CUSUM", r.GetCusumAlarm()) + alarmText("EWMA", r.GetEwmaAlarm())})
		}
		if i == len(results)-1 {
			rows = append(rows, Row{Label: "last", Text: moment(r.GetTime()) + ": " + percent(r.GetPercent(), 3)})
		}
	}
	if alarms > mostTracked {
		rows = append(rows, Row{Label: "more", Text: fmt.Sprintf("%d further alarms", alarms-mostTracked)})
	}
	a.rows("THESE OBSERVATIONS", rows...)
}

func alarmText(chart string, alarm linepacev1.TrackResponse_Alarm) string {
	switch alarm {
	case linepacev1.TrackResponse_HIGH:
		return "; " + chart + ": more than expected"
	case linepacev1.TrackResponse_LOW:
		return "; " + chart + ": less than expected"
	}
	return ""
}
