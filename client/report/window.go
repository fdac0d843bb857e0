package report

import (
	"fmt"
	"io"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// windowText tells a range, the drive that binds at each end, and what binds it.
func windowText(w *linepacev1.Window) string {
	low := fmt.Sprintf("%s (%s: %s)", Quantity(w.GetLow()), w.GetLowDriveId(), limitName(w.GetLowBinds()))
	high := fmt.Sprintf("%s (%s: %s)", Quantity(w.GetHigh()), w.GetHighDriveId(), limitName(w.GetHighBinds()))
	if w.GetLow().GetValue() > w.GetHigh().GetValue() {
		return "none: at least " + low + " and at most " + high
	}
	return low + " to " + high
}

// Window writes the range in which every drive of each blend stays within its
// limits, and the trim that all of them can take. The error is w's own.
func Window(w io.Writer, req *linepacev1.WindowRequest, resp *linepacev1.WindowResponse) error {
	var a answer
	for i, of := range resp.GetWindows() {
		blend := req.GetBlends()[i]
		window := of.GetWindow()
		rows := []Row{{Label: "of", Text: rootText(blend)}, {Label: "window", Text: windowText(window)}}
		if of.GetAnyFits() && window.Turndown != nil {
			rows = append(rows, Row{Label: "turndown", Text: Number(window.GetTurndown()) + " to 1"})
		}
		if of.AskedFits != nil {
			rows = append(rows, Row{Label: "asked", Text: Quantity(askedOf(blend)) + ", which " + fits(of.GetAskedFits())})
		}
		a.rows(strings.TrimSpace("WINDOW "+blendName(req, int32(i))), rows...)
	}
	if t := resp.GetTrim(); t != nil {
		a.rows("TRIM OF ALL", Row{Label: "range", Text: trimText(t)},
			Row{Label: "binds", Text: fmt.Sprintf("%s below, %s above", blendName(req, t.GetLowBlend()), blendName(req, t.GetHighBlend()))})
	}
	a.working(resp.GetWorking())
	return a.end(w)
}

// rootText says what a window is a range of.
func rootText(b *linepacev1.Blend) string {
	if b.GetLeaderId() != "" {
		return "the rate of " + b.GetLeaderId() + ", which the others follow"
	}
	return "the total, " + countedText(b)
}

func askedOf(b *linepacev1.Blend) *linepacev1.Quantity {
	if b.GetLeaderRate() != nil {
		return b.GetLeaderRate()
	}
	return b.GetTotal()
}

func fits(yes bool) string {
	if yes {
		return "fits"
	}
	return "DOES NOT FIT"
}

func trimText(t *linepacev1.WindowResponse_Trim) string {
	low, high := percent(t.GetLowPercent(), 2), percent(t.GetHighPercent(), 2)
	switch {
	case t.GetLowPercent() > t.GetHighPercent():
		return "none keeps all within their windows: one needs at least " + low + ", another takes at most " + high
	case t.GetLowPercent() > 0 || t.GetHighPercent() < 0:
		return low + " to " + high + ", so not all fit as they are"
	}
	return low + " to " + high
}

// blendName names a blend by its id, or by its place.
func blendName(req *linepacev1.WindowRequest, i int32) string {
	if id := req.GetBlends()[i].GetId(); id != "" {
		return id
	}
	return fmt.Sprintf("blends[%d]", i)
}
