package main

import (
	"context"
	"io"
	"net"

	"github.com/spf13/cobra"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	"linepace.example/client"
	"linepace.example/proto/record"
	"linepace.example/server"
)

// serverFlags say which service answers.
type serverFlags struct {
	address   string
	plaintext bool
	signer    *record.Signer   // of records that the service in this process makes, or nil
	stateKey  *server.StateKey // of states that it gives, or nil
}

// add makes the flags those of a command that asks the service.
func (f *serverFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.address, "server", "", "`address` of a Linepace server, such as 127.0.0.1:7071; without it the calculation runs in this process")
	c.Flags().BoolVar(&f.plaintext, "plaintext", false, "talk to the server without TLS, as always to one on this machine")
}

// connect returns a client of the service that the flags name, and what ends both.
// A fault of a service in this process is told on stderr.
func (f *serverFlags) connect(stderr io.Writer) (c *client.Client, end func(), err error) {
	if f.address == "" {
		return f.inProcess(stderr)
	}
	config := client.Config{}
	if f.plaintext {
		config.DialOptions = []grpc.DialOption{grpc.WithTransportCredentials(insecure.NewCredentials())}
	}
	c, err = client.Dial(f.address, config)
	if err != nil {
		return nil, nil, err
	}
	return c, func() { c.Close() }, nil
}

// inProcess runs the service here, behind the same chain and transport as anywhere.
func (f *serverFlags) inProcess(stderr io.Writer) (c *client.Client, end func(), err error) {
	s, err := server.New(server.Config{Log: faultLog(stderr), Signer: f.signer, StateKey: f.stateKey})
	if err != nil {
		return nil, nil, err
	}
	listener := bufconn.Listen(1 << 20)
	c, err = client.Dial("passthrough:///in-process", client.Config{DialOptions: []grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
	}})
	if err != nil {
		return nil, nil, err
	}
	go s.Serve(listener)
	return c, func() {
		c.Close()
		s.Shutdown(context.Background())
	}, nil
}

// faultLog logs what no caller can mend, such as a panic, and nothing else.
func faultLog(stderr io.Writer) *zap.Logger {
	encoder := zapcore.NewConsoleEncoder(zap.NewDevelopmentEncoderConfig())
	return zap.New(zapcore.NewCore(encoder, zapcore.AddSync(stderr), zap.ErrorLevel))
}

// explain adds a hint to the error of a call where the user can do something.
func (f *serverFlags) explain(err error) error {
	if status.Code(err) != codes.Unavailable || f.address == "" {
		return err
	}
	hint := "is a Linepace server listening on " + f.address + "? Without --server the calculation runs in this process"
	if !f.plaintext {
		hint += "; a server without TLS on another machine needs --plaintext"
	}
	return &hintedError{err, hint}
}
