package batchlog

import (
	"bytes"
	"context"

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
// the log already is found there. It returns when the record is durable. Whoever
// comes while nobody is writing writes at once, in this goroutine and whatever becomes
// of the context; who comes meanwhile waits, and one of them writes for all that do. A
// context that ends while another one writes leaves the outcome unknown.
//
// Errors: *RecordError, *LockedError, *ReadOnlyError, *FullError, *FailedError,
// *DamagedError, ErrClosed, and the context's own, where nothing was written; and
// *OutcomeUnknownError, which may wrap the context's or a *FullError. After any of
// them the same record may be appended again.
func (l *Log) Append(ctx context.Context, r *linepacev1.Record) (Result, error) {
	derived, err := rowOf(r)
	if err != nil {
		return Result{}, err
	}
	return l.put(ctx, &waiting{row: derived, done: make(chan outcome, 1)})
}

// put writes w, or has another one write it.
func (l *Log) put(ctx context.Context, w *waiting) (Result, error) {
	select {
	case <-l.closing:
		return Result{}, ErrClosed
	case <-ctx.Done():
		return Result{}, context.Cause(ctx)
	default:
	}
	select {
	case l.turn <- struct{}{}: // nobody is writing
		l.appendGroup(l.gather(w))
		<-l.turn
		o := <-w.done
		return o.result, o.err
	case l.queue <- w: // taken by the one who writes next
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
	a, err := startAppending(tx, l.edge)
	if err != nil {
		return nil, err
	}
	for i, w := range group {
		if results[i], err = a.append(w.row); err != nil {
			return nil, err
		}
	}
	if a.tree.size == a.at.size {
		return a.tree, nil
	}
	root, err := a.tree.root()
	if err != nil {
		return nil, err
	}
	return a.tree, tx.setHead(head{a.tree.size, root})
}

// appending is a transaction that appends.
type appending struct {
	tx   writer
	at   head  // as it was at the beginning
	tree *edge // as it will be
}

// startAppending takes the tree at hand, which is another one where another process
// has appended since, or reads it where there is none.
func startAppending(tx writer, tree *edge) (*appending, error) {
	a := &appending{tx: tx, tree: tree}
	if tree == nil {
		return a, a.readTree()
	}
	root, err := tree.root()
	a.at = head{tree.size, root}
	return a, err
}

func (a *appending) readTree() (err error) {
	if a.at, err = a.tx.lockHead(); err != nil {
		return err
	}
	a.tree, err = readEdge(a.at, a.tx)
	return err
}

// append appends one entry, where its payload is not in the log yet.
func (a *appending) append(r *row) (Result, error) {
	hashes, err := a.tree.with(r.leafHash)
	if err != nil {
		return Result{}, err
	}
	n := a.tree.size
	first, done, err := a.tx.insert(a.at, n, r, hashes)
	if err != nil {
		return Result{}, err
	}
	if !done {
		return a.other(r)
	}
	a.tree.take(hashes)
	return newResult(n, first), nil
}

// other ends an append that did not take place, since the tree at hand is an old one
// or the payload is in the log.
func (a *appending) other(r *row) (Result, error) {
	at, err := a.tx.lockHead()
	if err != nil {
		return Result{}, err
	}
	if at != a.at {
		if err := a.readTree(); err != nil {
			return Result{}, err
		}
		return a.append(r)
	}
	n, first, err := a.tx.lookUp(r.digest[:], r.requestDigest[:])
	if err != nil {
		return Result{}, err
	}
	leaf, err := a.tx.leaf(n)
	result := newResult(n, first)
	result.Duplicate = true
	result.OtherSignature = !bytes.Equal(leaf, r.leaf)
	return result, err
}

func newResult(n, first int64) Result {
	result := Result{Index: n}
	if first < n {
		result.ReplanOf = &first
	}
	return result
}
