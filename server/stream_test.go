package server

import (
	"context"
	"io"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

func trackStream(t testing.TB, conn *grpc.ClientConn) linepacev1.DriftService_TrackStreamClient {
	t.Helper()
	ctx := metadata.AppendToOutgoingContext(t.Context(), requestid.Header, "shift-3")
	stream, err := linepacev1.NewDriftServiceClient(conn).TrackStream(ctx)
	require.NoError(t, err)
	return stream
}

func part(setup *linepacev1.TrackSetup, state string, columns *linepacev1.ObservationColumns) *linepacev1.TrackStreamRequest {
	return &linepacev1.TrackStreamRequest{Part: &linepacev1.TrackRequest{Setup: setup, State: state, Columns: columns}}
}

// A stream answers what calls of Track do, and one goes on where the other stopped.
func TestTrackStreamIsTrack(t *testing.T) {
	core, logged := observer.New(zap.InfoLevel)
	s, conn := serve(t, Config{StateKey: stateKey(t, "a"), Log: zap.New(core)})
	_, other := serve(t, Config{StateKey: stateKey(t, "a")})
	stream := trackStream(t, conn)
	state := ""
	for i := range 12 {
		if i == 6 { // elsewhere
			require.NoError(t, stream.CloseSend())
			_, err := stream.Recv()
			require.ErrorIs(t, err, io.EOF)
			stream = trackStream(t, other)
		}
		in := part(nil, "", leaking(4, 50*i, 50))
		switch i {
		case 0:
			in.Part.Setup = pumpSetup()
		case 6:
			in.Part.State = state
		}
		require.NoError(t, stream.Send(in))
		got, err := stream.Recv()
		require.NoError(t, err)
		in.Part.Setup, in.Part.State = pumpSetup(), state
		want, err := s.Drift().Track(t.Context(), in.Part)
		require.NoError(t, err)
		require.True(t, proto.Equal(want, got.Part))
		state = want.State
	}
	header, err := stream.Header()
	require.NoError(t, err)
	require.Equal(t, []string{"shift-3"}, header.Get(requestid.Header))
	lines := logged.FilterField(zap.String("method", linepacev1.DriftService_TrackStream_FullMethodName)).All()
	require.Len(t, lines, 1, "a stream is one line")
	require.Equal(t, "OK", lines[0].ContextMap()["code"])
	require.Greater(t, lines[0].ContextMap()["request_bytes"], int64(6*50*24))
	require.Greater(t, lines[0].ContextMap()["response_bytes"], int64(6*50*24))
}

func TestStreamsAreChecked(t *testing.T) {
	_, conn := serve(t, Config{StateKey: stateKey(t, "a")})
	notFinite := leaking(5, 0, 3)
	notFinite.MotorRpm[1] = math.NaN()
	unknown := part(pumpSetup(), "", leaking(5, 0, 3))
	unknown.Part.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 99, protowire.VarintType), 1))
	late := leaking(5, 0, 3)
	late.Seconds[2] = 1
	for name, tc := range map[string]struct {
		in   []*linepacev1.TrackStreamRequest
		want string
	}{
		"no part":          {[]*linepacev1.TrackStreamRequest{{}}, "part REQUIRED"},
		"no setup":         {[]*linepacev1.TrackStreamRequest{part(nil, "", leaking(5, 0, 3))}, "part.setup REQUIRED"},
		"NaN":              {[]*linepacev1.TrackStreamRequest{part(pumpSetup(), "", notFinite)}, "part.columns.motorRpm[1] NOT_FINITE"},
		"an unknown field": {[]*linepacev1.TrackStreamRequest{unknown}, "part UNKNOWN_FIELD"},
		"times":            {[]*linepacev1.TrackStreamRequest{part(pumpSetup(), "", late)}, "part.columns.seconds[2] OUT_OF_RANGE"},
		"a forged state":   {[]*linepacev1.TrackStreamRequest{part(nil, strings.Repeat("A", 200), nil)}, "part.state MALFORMED"},
		"a second setup":   {[]*linepacev1.TrackStreamRequest{part(pumpSetup(), "", leaking(5, 0, 3)), part(pumpSetup(), "", leaking(5, 3, 3))}, "part CONFLICT"},
		"a later NaN":      {[]*linepacev1.TrackStreamRequest{part(pumpSetup(), "", leaking(5, 0, 3)), part(nil, "", notFinite)}, "part.columns.motorRpm[1] NOT_FINITE"},
	} {
		t.Run(name, func(t *testing.T) {
			stream := trackStream(t, conn)
			var err error
			for i, in := range tc.in {
				require.NoError(t, stream.Send(in))
				_, err = stream.Recv()
				require.Equal(t, i == len(tc.in)-1, err != nil, "%v", err)
			}
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
			require.Equal(t, "shift-3", requestid.In(err))
			v := refusal.Violations(err)
			require.Len(t, v, 1, "%v", v)
			require.Equal(t, tc.want, v[0].Path+" "+v[0].Reason)
		})
	}
	stream := trackStream(t, conn)
	_ = stream.Send(part(&linepacev1.TrackSetup{Drive: &linepacev1.Drive{Description: strings.Repeat("x", 20<<20)}}, "", nil))
	_, err := stream.Recv()
	require.Equal(t, codes.ResourceExhausted, status.Code(err), "%v", err)

	_, without := serve(t, Config{})
	stream = trackStream(t, without)
	require.NoError(t, stream.Send(part(pumpSetup(), "", nil)))
	_, err = stream.Recv()
	require.Equal(t, refusal.NoStateKey, refusal.Reason(err))
}

// silentStream is a stream whose caller says nothing, and does not go away.
type silentStream struct {
	grpc.ServerStream
	ctx context.Context
}

func (s silentStream) Context() context.Context { return s.ctx }
func (s silentStream) RecvMsg(any) error        { <-s.ctx.Done(); return s.ctx.Err() }

func TestStreamOfASilentCallerEnds(t *testing.T) {
	receive := func(draining context.Context, silence time.Duration) error {
		return (&checkedStream{ServerStream: silentStream{ctx: t.Context()}, ctx: t.Context(), draining: draining, silence: silence}).RecvMsg(nil)
	}
	err := receive(context.Background(), time.Millisecond)
	require.Equal(t, codes.DeadlineExceeded, status.Code(err))
	ended, end := context.WithCancel(context.Background())
	end()
	err = receive(ended, time.Hour)
	require.Equal(t, codes.Unavailable, status.Code(err))
}

func TestPanicInAStream(t *testing.T) {
	core, logged := observer.New(zap.DebugLevel)
	ctx := metadata.NewIncomingContext(t.Context(), metadata.Pairs(requestid.Header, "B-9"))
	chain := newStreamChain(zap.New(core), contractCheck(t), context.Background())
	err := chain(nil, silentStream{ctx: ctx}, &grpc.StreamServerInfo{FullMethod: "/linepace.v1.DriftService/TrackStream"},
		func(any, grpc.ServerStream) error { panic("the secret invariant") })
	require.Equal(t, codes.Internal, status.Code(err))
	require.Equal(t, "B-9", requestid.In(err))
	require.NotContains(t, err.Error(), "secret")
	require.Equal(t, 1, logged.FilterMessage("panic").Len())
	calls := logged.FilterMessage("call").All()
	require.Len(t, calls, 1)
	require.Equal(t, zapcore.ErrorLevel, calls[0].Level)
}

// A server that drains ends a stream at its next message.
func TestDrainEndsAStream(t *testing.T) {
	s, conn := serve(t, Config{StateKey: stateKey(t, "a")})
	stream := trackStream(t, conn)
	require.NoError(t, stream.Send(part(pumpSetup(), "", leaking(6, 0, 3))))
	_, err := stream.Recv()
	require.NoError(t, err)
	s.Drain()
	_, err = stream.Recv()
	require.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
}

func assessRequest(setup *linepacev1.TrackSetup) *linepacev1.AssessRequest {
	return &linepacev1.AssessRequest{Commissioned: setup.Commissioned, Meter: setup.Meter, Sigma: setup.Sigma, TolerancePercent: 2}
}

func assessStream(t *testing.T, conn *grpc.ClientConn, parts ...*linepacev1.AssessRequest) (*linepacev1.AssessResponse, error) {
	t.Helper()
	stream, err := linepacev1.NewDriftServiceClient(conn).AssessStream(t.Context())
	require.NoError(t, err)
	for _, p := range parts {
		if stream.Send(&linepacev1.AssessStreamRequest{Part: p}) != nil {
			break // CloseAndRecv tells why
		}
	}
	out, err := stream.CloseAndRecv()
	return out.GetResult(), err
}

// A stream is assessed as the same observations in one request are.
func TestAssessStreamIsAssess(t *testing.T) {
	s, conn := serve(t, Config{})
	whole := assessRequest(pumpSetup())
	whole.Columns = leaking(7, 0, 1)
	for i := 1; i < 900; i++ {
		c := leaking(7, i, 1)
		whole.Columns.Seconds, whole.Columns.MotorRpm, whole.Columns.MeterPulses = append(whole.Columns.Seconds, c.Seconds...), append(whole.Columns.MotorRpm, c.MotorRpm...), append(whole.Columns.MeterPulses, c.MeterPulses...)
	}
	parts := []*linepacev1.AssessRequest{assessRequest(pumpSetup())}
	for i := 0; i < 900; i += 100 {
		c := &linepacev1.ObservationColumns{Start: whole.Columns.Start, GateSeconds: whole.Columns.GateSeconds,
			Seconds: whole.Columns.Seconds[i : i+100], MotorRpm: whole.Columns.MotorRpm[i : i+100], MeterPulses: whole.Columns.MeterPulses[i : i+100]}
		parts = append(parts, &linepacev1.AssessRequest{Columns: c})
	}
	want, err := s.Drift().Assess(t.Context(), whole)
	require.NoError(t, err)
	got, err := assessStream(t, conn, parts...)
	require.NoError(t, err)
	require.NotNil(t, want.Correction)
	require.Len(t, got.Correction.Overlay.Evidence.Digest, 64)
	require.NotEqual(t, want.Correction.Overlay.Evidence.Digest, got.Correction.Overlay.Evidence.Digest)
	want.Correction.Overlay.Evidence.Digest = got.Correction.Overlay.Evidence.Digest
	require.True(t, proto.Equal(want, got))

	_, err = assessStream(t, conn)
	require.Equal(t, "part.observations", refusal.Violations(err)[0].Path, "%v", err)
	_, err = assessStream(t, conn, parts[0], whole)
	require.Equal(t, refusal.Violation{Path: "part", Reason: "CONFLICT", Text: refusal.Violations(err)[0].Text}, refusal.Violations(err)[0])
	_, err = assessStream(t, conn, parts[0], parts[2], parts[1])
	require.Equal(t, "part.columns.seconds[0]", refusal.Violations(err)[0].Path, "%v", err)
}

// A server holds so many observations and no more, and lets go of them.
func TestStreamedObservationsAreBounded(t *testing.T) {
	s := driftService{held: new(atomic.Int64)}
	s.held.Store(maxStreamed - 5)
	one, two := &gathering{service: s}, &gathering{service: s}
	require.NoError(t, one.hold(5))
	require.Equal(t, codes.Unavailable, status.Code(two.hold(1)))
	one.release()
	require.NoError(t, two.hold(1))
	require.ErrorContains(t, two.hold(maxStreamed), "at most 2000000")
	two.release()
	require.EqualValues(t, maxStreamed-5, s.held.Load())
}

// BenchmarkTrackStream tells how many observations one stream takes in messages of 1000,
// over loopback.
func BenchmarkTrackStream(b *testing.B) {
	_, conn := serve(b, Config{StateKey: stateKey(b, "a")})
	stream := trackStream(b, conn)
	setup := pumpSetup()
	for n := 0; b.Loop(); n++ {
		in := part(setup, "", leaking(8, 0, 1000))
		in.Part.Columns.Start = trackStart.Add(time.Duration(n) * 1000 * time.Hour).Format(time.RFC3339)
		setup = nil
		require.NoError(b, stream.Send(in))
		_, err := stream.Recv()
		require.NoError(b, err)
	}
	b.ReportMetric(float64(b.N)*1000/b.Elapsed().Seconds(), "observations/s")
}
