package batchlog

import (
	"cmp"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"iter"
	"strconv"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// AuditOptions say what an auditor brings along. Without anything the log is
// only held against itself.
type AuditOptions struct {
	// Keys are the pinned keys that plans are signed with. Where nil, no signature
	// is judged.
	Keys *record.Keys
	// Checkpoint is a note that Log.Checkpoint returned and that was kept away from
	// the log; Verifier has the log's own key. Both or none.
	Checkpoint []byte
	Verifier   note.Verifier
	// Recompute plans a record's request anew and compares. Its record comes
	// without signature, which the audit judges itself. It is called concurrently.
	// Where nil, nothing is recomputed.
	Recompute func(context.Context, *linepacev1.Record) (*linepacev1.VerifyResponse, error)
}

// Audit rebuilds the tree from the leaves and holds everything else in the log
// against it: head, stored hashes, checkpoints, the index beside each leaf. Each
// leaf is judged by itself: its form, its signature, its recomputation. What is
// wrong with the log is a finding; an error means that the audit did not take
// place. It reads one snapshot in one pass and holds only a part of it in memory.
func Audit(ctx context.Context, log *Log, options AuditOptions) (*Report, error) {
	if (options.Checkpoint == nil) != (options.Verifier == nil) {
		return nil, errors.New("audit: a checkpoint proves nothing without its verifier, nor a verifier without checkpoint")
	}
	about := log.store.meta()
	report := &Report{
		Origin:           about.origin,
		FormatVersion:    about.format,
		CreatedBy:        about.createdBy,
		SignaturesJudged: options.Keys != nil,
		Recomputation:    options.Recompute != nil,
		Findings:         []Finding{},
	}
	err := log.store.view(ctx, func(r reader) error {
		a := &audit{options: options, report: report, origin: about.origin, r: r}
		return a.run(ctx)
	})
	if err == nil {
		return report, nil
	}
	var damaged *DamagedError
	if !errors.As(err, &damaged) {
		return nil, err
	}
	// The data base cannot be read further, which is a finding, and the last one.
	report.add(Finding{Kind: KindFile, Expected: "a file that can be read", Found: damaged.Reason})
	return report, nil
}

// audit is one audit under way.
type audit struct {
	options AuditOptions
	report  *Report
	origin  string
	r       reader
	tree    edge  // of the leaves read
	next    int64 // the entry that should come next
	marks   *cursor[storedCheckpoint]
	kept    *head // of the kept checkpoint, until it is compared
}

func (a *audit) run(ctx context.Context) error {
	if err := a.faults(); err != nil {
		return err
	}
	at, err := a.r.head()
	if err != nil {
		return err
	}
	a.readKept()
	a.marks = newCursor(a.r.checkpoints())
	defer a.marks.stop()
	if err := a.compareRoots(); err != nil { // of the empty tree
		return err
	}
	// Each chunk is judged while the next one is read.
	judged := judge(ctx, a.options, nil)
	defer func() { judged.wait.Wait() }()
	for chunk, err := range chunks(a.r.rows()) {
		if failed := a.take(judged, at); failed != nil || err != nil {
			return cmp.Or(failed, err)
		}
		judged = judge(ctx, a.options, chunk)
	}
	if err := a.take(judged, at); err != nil {
		return err
	}
	return a.finish(at)
}

func (a *audit) faults() error {
	for fault, err := range a.r.faults() {
		if err != nil {
			return err
		}
		a.report.add(Finding{Kind: KindFile, Expected: "a sound data base", Found: fault})
	}
	return nil
}

// take takes the leaves of a chunk into the tree in order, when they are judged.
func (a *audit) take(c *chunk, at head) error {
	if err := c.finish(); err != nil {
		return err
	}
	for i, row := range c.rows {
		j := &c.judged[i]
		a.place(row.n, at)
		a.report.add(j.findings...)
		a.report.Signatures += j.signatures
		a.report.Recomputed += j.recomputed
		if err := a.grow(j.leafHash, row.hashes); err != nil {
			return err
		}
	}
	return nil
}

// place reports an entry that is not the next one. The tree takes leaves in
// order whatever their numbers are.
func (a *audit) place(n int64, at head) {
	if n < 0 || n >= at.size {
		a.report.add(Finding{Kind: KindSurplus, Index: &n, Expected: fmt.Sprintf("%d entries from 0 on", at.size), Found: "an entry"})
	}
	if n >= 0 {
		a.missing(n)
		a.next = n + 1
	}
	a.report.Entries++
}

// missing reports the entries from the next one up to one that is there.
func (a *audit) missing(end int64) {
	if end <= a.next {
		return
	}
	first, found := a.next, "none"
	if end-1 > first {
		found = fmt.Sprintf("none up to entry %d", end-1)
	}
	a.report.add(Finding{Kind: KindMissing, Index: &first, Expected: "an entry", Found: found})
}

// grow adds a leaf to the tree and compares the hashes that stand beside it.
func (a *audit) grow(leaf tlog.Hash, stored []byte) error {
	first := tlog.StoredHashIndex(0, a.tree.size)
	hashes, err := a.tree.add(leaf)
	if err != nil {
		return err
	}
	for i := 0; i < len(hashes) || len(stored) > 0; i++ {
		expected, found := "none", "none"
		if i < len(hashes) {
			expected = hashes[i].String()
		}
		if n := min(len(stored), tlog.HashSize); n > 0 {
			found = base64.StdEncoding.EncodeToString(stored[:n])
			stored = stored[n:]
		}
		if expected != found {
			a.report.add(Finding{Kind: KindHash, Field: "hash " + strconv.FormatInt(first+int64(i), 10), Expected: expected, Found: found})
		}
	}
	return a.compareRoots()
}

// finish compares what is known only at the end.
func (a *audit) finish(at head) error {
	a.missing(at.size)
	root, err := a.tree.root()
	if err != nil {
		return err
	}
	a.report.Root = root.String()
	if at.size != a.tree.size {
		a.report.add(Finding{Kind: KindHead, Field: "size", Expected: strconv.FormatInt(a.tree.size, 10), Found: strconv.FormatInt(at.size, 10)})
	}
	if at.root != root {
		a.report.add(Finding{Kind: KindHead, Field: "root", Expected: root.String(), Found: at.root.String()})
	}
	if err := a.finishCheckpoints(); err != nil {
		return err
	}
	a.report.Replans, err = a.r.replans()
	return err
}

// cursor reads a sequence beside another.
type cursor[T any] struct {
	pull func() (T, error, bool)
	stop func()
	item T
	err  error
	ok   bool
}

func newCursor[T any](items iter.Seq2[T, error]) *cursor[T] {
	c := &cursor[T]{}
	c.pull, c.stop = iter.Pull2(items)
	c.next()
	return c
}

func (c *cursor[T]) next() { c.item, c.err, c.ok = c.pull() }

// peek returns the item that is next, if there is one.
func (c *cursor[T]) peek() (T, bool, error) { return c.item, c.ok && c.err == nil, c.err }
