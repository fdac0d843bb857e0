package server

import (
	"time"

	"linepace.example/core/fault"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// checkBatch demands an RFC 3339 instant where one is given, and that one is given
// for a record: a record tells when by the caller's clock, since two replicas that
// looked at their own would make two records of one request. The text itself is
// kept as it is.
func checkBatch(b *linepacev1.Batch, forRecord bool, faults *fault.List) {
	text := b.GetRequestedAt()
	batch := fault.Root("batch")
	at := batch.Field("requestedAt")
	if text == "" {
		if forRecord {
			faults.Add(&at, fault.Required, "is needed for a record: an RFC 3339 date and time, such as 2026-03-02T06:00:00Z")
		}
		return
	}
	if _, err := time.Parse(time.RFC3339Nano, text); err != nil {
		faults.Add(&at, fault.Malformed, "%q is not an RFC 3339 date and time, such as 2026-03-02T06:00:00Z", text)
	}
}
