package changeover

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

func dosed(id, leader string, amount, per units.Quantity) Demand {
	return Demand{DriveID: id, Kind: Dose, LeaderID: leader, Amount: amount, Per: per, MaterialID: "glue"}
}

// Worked by hand: 12 g/m at 20 m/min is 240 g/min, at 1.2 kg/L 200 mL/min; 3 mL a
// piece at 40 pc/min is 120 mL/min; 25 g for each 2 kg at 90 kg/min is 1.125 kg/min;
// 4 g for each 1 L at 90 kg/min of 1.5 kg/L, 60 L/min, is 240 g/min.
func TestDoses(t *testing.T) {
	plain := func(id string, of scaling.Delivery) scaling.Drive {
		d := drive(id, of)
		d.Motor, d.Register = scaling.Motor{MaxRPM: 1e5}, scaling.Register{}
		return d
	}
	pump := plain("pump", scaling.Delivery{Kind: scaling.Pump, Displacement: q(10, "mL/r")})
	strewer := plain("strewer", scaling.Delivery{Kind: scaling.Feeder, MassPerTurn: q(10, "g/r")})
	materials := []scaling.Material{{ID: "glue", Density: q(1.2, "kg/L")}, {ID: "grain", BulkDensity: q(1.5, "kg/L")}}
	leaders := map[string]scaling.Drive{
		"web":  plain("web", scaling.Delivery{Kind: scaling.Sprocket, Teeth: 10, Pitch: q(0.1, "m")}),
		"cuts": plain("cuts", scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 1}),
		"belt": plain("belt", scaling.Delivery{Kind: scaling.Feeder, MassPerTurn: q(1, "kg/r")}),
	}
	of := map[string]Demand{"web": rate("web", 20, "m/min"), "cuts": rate("cuts", 40, "pc/min"), "belt": {DriveID: "belt", Kind: Rate, Rate: q(90, "kg/min"), MaterialID: "grain"}}
	for _, tc := range []struct {
		follower      scaling.Drive
		leader        string
		amount, per   units.Quantity
		want          units.Quantity
		rpm           float64
		byWayOfOthers bool
	}{
		{strewer, "web", q(12, "g"), q(1, "m"), q(14.4, "kg/h"), 24, false},
		{pump, "web", q(12, "g"), q(1, "m"), q(14.4, "kg/h"), 20, true},
		{pump, "cuts", q(3, "mL"), q(1, "pc"), q(0.12, "L/min"), 12, false},
		{strewer, "belt", q(25, "g"), q(2, "kg"), q(67.5, "kg/h"), 112.5, false},
		{strewer, "belt", q(4, "g"), q(1, "L"), q(14.4, "kg/h"), 24, true},
		{plain("cutter", scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 1}), "web", q(3, "pc"), q(0.5, "m"), q(120, "pc/min"), 120, false},
	} {
		req := &Request{Line: &Line{Drives: []scaling.Drive{tc.follower, leaders[tc.leader]}},
			Product: &Product{Materials: materials, Demands: []Demand{dosed(tc.follower.ID, tc.leader, tc.amount, tc.per), of[tc.leader]}}, Working: true}
		plan := mustPlan(t, req)
		got := plan.of(tc.follower.ID)
		require.Equal(t, tc.want.Unit.Symbol(), got.Demanded.Unit.Symbol())
		require.InEpsilon(t, tc.want.Value, got.Demanded.Value, 1e-14)
		require.InEpsilon(t, tc.rpm, got.DemandedRPM.Value, 1e-14)
		named := Formulas(req, &plan)
		require.Contains(t, named, "dose/1")
		require.Equal(t, tc.byWayOfOthers, contains(named, "material-rate/1"))
		for _, step := range got.Working {
			require.Contains(t, named, step.ID)
			got, want, err := formulatest.Evaluate(step)
			require.NoError(t, err)
			require.InDelta(t, want, got, 1e-12+1e-12*want, "%+v", step)
		}
		running := *req
		running.Running = req.Product
		require.Subset(t, Formulas(&running, &plan), named)
	}
}

func contains(list []string, id string) bool {
	for _, v := range list {
		if v == id {
			return true
		}
	}
	return false
}

// A dose follows what its leader's count gives.
func TestDoseFollowsTheAchievedRate(t *testing.T) {
	web := doser("web", 1, 0.01) // a count for each 100 r/min
	req := &Request{Line: &Line{Drives: []scaling.Drive{web, doser("dose", 1, 10)}},
		Product: &Product{Demands: []Demand{rate("web", 0.43, "kg/min"), {DriveID: "dose", Kind: Dose, LeaderID: "web", Amount: q(1, "g"), Per: q(2, "g")}}}}
	plan := mustPlan(t, req)
	require.Equal(t, int32(4), plan.of("web").Count.Value) // 430 goes to 400 r/min
	require.Equal(t, int32(2000), plan.of("dose").Count.Value)
}
