package batchlog

import (
	"bytes"
	"context"

	"golang.org/x/mod/sumdb/tlog"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Result says where a record stands.
type Result struct {
	// Index is the entry that holds the record's payload, counted from 0.
	Index int64
	// Duplicate: the payload was in the log before, and nothing was written.
	Duplicate bool
	// OtherSignature: a duplicate whose payload is in the log with another
	// signature or none, which stays.
	OtherSignature bool
	// ReplanOf is the first entry with the same request and another plan,
	// or nil where there is none before Index.
	ReplanOf *int64
}

// A transaction takes what waits, up to these bounds.
const (
	maxGroup      = 256
	maxGroupBytes = 16 << 20
)

// waiting is a record whose caller waits.
type waiting struct {
	row  *row
	done chan outcome
}

type outcome struct {
	result Result
	err    error
}

// Append puts a record at the end of the log, once: a record whose payload is in
// the log already is found there. It returns when the record is durable. A context
// that ends while the record is being written leaves the outcome unknown.
//
// Errors: *RecordError, *LockedError, *ReadOnlyError, *FullError, *DamagedError,
// ErrClosed, and the context's own, where nothing was written; and
// *OutcomeUnknownError, which may wrap the context's or a *FullError. After any of
// them the same record may be appended again.
func (l *Log) Append(ctx context.Context, r *linepacev1.Record) (Result, error) {
	derived, err := rowOf(r)
	if err != nil {
		return Result{}, err
	}
	w := &waiting{row: derived, done: make(chan outcome, 1)}
	select {
	case <-l.closing:
		return Result{}, ErrClosed
	default:
	}
	select {
	case l.queue <- w:
	case <-l.closing:
		return Result{}, ErrClosed
	case <-ctx.Done():
		return Result{}, context.Cause(ctx)
	}
	select {
	case o := <-w.done:
		return o.result, o.err
	case <-ctx.Done():
		return Result{}, &OutcomeUnknownError{Err: context.Cause(ctx)}
	}
}

// appendWaiting serves the queue until the log closes. One goroutine does it, so
// that whoever comes while a transaction is being made durable waits for the next.
func (l *Log) appendWaiting() {
	defer close(l.stopped)
	for {
		select {
		case first := <-l.queue:
			l.appendGroup(l.gather(first))
		case <-l.closing:
			return
		}
	}
}

// gather takes what waits beside first.
func (l *Log) gather(first *waiting) []*waiting {
	group := []*waiting{first}
	size := len(first.row.leaf)
	for len(group) < maxGroup && size < maxGroupBytes {
		select {
		case w := <-l.queue:
			group = append(group, w)
			size += len(w.row.leaf)
		default:
			return group
		}
	}
	return group
}

// appendGroup appends a group in one transaction and tells everyone in it.
func (l *Log) appendGroup(group []*waiting) {
	results := make([]Result, len(group))
	var after *edge
	err := l.store.update(func(tx writer) error {
		var err error
		after, err = l.appendRows(tx, group, results)
		return err
	})
	if l.edge = after; err != nil {
		l.edge = nil
	}
	for i, w := range group {
		if err != nil {
			w.done <- outcome{err: err}
			continue
		}
		w.done <- outcome{result: results[i]}
	}
}

func (l *Log) appendRows(tx writer, group []*waiting, results []Result) (*edge, error) {
	at, err := tx.lockHead()
	if err != nil {
		return nil, err
	}
	tree, err := l.edgeAt(at, tx)
	if err != nil {
		return nil, err
	}
	first := tree.size
	for i, w := range group {
		if results[i], err = appendRow(tx, tree, w.row); err != nil {
			return nil, err
		}
	}
	if tree.size == first {
		return tree, nil
	}
	root, err := tree.root()
	if err != nil {
		return nil, err
	}
	return tree, tx.setHead(head{tree.size, root})
}

// edgeAt returns the edge of the tree that the head names: the one at hand, as
// long as no other process has appended since.
func (l *Log) edgeAt(at head, stored tlog.HashReader) (*edge, error) {
	if l.edge == nil || l.edge.size != at.size {
		return readEdge(at, stored)
	}
	root, err := l.edge.root()
	if err != nil {
		return nil, err
	}
	if root != at.root {
		return readEdge(at, stored)
	}
	return l.edge, nil
}

// appendRow appends one entry, where its payload is not in the log yet.
func appendRow(tx writer, tree *edge, r *row) (Result, error) {
	at, first, err := tx.lookUp(r.digest[:], r.requestDigest[:])
	if err != nil {
		return Result{}, err
	}
	result := Result{Index: tree.size, Duplicate: at != nil}
	if at != nil {
		result.Index = *at
	}
	if first != nil && *first < result.Index {
		result.ReplanOf = first
	}
	if at != nil {
		leaf, err := tx.leaf(*at)
		result.OtherSignature = !bytes.Equal(leaf, r.leaf)
		return result, err
	}
	hashes, err := tree.add(r.leafHash)
	if err != nil {
		return Result{}, err
	}
	return result, tx.insert(result.Index, r, hashes)
}
