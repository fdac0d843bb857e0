package server

import (
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// columns reads a published table of two columns of testdata/statistics.
func columns(t *testing.T, name string) (header []string, rows [][2]float64) {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "testdata", "statistics", name))
	require.NoError(t, err)
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	for _, record := range records[1:] {
		var row [2]float64
		for i := range row {
			row[i], err = strconv.ParseFloat(record[i], 64)
			require.NoError(t, err)
		}
		rows = append(rows, row)
	}
	return records[0], rows
}

func litresPerMinute(v float64) *linepacev1.Quantity {
	return &linepacev1.Quantity{Value: v, Unit: "L/min"}
}

// scaleOf asks for the scale of a drive through these points (speed, rate in L/min).
func scaleOf(t *testing.T, pump bool, points [][2]float64) *linepacev1.ScaleResponse {
	t.Helper()
	drive := &linepacev1.Drive{Id: "measured", Motor: &linepacev1.Motor{MaxRpm: 2000}}
	if pump {
		drive.Delivery = &linepacev1.Delivery{Kind: &linepacev1.Delivery_Pump_{Pump: &linepacev1.Delivery_Pump{
			Displacement: &linepacev1.Quantity{Value: 1, Unit: "L/r"}}}}
	}
	for _, p := range points {
		drive.References = append(drive.References, &linepacev1.Reference{MotorRpm: p[0], Value: litresPerMinute(p[1])})
	}
	s, err := New(Config{})
	require.NoError(t, err)
	answer, err := s.Scaling().Scale(t.Context(), &linepacev1.ScaleRequest{Drive: drive, IncludeWorking: true})
	require.NoError(t, err)
	return answer
}

// NIST StRD Norris, certified to 15 digits: calibration of an ozone monitor, here read
// as flow over motor speed of a pump. Each answer has 12 of them.
func TestNorris(t *testing.T) {
	header, rows := columns(t, "norris.csv")
	require.Equal(t, []string{"y", "x"}, header)
	var points [][2]float64
	for _, row := range rows {
		points = append(points, [2]float64{row[1], row[0]})
	}
	answer := scaleOf(t, true, points)
	m := answer.GetMeasured()
	line := m.GetWithOffset()
	require.Equal(t, linepacev1.Measured_WITH_OFFSET, m.GetForm())
	for _, c := range []struct{ certified, got float64 }{
		{1.00211681802045, line.GetPerMotorTurn().GetValue()},
		{1.00211681802045, answer.GetPerMotorTurn().GetValue()},
		{0.262323073774029, answer.GetLeak().GetValue()},
		{-0.262323073774029, line.GetOffset().GetValue()},
		{0.429796848199937e-3, line.GetPerMotorTurnStandardUncertainty().GetValue()},
		{0.232818234301152, line.GetOffsetStandardUncertainty().GetValue()},
		{0.884796396144373, line.GetResidualStandardDeviation().GetValue()},
	} {
		require.InEpsilon(t, c.certified, c.got, 1e-12)
	}
	require.EqualValues(t, 34, line.GetDegreesOfFreedom())
	require.EqualValues(t, 36, m.GetPointCount())
	require.False(t, m.GetOffsetTest().GetReal(), "t = 1.127 with 34 degrees of freedom")
	// Norris repeats ten speeds; the lack of fit is tested against them.
	require.Equal(t, linepacev1.Measured_LackOfFit_REPEATS, line.GetLackOfFit().GetAgainst())
	require.Len(t, line.GetResiduals(), 36)
}

// NIST StRD NoInt1, certified to 15 digits: a line through the origin.
func TestNoInt1(t *testing.T) {
	_, rows := columns(t, "noint1.csv")
	var points [][2]float64
	for _, row := range rows {
		points = append(points, [2]float64{row[1], row[0]})
	}
	answer := scaleOf(t, false, points)
	line := answer.GetMeasured().GetThroughOrigin()
	require.Equal(t, linepacev1.Measured_THROUGH_ORIGIN, answer.GetMeasured().GetForm())
	require.InEpsilon(t, 2.07438016528926, answer.GetPerMotorTurn().GetValue(), 1e-14)
	require.InEpsilon(t, 2.07438016528926, line.GetPerMotorTurn().GetValue(), 1e-14)
	require.InEpsilon(t, 0.165289256198347e-01, line.GetPerMotorTurnStandardUncertainty().GetValue(), 1e-12)
	require.InEpsilon(t, 3.56753034006338, line.GetResidualStandardDeviation().GetValue(), 1e-12)
	require.Nil(t, answer.GetLeak())
	// The points are 60+i and 130+i: exactly 70 above, which the check tells.
	require.InEpsilon(t, 70.0, answer.GetMeasured().GetWithOffset().GetOffset().GetValue(), 1e-12)
	require.Equal(t, linepacev1.Check_OFFSET_FOUND, answer.GetChecks()[0].GetCode())
}

// GUM (JCGM 100:2008) H.3, the calibration of a thermometer: y1 = -0.1712(29) and y2 =
// 0.00218(67), r = -0.930, s = 0.0035; more digits by GTC 1.3. A correction below zero
// is no rate, so 0.2 is added to each, which moves the offset alone; speeds are t - 20.
func TestGUMThermometer(t *testing.T) {
	_, rows := columns(t, "gum_h3.csv")
	var points [][2]float64
	for _, row := range rows {
		points = append(points, [2]float64{shifted(t, row[0], -20000), shifted(t, row[1], 200)})
	}
	answer := scaleOf(t, true, points)
	line := answer.GetMeasured().GetWithOffset()
	require.InDelta(t, -0.17120379013134998+0.2, line.GetOffset().GetValue(), 1e-14)
	require.InEpsilon(t, 0.0028775978351599537, line.GetOffsetStandardUncertainty().GetValue(), 1e-11)
	require.InEpsilon(t, 0.00218269773988727798, line.GetPerMotorTurn().GetValue(), 1e-12)
	require.InEpsilon(t, 0.00066793877322783170, line.GetPerMotorTurnStandardUncertainty().GetValue(), 1e-11)
	require.InEpsilon(t, -0.930429603093446, line.GetCorrelation(), 1e-12)
	require.InEpsilon(t, 0.00349756396350528406, line.GetResidualStandardDeviation().GetValue(), 1e-12)
	// As a pump it would have a slip flow below zero, ten times its uncertainty.
	require.True(t, answer.GetMeasured().GetOffsetTest().GetReal())
	require.Equal(t, linepacev1.Check_SLIP_FLOW_NEGATIVE, answer.GetChecks()[len(answer.GetChecks())-1].GetCode())
}

// shifted adds thousandths to a number of three decimals, without a trace of rounding.
func shifted(t *testing.T, v float64, thousandths int) float64 {
	t.Helper()
	text := strconv.FormatFloat(v, 'f', 3, 64)
	whole, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	require.Equal(t, v, whole)
	return float64(int(v*1000+copysign(0.5, v))+thousandths) / 1000
}

func copysign(size, sign float64) float64 {
	if sign < 0 {
		return -size
	}
	return size
}

// What a catch test says is pasted into the drive as it is: its scale is then the same
// line, and a pump described by displacement and slip flow has it too.
func TestCatchIsReadyToPaste(t *testing.T) {
	s, err := New(Config{})
	require.NoError(t, err)
	drive := &linepacev1.Drive{Id: "glaze-pump", Motor: &linepacev1.Motor{MaxRpm: 1500},
		Transmission: []*linepacev1.Stage{{Kind: &linepacev1.Stage_Gearbox_{Gearbox: &linepacev1.Stage_Gearbox{Ratio: 10, Exact: true}}}},
		Delivery: &linepacev1.Delivery{Kind: &linepacev1.Delivery_Pump_{Pump: &linepacev1.Delivery_Pump{
			Displacement: &linepacev1.Quantity{Value: 100, Unit: "mL/r"}}}}}
	run := func(kg, rpm float64) *linepacev1.CatchRequest_Run {
		return &linepacev1.CatchRequest_Run{Amount: &linepacev1.Quantity{Value: kg, Unit: "kg"}, Time: &linepacev1.Quantity{Value: 60, Unit: "s"}, MotorRpm: rpm}
	}
	// By hand: 0.1 L a turn of the last shaft, less 0.4 L/min, at 1.5 kg/L.
	caught, err := s.Scaling().Catch(t.Context(), &linepacev1.CatchRequest{
		Drive: drive, Material: &linepacev1.Material{Id: "glaze", Density: &linepacev1.Quantity{Value: 1.5, Unit: "kg/L"}},
		AmountUncertainty: &linepacev1.Quantity{Value: 5, Unit: "g"}, TimeUncertainty: &linepacev1.Quantity{Value: 0.3, Unit: "s"},
		Runs: []*linepacev1.CatchRequest_Run{run(6.9, 500), run(14.4, 1000)},
	})
	require.NoError(t, err)
	require.InEpsilon(t, 100, caught.GetPump().GetDisplacement().GetValue(), 1e-14, "mL/r")
	require.InEpsilon(t, 0.4, caught.GetPump().GetSlipFlow().GetValue(), 1e-13)
	require.Empty(t, caught.GetChecks())

	measured := proto.CloneOf(drive)
	measured.References = caught.GetReferences()
	described := proto.CloneOf(drive)
	described.Delivery.GetPump().Displacement = caught.GetPump().GetDisplacement()
	described.Delivery.GetPump().SlipFlow = caught.GetPump().GetSlipFlow()
	for _, d := range []*linepacev1.Drive{measured, described} {
		scale, err := s.Scaling().Scale(t.Context(), &linepacev1.ScaleRequest{Drive: d})
		require.NoError(t, err)
		require.InEpsilon(t, 0.01, scale.GetPerMotorTurn().GetValue(), 1e-13)
		require.InEpsilon(t, 0.4, scale.GetLeak().GetValue(), 1e-12)
	}
}

// Any request gets an answer that can be written, or a refusal that says what is wrong.
func TestMeasurementsOfAnyRequest(t *testing.T) {
	core, logged := observer.New(zap.ErrorLevel)
	s, err := New(Config{Log: zap.New(core)})
	require.NoError(t, err)
	state := uint64(7)
	anyRequest(t, "catch", &linepacev1.CatchRequest{}, &state, s.Scaling().Catch)
	anyRequest(t, "lap", &linepacev1.LapRequest{}, &state, s.Scaling().Lap)
	anyRequest(t, "measured-pump", &linepacev1.SetpointRequest{}, &state, s.Scaling().Setpoint)
	pump := &linepacev1.SetpointRequest{}
	readBase(t, "measured-pump", pump)
	anyRequest(t, "", &linepacev1.ScaleRequest{Drive: pump.GetDrive()}, &state, s.Scaling().Scale)
	require.Empty(t, logged.All())
}

func readBase(t *testing.T, base string, into proto.Message) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "conformance", "base", base+".json"))
	require.NoError(t, err)
	require.NoError(t, protojson.Unmarshal(data, into))
}

// anyRequest changes a sound request, which is that of a base where one is named, at
// random and calls with it.
func anyRequest[Req, Res proto.Message](t *testing.T, base string, sound Req, state *uint64, call func(context.Context, Req) (Res, error)) {
	t.Helper()
	if base != "" {
		readBase(t, base, sound)
	}
	working := sound.ProtoReflect().Descriptor().Fields().ByName("include_working")
	sound.ProtoReflect().Set(working, protoreflect.ValueOfBool(true))
	answered, refused := 0, 0
	for range 6000 {
		req := mutated(sound, state)
		out, err := call(t.Context(), req)
		if err != nil {
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v: %v", req, err)
			require.NotEmpty(t, refusal.Violations(err))
			refused++
			continue
		}
		_, err = codec.Append(nil, out)
		require.NoError(t, err, "%v: the answer holds what JSON cannot", req)
		answered++
	}
	require.Greater(t, answered, 300, "%T", sound)
	require.Greater(t, refused, 300, "%T", sound)
}
