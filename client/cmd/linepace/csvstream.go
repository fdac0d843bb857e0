package main

import (
	"context"
	"errors"
	"io"
	"strings"

	"google.golang.org/protobuf/proto"

	"linepace.example/client"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// mostStreamed is how many observations a stream takes.
const mostStreamed = 2000000

// assess asks for the assessment of a request whose columns came from the file: by one
// call, or in parts where there are more rows than that takes.
func (f *csvFlags) assess(ctx context.Context, c *client.Client, req *linepacev1.AssessRequest) (*linepacev1.AssessResponse, error) {
	if len(f.lines) <= mostRows {
		return c.Assess(ctx, req)
	}
	resp, err := f.stream(ctx, c, req)
	if len(refusal.Violations(err)) > 0 {
		return nil, f.locate(ctx, c, req, err)
	}
	return resp, err
}

func (f *csvFlags) stream(ctx context.Context, c *client.Client, req *linepacev1.AssessRequest) (*linepacev1.AssessResponse, error) {
	stream, err := c.AssessStream(ctx)
	if err != nil {
		return nil, err
	}
	for from := 0; from < len(f.lines); from += mostRows {
		part := &linepacev1.AssessRequest{}
		if from == 0 {
			part = withoutColumns(req)
		}
		part.Columns = rowsOf(req.GetColumns(), from, min(from+mostRows, len(f.lines)))
		if err := stream.Send(&linepacev1.AssessStreamRequest{Part: part}); errors.Is(err, io.EOF) {
			break // it was refused already; CloseAndRecv says why
		} else if err != nil {
			return nil, err
		}
	}
	resp, err := stream.CloseAndRecv()
	return resp.GetResult(), err
}

// locate finds which rows a stream was refused for, since what it says of them does not
// tell the part: each part is asked for by itself, with the row before it, whose time its
// first one must follow. From then on lines are those of the part at fault.
func (f *csvFlags) locate(ctx context.Context, c *client.Client, req *linepacev1.AssessRequest, refused error) error {
	for from := 0; from < len(f.lines); from += mostRows - 1 {
		part := withoutColumns(req)
		part.Columns = rowsOf(req.GetColumns(), from, min(from+mostRows, len(f.lines)))
		_, err := c.Assess(ctx, part)
		for _, v := range refusal.Violations(err) {
			if from == 0 || strings.HasPrefix(v.Path, "columns") {
				f.lines = f.lines[from:]
				return err
			}
		}
	}
	return refused
}

func withoutColumns(req *linepacev1.AssessRequest) *linepacev1.AssessRequest {
	columns := req.Columns
	req.Columns = nil // so that a million rows are not copied
	out := proto.CloneOf(req)
	req.Columns = columns
	return out
}

// rowsOf returns some rows of columns.
func rowsOf(in *linepacev1.ObservationColumns, from, to int) *linepacev1.ObservationColumns {
	some := func(column []float64) []float64 {
		if len(column) <= 1 { // empty, or one number for all rows
			return column
		}
		return column[from:to]
	}
	out := &linepacev1.ObservationColumns{
		Start: in.Start, Seconds: in.Seconds[from:to], MotorRpm: some(in.MotorRpm), Turns: some(in.Turns),
		Amounts: some(in.Amounts), AmountUnit: in.AmountUnit, MeterPulses: some(in.MeterPulses), GateSeconds: some(in.GateSeconds),
	}
	for _, event := range in.GetEvents() {
		if row := int(event.GetRow()); row >= from && row < to {
			out.Events = append(out.Events, &linepacev1.ObservationColumns_RowEvent{Row: int32(row - from), Event: event.GetEvent()})
		}
	}
	return out
}
