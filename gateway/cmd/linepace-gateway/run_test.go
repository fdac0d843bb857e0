package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestUsage(t *testing.T) {
	cases := []struct {
		args           []string
		code           int
		stdout, stderr string
	}{
		{[]string{"--help"}, 0, "--server ADDRESS", ""},
		{[]string{"--version"}, 0, "linepace-gateway ", ""},
		{[]string{"--grpc", "x"}, 2, "", "linepace-gateway: error: flag provided but not defined: -grpc\nlinepace-gateway: hint: "},
		{[]string{"serve"}, 2, "", `linepace-gateway: error: unexpected argument "serve"`},
		{[]string{"--server", ""}, 2, "", "linepace-gateway: error: --server needs an address"},
		{[]string{"--http", ""}, 2, "", "linepace-gateway: error: --http needs an address"},
		{[]string{"--http", "nowhere"}, 1, "", "linepace-gateway: error: --http: listen tcp"},
	}
	for _, tc := range cases {
		t.Run(strings.Join(tc.args, " "), func(t *testing.T) {
			var stdout, stderr bytes.Buffer
			require.Equal(t, tc.code, run(t.Context(), tc.args, strings.NewReader(""), &stdout, &stderr), stderr.String())
			require.Contains(t, stdout.String(), tc.stdout)
			require.Contains(t, stderr.String(), tc.stderr)
		})
	}
}

// It starts without a server, says that it has none, and ends when it is told to.
func TestDeadServer(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close()) // a port where nobody listens
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	out, in := io.Pipe()
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"--server", l.Addr().String(), "--http", "127.0.0.1:0"}, strings.NewReader(""), in, io.Discard)
		in.Close()
	}()
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan())
	address, ok := strings.CutPrefix(lines.Text(), "http ")
	require.True(t, ok, lines.Text())

	res, err := http.Get("http://" + address + "/v1/units")
	require.NoError(t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusServiceUnavailable, res.StatusCode)
	require.Contains(t, string(body), "cannot be reached")

	cancel()
	require.Zero(t, <-code)
}
