package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"github.com/spf13/cobra"

	"linepace.example/client/batchlog"
	"linepace.example/proto/record"
)

// addLogFlag adds the flag that names the batch log of a command.
func addLogFlag(c *cobra.Command, path *string, text string) {
	c.Flags().StringVar(path, "log", "", text)
	must(c.MarkFlagFilename("log", "db"))
	must(c.MarkFlagRequired("log"))
}

// noLogError says that there is no log where one is to be read.
type noLogError struct{ error }

func (e *noLogError) Unwrap() error { return e.error }

// openLog opens a log that is there.
func openLog(ctx context.Context, path string) (*batchlog.Log, error) {
	log, err := batchlog.Open(ctx, path, batchlog.Options{ReadOnly: true})
	if errors.Is(err, fs.ErrNotExist) {
		err = &noLogError{err}
	}
	return log, explainLog(err)
}

// explainLog adds what may help to an error of a log.
func explainLog(err error) error {
	for _, e := range []struct {
		is   bool
		hint string
	}{
		{isA[*noLogError](err), "linepace log makes a log where there is none"},
		{isA[*batchlog.NotALogError](err), "the file was left as it was; is --log the right one?"},
		{isA[*batchlog.VersionError](err), "the file was left as it was; use a build that knows its version"},
		{isA[*batchlog.LockedError](err), "nothing was written; try again when the other process is done"},
		{isA[*batchlog.ReadOnlyError](err), "nothing was written; whoever runs this must be allowed to write the file and its folder"},
		{isA[*batchlog.UnreadableError](err), "whoever runs this must be allowed to read the file"},
		{isA[*batchlog.FullError](err), "make room and append again; what was acknowledged before is kept"},
		{isA[*batchlog.DamagedError](err), "linepace audit --log FILE tells what is wrong; keep the file as it is, as evidence"},
		{isA[*batchlog.OutcomeUnknownError](err), "a record that is appended again is kept once"},
		{isA[*batchlog.FailedError](err), "look at the disk; what was acknowledged before is kept"},
	} {
		if e.is {
			return &hintedError{err, e.hint}
		}
	}
	return err
}

// isA reports whether an error is of a type.
func isA[T error](err error) bool {
	var e T
	return errors.As(err, &e)
}

// logExitCode returns the exit code of an error outside a call.
func logExitCode(err error) int {
	switch {
	case isA[*batchlog.DamagedError](err):
		return exitNotGood
	case isA[*noLogError](err), isA[*batchlog.LockedError](err), isA[*batchlog.ReadOnlyError](err),
		isA[*batchlog.UnreadableError](err), isA[*batchlog.FailedError](err), isA[*batchlog.FullError](err), isA[*batchlog.OutcomeUnknownError](err):
		return exitUnreachable
	}
	return exitInput
}

func isUnknownVersion(err error) bool {
	return isA[*batchlog.VersionError](err) || isA[*record.UnknownKindError](err) || isA[*record.UnknownVersionError](err)
}

// logged is where a record stands in a log.
type logged struct {
	File           string `json:"file,omitempty"` // that it came from
	Index          int64  `json:"index"`
	Digest         string `json:"digest"`
	Duplicate      bool   `json:"duplicate"`
	OtherSignature bool   `json:"otherSignature"`
	ReplanOf       *int64 `json:"replanOf,omitempty"`
}

func newLogged(file, digest string, r batchlog.Result) logged {
	return logged{file, r.Index, digest, r.Duplicate, r.OtherSignature, r.ReplanOf}
}

func (l logged) String() string {
	s := fmt.Sprintf("logged as entry %d", l.Index)
	if l.Duplicate {
		s = fmt.Sprintf("already logged as entry %d; nothing was written", l.Index)
	}
	if l.OtherSignature {
		s += ", and the signature there is another one, which stays"
	}
	if l.ReplanOf != nil {
		s += fmt.Sprintf("; a re-plan: entry %d has the same request and another plan", *l.ReplanOf)
	}
	return s
}

// readInstant reads a time that a flag gives. An empty text is no time.
func readInstant(flag, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return t, fmt.Errorf("--%s is %q; it must be an RFC 3339 date and time, such as 2026-03-02T06:00:00Z", flag, text)
	}
	return t, nil
}
