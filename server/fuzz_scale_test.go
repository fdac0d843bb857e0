package server

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// A drive with everything that a scale report speaks of.
const reportedDrive = `{
 "id": "d", "motor": {"minRpm": 90, "maxRpm": 300, "regulation": {"percent": 0.5, "of": "MAX_SPEED"}},
 "transmission": [{"gearbox": {"ratio": 20, "exact": true}}],
 "delivery": {"roll": {"diameter": {"value": 100, "unit": "mm"}}},
 "sensors": [
  {"id": "encoder", "closesLoop": true, "shaft": {"pulsesPerTurn": 60}, "counting": {"gate": {"time": {"value": 0.5, "unit": "s"}}, "wantedPercent": 0.1}},
  {"id": "wheel", "shaft": {"pulsesPerTurn": 4, "stagesFromMotor": 1, "minHz": 1, "maxHz": 50}, "counting": {"period": {"clockHz": 100000, "periods": 2}}}],
 "readout": {"unit": "min", "digits": 4, "decimals": 2, "rounding": "CUT_OFF"},
 "register": {"integer": {"type": "INT16"}, "span": [{"count": -3000, "value": {"value": -300, "unit": "r/min"}}, {"count": 3000, "value": {"value": 300, "unit": "r/min"}}]}}`

const (
	reportedScale = `{"drive": ` + reportedDrive + `, "section": {"id": "s", "driveId": "d", "length": {"value": 12, "unit": "m"}}, "includeWorking": true,
 "scaleFraction": {"form": "RECIPROCAL", "maxNumerator": 255, "maxDenominator": 9999, "minimum": 2, "basis": "MOTOR_SPEED",
  "catalogue": [{"id": "worn", "delivery": {"roll": {"diameter": {"value": 98, "unit": "mm"}}}}, {"id": "long", "section": {"id": "s", "driveId": "d", "length": {"value": 13, "unit": "m"}}}]}}`
	reportedSetpoint = `{"drive": ` + reportedDrive + `, "section": {"id": "s", "driveId": "d", "length": {"value": 12, "unit": "m"}}, "includeWorking": true,
 "count": -1500, "units": ["ft/min", "s", "r/min"]}`
)

// FuzzScaleStructured changes sound requests for one drive as [FuzzPlanStructured]
// does a plan's: each gets an answer that can be written, or a refusal that says what
// is wrong.
func FuzzScaleStructured(f *testing.F) {
	p := newPlanner(f)
	scale, setpoint := &linepacev1.ScaleRequest{}, &linepacev1.SetpointRequest{}
	require.NoError(f, protojson.Unmarshal([]byte(reportedScale), scale))
	require.NoError(f, protojson.Unmarshal([]byte(reportedSetpoint), setpoint))
	for i := range 64 {
		f.Add([]byte{byte(i), byte(3 * i), byte(5 * i), byte(7 * i), byte(11 * i), byte(13 * i), byte(17 * i), byte(19 * i)})
	}
	f.Fuzz(func(t *testing.T, seed []byte) {
		m := mutator{seed: seed}
		changes := m.pick(6)
		if m.pick(2) == 0 {
			req := proto.CloneOf(scale)
			for range changes {
				m.message(req.ProtoReflect())
			}
			resp, err := p.Scaling().Scale(t.Context(), req)
			p.demand(t, resp, err)
			return
		}
		req := proto.CloneOf(setpoint)
		for range changes {
			m.message(req.ProtoReflect())
		}
		resp, err := p.Scaling().Setpoint(t.Context(), req)
		p.demand(t, resp, err)
	})
}

// demand demands of an answer what holds for any request.
func (p planner) demand(t *testing.T, resp proto.Message, err error) {
	t.Helper()
	if lines := p.logged.TakeAll(); len(lines) > 0 {
		t.Fatalf("%s: %v", lines[0].Message, lines[0].ContextMap())
	}
	if err != nil {
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
		require.NotEmpty(t, refusal.Violations(err), "%v", err)
		return
	}
	_, err = codec.Append(nil, resp)
	require.NoError(t, err, "the answer holds what JSON cannot")
}

// The requests that are changed are sound.
func TestReportedDriveIsSound(t *testing.T) {
	p := newPlanner(t)
	scale := &linepacev1.ScaleRequest{}
	require.NoError(t, protojson.Unmarshal([]byte(reportedScale), scale))
	resp, err := p.Scaling().Scale(t.Context(), scale)
	require.NoError(t, err)
	require.NotNil(t, resp.GetScaleFraction())
	require.Len(t, resp.GetSensors(), 2)
	setpoint := &linepacev1.SetpointRequest{}
	require.NoError(t, protojson.Unmarshal([]byte(reportedSetpoint), setpoint))
	answer, err := p.Scaling().Setpoint(t.Context(), setpoint)
	require.NoError(t, err)
	require.Len(t, answer.GetInUnits(), 3)
}
