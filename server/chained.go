package server

import (
	"context"

	"google.golang.org/grpc"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// A chained service passes each call through the chain, as gRPC does for calls
// from outside. It embeds the Unsafe interface, not the Unimplemented type, so
// that a method of the contract that is missing here does not compile: the
// embedded Unimplemented method would answer without the chain.

type chainedScaling struct {
	linepacev1.UnsafeScalingServiceServer
	chain step
	next  linepacev1.ScalingServiceServer
}

func (s chainedScaling) Scale(ctx context.Context, req *linepacev1.ScaleRequest) (*linepacev1.ScaleResponse, error) {
	return through(ctx, s.chain, linepacev1.ScalingService_Scale_FullMethodName, req, s.next.Scale)
}

func (s chainedScaling) Setpoint(ctx context.Context, req *linepacev1.SetpointRequest) (*linepacev1.SetpointResponse, error) {
	return through(ctx, s.chain, linepacev1.ScalingService_Setpoint_FullMethodName, req, s.next.Setpoint)
}

func (s chainedScaling) CheckReading(ctx context.Context, req *linepacev1.CheckReadingRequest) (*linepacev1.CheckReadingResponse, error) {
	return through(ctx, s.chain, linepacev1.ScalingService_CheckReading_FullMethodName, req, s.next.CheckReading)
}

func (s chainedScaling) Diagnose(ctx context.Context, req *linepacev1.DiagnoseRequest) (*linepacev1.DiagnoseResponse, error) {
	return through(ctx, s.chain, linepacev1.ScalingService_Diagnose_FullMethodName, req, s.next.Diagnose)
}

func (s chainedScaling) Catch(ctx context.Context, req *linepacev1.CatchRequest) (*linepacev1.CatchResponse, error) {
	return through(ctx, s.chain, linepacev1.ScalingService_Catch_FullMethodName, req, s.next.Catch)
}

func (s chainedScaling) Lap(ctx context.Context, req *linepacev1.LapRequest) (*linepacev1.LapResponse, error) {
	return through(ctx, s.chain, linepacev1.ScalingService_Lap_FullMethodName, req, s.next.Lap)
}

type chainedChangeover struct {
	linepacev1.UnsafeChangeoverServiceServer
	chain step
	next  linepacev1.ChangeoverServiceServer
}

func (s chainedChangeover) Plan(ctx context.Context, req *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
	return through(ctx, s.chain, linepacev1.ChangeoverService_Plan_FullMethodName, req, s.next.Plan)
}

type chainedDwell struct {
	linepacev1.UnsafeDwellServiceServer
	chain step
	next  linepacev1.DwellServiceServer
}

func (s chainedDwell) Dwell(ctx context.Context, req *linepacev1.DwellRequest) (*linepacev1.DwellResponse, error) {
	return through(ctx, s.chain, linepacev1.DwellService_Dwell_FullMethodName, req, s.next.Dwell)
}

func (s chainedDwell) Dose(ctx context.Context, req *linepacev1.DoseRequest) (*linepacev1.DoseResponse, error) {
	return through(ctx, s.chain, linepacev1.DwellService_Dose_FullMethodName, req, s.next.Dose)
}

func (s chainedDwell) Transition(ctx context.Context, req *linepacev1.TransitionRequest) (*linepacev1.TransitionResponse, error) {
	return through(ctx, s.chain, linepacev1.DwellService_Transition_FullMethodName, req, s.next.Transition)
}

type chainedRecords struct {
	linepacev1.UnsafeRecordServiceServer
	chain step
	next  linepacev1.RecordServiceServer
}

func (s chainedRecords) Verify(ctx context.Context, req *linepacev1.VerifyRequest) (*linepacev1.VerifyResponse, error) {
	return through(ctx, s.chain, linepacev1.RecordService_Verify_FullMethodName, req, s.next.Verify)
}

func (s chainedRecords) Keys(ctx context.Context, req *linepacev1.KeysRequest) (*linepacev1.KeysResponse, error) {
	return through(ctx, s.chain, linepacev1.RecordService_Keys_FullMethodName, req, s.next.Keys)
}

type chainedDrift struct {
	linepacev1.UnsafeDriftServiceServer
	chain   step
	streams grpc.StreamServerInterceptor
	next    linepacev1.DriftServiceServer
}

func (s chainedDrift) TrackStream(stream linepacev1.DriftService_TrackStreamServer) error {
	info := &grpc.StreamServerInfo{FullMethod: linepacev1.DriftService_TrackStream_FullMethodName, IsClientStream: true, IsServerStream: true}
	return s.streams(s.next, stream, info, func(_ any, stream grpc.ServerStream) error {
		return s.next.TrackStream(&grpc.GenericServerStream[linepacev1.TrackStreamRequest, linepacev1.TrackStreamResponse]{ServerStream: stream})
	})
}

func (s chainedDrift) AssessStream(stream linepacev1.DriftService_AssessStreamServer) error {
	info := &grpc.StreamServerInfo{FullMethod: linepacev1.DriftService_AssessStream_FullMethodName, IsClientStream: true}
	return s.streams(s.next, stream, info, func(_ any, stream grpc.ServerStream) error {
		return s.next.AssessStream(&grpc.GenericServerStream[linepacev1.AssessStreamRequest, linepacev1.AssessStreamResponse]{ServerStream: stream})
	})
}

func (s chainedDrift) Assess(ctx context.Context, req *linepacev1.AssessRequest) (*linepacev1.AssessResponse, error) {
	return through(ctx, s.chain, linepacev1.DriftService_Assess_FullMethodName, req, s.next.Assess)
}

func (s chainedDrift) Track(ctx context.Context, req *linepacev1.TrackRequest) (*linepacev1.TrackResponse, error) {
	return through(ctx, s.chain, linepacev1.DriftService_Track_FullMethodName, req, s.next.Track)
}

type chainedRatio struct {
	linepacev1.UnsafeRatioServiceServer
	chain step
	next  linepacev1.RatioServiceServer
}

func (s chainedRatio) Window(ctx context.Context, req *linepacev1.WindowRequest) (*linepacev1.WindowResponse, error) {
	return through(ctx, s.chain, linepacev1.RatioService_Window_FullMethodName, req, s.next.Window)
}

func (s chainedRatio) Blend(ctx context.Context, req *linepacev1.BlendRequest) (*linepacev1.BlendResponse, error) {
	return through(ctx, s.chain, linepacev1.RatioService_Blend_FullMethodName, req, s.next.Blend)
}

func (s chainedRatio) Draw(ctx context.Context, req *linepacev1.DrawRequest) (*linepacev1.DrawResponse, error) {
	return through(ctx, s.chain, linepacev1.RatioService_Draw_FullMethodName, req, s.next.Draw)
}

func (s chainedRatio) Gear(ctx context.Context, req *linepacev1.GearRequest) (*linepacev1.GearResponse, error) {
	return through(ctx, s.chain, linepacev1.RatioService_Gear_FullMethodName, req, s.next.Gear)
}

func (s chainedRatio) Ramps(ctx context.Context, req *linepacev1.RampsRequest) (*linepacev1.RampsResponse, error) {
	return through(ctx, s.chain, linepacev1.RatioService_Ramps_FullMethodName, req, s.next.Ramps)
}

type chainedUnits struct {
	linepacev1.UnsafeUnitServiceServer
	chain step
	next  linepacev1.UnitServiceServer
}

func (s chainedUnits) List(ctx context.Context, req *linepacev1.ListRequest) (*linepacev1.ListResponse, error) {
	return through(ctx, s.chain, linepacev1.UnitService_List_FullMethodName, req, s.next.List)
}

// through calls handle behind the chain.
func through[Req, Res any](ctx context.Context, chain step, method string, req *Req, handle func(context.Context, *Req) (*Res, error)) (*Res, error) {
	res, err := chain(ctx, req, &grpc.UnaryServerInfo{FullMethod: method}, func(ctx context.Context, req any) (any, error) {
		return handle(ctx, req.(*Req))
	})
	if err != nil {
		return nil, err
	}
	return res.(*Res), nil
}
