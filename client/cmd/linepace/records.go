package main

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"linepace.example/client/report"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// readRecord reads a record as plan and export write it: JSON, or a leaf of a log.
func readRecord(in *input, path string) (*linepacev1.Record, error) {
	name, text, err := in.bytes(path)
	if err != nil {
		return nil, err
	}
	if jws, payload, err := record.SplitLeaf(text); err == nil && isLeaf(jws, payload) {
		return recordOf(jws, payload), nil
	}
	rec := &linepacev1.Record{}
	if err := codec.Unmarshal(text, rec); err != nil {
		err = fmt.Errorf("%s is no record, neither in JSON nor as a leaf: %w", name, err)
		return nil, &hintedError{err, "linepace plan --record FILE and linepace export write records"}
	}
	return rec, nil
}

// isLeaf tells a leaf from JSON of several lines and from other files: a payload
// is an object, and a detached signature, which is none, has nothing between two dots.
func isLeaf(jws string, payload []byte) bool {
	signature := jws == "" || !strings.HasPrefix(jws, "{") && strings.Contains(jws, "..")
	return signature && bytes.HasPrefix(payload, []byte("{"))
}

// writeRecord writes a record as JSON to a new file.
func writeRecord(path string, rec *linepacev1.Record) error {
	var text bytes.Buffer
	if err := printJSON(&text, rec); err != nil {
		return err
	}
	return writeNew(path, text.Bytes(), 0o666)
}

func recordOf(jws string, payload []byte) *linepacev1.Record {
	rec := &linepacev1.Record{Payload: payload, Digest: record.Digest(payload)}
	if jws != "" {
		rec.Jws = &jws
	}
	return rec
}

// signature is what is known of a record's signature.
type signature struct {
	state linepacev1.VerifyResponse_Signature
	keyID string
	build string
	by    string // whose it is by its own words, or "none"
	text  string
	err   error // why the record does not hold by it, or nil
}

// judge judges a signature by the pinned keys, or tells that there are none.
func judge(rec *linepacev1.Record, keys *record.Keys) signature {
	pinned := keys != nil
	if rec.Jws == nil {
		s := signature{state: linepacev1.VerifyResponse_NONE, by: "none", text: "none"}
		if pinned {
			s.err = errors.New("the record is not signed, and keys were pinned")
		}
		return s
	}
	if !pinned {
		keys = &record.Keys{}
	}
	header, err := record.VerifySignature(*keys, rec.GetPayload(), rec.GetJws())
	by := "by the key " + header.KeyID
	if header.Build != "" {
		by += " of " + header.Build
	}
	s := signature{keyID: header.KeyID, build: header.Build, by: by}
	switch {
	case err == nil:
		s.state, s.text = linepacev1.VerifyResponse_GOOD, "good, "+by+", which is pinned"
	case isA[*record.BadSignatureError](err):
		s.state, s.text, s.err = linepacev1.VerifyResponse_BAD, "BAD, "+by, err
	case isA[*record.UnknownKeyError](err) && pinned:
		s.state, s.text, s.err = linepacev1.VerifyResponse_KEY_UNKNOWN, "UNKNOWN KEY, "+by, err
	case isA[*record.UnknownKeyError](err):
		s.state, s.text = linepacev1.VerifyResponse_KEY_UNKNOWN, "not judged, since no keys are pinned (--keys); "+by
	default:
		s.text, s.err = "MALFORMED", err
	}
	return s
}

// recordRows are the rows of a record's block.
func recordRows(digest, signature string) []report.Row {
	return []report.Row{{Label: "digest", Text: digest}, {Label: "signature", Text: signature}}
}
