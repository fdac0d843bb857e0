package batchlog

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"iter"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"

	"golang.org/x/mod/sumdb/tlog"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// How much of a log is in memory at once, twice: as many entries as keep every
// processor busy, until they have so many bytes. The largest record has 16 MiB.
const (
	chunkRows  = 256
	chunkBytes = 32 << 20
)

// chunks gathers rows.
func chunks(rows iter.Seq2[storedRow, error]) iter.Seq2[[]storedRow, error] {
	return func(yield func([]storedRow, error) bool) {
		chunk := make([]storedRow, 0, chunkRows)
		size := 0
		for row, err := range rows {
			if err != nil {
				if yield(chunk, nil) { // what was read counts
					yield(nil, err)
				}
				return
			}
			chunk = append(chunk, row)
			size += len(row.leaf)
			if len(chunk) < chunkRows && size < chunkBytes {
				continue
			}
			if !yield(chunk, nil) {
				return
			}
			chunk, size = make([]storedRow, 0, chunkRows), 0
		}
		yield(chunk, nil)
	}
}

// judgement is what an entry says by itself.
type judgement struct {
	leafHash   tlog.Hash
	findings   []Finding
	signatures int64
	recomputed int64
	err        error
}

// chunk is rows that are being judged.
type chunk struct {
	ctx    context.Context
	rows   []storedRow
	judged []judgement
	wait   sync.WaitGroup
}

// judge begins to judge each entry, on all processors.
func judge(ctx context.Context, options AuditOptions, rows []storedRow) *chunk {
	c := &chunk{ctx: ctx, rows: rows, judged: make([]judgement, len(rows))}
	var next atomic.Int64
	for range min(runtime.GOMAXPROCS(0), len(rows)) {
		c.wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(rows) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				c.judged[i].judge(ctx, options, &rows[i])
			}
		})
	}
	return c
}

// finish waits until all are judged.
func (c *chunk) finish() error {
	c.wait.Wait()
	for i := range c.judged {
		if err := c.judged[i].err; err != nil {
			return err
		}
	}
	return context.Cause(c.ctx)
}

func (j *judgement) judge(ctx context.Context, options AuditOptions, row *storedRow) {
	j.leafHash = tlog.RecordHash(row.leaf)
	jws, payload, err := record.SplitLeaf(row.leaf)
	if err != nil {
		j.add(row, KindRecord, "leaf", "a signature, a newline and a payload", err.Error())
		return
	}
	// The signature before the content: what is not signed need not be read.
	if options.Keys != nil {
		j.signature(*options.Keys, row, jws, payload)
	}
	derived, err := derive(payload, sha256.Sum256(payload))
	if err != nil {
		field := "payload"
		var wrong *RecordError
		if errors.As(err, &wrong) {
			field = wrong.Field
		}
		j.add(row, KindRecord, field, "a record in canonical form", err.Error())
		return
	}
	j.index(row, derived)
	if options.Recompute != nil {
		j.recompute(ctx, options, row, payload)
	}
}

func (j *judgement) add(row *storedRow, kind Kind, field, expected, found string) {
	n := row.n
	j.findings = append(j.findings, Finding{Kind: kind, Index: &n, Field: field, Expected: expected, Found: found})
}

func (j *judgement) signature(keys record.Keys, row *storedRow, jws string, payload []byte) {
	if jws == "" {
		j.add(row, KindSignature, "", "a signature by a pinned key", "none")
		return
	}
	if _, err := record.VerifySignature(keys, payload, jws); err != nil {
		j.add(row, KindSignature, "", "a signature by a pinned key", err.Error())
		return
	}
	j.signatures++
}

// index compares what stands beside a leaf with what the leaf says.
func (j *judgement) index(stored *storedRow, derived *row) {
	for _, c := range []struct{ field, want, got string }{
		{"batch", derived.batch, stored.batch},
		{"recipe", derived.recipe, stored.recipe},
		{"product", derived.product, stored.product},
		{"equipment", derived.equipment, stored.equipment},
		{"requested at", derived.requestedAt, stored.requestedAt},
	} {
		if c.want != c.got {
			j.add(stored, KindIndex, c.field, quote(c.want), quote(c.got))
		}
	}
	for _, c := range []struct {
		field     string
		want, got []byte
	}{
		{"digest", derived.digest[:], stored.digest},
		{"request digest", derived.requestDigest[:], stored.requestDigest},
	} {
		if !bytes.Equal(c.want, c.got) {
			j.add(stored, KindIndex, c.field, hex.EncodeToString(c.want), hex.EncodeToString(c.got))
		}
	}
	if derived.drives != stored.drives {
		j.add(stored, KindIndex, "drives", derived.drives, stored.drives)
	}
}

func (j *judgement) recompute(ctx context.Context, options AuditOptions, row *storedRow, payload []byte) {
	answer, err := options.Recompute(ctx, newRecord("", payload))
	if err != nil {
		j.err = err
		return
	}
	switch answer.GetOutcome() {
	case linepacev1.VerifyResponse_SAME:
		j.recomputed++
	case linepacev1.VerifyResponse_NOT_RECOMPUTABLE:
		j.add(row, KindNotRecomputable, "formulas", "formulas that this build knows", strings.Join(answer.GetUnknownFormulas(), ", "))
	default:
		j.differences(row, answer)
	}
}

func (j *judgement) differences(row *storedRow, answer *linepacev1.VerifyResponse) {
	for _, d := range answer.GetDifferences() {
		j.add(row, KindRecomputation, d.GetField(), d.GetRecomputed(), d.GetRecorded())
	}
	if len(answer.GetDifferences()) == 0 {
		j.add(row, KindRecomputation, "", linepacev1.VerifyResponse_SAME.String(), answer.GetOutcome().String())
	}
}
