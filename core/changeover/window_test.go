package changeover

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

func mustFind(t *testing.T, req *WindowRequest) *Windows {
	t.Helper()
	out, faults, ok := FindWindows(req, nil, nil)
	require.NoError(t, faults.Err())
	require.True(t, ok)
	return &out
}

// limited is a drive without register, so that nothing is rounded.
func limited(id string, low, high float64, of scaling.Delivery) scaling.Drive {
	return scaling.Drive{ID: id, Motor: scaling.Motor{MinRPM: low, MaxRPM: high}, Delivery: of}
}

// Worked by hand. Clay: 50 mL a turn of 1.35 kg/L is 4.05 kg/h for each r/min, dry
// 3.321; from 90 r/min to the sensor's 1500 Hz / 60 = 1500 r/min, over 82.5 %: 362.29
// to 6038.18 kg/h. Grog: 14 mL of 1.2 kg/L is 1.008 kg/h, from 90 to 1750 r/min over
// 17.5 %: 518.4 to 10080 kg/h. Of 3000 kg/h that is -82.72 % to +101.27 %.
func TestWindowByHand(t *testing.T) {
	clay := limited("clay", 90, 1750, scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(50, "mL/r")})
	clay.Sensors = []scaling.Sensor{{ID: "pickup", Kind: scaling.ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60, MaxHz: scaling.Some(1500.0)}}
	req := &WindowRequest{
		Drives: []scaling.Drive{clay, limited("grog", 90, 1750, scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(14, "mL/r")})},
		Materials: []scaling.Material{{ID: "clay", BulkDensity: q(1.35, "kg/L"), Moisture: scaling.Moisture{Percent: 18, Basis: scaling.WetBasis}},
			{ID: "grog", BulkDensity: q(1.2, "kg/L")}},
		Blends: []Blend{{ID: "tile", Basis: Mass, TotalBasis: Dry, Total: q(3000, "kg/h"), Components: []Component{
			{DriveID: "clay", MaterialID: "clay", SharePercent: 82.5}, {DriveID: "grog", MaterialID: "grog", Balance: true}}}},
		Working: true,
	}
	out := mustFind(t, req)
	w := out.Of[0]
	require.InEpsilon(t, 518.4, w.Low.Value, 1e-14)
	require.InEpsilon(t, 6038.181818181818, w.High.Value, 1e-14)
	require.Equal(t, []any{"grog", scaling.MotorBound, "clay", scaling.SensorBound}, []any{w.LowDrive, w.LowBinds, w.HighDrive, w.HighBinds})
	require.InEpsilon(t, 6038.181818181818/518.4, w.Turndown().Value, 1e-14)
	require.True(t, w.AnyFits)
	require.Equal(t, scaling.Some(true), w.AskedFits)
	require.Equal(t, "blends[0].total", w.Field)
	require.InEpsilon(t, -82.72, out.Trim.Value.LowPercent, 1e-12)
	require.InEpsilon(t, 101.27272727272727, out.Trim.Value.HighPercent, 1e-12)
	for _, step := range out.Working {
		got, want, err := formulatest.Evaluate(step)
		require.NoError(t, err)
		require.InDelta(t, want, got, 1e-12+1e-12*max(want, -want), "%+v", step)
	}

	// A second product that needs 12000 kg/h of its leader has no window in common.
	req.Blends = append(req.Blends, Blend{Basis: Mass, TotalBasis: AsFed, LeaderID: "grog", LeaderRate: q(300, "kg/h"), Components: []Component{
		{DriveID: "clay", MaterialID: "clay", SharePercent: 98}, {DriveID: "grog", MaterialID: "grog", SharePercent: 2}}})
	req.Working = true
	out = mustFind(t, req)
	w = out.Of[1] // clay: 4.05 kg/h * 1500 / 98 * 2 = 123.98 at most; grog: 90.72 at least
	require.InEpsilon(t, 90.72, w.Low.Value, 1e-14)
	require.InEpsilon(t, 4.05*1500/98*2, w.High.Value, 1e-14)
	require.Equal(t, scaling.Some(false), w.AskedFits)
	require.Equal(t, "blends[1].leaderRate", w.Field)
	require.Equal(t, 1, out.Trim.Value.HighBlend)
	require.Less(t, out.Trim.Value.HighPercent, 0.0)
	for _, step := range out.Working {
		got, want, err := formulatest.Evaluate(step)
		require.NoError(t, err)
		require.InDelta(t, want, got, 1e-12+1e-12*max(want, -want), "%+v", step)
	}

	req.Blends = []Blend{{Basis: Volume, Components: []Component{{DriveID: "clay", SharePercent: 1}, {DriveID: "grog", SharePercent: 99}}}}
	out = mustFind(t, req) // clay needs 4.5/0.01 = 450 L/min at least, grog 24.5/0.99 at most
	require.False(t, out.Of[0].AnyFits)
	require.False(t, out.Of[0].AskedFits.Set)
	require.False(t, out.Trim.Set)
	require.InEpsilon(t, 450, out.Of[0].Low.Value, 1e-14)
	require.InEpsilon(t, 24.5/0.99, out.Of[0].High.Value, 1e-14)
}

// Planning at both sides of both ends of random windows finds what the window says,
// though it reckons the other way: from the total to each drive's speed.
func TestWindowsAgainstPlanning(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 14))
	tried := 0
	for range 400 {
		n := 1 + r.IntN(5)
		req := &WindowRequest{Materials: []scaling.Material{
			{ID: "wet", Density: q(1.1, "kg/L"), BulkDensity: q(1.35, "kg/L"), Moisture: scaling.Moisture{Percent: 18, Basis: scaling.WetBasis}},
			{ID: "damp", Density: q(0.9, "kg/L"), BulkDensity: q(0.8, "kg/L"), Moisture: scaling.Moisture{Percent: 30, Basis: scaling.DryBasis}}}}
		b := Blend{Basis: Mass, TotalBasis: TotalBasis(1 + r.IntN(2)), Total: q(1, "kg/min")}
		for k := range n {
			of := []scaling.Delivery{
				{Kind: scaling.Screw, VolumePerTurn: q(1+9*r.Float64(), "mL/r")},
				{Kind: scaling.Feeder, MassPerTurn: q(1+9*r.Float64(), "g/r")},
				{Kind: scaling.Pump, Displacement: q(1+9*r.Float64(), "mL/r"), SlipFlow: q(50*r.Float64(), "mL/min")},
			}[r.IntN(3)]
			id := fmt.Sprint("drive-", k)
			req.Drives = append(req.Drives, limited(id, 50*r.Float64()+1, 1000+1000*r.Float64(), of))
			b.Components = append(b.Components, Component{DriveID: id, MaterialID: []string{"wet", "damp"}[r.IntN(2)], SharePercent: float64(100 / n)})
		}
		b.Components[n-1].SharePercent, b.Components[n-1].Balance = 0, true
		if r.IntN(2) == 0 {
			b.Total, b.LeaderID = units.Quantity{}, fmt.Sprint("drive-", r.IntN(n))
		}
		req.Blends = []Blend{b}
		w := mustFind(t, req).Of[0]
		if !w.AnyFits {
			continue
		}
		for _, at := range []struct {
			value float64
			fits  bool
			drive string
		}{
			{w.Low.Value * (1 + 1e-9), true, ""}, {w.High.Value * (1 - 1e-9), true, ""},
			{w.Low.Value * (1 - 1e-9), false, w.LowDrive}, {w.High.Value * (1 + 1e-9), false, w.HighDrive},
		} {
			if at.value == 0 || w.High.Value < w.Low.Value*1.01 {
				continue
			}
			tried++
			asked := units.Quantity{Value: at.value, Unit: w.Low.Unit}
			if b.LeaderID != "" {
				b.LeaderRate = asked
			} else {
				b.Total = asked
			}
			mix, faults, _ := Mix(&BlendRequest{Drives: req.Drives, Materials: req.Materials, Blend: &b}, nil, nil)
			require.NoError(t, faults.Err())
			var out []string
			for _, check := range mix.Checks {
				if check.Code.Severity() == scaling.Error && check.Code != scaling.LeaderHasNoSetpoint {
					out = append(out, check.DriveID)
				}
			}
			if at.fits {
				require.Empty(t, out)
				continue
			}
			require.Contains(t, out, at.drive)
			require.NotNil(t, mix.Checks[0].Window)
			require.InEpsilon(t, w.High.Value, mix.Checks[0].Window.High.Value, 1e-12)
		}
	}
	require.Greater(t, tried, 800)
}

// In a plan the window of a demand takes in all that follows it: rolls by ratio, a
// cutter by length, a dose by mass, a blend by its leader, for a rate and for a time.
func TestWindowOfAChain(t *testing.T) {
	sprocket := scaling.Delivery{Kind: scaling.Sprocket, Teeth: 10, Pitch: q(0.1, "m")} // 1 m a turn
	line := &Line{
		Drives: []scaling.Drive{
			limited("belt", 10, 100, sprocket), limited("draw", 10, 100, sprocket),
			limited("cutter", 10, 100, scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 1}),
			limited("glue", 0, 10, scaling.Delivery{Kind: scaling.Feeder, MassPerTurn: q(1, "kg/r")}),
			limited("filler", 1, 6, scaling.Delivery{Kind: scaling.Feeder, MassPerTurn: q(1, "kg/r")}),
			limited("fan", 30, 1000, scaling.Delivery{}),
		},
		Sections: []scaling.Section{{ID: "oven", DriveID: "belt", Length: q(120, "m")}},
	}
	product := func(head Demand) *Product {
		return &Product{Demands: []Demand{head,
			{DriveID: "draw", Kind: Ratio, LeaderID: "belt", Percent: 200, Basis: ProcessRate},      // at most 50 m/min of the belt
			{DriveID: "cutter", Kind: LengthPerPiece, LeaderID: "draw", Length: q(2, "m")},          // at least 10 pc/min: 20 m/min drawn, 10 m/min
			{DriveID: "glue", Kind: Dose, LeaderID: "cutter", Amount: q(250, "g"), Per: q(1, "pc")}, // at most 40 pc/min: 80 m/min drawn, 40 m/min
			{DriveID: "fan", Kind: Ratio, LeaderID: "cutter", Percent: 200, Basis: MotorSpeed},      // at least 15 pc/min: 15 m/min
		}, Blends: []Blend{{ID: "mix", Basis: Mass, LeaderID: "glue", Components: []Component{
			{DriveID: "glue", SharePercent: 60}, {DriveID: "filler", SharePercent: 40}}}}} // at most 6 kg/min: 9 of glue, 36 pc/min, 36 m/min; at least 1: 1.5 of glue, 6 m/min
	}
	req := &Request{Line: line, Product: product(rate("belt", 90, "m/min"))}
	plan := mustPlan(t, req)
	check := checkOf(t, plan, "draw")
	require.Equal(t, "product.demands[0].rate", check.Window.Field)
	require.InEpsilon(t, 15, check.Window.Low.Value, 1e-14)
	require.InEpsilon(t, 36, check.Window.High.Value, 1e-14)
	require.Equal(t, []string{"fan", "filler"}, []string{check.Window.LowDrive, check.Window.HighDrive})

	for _, v := range []float64{15.0000001, 35.9999999} {
		req.Product.Demands[0].Rate.Value = v
		require.Equal(t, Runnable, mustPlan(t, req).Verdict)
	}
	for v, drive := range map[float64]string{14.9999999: "fan", 36.0000001: "filler"} {
		req.Product.Demands[0].Rate.Value = v
		require.NotNil(t, checkOf(t, mustPlan(t, req), drive))
	}

	req.Product = product(Demand{DriveID: "belt", Kind: Dwell, SectionIDs: []string{"oven"}, Time: q(1, "min")})
	plan = mustPlan(t, req)
	w := checkOf(t, plan, "belt").Window
	require.InEpsilon(t, 120.0/36, w.Low.Value, 1e-14)
	require.InEpsilon(t, 8, w.High.Value, 1e-14)
	require.Equal(t, []string{"filler", "fan"}, []string{w.LowDrive, w.HighDrive})
	require.Equal(t, "product.demands[0].dwell.time", w.Field)
}

func TestWindowsEndWhenStopped(t *testing.T) {
	req := &WindowRequest{Drives: []scaling.Drive{doser("a", 10, 1)}, Blends: []Blend{{Basis: Mass, Components: []Component{{DriveID: "a", SharePercent: 100}}}}}
	_, faults, ok := FindWindows(req, nil, func() bool { return true })
	require.Empty(t, faults)
	require.False(t, ok)
	req.Materials = []scaling.Material{{ID: "a", Density: q(0, "kg/L")}}
	req.Blends = append(req.Blends, req.Blends...)
	_, faults, _ = FindWindows(req, fault.List{{Path: "x"}}, nil)
	require.Len(t, faults, 2, "the materials are told once")
}
