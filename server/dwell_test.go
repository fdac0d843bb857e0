package server

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// mutated returns m with some fields changed at random.
func mutated[M proto.Message](m M, state *uint64) M {
	seed := make([]byte, 24)
	for i := range seed {
		*state = *state*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
		seed[i] = byte(*state >> 56)
	}
	by := mutator{seed: seed}
	out := proto.CloneOf(m)
	for range 1 + by.pick(4) {
		by.message(out.ProtoReflect())
	}
	return out
}

// Any request gets an answer that can be written, or a refusal that says what is wrong.
func TestDwellOfAnyRequest(t *testing.T) {
	core, logged := observer.New(zap.ErrorLevel)
	s, err := New(Config{Log: zap.New(core)})
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "testdata", "conformance", "base", "dwell-belts.json"))
	require.NoError(t, err)
	sound := &linepacev1.DwellRequest{}
	require.NoError(t, protojson.Unmarshal(data, sound))
	sound.IncludeWorking = true
	reciprocal := proto.CloneOf(sound)
	counted := &linepacev1.Drive{}
	require.NoError(t, protojson.Unmarshal([]byte(`{"readout": {"unit": "min", "digits": 4, "decimals": 1}, "register": {"integer": {"type": "UINT16"}, "dwellLength": {"value": 17, "unit": "m"},
		"span": [{"count": 0, "value": {"value": 0, "unit": "min"}}, {"count": 1000, "value": {"value": 100, "unit": "min"}}]}}`), counted))
	reciprocal.Drives[0].Register, reciprocal.Drives[0].Readout = counted.Register, counted.Readout
	reciprocal.Tolerance = &linepacev1.Tolerance{MinusPercent: 1, PlusPercent: 1}
	state, answered, refused := uint64(2), 0, 0
	for range 20_000 {
		base := sound
		if state>>40&1 == 0 {
			base = reciprocal
		}
		req := mutated(base, &state)
		out, err := s.Dwell().Dwell(t.Context(), req)
		if err != nil {
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v: %v", req, err)
			require.NotEmpty(t, refusal.Violations(err))
			refused++
			continue
		}
		require.NotZero(t, out.Verdict)
		_, err = codec.Append(nil, out)
		require.NoError(t, err, "%v: the answer holds what JSON cannot", req)
		answered++
	}
	require.Empty(t, logged.All())
	require.Greater(t, answered, 1000)
	require.Greater(t, refused, 1000)
}

// Any request gets an answer that can be written, or a refusal that says what is wrong.
func TestDoseOfAnyRequest(t *testing.T) {
	core, logged := observer.New(zap.ErrorLevel)
	s, err := New(Config{Log: zap.New(core)})
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "testdata", "conformance", "base", "dwell-dose.json"))
	require.NoError(t, err)
	sound := &linepacev1.DoseRequest{}
	require.NoError(t, protojson.Unmarshal(data, sound))
	sound.IncludeWorking = true
	state, answered, refused := uint64(3), 0, 0
	for range 10_000 {
		req := mutated(sound, &state)
		out, err := s.Dwell().Dose(t.Context(), req)
		if err != nil {
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v: %v", req, err)
			require.NotEmpty(t, refusal.Violations(err))
			refused++
			continue
		}
		_, err = codec.Append(nil, out)
		require.NoError(t, err, "%v: the answer holds what JSON cannot", req)
		answered++
	}
	require.Empty(t, logged.All())
	require.Greater(t, answered, 500)
	require.Greater(t, refused, 500)
}

// Any request gets an answer that can be written, or a refusal that says what is wrong.
func TestTransitionOfAnyRequest(t *testing.T) {
	core, logged := observer.New(zap.ErrorLevel)
	s, err := New(Config{Log: zap.New(core)})
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "testdata", "conformance", "base", "dwell-transition.json"))
	require.NoError(t, err)
	sound := &linepacev1.TransitionRequest{}
	require.NoError(t, protojson.Unmarshal(data, sound))
	state, answered, refused := uint64(1), 0, 0
	for range 20_000 {
		req := mutated(sound, &state)
		out, err := s.Dwell().Transition(t.Context(), req)
		if err != nil {
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v: %v", req, err)
			require.NotEmpty(t, refusal.Violations(err))
			refused++
			continue
		}
		require.Len(t, out.Policies, 4)
		_, err = codec.Append(nil, out)
		require.NoError(t, err, "%v: the answer holds what JSON cannot", req)
		answered++
	}
	require.Empty(t, logged.All())
	require.Greater(t, answered, 1000)
	require.Greater(t, refused, 1000)
}
