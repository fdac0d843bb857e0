package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"sync"

	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// What a payload says of itself.
const (
	Kind    = "linepace.plan"
	Version = 1
)

// Payload returns the canonical JSON (RFC 8785) of the record of a request, its
// plan and the formulas that the plan rests on: with the formulas sorted and each
// named once, and without what can be found again from the rest, which is the
// working, the wording of checks and the record itself. What has its default is
// left out, and an instant stays as it is written. The arguments are not changed.
//
// It fails where a value has no JSON, such as NaN, or where req or resp is nil.
func Payload(req *linepacev1.PlanRequest, resp *linepacev1.PlanResponse, formulas []string) ([]byte, error) {
	if req == nil || resp == nil {
		return nil, errors.New("proto/record: a record needs a request and its plan")
	}
	buffer := buffers.Get().(*[]byte)
	defer buffers.Put(buffer)
	written, err := codec.AppendCanonical((*buffer)[:0], &linepacev1.RecordPayload{
		Kind:     Kind,
		Version:  Version,
		Formulas: sorted(formulas),
		Request:  recordedRequest(req),
		Plan:     recordedPlan(resp),
	})
	if err != nil {
		return nil, err
	}
	*buffer = written
	return bytes.Clone(written), nil
}

// buffers are written to over and over: new memory for a payload of unknown length
// takes longer than copying one of known length.
var buffers = sync.Pool{New: func() any { return new([]byte) }}

// Digest returns the SHA-256 of a payload as 64 hexadecimal digits in lower case.
func Digest(payload []byte) string {
	sum := sha256.Sum256(payload)
	return hex.EncodeToString(sum[:])
}

func sorted(formulas []string) []string {
	out := slices.Clone(formulas)
	slices.Sort(out)
	return slices.Compact(out)
}

// The copies below share what they hold with the original, since deep ones cost
// several times what writing does. They name every field that stays; a test
// demands that none is forgotten when the contract grows.

func recordedRequest(in *linepacev1.PlanRequest) *linepacev1.PlanRequest {
	return &linepacev1.PlanRequest{Line: in.Line, Product: in.Product, Running: in.Running, Batch: in.Batch, Transitions: in.Transitions}
}

func recordedPlan(in *linepacev1.PlanResponse) *linepacev1.PlanResponse {
	out := &linepacev1.PlanResponse{Setpoints: in.Setpoints, Checks: make([]*linepacev1.Check, len(in.Checks)), Verdict: in.Verdict, Transitions: in.Transitions}
	for i, check := range in.Checks {
		out.Checks[i] = recordedCheck(check)
	}
	if slices.ContainsFunc(in.Setpoints, hasWorking) {
		out.Setpoints = make([]*linepacev1.Setpoint, len(in.Setpoints))
		for i, sp := range in.Setpoints {
			out.Setpoints[i] = withoutWorking(sp)
		}
	}
	return out
}

func recordedCheck(in *linepacev1.Check) *linepacev1.Check {
	return &linepacev1.Check{
		Code: in.GetCode(), Severity: in.GetSeverity(), DriveId: in.GetDriveId(), Field: in.GetField(), OtherField: in.GetOtherField(),
		Binds: in.GetBinds(), Limit: in.GetLimit(), ExcessPercent: in.ExcessPercent,
		Fit: in.GetFit(), FitField: in.GetFitField(),
	}
}

func hasWorking(sp *linepacev1.Setpoint) bool { return len(sp.GetWorking()) > 0 }

var workingField = (&linepacev1.Setpoint{}).ProtoReflect().Descriptor().Fields().ByName("working")

// withoutWorking copies field by field: who asked for the working has paid more.
func withoutWorking(in *linepacev1.Setpoint) *linepacev1.Setpoint {
	out := &linepacev1.Setpoint{}
	to := out.ProtoReflect()
	in.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		if field != workingField {
			to.Set(field, value)
		}
		return true
	})
	return out
}
