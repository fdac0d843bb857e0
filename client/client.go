// Package client calls a Linepace service: it asks for the plan of a changeover,
// the setpoint or the scale of one drive, and the list of units.
//
//	c, err := client.Dial("127.0.0.1:7071", client.Config{})
//	if err != nil {
//		return err
//	}
//	defer c.Close()
//	plan, err := c.Plan(ctx, &linepacev1.PlanRequest{Line: line, Product: product})
//
// A plan that cannot run is an answer, not an error: read plan.GetVerdict() first
// and load a setpoint only if the verdict lets the line run. A setpoint's fields
// are absent where nothing exists, so test for nil before reading a count.
//
// An error is a gRPC status. [linepace.example/proto/refusal] tells why a request
// was refused: refusal.Violations(err) lists each field that is wrong by its path,
// with what would be right, and refusal.Reason(err) is for programs.
//
// Every method of the service is a calculation without memory, so a call that the
// service could not take (UNAVAILABLE: restarting, overloaded, not reachable) is
// made again, at most [MaxAttempts] times in all. No other failure is tried again.
//
// Observations that come one by one are tracked: Track takes the state of its answer
// before, TrackStream the parts of a stream, whose answers each have the state after
// them. A stream has the deadline of its context alone. Where it ends (UNAVAILABLE: the
// service restarts, or its connection grew old), another one goes on from the last state,
// at any server with the same state key:
//
//	stream, err := c.TrackStream(ctx)
//	if err != nil {
//		return err
//	}
//	part := &linepacev1.TrackRequest{State: state, Columns: columns} // the first time Setup in place of State
//	if err := stream.Send(&linepacev1.TrackStreamRequest{Part: part}); err != nil {
//		return err
//	}
//	answer, err := stream.Recv()
//	if err != nil {
//		return err // keep the last state
//	}
//	state = answer.GetPart().GetState()
//
// A [Client] may be used by several goroutines at once.
package client

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	linepacev1 "linepace.example/proto/linepace/v1"
)

const (
	// DefaultTimeout bounds a call whose context has no deadline. A plan takes
	// milliseconds, so this is for a lost network.
	DefaultTimeout = 10 * time.Second

	// MaxAttempts is how often one call is made at most, the first one included.
	MaxAttempts = 4

	// MaxMessageBytes bounds a request and a response. gRPC's own limit of 4 MiB
	// is too little for a plan of a few thousand drives with its working.
	MaxMessageBytes = 16 << 20
)

// Config says how to reach the service. The zero value is right for a service on
// the same machine.
type Config struct {
	// TLS secures the connection. Nil: plain text to a loopback address or a Unix
	// socket, and TLS with the system's certificate authorities to any other.
	TLS *tls.Config

	// Timeout bounds each call whose context has no deadline of its own. 0 means
	// DefaultTimeout.
	Timeout time.Duration

	// WaitForReady makes a call wait for a service that is not up yet, until the
	// call's deadline, instead of giving up after MaxAttempts.
	WaitForReady bool

	// DialOptions are applied last and so override all of the above, for instance
	// the dialer in a test or the credentials behind a proxy.
	DialOptions []grpc.DialOption
}

// Client is a connection to a service with the methods of all its services.
type Client struct {
	linepacev1.ChangeoverServiceClient
	linepacev1.DwellServiceClient
	linepacev1.RatioServiceClient
	linepacev1.DriftServiceClient
	linepacev1.RecordServiceClient
	linepacev1.ScalingServiceClient
	linepacev1.UnitServiceClient
	conn *grpc.ClientConn
}

// Dial prepares a connection to target, a host and port or another gRPC target.
// It does not connect: the first call does. An error means that target or config
// is unusable.
func Dial(target string, config Config) (*Client, error) {
	timeout := config.Timeout
	if timeout == 0 {
		timeout = DefaultTimeout
	}
	options := append([]grpc.DialOption{
		grpc.WithTransportCredentials(transport(target, config.TLS)),
		grpc.WithDefaultServiceConfig(serviceConfig(config.WaitForReady)),
		// Retrying must not depend on a text record that a name server hands out.
		grpc.WithDisableServiceConfig(),
		grpc.WithDefaultCallOptions(
			grpc.MaxCallSendMsgSize(MaxMessageBytes),
			grpc.MaxCallRecvMsgSize(MaxMessageBytes)),
		grpc.WithUnaryInterceptor(deadline(timeout)),
	}, config.DialOptions...)
	conn, err := grpc.NewClient(target, options...)
	if err != nil {
		return nil, fmt.Errorf("client: target %q: %w", target, err)
	}
	return &Client{
		ChangeoverServiceClient: linepacev1.NewChangeoverServiceClient(conn),
		DwellServiceClient:      linepacev1.NewDwellServiceClient(conn),
		RatioServiceClient:      linepacev1.NewRatioServiceClient(conn),
		DriftServiceClient:      linepacev1.NewDriftServiceClient(conn),
		RecordServiceClient:     linepacev1.NewRecordServiceClient(conn),
		ScalingServiceClient:    linepacev1.NewScalingServiceClient(conn),
		UnitServiceClient:       linepacev1.NewUnitServiceClient(conn),
		conn:                    conn,
	}, nil
}

// Close ends the connection; calls that are under way fail with CANCELED.
func (c *Client) Close() error { return c.conn.Close() }

// transport returns TLS unless the traffic cannot leave the machine.
func transport(target string, config *tls.Config) credentials.TransportCredentials {
	if config == nil && staysOnMachine(target) {
		return insecure.NewCredentials()
	}
	return credentials.NewTLS(config)
}

// staysOnMachine reports whether target is a Unix socket or a loopback address.
func staysOnMachine(target string) bool {
	if strings.HasPrefix(target, "unix:") || strings.HasPrefix(target, "unix-abstract:") {
		return true
	}
	address := target[strings.LastIndexByte(target, '/')+1:] // dns:///localhost:7071
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		host = address
	}
	ip := net.ParseIP(strings.Trim(host, "[]"))
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// deadline gives each call a deadline that has none. A deadline in the service
// config would do too, but it would cut short a caller's longer one.
func deadline(timeout time.Duration) grpc.UnaryClientInterceptor {
	return func(ctx context.Context, method string, req, reply any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
		if _, ok := ctx.Deadline(); !ok {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, timeout)
			defer cancel()
		}
		return invoke(ctx, method, req, reply, conn, options...)
	}
}

// serviceConfig is the gRPC service config, whose JSON is the one way to ask for
// retries. It names the services whose methods are all pure calculations.
func serviceConfig(waitForReady bool) string {
	type name struct {
		Service string `json:"service"`
	}
	config := map[string]any{"methodConfig": []any{map[string]any{
		"name": []name{
			{linepacev1.ChangeoverService_ServiceDesc.ServiceName},
			{linepacev1.DwellService_ServiceDesc.ServiceName},
			{linepacev1.RatioService_ServiceDesc.ServiceName},
			{linepacev1.DriftService_ServiceDesc.ServiceName},
			{linepacev1.RecordService_ServiceDesc.ServiceName},
			{linepacev1.ScalingService_ServiceDesc.ServiceName},
			{linepacev1.UnitService_ServiceDesc.ServiceName},
		},
		"waitForReady": waitForReady,
		"retryPolicy": map[string]any{
			"maxAttempts":          MaxAttempts,
			"initialBackoff":       "0.1s",
			"maxBackoff":           "1s",
			"backoffMultiplier":    2,
			"retryableStatusCodes": []string{"UNAVAILABLE"},
		},
	}}}
	text, err := json.Marshal(config)
	if err != nil {
		panic("client: internal error: " + err.Error())
	}
	return string(text)
}
