package batchlog

import (
	"errors"
	"fmt"
	"time"
)

// ErrClosed is returned by a log that was closed.
var ErrClosed = errors.New("the batch log is closed")

// NotALogError says that a file is something else than a batch log.
type NotALogError struct {
	Path   string
	Reason string
}

func (e *NotALogError) Error() string {
	return fmt.Sprintf("%s is not a Linepace batch log: %s", e.Path, e.Reason)
}

// VersionError says that a log is of a format that this build does not know.
type VersionError struct {
	Path  string
	Found string // the log's format version
	Known string // the version that this build reads and writes
}

func (e *VersionError) Error() string {
	return fmt.Sprintf("%s is a batch log of format version %q; this build knows version %s", e.Path, e.Found, e.Known)
}

// OriginError says that a log is another one than was meant.
type OriginError struct {
	Path         string
	Found, Meant string
}

func (e *OriginError) Error() string {
	return fmt.Sprintf("%s is the batch log %q, not %q", e.Path, e.Found, e.Meant)
}

// LockedError says that another process held the log for longer than Options.Wait.
// Nothing was written.
type LockedError struct {
	Path   string
	Waited time.Duration
	Err    error
}

func (e *LockedError) Error() string {
	return fmt.Sprintf("%s is locked by another process, still after %v", e.Path, e.Waited)
}

func (e *LockedError) Unwrap() error { return e.Err }

// ReadOnlyError says that the log, or its folder, which must take its journal,
// cannot be written. Nothing was written.
type ReadOnlyError struct {
	Path string
	Err  error
}

func (e *ReadOnlyError) Error() string {
	return fmt.Sprintf("%s or its folder cannot be written", e.Path)
}

func (e *ReadOnlyError) Unwrap() error { return e.Err }

// UnreadableError says that the log may not be read.
type UnreadableError struct {
	Path string
	Err  error
}

func (e *UnreadableError) Error() string {
	return fmt.Sprintf("%s cannot be read: permission denied", e.Path)
}

func (e *UnreadableError) Unwrap() error { return e.Err }

// FailedError says that the system could not read or write the log for another
// reason than those above. What was acknowledged before is kept.
type FailedError struct {
	Path string
	Err  error
}

func (e *FailedError) Error() string {
	return fmt.Sprintf("%s cannot be used: %v", e.Path, e.Err)
}

func (e *FailedError) Unwrap() error { return e.Err }

// FullError says that the disk is full. What was acknowledged before is kept.
type FullError struct {
	Path string
	Err  error
}

func (e *FullError) Error() string {
	return fmt.Sprintf("%s cannot grow: the disk is full", e.Path)
}

func (e *FullError) Unwrap() error { return e.Err }

// DamagedError says that a log contradicts itself. It takes no more records:
// an audit tells what is wrong.
type DamagedError struct {
	Path   string
	Reason string
	Err    error
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s is damaged, audit it: %s", e.Path, e.Reason)
}

func (e *DamagedError) Unwrap() error { return e.Err }

// OutcomeUnknownError says that a record may or may not have been appended, or a
// checkpoint kept. Doing it again is safe and tells.
type OutcomeUnknownError struct {
	Err error
}

func (e *OutcomeUnknownError) Error() string {
	return fmt.Sprintf("whether it is in the log is unknown, so do it again: %v", e.Err)
}

func (e *OutcomeUnknownError) Unwrap() error { return e.Err }

// RecordError says what is wrong with a record. It was not appended.
type RecordError struct {
	Field  string // path in the record, such as "payload" or "payload.request.batch.requestedAt"
	Reason string
	Err    error // what was behind it, or nil
}

func (e *RecordError) Error() string {
	return fmt.Sprintf("record: %s: %s", e.Field, e.Reason)
}

func (e *RecordError) Unwrap() error { return e.Err }

// NoEntryError says that a log has no such entry, or no such size.
type NoEntryError struct {
	Index int64
	Size  int64
}

func (e *NoEntryError) Error() string {
	return fmt.Sprintf("no entry %d in a batch log of %d entries", e.Index, e.Size)
}
