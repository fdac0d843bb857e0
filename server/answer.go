package server

import (
	"context"
	"errors"
	"runtime/debug"
	"strconv"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"linepace.example/core/fault"
	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

// answerFaults turns what went wrong, a panic too, into the status that the
// caller gets. What the caller cannot mend is told in the log alone.
func answerFaults(log *zap.Logger) step {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (res any, err error) {
		id := recordOf(ctx).id
		defer func() {
			if p := recover(); p != nil {
				log.Error("panic", zap.String("request_id", id), zap.String("method", info.FullMethod),
					zap.Any("panic", p), zap.ByteString("stack", debug.Stack()))
				res, err = nil, requestid.Attach(internal(id), id).Err()
			}
		}()
		res, err = next(ctx, req)
		if err == nil {
			return res, nil
		}
		s := statusOf(err, id)
		if s.Code() == codes.Internal {
			log.Error("internal fault", zap.String("request_id", id), zap.String("method", info.FullMethod), zap.Error(err))
		}
		return nil, requestid.Attach(s, id).Err()
	}
}

// statusOf is the one table from errors to statuses.
func statusOf(err error, id string) *status.Status {
	var faults fault.List
	switch {
	case errors.As(err, &faults):
		return refusal.Invalid(refusal.Most(violations(faults)))
	case errors.Is(err, context.DeadlineExceeded):
		return refusal.New(codes.DeadlineExceeded, refusal.DeadlinePassed,
			"the call's deadline passed before the answer was found; give it more time (at most "+maxCallTime.String()+") or ask for less")
	case errors.Is(err, context.Canceled):
		return refusal.New(codes.Canceled, refusal.Cancelled, "the caller gave up")
	case refusal.Reason(err) != "": // a step of the chain refused
		return status.Convert(err)
	}
	return internal(id)
}

func internal(id string) *status.Status {
	return refusal.New(codes.Internal, refusal.InternalFault,
		"the server failed at this request, which is its own fault; its log tells more under request id "+id)
}

func violations(faults fault.List) []refusal.Violation {
	out := make([]refusal.Violation, len(faults))
	for i, f := range faults {
		out[i] = refusal.Violation{Path: f.Path, Reason: string(f.Reason), Text: f.Text}
	}
	return out
}

func byteCount(n int) string { return strconv.Itoa(n) + " bytes" }
