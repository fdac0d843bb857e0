package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	linepacev1 "linepace.example/proto/linepace/v1"
)

func TestUsage(t *testing.T) {
	cases := []struct {
		args           []string
		code           int
		stdout, stderr string
	}{
		{[]string{"--help"}, 0, "--grpc ADDRESS", ""},
		{[]string{"-h"}, 0, "Exit codes:", ""},
		{[]string{"--version"}, 0, "linepace-server ", ""},
		{[]string{"--port", "1"}, 2, "", "linepace-server: error: flag provided but not defined: -port\nlinepace-server: hint: "},
		{[]string{"serve"}, 2, "", `linepace-server: error: unexpected argument "serve"`},
		{[]string{"--grpc", ""}, 2, "", "linepace-server: error: --grpc needs an address"},
		{[]string{"--grpc", "127.0.0.1:0", "--http", "nowhere"}, 1, "grpc 127.0.0.1:", "linepace-server: error: --http: listen tcp"},
	}
	for _, tc := range cases {
		t.Run(strings.Join(tc.args, " "), func(t *testing.T) {
			var stdout, stderr bytes.Buffer
			require.Equal(t, tc.code, run(t.Context(), tc.args, strings.NewReader(""), &stdout, &stderr), stderr.String())
			require.Contains(t, stdout.String(), tc.stdout)
			require.Contains(t, stderr.String(), tc.stderr)
			if tc.stderr == "" {
				require.Empty(t, stderr.String())
			}
			if tc.stdout == "" {
				require.Empty(t, stdout.String())
			}
		})
	}
}

func TestGRPCOnly(t *testing.T) {
	server := startServer(t, "--grpc", "127.0.0.1:0", "--http", "")
	require.Equal(t, 1, len(server.addresses))
	_, err := linepacev1.NewUnitServiceClient(dial(t, server.addresses["grpc"])).List(t.Context(), &linepacev1.ListRequest{})
	require.NoError(t, err)
	require.Zero(t, server.stop())
}

func TestAddressInUse(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	var stdout, stderr bytes.Buffer
	code := run(t.Context(), []string{"--grpc", "127.0.0.1:0", "--http", l.Addr().String()}, strings.NewReader(""), &stdout, &stderr)
	require.Equal(t, 1, code)
	require.Contains(t, stderr.String(), "address already in use")
}

// The log has one line for the call, with the id that the caller gave.
func TestLogNamesTheCall(t *testing.T) {
	server := startServer(t, "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	for _, path := range []string{"/v1/units", "/v1/nothing"} {
		req, err := http.NewRequestWithContext(t.Context(), "GET", "http://"+server.addresses["http"]+path, nil)
		require.NoError(t, err)
		req.Header.Set("X-Request-Id", "shift-2.B-2291")
		res, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		res.Body.Close()
	}
	require.Zero(t, server.stop())
	require.Equal(t, 2, strings.Count(server.log.String(), `"request_id":"shift-2.B-2291"`), server.log)
	require.Equal(t, 1, strings.Count(server.log.String(), `"msg":"call"`))
	require.Equal(t, 1, strings.Count(server.log.String(), `"msg":"refused"`))
}

// SIGTERM ends the process when the call in flight is answered; whoever comes
// later is not taken in.
func TestSIGTERMFinishesWhatIsInFlight(t *testing.T) {
	server, cmd := startItself(t, asServer)

	conn, err := net.Dial("tcp", server.addresses["http"])
	require.NoError(t, err)
	defer conn.Close()
	row := row{Base: "roof-tiles"}
	body := row.payload(t)
	half := len(body) / 2
	// The server asks for the body once the call is in its hands; before that the
	// connection might still wait to be accepted, and would be cut off.
	fmt.Fprintf(conn, "POST /v1/changeovers:plan HTTP/1.1\r\nHost: linepace\r\nX-Request-Id: slow\r\nExpect: 100-continue\r\nContent-Length: %d\r\n\r\n", len(body))
	answers := bufio.NewReader(conn)
	res, err := http.ReadResponse(answers, nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusContinue, res.StatusCode)
	_, err = conn.Write(body[:half])
	require.NoError(t, err)
	health := healthpb.NewHealthClient(dial(t, server.addresses["grpc"]))
	watch, err := health.Watch(t.Context(), &healthpb.HealthCheckRequest{})
	require.NoError(t, err)
	first, err := watch.Recv()
	require.NoError(t, err)
	require.Equal(t, healthpb.HealthCheckResponse_SERVING, first.Status)

	require.NoError(t, cmd.Process.Signal(syscall.SIGTERM))
	then, err := watch.Recv()
	require.NoError(t, err)
	require.Equal(t, healthpb.HealthCheckResponse_NOT_SERVING, then.Status)
	require.Eventually(t, func() bool {
		late, err := net.Dial("tcp", server.addresses["http"])
		if err == nil {
			late.Close()
		}
		return err != nil
	}, time.Minute, time.Millisecond, "it still listens")

	_, err = conn.Write(body[half:])
	require.NoError(t, err)
	res, err = http.ReadResponse(answers, nil)
	require.NoError(t, err)
	answer, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, 200, res.StatusCode, "%s", answer)
	require.Equal(t, "slow", res.Header.Get("X-Request-Id"))
	require.Contains(t, string(answer), `"verdict":"RUNNABLE"`)

	_, err = watch.Recv()
	require.Error(t, err)
	require.NoError(t, cmd.Wait())
	require.Contains(t, server.log.String(), `"request_id":"slow"`)
}

// A gateway outlives its server, says so, and finds the server again.
func TestGatewayWithoutServer(t *testing.T) {
	server := startServer(t, "--grpc", "127.0.0.1:0", "--http", "")
	address := server.addresses["grpc"]
	gateway := startGateway(t, address)
	get := func(path string) (int, string) {
		res, err := http.Get("http://" + gateway.addresses["http"] + path)
		require.NoError(t, err)
		defer res.Body.Close()
		data, err := io.ReadAll(res.Body)
		require.NoError(t, err)
		return res.StatusCode, string(data)
	}
	code, _ := get("/v1/units")
	require.Equal(t, 200, code)
	code, body := get("/healthz")
	require.Equal(t, 200, code, body)

	require.Zero(t, server.stop())
	code, body = get("/v1/units")
	require.Equal(t, 503, code)
	require.Contains(t, body, "SERVER_UNREACHABLE")
	code, _ = get("/healthz")
	require.Equal(t, 503, code)

	startServer(t, "--grpc", address, "--http", "")
	require.Eventually(t, func() bool {
		code, _ := get("/healthz")
		return code == 200
	}, time.Minute, 10*time.Millisecond)
	code, _ = get("/v1/units")
	require.Equal(t, 200, code)
	require.Zero(t, gateway.stop(), gateway.log)
}

func TestUnknownGRPCMethod(t *testing.T) {
	server := startServer(t, "--grpc", "127.0.0.1:0", "--http", "")
	err := dial(t, server.addresses["grpc"]).Invoke(t.Context(), "/linepace.v1.ChangeoverService/Replan", &linepacev1.ListRequest{}, &linepacev1.ListResponse{})
	require.Equal(t, codes.Unimplemented, status.Code(err))
}
