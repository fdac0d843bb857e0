package changeover

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/scaling"
)

// A demand so little past the limit that float64 shows no difference is offered a
// value on the side where the drive can run: 60 m in 40 s are 900 r/min, 20/9 of
// which are the follower's 2000 r/min, and 222.22222222222223 percent are a little
// more.
func TestFitNextToTheLimit(t *testing.T) {
	req := request()
	req.Product.Demands[3].Time = q(40, "s")
	req.Product.Demands[0] = followingAt("cooler", "kiln", 222.22222222222223)
	check := checkOf(t, mustPlan(t, req), "cooler")
	require.Equal(t, scaling.AboveHighestSpeed, check.Code)
	require.Equal(t, 200.0, check.Limit.Value)
	require.Equal(t, "product.demands[3].dwell.time", check.FitField)
	require.Greater(t, check.Fit.Value, 40.0)

	req.Product.Demands[3].Time = check.Fit
	fitted := mustPlan(t, req)
	require.True(t, fitted.of("cooler").Count.Set)
}
