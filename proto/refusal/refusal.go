// Package refusal builds and reads the statuses with which requests are refused.
// They are the same on every transport: a code, a message for people, an
// ErrorInfo whose reason is for programs, and for an invalid request a BadRequest
// that lists every violation with the field's lowerCamel path.
package refusal

import (
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
)

// Domain is the domain of every ErrorInfo.
const Domain = "linepace.example"

// Reasons of an ErrorInfo.
const (
	InvalidRequest  = "INVALID_REQUEST"   // INVALID_ARGUMENT, with a BadRequest
	RequestTooLarge = "REQUEST_TOO_LARGE" // RESOURCE_EXHAUSTED, HTTP 413
	NoSuchMethod    = "NO_SUCH_METHOD"    // NOT_FOUND, HTTP 404
	WrongHTTPMethod = "WRONG_HTTP_METHOD" // UNIMPLEMENTED, HTTP 405
	NoStateKey      = "NO_STATE_KEY"      // FAILED_PRECONDITION, HTTP 400
	DeadlinePassed  = "DEADLINE_PASSED"   // DEADLINE_EXCEEDED
	Cancelled       = "CANCELLED"         // CANCELLED
	Overloaded      = "OVERLOADED"        // UNAVAILABLE
	InternalFault   = "INTERNAL"          // INTERNAL
)

// Violation is one thing wrong with a request.
type Violation struct {
	Path   string // the field, in lowerCamel; empty for the request as a whole
	Reason string // for programs, such as UNIT_UNKNOWN
	Text   string // what is wrong and what would be right
}

// Invalid returns the status of a request with violations.
func Invalid(violations []Violation) *status.Status {
	bad := &errdetails.BadRequest{}
	texts := make([]string, 0, len(violations))
	for _, v := range violations {
		bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: v.Path, Reason: v.Reason, Description: v.Text,
		})
		texts = append(texts, strings.TrimPrefix(v.Path+": "+v.Text, ": "))
	}
	s := New(codes.InvalidArgument, InvalidRequest, strings.Join(texts, "; "))
	return with(s, bad)
}

// New returns a status with an ErrorInfo.
func New(code codes.Code, reason, message string) *status.Status {
	return with(status.New(code, message), &errdetails.ErrorInfo{Reason: reason, Domain: Domain})
}

// Violations returns the violations that err's status lists, if any.
func Violations(err error) []Violation {
	var out []Violation
	for _, detail := range status.Convert(err).Details() {
		bad, ok := detail.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, v := range bad.FieldViolations {
			out = append(out, Violation{Path: v.Field, Reason: v.Reason, Text: v.Description})
		}
	}
	return out
}

// Reason returns the reason of err's ErrorInfo, or the empty string.
func Reason(err error) string {
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			return info.Reason
		}
	}
	return ""
}

// with adds a detail. Adding fails only for an OK status or a message that does
// not marshal, which these never are.
func with(s *status.Status, detail protoadapt.MessageV1) *status.Status {
	out, err := s.WithDetails(detail)
	if err != nil {
		panic("proto/refusal: internal error: " + err.Error())
	}
	return out
}
