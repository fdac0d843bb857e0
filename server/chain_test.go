package server

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"linepace.example/core/fault"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

var listInfo = &grpc.UnaryServerInfo{FullMethod: linepacev1.UnitService_List_FullMethodName}

// call passes an empty ListRequest through the whole chain to handle.
func call(t *testing.T, id string, handle func(context.Context) (any, error)) (any, *observer.ObservedLogs, error) {
	t.Helper()
	core, logged := observer.New(zap.DebugLevel)
	ctx := metadata.NewIncomingContext(t.Context(), metadata.Pairs(requestid.Header, id))
	res, err := newChain(zap.New(core), contractCheck(t))(ctx, &linepacev1.ListRequest{}, listInfo,
		func(ctx context.Context, _ any) (any, error) { return handle(ctx) })
	return res, logged, err
}

func TestChainOrder(t *testing.T) {
	var order []string
	note := func(name string) step {
		return func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
			order = append(order, name)
			return next(ctx, req)
		}
	}
	res, err := chain(note("first"), note("second"))(t.Context(), 1, nil, func(_ context.Context, req any) (any, error) {
		order = append(order, fmt.Sprint("handler of ", req))
		return 2, nil
	})
	require.NoError(t, err)
	require.Equal(t, 2, res)
	require.Equal(t, []string{"first", "second", "handler of 1"}, order)
}

// Every method of the contract passes the chain in process, under the name that
// gRPC gives it.
func TestEveryMethodIsChained(t *testing.T) {
	var passed []string
	note := func(_ context.Context, _ any, info *grpc.UnaryServerInfo, _ grpc.UnaryHandler) (any, error) {
		passed = append(passed, info.FullMethod)
		return nil, errors.New("noted")
	}
	noteStream := func(_ any, _ grpc.ServerStream, info *grpc.StreamServerInfo, _ grpc.StreamHandler) error {
		passed = append(passed, info.FullMethod)
		return errors.New("noted")
	}
	chained := map[protoreflect.FullName]any{
		"linepace.v1.ScalingService":    chainedScaling{chain: note, next: scalingService{}},
		"linepace.v1.ChangeoverService": chainedChangeover{chain: note, next: changeoverService{}},
		"linepace.v1.DwellService":      chainedDwell{chain: note, next: dwellService{}},
		"linepace.v1.DriftService":      chainedDrift{chain: note, streams: noteStream, next: driftService{}},
		"linepace.v1.RatioService":      chainedRatio{chain: note, next: ratioService{}},
		"linepace.v1.RecordService":     chainedRecords{chain: note, next: recordService{}},
		"linepace.v1.UnitService":       chainedUnits{chain: note, next: unitService{}},
	}
	s, err := New(Config{})
	require.NoError(t, err)
	registered := s.grpc.GetServiceInfo()
	protoregistry.GlobalFiles.RangeFilesByPackage(contract, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			require.Contains(t, registered, string(file.Services().Get(i).FullName()))
		}
		return true
	})
	for name, info := range registered {
		if !strings.HasPrefix(name, contract+".") {
			continue
		}
		service := reflect.ValueOf(chained[protoreflect.FullName(name)])
		require.True(t, service.IsValid(), "%s has no chained service", name)
		for _, m := range info.Methods {
			method := service.MethodByName(m.Name)
			args := []reflect.Value{reflect.Zero(method.Type().In(0))}
			if !m.IsClientStream && !m.IsServerStream {
				args = []reflect.Value{reflect.ValueOf(t.Context()), reflect.New(method.Type().In(1).Elem())}
			}
			passed = nil
			out := method.Call(args)
			require.ErrorContains(t, out[len(out)-1].Interface().(error), "noted")
			require.Equal(t, []string{"/" + name + "/" + m.Name}, passed)
		}
	}
	require.IsType(t, chainedScaling{}, s.Scaling())
	require.IsType(t, chainedChangeover{}, s.Changeover())
	require.IsType(t, chainedDwell{}, s.Dwell())
	require.IsType(t, chainedDrift{}, s.Drift())
	require.IsType(t, chainedRatio{}, s.Ratio())
	require.IsType(t, chainedRecords{}, s.Records())
	require.IsType(t, chainedUnits{}, s.Units())
}

func TestStatuses(t *testing.T) {
	many := make(fault.List, refusal.MaxViolations+1)
	cases := []struct {
		name   string
		err    error
		code   codes.Code
		reason string
	}{
		{"faults", fault.List{{Path: "line.id", Reason: fault.Required, Text: "is needed"}}, codes.InvalidArgument, refusal.InvalidRequest},
		{"wrapped faults", fmt.Errorf("plan: %w", fault.List{{}}), codes.InvalidArgument, refusal.InvalidRequest},
		{"very many faults", many, codes.InvalidArgument, refusal.InvalidRequest},
		{"deadline", fmt.Errorf("plan: %w", context.DeadlineExceeded), codes.DeadlineExceeded, refusal.DeadlinePassed},
		{"cancelled", context.Canceled, codes.Canceled, refusal.Cancelled},
		{"refused by a step", refusal.New(codes.Unavailable, refusal.Overloaded, "later").Err(), codes.Unavailable, refusal.Overloaded},
		{"a status without reason", status.Error(codes.NotFound, "secret"), codes.Internal, refusal.InternalFault},
		{"anything else", errors.New("secret"), codes.Internal, refusal.InternalFault},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			res, logged, err := call(t, "B-1", func(context.Context) (any, error) { return &linepacev1.ListResponse{}, tc.err })
			require.Nil(t, res)
			require.Equal(t, tc.code, status.Code(err))
			require.Equal(t, tc.reason, refusal.Reason(err))
			require.Equal(t, "B-1", requestid.In(err))
			require.NotContains(t, err.Error(), "secret")
			require.LessOrEqual(t, len(refusal.Violations(err)), refusal.MaxViolations+1)
			if tc.code == codes.Internal {
				require.Contains(t, err.Error(), "B-1")
				require.Equal(t, 1, logged.FilterMessage("internal fault").Len(), "the log tells what the caller is not told")
			}
		})
	}
}

func TestPanicIsAnInternalFault(t *testing.T) {
	_, logged, err := call(t, "B-2", func(context.Context) (any, error) { panic("the secret invariant") })
	require.Equal(t, codes.Internal, status.Code(err))
	require.Equal(t, refusal.InternalFault, refusal.Reason(err))
	require.Equal(t, "B-2", requestid.In(err))
	require.Contains(t, status.Convert(err).Message(), "B-2")
	require.NotContains(t, status.Convert(err).Message(), "secret")

	lines := logged.FilterMessage("panic").All()
	require.Len(t, lines, 1)
	require.Equal(t, "B-2", lines[0].ContextMap()["request_id"])
	require.Contains(t, fmt.Sprint(lines[0].ContextMap()["panic"]), "secret invariant")
	require.Contains(t, lines[0].ContextMap()["stack"], "TestPanicIsAnInternalFault")

	calls := logged.FilterMessage("call").All()
	require.Len(t, calls, 1, "a call that failed is a call")
	require.Equal(t, zapcore.ErrorLevel, calls[0].Level)
}

func TestLogLine(t *testing.T) {
	_, logged, err := call(t, "B-3", func(context.Context) (any, error) {
		return &linepacev1.ListResponse{Units: []*linepacev1.Unit{{Symbol: "m"}}}, nil
	})
	require.NoError(t, err)
	require.Equal(t, 1, logged.Len())
	line := logged.All()[0]
	require.Equal(t, "call", line.Message)
	fields := line.ContextMap()
	require.Contains(t, fields, "duration")
	delete(fields, "duration")
	require.Equal(t, map[string]any{
		"request_id": "B-3", "method": "/linepace.v1.UnitService/List", "code": "OK",
		"request_bytes": int64(0), "response_bytes": int64(5),
	}, fields)
}

func TestRequestIDIsMadeWhereNoneIsGiven(t *testing.T) {
	for _, given := range []string{"", "two words", strings.Repeat("x", 65)} {
		var seen string
		_, logged, err := call(t, given, func(ctx context.Context) (any, error) {
			seen = recordOf(ctx).id
			return &linepacev1.ListResponse{}, nil
		})
		require.NoError(t, err)
		require.NotEmpty(t, seen)
		require.NotEqual(t, given, seen)
		require.Equal(t, seen, logged.All()[0].ContextMap()["request_id"])
	}
}

func TestDeadline(t *testing.T) {
	deadline := func(ctx context.Context) (left time.Duration) {
		_, _ = limitCall(ctx, nil, nil, func(ctx context.Context, _ any) (any, error) {
			at, ok := ctx.Deadline()
			require.True(t, ok, "a call always has a deadline")
			left = time.Until(at)
			return nil, nil
		})
		return left
	}
	require.LessOrEqual(t, deadline(t.Context()), maxCallTime)
	later, cancel := context.WithTimeout(t.Context(), 24*time.Hour)
	defer cancel()
	require.LessOrEqual(t, deadline(later), maxCallTime, "a later deadline does not count")
	past, cancel := context.WithTimeout(t.Context(), -time.Hour)
	defer cancel()
	require.Less(t, deadline(past), time.Duration(0), "an earlier deadline counts")
}

func TestAnswerTooLarge(t *testing.T) {
	res, _, err := call(t, "B-4", func(context.Context) (any, error) {
		return &linepacev1.ListResponse{Units: []*linepacev1.Unit{{Name: strings.Repeat("x", MaxMessageBytes)}}}, nil
	})
	require.Nil(t, res)
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
	require.Equal(t, refusal.RequestTooLarge, refusal.Reason(err))
	require.Contains(t, err.Error(), "16777216 bytes")
}
