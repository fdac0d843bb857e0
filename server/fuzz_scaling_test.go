package server

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// FuzzObservedStructured changes sound requests about what was observed at a drive, a
// mismatch and a tachometer's reading, in places and ways that the bytes choose.
func FuzzObservedStructured(f *testing.F) {
	p := newPlanner(f)
	mismatch, reading := &linepacev1.DiagnoseRequest{}, &linepacev1.CheckReadingRequest{}
	for name, req := range map[string]proto.Message{"belt-diagnosis": mismatch, "belt-reading": reading} {
		data, err := os.ReadFile(filepath.Join("..", "testdata", "conformance", "base", name+".json"))
		require.NoError(f, err)
		require.NoError(f, protojson.Unmarshal(data, req))
	}
	mismatch.IncludeWorking, reading.IncludeWorking = true, true
	state := uint64(2)
	for range 300 {
		seed := make([]byte, 32)
		for i := range seed {
			state = state*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
			seed[i] = byte(state >> 56)
		}
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed []byte) {
		m := mutator{seed: seed}
		changes := 1 + m.pick(6)
		if m.pick(2) == 0 {
			req := proto.CloneOf(mismatch)
			for range changes {
				m.message(req.ProtoReflect())
			}
			p.sound(t, func() (proto.Message, error) { return p.Scaling().Diagnose(t.Context(), req) })
			return
		}
		req := proto.CloneOf(reading)
		for range changes {
			m.message(req.ProtoReflect())
		}
		p.sound(t, func() (proto.Message, error) { return p.Scaling().CheckReading(t.Context(), req) })
	})
}

// sound demands what holds for any request: an answer that can be written, the same each
// time, or a refusal that says what is wrong.
func (p planner) sound(t *testing.T, call func() (proto.Message, error)) {
	t.Helper()
	first, err := call()
	if lines := p.logged.TakeAll(); len(lines) > 0 {
		t.Fatalf("%s: %v", lines[0].Message, lines[0].ContextMap())
	}
	if err != nil {
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
		require.NotEmpty(t, refusal.Violations(err), "%v", err)
		return
	}
	written, err := codec.Append(nil, first)
	require.NoError(t, err, "the answer holds what JSON cannot")
	again, err := call()
	require.NoError(t, err)
	rewritten, err := codec.Append(nil, again)
	require.NoError(t, err)
	require.True(t, bytes.Equal(written, rewritten), "the same request, another answer:\n%s\n%s", written, rewritten)
}
