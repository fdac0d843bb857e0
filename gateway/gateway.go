// Package gateway serves the contract as JSON over HTTP, by the generated
// handlers of grpc-gateway: over services in the same process, or over a
// connection to a server elsewhere. It refuses what it would have to guess about,
// in the same shape as the services refuse a faulty request.
package gateway

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/requestid"
)

// contract returns the files of the contract, all of whose services are served.
func contract() (files []protoreflect.FileDescriptor) {
	protoregistry.GlobalFiles.RangeFilesByPackage("linepace.v1", func(file protoreflect.FileDescriptor) bool {
		files = append(files, file)
		return true
	})
	return files
}

// Services are the services of the contract in this process. They must check
// requests themselves: no gRPC interceptor runs on this way.
type Services struct {
	Scaling    linepacev1.ScalingServiceServer
	Changeover linepacev1.ChangeoverServiceServer
	Dwell      linepacev1.DwellServiceServer
	Ratio      linepacev1.RatioServiceServer
	Drift      linepacev1.DriftServiceServer
	Records    linepacev1.RecordServiceServer
	Units      linepacev1.UnitServiceServer
}

// gateway answers HTTP requests.
type gateway struct {
	mux    *runtime.ServeMux
	routes []route
	ready  func(context.Context) error
	log    *zap.Logger
}

// InProcess returns a handler that calls s directly. GET /healthz answers whether
// ready returns nil. The log takes what never reaches a service.
func InProcess(s Services, ready func(context.Context) error, log *zap.Logger) (http.Handler, error) {
	g, err := newGateway(ready, log)
	if err != nil {
		return nil, err
	}
	ctx := context.Background()
	return g, errors.Join(
		linepacev1.RegisterScalingServiceHandlerServer(ctx, g.mux, s.Scaling),
		linepacev1.RegisterChangeoverServiceHandlerServer(ctx, g.mux, s.Changeover),
		linepacev1.RegisterDwellServiceHandlerServer(ctx, g.mux, s.Dwell),
		linepacev1.RegisterRatioServiceHandlerServer(ctx, g.mux, s.Ratio),
		linepacev1.RegisterDriftServiceHandlerServer(ctx, g.mux, s.Drift),
		linepacev1.RegisterRecordServiceHandlerServer(ctx, g.mux, s.Records),
		linepacev1.RegisterUnitServiceHandlerServer(ctx, g.mux, s.Units),
	)
}

// Remote returns a handler that calls the server at the other end of conn. GET
// /healthz answers whether that server says that it serves.
func Remote(conn grpc.ClientConnInterface, log *zap.Logger) (http.Handler, error) {
	g, err := newGateway(serving(healthpb.NewHealthClient(conn)), log)
	if err != nil {
		return nil, err
	}
	ctx := context.Background()
	return g, errors.Join(
		linepacev1.RegisterScalingServiceHandlerClient(ctx, g.mux, linepacev1.NewScalingServiceClient(conn)),
		linepacev1.RegisterChangeoverServiceHandlerClient(ctx, g.mux, linepacev1.NewChangeoverServiceClient(conn)),
		linepacev1.RegisterDwellServiceHandlerClient(ctx, g.mux, linepacev1.NewDwellServiceClient(conn)),
		linepacev1.RegisterRatioServiceHandlerClient(ctx, g.mux, linepacev1.NewRatioServiceClient(conn)),
		linepacev1.RegisterDriftServiceHandlerClient(ctx, g.mux, linepacev1.NewDriftServiceClient(conn)),
		linepacev1.RegisterRecordServiceHandlerClient(ctx, g.mux, linepacev1.NewRecordServiceClient(conn)),
		linepacev1.RegisterUnitServiceHandlerClient(ctx, g.mux, linepacev1.NewUnitServiceClient(conn)),
	)
}

func newGateway(ready func(context.Context) error, log *zap.Logger) (*gateway, error) {
	if err := codec.Check(contract()...); err != nil {
		return nil, fmt.Errorf("reading the contract: %w", err)
	}
	g := &gateway{routes: routesOf(contract()), ready: ready, log: log}
	g.mux = runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, marshaler{}),
		runtime.WithMiddlewares(g.admit),
		runtime.WithErrorHandler(g.handleError),
		runtime.WithForwardResponseOption(refuseWrong),
		runtime.WithRoutingErrorHandler(g.handleRoutingError),
		runtime.WithIncomingHeaderMatcher(forwarded),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingTrailerMatcher(func(string) (string, bool) { return "", false }),
		// Both would let a POST become a GET.
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithWriteContentLength(),
	)
	return g, nil
}

// forwarded names the HTTP headers that a service gets as metadata.
func forwarded(header string) (string, bool) {
	return requestid.Header, header == http.CanonicalHeaderKey(requestid.Header)
}

// serving asks a remote server for its health.
func serving(health healthpb.HealthClient) func(context.Context) error {
	return func(ctx context.Context) error {
		ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		answer, err := health.Check(ctx, &healthpb.HealthCheckRequest{})
		if err != nil {
			return errors.New("the calculation server cannot be reached")
		}
		if answer.Status != healthpb.HealthCheckResponse_SERVING {
			return errors.New("the calculation server is not serving")
		}
		return nil
	}
}
