package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"linepace.example/core/fault"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// maxStreamed bounds the observations of all streams that a server holds at once, and
// so those of one. Assessing takes about 400 bytes for each.
const maxStreamed = 2_000_000

// TrackStream tracks part by part, in memory that does not grow.
func (s driftService) TrackStream(stream linepacev1.DriftService_TrackStreamServer) error {
	var t *tracking
	for {
		in, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		part := in.GetPart()
		if t == nil {
			if t, err = s.trackFrom(part); err != nil {
				return inPart(err)
			}
		} else if err := laterPart(part.GetSetup() != nil || part.GetState() != "", "setup and state"); err != nil {
			return err
		}
		out, err := t.take(stream.Context(), part)
		if err != nil {
			return inPart(err)
		}
		if err := stream.Send(&linepacev1.TrackStreamResponse{Part: out}); err != nil {
			return err
		}
	}
}

// inPart places the faults of a part.
func inPart(err error) error {
	var faults fault.List
	if errors.As(err, &faults) {
		return under("part", faults)
	}
	return err
}

func laterPart(hasMore bool, what string) error {
	if !hasMore {
		return nil
	}
	at := fault.Root("part")
	var faults fault.List
	faults.Add(&at, fault.Conflict, "has more than observations: %s are those of the first part of the stream", what)
	return faults
}

// AssessStream assesses the observations of all parts.
func (s driftService) AssessStream(stream linepacev1.DriftService_AssessStreamServer) error {
	g := &gathering{service: s, parts: sha256.New()}
	defer g.release()
	for {
		in, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if err := g.take(stream.Context(), in.GetPart()); err != nil {
			return inPart(err)
		}
	}
	ctx, cancel := context.WithTimeout(stream.Context(), maxCallTime)
	defer cancel()
	result, err := g.assess(ctx)
	if err != nil {
		return inPart(err)
	}
	return stream.SendAndClose(&linepacev1.AssessStreamResponse{Result: result})
}

// gathering collects the observations of a stream.
type gathering struct {
	service driftService
	a       *assessing
	first   *linepacev1.AssessRequest // without its observations
	parts   hash.Hash
	held    int64
}

func (g *gathering) release() { g.service.held.Add(-g.held) }

// take takes a part.
func (g *gathering) take(ctx context.Context, part *linepacev1.AssessRequest) error {
	n := int64(len(part.GetObservations()) + len(part.GetColumns().GetSeconds()))
	if err := g.hold(n); err != nil {
		return err
	}
	if err := g.digest(part); err != nil {
		return err
	}
	observed := &linepacev1.AssessRequest{Observations: part.Observations, Columns: part.Columns}
	part.Observations, part.Columns = nil, nil
	if g.a == nil {
		g.first, g.a = part, &assessing{}
		g.a.obs.decoder = &g.a.decoder
		g.a.readWatched(part)
		g.a.readStudy(part)
	} else if proto.Size(part) > 0 {
		return fault.List{{Reason: fault.Conflict, Text: "has more than observations: everything else is of the first part of the stream"}}
	}
	if len(g.a.faults) == 0 {
		g.a.readSome(observed)
		g.a.obs.before += int32(n)
	}
	if len(g.a.faults) > 0 {
		return g.a.faults
	}
	return ctx.Err()
}

// hold counts what the server holds for all streams.
func (g *gathering) hold(n int64) error {
	switch all := g.service.held.Add(n); {
	case g.held+n > maxStreamed:
		g.service.held.Add(-n)
		return fault.List{{Reason: fault.TooMany, Text: fmt.Sprintf("makes it %d observations of the stream; at most %d are taken: leave out older ones, or give means over longer gates", g.held+n, maxStreamed)}}
	case all > maxStreamed:
		g.service.held.Add(-n)
		return refusal.New(codes.Unavailable, refusal.Overloaded,
			fmt.Sprintf("streams hold %d observations on this server already, of at most %d; begin again later, or at another server", all-n, maxStreamed)).Err()
	}
	g.held += n
	return nil
}

// digest adds a part to the evidence.
func (g *gathering) digest(part *linepacev1.AssessRequest) error {
	working, points := part.IncludeWorking, part.SeriesPoints
	part.IncludeWorking, part.SeriesPoints = false, nil
	text, err := codec.AppendCanonical(nil, part)
	part.IncludeWorking, part.SeriesPoints = working, points
	g.parts.Write(append(text, '\n'))
	return err
}

func (g *gathering) assess(ctx context.Context) (*linepacev1.AssessResponse, error) {
	if g.a == nil || len(g.a.obs.readings) == 0 {
		at := fault.Root("observations")
		var faults fault.List
		faults.Add(&at, fault.Required, "is needed: at least one observation that is no gap")
		return nil, faults
	}
	g.a.settle(ctx)
	g.a.evidence = hex.EncodeToString(g.parts.Sum(nil))
	return g.a.assess(ctx, g.first)
}
