package server

import (
	"context"
	"slices"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

// maxCallTime bounds a call whose caller gave no deadline or a later one.
const maxCallTime = 30 * time.Second

// step is one link of the chain that every call passes, whatever its transport:
// a gRPC interceptor, since a call in process can imitate what that is given. It
// must not ask ctx for more than metadata: in process there is no peer and no
// gRPC method in it.
type step = grpc.UnaryServerInterceptor

// newChain lists the steps, outermost first. Another concern, such as
// authentication or metrics, is another step here.
func newChain(log *zap.Logger, shape *shapeCheck) step {
	return chain(
		identify,               // first: everything after it can name the call
		logCall(log),           // sees the answer as the caller does
		answerFaults(log),      // one table from errors, and panics, to statuses
		limitCall,              // time and size
		checkShape(log, shape), // next to the handler, whose faults it merges with its own
	)
}

// chain returns the steps as one.
func chain(steps ...step) step {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		for _, s := range slices.Backward(steps) {
			next := handle
			handle = func(ctx context.Context, req any) (any, error) { return s(ctx, req, info, next) }
		}
		return handle(ctx, req)
	}
}

// callRecord is what the steps tell each other about a call.
type callRecord struct {
	id                           string
	streamedBytes, responseBytes int // of the requests of a stream; of the answers
}

type recordKey struct{}

// recordOf returns the record that identify made.
func recordOf(ctx context.Context) *callRecord {
	if r, ok := ctx.Value(recordKey{}).(*callRecord); ok {
		return r
	}
	return &callRecord{}
}

// identify takes the caller's request id or makes one, and sends it back.
func identify(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	given := ""
	if values := metadata.ValueFromIncomingContext(ctx, requestid.Header); len(values) > 0 {
		given = values[0]
	}
	record := &callRecord{id: requestid.Of(given)}
	// The error says that there is no transport: the caller is in process.
	_ = grpc.SetHeader(ctx, metadata.Pairs(requestid.Header, record.id))
	return next(context.WithValue(ctx, recordKey{}, record), req)
}

// logCall writes one line a call, without payload.
func logCall(log *zap.Logger) step {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		start := time.Now()
		res, err := next(ctx, req)
		level := zap.InfoLevel
		if status.Code(err) == codes.Internal {
			level = zap.ErrorLevel
		}
		if line := log.Check(level, "call"); line != nil {
			message, _ := req.(proto.Message)
			record := recordOf(ctx)
			line.Write(
				zap.String("request_id", record.id),
				zap.String("method", info.FullMethod),
				zap.Stringer("code", status.Code(err)),
				zap.Duration("duration", time.Since(start)),
				zap.Int("request_bytes", proto.Size(message)+record.streamedBytes),
				zap.Int("response_bytes", record.responseBytes),
			)
		}
		return res, err
	}
}

// limitCall bounds the time of a call and the size of its answer, which gRPC
// would bound with a text of its own and a call in process not at all.
func limitCall(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	ctx, cancel := context.WithTimeout(ctx, maxCallTime)
	defer cancel()
	res, err := next(ctx, req)
	if err != nil {
		return nil, err
	}
	message, _ := res.(proto.Message)
	if err := limitAnswer(ctx, message); err != nil {
		return nil, err
	}
	return res, nil
}

// limitAnswer bounds an answer, or one of a stream, and notes its size.
func limitAnswer(ctx context.Context, message proto.Message) error {
	n := proto.Size(message)
	if n > MaxMessageBytes {
		return refusal.New(codes.ResourceExhausted, refusal.RequestTooLarge,
			"the answer would have "+byteCount(n)+", above the "+byteCount(MaxMessageBytes)+
				" that are sent; ask for fewer drives at once, or without includeWorking").Err()
	}
	recordOf(ctx).responseBytes += n
	return nil
}
