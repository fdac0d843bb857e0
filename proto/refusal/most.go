package refusal

import "fmt"

// MaxViolations is how many violations a status lists. A gRPC status travels in
// a header, and a request of 16 MiB can be wrong in millions of places.
const MaxViolations = 100

// Most returns v where it is short enough to be sent, and otherwise its first
// MaxViolations with a last one that says how many are not listed.
func Most(v []Violation) []Violation {
	if len(v) <= MaxViolations {
		return v
	}
	return append(v[:MaxViolations:MaxViolations], Violation{
		Reason: "TOO_MANY",
		Text:   fmt.Sprintf("has %d further violations that are not listed; correct the listed ones first", len(v)-MaxViolations),
	})
}
