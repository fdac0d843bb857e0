package server

import (
	"context"

	"linepace.example/core/dwell"
	"linepace.example/core/fault"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// dwellService relates the speed of belts to the time that pieces spend on them.
type dwellService struct {
	linepacev1.UnimplementedDwellServiceServer
}

// Transition finds what a change of speed does to the pieces in a section.
func (dwellService) Transition(_ context.Context, in *linepacev1.TransitionRequest) (*linepacev1.TransitionResponse, error) {
	var d decoder
	t := d.transition(in)
	t.Validate(&d.faults)
	if len(d.faults) > 0 {
		return nil, d.faults
	}
	found := t.Outcome()
	if n := found.Outgoing + found.InRamp; in.GetIncludePieces() && n > dwell.MostPieces {
		at := fault.Root("includePieces")
		d.faults.Add(&at, fault.TooMany, "asks for a list of %d pieces; at most %d are listed: ask without, or give a longer pitch", n, dwell.MostPieces)
		return nil, d.faults
	}
	out := &linepacev1.TransitionResponse{
		Policies:            make([]*linepacev1.TransitionResponse_Policy, len(found.Policies)),
		OutgoingTarget:      quantity(found.OutgoingTarget),
		IncomingTarget:      quantity(found.IncomingTarget),
		OutgoingCount:       int32(found.Outgoing),
		IncomingInRampCount: int32(found.InRamp),
		RampTravel:          quantity(found.RampTravel),
	}
	for i := range found.Policies {
		p := &found.Policies[i]
		out.Policies[i] = policy(p)
		if in.GetIncludePieces() {
			out.Policies[i].Pieces = pieceTimes(t.Pieces(p, &found))
		}
	}
	if in.GetIncludeWorking() {
		out.Working = working(t.Working(&found))
	}
	return out, nil
}

// transition reads a request. A piece that is not given is a point.
func (d *decoder) transition(in *linepacev1.TransitionRequest) *dwell.Transition {
	field := func(q *linepacev1.Quantity, name string) units.Quantity { return d.quantity(q, nil, name) }
	out := &dwell.Transition{
		Length:           field(in.GetLength(), "length"),
		From:             field(in.GetFrom(), "from"),
		To:               field(in.GetTo(), "to"),
		Ramp:             field(in.GetRamp(), "ramp"),
		Pitch:            field(in.GetPitch(), "pitch"),
		FirstPiece:       field(in.GetFirstPiece(), "firstPiece"),
		Feed:             dwell.Feed(in.GetFeed()),
		TolerancePercent: in.GetTolerancePercent(),
	}
	piece := fault.Root("piece")
	out.Piece = dwell.Piece{Length: d.quantity(in.GetPiece().GetLength(), &piece, "length"), Meaning: dwell.Meaning(in.GetPiece().GetMeaning())}
	if out.Piece.Meaning == dwell.NoMeaning {
		out.Piece.Meaning = dwell.Point
	}
	return out
}

func policy(p *dwell.Policy) *linepacev1.TransitionResponse_Policy {
	out := &linepacev1.TransitionResponse_Policy{
		Policy:                 linepacev1.TransitionResponse_Policy_Name(p.Name),
		Possible:               p.Possible,
		FeedStopped:            quantity(p.FeedStopped),
		OutgoingOutOfTolerance: int32(p.OutgoingOut),
		DwellShortest:          quantity(p.Shortest),
		DwellLongest:           quantity(p.Longest),
		FeedStoppedForIncoming: quantity(p.ForIncoming),
	}
	if p.Possible {
		incoming := int32(p.IncomingOut)
		out.IncomingOutOfTolerance = &incoming
	}
	return out
}

func pieceTimes(in []dwell.PieceTime) []*linepacev1.TransitionResponse_PieceTime {
	out := make([]*linepacev1.TransitionResponse_PieceTime, len(in))
	for i := range in {
		piece := &in[i]
		out[i] = &linepacev1.TransitionResponse_PieceTime{
			Enters: quantity(piece.Enters), Time: quantity(piece.Time), Incoming: piece.Incoming, OutOfTolerance: piece.Out,
		}
	}
	return out
}
