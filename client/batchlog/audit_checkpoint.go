package batchlog

import (
	"errors"
	"fmt"
	"strconv"

	"golang.org/x/mod/sumdb/note"
)

// readKept reads the checkpoint that the auditor brought. The root that it names
// is compared when the tree has as many leaves as it covers: that the leaves of
// then give the root of then is what a consistency proof shows to someone who
// does not have the leaves.
func (a *audit) readKept() {
	if a.options.Checkpoint == nil {
		return
	}
	kept, ok := a.openCheckpoint(KindCheckpoint, a.options.Checkpoint)
	if !ok {
		return
	}
	a.kept = &kept
	size := kept.size
	a.report.CheckpointSize = &size
}

// openCheckpoint reads a signed note and reports what is wrong with it.
func (a *audit) openCheckpoint(kind Kind, signed []byte) (head, bool) {
	var verifiers []note.Verifier
	if a.options.Verifier != nil {
		verifiers = append(verifiers, a.options.Verifier)
	}
	opened, err := note.Open(signed, note.VerifierList(verifiers...))
	var unverified *note.UnverifiedNoteError
	if errors.As(err, &unverified) && len(verifiers) == 0 {
		opened, err = unverified.Note, nil
	}
	if err != nil {
		a.report.add(Finding{Kind: kind, Field: "signature", Expected: "a note signed by the log's key", Found: err.Error()})
		return head{}, false
	}
	origin, at, err := parseCheckpoint(opened.Text)
	if err != nil {
		a.report.add(Finding{Kind: kind, Field: "text", Expected: "a checkpoint", Found: err.Error()})
		return head{}, false
	}
	if origin != a.origin {
		a.report.add(Finding{Kind: kind, Field: "origin", Expected: quote(a.origin), Found: quote(origin)})
		return head{}, false
	}
	return at, true
}

// compareRoots compares the checkpoints that cover the tree as it now is.
func (a *audit) compareRoots() error {
	if a.kept != nil && a.kept.size == a.tree.size {
		if err := a.compareRoot(KindCheckpoint, *a.kept); err != nil {
			return err
		}
		a.kept = nil
	}
	for {
		mark, ok, err := a.marks.peek()
		if err != nil || !ok || mark.size > a.tree.size {
			return err
		}
		a.marks.next()
		if err := a.compareMark(mark); err != nil {
			return err
		}
	}
}

func (a *audit) compareMark(mark storedCheckpoint) error {
	at, ok := a.openCheckpoint(KindStoredCheckpoint, mark.note)
	if !ok {
		return nil
	}
	if at.size != mark.size {
		a.report.add(Finding{Kind: KindStoredCheckpoint, Field: "size", Expected: strconv.FormatInt(at.size, 10), Found: strconv.FormatInt(mark.size, 10)})
		return nil
	}
	return a.compareRoot(KindStoredCheckpoint, at)
}

func (a *audit) compareRoot(kind Kind, at head) error {
	root, err := a.tree.root()
	if err != nil || root == at.root {
		return err
	}
	a.report.add(Finding{Kind: kind, Field: fmt.Sprintf("root of the first %d entries", at.size), Expected: at.root.String(), Found: root.String()})
	return nil
}

// finishCheckpoints reports the checkpoints that cover more than there is.
func (a *audit) finishCheckpoints() error {
	found := fmt.Sprintf("%d entries", a.tree.size)
	if a.kept != nil {
		a.report.add(Finding{Kind: KindCheckpoint, Field: "size", Expected: fmt.Sprintf("at least %d entries", a.kept.size), Found: found})
	}
	for {
		mark, ok, err := a.marks.peek()
		if err != nil || !ok {
			return err
		}
		a.report.add(Finding{Kind: KindStoredCheckpoint, Field: "size", Expected: fmt.Sprintf("at least %d entries", mark.size), Found: found})
		a.marks.next()
	}
}

// quote shows a text of the log, not all of a long one.
func quote(s string) string { return fmt.Sprintf("%.200q", s) }
