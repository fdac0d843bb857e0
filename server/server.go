// Package server answers the calls of linepace.v1. Each call, over gRPC or in
// process, passes the same chain; the handlers turn the message into the terms of
// core, compute, and turn the result back.
package server

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/status"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// contract is the package whose services are served.
const contract = "linepace.v1"

// Limits of the gRPC transport.
const (
	// MaxMessageBytes bounds a request and an answer. The longest line, 10000
	// drives, needs about a third of it.
	MaxMessageBytes = 16 << 20

	maxConcurrentStreams = 256      // a connection
	maxHeaderBytes       = 16 << 10 // a call
	connectTimeout       = 10 * time.Second
	noticeTime           = time.Second / 2
)

// Config says how to build a Server.
type Config struct {
	// Log takes one line a call, and the stack of a panic. Nil: no log.
	Log *zap.Logger
	// Changeover answers in place of the calculation, so that a benchmark can
	// compare it with one that does nothing. Nil: the calculation.
	Changeover linepacev1.ChangeoverServiceServer
	// Signer signs the records of plans. Nil: they are not signed.
	Signer *record.Signer
	// StateKey authenticates the states of Track. Nil: there is no Track.
	StateKey *StateKey
}

// Server holds the services of linepace.v1, for gRPC and for use in process.
type Server struct {
	grpc       *grpc.Server
	health     *health.Server
	draining   context.Context // ends when Drain is called
	drain      context.CancelFunc
	scaling    linepacev1.ScalingServiceServer
	changeover linepacev1.ChangeoverServiceServer
	dwell      linepacev1.DwellServiceServer
	ratio      linepacev1.RatioServiceServer
	drift      linepacev1.DriftServiceServer
	records    linepacev1.RecordServiceServer
	units      linepacev1.UnitServiceServer
}

// New returns a server that is ready to serve. It fails where the contract's
// annotations cannot be understood.
func New(c Config) (*Server, error) {
	if c.Log == nil {
		c.Log = zap.NewNop()
	}
	if c.Changeover == nil {
		c.Changeover = changeoverService{signer: c.Signer}
	}
	shape, err := newShapeCheck()
	if err != nil {
		return nil, fmt.Errorf("reading the contract: %w", err)
	}
	records, err := newRecordService(shape, c.Signer)
	if err != nil {
		return nil, fmt.Errorf("the signing key: %w", err)
	}
	drifts := driftService{key: c.StateKey, held: new(atomic.Int64)}
	each := newChain(c.Log, shape)
	draining, drain := context.WithCancel(context.Background())
	streams := newStreamChain(c.Log, shape, draining)
	s := &Server{
		health:     health.NewServer(),
		draining:   draining,
		drain:      drain,
		scaling:    chainedScaling{chain: each, next: scalingService{}},
		changeover: chainedChangeover{chain: each, next: c.Changeover},
		dwell:      chainedDwell{chain: each, next: dwellService{}},
		ratio:      chainedRatio{chain: each, next: ratioService{}},
		drift:      chainedDrift{chain: each, streams: streams, next: drifts},
		records:    chainedRecords{chain: each, next: records},
		units:      chainedUnits{chain: each, next: unitService{}},
	}
	s.grpc = newGRPC(ownCalls(each), ownStreams(streams, s.untilDrained))
	linepacev1.RegisterScalingServiceServer(s.grpc, scalingService{})
	linepacev1.RegisterChangeoverServiceServer(s.grpc, c.Changeover)
	linepacev1.RegisterDwellServiceServer(s.grpc, dwellService{})
	linepacev1.RegisterRatioServiceServer(s.grpc, ratioService{})
	linepacev1.RegisterDriftServiceServer(s.grpc, drifts)
	linepacev1.RegisterRecordServiceServer(s.grpc, records)
	linepacev1.RegisterUnitServiceServer(s.grpc, unitService{})
	for name := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(name, healthpb.HealthCheckResponse_SERVING)
	}
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	return s, nil
}

func newGRPC(each step, stream grpc.StreamServerInterceptor) *grpc.Server {
	return grpc.NewServer(
		grpc.UnaryInterceptor(each),
		grpc.StreamInterceptor(stream),
		grpc.MaxRecvMsgSize(MaxMessageBytes),
		grpc.MaxConcurrentStreams(maxConcurrentStreams),
		grpc.MaxHeaderListSize(maxHeaderBytes),
		grpc.ConnectionTimeout(connectTimeout),
		grpc.WaitForHandlers(true),
		// Balancers see new replicas only when connections are made anew.
		grpc.KeepaliveParams(keepalive.ServerParameters{
			MaxConnectionIdle: 15 * time.Minute, MaxConnectionAge: 30 * time.Minute, MaxConnectionAgeGrace: maxCallTime,
			Time: 2 * time.Minute, Timeout: 20 * time.Second,
		}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
	)
}

// ownCalls passes the calls of the contract through the chain. Health probes and
// reflection have nothing to check and would only fill the log.
func ownCalls(each step) step {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		if !strings.HasPrefix(info.FullMethod, "/"+contract+".") {
			return next(ctx, req)
		}
		return each(ctx, req, info, next)
	}
}

// ownStreams does so with streams. The others end with the server.
func ownStreams(own, others grpc.StreamServerInterceptor) grpc.StreamServerInterceptor {
	return func(service any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		if !strings.HasPrefix(info.FullMethod, "/"+contract+".") {
			return others(service, stream, info, handle)
		}
		return own(service, stream, info, handle)
	}
}

// untilDrained ends the streams of health and reflection soon after Drain: a
// client may keep one open for as long as it lives, and Shutdown would wait for
// it. A watcher of the health gets the time to be told.
func (s *Server) untilDrained(service any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
	ended := make(chan error, 1)
	go func() { ended <- handle(service, stream) }() // its calls of stream fail once this has returned
	select {
	case err := <-ended:
		return err
	case <-s.draining.Done():
	}
	select {
	case err := <-ended:
		return err
	case <-time.After(noticeTime):
		return status.Error(codes.Unavailable, "the server is shutting down")
	}
}

// Scaling returns the service behind the chain, for use in process.
func (s *Server) Scaling() linepacev1.ScalingServiceServer { return s.scaling }

// Changeover returns the service behind the chain, for use in process.
func (s *Server) Changeover() linepacev1.ChangeoverServiceServer { return s.changeover }

// Dwell returns the service behind the chain, for use in process.
func (s *Server) Dwell() linepacev1.DwellServiceServer { return s.dwell }

// Drift returns the service behind the chain, for use in process.
func (s *Server) Drift() linepacev1.DriftServiceServer { return s.drift }

// Ratio returns the service behind the chain, for use in process.
func (s *Server) Ratio() linepacev1.RatioServiceServer { return s.ratio }

// Records returns the service behind the chain, for use in process.
func (s *Server) Records() linepacev1.RecordServiceServer { return s.records }

// Units returns the service behind the chain, for use in process.
func (s *Server) Units() linepacev1.UnitServiceServer { return s.units }

// Ready returns nil until Shutdown begins.
func (s *Server) Ready(ctx context.Context) error {
	answer, err := s.health.Check(ctx, &healthpb.HealthCheckRequest{})
	if err != nil {
		return err
	}
	if answer.Status != healthpb.HealthCheckResponse_SERVING {
		return errors.New("the server is shutting down")
	}
	return nil
}

// Serve answers gRPC calls on l until Shutdown, and then returns nil.
func (s *Server) Serve(l net.Listener) error { return s.grpc.Serve(l) }

// Drain makes Ready and the health service say that no more calls are wanted,
// while calls are still answered.
func (s *Server) Drain() {
	s.health.Shutdown()
	s.drain()
}

// Shutdown drains, takes no more gRPC calls and waits for those in flight. Where
// ctx ends first it cuts them off and returns ctx's error.
func (s *Server) Shutdown(ctx context.Context) error {
	s.Drain()
	done := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(done)
	}()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		go s.grpc.Stop() // which waits for a handler that does not look at its context
		return fmt.Errorf("cutting off gRPC calls: %w", ctx.Err())
	}
}
