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
	a.policies(resp)
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
	return []Row{
		{Label: "section", Text: fmt.Sprintf("%s, from %s to %s in %s, in which the belt moves %s",
			Quantity(req.GetLength()), Quantity(req.GetFrom()), Quantity(req.GetTo()), Quantity(req.GetRamp()), Quantity(resp.GetRampTravel()))},
		{Label: "pieces", Text: fmt.Sprintf("%severy %s, %s; %s", pieceText(req.GetPiece()), Quantity(req.GetPitch()), first, feed)},
		{Label: "ought to", Text: fmt.Sprintf("outgoing pieces %s, incoming pieces %s, within %s %% either way",
			Quantity(resp.GetOutgoingTarget()), Quantity(resp.GetIncomingTarget()), Number(req.GetTolerancePercent()))},
		{Label: "are", Text: fmt.Sprintf("%s outgoing; where the feed runs on, %s before the belt has its new speed",
			counted(int(resp.GetOutgoingCount()), "piece"), entering(int(resp.GetIncomingInRampCount())))},
	}
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
func (a *answer) policies(resp *linepacev1.TransitionResponse) {
	t := table.NewWriter()
	t.SetStyle(plainStyle())
	t.AppendHeader(table.Row{"policy", "feed stopped", "out of tolerance: outgoing", "incoming", "shortest time", "longest time"})
	var numbers []table.ColumnConfig
	for column := 2; column <= 6; column++ {
		numbers = append(numbers, table.ColumnConfig{Number: column, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	t.SetColumnConfigs(numbers)
	var impossible *linepacev1.TransitionResponse_Policy
	for _, p := range resp.GetPolicies() {
		if !p.GetPossible() {
			t.AppendRow(table.Row{policyName(p), "none", p.GetOutgoingOutOfTolerance(), "", "", ""})
			impossible = p
			continue
		}
		t.AppendRow(table.Row{policyName(p), Quantity(p.GetFeedStopped()), p.GetOutgoingOutOfTolerance(), p.GetIncomingOutOfTolerance(),
			Quantity(p.GetDwellShortest()), Quantity(p.GetDwellLongest())})
	}
	a.line("POLICIES")
	for line := range strings.SplitSeq(t.Render(), "\n") {
		a.line(line)
	}
	if impossible != nil {
		a.labelled("note", "no stop of the feed keeps every piece in tolerance: outgoing pieces leave it that are on the belt already. "+
			incomingNote(impossible.GetFeedStoppedForIncoming()))
	}
	a.blank()
}

func incomingNote(stop *linepacev1.Quantity) string {
	if stop.GetValue() == 0 {
		return "The incoming pieces need no stop."
	}
	return fmt.Sprintf("A stop of %s keeps at least every incoming piece in it.", Quantity(stop))
}

// policyName writes a policy as people say it.
func policyName(p *linepacev1.TransitionResponse_Policy) string {
	return strings.ToLower(strings.ReplaceAll(p.GetPolicy().String(), "_", " "))
}

// pieceList lists the pieces of each policy, where they were asked for.
func (a *answer) pieceList(resp *linepacev1.TransitionResponse) {
	for _, p := range resp.GetPolicies() {
		if len(p.GetPieces()) == 0 {
			continue
		}
		a.line(strings.ToUpper(policyName(p)) + ", piece by piece")
		for i, piece := range p.GetPieces() {
			kind := "outgoing"
			if piece.GetIncoming() {
				kind = "incoming"
			}
			text := fmt.Sprintf("%s, enters at %s, gets %s", kind, Quantity(piece.GetEnters()), Quantity(piece.GetTime()))
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
