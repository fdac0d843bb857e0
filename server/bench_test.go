package server

import (
	"context"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// BenchmarkChain shows what the chain costs around a handler that does nothing,
// for a sound request of twelve drives.
func BenchmarkChain(b *testing.B) {
	log := zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(zap.NewProductionEncoderConfig()), zapcore.AddSync(io.Discard), zap.InfoLevel))
	req, res := &linepacev1.PlanRequest{}, &linepacev1.PlanResponse{}
	require.NoError(b, protojson.Unmarshal(roofTiles(b), req))
	check := contractCheck(b)
	info := &grpc.UnaryServerInfo{FullMethod: linepacev1.ChangeoverService_Plan_FullMethodName}
	null := func(context.Context, any) (any, error) { return res, nil }
	b.Run("whole", func(b *testing.B) {
		each := newChain(log, check)
		b.ReportAllocs()
		for b.Loop() {
			_, err := each(b.Context(), req, info, null)
			require.NoError(b, err)
		}
	})
	b.Run("shape", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			found, _, err := check.check(req)
			require.NoError(b, err)
			require.Empty(b, found)
		}
	})
	b.Run("shape/walk", func(b *testing.B) {
		shape := check.shapes["linepace.v1.PlanRequest"]
		b.ReportAllocs()
		for b.Loop() {
			w := walker{check: check}
			w.message(req.ProtoReflect(), shape)
			require.Empty(b, w.found)
		}
	})
	b.Run("request size", func(b *testing.B) {
		for b.Loop() {
			require.NotZero(b, proto.Size(req))
		}
	})
}
