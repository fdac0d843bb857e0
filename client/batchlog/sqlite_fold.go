package batchlog

import (
	"context"
	"database/sql"
	"errors"
)

// The write-ahead log is folded into the file after about foldAfter bytes, beside
// the appends. It starts again from its beginning only when all of it is folded,
// which never happens by itself while appends go on without a pause; and as long as it
// grows, each commit has to make its new length durable too. So the last few
// pages are folded while an append waits.
const (
	foldAfter = 8 << 20
	// transactionBytes is what a transaction writes beside the leaves, about.
	transactionBytes = 24 << 10
)

// folder folds the write-ahead log on a connection and a goroutine of its own.
type folder struct {
	conn    *sql.Conn
	written int64 // since the last signal
	due     chan struct{}
	stopped chan struct{}
}

func (s *sqlite) startFolding(ctx context.Context) error {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return s.explain(err)
	}
	// It never waits for a lock: the next time is soon enough.
	if _, err := conn.ExecContext(ctx, "PRAGMA busy_timeout = 0"); err != nil {
		return errors.Join(s.explain(err), conn.Close())
	}
	s.folder = folder{conn: conn, due: make(chan struct{}, 1), stopped: make(chan struct{})}
	go s.fold()
	return nil
}

// stopFolding is called when nobody writes any more.
func (s *sqlite) stopFolding() error {
	if s.folder.conn == nil {
		return nil
	}
	close(s.folder.due)
	<-s.folder.stopped
	return s.folder.conn.Close()
}

// wrote counts what a transaction wrote. It is called under the lock.
func (s *sqlite) wrote(bytes int64) {
	s.folder.written += bytes + transactionBytes
	if s.folder.written < foldAfter {
		return
	}
	s.folder.written = 0
	select {
	case s.folder.due <- struct{}{}:
	default:
	}
}

// fold does not report errors: what is not folded now is folded later, and
// nothing is lost before. An append, or closing, meets the same disk. A reader of
// an older snapshot keeps the pages after it from being folded, and nobody waits
// for it.
func (s *sqlite) fold() {
	defer close(s.folder.stopped)
	for range s.folder.due {
		_, _ = s.foldNow("PASSIVE")
		_, _ = s.foldNow("PASSIVE") // what came meanwhile
		s.mu.Lock()
		_, _ = s.foldNow("RESTART") // what came since, which is little
		s.mu.Unlock()
	}
}

// foldNow returns the length of the write-ahead log in pages.
func (s *sqlite) foldNow(how string) (pages int64, err error) {
	var busy, folded int64
	err = s.folder.conn.QueryRowContext(context.Background(), "PRAGMA wal_checkpoint("+how+")").Scan(&busy, &pages, &folded)
	return pages, err
}
