package batchlog

import (
	"context"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// FormatVersion is the version of the log's format that this package reads and writes.
const FormatVersion = "1"

// Options say how a log is opened. The zero value opens a log to append to, and
// creates it where there is none.
type Options struct {
	// ReadOnly opens a log that exists, for queries and audits. Nothing is
	// written, not even beside the file where its folder cannot be written.
	ReadOnly bool
	// Origin names the log in its checkpoints: a URL without scheme, unique to
	// the log, such as "works.example/line-2". A new log without one takes a
	// random one. A log that exists must have this origin, where one is given.
	Origin string
	// Wait is how long a call waits for another process that is writing.
	// 0 is five seconds.
	Wait time.Duration
}

// Log is an open batch log. Its methods may be called concurrently, and several
// processes of one machine may have the same log open. Close it.
type Log struct {
	path  string
	store storage

	turn    chan struct{} // holds one while an append is writing
	queue   chan *waiting // to the one that is writing
	closing chan struct{}
	once    sync.Once

	edge *edge // of the tree after the last append, or nil; belongs to whose turn it is
}

// Open opens the log in the file at path, or creates it. Errors: *NotALogError,
// *VersionError, *OriginError, *LockedError, *ReadOnlyError, *UnreadableError,
// *FullError, *FailedError, *DamagedError, and fs.ErrNotExist for a log to read only
// that is not there.
func Open(ctx context.Context, path string, options Options) (*Log, error) {
	store, err := openSQLite(ctx, path, options)
	if err != nil {
		return nil, err
	}
	return &Log{
		path:    path,
		store:   store,
		turn:    make(chan struct{}, 1),
		queue:   make(chan *waiting),
		closing: make(chan struct{}),
	}, nil
}

// Close lets a running append finish and closes the file.
func (l *Log) Close() error {
	err := ErrClosed
	l.once.Do(func() {
		close(l.closing)
		l.turn <- struct{}{} // for good
		err = l.store.close()
	})
	return err
}

// Origin returns the name of the log in its checkpoints.
func (l *Log) Origin() string {
	return l.store.meta().origin
}

// Size returns the number of entries.
func (l *Log) Size(ctx context.Context) (int64, error) {
	var size int64
	err := l.store.view(ctx, func(r reader) error {
		h, err := r.head()
		size = h.size
		return err
	})
	return size, err
}

// Get returns the record of entry n, counted from 0. Errors: *NoEntryError.
func (l *Log) Get(ctx context.Context, n int64) (*linepacev1.Record, error) {
	var kept *linepacev1.Record
	err := l.store.view(ctx, func(r reader) error {
		leaf, found, err := r.leaf(n)
		if err != nil {
			return err
		}
		if !found {
			h, err := r.head()
			if err != nil {
				return err
			}
			return &NoEntryError{Index: n, Size: h.size}
		}
		kept, err = l.recordOf(leaf)
		return err
	})
	return kept, err
}

func (l *Log) recordOf(leaf []byte) (*linepacev1.Record, error) {
	jws, payload, err := record.SplitLeaf(leaf)
	if err != nil {
		return nil, &DamagedError{Path: l.path, Reason: err.Error(), Err: err}
	}
	return newRecord(jws, payload), nil
}

// newRecord is the record that a leaf holds.
func newRecord(jws string, payload []byte) *linepacev1.Record {
	r := &linepacev1.Record{Payload: payload, Digest: record.Digest(payload)}
	if jws != "" {
		r.Jws = &jws
	}
	return r
}

// InclusionProof returns the Merkle audit path of RFC 6962, section 2.1.1, of
// entry n in the tree of the first size entries, and the hash of that tree.
// Errors: *NoEntryError.
func (l *Log) InclusionProof(ctx context.Context, n, size int64) (proof tlog.RecordProof, root tlog.Hash, err error) {
	err = l.store.view(ctx, func(r reader) error {
		h, err := r.head()
		if err != nil {
			return err
		}
		if size < 1 || size > h.size {
			return &NoEntryError{Index: size, Size: h.size}
		}
		if n < 0 || n >= size {
			return &NoEntryError{Index: n, Size: size}
		}
		if proof, err = tlog.ProveRecord(size, n, r); err != nil {
			return err
		}
		root, err = tlog.TreeHash(size, r)
		return err
	})
	return proof, root, err
}

// ConsistencyProof returns the proof of RFC 6962, section 2.1.2, that the tree of
// the first size entries begins with the tree of the first earlier ones. It is
// empty where earlier is 0. Errors: *NoEntryError.
func (l *Log) ConsistencyProof(ctx context.Context, earlier, size int64) (proof tlog.TreeProof, err error) {
	err = l.store.view(ctx, func(r reader) error {
		h, err := r.head()
		if err != nil {
			return err
		}
		if size < 0 || size > h.size {
			return &NoEntryError{Index: size, Size: h.size}
		}
		if earlier < 0 || earlier > size {
			return &NoEntryError{Index: earlier, Size: size}
		}
		if earlier == 0 { // every tree begins with the empty one
			return nil
		}
		proof, err = tlog.ProveTree(size, earlier, r)
		return err
	})
	return proof, err
}
