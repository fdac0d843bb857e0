package server

import (
	"bytes"
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// FuzzRatioStructured changes sound requests about blends, windows, draws, gears and
// ramps, and a plan with drives that follow each other in every way, in places
// and ways that the bytes choose. Each gets an answer that can be written, the same
// each time, or a refusal that says what is wrong.
func FuzzRatioStructured(f *testing.F) {
	p := newPlanner(f)
	ratio := p.Ratio()
	calls := []struct {
		base string
		req  proto.Message
		call func(context.Context, proto.Message) (proto.Message, error)
	}{
		{"draw-rolls", &linepacev1.DrawRequest{}, func(ctx context.Context, m proto.Message) (proto.Message, error) {
			return ratio.Draw(ctx, m.(*linepacev1.DrawRequest))
		}},
		{"gear-print", &linepacev1.GearRequest{}, func(ctx context.Context, m proto.Message) (proto.Message, error) {
			return ratio.Gear(ctx, m.(*linepacev1.GearRequest))
		}},
		{"ramps-feeders", &linepacev1.RampsRequest{}, func(ctx context.Context, m proto.Message) (proto.Message, error) {
			return ratio.Ramps(ctx, m.(*linepacev1.RampsRequest))
		}},
		{"clay-blend", &linepacev1.BlendRequest{}, func(ctx context.Context, m proto.Message) (proto.Message, error) {
			return ratio.Blend(ctx, m.(*linepacev1.BlendRequest))
		}},
		{"clay-window", &linepacev1.WindowRequest{}, func(ctx context.Context, m proto.Message) (proto.Message, error) {
			return ratio.Window(ctx, m.(*linepacev1.WindowRequest))
		}},
		{"following", &linepacev1.PlanRequest{}, func(ctx context.Context, m proto.Message) (proto.Message, error) {
			return p.Changeover().Plan(ctx, m.(*linepacev1.PlanRequest))
		}},
	}
	for i := range calls {
		data, err := os.ReadFile(filepath.Join("..", "testdata", "conformance", "base", calls[i].base+".json"))
		require.NoError(f, err)
		require.NoError(f, codec.Unmarshal(data, calls[i].req))
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 600 {
		seed := make([]byte, 60)
		for i := range seed {
			seed[i] = byte(rng.Uint32())
		}
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed []byte) {
		m := mutator{seed: seed}
		c := calls[m.pick(len(calls))]
		req := proto.Clone(c.req)
		for range 1 + m.pick(6) {
			m.message(req.ProtoReflect())
		}
		first, err := c.call(t.Context(), req)
		if lines := p.logged.TakeAll(); len(lines) > 0 {
			t.Fatalf("%s: %v", lines[0].Message, lines[0].ContextMap())
		}
		if err != nil {
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
			require.NotEmpty(t, refusal.Violations(err), "%v", err)
			return
		}
		written, err := codec.Append(nil, first)
		require.NoError(t, err, "the answer holds what JSON cannot: %v", req)
		again, err := c.call(t.Context(), req)
		require.NoError(t, err)
		rewritten, err := codec.Append(nil, again)
		require.NoError(t, err)
		require.True(t, bytes.Equal(written, rewritten), "the same request, another answer")
	})
}
