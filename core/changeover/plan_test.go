package changeover

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

func q(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

// kiln is a roller kiln drive: 60:1 gearbox, 15:38 chain, 40 mm rollers, set in
// r/min with 0.1 r/min a count.
func kiln() scaling.Drive {
	return scaling.Drive{
		ID:    "kiln",
		Motor: scaling.Motor{MinRPM: 90, MaxRPM: 1750, Regulation: scaling.Regulation{Percent: scaling.Some(0.5), Of: scaling.MaxSpeed}},
		Transmission: []scaling.Stage{
			{Kind: scaling.Gearbox, Ratio: 60, Exact: true},
			{Kind: scaling.Chain, DriverTeeth: 15, DrivenTeeth: 38},
		},
		Delivery: scaling.Delivery{Kind: scaling.Roll, Diameter: q(40, "mm")},
		Sensors:  []scaling.Sensor{{ID: "pickup", Kind: scaling.ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60}},
		Readout:  scaling.Readout{Unit: units.MustParse("min"), Digits: 4, Decimals: 1},
		Register: scaling.Register{Kind: scaling.IntegerRegister, Type: scaling.Uint16, Span: [2]scaling.SpanPoint{
			{Count: scaling.Some[int32](0), Value: q(0, "r/min")},
			{Count: scaling.Some[int32](18000), Value: q(1800, "r/min")},
		}},
	}
}

func kilnRequest() *Request {
	line := Line{ID: "l", Drives: []scaling.Drive{kiln()}, Sections: []scaling.Section{{ID: "kiln", DriveID: "kiln", Length: q(48, "m")}}}
	product := Product{ID: "p", Demands: []Demand{{DriveID: "kiln", Kind: Dwell, SectionIDs: []string{"kiln"}, Time: q(42, "min"),
		Tolerance: scaling.Some(scaling.Tolerance{MinusPercent: 1, PlusPercent: 1})}}}
	return &Request{Line: &line, Product: &product}
}

func TestKilnDwell(t *testing.T) {
	req := kilnRequest()
	req.Working = true
	plan, faults, ok := Make(req, nil)
	require.Empty(t, faults)
	require.True(t, ok)
	sp := plan.Setpoints[0]
	t.Logf("%+v", sp)
	for _, s := range sp.Working {
		t.Logf("%+v", s)
	}
	t.Logf("%+v", plan.Checks)
	require.Equal(t, 1382.3743628553193, sp.DemandedRPM.Value)
}

func BenchmarkKiln(b *testing.B) {
	req := kilnRequest()
	b.ReportAllocs()
	for b.Loop() {
		Make(req, nil)
	}
}
