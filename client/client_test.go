package client_test

import (
	"context"
	"errors"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"linepace.example/client"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// service answers each call of Plan with answer and counts the calls.
type service struct {
	linepacev1.UnimplementedChangeoverServiceServer
	calls  atomic.Int32
	answer func(ctx context.Context, call int32) (*linepacev1.PlanResponse, error)
}

func (s *service) Plan(ctx context.Context, _ *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
	return s.answer(ctx, s.calls.Add(1))
}

// serve runs s on a loopback port until the test ends.
func serve(t *testing.T, s *service) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	server := grpc.NewServer()
	linepacev1.RegisterChangeoverServiceServer(server, s)
	go server.Serve(listener)
	t.Cleanup(server.Stop)
	return listener.Addr().String()
}

func dial(t *testing.T, target string, config client.Config) *client.Client {
	t.Helper()
	c, err := client.Dial(target, config)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, c.Close()) })
	return c
}

func TestAnswer(t *testing.T) {
	s := &service{answer: func(context.Context, int32) (*linepacev1.PlanResponse, error) {
		return &linepacev1.PlanResponse{Verdict: linepacev1.Check_RUNNABLE}, nil
	}}
	plan, err := dial(t, serve(t, s), client.Config{}).Plan(t.Context(), &linepacev1.PlanRequest{})
	require.NoError(t, err)
	require.Equal(t, linepacev1.Check_RUNNABLE, plan.GetVerdict())
}

func TestDeadlineOfACallWithoutOne(t *testing.T) {
	s := &service{answer: func(ctx context.Context, _ int32) (*linepacev1.PlanResponse, error) {
		<-ctx.Done()
		return nil, status.FromContextError(ctx.Err()).Err()
	}}
	c := dial(t, serve(t, s), client.Config{Timeout: time.Millisecond})
	_, err := c.Plan(context.Background(), &linepacev1.PlanRequest{})
	require.Equal(t, codes.DeadlineExceeded, status.Code(err), "got %v", err)
}

func TestDefaultDeadlineReachesTheService(t *testing.T) {
	s := &service{answer: func(ctx context.Context, _ int32) (*linepacev1.PlanResponse, error) {
		if _, ok := ctx.Deadline(); !ok {
			return nil, errors.New("no deadline")
		}
		return &linepacev1.PlanResponse{}, nil
	}}
	_, err := dial(t, serve(t, s), client.Config{}).Plan(context.Background(), &linepacev1.PlanRequest{})
	require.NoError(t, err)
}

// A caller's own deadline counts, also where it is later than the default.
func TestDeadlineOfTheCallerIsKept(t *testing.T) {
	s := &service{answer: func(ctx context.Context, _ int32) (*linepacev1.PlanResponse, error) {
		deadline, _ := ctx.Deadline()
		if time.Until(deadline) < time.Hour {
			return nil, errors.New("deadline cut short")
		}
		return &linepacev1.PlanResponse{}, nil
	}}
	ctx, cancel := context.WithTimeout(context.Background(), 24*time.Hour)
	defer cancel()
	_, err := dial(t, serve(t, s), client.Config{}).Plan(ctx, &linepacev1.PlanRequest{})
	require.NoError(t, err)
}

func TestRetry(t *testing.T) {
	refused := refusal.Invalid([]refusal.Violation{{Path: "line", Reason: "REQUIRED", Text: "give a line"}}).Err()
	unavailable := refusal.New(codes.Unavailable, refusal.Overloaded, "try again").Err()
	cases := []struct {
		name  string
		fails int32 // the first calls that fail
		with  error
		calls int32
		code  codes.Code
	}{
		{"unavailable once", 1, unavailable, 2, codes.OK},
		{"unavailable until the last attempt", client.MaxAttempts - 1, unavailable, client.MaxAttempts, codes.OK},
		{"unavailable always", 1000, unavailable, client.MaxAttempts, codes.Unavailable},
		{"invalid", 1000, refused, 1, codes.InvalidArgument},
		{"internal", 1000, status.Error(codes.Internal, "fault"), 1, codes.Internal},
		{"exhausted", 1000, status.Error(codes.ResourceExhausted, "too large"), 1, codes.ResourceExhausted},
	}
	for _, test := range cases {
		t.Run(test.name, func(t *testing.T) {
			s := &service{answer: func(_ context.Context, call int32) (*linepacev1.PlanResponse, error) {
				if call <= test.fails {
					return nil, test.with
				}
				return &linepacev1.PlanResponse{}, nil
			}}
			_, err := dial(t, serve(t, s), client.Config{}).Plan(t.Context(), &linepacev1.PlanRequest{})
			require.Equal(t, test.code, status.Code(err), "got %v", err)
			require.Equal(t, test.calls, s.calls.Load(), "calls")
			require.Equal(t, refusal.Reason(test.with), refusal.Reason(orElse(err, test.with)), "reason")
		})
	}
}

// orElse returns err, or other where a call ended well.
func orElse(err, other error) error {
	if err != nil {
		return err
	}
	return other
}

func TestViolationsArrive(t *testing.T) {
	want := []refusal.Violation{{Path: "product.demands[2].rate.unit", Reason: "UNIT_UNKNOWN", Text: "write m/min"}}
	s := &service{answer: func(context.Context, int32) (*linepacev1.PlanResponse, error) {
		return nil, refusal.Invalid(want).Err()
	}}
	_, err := dial(t, serve(t, s), client.Config{}).Plan(t.Context(), &linepacev1.PlanRequest{})
	require.Equal(t, want, refusal.Violations(err))
}

func TestWaitForReady(t *testing.T) {
	s := &service{answer: func(context.Context, int32) (*linepacev1.PlanResponse, error) {
		return &linepacev1.PlanResponse{}, nil
	}}
	address := serve(t, s)
	// The service seems down for the first dials, more of them than a call is made.
	downFor := func(dials int32) []grpc.DialOption {
		var seen atomic.Int32
		return []grpc.DialOption{grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
			if seen.Add(1) <= dials {
				return nil, errors.New("connection refused")
			}
			return (&net.Dialer{}).DialContext(ctx, "tcp", address)
		})}
	}
	waits := dial(t, "passthrough:///127.0.0.1:1", client.Config{WaitForReady: true, DialOptions: downFor(2)})
	_, err := waits.Plan(t.Context(), &linepacev1.PlanRequest{})
	require.NoError(t, err)

	not := dial(t, "passthrough:///127.0.0.1:1", client.Config{DialOptions: downFor(1000)})
	_, err = not.Plan(t.Context(), &linepacev1.PlanRequest{})
	require.Equal(t, codes.Unavailable, status.Code(err), "got %v", err)
}

func TestLargeMessages(t *testing.T) {
	large := strings.Repeat("x", 5<<20) // above gRPC's own limit of 4 MiB
	s := &service{answer: func(context.Context, int32) (*linepacev1.PlanResponse, error) {
		return &linepacev1.PlanResponse{Checks: []*linepacev1.Check{{Message: large}}}, nil
	}}
	plan, err := dial(t, serve(t, s), client.Config{}).Plan(t.Context(), &linepacev1.PlanRequest{})
	require.NoError(t, err)
	require.Equal(t, large, plan.GetChecks()[0].GetMessage())

	s.answer = func(context.Context, int32) (*linepacev1.PlanResponse, error) {
		return &linepacev1.PlanResponse{Checks: []*linepacev1.Check{{Message: strings.Repeat(large, 4)}}}, nil
	}
	_, err = dial(t, serve(t, s), client.Config{}).Plan(t.Context(), &linepacev1.PlanRequest{})
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
}

// A plain-text service is reached in plain text on loopback only by default.
func TestTransport(t *testing.T) {
	s := &service{answer: func(context.Context, int32) (*linepacev1.PlanResponse, error) {
		return &linepacev1.PlanResponse{}, nil
	}}
	address := serve(t, s)
	here := []grpc.DialOption{grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "tcp", address)
	})}
	for target, plain := range map[string]bool{
		"passthrough:///127.0.0.1:7071":         true,
		"passthrough:///127.8.8.8:7071":         true,
		"passthrough:///[::1]:7071":             true,
		"passthrough:///localhost:7071":         true,
		"unix:///run/linepace.sock":             true,
		"passthrough:///192.0.2.7:7071":         false,
		"passthrough:///plant.example:7071":     false,
		"passthrough:///localhost.example:7071": false,
	} {
		t.Run(target, func(t *testing.T) {
			_, err := dial(t, target, client.Config{DialOptions: here}).Plan(t.Context(), &linepacev1.PlanRequest{})
			if plain {
				require.NoError(t, err)
			} else {
				require.Equal(t, codes.Unavailable, status.Code(err), "got %v", err)
				require.ErrorContains(t, err, "handshake")
			}
		})
	}
}

func TestUnusableTarget(t *testing.T) {
	_, err := client.Dial("nosuch:// %%", client.Config{})
	require.ErrorContains(t, err, "client: target")
}
