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
	if s.n%512 < int64(len(leaves)) { // half as often as the log folds its own
		_, err = s.conn.ExecContext(context.Background(), "PRAGMA wal_checkpoint(PASSIVE)")
		require.NoError(b, err)
	}
}

// commits inserts leaves, so many a transaction, and returns how long it took.
func (s *bare) commits(b *testing.B, leaves [][]byte, group int) time.Duration {
	start := time.Now()
	for i := 0; i < len(leaves); i += group {
		s.commit(b, leaves[i:i+group])
	}
	return time.Since(start)
}

// BenchmarkAppend runs the log and the bare insert by turns, each turn on the same
// records, with one appender and with eight that wait. It reports the throughput
// of the log as a ratio to bare inserts of a transaction each, and with eight also
// to bare transactions of eight inserts, which have no record to read and nobody to
// tell.
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
	single, grouped := newBare(b), newBare(b)
	next := tilePlan(b)
	var ours, each, together time.Duration
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
		each += single.commits(b, leaves, 1)
		if appenders > 1 {
			together += grouped.commits(b, leaves, appenders)
		}
	}
	b.ReportMetric(float64(bytes), "B/leaf")
	b.ReportMetric(float64(done)/ours.Seconds(), "records/s")
	b.ReportMetric(float64(done)/each.Seconds(), "bare/s")
	b.ReportMetric(each.Seconds()/ours.Seconds(), "ratio")
	if appenders > 1 {
		b.ReportMetric(float64(done)/together.Seconds(), "bare-grouped/s")
		b.ReportMetric(together.Seconds()/ours.Seconds(), "ratio-grouped")
	}
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
