package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"

	"go.uber.org/zap"

	"linepace.example/gateway"
	"linepace.example/gateway/daemon"
	"linepace.example/server"
)

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
		fmt.Fprintln(stdout, "linepace-server", daemon.Version())
		return 0
	}
	daemon.TuneGC()
	signer, err := newSigner(o.signingKey)
	var stateKey *server.StateKey
	if err == nil {
		stateKey, err = newStateKey(o.stateKey)
	}
	if err == nil {
		err = serve(ctx, o, server.Config{Log: daemon.NewLog(stderr), Signer: signer, StateKey: stateKey}, stdout)
	}
	if err != nil {
		fmt.Fprintf(stderr, "linepace-server: error: %v\n", err)
		return 1
	}
	return 0
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
		log.Info("listening", zap.String("transport", kind), zap.Stringer("address", l.Addr()), zap.String("version", daemon.Version()))
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
	h, err := gateway.InProcess(gateway.Services{Scaling: s.Scaling(), Changeover: s.Changeover(), Dwell: s.Dwell(), Ratio: s.Ratio(), Drift: s.Drift(), Records: s.Records(), Units: s.Units()}, s.Ready, log)
	if err != nil {
		return nil, err
	}
	return gateway.NewHTTPServer(h, log), nil
}

// shutdown takes no more calls and waits for those in flight.
func shutdown(s *server.Server, web *http.Server) error {
	ctx, cancel := context.WithTimeout(context.Background(), daemon.DrainTime)
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
