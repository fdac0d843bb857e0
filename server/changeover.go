package server

import (
	"context"

	"linepace.example/core/changeover"
	"linepace.example/core/fault"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// changeoverService plans the change of a line from one product to the next.
type changeoverService struct {
	linepacev1.UnimplementedChangeoverServiceServer
	signer *record.Signer // nil: records are not signed
}

// Plan reads the request, plans, and writes the answer, with its record where one
// is asked for.
func (s changeoverService) Plan(ctx context.Context, in *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
	out, formulas, err := plan(ctx, in, in.GetIncludeRecord())
	if err != nil || !in.GetIncludeRecord() {
		return out, err
	}
	payload, err := record.Payload(in, out, formulas)
	if err != nil {
		return nil, err
	}
	out.Record = &linepacev1.Record{Payload: payload, Digest: record.Digest(payload)}
	if s.signer != nil {
		jws := s.signer.Sign(payload)
		out.Record.Jws = &jws
	}
	return out, nil
}

// plan answers a request, and names the formulas that the answer rests on where it
// is for a record. All faults are returned at once, those of reading before those
// of planning.
func plan(ctx context.Context, in *linepacev1.PlanRequest, forRecord bool) (*linepacev1.PlanResponse, []string, error) {
	var d decoder
	line, product, running := fault.Root("line"), fault.Root("product"), fault.Root("running")
	req := changeover.Request{
		Line:    d.line(in.GetLine(), &line),
		Product: d.product(in.GetProduct(), &product),
		Working: in.GetIncludeWorking(),
	}
	if in.GetRunning() != nil {
		req.Running = d.product(in.GetRunning(), &running)
	}
	req.Transitions = d.transitions(in.GetTransitions())
	checkBatch(in.GetBatch(), forRecord, &d.faults)
	plan, faults, finished := changeover.Make(&req, d.faults, func() bool { return ctx.Err() != nil })
	if len(faults) > 0 {
		return nil, nil, faults
	}
	if !finished {
		return nil, nil, ctx.Err()
	}
	var formulas []string
	if forRecord {
		formulas = changeover.Formulas(&req, &plan)
	}
	return planResponse(&plan), formulas, nil
}
