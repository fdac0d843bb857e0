package batchlog

import (
	"context"
	"database/sql"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// bare inserts leaves into a table with nothing else, as durably as the log does.
type bare struct {
	conn   *sql.Conn
	insert *sql.Stmt
	n      int64
}

func newBare(b *testing.B) *bare {
	db, err := sql.Open("sqlite", dsn(filepath.Join(b.TempDir(), "bare"), "rwc", defaultWait))
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, db.Close()) })
	conn, err := db.Conn(context.Background())
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, conn.Close()) })
	_, err = conn.ExecContext(context.Background(), "PRAGMA journal_mode = WAL; CREATE TABLE entry (n INTEGER PRIMARY KEY, leaf BLOB NOT NULL) STRICT")
	require.NoError(b, err)
	insert, err := conn.PrepareContext(context.Background(), "INSERT INTO entry VALUES (?, ?)")
	require.NoError(b, err)
	return &bare{conn: conn, insert: insert}
}

// commit inserts leaves in one transaction.
func (s *bare) commit(b *testing.B, leaves [][]byte) {
	_, err := s.conn.ExecContext(context.Background(), "BEGIN IMMEDIATE")
	require.NoError(b, err)
	for _, leaf := range leaves {
		_, err = s.insert.Exec(s.n, leaf)
		require.NoError(b, err)
		s.n++
	}
	_, err = s.conn.ExecContext(context.Background(), "COMMIT")
	require.NoError(b, err)
	if s.n%512 < int64(len(leaves)) { // as often as the log folds its own
		_, err = s.conn.ExecContext(context.Background(), "PRAGMA wal_checkpoint(PASSIVE)")
		require.NoError(b, err)
	}
}

// BenchmarkAppend runs the log and the bare insert by turns, each turn on the same
// records, and reports the throughput of the log as a ratio to the bare insert's:
// with one appender; and with eight, against bare transactions of eight.
func BenchmarkAppend(b *testing.B) {
	for _, c := range []struct {
		name      string
		appenders int
	}{{"one", 1}, {"eight", 8}} {
		b.Run(c.name, func(b *testing.B) { compareAppend(b, c.appenders) })
	}
}

func compareAppend(b *testing.B, appenders int) {
	const turn = 256
	log := open(b, filepath.Join(b.TempDir(), "log"), Options{})
	other := newBare(b)
	next := tilePlan(b)
	var ours, theirs time.Duration
	var bytes int
	done := 0
	for b.Loop() {
		records := make([]*linepacev1.Record, turn)
		leaves := make([][]byte, turn)
		for i := range records {
			records[i] = next(done)
			row, err := rowOf(records[i])
			require.NoError(b, err)
			leaves[i] = row.leaf
			bytes = len(row.leaf)
			done++
		}
		start := time.Now()
		appendAll(b, log, records, appenders)
		ours += time.Since(start)
		start = time.Now()
		for i := 0; i < turn; i += appenders {
			other.commit(b, leaves[i:i+appenders])
		}
		theirs += time.Since(start)
	}
	b.ReportMetric(float64(bytes), "B/leaf")
	b.ReportMetric(float64(done)/ours.Seconds(), "records/s")
	b.ReportMetric(float64(done)/theirs.Seconds(), "bare/s")
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "ratio")
}

func appendAll(b *testing.B, log *Log, records []*linepacev1.Record, appenders int) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range appenders {
		wait.Go(func() {
			for i := next.Add(1) - 1; int(i) < len(records); i = next.Add(1) - 1 {
				if _, err := log.Append(context.Background(), records[i]); err != nil {
					b.Error(err)
				}
			}
		})
	}
	wait.Wait()
}

// BenchmarkTree is what an audit does for a leaf beside reading and judging it.
func BenchmarkTree(b *testing.B) {
	row, err := rowOf(tilePlan(b)(0))
	require.NoError(b, err)
	tree := &edge{}
	for b.Loop() {
		if _, err := tree.add(tlog.RecordHash(row.leaf)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "records/s")
}

// BenchmarkAudit audits a log of 4096 records without and with signatures.
func BenchmarkAudit(b *testing.B) {
	path := filepath.Join(b.TempDir(), "log")
	log := open(b, path, Options{})
	next := tilePlan(b)
	records := make([]*linepacev1.Record, 4096)
	for i := range records {
		records[i] = next(i)
	}
	appendAll(b, log, records, 64)
	for _, c := range []struct {
		name    string
		options AuditOptions
	}{{"unsigned", AuditOptions{}}, {"signatures", AuditOptions{Keys: testKeys(b)}}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				report, err := Audit(context.Background(), log, c.options)
				require.NoError(b, err)
				require.Empty(b, report.Findings)
			}
			b.ReportMetric(float64(b.N*len(records))/b.Elapsed().Seconds(), "records/s")
		})
	}
}

// BenchmarkDerive is what an append and an audit do with a payload.
func BenchmarkDerive(b *testing.B) {
	r := tilePlan(b)(0)
	for b.Loop() {
		if _, err := rowOf(r); err != nil {
			b.Fatal(err)
		}
	}
}
