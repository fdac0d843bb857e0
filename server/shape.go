package server

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"linepace.example/core/fault"
	"linepace.example/proto/refusal"
)

// shapeCheck finds what is wrong with the shape of a request: what the contract's
// annotations declare, and what no message of the contract may have, such as
// unknown fields and NaN. It is built from the contract once and then only read.
type shapeCheck struct {
	validator protovalidate.Validator
	shapes    map[protoreflect.FullName]*messageShape
}

func newShapeCheck() (*shapeCheck, error) {
	c := &shapeCheck{shapes: map[protoreflect.FullName]*messageShape{}}
	var requests []protoreflect.MessageDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage(contract, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				requests = append(requests, methods.Get(j).Input())
				c.addShape(methods.Get(j).Input())
			}
		}
		return true
	})
	var err error
	c.validator, err = protovalidate.New(protovalidate.WithMessageDescriptors(requests...), protovalidate.WithDisableLazy())
	if err != nil {
		return nil, err
	}
	return c, c.understood()
}

// understood tells early what would otherwise fail at every call.
func (c *shapeCheck) understood() error {
	for name, shape := range c.shapes {
		var violations *protovalidate.ValidationError
		if err := c.validator.Validate(dynamicpb.NewMessage(shape.descriptor)); err != nil && !errors.As(err, &violations) {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}

// shapeFault is a fault of shape. What physics says inside the field that is
// faulty only repeats that. But where the path is that of a message of which one
// thing is wrong, an unknown field or a choice that was not made, the fields in it
// are another matter.
type shapeFault struct {
	fault.Fault
	oneThing bool
}

// checkShape checks the request's shape and passes it on. A faulty request is
// passed on too, so that its caller hears of all its faults at once; what the
// handler then computed is dropped.
func checkShape(log *zap.Logger, c *shapeCheck) step {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		message := req.(proto.Message)
		shape, negativeZero, err := c.check(message)
		if err != nil {
			return nil, err
		}
		if negativeZero {
			message = proto.Clone(message) // it may be the caller's own
			unsignZeros(message.ProtoReflect())
		}
		switch {
		case len(shape) == 0:
			return next(ctx, message)
		case unbounded(shape):
			return nil, merge(shape, nil)
		}
		return nil, merge(shape, physicsFaults(ctx, log, message, info, next))
	}
}

// physicsFaults returns the faults that the handler finds in a request of faulty
// shape. The handler gets a context that has ended, since a handler checks the
// whole request before it computes: what it would compute is not wanted, and may
// need the shape. Where it panics all the same, the caller still learns what is
// wrong with the request, and it is no news for the log.
func physicsFaults(ctx context.Context, log *zap.Logger, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (faults fault.List) {
	defer func() {
		if p := recover(); p != nil {
			log.Debug("the handler stopped at a faulty shape", zap.String("request_id", recordOf(ctx).id),
				zap.String("method", info.FullMethod), zap.Any("panic", p))
		}
	}()
	ctx, cancel := context.WithCancel(ctx)
	cancel()
	_, err := next(ctx, req)
	errors.As(err, &faults)
	return faults
}

// unbounded tells whether a list is longer than its limit, or the faults are too
// many to list: limits are there to bound the work that a request can cause.
func unbounded(shape []shapeFault) bool {
	for _, f := range shape {
		if f.Reason == fault.TooMany {
			return true
		}
	}
	return len(shape) > refusal.MaxViolations
}

// merge lists the faults of shape and then those of physics that they do not
// explain. Physics was computed from a request that had those faults of shape, so
// what it says where something was absent is noise.
func merge(shape []shapeFault, physics fault.List) fault.List {
	type key struct {
		path   string
		reason fault.Reason
	}
	seen := map[key]bool{}
	var out fault.List
	add := func(f fault.Fault) {
		if k := (key{f.Path, f.Reason}); !seen[k] {
			seen[k] = true
			out = append(out, f)
		}
	}
	for _, f := range shape {
		add(f.Fault)
	}
	for _, f := range physics {
		if !explained(f.Path, shape) {
			add(f)
		}
	}
	return out
}

func explained(path string, shape []shapeFault) bool {
	for _, f := range shape {
		switch {
		case path == f.Path,
			!f.oneThing && inside(path, f.Path),
			f.Reason == fault.Required && inside(f.Path, path): // the whole misses what a part misses
			return true
		}
	}
	return false
}

// inside tells whether path lies inside the field at outer.
func inside(path, outer string) bool {
	rest, ok := strings.CutPrefix(path, outer)
	return ok && rest != "" && (outer == "" || rest[0] == '.' || rest[0] == '[')
}
