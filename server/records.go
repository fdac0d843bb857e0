package server

import (
	"bytes"
	"context"
	"errors"

	"linepace.example/core/changeover"
	"linepace.example/core/fault"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// Reasons of what is wrong with a record's payload, beside those of core/fault.
const (
	reasonNotCanonical   fault.Reason = "NOT_CANONICAL"
	reasonTrailing       fault.Reason = "TRAILING_BYTES"
	reasonUnknownKind    fault.Reason = "UNKNOWN_KIND"
	reasonUnknownVersion fault.Reason = "UNKNOWN_VERSION"
	reasonDigestDiffers  fault.Reason = "DIGEST_DIFFERS"
)

// recordService verifies records and tells the keys that this server signs with.
type recordService struct {
	linepacev1.UnimplementedRecordServiceServer
	shape *shapeCheck // for the request in a record, which no chain has seen
	keys  record.Keys // the server's own
}

// newRecordService takes the signer of the records that this server makes, or nil.
func newRecordService(shape *shapeCheck, signer *record.Signer) (recordService, error) {
	if signer == nil {
		return recordService{shape: shape}, nil
	}
	keys, err := record.NewKeys(signer.Public())
	return recordService{shape: shape, keys: keys}, err
}

// Keys lists the server's own keys.
func (s recordService) Keys(context.Context, *linepacev1.KeysRequest) (*linepacev1.KeysResponse, error) {
	return &linepacev1.KeysResponse{Keys: s.keys.Messages()}, nil
}

// Verify follows the steps of proto/record/FORMAT.md.
func (s recordService) Verify(ctx context.Context, in *linepacev1.VerifyRequest) (*linepacev1.VerifyResponse, error) {
	keys, err := s.trusted(in)
	var faults fault.List
	if err != nil {
		faults = append(faults, *err)
	}
	rec := in.GetRecord()
	if len(rec.GetPayload()) == 0 { // the contract's rule refuses it; there is nothing to judge
		return nil, faults.Err()
	}
	out := &linepacev1.VerifyResponse{Digest: record.Digest(rec.GetPayload())}
	// Step 2.
	if given := rec.GetDigest(); given != "" && given != out.Digest {
		faults = append(faults, fault.Fault{Path: "record.digest", Reason: reasonDigestDiffers,
			Text: "is not the SHA-256 of the payload, which is " + out.Digest})
	}
	// Steps 3 to 5.
	judged, bad := judge(keys, rec, out)
	if bad != nil {
		faults = append(faults, *bad)
	}
	if len(faults) > 0 || judged {
		return out, faults.Err()
	}
	if ctx.Err() != nil { // nobody waits for what reading it would tell
		return nil, ctx.Err()
	}
	return out, s.recompute(ctx, rec.GetPayload(), out)
}

// trusted returns the keys by which to judge: the caller's, or the server's own.
func (s recordService) trusted(in *linepacev1.VerifyRequest) (record.Keys, *fault.Fault) {
	if len(in.GetKeys()) == 0 {
		return s.keys, nil
	}
	keys, err := record.KeysFrom(in.GetKeys())
	var wrong *record.KeyError
	if errors.As(err, &wrong) {
		list := fault.Root("keys")
		key := list.Index(wrong.Index)
		at := key.Field(wrong.Field)
		return keys, &fault.Fault{Path: at.String(), Reason: fault.Malformed, Text: wrong.Text}
	}
	return keys, nil
}

// judge writes what the signature says. It reports whether that is the outcome:
// bytes that are not by a trusted key are not read.
func judge(keys record.Keys, rec *linepacev1.Record, out *linepacev1.VerifyResponse) (judged bool, bad *fault.Fault) {
	if rec == nil || rec.Jws == nil {
		out.Signature = linepacev1.VerifyResponse_NONE
		return false, nil
	}
	header, err := record.VerifySignature(keys, rec.Payload, *rec.Jws)
	out.KeyId, out.Build = header.KeyID, header.Build
	var unknown *record.UnknownKeyError
	var changed *record.BadSignatureError
	switch {
	case err == nil:
		out.Signature = linepacev1.VerifyResponse_GOOD
		return false, nil
	case errors.As(err, &unknown):
		out.Signature, out.Outcome = linepacev1.VerifyResponse_KEY_UNKNOWN, linepacev1.VerifyResponse_UNKNOWN_KEY
		return true, nil
	case errors.As(err, &changed):
		out.Signature, out.Outcome = linepacev1.VerifyResponse_BAD, linepacev1.VerifyResponse_BAD_SIGNATURE
		return true, nil
	}
	return false, &fault.Fault{Path: "record.jws", Reason: fault.Malformed, Text: err.Error()}
}

// recompute reads the payload, whose signature has been judged, and compares it
// with what its request gives.
func (s recordService) recompute(ctx context.Context, payload []byte, out *linepacev1.VerifyResponse) error {
	// Bytes that come out again pass steps 6 to 8, since only such ones are written:
	// the plan in them need not be read.
	if s.comesOutAgain(ctx, payload) {
		out.Outcome = linepacev1.VerifyResponse_SAME
		return nil
	}
	// Steps 6 and 7.
	recorded, err := record.Open(payload)
	if err != nil {
		return fault.List{{Path: payloadPath, Reason: reasonOf(err), Text: err.Error()}}
	}
	// Step 8.
	for _, id := range recorded.Formulas {
		if !changeover.Known(id) && len(out.UnknownFormulas) < record.MaxDifferences {
			out.UnknownFormulas = append(out.UnknownFormulas, id)
		}
	}
	if len(out.UnknownFormulas) > 0 {
		out.Outcome = linepacev1.VerifyResponse_NOT_RECOMPUTABLE
		return nil
	}
	// Step 9.
	again, err := s.again(ctx, recorded.Request)
	if err != nil {
		return err
	}
	if bytes.Equal(again, payload) {
		out.Outcome = linepacev1.VerifyResponse_SAME
		return nil
	}
	recomputed, err := record.Open(again)
	if err != nil {
		return err
	}
	out.Outcome = linepacev1.VerifyResponse_DIFFERS
	out.Differences = record.Differences(recorded, recomputed)
	return nil
}

// comesOutAgain reports whether the request in a payload gives that payload. Where it
// reports false the reason is still to be found.
func (s recordService) comesOutAgain(ctx context.Context, payload []byte) bool {
	req := &linepacev1.PlanRequest{}
	if codec.Unmarshal(record.RequestPart(payload), req) != nil {
		return false
	}
	again, err := s.again(ctx, req)
	return err == nil && bytes.Equal(again, payload)
}

// again returns the payload that a recorded request gives now. What is wrong with
// the request is told at the payload.
func (s recordService) again(ctx context.Context, req *linepacev1.PlanRequest) ([]byte, error) {
	shape, _, err := s.shape.check(req)
	if err != nil {
		return nil, err
	}
	if len(shape) > 0 {
		return nil, inPayload(merge(shape, nil))
	}
	out, formulas, err := plan(ctx, req, true)
	var faults fault.List
	switch {
	case errors.As(err, &faults):
		return nil, inPayload(faults)
	case err != nil:
		return nil, err
	}
	return record.Payload(req, out, formulas)
}

const payloadPath = "record.payload"

// inPayload tells the faults of a recorded request at the payload, which has no
// fields in this contract.
func inPayload(faults fault.List) fault.List {
	out := make(fault.List, len(faults))
	for i, f := range faults {
		out[i] = fault.Fault{Path: payloadPath, Reason: f.Reason, Text: "its request cannot be planned: " + f.Path + " " + f.Text}
	}
	return out
}

func reasonOf(err error) fault.Reason {
	var (
		notCanonical *record.NotCanonicalError
		trailing     *record.TrailingBytesError
		duplicate    *record.DuplicateKeyError
		kind         *record.UnknownKindError
		version      *record.UnknownVersionError
	)
	switch {
	case errors.As(err, &notCanonical):
		return reasonNotCanonical
	case errors.As(err, &trailing):
		return reasonTrailing
	case errors.As(err, &duplicate):
		return fault.DuplicateField
	case errors.As(err, &kind):
		return reasonUnknownKind
	case errors.As(err, &version):
		return reasonUnknownVersion
	}
	return fault.Malformed
}
