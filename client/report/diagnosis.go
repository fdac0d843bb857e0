package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Diagnosis writes what may explain that a drive gives something else than was
// calculated, the likeliest first. The error is w's own.
func Diagnosis(w io.Writer, req *linepacev1.DiagnoseRequest, resp *linepacev1.DiagnoseResponse) error {
	var a answer
	rows := []Row{{Label: "drive", Text: named(req.GetDrive().GetId(), req.GetDrive().GetDescription())}}
	for i, c := range resp.GetCompared() {
		rows = append(rows,
			Row{Label: "set", Text: setText(req, i)},
			Row{Label: "calculated", Text: Quantity(c.GetCalculated())},
			Row{Label: "observed", Text: Quantity(c.GetObserved()) + placeText(req, i)},
			Row{Label: "factor", Text: fmt.Sprintf("%s observed / calculated, standard uncertainty %s %%", Number(c.GetFactor()), Number(c.GetStandardUncertaintyPercent()))})
	}
	a.rows("DIAGNOSIS", rows...)
	a.line("WHAT MAY EXPLAIN IT, the likeliest first")
	for i, c := range resp.GetCandidates() {
		a.candidate(i+1, c)
	}
	a.blank()
	a.rows("HOW FAR TO TRUST THIS",
		Row{Label: "chance", Text: fmt.Sprintf("%s of the factors from %s to %s (log-uniform) that no mistake explains would be given one first; %d single mistakes were compared",
			percentText(resp.GetChanceMatchPercent()), Number(resp.GetReferenceLow()), Number(resp.GetReferenceHigh()), resp.GetConsideredCount())},
		Row{Label: "next", Text: resp.GetNext()})
	a.working(resp.GetWorking())
	return a.end(w)
}

// setText says what the drive was set to.
func setText(req *linepacev1.DiagnoseRequest, i int) string {
	if i >= len(req.GetObservations()) {
		return ""
	}
	switch at := req.GetObservations()[i].GetAt().(type) {
	case *linepacev1.DiagnoseRequest_Observation_MotorRpm:
		return Number(at.MotorRpm) + " r/min of the motor"
	case *linepacev1.DiagnoseRequest_Observation_Count:
		return "count " + strconv.Itoa(int(at.Count))
	case *linepacev1.DiagnoseRequest_Observation_Shown:
		return Quantity(at.Shown) + " shown"
	}
	return ""
}

// placeText names the shaft of an observed speed.
func placeText(req *linepacev1.DiagnoseRequest, i int) string {
	if i >= len(req.GetObservations()) {
		return ""
	}
	switch req.GetObservations()[i].GetShaft() {
	case linepacev1.Register_MOTOR:
		return " on the motor shaft"
	case linepacev1.Register_SENSOR:
		return " on the shaft of the sensor"
	case linepacev1.Register_LAST:
		return " on the last shaft"
	}
	return ""
}

func (a *answer) candidate(number int, c *linepacev1.DiagnoseResponse_Candidate) {
	texts := make([]string, len(c.GetMistakes()))
	for i, m := range c.GetMistakes() {
		texts[i] = m.GetText()
	}
	a.hanging(strconv.Itoa(number), strings.Join(texts, ". And: "))
	for i, f := range c.GetFits() {
		label := "predicts"
		if i > 0 {
			label = ""
		}
		a.labelled(label, fmt.Sprintf("%s, which leaves %s", Number(f.GetPredictedFactor()), percentText(f.GetRemainsPercent())))
	}
	if c.LikelihoodPercent != nil {
		a.labelled("likelihood", percentText(c.GetLikelihoodPercent()))
	}
	if c.ChancePercent != nil {
		a.labelled("by chance", percentText(c.GetChancePercent())+" of random factors lie as near to some mistake")
	}
	if len(c.GetTies()) > 0 {
		a.labelled("ties with", tiesText(c.GetTies())+": not to be told apart by this")
	}
	if c.GetNeedsSecondObservation() {
		a.labelled("first", "make a second observation: two mistakes together explain too many factors")
	}
	confirmed := map[string]bool{}
	for _, m := range c.GetMistakes() {
		if m.GetField() != "" {
			a.labelled("look at", m.GetField())
		}
		if !confirmed[m.GetConfirm()] {
			confirmed[m.GetConfirm()] = true
			a.labelled("confirm", m.GetConfirm())
		}
	}
}

func tiesText(ties []int32) string {
	texts := make([]string, len(ties))
	for i, n := range ties {
		texts[i] = strconv.Itoa(int(n))
	}
	return strings.Join(texts, ", ")
}

// percentText writes a percentage with three significant digits, and what is nearly
// none as such.
func percentText(v float64) string {
	if v < 0.001 && v > -0.001 {
		return "less than 0.001 %"
	}
	return significant(v, 3) + " %"
}
