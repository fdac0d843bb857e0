package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"runtime/debug"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"

	"linepace.example/gateway"
)

// drainTime bounds how long calls in flight are waited for. Orchestrators kill a
// process about 30 seconds after they have asked it to end.
const drainTime = 25 * time.Second

// run carries out one command line and returns its exit code. It serves until
// ctx ends.
func run(ctx context.Context, args []string, _ io.Reader, stdout, stderr io.Writer) int {
	o, err := parse(args)
	switch {
	case err != nil:
		fmt.Fprintf(stderr, "linepace-gateway: error: %v\nlinepace-gateway: hint: linepace-gateway --help lists the flags\n", err)
		return 2
	case o.help:
		fmt.Fprint(stdout, help)
		return 0
	case o.version:
		fmt.Fprintln(stdout, "linepace-gateway", version())
		return 0
	}
	tuneGC()
	if err := serve(ctx, o, stdout, newLog(stderr)); err != nil {
		fmt.Fprintf(stderr, "linepace-gateway: error: %v\n", err)
		return 1
	}
	return 0
}

// tuneGC trades memory for time where the environment does not decide; the
// command linepace-server has the figures.
func tuneGC() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(400)
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(1 << 30)
	}
}

// newLog writes one JSON object a line.
func newLog(w io.Writer) *zap.Logger {
	c := zap.NewProductionEncoderConfig()
	c.EncodeTime = zapcore.RFC3339NanoTimeEncoder
	return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(c), zapcore.Lock(zapcore.AddSync(w)), zap.InfoLevel))
}

// serve listens, tells where, and answers until ctx ends or the listener fails.
func serve(ctx context.Context, o options, stdout io.Writer, log *zap.Logger) error {
	conn, err := dial(o.server)
	if err != nil {
		return fmt.Errorf("--server: %w", err)
	}
	defer conn.Close()
	h, err := gateway.Remote(conn, log)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", o.http)
	if err != nil {
		return fmt.Errorf("--http: %w", err)
	}
	web := gateway.NewHTTPServer(h, log)
	failed := make(chan error, 1)
	go func() { failed <- web.Serve(l) }()
	log.Info("listening", zap.String("transport", "http"), zap.Stringer("address", l.Addr()),
		zap.String("server", o.server), zap.String("version", version()))
	if _, err = fmt.Fprintln(stdout, "http", l.Addr()); err == nil {
		select {
		case <-ctx.Done():
		case err = <-failed:
		}
	}
	log.Info("shutting down")
	return errors.Join(err, shutdown(web))
}

// dial returns a connection that is made when it is needed, and again soon after
// the server was away.
func dial(address string) (*grpc.ClientConn, error) {
	again := backoff.DefaultConfig
	again.MaxDelay = 3 * time.Second
	return grpc.NewClient(address,
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(gateway.MaxMessageBytes), grpc.MaxCallSendMsgSize(gateway.MaxMessageBytes)),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: again, MinConnectTimeout: 3 * time.Second}),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
	)
}

// shutdown takes no more calls and waits for those in flight.
func shutdown(web *http.Server) error {
	ctx, cancel := context.WithTimeout(context.Background(), drainTime)
	defer cancel()
	if err := web.Shutdown(ctx); err != nil {
		return fmt.Errorf("cutting off HTTP calls: %w", err)
	}
	return nil
}
