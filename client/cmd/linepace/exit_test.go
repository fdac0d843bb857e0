package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/client/batchlog"
)

// What a script cannot bring about everywhere, such as a full disk, is told apart
// by type.
func TestLogErrors(t *testing.T) {
	for _, c := range []struct {
		err  error
		code int
		hint string
	}{
		{&batchlog.LockedError{Path: "x.db"}, exitUnreachable, "try again"},
		{&batchlog.ReadOnlyError{Path: "x.db"}, exitUnreachable, "allowed to write"},
		{&batchlog.FullError{Path: "x.db"}, exitUnreachable, "make room"},
		{&batchlog.OutcomeUnknownError{Err: &batchlog.FullError{Path: "x.db"}}, exitUnreachable, "make room"},
		{&batchlog.OutcomeUnknownError{Err: errors.New("cut off")}, exitUnreachable, "a record that is appended again"},
		{&batchlog.UnreadableError{Path: "x.db"}, exitUnreachable, "allowed to read"},
		{&batchlog.FailedError{Path: "x.db", Err: errors.New("disk I/O error")}, exitUnreachable, "look at the disk"},
		{&noLogError{fs.ErrNotExist}, exitUnreachable, "makes a log"},
		{&batchlog.DamagedError{Path: "x.db", Reason: "it has no head"}, exitNotGood, "linepace audit"},
		{&batchlog.NotALogError{Path: "x.db", Reason: "it is empty"}, exitInput, "left as it was"},
		{&batchlog.VersionError{Path: "x.db", Found: "2", Known: "1"}, exitUnknown, "use a build"},
		{&batchlog.RecordError{Field: "payload", Reason: "a record has one"}, exitInput, ""},
		{&batchlog.NoEntryError{}, exitInput, ""},
	} {
		t.Run(fmt.Sprintf("%T", c.err), func(t *testing.T) {
			explained := explainLog(fmt.Errorf("while appending: %w", c.err))
			require.ErrorIs(t, explained, c.err)
			require.Equal(t, c.code, exitCode(explained))
			var stderr bytes.Buffer
			tell(&stderr, explained)
			require.Contains(t, stderr.String(), "linepace: error: while appending: "+c.err.Error()+"\n")
			if c.hint == "" {
				require.NotContains(t, stderr.String(), "hint")
			} else {
				require.Regexp(t, "linepace: hint: .*"+c.hint, stderr.String())
			}
		})
	}
}
