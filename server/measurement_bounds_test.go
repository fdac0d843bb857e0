package server

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// References at the ends of what is taken, in all combinations of two and three: each
// line is told in numbers that JSON has, or refused.
func TestReferencesAtTheirBounds(t *testing.T) {
	s, err := New(Config{})
	require.NoError(t, err)
	var ends []*linepacev1.Reference
	for _, value := range []float64{1e-12, 1, 1e12} {
		for _, rpm := range []float64{1e-12, 1e6} {
			for _, percent := range []float64{1e-12, 100} {
				ends = append(ends, &linepacev1.Reference{Value: &linepacev1.Quantity{Value: value, Unit: "m3/s"}, MotorRpm: rpm, UncertaintyPercent: &percent})
			}
		}
	}
	answered := 0
	ask := func(pump bool, refs ...*linepacev1.Reference) {
		drive := &linepacev1.Drive{Id: "d", Motor: &linepacev1.Motor{MaxRpm: 2000}, References: refs}
		if pump {
			drive.Delivery = &linepacev1.Delivery{Kind: &linepacev1.Delivery_Pump_{Pump: &linepacev1.Delivery_Pump{Displacement: &linepacev1.Quantity{Value: 1, Unit: "L/r"}}}}
		}
		out, err := s.Scaling().Scale(t.Context(), &linepacev1.ScaleRequest{Drive: drive, IncludeWorking: true})
		if err != nil {
			require.Contains(t, err.Error(), "drive.references")
			return
		}
		_, err = codec.Append(nil, out)
		require.NoError(t, err, "%v", refs)
		answered++
	}
	for _, a := range ends {
		for _, b := range ends {
			ask(false, a, b)
			ask(true, a, b)
			for _, c := range ends {
				ask(true, a, b, c)
			}
		}
	}
	require.Greater(t, answered, 500)
}
