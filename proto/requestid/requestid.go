// Package requestid names a call, so that the caller's log, the server's log and
// a refusal speak of the same one. The id travels in the header x-request-id on
// every transport; a caller may choose it.
package requestid

import (
	"crypto/rand"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"
)

// Header carries the id, as gRPC metadata and as HTTP header, both ways.
const Header = "x-request-id"

// maxLength keeps log lines short.
const maxLength = 64

// Of returns given where it is 1 to 64 characters of A-Z, a-z, 0-9, point, line
// and hyphen, and a new random id otherwise: a caller's text ends up in logs,
// where other characters could forge a line.
func Of(given string) string {
	if valid(given) {
		return given
	}
	return rand.Text()
}

func valid(id string) bool {
	if id == "" || len(id) > maxLength {
		return false
	}
	for i := range len(id) {
		switch c := id[i]; {
		case 'A' <= c && c <= 'Z', 'a' <= c && c <= 'z', '0' <= c && c <= '9', c == '.', c == '_', c == '-':
		default:
			return false
		}
	}
	return true
}

// Attach returns s, which is not OK, with the id as its RequestInfo.
func Attach(s *status.Status, id string) *status.Status {
	out, err := s.WithDetails(&errdetails.RequestInfo{RequestId: id})
	if err != nil {
		panic("proto/requestid: internal error: " + err.Error())
	}
	return out
}

// In returns the id that err's status carries, or the empty string.
func In(err error) string {
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.RequestInfo); ok {
			return info.RequestId
		}
	}
	return ""
}
