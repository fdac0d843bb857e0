package batchlog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	driver "modernc.org/sqlite"
	code "modernc.org/sqlite/lib"
)

// sqlite keeps a log in a file of SQLite, in WAL mode and synchronous=FULL: a
// commit is on the disk when it returns, and readers do not wait for writers.
type sqlite struct {
	path     string // absolute
	shown    string // as the caller named it
	wait     time.Duration
	readOnly bool
	about    meta
	db       *sql.DB

	mu        sync.Mutex // of the one connection that writes, and all below
	conn      *sql.Conn
	statement map[string]*sql.Stmt

	folder folder
}

// What the writing connection does, prepared once.
const (
	sqlBegin    = "BEGIN IMMEDIATE"
	sqlCommit   = "COMMIT"
	sqlRollback = "ROLLBACK"
	sqlHead     = "SELECT size, root FROM head WHERE id = 0"
	sqlLookUp   = "SELECT n, (SELECT min(n) FROM entry WHERE request_digest = ?1) FROM entry WHERE request_digest = ?1 AND digest = ?2"
	sqlLeaf     = "SELECT leaf FROM entry WHERE n = ?"
	// One statement, since each takes about as long as a page does.
	sqlInsert = `INSERT INTO entry SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11 FROM head WHERE size = ?12 AND root = ?13
		ON CONFLICT (request_digest, digest) DO NOTHING
		RETURNING (SELECT min(n) FROM entry WHERE request_digest = ?3)`
	sqlSetHead    = "UPDATE head SET size = ?, root = ? WHERE id = 0"
	sqlCheckpoint = "INSERT OR IGNORE INTO checkpoint VALUES (?, ?)" // the same note again says nothing new
	sqlHashes     = "SELECT hashes FROM entry WHERE n = ?"
)

func (s *sqlite) meta() meta { return s.about }

// startWriting opens the connection that writes.
func (s *sqlite) startWriting(ctx context.Context) error {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return s.explain(err)
	}
	s.conn = conn
	var mode string // a backup made by SQLite itself has another
	if err := conn.QueryRowContext(ctx, "PRAGMA journal_mode = WAL").Scan(&mode); err != nil {
		return s.explain(err)
	}
	if mode != "wal" {
		return fmt.Errorf("%s: SQLite keeps its journal as %q, not as a write-ahead log", s.shown, mode)
	}
	s.statement = map[string]*sql.Stmt{}
	for _, text := range []string{
		sqlBegin, sqlCommit, sqlRollback, sqlHead, sqlLookUp, sqlLeaf, sqlInsert,
		sqlSetHead, sqlCheckpoint, sqlHashes,
	} {
		statement, err := conn.PrepareContext(ctx, text)
		if err != nil { // as with a damaged schema
			return s.explain(err)
		}
		s.statement[text] = statement
	}
	return s.startFolding(ctx)
}

func (s *sqlite) close() error {
	if s.db == nil {
		return nil
	}
	s.mu.Lock()
	conn := s.conn
	s.conn = nil // from here on nobody writes
	s.mu.Unlock()
	err := s.stopFolding()
	for _, statement := range s.statement {
		err = errors.Join(err, statement.Close())
	}
	if conn != nil {
		err = errors.Join(err, conn.Close())
	}
	return errors.Join(err, s.db.Close())
}

func (s *sqlite) update(f func(writer) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.readOnly:
		return &ReadOnlyError{Path: s.shown, Err: errors.New("the log was opened to read only")}
	case s.conn == nil:
		return ErrClosed
	}
	// No context here: a statement that is given up between BEGIN and COMMIT
	// would take the other records of the transaction with it.
	if _, err := s.statement[sqlBegin].Exec(); err != nil {
		return s.explain(err)
	}
	tx := &sqliteWriter{s: s}
	if err := f(tx); err != nil {
		s.rollback()
		return s.explain(err)
	}
	if _, err := s.statement[sqlCommit].Exec(); err != nil {
		s.rollback()
		return &OutcomeUnknownError{Err: s.explain(err)}
	}
	s.wrote(tx.bytes)
	return nil
}

// rollback ends a transaction that failed. Its own error says nothing: of a full
// disk, for one, SQLite has rolled back already.
func (s *sqlite) rollback() {
	_, _ = s.statement[sqlRollback].Exec()
}

// sqliteWriter is the transaction of the writing connection.
type sqliteWriter struct {
	s     *sqlite
	bytes int64 // about what was written
}

func (w *sqliteWriter) exec(text string, args ...any) error {
	_, err := w.s.statement[text].Exec(args...)
	return err
}

// lockHead needs no lock of its own: BEGIN IMMEDIATE has it.
func (w *sqliteWriter) lockHead() (head, error) {
	return scanHead(w.s.statement[sqlHead].QueryRow())
}

func scanHead(row *sql.Row) (head, error) {
	var h head
	var root []byte
	if err := row.Scan(&h.size, &root); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			return head{}, &DamagedError{Reason: "it has no head", Err: err}
		}
		return head{}, err
	}
	if len(root) != tlog.HashSize || h.size < 0 {
		return head{}, &DamagedError{Reason: fmt.Sprintf("its head has the size %d and a root of %d bytes", h.size, len(root))}
	}
	h.root = tlog.Hash(root)
	return h, nil
}

func (w *sqliteWriter) lookUp(digest, requestDigest []byte) (n, first int64, err error) {
	err = w.s.statement[sqlLookUp].QueryRow(requestDigest, digest).Scan(&n, &first)
	if errors.Is(err, sql.ErrNoRows) {
		err = &DamagedError{Reason: "its index has a payload that its entries have not", Err: err}
	}
	return n, first, err
}

func (w *sqliteWriter) leaf(n int64) (leaf []byte, err error) {
	err = w.s.statement[sqlLeaf].QueryRow(n).Scan(&leaf)
	return leaf, err
}

func (w *sqliteWriter) insert(at head, n int64, r *row, hashes []tlog.Hash) (first int64, done bool, err error) {
	err = w.s.statement[sqlInsert].QueryRow(n, r.digest[:], r.requestDigest[:], r.batch, r.recipe, r.product, r.equipment,
		r.requestedAt, r.drives, joined(hashes), r.leaf, at.size, at.root[:]).Scan(&first)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, false, nil
	}
	w.bytes += int64(len(r.leaf))
	return first, err == nil, err
}

func joined(hashes []tlog.Hash) []byte {
	out := make([]byte, 0, len(hashes)*tlog.HashSize)
	for i := range hashes {
		out = append(out, hashes[i][:]...)
	}
	return out
}

func (w *sqliteWriter) setHead(h head) error {
	return w.exec(sqlSetHead, h.size, h.root[:])
}

func (w *sqliteWriter) putCheckpoint(size int64, note []byte) error {
	return w.exec(sqlCheckpoint, size, note)
}

func (w *sqliteWriter) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	return readHashes(indexes, func(n int64) *sql.Row { return w.s.statement[sqlHashes].QueryRow(n) })
}

// readHashes reads the hashes of subtrees, each from the entry that completes it.
func readHashes(indexes []int64, entry func(n int64) *sql.Row) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		level, k := tlog.SplitStoredHashIndex(index)
		end := (level + 1) * tlog.HashSize
		var hashes []byte
		err := entry((k+1)<<level - 1).Scan(&hashes)
		if errors.Is(err, sql.ErrNoRows) || err == nil && len(hashes) < end {
			return nil, &DamagedError{Reason: fmt.Sprintf("the stored hash %d is missing or cut", index), Err: err}
		}
		if err != nil {
			return nil, err
		}
		out[i] = tlog.Hash(hashes[end-tlog.HashSize : end])
	}
	return out, nil
}

// explain makes one of this package's errors of what the driver says, and adds
// the path to an error of the tree, which knows none.
func (s *sqlite) explain(err error) error {
	var damaged *DamagedError
	if errors.As(err, &damaged) && damaged.Path == "" {
		return &DamagedError{Path: s.shown, Reason: damaged.Reason, Err: damaged.Err}
	}
	var failed *driver.Error
	if err == nil || !errors.As(err, &failed) {
		return err
	}
	if failed.Code() == code.SQLITE_IOERR_SHMSIZE { // the one that is not told as SQLITE_FULL
		return &FullError{Path: s.shown, Err: err}
	}
	switch failed.Code() & 0xff { // the low byte is the kind, the rest the circumstance
	case code.SQLITE_BUSY, code.SQLITE_LOCKED:
		return &LockedError{Path: s.shown, Waited: s.wait, Err: err}
	case code.SQLITE_READONLY, code.SQLITE_PERM, code.SQLITE_CANTOPEN:
		return &ReadOnlyError{Path: s.shown, Err: err}
	case code.SQLITE_FULL:
		return &FullError{Path: s.shown, Err: err}
	case code.SQLITE_NOTADB:
		return &NotALogError{Path: s.shown, Reason: "it is no SQLite data base"}
	case code.SQLITE_CORRUPT, code.SQLITE_CONSTRAINT, code.SQLITE_MISMATCH:
		return &DamagedError{Path: s.shown, Reason: err.Error(), Err: err}
	}
	for _, text := range []string{"no such table", "no such column", "malformed JSON"} {
		if strings.Contains(failed.Error(), text) {
			return &DamagedError{Path: s.shown, Reason: err.Error(), Err: err}
		}
	}
	return &FailedError{Path: s.shown, Err: err}
}

// view runs f on a snapshot.
func (s *sqlite) view(ctx context.Context, f func(reader) error) error {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return s.explain(s.closed(err))
	}
	defer tx.Rollback()
	return s.explain(f(&sqliteReader{ctx: ctx, tx: tx, shown: s.shown}))
}

// closed tells a log that was closed from one that fails.
func (s *sqlite) closed(err error) error {
	if err.Error() == "sql: database is closed" { // database/sql does not export it
		return ErrClosed
	}
	return err
}
