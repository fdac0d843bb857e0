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

// writer is one transaction that writes. Its order is: head first, since that is
// the lock, then look up, then insert.
type writer interface {
	tlog.HashReader
	lockHead() (head, error)
	// byDigest finds the entry of a payload.
	byDigest(digest []byte) (n int64, leaf []byte, found bool, err error)
	// firstOf finds the first entry of a request.
	firstOf(requestDigest []byte) (n int64, found bool, err error)
	insert(n int64, r *row) error
	// putHashes stores hashes at first and the indexes that follow it.
	putHashes(first int64, hashes []tlog.Hash) error
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
	hashes() iter.Seq2[storedHash, error]            // by index
	checkpoints() iter.Seq2[storedCheckpoint, error] // by size
	// strayDrives yields the entries that have drives though a log of this size has no such entry.
	strayDrives(size int64) iter.Seq2[int64, error]
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
	drives                string // JSON array, sorted
	leaf                  []byte
}

type storedHash struct {
	index int64
	hash  []byte
}

type storedCheckpoint struct {
	size int64
	note []byte
}
