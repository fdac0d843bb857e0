package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"

	"linepace.example/gateway"
	"linepace.example/gateway/daemon"
)

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
		fmt.Fprintln(stdout, "linepace-gateway", daemon.Version())
		return 0
	}
	daemon.TuneGC()
	if err := serve(ctx, o, stdout, daemon.NewLog(stderr)); err != nil {
		fmt.Fprintf(stderr, "linepace-gateway: error: %v\n", err)
		return 1
	}
	return 0
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
		zap.String("server", o.server), zap.String("version", daemon.Version()))
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
	ctx, cancel := context.WithTimeout(context.Background(), daemon.DrainTime)
	defer cancel()
	if err := web.Shutdown(ctx); err != nil {
		return fmt.Errorf("cutting off HTTP calls: %w", err)
	}
	return nil
}
