package changeover

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/dwell"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

// tunnels is a line of two belts, 60 m and 40 m, with a dead plate of 2 m between.
func tunnels(d dwell.Demand) *Request {
	if d.Piece.Meaning == dwell.NoMeaning {
		d.Piece.Meaning = dwell.Point
	}
	req := &Request{
		Line: &Line{ID: "line", Drives: []scaling.Drive{belt("kiln"), belt("cooler")}, Sections: []scaling.Section{
			{ID: "heat", DriveID: "kiln", Length: q(60, "m"), DeadPlate: q(2, "m")},
			{ID: "cool", DriveID: "cooler", Length: q(40, "m")},
		}},
		Product: &Product{ID: "product", Demands: []Demand{
			{DriveID: "kiln", Kind: Dwell, Dwell: &d}, {DriveID: "cooler", Kind: Dwell, Dwell: &d},
		}},
		Working: true,
	}
	return req
}

// Worked by hand: 62 m and 40 m with the second belt at half the speed of the first
// are 142 m at the first's speed, in 2 min 71 m/min; 0.1 m a turn.
func TestPlanOfBeltsInSeries(t *testing.T) {
	plan := mustPlan(t, tunnels(dwell.Demand{SectionIDs: []string{"heat", "cool"}, Time: q(2, "min"),
		Belts: []dwell.Belt{{DriveID: "kiln", SpeedPercent: scaling.Some(100.0)}, {DriveID: "cooler", SpeedPercent: scaling.Some(50.0)}}}))
	require.Equal(t, int32(7100), plan.of("kiln").Count.Value)
	require.Equal(t, int32(3550), plan.of("cooler").Count.Value)
	require.InEpsilon(t, 62.0/71, plan.of("kiln").Demanded.Value, 1e-15)
	require.InEpsilon(t, 80.0/71, plan.of("cooler").Achieved.Value, 1e-15)
}

// A belt that cannot run its part is offered a whole time that it can, and with it a
// plan runs.
func TestFitOfBeltsInSeries(t *testing.T) {
	demand := dwell.Demand{SectionIDs: []string{"heat", "cool"}, AtLeast: q(0.5, "min"), AtMost: units.Quantity{},
		Belts: []dwell.Belt{{DriveID: "kiln", TimeSharePercent: scaling.Some(80.0)}, {DriveID: "cooler", TimeSharePercent: scaling.Some(20.0)}}}
	demand.AtLeast, demand.AtMost = units.Quantity{}, q(0.5, "min") // 40 m in 0.1 min are 4000 r/min
	req := tunnels(demand)
	check := checkOf(t, mustPlan(t, req), "cooler")
	require.Equal(t, scaling.AboveHighestSpeed, check.Code)
	require.Equal(t, "product.demands[1].dwell.atMost", check.FitField)
	require.InEpsilon(t, 1, check.Fit.Value, 1e-4)
	req.Product.Demands[1].Dwell.AtMost = check.Fit
	fitted := mustPlan(t, req)
	require.True(t, fitted.of("cooler").Count.Set)
}

// A plan gives the setpoints that the single calculation gives, rests on the formulas
// that its working shows, and each step adds up.
func TestPlanOfAnyDwell(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 5))
	runs, bounds := 0, 0
	for range 1500 {
		d := anyDwell(r)
		req := tunnels(d)
		drive := 0
		if len(d.Belts) == 0 { // one drive has all of it
			req.Line.Sections[1].DriveID = "kiln"
			req.Product.Demands[1] = Demand{DriveID: "cooler", Kind: Stopped}
			drive = 1
		}
		plan, faults, _ := Make(req, nil, nil)
		alone, aloneFaults := dwell.Find(&dwell.Request{Drives: req.Line.Drives, Sections: req.Line.Sections, Demand: *req.Product.Demands[0].Dwell}, nil)
		require.Equal(t, len(aloneFaults) > 0, len(faults) > 0, "%v %v", aloneFaults, faults)
		if len(faults) > 0 {
			continue
		}
		for i := range alone.Setpoints {
			require.Equal(t, alone.Setpoints[i].Setpoint, plan.of(alone.Setpoints[i].Drive.ID).Setpoint, "%+v", d)
		}
		ids := Formulas(req, &plan)
		for i := range plan.Setpoints[:len(plan.Setpoints)-drive] {
			sp := plan.of(req.Line.Drives[i].ID)
			runs += b2i(sp.Count.Set)
			bounds += b2i(sp.Margin.Unit != nil)
			for _, step := range sp.Working {
				got, want, err := formulatest.Evaluate(step)
				require.NoError(t, err)
				require.InDelta(t, want, got, 1e-9*(1+math.Abs(want)), "%s", step.Formula)
				require.True(t, slices.Contains(ids, step.ID), "%s is not among %v", step.ID, ids)
			}
		}
	}
	require.Greater(t, runs, 500)
	require.Greater(t, bounds, 300)
}

func anyDwell(r *rand.Rand) dwell.Demand {
	d := dwell.Demand{SectionIDs: []string{"heat", "cool"}, Piece: dwell.Piece{Meaning: dwell.Point}}
	time := q(0.4+3*r.Float64(), "min")
	switch r.IntN(4) {
	case 0:
		d.Time = time
	case 1:
		d.AtLeast = time
	case 2:
		d.AtMost = time
	default:
		d.AtLeast, d.AtMost = time, q(time.Value*(1+0.001*r.Float64()), "min")
	}
	if r.IntN(2) == 0 {
		d.Piece = dwell.Piece{Length: q(120*r.Float64()*r.Float64(), "m"), Meaning: dwell.WholePiece + dwell.Meaning(r.IntN(2))}
	}
	switch share := 100 * r.Float64(); r.IntN(3) {
	case 0:
		d.Belts = []dwell.Belt{{DriveID: "kiln", SpeedPercent: scaling.Some(share)}, {DriveID: "cooler", SpeedPercent: scaling.Some(100.0)}}
	case 1:
		share = math.Round(share)
		d.Belts = []dwell.Belt{{DriveID: "kiln", TimeSharePercent: scaling.Some(share)}, {DriveID: "cooler", TimeSharePercent: scaling.Some(100 - share)}}
	}
	return d
}
