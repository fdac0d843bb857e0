package diagnosis

import (
	"fmt"

	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// working derives what was calculated, the factors, what each listed single mistake
// predicts of them, and what remains. A mistake is shown at the first place at which
// it predicts something.
func (f *finder) working(out *Answer) []scaling.Step {
	var steps []scaling.Step
	for i := range out.Compared {
		c := &out.Compared[i]
		steps = append(steps, scaling.Step{
			ID: "mismatch-factor/1", Name: fmt.Sprintf("factor of observation %d", i+1), Formula: "observed / calculated",
			Inputs: []scaling.Input{{Name: "observed", Value: absolute(c.Observed)}, {Name: "calculated", Value: c.Calculated}},
			Result: quantity(c.Factor, one),
		})
	}
	for i := range out.Candidates {
		if c := &out.Candidates[i]; c.single != nil {
			steps = append(steps, f.predictionSteps(i, c)...)
		}
	}
	return steps
}

func absolute(q units.Quantity) units.Quantity { return quantity(magnitude(q.Value), q.Unit) }

func (f *finder) predictionSteps(place int, c *Candidate) []scaling.Step {
	s := c.single
	at := 0
	for i := range c.Predicted {
		if c.Predicted[i] != 1 {
			at = i
			break
		}
	}
	formula, inputs := s.formula, s.inputs
	switch {
	case s.offset:
		inputs = []scaling.Input{{Name: "offset", Value: s.Size}, {Name: "calculated", Value: quantity(f.observed[at].calculated, f.observed[at].unit)}}
	case s.slips != nil && s.slips[f.observed[at].group] > 0:
		formula = "1 / (1 - slip)"
	}
	predicted := quantity(c.Predicted[at], one)
	return []scaling.Step{
		{
			ID: "predicted-factor/1", Name: fmt.Sprintf("factor of observation %d that candidate %d predicts", at+1, place+1),
			Formula: formula, Inputs: inputs, Result: predicted,
		},
		{
			ID: "remainder/1", Name: "what remains", Formula: "factor / predicted - 1",
			Inputs: []scaling.Input{{Name: "factor", Value: quantity(f.observed[at].factor, one)}, {Name: "predicted", Value: predicted}},
			Result: percents(c.RemainsPercent[at]),
		},
	}
}
