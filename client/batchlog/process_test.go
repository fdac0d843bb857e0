//go:build unix

package batchlog

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The test binary runs itself as another process, which does what this variable says.
const childVariable = "BATCHLOG_TEST_CHILD"

func TestMain(m *testing.M) {
	switch os.Getenv(childVariable) {
	case "append":
		childAppends(os.Args[1], os.Args[2])
	case "read-only":
		childReads(os.Args[1])
	case "unreadable":
		childMayNotRead(os.Args[1])
	case "limited":
		childWithoutRoom(os.Args[1])
	default:
		// Each step of TestModel waits for the disk. The flag itself overrules this.
		if err := flag.Set("rapid.checks", "25"); err != nil {
			panic(err)
		}
		os.Exit(m.Run())
	}
}

func child(t *testing.T, what string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self, args...)
	cmd.Env = append(os.Environ(), childVariable+"="+what)
	cmd.Stderr = os.Stderr
	return cmd
}

// childAppends appends records from a number on, with four goroutines and at most
// 100,000, and writes "number index" for each that was acknowledged.
func childAppends(path, from string) {
	first, err := strconv.Atoi(from)
	fail(err)
	log, err := Open(context.Background(), path, Options{})
	fail(err)
	var tb failing
	var wait sync.WaitGroup
	for g := range 4 {
		wait.Go(func() {
			for i := first + g; i < first+100_000; i += 4 {
				result, err := log.Append(context.Background(), sample(tb, i))
				fail(err)
				fmt.Printf("%d %d\n", i, result.Index)
			}
		})
	}
	wait.Wait()
}

// failing stands in for a test in another process.
type failing struct{ testing.TB }

func (failing) Helper() {}
func (failing) Errorf(format string, args ...any) {
	fail(fmt.Errorf(format, args...))
}
func (failing) FailNow() { os.Exit(3) }

func fail(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, "child:", err)
		os.Exit(3)
	}
}

// Processes that are killed in the middle of appending, two at a time on one log,
// lose nothing that they were told is kept.
func TestKill(t *testing.T) {
	const rounds, acknowledged = 6, 60
	path := newPath(t)
	kept := map[int]int64{} // record to index
	for round := range rounds {
		var wait sync.WaitGroup
		var mu sync.Mutex
		for c := range 2 {
			wait.Go(func() {
				lines := runAndKill(t, path, (2*round+c)*1_000_000, acknowledged)
				mu.Lock()
				defer mu.Unlock()
				for i, n := range lines {
					kept[i] = n
				}
			})
		}
		wait.Wait()
		log := open(t, path, Options{})
		size, err := log.Size(context.Background())
		require.NoError(t, err)
		require.GreaterOrEqual(t, size, int64(len(kept)))
		for i, n := range kept {
			got, err := log.Append(context.Background(), sample(t, i))
			require.NoError(t, err)
			require.Equal(t, Result{Index: n, Duplicate: true}, got, "record %d", i)
		}
		require.NoError(t, log.Close())
		auditClean(t, path, size)
	}
	require.GreaterOrEqual(t, len(kept), 2*rounds*acknowledged)
}

// runAndKill returns what a child was told is kept, as far as it could tell.
func runAndKill(t *testing.T, path string, from, after int) map[int]int64 {
	cmd := child(t, "append", path, strconv.Itoa(from))
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	lines := map[int]int64{}
	for scanner := bufio.NewScanner(out); scanner.Scan(); {
		var i int
		var n int64
		if _, err := fmt.Sscanf(scanner.Text()+"\n", "%d %d\n", &i, &n); err != nil {
			continue // cut off by the kill
		}
		lines[i] = n
		if len(lines) == after {
			require.NoError(t, cmd.Process.Kill())
		}
	}
	err = cmd.Wait()
	var exit *exec.ExitError
	require.True(t, errors.As(err, &exit) && exit.Sys().(syscall.WaitStatus).Signal() == syscall.SIGKILL, "ended by %v", err)
	return lines
}

// becomeNobody gives up the rights of root, where the test runs as root.
func becomeNobody() {
	if os.Geteuid() == 0 {
		fail(syscall.Setgid(65534))
		fail(syscall.Setuid(65534))
	}
}

// childMayNotRead has no right to read the log, nor to look into a folder.
func childMayNotRead(path string) {
	becomeNobody()
	for _, readOnly := range []bool{true, false} {
		_, err := Open(context.Background(), path, Options{ReadOnly: readOnly, Wait: time.Second})
		fmt.Printf("%T ", err)
	}
	_, err := Open(context.Background(), filepath.Join(filepath.Dir(path), "closed", "log"), Options{ReadOnly: true})
	fmt.Printf("%T\n", err)
}

// A log that may not be read says so.
func TestUnreadableFile(t *testing.T) {
	path := filled(t, 3)
	openFolders(t, path)
	require.NoError(t, os.Mkdir(filepath.Join(filepath.Dir(path), "closed"), 0o000))
	require.NoError(t, os.Chmod(path, 0o000))
	out, err := child(t, "unreadable", path).Output()
	require.NoError(t, err)
	require.Equal(t, "*batchlog.UnreadableError *batchlog.ReadOnlyError *batchlog.UnreadableError\n", string(out))
	require.NoError(t, os.Chmod(path, 0o644))
	auditClean(t, path, 3)
}

// childWithoutRoom appends records until no file may grow any further, and prints
// how many were acknowledged.
func childWithoutRoom(path string) {
	log, err := Open(context.Background(), path, Options{})
	fail(err)
	limit := uint64(256 << 10)
	fail(syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: limit, Max: limit}))
	next := tilePlan(failing{})
	n := 0
	for ; err == nil && n < 1000; n++ {
		_, err = log.Append(context.Background(), next(n))
	}
	var unknown *OutcomeUnknownError
	var failed *FailedError
	if !errors.As(err, &unknown) || !errors.As(err, &failed) || failed.Path != path {
		fail(fmt.Errorf("appending without room: %v", err))
	}
	if _, err = log.Append(context.Background(), next(0)); err != nil {
		fail(fmt.Errorf("what is there is found: %v", err))
	}
	fmt.Println(n - 1)
}

// Where the system refuses to write on, what was acknowledged is kept, and the log
// goes on as soon as there is room.
func TestNoRoom(t *testing.T) {
	path := newPath(t)
	out, err := child(t, "limited", path).Output()
	require.NoError(t, err)
	n, err := strconv.Atoi(strings.TrimSpace(string(out)))
	require.NoError(t, err)
	require.Greater(t, n, 3)
	auditClean(t, path, int64(n))
	log := open(t, path, Options{})
	next := tilePlan(t)
	for i := range n + 3 {
		got, err := log.Append(context.Background(), next(i))
		require.NoError(t, err)
		require.Equal(t, Result{Index: int64(i), Duplicate: i < n}, got)
	}
	require.NoError(t, log.Close())
	auditClean(t, path, int64(n+3))
}

// openFolders lets others look into the folders of a test's file.
func openFolders(t *testing.T, path string) {
	t.Helper()
	for folder := filepath.Dir(path); strings.HasPrefix(folder, os.TempDir()) && folder != filepath.Clean(os.TempDir()); folder = filepath.Dir(folder) {
		require.NoError(t, os.Chmod(folder, 0o755))
	}
}

// childReads has no right to write, even where the test runs as root.
func childReads(path string) {
	becomeNobody()
	_, err := Open(context.Background(), path, Options{Wait: time.Second})
	var readOnly *ReadOnlyError
	if !errors.As(err, &readOnly) {
		fail(fmt.Errorf("opening to append: %v", err))
	}
	log, err := Open(context.Background(), path, Options{ReadOnly: true, Wait: time.Second})
	fail(err)
	report, err := Audit(context.Background(), log, AuditOptions{})
	fail(err)
	fail(log.Close())
	_, err = Open(context.Background(), path+"-new", Options{})
	if !errors.As(err, &readOnly) {
		fail(fmt.Errorf("creating: %v", err))
	}
	fmt.Println(report.Entries, len(report.Findings))
}

// A log that may not be written is read and audited, where nothing may be written
// beside it either.
func TestReadOnlyFile(t *testing.T) {
	for _, c := range []struct {
		name         string
		file, folder os.FileMode
	}{
		{"file and folder", 0o444, 0o555},
		{"folder", 0o666, 0o555},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filled(t, 7)
			openFolders(t, path)
			require.NoError(t, os.Chmod(path, c.file))
			require.NoError(t, os.Chmod(filepath.Dir(path), c.folder))
			t.Cleanup(func() { require.NoError(t, os.Chmod(filepath.Dir(path), 0o755)) })
			out, err := child(t, "read-only", path).Output()
			require.NoError(t, err)
			require.Equal(t, "7 0\n", string(out))
			require.NoError(t, os.Chmod(filepath.Dir(path), 0o755))
			require.NoError(t, os.Chmod(path, 0o644))
			auditClean(t, path, 7)
		})
	}
}
