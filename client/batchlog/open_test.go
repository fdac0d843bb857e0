package batchlog

import (
	"context"
	"database/sql"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// edit runs SQL on a file, past the log.
func edit(tb testing.TB, path string, statements ...string) {
	tb.Helper()
	db, err := sql.Open("sqlite", dsn(path, "rwc", time.Second))
	require.NoError(tb, err)
	for _, s := range statements {
		_, err := db.Exec(s)
		require.NoError(tb, err, s)
	}
	require.NoError(tb, db.Close())
}

func TestOpenNotALog(t *testing.T) {
	for name, content := range map[string]string{
		"empty":     "",
		"text":      "batch 1: all well\n",
		"long text": strings.Repeat("batch 1: all well\n", 1000),
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "log")
			require.NoError(t, os.WriteFile(path, []byte(content), 0o644))
			refuses(t, path)
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, content, string(after))
		})
	}
	t.Run("folder", func(t *testing.T) { refuses(t, t.TempDir()) })
	t.Run("another data base", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "stock")
		edit(t, path, "CREATE TABLE meta (key TEXT, value TEXT)", "INSERT INTO meta VALUES ('format', '1')")
		before, err := os.ReadFile(path)
		require.NoError(t, err)
		refuses(t, path)
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, before, after, "somebody else's data base stays as it was")
	})
}

func refuses(t *testing.T, path string) {
	t.Helper()
	for _, readOnly := range []bool{false, true} {
		_, err := Open(context.Background(), path, Options{ReadOnly: readOnly})
		var not *NotALogError
		require.ErrorAs(t, err, &not)
		require.Equal(t, path, not.Path)
	}
}

func TestOpenVersion(t *testing.T) {
	path := filled(t, 3)
	edit(t, path, "UPDATE meta SET value = '2' WHERE key = 'format'")
	for _, readOnly := range []bool{false, true} {
		_, err := Open(context.Background(), path, Options{ReadOnly: readOnly})
		var version *VersionError
		require.ErrorAs(t, err, &version)
		require.Equal(t, VersionError{Path: path, Found: "2", Known: "1"}, *version)
	}
	edit(t, path, "UPDATE meta SET value = '1' WHERE key = 'format'")
	auditClean(t, path, 3)
}

func TestOpenOrigin(t *testing.T) {
	path := filled(t, 1)
	_, err := Open(context.Background(), path, Options{Origin: "works.example/line-2"})
	var other *OriginError
	require.ErrorAs(t, err, &other)
	require.Equal(t, OriginError{Path: path, Found: "works.example/line-1", Meant: "works.example/line-2"}, *other)

	require.Equal(t, "works.example/line-1", open(t, path, Options{Origin: "works.example/line-1"}).Origin())
	one, two := open(t, newPath(t), Options{}), open(t, newPath(t), Options{})
	require.NotEqual(t, one.Origin(), two.Origin(), "two logs have never the same origin by default")
}

func TestOpenReadOnly(t *testing.T) {
	missing := newPath(t)
	_, err := Open(context.Background(), missing, Options{ReadOnly: true})
	require.ErrorIs(t, err, fs.ErrNotExist)

	path := filled(t, 2)
	log := open(t, path, Options{ReadOnly: true})
	_, err = log.Append(context.Background(), sample(t, 2))
	var readOnly *ReadOnlyError
	require.ErrorAs(t, err, &readOnly)
	_, err = log.Checkpoint(context.Background(), nil)
	require.ErrorAs(t, err, &readOnly)
	require.NoError(t, log.Close())

	// What another handle is appending is seen.
	appender := open(t, path, Options{})
	appendSamples(t, appender, 2, 4)
	auditClean(t, path, 4)
	require.NoError(t, appender.Close())
	auditClean(t, path, 4)
}

// Of several that create a log at once, one does and all have it open.
func TestCreateAtOnce(t *testing.T) {
	path := newPath(t)
	logs := make([]*Log, 6)
	var wait sync.WaitGroup
	for i := range logs {
		wait.Go(func() {
			var err error
			logs[i], err = Open(context.Background(), path, Options{})
			if err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	for i, log := range logs {
		require.Equal(t, logs[0].Origin(), log.Origin())
		appendSamples(t, log, i, i+1)
	}
	for _, log := range logs {
		require.NoError(t, log.Close())
	}
	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, left, 1, "only the log itself stays")
	auditClean(t, path, int64(len(logs)))
}

func TestLocked(t *testing.T) {
	path := filled(t, 2)
	log := open(t, path, Options{Wait: 20 * time.Millisecond})
	db, err := sql.Open("sqlite", dsn(path, "rw", time.Second))
	require.NoError(t, err)
	defer db.Close()
	other, err := db.Conn(context.Background())
	require.NoError(t, err)
	_, err = other.ExecContext(context.Background(), "BEGIN IMMEDIATE")
	require.NoError(t, err)

	_, err = log.Append(context.Background(), sample(t, 2))
	var locked *LockedError
	require.ErrorAs(t, err, &locked)
	require.Equal(t, path, locked.Path)
	size, err := log.Size(context.Background())
	require.NoError(t, err, "who reads does not wait")
	require.Equal(t, int64(2), size)

	_, err = other.ExecContext(context.Background(), "ROLLBACK")
	require.NoError(t, err)
	appendSamples(t, log, 2, 3)
	require.NoError(t, log.Close())

	// Held so that nobody else may even read.
	_, err = other.ExecContext(context.Background(), "PRAGMA locking_mode = EXCLUSIVE; BEGIN IMMEDIATE; UPDATE head SET size = size; COMMIT")
	require.NoError(t, err)
	_, err = Open(context.Background(), path, Options{Wait: 20 * time.Millisecond})
	require.ErrorAs(t, err, &locked)
	require.NoError(t, other.Close())
	require.NoError(t, db.Close())
	auditClean(t, path, 3)
}

func TestFull(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	conn := log.store.(*sqlite).conn
	var pages, limit int64
	require.NoError(t, conn.QueryRowContext(context.Background(), "PRAGMA page_count").Scan(&pages))
	require.NoError(t, conn.QueryRowContext(context.Background(), "PRAGMA max_page_count = 40").Scan(&limit))
	require.Less(t, pages, limit)

	n, err := 0, error(nil)
	for ; err == nil && n < 1000; n++ {
		_, err = log.Append(context.Background(), sample(t, n))
	}
	n-- // the one that failed
	var full *FullError
	require.ErrorAs(t, err, &full)
	require.Equal(t, path, full.Path)
	require.Greater(t, n, 3)
	_, err = log.Append(context.Background(), tilePlan(t)(0))
	require.ErrorAs(t, err, &full, "it stays full, and the log stays usable")
	got, err := log.Append(context.Background(), sample(t, 1))
	require.NoError(t, err)
	require.Equal(t, Result{Index: 1, Duplicate: true}, got)
	auditClean(t, path, int64(n))

	require.NoError(t, conn.QueryRowContext(context.Background(), "PRAGMA max_page_count = 4000").Scan(&limit))
	appendSamples(t, log, n, n+20)
	require.NoError(t, log.Close())
	auditClean(t, path, int64(n+20))
}

// A head that the stored hashes deny takes no more records and is not signed.
func TestDamaged(t *testing.T) {
	path := filled(t, 5)
	edit(t, path, "UPDATE head SET root = zeroblob(32)")
	log := open(t, path, Options{})
	_, err := log.Append(context.Background(), sample(t, 5))
	var damaged *DamagedError
	require.ErrorAs(t, err, &damaged)
	require.Equal(t, path, damaged.Path)
	_, err = log.Checkpoint(context.Background(), nil)
	require.ErrorAs(t, err, &damaged)
	require.NoError(t, log.Close())
	require.Equal(t, []Kind{KindHead}, kinds(auditFile(t, path, AuditOptions{})))
}

// An index that cannot be read is told as damage, and the records stay readable.
func TestDamagedIndex(t *testing.T) {
	for _, change := range []string{"requested_at = 'today'", "drives = 'press'", "drives = '[1]'"} {
		path := filled(t, 2)
		edit(t, path, "UPDATE entry SET "+change+" WHERE n = 1")
		log := open(t, path, Options{ReadOnly: true})
		for _, f := range []Filter{{}, {Drive: "press"}, {Drive: "cutter", Batch: "batch-0"}} {
			var damaged *DamagedError
			for _, err := range log.Query(context.Background(), f) {
				if err != nil {
					require.ErrorAs(t, err, &damaged, change)
					require.Equal(t, path, damaged.Path)
				}
			}
		}
		_, err := log.Entry(context.Background(), 1)
		require.ErrorAs(t, err, new(*DamagedError), change)
		_, err = log.Get(context.Background(), 1)
		require.NoError(t, err)
		require.NoError(t, log.Close())
	}
}

// A copy that SQLite made has another journal, and is a log all the same.
func TestBackup(t *testing.T) {
	path := filled(t, 5)
	backup := filepath.Join(t.TempDir(), "backup")
	edit(t, path, "VACUUM INTO '"+backup+"'")
	auditClean(t, backup, 5)
	log := open(t, backup, Options{})
	appendSamples(t, log, 5, 7)
	require.NoError(t, log.Close())
	auditClean(t, backup, 7)
}
