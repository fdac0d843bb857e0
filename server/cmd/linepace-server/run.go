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
	"sync"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"linepace.example/gateway"
	"linepace.example/server"
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
		fmt.Fprintf(stderr, "linepace-server: error: %v\nlinepace-server: hint: linepace-server --help lists the flags\n", err)
		return 2
	case o.help:
		fmt.Fprint(stdout, help)
		return 0
	case o.version:
		fmt.Fprintln(stdout, "linepace-server", version())
		return 0
	}
	tuneGC()
	signer, err := newSigner(o.signingKey)
	if err == nil {
		err = serve(ctx, o, server.Config{Log: newLog(stderr), Signer: signer}, stdout)
	}
	if err != nil {
		fmt.Fprintf(stderr, "linepace-server: error: %v\n", err)
		return 1
	}
	return 0
}

// tuneGC trades memory for time where the environment does not decide. A call
// leaves garbage and little else, so that by default the collector runs for a few
// megabytes again and again: with 400 in place of 100 a call of nothing took 49 in
// place of 79 us of processor time, and one through the gateway 217 in place of
// 358 us. The soft limit keeps that factor from applying to a load of the largest
// requests.
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

// serve listens, tells where, and answers until ctx ends or a listener fails.
func serve(ctx context.Context, o options, c server.Config, stdout io.Writer) error {
	log := c.Log
	s, err := server.New(c)
	if err != nil {
		return err
	}
	web, err := newWeb(s, log)
	if err != nil {
		return err
	}
	failed := make(chan error, 2)
	listen := func(kind, address string, serve func(net.Listener) error) error {
		l, err := net.Listen("tcp", address)
		if err != nil {
			return fmt.Errorf("--%s: %w", kind, err)
		}
		go func() { failed <- serve(l) }()
		log.Info("listening", zap.String("transport", kind), zap.Stringer("address", l.Addr()), zap.String("version", version()))
		_, err = fmt.Fprintln(stdout, kind, l.Addr())
		return err
	}
	err = listen("grpc", o.grpc, s.Serve)
	if err == nil && o.http != "" {
		err = listen("http", o.http, web.Serve)
	}
	if err == nil {
		select {
		case <-ctx.Done():
		case err = <-failed:
		}
	}
	log.Info("shutting down")
	return errors.Join(err, shutdown(s, web))
}

func newWeb(s *server.Server, log *zap.Logger) (*http.Server, error) {
	h, err := gateway.InProcess(gateway.Services{Scaling: s.Scaling(), Changeover: s.Changeover(), Records: s.Records(), Units: s.Units()}, s.Ready, log)
	if err != nil {
		return nil, err
	}
	return gateway.NewHTTPServer(h, log), nil
}

// shutdown takes no more calls and waits for those in flight.
func shutdown(s *server.Server, web *http.Server) error {
	ctx, cancel := context.WithTimeout(context.Background(), drainTime)
	defer cancel()
	s.Drain()
	var wait sync.WaitGroup
	var overHTTP, overGRPC error
	wait.Go(func() { overHTTP = web.Shutdown(ctx) })
	wait.Go(func() { overGRPC = s.Shutdown(ctx) })
	wait.Wait()
	if overHTTP != nil {
		overHTTP = fmt.Errorf("cutting off HTTP calls: %w", overHTTP)
	}
	return errors.Join(overHTTP, overGRPC)
}
