package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// MalformedError says that a payload is not the JSON of a record: another text,
// another encoding, or fields that a record does not have.
type MalformedError struct{ Err error }

func (e *MalformedError) Error() string { return "the payload is no record: " + e.Err.Error() }
func (e *MalformedError) Unwrap() error { return e.Err }

// TrailingBytesError says that something follows the record.
type TrailingBytesError struct{ Offset int }

func (e *TrailingBytesError) Error() string {
	return fmt.Sprintf("the payload goes on after the record, from byte %d", e.Offset)
}

// DuplicateKeyError says that a payload has a field twice.
type DuplicateKeyError struct{ Path string }

func (e *DuplicateKeyError) Error() string {
	return "the payload has " + e.Path + " twice, so that two readers may read it differently"
}

// UnknownKindError says that a payload is the record of something else.
type UnknownKindError struct{ Kind string }

func (e *UnknownKindError) Error() string {
	return fmt.Sprintf("the payload is a record of the kind %.60q; this build reads %s", e.Kind, Kind)
}

// UnknownVersionError says that a record is of another version of the format.
type UnknownVersionError struct{ Version string }

func (e *UnknownVersionError) Error() string {
	return fmt.Sprintf("the record is of version %.20s of the format; this build reads version %d", e.Version, Version)
}

// NotCanonicalError says that a payload is another spelling of a record than the
// one that is signed and kept.
type NotCanonicalError struct{ Offset int }

func (e *NotCanonicalError) Error() string {
	return fmt.Sprintf("the payload is not in canonical form: it differs from it at byte %d", e.Offset)
}

// Open reads a payload whose signature, where it has one, has been judged by
// [VerifySignature]. It takes only the very bytes that [Payload] writes. The error
// is one of the types above.
func Open(payload []byte) (*linepacev1.RecordPayload, error) {
	// Step 6 of FORMAT.md.
	p := &linepacev1.RecordPayload{}
	canonical, err := codec.UnmarshalCanonical(payload, p)
	if err != nil {
		return nil, explain(payload, err)
	}
	if err := known(p.Kind, strconv.Itoa(int(p.Version))); err != nil {
		return nil, err
	}
	if p.Request == nil || p.Plan == nil {
		return nil, &MalformedError{errors.New("it needs a request and a plan")}
	}
	// Step 7.
	if canonical && holdsOnlyRecorded(p) {
		return p, nil
	}
	return nil, compare(payload, p)
}

// filed is what OpenIndex reads. What holdsOnlyRecorded looks for in setpoints and
// checks is not read, but found all the same.
var filed = codec.Selection{}.
	Only(&linepacev1.Line{}, "drives").
	Only(&linepacev1.Drive{}, "id").
	Only(&linepacev1.Product{}, "id").
	Only(&linepacev1.PlanResponse{}, "record").
	Never(&linepacev1.Setpoint{}, "working").
	Never(&linepacev1.Check{}, "message")

// OpenIndex judges all of a payload as [Open] does, with the same errors, and reads
// of it what a log files a record by: the batch, and the ids of products and drives.
// Everything else in the lines, products and plan is left out.
func OpenIndex(payload []byte) (*linepacev1.RecordPayload, error) {
	p := &linepacev1.RecordPayload{}
	canonical, err := codec.UnmarshalSelected(payload, p, filed)
	if err == nil && canonical && p.Kind == Kind && p.Version == Version &&
		p.Request != nil && p.Plan != nil && holdsOnlyRecorded(p) {
		return p, nil
	}
	return Open(payload) // which says what is wrong
}

// RequestPart returns the canonical form of the request that a payload holds, which
// is a part of it: a payload that Open takes is canonical JSON of {formulas, kind,
// plan, request, version}. The key cannot stand in a text, where its quotation marks
// would be escaped, and the plan before it has no such field. Of another payload it
// returns any part, or nil.
func RequestPart(payload []byte) []byte {
	_, rest, _ := bytes.Cut(payload, []byte(`,"request":`))
	end := bytes.LastIndexByte(rest, ',') // before version
	if end < 0 {
		return nil
	}
	return rest[:end]
}

// compare writes the payload again, to tell where it departs from the form.
func compare(payload []byte, p *linepacev1.RecordPayload) error {
	written, err := Payload(p.Request, p.Plan, p.Formulas)
	switch {
	case err != nil:
		return &MalformedError{err}
	case bytes.HasPrefix(payload, written):
		return &TrailingBytesError{len(written)}
	}
	return &NotCanonicalError{firstDifference(written, payload)}
}

// holdsOnlyRecorded reports whether Payload would leave nothing out, and sort nothing.
func holdsOnlyRecorded(p *linepacev1.RecordPayload) bool {
	for i := 1; i < len(p.Formulas); i++ {
		if p.Formulas[i-1] >= p.Formulas[i] {
			return false
		}
	}
	hasMessage := func(check *linepacev1.Check) bool { return check.GetMessage() != "" }
	return !p.Request.IncludeWorking && !p.Request.IncludeRecord && p.Plan.Record == nil &&
		!slices.ContainsFunc(p.Plan.Setpoints, hasWorking) && !slices.ContainsFunc(p.Plan.Checks, hasMessage)
}

func known(kind, version string) error {
	switch {
	case kind != Kind:
		return &UnknownKindError{kind}
	case version != strconv.Itoa(Version):
		return &UnknownVersionError{version}
	}
	return nil
}

func firstDifference(a, b []byte) int {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	return i
}

// explain finds the plainest thing to say about a payload that the strict codec
// does not read. A record of another kind or version has other fields, so that is
// looked for first.
func explain(payload []byte, err error) error {
	stream := json.NewDecoder(bytes.NewReader(payload))
	var head struct {
		Kind    *string     `json:"kind"`
		Version json.Number `json:"version"`
	}
	if stream.Decode(&head) == nil && head.Kind != nil && head.Version != "" {
		if other := known(*head.Kind, head.Version.String()); other != nil {
			return other
		}
		end := int(stream.InputOffset())
		if _, more := stream.Token(); more != io.EOF {
			return &TrailingBytesError{end}
		}
	}
	var wrong codec.Errors
	if errors.As(err, &wrong) {
		for _, v := range wrong {
			if v.Reason == "DUPLICATE_FIELD" {
				return &DuplicateKeyError{v.Path}
			}
		}
	}
	return &MalformedError{err}
}
