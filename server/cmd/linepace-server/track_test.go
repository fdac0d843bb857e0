package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// startTracking runs the test binary as the command with a state key.
func startTracking(t *testing.T, key string) linepacev1.DriftServiceClient {
	t.Helper()
	file := filepath.Join(t.TempDir(), "state.key")
	require.NoError(t, os.WriteFile(file, []byte(key), 0o600))
	cmd := exec.Command(os.Args[0], "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0", "--state-key", file)
	cmd.Env = append(os.Environ(), asServer+"=1")
	return linepacev1.NewDriftServiceClient(dial(t, startProcess(t, cmd, 2).addresses["grpc"]))
}

// feederDays asks about some days of a feeder that gives ever less.
func feederDays(state string, from, to int) *linepacev1.TrackRequest {
	in := &linepacev1.TrackRequest{State: state}
	if state == "" {
		in.Setup = &linepacev1.TrackSetup{
			Commissioned: &linepacev1.DeliveryModel{Model: &linepacev1.DeliveryModel_PerTurn{PerTurn: &linepacev1.Quantity{Value: 10, Unit: "g/r"}}},
			Sigma:        &linepacev1.Sigma{From: &linepacev1.Sigma_Baseline{Baseline: 10}},
		}
	}
	for day := from; day < to; day++ {
		turns := 100.1 + float64(day%7)
		in.Observations = append(in.Observations, &linepacev1.Observation{
			Time: fmt.Sprintf("2026-03-%02dT06:00:00Z", day+1), Turns: &turns,
			Amount: &linepacev1.Quantity{Value: turns*10 - float64(day*day)/60 + float64(day*5%3), Unit: "g"},
			Gate:   &linepacev1.Quantity{Value: 1, Unit: "min"},
		})
	}
	return in
}

// A state goes on in another process with the same key to the same bits, over a stream
// too, and in one with another key not at all.
func TestStateGoesToAnotherProcess(t *testing.T) {
	one, two, other := startTracking(t, strings.Repeat("5a", 32)), startTracking(t, strings.Repeat("5A", 32)+"\n"), startTracking(t, strings.Repeat("a5", 32))
	whole, err := one.Track(t.Context(), feederDays("", 0, 30))
	require.NoError(t, err)
	half, err := one.Track(t.Context(), feederDays("", 0, 14))
	require.NoError(t, err)
	rest, err := two.Track(t.Context(), feederDays(half.State, 14, 30))
	require.NoError(t, err)
	require.Equal(t, whole.State, rest.State)

	stream, err := two.TrackStream(t.Context())
	require.NoError(t, err)
	require.NoError(t, stream.Send(&linepacev1.TrackStreamRequest{Part: feederDays(half.State, 14, 30)}))
	streamed, err := stream.Recv()
	require.NoError(t, err)
	require.Equal(t, whole.State, streamed.GetPart().GetState())

	_, err = other.Track(t.Context(), feederDays(half.State, 14, 30))
	require.Equal(t, []refusal.Violation{{Path: "state", Reason: "NOT_GENUINE", Text: refusal.Violations(err)[0].Text}}, refusal.Violations(err))
}

func TestStateKeyThatCannotBeUsed(t *testing.T) {
	file := filepath.Join(t.TempDir(), "state.key")
	for want, write := range map[string]func() error{
		"others than its owner": func() error {
			return errors.Join(os.WriteFile(file, []byte(strings.Repeat("5a", 32)), 0o600), os.Chmod(file, 0o644))
		},
		"holds 3 bytes":             func() error { return errors.Join(os.Chmod(file, 0o600), os.WriteFile(file, []byte("5a5a5a"), 0o600)) },
		"does not hold hexadecimal": func() error { return errors.Join(os.Chmod(file, 0o600), os.WriteFile(file, []byte("secret"), 0o600)) },
		"no such file or directory": func() error { return os.RemoveAll(file) },
	} {
		require.NoError(t, os.WriteFile(file, nil, 0o600))
		require.NoError(t, write())
		var stdout, stderr bytes.Buffer
		code := run(t.Context(), []string{"--grpc", "127.0.0.1:0", "--state-key", file}, nil, &stdout, &stderr)
		require.Equal(t, 1, code)
		require.Contains(t, stderr.String(), "--state-key: ")
		require.Contains(t, stderr.String(), want)
		require.Empty(t, stdout.String())
	}
}
