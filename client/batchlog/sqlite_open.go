package batchlog

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"syscall"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	_ "modernc.org/sqlite" // the driver "sqlite"
)

// applicationID marks the file as a batch log, in SQLite's header: "LPBL".
const applicationID = 0x4c50424c

const defaultWait = 5 * time.Second

// schema makes an empty log. The leaf stands last in its row, so that a query of
// the index does not read it.
//
// An append should write few pages beside the leaf, since each takes as long as all
// the statements together. So there is no index by drive or by product: few lines
// and products share a log, and most of its entries have what is asked for. One
// index finds a payload, whose digest implies that of its request, and the entries
// of a request; the other finds a batch, and for times it is read from end to end. The hashes stand with the entry whose leaf completes them,
// those of the subtrees of 1, 2, 4 ... leaves that end with it, one after the other.
const schema = `
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE head (id INTEGER PRIMARY KEY CHECK (id = 0), size INTEGER NOT NULL, root BLOB NOT NULL) STRICT;
CREATE TABLE entry (
	n INTEGER PRIMARY KEY,
	digest BLOB NOT NULL,
	request_digest BLOB NOT NULL,
	batch TEXT NOT NULL,
	recipe TEXT NOT NULL,
	product TEXT NOT NULL,
	equipment TEXT NOT NULL,
	requested_at TEXT NOT NULL,
	drives TEXT NOT NULL,
	hashes BLOB NOT NULL,
	leaf BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX entry_digest ON entry (request_digest, digest);
CREATE INDEX entry_batch ON entry (batch, requested_at);
CREATE TABLE checkpoint (size INTEGER NOT NULL, note BLOB NOT NULL, PRIMARY KEY (size, note)) STRICT, WITHOUT ROWID;
`

// openSQLite opens the log at path, or makes it.
func openSQLite(ctx context.Context, path string, options Options) (*sqlite, error) {
	if options.Wait == 0 {
		options.Wait = defaultWait
	}
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	s := &sqlite{path: absolute, shown: path, wait: options.Wait, readOnly: options.ReadOnly}
	if err := s.findFile(ctx, options); err != nil {
		return nil, err
	}
	if err := s.connect(ctx, options); err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

// findFile makes sure that there is a file, and one that can be used.
func (s *sqlite) findFile(ctx context.Context, options Options) error {
	info, err := os.Stat(s.path)
	if errors.Is(err, fs.ErrNotExist) && !s.readOnly {
		return s.create(ctx, options.Origin)
	}
	if errors.Is(err, fs.ErrPermission) {
		return &UnreadableError{Path: s.shown, Err: err}
	}
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() {
		return &NotALogError{Path: s.shown, Reason: "it is not a file"}
	}
	if info.Size() == 0 { // SQLite would take it for a data base without tables
		return &NotALogError{Path: s.shown, Reason: "it is empty"}
	}
	if s.readOnly {
		file, err := os.Open(s.path)
		if errors.Is(err, fs.ErrPermission) { // SQLite would not tell why
			return &UnreadableError{Path: s.shown, Err: err}
		}
		if err != nil {
			return err
		}
		return file.Close()
	}
	file, err := os.OpenFile(s.path, os.O_RDWR, 0)
	if err != nil { // SQLite would fall back to reading
		return &ReadOnlyError{Path: s.shown, Err: err}
	}
	return file.Close()
}

// create makes an empty log beside path and links it there whole, so that no
// half-made log is ever seen, and the first of two processes wins.
func (s *sqlite) create(ctx context.Context, origin string) error {
	folder, err := os.MkdirTemp(filepath.Dir(s.path), ".batchlog-")
	if err != nil {
		return s.explainCreate(err)
	}
	defer os.RemoveAll(folder)
	fresh := filepath.Join(folder, "log")
	if err := s.fill(ctx, fresh, origin); err != nil {
		return s.explain(err)
	}
	if err := os.Link(fresh, s.path); err != nil && !errors.Is(err, fs.ErrExist) {
		return s.explainCreate(err)
	}
	return syncFolder(filepath.Dir(s.path))
}

func (s *sqlite) explainCreate(err error) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return &ReadOnlyError{Path: s.shown, Err: err}
	case errors.Is(err, syscall.ENOSPC):
		return &FullError{Path: s.shown, Err: err}
	}
	return err
}

func (s *sqlite) fill(ctx context.Context, path, origin string) (err error) {
	if origin == "" {
		unique := make([]byte, 16)
		rand.Read(unique) // never fails
		origin = "linepace.example/batchlog/" + hex.EncodeToString(unique)
	}
	db, err := sql.Open("sqlite", dsn(path, "rwc", s.wait))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1)
	if _, err := db.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA journal_mode = WAL;", applicationID)); err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if _, err := tx.ExecContext(ctx, schema); err != nil {
		return err
	}
	empty, err := tlog.TreeHash(0, nil)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO head VALUES (0, 0, ?)", empty[:]); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO meta VALUES ('format', ?), ('origin', ?), ('created-by', ?)", FormatVersion, origin, build())
	if err != nil {
		return err
	}
	return tx.Commit()
}

// build names the program that creates a log.
func build() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "linepace"
	}
	return info.Main.Path + " " + info.Main.Version
}

// syncFolder makes a new name in a folder durable. Windows has no such call.
func syncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}

// dsn names a file to the driver. Checkpoints of the write-ahead log are left to
// fold, since otherwise every so many appends would have to do one.
func dsn(path, mode string, wait time.Duration) string {
	slashed := filepath.ToSlash(path)
	if slashed[0] != '/' { // C:/...
		slashed = "/" + slashed
	}
	query := url.Values{"mode": {mode}, "_pragma": {
		fmt.Sprintf("busy_timeout(%d)", wait.Milliseconds()),
		"synchronous(FULL)",
		"wal_autocheckpoint(0)",
	}}
	if mode == "immutable" {
		query.Set("mode", "ro")
		query.Set("immutable", "1")
	}
	return (&url.URL{Scheme: "file", Path: slashed, RawQuery: query.Encode()}).String()
}

// connect opens the file and learns whether it is a log.
func (s *sqlite) connect(ctx context.Context, options Options) error {
	mode := "rw"
	if s.readOnly {
		mode = "ro"
	}
	err := s.identify(ctx, mode)
	if s.readOnly && errors.As(err, new(*ReadOnlyError)) && s.folded() {
		// The folder takes no journal, and none is needed: the file is all there is.
		err = s.identify(ctx, "immutable")
	}
	if err != nil {
		return err
	}
	if options.Origin != "" && options.Origin != s.about.origin {
		return &OriginError{Path: s.shown, Found: s.about.origin, Meant: options.Origin}
	}
	if s.readOnly {
		return nil
	}
	return s.startWriting(ctx)
}

// folded tells that no write-ahead log stands beside the file.
func (s *sqlite) folded() bool {
	info, err := os.Stat(s.path + "-wal")
	return errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0
}

func (s *sqlite) identify(ctx context.Context, mode string) error {
	db, err := sql.Open("sqlite", dsn(s.path, mode, s.wait))
	if err != nil {
		return s.explain(err)
	}
	if s.about, err = s.readMeta(ctx, db); err != nil {
		return errors.Join(s.explain(err), db.Close())
	}
	s.db = db
	return nil
}

// readMeta reads what the log says of itself, and changes nothing in what may be
// somebody else's data base.
func (s *sqlite) readMeta(ctx context.Context, db *sql.DB) (meta, error) {
	var id int64
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return meta{}, err
	}
	if id != applicationID {
		return meta{}, &NotALogError{Path: s.shown, Reason: "it is another SQLite data base"}
	}
	values := map[string]string{}
	rows, err := db.QueryContext(ctx, "SELECT key, value FROM meta")
	if err != nil {
		return meta{}, err
	}
	defer rows.Close()
	for rows.Next() {
		var key, value string
		if err := rows.Scan(&key, &value); err != nil {
			return meta{}, err
		}
		values[key] = value
	}
	if err := rows.Err(); err != nil {
		return meta{}, err
	}
	if values["format"] != FormatVersion {
		return meta{}, &VersionError{Path: s.shown, Found: values["format"], Known: FormatVersion}
	}
	return meta{values["format"], values["origin"], values["created-by"]}, nil
}
