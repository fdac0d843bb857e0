package batchlog

import (
	"context"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// sqliteReader reads a snapshot.
type sqliteReader struct {
	ctx   context.Context
	tx    *sql.Tx
	shown string
}

func (r *sqliteReader) head() (head, error) {
	return scanHead(r.tx.QueryRowContext(r.ctx, sqlHead))
}

func (r *sqliteReader) leaf(n int64) (leaf []byte, found bool, err error) {
	err = r.tx.QueryRowContext(r.ctx, sqlLeaf, n).Scan(&leaf)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	return leaf, err == nil, err
}

func (r *sqliteReader) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	return readHashes(indexes, func(n int64) *sql.Row { return r.tx.QueryRowContext(r.ctx, sqlHashes, n) })
}

func (r *sqliteReader) find(f Filter) iter.Seq2[Entry, error] {
	text, args := f.sql()
	return each(r, func(rows *sql.Rows) (e Entry, err error) {
		var digest, request, drives []byte
		var at string
		err = rows.Scan(&e.Index, &digest, &request, &e.Batch, &e.Recipe, &e.Product, &e.Equipment, &at, &drives, &e.ReplanOf)
		if err != nil {
			return e, err
		}
		e.Digest, e.RequestDigest = hex.EncodeToString(digest), hex.EncodeToString(request)
		if err := json.Unmarshal(drives, &e.Drives); err != nil {
			return e, &DamagedError{Path: r.shown, Reason: fmt.Sprintf("entry %d has the drives %.200q", e.Index, drives), Err: err}
		}
		if e.RequestedAt, err = time.Parse(timeLayout, at); err != nil {
			return e, &DamagedError{Path: r.shown, Reason: fmt.Sprintf("entry %d has the time %q", e.Index, at), Err: err}
		}
		return e, nil
	}, text, args...)
}

func (f Filter) sql() (text string, args []any) {
	where := []string{"true"}
	add := func(condition string, arg any) {
		where = append(where, condition)
		args = append(args, arg)
	}
	for _, c := range []struct{ condition, value string }{
		{"batch = ?", f.Batch},
		{"recipe = ?", f.Recipe},
		{"product = ?", f.Product},
		{"equipment = ?", f.Equipment},
		{"EXISTS (SELECT 1 FROM json_each(e.drives) WHERE value = ?)", f.Drive},
	} {
		if c.value != "" {
			add(c.condition, c.value)
		}
	}
	switch {
	case f.From.IsZero() && f.To.IsZero():
	case f.To.IsZero():
		add(requestedIn("requested_at >= ?"), formatTime(f.From))
	case f.From.IsZero():
		add(requestedIn("requested_at < ?"), formatTime(f.To))
	default:
		add(requestedIn("requested_at >= ? AND requested_at < ?"), formatTime(f.From))
		args = append(args, formatTime(f.To))
	}
	if f.index != nil {
		add("n = ?", *f.index)
	}
	text = `SELECT n, digest, request_digest, batch, recipe, product, equipment, requested_at, drives,
		(SELECT min(n) FROM entry AS first WHERE first.request_digest = e.request_digest AND first.n < e.n)
		FROM entry AS e WHERE ` + strings.Join(where, " AND ") + " ORDER BY n"
	if f.Limit > 0 {
		text += " LIMIT ?"
		args = append(args, f.Limit)
	}
	return text, args
}

// requestedIn has the times looked up in the index by batch, which has them too and
// is much smaller than the table.
func requestedIn(times string) string { return "n IN (SELECT n FROM entry WHERE " + times + ")" }

func (r *sqliteReader) rows() iter.Seq2[storedRow, error] {
	return each(r, func(rows *sql.Rows) (e storedRow, err error) {
		err = rows.Scan(&e.n, &e.digest, &e.requestDigest, &e.batch, &e.recipe, &e.product, &e.equipment, &e.requestedAt, &e.drives, &e.hashes, &e.leaf)
		return e, err
	}, `SELECT n, digest, request_digest, batch, recipe, product, equipment, requested_at, drives, hashes, leaf
		FROM entry ORDER BY n`)
}

func (r *sqliteReader) checkpoints() iter.Seq2[storedCheckpoint, error] {
	return each(r, func(rows *sql.Rows) (c storedCheckpoint, err error) {
		err = rows.Scan(&c.size, &c.note)
		return c, err
	}, "SELECT size, note FROM checkpoint ORDER BY size, note")
}

func (r *sqliteReader) replans() (n int64, err error) {
	err = r.tx.QueryRowContext(r.ctx, "SELECT count(*) - count(DISTINCT request_digest) FROM entry").Scan(&n)
	return n, err
}

// faults compares the tables with those of a new log and has SQLite compare
// every index with its table.
func (r *sqliteReader) faults() iter.Seq2[string, error] {
	text := func(rows *sql.Rows) (s string, err error) {
		err = rows.Scan(&s)
		return s, err
	}
	return func(yield func(string, error) bool) {
		var found []string
		// SQLite finds a table by its name, whatever its text says.
		for s, err := range each(r, text, "SELECT iif(instr(sql, ' ' || name || ' ') > 0 AND instr(sql, ' ' || tbl_name || ' ') > 0, sql, name || ' of ' || tbl_name || ': ' || sql) FROM sqlite_schema WHERE sql IS NOT NULL") {
			if err != nil {
				yield("", err)
				return
			}
			found = append(found, s)
		}
		for _, fault := range schemaFaults(found) {
			if !yield(fault, nil) {
				return
			}
		}
		for s, err := range each(r, text, "PRAGMA integrity_check") {
			if err == nil && s == "ok" {
				return
			}
			if !yield(s, err) || err != nil {
				return
			}
		}
	}
}

// schemaFaults compares in any order, since a backup has another.
func schemaFaults(found []string) (faults []string) {
	want := strings.Split(strings.TrimSpace(strings.TrimSuffix(schema, ";\n")), ";\n")
	for _, s := range found {
		if !slices.Contains(want, s) {
			faults = append(faults, "not of a log: "+s)
		}
	}
	for _, s := range want {
		if !slices.Contains(found, s) {
			faults = append(faults, "lacking: "+s)
		}
	}
	return faults
}

// each yields the rows of a query, and an error last where it fails.
func each[T any](r *sqliteReader, scan func(*sql.Rows) (T, error), text string, args ...any) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var none T
		rows, err := r.tx.QueryContext(r.ctx, text, args...)
		if err != nil {
			yield(none, err)
			return
		}
		defer rows.Close()
		for rows.Next() {
			item, err := scan(rows)
			if err != nil {
				yield(none, err)
				return
			}
			if !yield(item, nil) {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(none, err)
		}
	}
}
