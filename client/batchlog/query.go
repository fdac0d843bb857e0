package batchlog

import (
	"context"
	"errors"
	"iter"
	"time"
)

// Filter selects entries: those that meet every field that is set. Texts are
// compared byte by byte.
type Filter struct {
	Batch     string
	Recipe    string
	Product   string
	Equipment string
	Drive     string    // a drive of the line
	From      time.Time // requested at this time or later
	To        time.Time // requested before this time
	Limit     int       // at most so many; 0 is all
	index     *int64    // this entry; see Log.Entry
}

// Entry is an entry without its leaf.
type Entry struct {
	Index       int64
	Digest      string // SHA-256 of the payload, hexadecimal
	Batch       string
	Recipe      string
	Product     string
	Equipment   string
	RequestedAt time.Time // in UTC
	Drives      []string  // of the line, sorted
	// RequestDigest is the SHA-256 of the request's canonical form, hexadecimal.
	RequestDigest string
	// ReplanOf is the first entry with the same request and another plan,
	// or nil where there is none before this one.
	ReplanOf *int64
}

// Entry returns entry n, counted from 0. Errors: *NoEntryError.
func (l *Log) Entry(ctx context.Context, n int64) (Entry, error) {
	for entry, err := range l.Query(ctx, Filter{index: &n}) {
		return entry, err
	}
	size, err := l.Size(ctx)
	if err != nil {
		return Entry{}, err
	}
	return Entry{}, &NoEntryError{Index: n, Size: size}
}

// errEnough ends a view whose caller has seen enough.
var errEnough = errors.New("enough")

// Query yields the entries that a filter selects, in their order in the log, as
// they stood when the loop began. It ends after an error. The index that it
// reads is only as good as the last audit.
func (l *Log) Query(ctx context.Context, filter Filter) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		err := l.store.view(ctx, func(r reader) error {
			for entry, err := range r.find(filter) {
				if err != nil {
					return err
				}
				if !yield(entry, nil) {
					return errEnough
				}
			}
			return nil
		})
		if err != nil && err != errEnough {
			yield(Entry{}, err)
		}
	}
}
