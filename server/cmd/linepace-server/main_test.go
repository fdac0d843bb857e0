package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
)

// asServer in the environment makes the test binary behave as the command, so
// that a test can send it signals and measure it alone; asNullServer, as a command
// that plans nothing; asPlainServer, as JSON over HTTP without a gateway.
const (
	asServer      = "LINEPACE_TEST_AS_SERVER"
	asNullServer  = "LINEPACE_TEST_AS_NULL_SERVER"
	asPlainServer = "LINEPACE_TEST_AS_PLAIN_SERVER"
)

func TestMain(m *testing.M) {
	switch {
	case os.Getenv(asServer) != "":
		main()
	case os.Getenv(asNullServer) != "":
		os.Exit(runNull())
	case os.Getenv(asPlainServer) != "":
		os.Exit(runPlain())
	}
	code := m.Run()
	_ = os.RemoveAll(filepath.Dir(gatewayBinary.path))
	os.Exit(code)
}

// process is a command that listens.
type process struct {
	addresses map[string]string // by transport
	log       *buffer
	stop      func() int // ends it and returns its exit code
}

// startServer runs the command in this process.
func startServer(t testing.TB, args ...string) *process {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	log := &buffer{}
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, args, strings.NewReader(""), in, log)
		in.Close()
	}()
	stop := sync.OnceValue(func() int { cancel(); return <-code })
	t.Cleanup(func() { stop() })
	want := 2
	for i, arg := range args {
		if arg == "--http" && args[i+1] == "" {
			want = 1
		}
	}
	return &process{addresses: readAddresses(t, out, want, log), log: log, stop: stop}
}

// startItself runs the test binary as a command that listens for gRPC and HTTP.
func startItself(t testing.TB, as string) (*process, *exec.Cmd) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	cmd.Env = append(os.Environ(), as+"=1")
	return startProcess(t, cmd, 2), cmd
}

// startGateway runs linepace-gateway as a process of its own.
func startGateway(t testing.TB, server string) *process {
	t.Helper()
	cmd := exec.Command(buildGateway(t), "--server", server, "--http", "127.0.0.1:0")
	return startProcess(t, cmd, 1)
}

func startProcess(t testing.TB, cmd *exec.Cmd, addresses int) *process {
	t.Helper()
	log := &buffer{}
	cmd.Stderr = log
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	stop := sync.OnceValue(func() int {
		_ = cmd.Process.Signal(os.Interrupt)
		_ = cmd.Wait()
		return cmd.ProcessState.ExitCode()
	})
	t.Cleanup(func() { stop() })
	return &process{addresses: readAddresses(t, out, addresses, log), log: log, stop: stop}
}

// readAddresses reads the lines that say where a command listens.
func readAddresses(t testing.TB, out io.Reader, n int, log *buffer) map[string]string {
	t.Helper()
	lines := bufio.NewScanner(out)
	addresses := map[string]string{}
	for len(addresses) < n && lines.Scan() {
		transport, address, ok := strings.Cut(lines.Text(), " ")
		require.True(t, ok, "%q", lines.Text())
		addresses[transport] = address
	}
	require.Len(t, addresses, n, "the command did not listen: %s", log)
	go io.Copy(io.Discard, out)
	return addresses
}

var gatewayBinary struct {
	sync.Once
	path string
	err  error
}

// buildGateway returns the path of the command linepace-gateway, built once.
func buildGateway(t testing.TB) string {
	t.Helper()
	b := &gatewayBinary
	b.Do(func() {
		folder, err := os.MkdirTemp("", "linepace")
		if err != nil {
			b.err = err
			return
		}
		b.path = filepath.Join(folder, "linepace-gateway")
		if out, err := exec.Command("go", "build", "-o", b.path, "linepace.example/gateway/cmd/linepace-gateway").CombinedOutput(); err != nil {
			b.err = fmt.Errorf("%w: %s", err, out)
		}
	})
	require.NoError(t, b.err)
	return b.path
}

func dial(t testing.TB, address string) *grpc.ClientConn {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallSendMsgSize(64<<20), grpc.MaxCallRecvMsgSize(64<<20)))
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	return conn
}

// buffer is a bytes.Buffer that may be written and read at the same time.
type buffer struct {
	mu   sync.Mutex
	data bytes.Buffer
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.data.Write(p)
}

func (b *buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.data.String()
}
