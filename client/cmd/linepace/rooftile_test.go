package main

import (
	"context"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// tile is what a product asks of the demo line.
type tile struct {
	file                                                             string
	dryTotal, clayPercent, oxidePercent, moisture                    float64 // kg/h, %, %, % wet
	takeaway, piece, coolerPercent, glaze, dryerMinutes, kilnMinutes float64 // m/min, m, %, mL/min
}

var tiles = []tile{
	{"product-a.yaml", 1620, 78, 2, 17, 5.6, 0.425, 104, 2400, 95, 54},
	{"product-b.yaml", 1650, 74.5, 3.2, 17.6, 6.3, 0.375, 105, 2950, 88, 47},
}

// drive is what a drive of the demo line must be given and then does.
type drive struct {
	id         string
	output     float64 // count, mA or V
	motorRPM   float64
	lastRPM    float64
	achieved   float64
	low, high  float64 // of the value, as the drive holds its speed
	readout    string  // "" for none
	pulseHz    float64
	isCount    bool
	motorRatio float64 // motor turns per turn of the last shaft
}

// byHand works the demo out by the textbook, in plain floating point with the
// numbers of line.yaml written out:
//
//	roll      v = pi * (d + belt) * n      sprocket  v = teeth * pitch * n
//	screw     kg/h = L/r * fill * kg/L * n pump      Q = displacement * n - slip flow
//	dwell     t = L / v                    stage     n2 = n1 * z1 / z2, n1 / ratio, n1 * d1 / d2 * (1 - slip)
//	register  count = round(k0 + (x - x0) * (k1 - k0) / (x1 - x0))
func byHand(p tile) []drive {
	const regulation = 0.001 * 1500 // r/min of most motors here
	// A screw gives perTurn kg a turn of its own shaft.
	screw := func(id string, kgPerHour, litres, fill, density, ratio, rpmPerCount float64) drive {
		perTurn := litres * fill * density * 60 // kg/h at 1 r/min
		d := drive{id: id, motorRatio: ratio, isCount: rpmPerCount > 0}
		d.motorRPM = kgPerHour / perTurn * ratio
		if d.isCount {
			d.output = math.Round(d.motorRPM / rpmPerCount)
			d.motorRPM = d.output * rpmPerCount
		}
		value := func(rpm float64) float64 { return rpm / ratio * perTurn }
		d.achieved, d.low, d.high = value(d.motorRPM), value(d.motorRPM-regulation), value(d.motorRPM+regulation)
		d.pulseHz = d.motorRPM
		return d
	}
	clay := screw("clay-screw", p.dryTotal*p.clayPercent/100/(1-p.moisture/100), 2.6, 0.85, 1.15, 40.15*38/15, 0.1)
	clay.readout = fixed(clay.motorRPM, 1)
	oxide := screw("oxide-screw", p.dryTotal*p.oxidePercent/100, 0.062, 0.95, 0.9, 50, 0)
	oxide.output, oxide.readout = 4+16*oxide.motorRPM/1500, fixed(oxide.motorRPM, 0)
	// A count of the grog register is 0.1 L/h, and its screw gives 0.95 L * 0.9 a turn.
	grogRatio := 63.0 / 18 * 38.5
	grog := screw("grog-screw", p.dryTotal*(100-p.clayPercent-p.oxidePercent)/100, 0.95, 0.9, 1.28, grogRatio, 0.1/60/(0.95*0.9)*grogRatio)
	grog.readout = fixed(grog.output/10, 1)

	takeaway := drive{id: "takeaway", isCount: true, output: math.Round(p.takeaway * 1000), motorRatio: 49.6 * 23 / 17}
	belt := math.Pi * 0.164
	takeaway.achieved = takeaway.output / 1000
	takeaway.motorRPM = takeaway.achieved / belt * takeaway.motorRatio
	off := 0.001 * 1440 / takeaway.motorRatio * belt
	takeaway.low, takeaway.high = takeaway.achieved-off, takeaway.achieved+off
	takeaway.readout, takeaway.pulseHz = fixed(takeaway.achieved, 2), takeaway.motorRPM*256/60

	cutter := drive{id: "cutter", isCount: true, output: math.Round(takeaway.achieved / p.piece * 1000), motorRatio: 60}
	cutter.achieved = cutter.output / 1000
	cutter.motorRPM = cutter.achieved * 60
	cutter.low, cutter.high = cutter.achieved*0.9995, cutter.achieved*1.0005
	cutter.readout, cutter.pulseHz = fixed(cutter.achieved, 2), cutter.motorRPM*1024/60

	vBelt := 160 / 125.0 / (1 - 0.015)
	cooler := drive{id: "cooler", isCount: true, motorRatio: vBelt * 50}
	perSensorTurn := 12 * 0.0381 / 50
	cooler.output = math.Round(takeaway.achieved * p.coolerPercent / 100 / perSensorTurn * 10)
	cooler.motorRPM = cooler.output / 10 * vBelt
	value := func(motorRPM float64) float64 { return motorRPM / vBelt * perSensorTurn }
	cooler.achieved, cooler.low, cooler.high = value(cooler.motorRPM), value(cooler.motorRPM-regulation), value(cooler.motorRPM+regulation)
	cooler.readout, cooler.pulseHz = fixed(cooler.achieved, 2), cooler.output/10

	glaze := drive{id: "glaze-pump", isCount: true, motorRatio: 2.5}
	glaze.output = math.Round((p.glaze + 90) / 6.2 * 2.5 * 20)
	glaze.motorRPM = glaze.output / 20
	value = func(motorRPM float64) float64 { return (motorRPM/2.5*6.2 - 90) / 1000 }
	glaze.achieved, glaze.low, glaze.high = value(glaze.motorRPM), value(glaze.motorRPM-regulation), value(glaze.motorRPM+regulation)
	glaze.readout, glaze.pulseHz = fixed(glaze.achieved, 3), glaze.motorRPM

	dryer := drive{id: "dryer-chain", motorRatio: 180 * 57.0 / 12}
	dryer.motorRPM = 72 / p.dryerMinutes / (8 * 0.1) * dryer.motorRatio
	dryer.output, dryer.achieved = dryer.motorRPM/150, p.dryerMinutes
	dryer.low, dryer.high = p.dryerMinutes, p.dryerMinutes/0.996
	dryer.readout, dryer.pulseHz = fixed(p.dryerMinutes, 1), dryer.motorRPM

	kiln := drive{id: "kiln-rollers", isCount: true, motorRatio: 71.25 * 32 / 15}
	minutes := func(motorRPM float64) float64 { return 48 / (motorRPM / kiln.motorRatio * math.Pi * 0.045) }
	kiln.output = math.Round(minutes(1) / p.kilnMinutes / 0.08)
	kiln.motorRPM = kiln.output * 0.08
	kiln.achieved, kiln.low, kiln.high = minutes(kiln.motorRPM), minutes(kiln.motorRPM+regulation), minutes(kiln.motorRPM-regulation)
	kiln.readout, kiln.pulseHz = fixed(kiln.achieved, 1), kiln.motorRPM

	drives := []drive{clay, oxide, grog, takeaway, cutter, cooler, glaze, dryer, kiln}
	for i := range drives {
		drives[i].lastRPM = drives[i].motorRPM / drives[i].motorRatio
	}
	return drives
}

func fixed(x float64, decimals int) string { return strconv.FormatFloat(x, 'f', decimals, 64) }

// TestRooftileByHand compares the plans of the demo with the working by hand.
// 1e-12 is what plain floating point loses in the few steps of byHand.
func TestRooftileByHand(t *testing.T) {
	for i, p := range tiles {
		t.Run(p.file, func(t *testing.T) {
			plan := planRooftile(t, p.file, tiles[1-i].file)
			require.Equal(t, linepacev1.Check_RUNNABLE, plan.GetVerdict())
			got := map[string]*linepacev1.Setpoint{}
			for _, s := range plan.GetSetpoints() {
				got[s.GetDriveId()] = s
			}
			before := byHand(tiles[1-i])
			for j, want := range byHand(p) {
				s := got[want.id]
				require.NotNil(t, s, want.id)
				require.Equal(t, linepacev1.Setpoint_RUN, s.GetAction(), want.id)
				near := func(what string, want, got float64) {
					require.InEpsilon(t, want, got, 1e-12, "%s: %s", s.GetDriveId(), what)
				}
				near("output", want.output, float64(s.GetCount())+s.GetMilliamps()+s.GetVolts())
				require.Equal(t, want.isCount, s.Count != nil, want.id)
				near("motor", want.motorRPM, s.GetAchievedRpm())
				near("last shaft", want.lastRPM, s.GetLastShaftRpm())
				near("achieved", want.achieved, s.GetAchieved().GetValue())
				near("low", want.low, s.GetBand().GetLow().GetValue())
				near("high", want.high, s.GetBand().GetHigh().GetValue())
				near("pulses", want.pulseHz, s.GetPulseHz())
				require.Equal(t, want.readout, s.GetReadoutText(), want.id)
				require.True(t, s.GetWithinTolerance() && s.GetBandWithinTolerance(), want.id)
				change := s.GetChange()
				near("speed before", before[j].motorRPM, change.GetFromRpm())
				near("change", (want.motorRPM/before[j].motorRPM-1)*100, change.GetSpeedChangePercent())
				if want.isCount {
					require.EqualValues(t, before[j].output, change.GetFromCount(), want.id)
				}
			}
			require.Equal(t, linepacev1.Setpoint_STOP, got["pumice-screw"].GetAction())
			require.EqualValues(t, 0, got["pumice-screw"].GetCount())
			require.Equal(t, linepacev1.Setpoint_LEAVE, got["kiln-fan"].GetAction())
			require.Len(t, got, 11)
		})
	}
}

// The hasty product is out of the kiln's reach by 30 min against 48 m at 1500 r/min.
func TestRooftileTooFast(t *testing.T) {
	plan := planRooftile(t, "product-too-fast.yaml", "product-a.yaml")
	require.Equal(t, linepacev1.Check_NOT_RUNNABLE, plan.GetVerdict())
	fastest := 48 / (1500 / (71.25 * 32 / 15) * math.Pi * 0.045) // min
	for _, s := range plan.GetSetpoints() {
		if s.GetDriveId() == "kiln-rollers" {
			require.Nil(t, s.Count)
			require.InEpsilon(t, 1500*fastest/30, s.GetDemandedRpm(), 1e-12)
		}
	}
	for _, check := range plan.GetChecks() {
		if check.GetSeverity() == linepacev1.Check_ERROR {
			require.Equal(t, linepacev1.Check_ABOVE_HIGHEST_SPEED, check.GetCode())
			require.Equal(t, "kiln-rollers", check.GetDriveId())
			require.Equal(t, linepacev1.Check_MOTOR, check.GetBinds())
			require.InEpsilon(t, fastest, check.GetLimit().GetValue(), 1e-12)
			require.InEpsilon(t, (fastest/30-1)*100, check.GetExcessPercent(), 1e-12)
			require.GreaterOrEqual(t, check.GetFit().GetValue(), fastest)
		}
	}
}

func planRooftile(t *testing.T, product, running string) *linepacev1.PlanResponse {
	t.Helper()
	folder := filepath.Join("..", "..", "..", "testdata", "rooftile")
	f := &planFlags{
		line:    filepath.Join(folder, "line.yaml"),
		product: filepath.Join(folder, product), running: filepath.Join(folder, running),
	}
	req, _, err := f.request(nil)
	require.NoError(t, err)
	c, end, err := f.server.connect(io.Discard)
	require.NoError(t, err)
	defer end()
	plan, err := c.Plan(context.Background(), req)
	require.NoError(t, err)
	return plan
}
