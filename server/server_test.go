package server

import (
	"context"
	"math/big"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

// serve starts a server on a loopback port and dials it.
func serve(t testing.TB, c Config) (*Server, *grpc.ClientConn) {
	t.Helper()
	s, err := New(c)
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	served := make(chan error, 1)
	go func() { served <- s.Serve(l) }()
	conn, err := grpc.NewClient(l.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallSendMsgSize(64<<20)))
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, conn.Close())
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		require.NoError(t, s.Shutdown(ctx))
		require.NoError(t, <-served)
	})
	return s, conn
}

func TestUnitsOverGRPCAndInProcess(t *testing.T) {
	s, conn := serve(t, Config{})
	over, err := linepacev1.NewUnitServiceClient(conn).List(t.Context(), &linepacev1.ListRequest{})
	require.NoError(t, err)
	in, err := s.Units().List(t.Context(), &linepacev1.ListRequest{})
	require.NoError(t, err)
	require.Len(t, over.Units, len(units.Table()))
	require.Equal(t, len(in.Units), len(over.Units))

	// The factor and the base unit say together what the symbol says alone.
	for _, u := range over.Units {
		base, err := units.Parse(u.BaseUnit)
		require.NoError(t, err, "base unit of %s", u.Symbol)
		itself, err := units.Parse(u.Symbol)
		require.NoError(t, err)
		require.Equal(t, itself.Dimension(), base.Dimension(), u.Symbol)
		require.Zero(t, base.Ratio().Cmp(big.NewRat(1, 1)), "%s is a base unit of %s", u.BaseUnit, u.Symbol)
		factor, ok := new(big.Rat).SetString(u.Factor)
		require.True(t, ok, u.Factor)
		require.Zero(t, factor.Cmp(itself.Ratio()), u.Symbol)
		require.NotEmpty(t, u.Name)
		require.NotEmpty(t, u.Quantity)
	}
	// 1 in = 25.4 mm exactly (international yard and pound, 1959).
	inch := over.Units[slices.IndexFunc(over.Units, func(u *linepacev1.Unit) bool { return u.Symbol == "in" })]
	require.Equal(t, "127/5000", inch.Factor)
	require.Equal(t, "m", inch.BaseUnit)
}

func TestRequestIDRoundTrip(t *testing.T) {
	core, logged := observer.New(zap.InfoLevel)
	_, conn := serve(t, Config{Log: zap.New(core)})
	ctx := metadata.AppendToOutgoingContext(t.Context(), requestid.Header, "shift-2.B-2291")
	var header metadata.MD
	_, err := linepacev1.NewUnitServiceClient(conn).List(ctx, &linepacev1.ListRequest{}, grpc.Header(&header))
	require.NoError(t, err)
	require.Equal(t, []string{"shift-2.B-2291"}, header.Get(requestid.Header))

	header = nil
	_, err = linepacev1.NewScalingServiceClient(conn).Scale(ctx, &linepacev1.ScaleRequest{}, grpc.Header(&header))
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	require.Equal(t, "shift-2.B-2291", requestid.In(err))
	require.Equal(t, []string{"shift-2.B-2291"}, header.Get(requestid.Header), "on refusals too")
	require.Equal(t, []refusal.Violation{{Path: "drive", Reason: "REQUIRED", Text: refusal.Violations(err)[0].Text}}, refusal.Violations(err))

	_, err = linepacev1.NewUnitServiceClient(conn).List(t.Context(), &linepacev1.ListRequest{}, grpc.Header(&header))
	require.NoError(t, err)
	require.Len(t, header.Get(requestid.Header), 1)
	require.NotEqual(t, []string{"shift-2.B-2291"}, header.Get(requestid.Header))

	lines := logged.FilterMessage("call").All()
	require.Len(t, lines, 3)
	require.Equal(t, "shift-2.B-2291", lines[1].ContextMap()["request_id"])
	require.Equal(t, "InvalidArgument", lines[1].ContextMap()["code"])
}

func TestOversizeOverGRPC(t *testing.T) {
	_, conn := serve(t, Config{})
	client := linepacev1.NewScalingServiceClient(conn)
	_, err := client.Scale(t.Context(), &linepacev1.ScaleRequest{Drive: &linepacev1.Drive{Description: strings.Repeat("x", 50<<20)}})
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
	_, err = linepacev1.NewUnitServiceClient(conn).List(t.Context(), &linepacev1.ListRequest{})
	require.NoError(t, err, "the server goes on")
}

func TestHealth(t *testing.T) {
	core, logged := observer.New(zap.DebugLevel)
	s, conn := serve(t, Config{Log: zap.New(core)})
	client := healthpb.NewHealthClient(conn)
	names := []string{"", "linepace.v1.ScalingService", "linepace.v1.ChangeoverService", "linepace.v1.DwellService", "linepace.v1.DriftService", "linepace.v1.RatioService", "linepace.v1.RecordService", "linepace.v1.UnitService"}
	check := func(want healthpb.HealthCheckResponse_ServingStatus) {
		t.Helper()
		for _, name := range names {
			answer, err := client.Check(t.Context(), &healthpb.HealthCheckRequest{Service: name})
			require.NoError(t, err)
			require.Equal(t, want, answer.Status, name)
		}
	}
	require.NoError(t, s.Ready(t.Context()))
	check(healthpb.HealthCheckResponse_SERVING)
	s.Drain()
	require.Error(t, s.Ready(t.Context()))
	check(healthpb.HealthCheckResponse_NOT_SERVING)
	require.Zero(t, logged.Len(), "probes do not fill the log")

	_, err := linepacev1.NewUnitServiceClient(conn).List(t.Context(), &linepacev1.ListRequest{})
	require.NoError(t, err, "what still comes while draining is answered")
}

func TestReflection(t *testing.T) {
	_, conn := serve(t, Config{})
	stream, err := reflectionpb.NewServerReflectionClient(conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	require.NoError(t, stream.Send(&reflectionpb.ServerReflectionRequest{
		MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{},
	}))
	answer, err := stream.Recv()
	require.NoError(t, err)
	var names []string
	for _, s := range answer.GetListServicesResponse().Service {
		names = append(names, s.Name)
	}
	require.Subset(t, names, []string{"linepace.v1.ScalingService", "linepace.v1.ChangeoverService", "linepace.v1.DwellService", "linepace.v1.DriftService", "linepace.v1.RatioService", "linepace.v1.RecordService", "linepace.v1.UnitService", "grpc.health.v1.Health"})
	require.NoError(t, stream.CloseSend())
}

// waiting answers Plan when it is told to.
type waiting struct {
	linepacev1.UnimplementedChangeoverServiceServer
	entered chan struct{}
	leave   chan struct{}
}

func (w waiting) Plan(context.Context, *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
	close(w.entered)
	<-w.leave
	return &linepacev1.PlanResponse{Verdict: linepacev1.Check_RUNNABLE}, nil
}

func TestShutdownFinishesWhatIsInFlight(t *testing.T) {
	w := waiting{entered: make(chan struct{}), leave: make(chan struct{})}
	s, conn := serve(t, Config{Changeover: w})
	answered := make(chan error, 1)
	go func() {
		_, err := linepacev1.NewChangeoverServiceClient(conn).Plan(t.Context(), sound(t))
		answered <- err
	}()
	<-w.entered
	down := make(chan error, 1)
	go func() { down <- s.Shutdown(t.Context()) }()
	require.Eventually(t, func() bool { return s.Ready(t.Context()) != nil }, time.Minute, time.Millisecond)
	close(w.leave)
	require.NoError(t, <-answered)
	require.NoError(t, <-down)
}

// Clients keep streams of health and reflection open; no shutdown waits for them.
func TestShutdownEndsOpenStreams(t *testing.T) {
	s, conn := serve(t, Config{})
	watch, err := healthpb.NewHealthClient(conn).Watch(t.Context(), &healthpb.HealthCheckRequest{})
	require.NoError(t, err)
	first, err := watch.Recv()
	require.NoError(t, err)
	require.Equal(t, healthpb.HealthCheckResponse_SERVING, first.Status)
	reflecting, err := reflectionpb.NewServerReflectionClient(conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	require.NoError(t, reflecting.Send(&reflectionpb.ServerReflectionRequest{
		MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{},
	}))
	_, err = reflecting.Recv()
	require.NoError(t, err)

	require.NoError(t, s.Shutdown(t.Context()))
	last, err := watch.Recv()
	require.NoError(t, err)
	require.Equal(t, healthpb.HealthCheckResponse_NOT_SERVING, last.Status, "the watcher is told first")
	for _, stream := range []grpc.ClientStream{watch, reflecting} {
		require.Equal(t, codes.Unavailable, status.Code(stream.RecvMsg(&healthpb.HealthCheckResponse{})))
	}
}

func TestShutdownIsBounded(t *testing.T) {
	w := waiting{entered: make(chan struct{}), leave: make(chan struct{})}
	s, conn := serve(t, Config{Changeover: w})
	answered := make(chan error, 1)
	go func() {
		_, err := linepacev1.NewChangeoverServiceClient(conn).Plan(t.Context(), sound(t))
		answered <- err
	}()
	<-w.entered
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	down := make(chan error, 1)
	go func() { down <- s.Shutdown(ctx) }()
	require.Error(t, <-answered, "the caller is cut off")
	require.ErrorIs(t, <-down, context.Canceled)
	close(w.leave)
}
