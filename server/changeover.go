package server

import (
	"context"

	"linepace.example/core/changeover"
	"linepace.example/core/fault"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// changeoverService plans the change of a line from one product to the next.
type changeoverService struct {
	linepacev1.UnimplementedChangeoverServiceServer
}

// Plan reads the request, plans, and writes the answer. All faults are returned
// at once, those of reading before those of planning.
func (changeoverService) Plan(ctx context.Context, in *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
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
	checkBatch(in.GetBatch(), &d.faults)
	plan, faults, finished := changeover.Make(&req, d.faults, func() bool { return ctx.Err() != nil })
	if len(faults) > 0 {
		return nil, faults
	}
	if !finished {
		return nil, ctx.Err()
	}
	return planResponse(&plan), nil
}
