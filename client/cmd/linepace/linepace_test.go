package main

import (
	"context"
	"errors"
	"net"
	"net/http/httptest"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"linepace.example/gateway"
	"linepace.example/server"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"linepace": main})
}

// TestScripts runs the command lines in testdata, each good one beside one that
// must fail. $ROOFTILE is the folder of the demo line, $SERVER the address of a
// running server and $URL its JSON side, $NOSERVER an address where nothing
// answers, $EXAMPLES the folder of the examples, which need $PYTHON and curl.
func TestScripts(t *testing.T) {
	rooftile, err := filepath.Abs(filepath.Join("..", "..", "..", "testdata", "rooftile"))
	require.NoError(t, err)
	examples, err := filepath.Abs(filepath.Join("..", "..", "examples"))
	require.NoError(t, err)
	// The interpreter itself, since a launcher may look for its home, which scripts have not.
	python, err := exec.Command("python3", "-c", "import sys; print(sys.executable)").Output()
	require.NoError(t, err, "the examples need Python 3")
	address, url := serve(t)
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("ROOFTILE", rooftile)
			env.Setenv("EXAMPLES", examples)
			env.Setenv("PYTHON", strings.TrimSpace(string(python)))
			env.Setenv("SERVER", address)
			env.Setenv("URL", url)
			env.Setenv("NOSERVER", unused(t))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits, "alter": alter, "copy": copyFile, "sql": sqlite, "same": same, "member": member, "forge": forge,
		},
	})
}

func TestEveryCommandHasJSON(t *testing.T) {
	requireJSON(t, newRoot())
}

func requireJSON(t *testing.T, c *cobra.Command) {
	t.Helper()
	if !c.HasSubCommands() {
		require.NotNil(t, c.Flags().Lookup("json"), c.CommandPath())
	}
	for _, sub := range c.Commands() {
		requireJSON(t, sub)
	}
}

// exits runs a command that must end with the exit code of its first argument.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND [ARGUMENT...]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	code := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		code = exit.ExitCode()
	}
	if code != want {
		ts.Fatalf("exit code: got %d, want %d", code, want)
	}
}

// serve runs a server on loopback ports until the test ends, with gRPC at address
// and JSON at url.
func serve(t *testing.T) (address, url string) {
	t.Helper()
	s, err := server.New(server.Config{})
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go s.Serve(listener)
	t.Cleanup(func() { require.NoError(t, s.Shutdown(context.Background())) })

	services := gateway.Services{Scaling: s.Scaling(), Changeover: s.Changeover(), Dwell: s.Dwell(), Ratio: s.Ratio(), Drift: s.Drift(), Records: s.Records(), Units: s.Units()}
	handler, err := gateway.InProcess(services, s.Ready, zap.NewNop())
	require.NoError(t, err)
	web := httptest.NewServer(handler)
	t.Cleanup(web.Close)
	return listener.Addr().String(), web.URL
}

// unused returns a loopback address at which every connection is cut.
func unused(t *testing.T) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { listener.Close() })
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			conn.Close()
		}
	}()
	return listener.Addr().String()
}
