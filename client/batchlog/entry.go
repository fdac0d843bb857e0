package batchlog

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// row is an entry as it is stored: the leaf, and beside it an index that says
// nothing that the leaf does not say.
type row struct {
	digest        [sha256.Size]byte // of the payload
	requestDigest [sha256.Size]byte // of the request's canonical form
	batch         string
	recipe        string
	product       string
	equipment     string
	requestedAt   string // in timeLayout
	drives        string // of the request's line: a JSON array, sorted
	leaf          []byte
	leafHash      tlog.Hash
}

// setLeaf hashes the leaf where appenders do not wait for each other.
func (r *row) setLeaf(leaf []byte) { r.leaf, r.leafHash = leaf, tlog.RecordHash(leaf) }

// timeLayout is RFC 3339 in UTC and of fixed width, so that its byte order is
// the order in time.
const timeLayout = "2006-01-02T15:04:05.000000000Z"

func formatTime(t time.Time) string {
	return t.UTC().Format(timeLayout)
}

// rowOf makes the entry of a record. The signature is not judged here: whoever
// appends need not hold the keys, and a record that an audit would fault is
// evidence too.
func rowOf(r *linepacev1.Record) (*row, error) {
	if len(r.GetPayload()) == 0 {
		return nil, &RecordError{Field: "payload", Reason: "a record has a payload"}
	}
	digest := sha256.Sum256(r.GetPayload())
	if got := hex.EncodeToString(digest[:]); r.GetDigest() != got {
		return nil, &RecordError{Field: "digest", Reason: fmt.Sprintf("is %q, but the payload's SHA-256 is %q", r.GetDigest(), got)}
	}
	leaf := record.Leaf(r.GetJws(), r.GetPayload())
	jws, payload, err := record.SplitLeaf(leaf)
	if err != nil || jws != r.GetJws() || string(payload) != string(r.GetPayload()) {
		return nil, &RecordError{Field: "jws", Reason: "does not stand on one line before the payload", Err: err}
	}
	derived, err := derive(payload, digest)
	if err != nil {
		return nil, err
	}
	derived.setLeaf(leaf)
	return derived, nil
}

// derive reads the index of an entry from its payload, whose SHA-256 is given.
func derive(payload []byte, digest [sha256.Size]byte) (*row, error) {
	opened, err := record.OpenIndex(payload)
	if err != nil {
		return nil, &RecordError{Field: "payload", Reason: err.Error(), Err: err}
	}
	batch := opened.GetRequest().GetBatch()
	at, err := time.Parse(time.RFC3339Nano, batch.GetRequestedAt())
	if err != nil {
		return nil, &RecordError{
			Field:  "payload.request.batch.requestedAt",
			Reason: fmt.Sprintf("%q is not a time of RFC 3339, such as 2026-05-04T06:30:00Z", batch.GetRequestedAt()),
			Err:    err,
		}
	}
	return &row{
		digest:        digest,
		requestDigest: sha256.Sum256(record.RequestPart(payload)),
		batch:         batch.GetBatchId(),
		recipe:        batch.GetRecipeId(),
		product:       opened.GetRequest().GetProduct().GetId(),
		equipment:     batch.GetEquipmentId(),
		requestedAt:   formatTime(at),
		drives:        drivesOf(opened.GetRequest().GetLine()),
	}, nil
}

func drivesOf(line *linepacev1.Line) string {
	ids := make([]string, 0, len(line.GetDrives()))
	for _, drive := range line.GetDrives() {
		ids = append(ids, drive.GetId())
	}
	slices.Sort(ids)
	text, _ := json.Marshal(slices.Compact(ids)) // of texts: never fails
	return string(text)
}
