package server

import (
	"context"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/refusal"
)

// maxSilence is how long a stream waits for its next message.
const maxSilence = 5 * time.Minute

// newStreamChain passes a stream through the steps of a call, once as a whole and with
// its messages one by one: identity, log and faults are those of the stream; shape and
// size those of each message. A stream has no deadline but its caller's and that of its
// connection; it ends where its caller falls silent or the server drains.
func newStreamChain(log *zap.Logger, shape *shapeCheck, draining context.Context) grpc.StreamServerInterceptor {
	whole := chain(identify, logCall(log), answerFaults(log))
	return func(service any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		_, err := whole(stream.Context(), nil, &grpc.UnaryServerInfo{FullMethod: info.FullMethod}, func(ctx context.Context, _ any) (any, error) {
			return nil, handle(service, &checkedStream{ServerStream: stream, ctx: ctx, shape: shape, draining: draining, silence: maxSilence})
		})
		return err
	}
}

// checkedStream checks each message of a stream.
type checkedStream struct {
	grpc.ServerStream
	ctx      context.Context
	shape    *shapeCheck
	draining context.Context
	silence  time.Duration
}

func (s *checkedStream) Context() context.Context { return s.ctx }

// RecvMsg takes the next message and holds it to its shape. Its error is for the handler
// to return.
func (s *checkedStream) RecvMsg(m any) error {
	if err := s.receive(m); err != nil {
		return err
	}
	message := m.(proto.Message)
	recordOf(s.ctx).streamedBytes += proto.Size(message)
	faults, negativeZero, err := s.shape.check(message)
	switch {
	case err != nil:
		return err
	case len(faults) > 0:
		return merge(faults, nil)
	case negativeZero:
		unsignZeros(message.ProtoReflect())
	}
	return nil
}

// receive waits in another goroutine, since only the end of the handler ends the wait for
// a caller who is silent. The message is then nobody's.
func (s *checkedStream) receive(m any) error {
	received := make(chan error, 1)
	go func() { received <- s.ServerStream.RecvMsg(m) }()
	silent := time.NewTimer(s.silence)
	defer silent.Stop()
	select {
	case err := <-received:
		if s.draining.Err() == nil || err != nil {
			return err
		}
	case <-s.draining.Done():
	case <-silent.C:
		return refusal.New(codes.DeadlineExceeded, refusal.DeadlinePassed,
			"no message came for "+s.silence.String()+"; begin another stream, with the state of the last answer where there is one").Err()
	}
	return refusal.New(codes.Unavailable, refusal.Overloaded,
		"the server is shutting down; begin another stream, with the state of the last answer where there is one").Err()
}

func (s *checkedStream) SendMsg(m any) error {
	if err := limitAnswer(s.ctx, m.(proto.Message)); err != nil {
		return err
	}
	return s.ServerStream.SendMsg(m)
}
