package batchlog

import (
	"context"
	"iter"

	"golang.org/x/mod/sumdb/tlog"
)

// storage is what the log asks of a data base: the tree and its rules stand
// above, and nothing of SQL does.
type storage interface {
	// meta returns what the log says of itself.
	meta() meta
	// update runs f in a transaction in which nobody else can write, and returns
	// once what f wrote is durable. Where f fails, nothing is written.
	update(f func(writer) error) error
	// view runs f on a snapshot, which no later write changes.
	view(ctx context.Context, f func(reader) error) error
	close() error
}

// meta is what a log says of itself.
type meta struct {
	format    string
	origin    string
	createdBy string
}

// writer is one transaction that writes. The head is its lock, which whatever comes
// first takes.
type writer interface {
	tlog.HashReader
	lockHead() (head, error)
	// insert puts an entry with the hashes of the subtrees that it completes, where
	// the head is at and no entry has its payload, and reports whether it did. Then
	// first is the first entry of the same request, which may be n.
	insert(at head, n int64, r *row, hashes []tlog.Hash) (first int64, done bool, err error)
	// lookUp finds the entry of a payload that is there and the first entry of its
	// request.
	lookUp(digest, requestDigest []byte) (n, first int64, err error)
	leaf(n int64) ([]byte, error)
	setHead(h head) error
	putCheckpoint(size int64, note []byte) error
}

// reader reads one snapshot. A sequence ends after its first error.
type reader interface {
	tlog.HashReader
	head() (head, error)
	leaf(n int64) (leaf []byte, found bool, err error)
	find(f Filter) iter.Seq2[Entry, error]

	// For audits, which take nothing for granted:

	rows() iter.Seq2[storedRow, error]               // by n
	checkpoints() iter.Seq2[storedCheckpoint, error] // by size
	// replans counts the entries whose request an earlier entry has.
	replans() (int64, error)
	// faults yields what the data base finds wrong with its own structure.
	faults() iter.Seq2[string, error]
}

// storedRow is an entry as it is found, which need not be as it was written.
type storedRow struct {
	n                     int64
	digest, requestDigest []byte
	batch, recipe         string
	product, equipment    string
	requestedAt           string
	drives                string
	hashes                []byte // one after the other
	leaf                  []byte
}

type storedCheckpoint struct {
	size int64
	note []byte
}
