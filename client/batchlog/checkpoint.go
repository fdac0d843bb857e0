package batchlog

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is a signed state of a log.
type Checkpoint struct {
	Size int64     // entries
	Root tlog.Hash // over them
	Note []byte    // says both, signed
}

// Checkpoint signs the state of the log under the log's own key and keeps the
// signed note in the log as well. Keep it elsewhere too: that is what shows a
// later removal. The signer should be named as the log's origin.
//
// The note is of the form of C2SP's tlog-checkpoint: origin, size, base64 of the
// root; then the signature.
//
// Errors: *LockedError, *ReadOnlyError, *FullError, *FailedError,
// *DamagedError, *OutcomeUnknownError (sign again).
func (l *Log) Checkpoint(_ context.Context, signer note.Signer) (*Checkpoint, error) {
	var signed *Checkpoint
	err := l.store.update(func(tx writer) error {
		at, err := tx.lockHead()
		if err != nil {
			return err
		}
		if _, err := readEdge(at, tx); err != nil { // never sign what the stored hashes deny
			return err
		}
		text, err := note.Sign(&note.Note{Text: checkpointText(l.Origin(), at)}, signer)
		if err != nil {
			return fmt.Errorf("signing a checkpoint: %w", err)
		}
		signed = &Checkpoint{Size: at.size, Root: at.root, Note: text}
		return tx.putCheckpoint(at.size, text)
	})
	if err != nil {
		return nil, err
	}
	return signed, nil
}

func checkpointText(origin string, at head) string {
	return fmt.Sprintf("%s\n%d\n%s\n", origin, at.size, base64.StdEncoding.EncodeToString(at.root[:]))
}

var errCheckpointForm = errors.New("not a checkpoint: want the lines origin, size, base64 of 32 bytes")

// parseCheckpoint reads the text of a note. Lines after the third are extensions.
func parseCheckpoint(text string) (origin string, at head, err error) {
	lines := strings.SplitN(text, "\n", 4)
	if len(lines) != 4 || lines[0] == "" {
		return "", head{}, errCheckpointForm
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil || size < 0 || lines[1] != strconv.FormatInt(size, 10) {
		return "", head{}, errCheckpointForm
	}
	root, err := tlog.ParseHash(lines[2])
	if err != nil {
		return "", head{}, errCheckpointForm
	}
	return lines[0], head{size, root}, nil
}
