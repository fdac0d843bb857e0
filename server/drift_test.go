package server

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"linepace.example/core/drift"
	"linepace.example/core/scaling/formulatest"
	linepacev1 "linepace.example/proto/linepace/v1"
)

func value(v float64, unit string) *linepacev1.Quantity {
	return &linepacev1.Quantity{Value: v, Unit: unit}
}

// history are daily observations of a drive whose true delivery is a function of the
// day and the speed, amounts with a scatter of 0.4 %.
func history(days int, unit string, delivers func(day, rpm float64) float64) []*linepacev1.Observation {
	random := rand.New(rand.NewPCG(11, 12))
	start := time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC)
	var out []*linepacev1.Observation
	for day := range days {
		rpm := []float64{300, 450, 700}[random.IntN(3)]
		out = append(out, &linepacev1.Observation{
			Time: start.AddDate(0, 0, day).Format(time.RFC3339), MotorRpm: &rpm, Gate: value(600, "s"),
			Amount: value(10*delivers(float64(day), rpm)*(1+0.004*random.NormFloat64()), unit),
		})
	}
	return out
}

func wornPump() *linepacev1.AssessRequest {
	return &linepacev1.AssessRequest{
		Observations: history(150, "L", func(day, rpm float64) float64 { return 0.0125*rpm - 0.5 - 0.004*math.Max(0, day-60) }),
		Commissioned: &linepacev1.DeliveryModel{Model: &linepacev1.DeliveryModel_Pump_{Pump: &linepacev1.DeliveryModel_Pump{
			Displacement: value(12.5, "mL/r"), SlipFlow: value(30, "L/h")}}},
		Meter:            &linepacev1.Meter{AccuracyPercent: proto.Float64(0.5)},
		TolerancePercent: 5, Sigma: &linepacev1.Sigma{From: &linepacev1.Sigma_Baseline{Baseline: 30}},
		Duty:  &linepacev1.Duty{HoursPerDay: 16},
		Drive: &linepacev1.Drive{Id: "pump", Motor: &linepacev1.Motor{MaxRpm: 1450}}, IncludeWorking: true,
	}
}

func wornFeeder() *linepacev1.AssessRequest {
	return &linepacev1.AssessRequest{
		Observations:     history(80, "kg", func(day, rpm float64) float64 { return 0.01 * rpm * (1 - 0.0003*day) }),
		Commissioned:     &linepacev1.DeliveryModel{Model: &linepacev1.DeliveryModel_PerTurn{PerTurn: value(10, "g/r")}},
		TolerancePercent: 2, Sigma: &linepacev1.Sigma{From: &linepacev1.Sigma_Given{Given: 0.4}},
		Drive: &linepacev1.Drive{Id: "feeder", Motor: &linepacev1.Motor{MaxRpm: 900}}, IncludeWorking: true,
	}
}

// Each step of the working is what its formula makes of its inputs.
func TestAssessWorking(t *testing.T) {
	steady := wornFeeder()
	steady.Observations = history(40, "kg", func(_, rpm float64) float64 { return 0.01 * rpm })
	rising := wornFeeder()
	rising.Observations = history(60, "kg", func(day, rpm float64) float64 { return 0.01 * rpm * (1 + 0.0004*day) })
	for name, in := range map[string]*linepacev1.AssessRequest{"pump": wornPump(), "feeder": wornFeeder(), "steady": steady, "rising": rising} {
		t.Run(name, func(t *testing.T) {
			a, err := readAssess(t.Context(), in)
			require.NoError(t, err)
			found, err := drift.Assess(&a.study)
			require.NoError(t, err)
			steps := a.working(found)
			ids := map[string]bool{}
			for _, step := range steps {
				got, want, err := formulatest.Evaluate(step)
				require.NoError(t, err, step.ID)
				require.InDelta(t, want, got, 1e-9*math.Max(math.Abs(want), 1e-6), "%s: %s", step.ID, step.Name)
				ids[step.ID] = true
			}
			for _, id := range []string{"delivery-deviation/1", "commissioned-rate/1", "delivery-change/1", "loss-at-tolerance/1", "loss-at-speed/1", "line/1", "cusum/1", "ewma/1"} {
				require.True(t, ids[id], "no step of %s", id)
			}
			require.Equal(t, found.HasCorrection, ids["worn-model/1"])
		})
	}
}

// The answer in the terms of the request: what a pump that leaks more and more
// delivers, and until when. The truth is that of the simulation.
func TestAssessWornPump(t *testing.T) {
	out, err := driftService{}.Assess(t.Context(), wornPump())
	require.NoError(t, err)
	// By hand: after 149 days 0.004 * 89 = 0.356 L/min leak more.
	require.Equal(t, "L/h", out.GetNow().GetLoss().GetUnit(), "as the slip flow is given")
	require.InDelta(t, 0.356*60, out.GetNow().GetLoss().GetValue(), 0.5)
	require.Equal(t, linepacev1.AssessResponse_Change_RAMP, out.GetChange().GetKind())
	require.InDelta(t, 60, out.GetChange().GetIndex(), 6)
	require.True(t, out.GetTrend().GetSignificant())
	// 0.004 L/min a day of 16 running hours are 0.25 L/min in 1000 of them, 15 L/h.
	require.InDelta(t, 15, out.GetTrend().GetPer_1000Hours().GetValue(), 0.5)
	require.InDelta(t, 0.475, out.GetNow().GetMeterUncertaintyPercent(), 1e-12)
	overlay := out.GetCorrection().GetOverlay()
	require.Equal(t, "pump", overlay.GetDriveId())
	require.InDelta(t, 30+0.356*60, overlay.GetModel().GetPump().GetSlipFlow().GetValue(), 0.5)
	require.Len(t, overlay.GetEvidence().GetDigest(), 64)
	require.Equal(t, "2026-01-01T06:00:00Z", overlay.GetEvidence().GetFirst())
	require.Equal(t, "2026-05-30T06:00:00Z", overlay.GetEvidence().GetLast())
	for _, f := range out.GetForecasts() {
		if f.GetWhat() == linepacev1.AssessResponse_Forecast_SPEED_AT_LIMIT {
			at, err := time.Parse(time.RFC3339, f.GetTime())
			require.NoError(t, err)
			// 0.0125 * 1450 - 0.5 - 5.5 L/min (the mean flow, about) over 0.004 a day, after day 60.
			day := at.Sub(time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC)).Hours() / 24
			require.InDelta(t, 60+(0.0125*1450-0.5-5.5)/0.004, day, 200)
			require.Less(t, f.GetEarliest(), f.GetTime())
			require.Greater(t, f.GetLatest(), f.GetTime())
		}
	}
}

// The same observations as a list and as columns give the same assessment.
func TestColumnsAreTheSame(t *testing.T) {
	list := wornPump()
	columns := proto.CloneOf(list)
	start := time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC)
	columns.Observations, columns.Columns = nil, &linepacev1.ObservationColumns{Start: start.Format(time.RFC3339), AmountUnit: "L", GateSeconds: []float64{600}}
	for _, o := range list.GetObservations() {
		at, err := time.Parse(time.RFC3339, o.GetTime())
		require.NoError(t, err)
		columns.Columns.Seconds = append(columns.Columns.Seconds, at.Sub(start).Seconds())
		columns.Columns.MotorRpm = append(columns.Columns.MotorRpm, o.GetMotorRpm())
		columns.Columns.Amounts = append(columns.Columns.Amounts, o.GetAmount().GetValue())
	}
	want, err := driftService{}.Assess(t.Context(), list)
	require.NoError(t, err)
	got, err := driftService{}.Assess(t.Context(), columns)
	require.NoError(t, err)
	require.NotEqual(t, want.GetCorrection().GetOverlay().GetEvidence().GetDigest(), got.GetCorrection().GetOverlay().GetEvidence().GetDigest(), "it is of other bytes")
	got.Correction.Overlay.Evidence.Digest = want.GetCorrection().GetOverlay().GetEvidence().GetDigest()
	require.True(t, proto.Equal(want, got))
}

// A long series is thinned in the answer, and in no calculation.
func TestThinned(t *testing.T) {
	for _, points := range []int32{2, 7, 50, 149, 150} {
		in := wornPump()
		in.SeriesPoints = &points
		out, err := driftService{}.Assess(t.Context(), in)
		require.NoError(t, err)
		require.LessOrEqual(t, len(out.GetSeries()), int(points))
		if points == 150 {
			require.Len(t, out.GetSeries(), 150)
		}
		low, high := math.Inf(1), math.Inf(-1)
		for i, p := range out.GetSeries() {
			low, high = math.Min(low, p.GetPercent()), math.Max(high, p.GetPercent())
			require.True(t, i == 0 || p.GetIndex() > out.GetSeries()[i-1].GetIndex(), fmt.Sprint(points))
		}
		whole, err := driftService{}.Assess(t.Context(), wornPump())
		require.NoError(t, err)
		all := whole.GetSeries()
		lowest, highest := math.Inf(1), math.Inf(-1)
		for _, p := range all {
			lowest, highest = math.Min(lowest, p.GetPercent()), math.Max(highest, p.GetPercent())
		}
		require.Equal(t, []float64{lowest, highest}, []float64{low, high}, "the extremes stay")
		require.True(t, proto.Equal(whole.GetTrend(), out.GetTrend()))
	}
}

// The scale that a worn feeder's device is to take: readings of 10 g/r less the loss.
func TestCorrectionOfTheScale(t *testing.T) {
	in := wornFeeder()
	in.Drive.Delivery = &linepacev1.Delivery{Kind: &linepacev1.Delivery_Feeder_{Feeder: &linepacev1.Delivery_Feeder{MassPerTurn: value(10, "g/r")}}}
	in.Drive.Readout = &linepacev1.Readout{Unit: "kg/h", Digits: 5, Decimals: 1}
	in.ScaleFraction = &linepacev1.ScaleFractionBounds{MaxNumerator: 9999, MaxDenominator: 9999}
	out, err := driftService{}.Assess(t.Context(), in)
	require.NoError(t, err)
	f := out.GetCorrection().GetScaleFraction()
	// In last digits, 0.1 kg/h, for each r/min of the motor: g/r * 60 / 1000 * 10.
	perTurn := out.GetCorrection().GetOverlay().GetModel().GetPerTurn()
	require.Equal(t, "g/r", perTurn.GetUnit())
	require.InDelta(t, perTurn.GetValue()*0.6, float64(f.GetNumerator())/float64(f.GetDenominator()), 1e-6)
	require.Less(t, perTurn.GetValue(), 9.8)
}

// A wider scatter than the chart takes it for alarms falsely sooner, and so does it of a
// shift; the bounds of the baseline hold what is taken.
func TestRunLengthsAtTheBounds(t *testing.T) {
	out, err := driftService{}.Assess(t.Context(), wornPump())
	require.NoError(t, err)
	for _, chart := range []*linepacev1.AssessResponse_Chart{out.GetCusum(), out.GetEwma()} {
		require.Greater(t, chart.GetRunLengthLow(), chart.GetRunLengthInControl())
		require.Less(t, chart.GetRunLengthHigh(), chart.GetRunLengthInControl())
		require.Greater(t, chart.GetRunLengthInControl(), 10*chart.GetRunLengthAtShift())
		require.InDelta(t, chart.GetRunLengthAtShift(), chart.GetRunLengthAtShiftLow(), 3)
		require.InDelta(t, chart.GetRunLengthAtShift(), chart.GetRunLengthAtShiftHigh(), 3)
	}
}
