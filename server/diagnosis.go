package server

import (
	"context"

	"linepace.example/core/diagnosis"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// Diagnose finds what may explain that a drive gives something else than was calculated.
func (scalingService) Diagnose(_ context.Context, in *linepacev1.DiagnoseRequest) (*linepacev1.DiagnoseResponse, error) {
	var a about
	a.read(in.GetDrive(), in.GetMaterial(), in.GetSection())
	at := fault.Root("observations")
	observations := a.observations(in.GetObservations(), &at)
	s := a.subject()
	diagnosis.Validate(&s, observations, &at, &a.faults)
	if len(a.faults) > 0 || len(observations) == 0 { // that there are some is a matter of shape
		return nil, a.faults
	}
	answer := diagnosis.Diagnose(&s, observations, in.GetIncludeWorking())
	return diagnoseResponse(&answer), nil
}

func (d *decoder) observations(in []*linepacev1.DiagnoseRequest_Observation, p *fault.Path) []diagnosis.Observation {
	out := make([]diagnosis.Observation, len(in))
	for i, o := range in {
		at := p.Index(i)
		out[i] = diagnosis.Observation{
			Observed:           d.quantity(o.GetObserved(), &at, "observed"),
			Shaft:              shaft(o.GetShaft()),
			UncertaintyPercent: o.GetUncertaintyPercent(),
		}
		switch set := o.GetAt().(type) {
		case *linepacev1.DiagnoseRequest_Observation_MotorRpm:
			out[i].MotorRPM = scaling.Some(set.MotorRpm)
		case *linepacev1.DiagnoseRequest_Observation_Count:
			out[i].Count = scaling.Some(set.Count)
		case *linepacev1.DiagnoseRequest_Observation_Shown:
			out[i].Shown = d.quantity(set.Shown, &at, "shown")
		}
	}
	return out
}

func diagnoseResponse(a *diagnosis.Answer) *linepacev1.DiagnoseResponse {
	out := &linepacev1.DiagnoseResponse{
		Compared:           make([]*linepacev1.DiagnoseResponse_Compared, len(a.Compared)),
		Candidates:         make([]*linepacev1.DiagnoseResponse_Candidate, len(a.Candidates)),
		ChanceMatchPercent: a.ChanceMatchPercent,
		ReferenceLow:       1.0 / diagnosis.ReferenceSpan,
		ReferenceHigh:      diagnosis.ReferenceSpan,
		ConsideredCount:    int32(a.Considered),
		Next:               a.Next,
		Working:            working(a.Working),
	}
	for i := range a.Compared {
		c := &a.Compared[i]
		out.Compared[i] = &linepacev1.DiagnoseResponse_Compared{
			Calculated: quantity(c.Calculated), Observed: quantity(c.Observed),
			Factor: c.Factor, StandardUncertaintyPercent: c.StandardUncertaintyPercent,
		}
	}
	for i := range a.Candidates {
		out.Candidates[i] = candidate(&a.Candidates[i])
	}
	return out
}

func candidate(c *diagnosis.Candidate) *linepacev1.DiagnoseResponse_Candidate {
	out := &linepacev1.DiagnoseResponse_Candidate{
		LikelihoodPercent:      pointer(&c.LikelihoodPercent),
		ChancePercent:          pointer(&c.ChancePercent),
		NeedsSecondObservation: len(c.Mistakes) > 1,
	}
	for i := range c.Mistakes {
		m := &c.Mistakes[i]
		out.Mistakes = append(out.Mistakes, &linepacev1.DiagnoseResponse_Mistake{
			Cause: linepacev1.DiagnoseResponse_Mistake_Cause(m.Cause),
			Field: m.Field, Text: m.Text, Confirm: m.Confirm, Size: quantity(m.Size),
		})
	}
	for i, predicted := range c.Predicted {
		out.Fits = append(out.Fits, &linepacev1.DiagnoseResponse_Fit{PredictedFactor: predicted, RemainsPercent: c.RemainsPercent[i]})
	}
	for _, place := range c.Ties {
		out.Ties = append(out.Ties, int32(place+1))
	}
	return out
}
