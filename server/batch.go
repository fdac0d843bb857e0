package server

import (
	"time"

	"linepace.example/core/fault"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// checkBatch demands an RFC 3339 instant where one is given. The text itself is
// kept as it is, since it belongs to the caller's clock.
func checkBatch(b *linepacev1.Batch, faults *fault.List) {
	text := b.GetRequestedAt()
	if text == "" {
		return
	}
	if _, err := time.Parse(time.RFC3339Nano, text); err != nil {
		batch := fault.Root("batch")
		at := batch.Field("requestedAt")
		faults.Add(&at, fault.Malformed, "%q is not an RFC 3339 date and time, such as 2026-03-02T06:00:00Z", text)
	}
}
