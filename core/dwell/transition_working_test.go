package dwell

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	"linepace.example/core/scaling/formulatest"
)

// Every step's formula gives the step's result from the step's inputs.
func TestWorkingOfATransition(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 3))
	names, formulas := map[string]bool{}, map[string]bool{}
	for range 2000 {
		in := random(r)
		var faults fault.List
		in.Validate(nil, &faults)
		if len(faults) > 0 {
			continue
		}
		out := in.Outcome()
		for _, s := range in.Working(&out) {
			got, want, err := formulatest.Evaluate(s)
			require.NoError(t, err)
			require.InDelta(t, want, got, 1e-9*(1+max(want, -want)), "%s of %+v", s.Formula, in)
			names[s.ID], formulas[s.Formula] = true, true
		}
	}
	require.Len(t, names, 6)
	require.Len(t, formulas, 15, "%v", formulas)
}
