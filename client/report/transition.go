package report

import (
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Transition writes what a change of speed does to the pieces in a section, and
// compares the policies. The error is w's own.
func Transition(w io.Writer, req *linepacev1.TransitionRequest, resp *linepacev1.TransitionResponse) error {
	var a answer
	a.rows("TRANSITION", transitionRows(req, resp)...)
	a.line("POLICIES")
	a.policies(resp.GetPolicies(), resp.Cheapest)
	a.policyDoses(req, resp)
	a.checks(resp.GetChecks())
	a.pieceList(resp)
	a.working(resp.GetWorking())
	return a.end(w)
}

func transitionRows(req *linepacev1.TransitionRequest, resp *linepacev1.TransitionResponse) []Row {
	first := "the newest is just entering"
	if q := req.GetFirstPiece(); q.GetValue() != 0 {
		first = "the newest " + Quantity(q) + " inside"
	}
	feed := "the feed keeps step with the belt"
	if req.GetFeed() == linepacev1.TransitionRequest_CONSTANT_RATE {
		feed = "the feed keeps its own time"
	}
	rows := []Row{
		{Label: "section", Text: fmt.Sprintf("%s, from %s to %s in %s, in which the belt moves %s",
			Quantity(req.GetLength()), Quantity(req.GetFrom()), Quantity(req.GetTo()), Quantity(req.GetRamp()), Quantity(resp.GetRampTravel()))},
	}
	for _, f := range req.GetFollowing() {
		rows = append(rows, Row{Label: "then", Text: fmt.Sprintf("%s, from %s to %s", Quantity(f.GetLength()), Quantity(f.GetFrom()), Quantity(f.GetTo()))})
	}
	return append(rows, []Row{
		{Label: "pieces", Text: fmt.Sprintf("%severy %s, %s; %s", pieceText(req.GetPiece()), Quantity(req.GetPitch()), first, feed)},
		{Label: "ought to", Text: fmt.Sprintf("outgoing pieces %s, incoming pieces %s, within %s %% either way",
			Quantity(resp.GetOutgoingTarget()), Quantity(resp.GetIncomingTarget()), Number(req.GetTolerancePercent()))},
		{Label: "are", Text: fmt.Sprintf("%s outgoing; where the feed runs on, %s before the belt has its new speed",
			counted(int(resp.GetOutgoingCount()), "piece"), entering(int(resp.GetIncomingInRampCount())))},
	}...)
}

// pieceText says what a time is counted for.
func pieceText(piece *linepacev1.TransitionRequest_Piece) string {
	length := ""
	if piece.GetLength() != nil {
		length = Quantity(piece.GetLength()) + " long, "
	}
	switch piece.GetMeaning() {
	case linepacev1.TransitionRequest_Piece_WHOLE_PIECE:
		return length + "timed while wholly inside, "
	case linepacev1.TransitionRequest_Piece_ANY_PART:
		return length + "timed while any part is inside, "
	}
	return length
}

// policies writes a table of the policies.
func (p *page) policies(policies []*linepacev1.TransitionResponse_Policy, cheapest *linepacev1.TransitionResponse_Policy_Name) {
	t := table.NewWriter()
	t.SetStyle(plainStyle())
	header := table.Row{"policy", "feed stopped", "out of tolerance: outgoing", "incoming", "shortest time", "longest time"}
	if cheapest != nil {
		header = append(header, "cost")
	}
	t.AppendHeader(header)
	var numbers []table.ColumnConfig
	for column := 2; column <= len(header); column++ {
		numbers = append(numbers, table.ColumnConfig{Number: column, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	t.SetColumnConfigs(numbers)
	for _, of := range policies {
		t.AppendRow(policyRow(of, cheapest != nil))
	}
	for line := range strings.SplitSeq(t.Render(), "\n") {
		p.line(line)
	}
	if cheapest != nil {
		p.labelled("cheapest", policyName(*cheapest))
	}
	for _, of := range policies {
		if !of.GetPossible() {
			p.labelled("note", "no stop of the feed keeps every piece in tolerance: outgoing pieces leave it that are on the belt already. "+
				incomingNote(of.GetFeedStoppedForIncoming()))
		}
	}
	p.blank()
}

func policyRow(p *linepacev1.TransitionResponse_Policy, weighed bool) table.Row {
	if !p.GetPossible() {
		return table.Row{policyName(p.GetPolicy()), "none", p.GetOutgoingOutOfTolerance(), "", "", ""}
	}
	row := table.Row{policyName(p.GetPolicy()), Quantity(p.GetFeedStopped()), p.GetOutgoingOutOfTolerance(), p.GetIncomingOutOfTolerance(),
		Quantity(p.GetDwellShortest()), Quantity(p.GetDwellLongest())}
	if weighed {
		row = append(row, Number(p.GetCost()))
	}
	return row
}

func incomingNote(stop *linepacev1.Quantity) string {
	if stop.GetValue() == 0 {
		return "The incoming pieces need no stop."
	}
	return fmt.Sprintf("A stop of %s keeps at least every incoming piece in it.", Quantity(stop))
}

// policyName writes a policy as people say it.
func policyName(name linepacev1.TransitionResponse_Policy_Name) string {
	return strings.ToLower(strings.ReplaceAll(name.String(), "_", " "))
}

// pieceList lists the pieces of each policy, where they were asked for.
func (a *answer) pieceList(resp *linepacev1.TransitionResponse) {
	for _, p := range resp.GetPolicies() {
		if len(p.GetPieces()) == 0 {
			continue
		}
		a.line(strings.ToUpper(policyName(p.GetPolicy())) + ", piece by piece")
		for i, piece := range p.GetPieces() {
			kind := "outgoing"
			if piece.GetIncoming() {
				kind = "incoming"
			}
			text := fmt.Sprintf("%s, enters at %s, gets %s", kind, Quantity(piece.GetEnters()), Quantity(piece.GetTime()))
			if piece.GetDose() != nil {
				text += ", a dose of " + Quantity(piece.GetDose())
			}
			if piece.GetOutOfTolerance() {
				text += ", OUT OF TOLERANCE"
			}
			a.labelled(fmt.Sprint(i+1), text)
		}
		a.blank()
	}
}

func entering(n int) string {
	if n == 1 {
		return "1 more enters"
	}
	return fmt.Sprintf("%d more enter", n)
}

// policyDoses tells the doses of the pieces under each policy.
func (p *page) policyDoses(req *linepacev1.TransitionRequest, resp *linepacev1.TransitionResponse) {
	if req.GetThermalDose() == nil {
		return
	}
	p.line("THERMAL DOSES, as time at " + temperatureText(req.GetThermalDose().GetReference()))
	for _, of := range resp.GetPolicies() {
		if of.GetDoseLeast() != nil {
			p.wrapped("    "+policyName(of.GetPolicy()), 20, fmt.Sprintf("%s to %s", Quantity(of.GetDoseLeast()), Quantity(of.GetDoseMost())))
		}
	}
	p.blank()
}

// transitions writes what becomes of the pieces while the speeds change.
func (s *sheet) transitions() {
	asked := map[string]*linepacev1.PlanRequest_Transition{}
	for _, t := range s.req.GetTransitions() {
		asked[t.GetDriveId()] = t
	}
	for _, t := range s.resp.GetTransitions() {
		if !t.GetFeasible() {
			continue // a note says why
		}
		of := asked[t.GetDriveId()]
		s.line("PIECES WHILE THE SPEED CHANGES: " + Clean(t.GetDriveId()))
		for _, section := range t.GetSections() {
			s.labelled("section", fmt.Sprintf("%s, from %s to %s in %s", section.GetSectionId(), Quantity(section.GetFrom()), Quantity(section.GetTo()), Quantity(of.GetRamp())))
		}
		s.labelled("ought to", fmt.Sprintf("%s outgoing %s, incoming pieces %s, within %s %% either way", counted(int(t.GetOutgoingCount()), "piece"),
			Quantity(t.GetOutgoingTarget()), Quantity(t.GetIncomingTarget()), Number(of.GetTolerancePercent())))
		s.policies(t.GetPolicies(), t.Cheapest)
	}
}
