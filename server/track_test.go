package server

import (
	"encoding/base64"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"linepace.example/core/drift"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

var trackStart = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

func stateKey(t testing.TB, fill string) *StateKey {
	t.Helper()
	key, err := NewStateKey([]byte(strings.Repeat(fill, 32)))
	require.NoError(t, err)
	return key
}

// pumpSetup is an oil pump with a meter, with a baseline.
func pumpSetup() *linepacev1.TrackSetup {
	return &linepacev1.TrackSetup{
		Commissioned: &linepacev1.DeliveryModel{Model: &linepacev1.DeliveryModel_Pump_{Pump: &linepacev1.DeliveryModel_Pump{
			Displacement: &linepacev1.Quantity{Value: 12.5, Unit: "mL/r"}, SlipFlow: &linepacev1.Quantity{Value: 0.31, Unit: "L/min"}}}},
		Meter: &linepacev1.Meter{KFactor: &linepacev1.Quantity{Value: 250, Unit: "pulse/L"}},
		Sigma: &linepacev1.Sigma{From: &linepacev1.Sigma_Baseline{Baseline: 30}},
		Cusum: &linepacev1.Cusum{FastInitialResponse: true},
	}
}

// leaking returns n observations of that pump, whose slip grows.
func leaking(seed uint64, from, n int) *linepacev1.ObservationColumns {
	r := rand.New(rand.NewPCG(seed, uint64(from)))
	out := &linepacev1.ObservationColumns{Start: trackStart.Format(time.RFC3339), GateSeconds: []float64{60}}
	for i := from; i < from+n; i++ {
		rpm := 400 + 600*r.Float64()
		flow := (0.0125*rpm - 0.31 - 0.0002*float64(i)) * (1 + 0.004*r.NormFloat64())
		out.Seconds = append(out.Seconds, float64(i)*3600)
		out.MotorRpm = append(out.MotorRpm, rpm)
		out.MeterPulses = append(out.MeterPulses, math.Round(flow*250))
	}
	return out
}

// A watch in pieces, each by another server process, gives the results of one in one
// piece, bit for bit; so does core, which knows nothing of tokens.
func TestTrackResumesElsewhere(t *testing.T) {
	_, one := serve(t, Config{StateKey: stateKey(t, "a")})
	_, two := serve(t, Config{StateKey: stateKey(t, "a")})
	clients := []linepacev1.DriftServiceClient{linepacev1.NewDriftServiceClient(one), linepacev1.NewDriftServiceClient(two)}
	const whole, piece = 420, 7
	points := proto.Int32(10000)
	all := leaking(1, 0, whole)
	all.Events = []*linepacev1.ObservationColumns_RowEvent{{Row: 200, Event: linepacev1.Observation_SERVICED}}
	want, err := clients[0].Track(t.Context(), &linepacev1.TrackRequest{Setup: pumpSetup(), Columns: all, SeriesPoints: points})
	require.NoError(t, err)
	require.Len(t, want.Results, whole)
	var got *linepacev1.TrackResponse
	state, alarms := "", 0
	for from := 0; from < whole; from += piece {
		part := &linepacev1.ObservationColumns{Start: all.Start, GateSeconds: all.GateSeconds,
			Seconds: all.Seconds[from : from+piece], MotorRpm: all.MotorRpm[from : from+piece], MeterPulses: all.MeterPulses[from : from+piece]}
		if row := int32(200 - from); row >= 0 && row < piece {
			part.Events = []*linepacev1.ObservationColumns_RowEvent{{Row: row, Event: linepacev1.Observation_SERVICED}}
		}
		req := &linepacev1.TrackRequest{State: state, Columns: part, SeriesPoints: points}
		if from == 0 || from%3 == 0 {
			req.Setup = pumpSetup() // the same may be said again
		}
		got, err = clients[from/piece%2].Track(t.Context(), req)
		require.NoError(t, err)
		for i, r := range got.Results {
			same := proto.CloneOf(want.Results[from+i])
			same.Index = int32(i)
			require.True(t, proto.Equal(same, r), "observation %d: %v and %v", from+i, same, r)
			if r.CusumAlarm != linepacev1.TrackResponse_ALARM_UNSPECIFIED {
				alarms++
			}
		}
		state = got.State
	}
	require.Equal(t, want.State, state)
	require.True(t, proto.Equal(want.Summary, got.Summary))
	require.True(t, proto.Equal(want.Trend, got.Trend))
	require.Positive(t, alarms, "the pump leaks ever more")
	checkAgainstCore(t, all, want)
}

// checkAgainstCore steps the watch by itself.
func checkAgainstCore(t *testing.T, in *linepacev1.ObservationColumns, got *linepacev1.TrackResponse) {
	t.Helper()
	setup, err := readSetup(pumpSetup())
	require.NoError(t, err)
	s := setup.watch.Start()
	for i, r := range got.Results {
		if i == 200 {
			s = setup.watch.Start()
		}
		pulses := in.MeterPulses[i]
		var w drift.Watching
		s, w, err = setup.watch.Step(s, float64(i), drift.Observation{Minutes: 1, Turns: in.MotorRpm[i], Amount: pulses / 250 * 0.001, AmountPulses: pulses})
		require.NoError(t, err)
		require.InDelta(t, w.Reading.Percent, r.Percent, 1e-9)
		require.Equal(t, w.InBaseline, r.SigmaPercent == nil)
		if !w.InBaseline {
			require.InDelta(t, s.CUSUM.Low, r.GetCusumLow(), 1e-7)
			require.InDelta(t, s.EWMA.Average, r.GetEwmaPercent(), 1e-9)
		}
	}
	line, err := s.Trend.Line()
	require.NoError(t, err)
	require.Equal(t, "L/min", got.Trend.Per_1000Hours.Unit)
	require.InEpsilon(t, line.Slope*1000*1000, got.Trend.Per_1000Hours.Value, 1e-9) // m3 to L, an hour to 1000
}

// Every change of a token is refused, and so is a token of another key or set-up.
func TestStateIsRefused(t *testing.T) {
	s, err := New(Config{StateKey: stateKey(t, "a")})
	require.NoError(t, err)
	other, err := New(Config{StateKey: stateKey(t, "b")})
	require.NoError(t, err)
	begin := &linepacev1.TrackRequest{Setup: pumpSetup(), Columns: leaking(2, 0, 40)}
	first, err := s.Drift().Track(t.Context(), begin)
	require.NoError(t, err)
	next := func(state string) *linepacev1.TrackRequest {
		return &linepacev1.TrackRequest{State: state, Columns: leaking(2, 40, 2)}
	}
	_, err = s.Drift().Track(t.Context(), next(first.State))
	require.NoError(t, err)
	refused := func(s *Server, req *linepacev1.TrackRequest, reason, text string) {
		t.Helper()
		_, err := s.Drift().Track(t.Context(), req)
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
		v := refusal.Violations(err)
		require.Len(t, v, 1)
		require.Equal(t, "state", v[0].Path)
		require.Equal(t, reason, v[0].Reason)
		require.Contains(t, v[0].Text, text)
	}
	raw, err := base64.RawURLEncoding.DecodeString(first.State)
	require.NoError(t, err)
	for i := range raw {
		changed := append([]byte(nil), raw...)
		changed[i] ^= 1 << (i % 8)
		_, err := s.key(t).open(base64.RawURLEncoding.EncodeToString(changed))
		require.Error(t, err, "byte %d", i)
		_, err = s.key(t).open(base64.RawURLEncoding.EncodeToString(raw[:i]))
		require.Error(t, err, "the first %d bytes", i)
	}
	changed := []byte(first.State)
	changed[len(changed)/2] ^= 1
	refused(s, next(string(changed)), "NOT_GENUINE", "changed")
	refused(s, next(first.State[:len(first.State)-8]), "NOT_GENUINE", "cut short")
	refused(s, next(first.State[:40]), "MALFORMED", "truncated")
	refused(s, next(first.State+"!"), "MALFORMED", "damaged")
	refused(other, next(first.State), "NOT_GENUINE", "another key")
	foreign := next(first.State)
	foreign.Setup = pumpSetup()
	foreign.Setup.Ewma = &linepacev1.Ewma{Lambda: proto.Float64(0.1)}
	refused(s, foreign, "CONFLICT", "foreign")
	again := &linepacev1.TrackRequest{State: first.State, Columns: leaking(2, 39, 2)}
	_, err = s.Drift().Track(t.Context(), again)
	require.Equal(t, "columns.seconds[0]", refusal.Violations(err)[0].Path, "%v", err)

	without, err := New(Config{})
	require.NoError(t, err)
	_, err = without.Drift().Track(t.Context(), begin)
	require.Equal(t, codes.FailedPrecondition, status.Code(err))
	require.Equal(t, refusal.NoStateKey, refusal.Reason(err))
	require.ErrorContains(t, err, "--state-key FILE")
	_, err = NewStateKey(make([]byte, 31))
	require.ErrorContains(t, err, "32 bytes")
}

// key is the server's state key.
func (s *Server) key(t *testing.T) *StateKey {
	t.Helper()
	return s.drift.(chainedDrift).next.(driftService).key
}

// A long answer is thinned, and no alarm is left out.
func TestTrackThins(t *testing.T) {
	s, err := New(Config{StateKey: stateKey(t, "a")})
	require.NoError(t, err)
	track := func(points int32) *linepacev1.TrackResponse {
		got, err := s.Drift().Track(t.Context(), &linepacev1.TrackRequest{Setup: pumpSetup(), Columns: leaking(3, 0, 3000), SeriesPoints: &points})
		require.NoError(t, err)
		return got
	}
	all, some := track(10000), track(20)
	require.Equal(t, all.State, some.State)
	shown := map[int32]bool{}
	for _, r := range some.Results {
		shown[r.Index] = true
	}
	alarms := 0
	for _, r := range all.Results {
		if r.CusumAlarm != 0 || r.EwmaAlarm != 0 {
			alarms++
			require.True(t, shown[r.Index])
		}
	}
	require.Positive(t, alarms)
	require.LessOrEqual(t, len(some.Results), alarms+20)
	require.Equal(t, linepacev1.TrackResponse_Advice_ALARMED, some.Advice[0].Code)
}

// What only the watch finds has its place in the request too.
func TestTrackOfAWatchThatCannotGoOn(t *testing.T) {
	s, err := New(Config{StateKey: stateKey(t, "a")})
	require.NoError(t, err)
	near := &linepacev1.TrackRequest{Setup: pumpSetup()} // a million hours, which a float64 tells to 0.4 us
	for _, at := range []string{"1900-01-01T00:00:00Z", "2014-01-30T16:00:00Z", "2014-01-30T16:00:00.0000001Z"} {
		near.Observations = append(near.Observations, &linepacev1.Observation{Time: at, MotorRpm: proto.Float64(500),
			MeterPulses: proto.Float64(1000), Gate: &linepacev1.Quantity{Value: 1, Unit: "min"}})
	}
	still := leaking(4, 0, 40)
	for i := range still.MotorRpm {
		still.MotorRpm[i], still.MeterPulses[i] = 500, 1000
	}
	for path, in := range map[string]*linepacev1.TrackRequest{"observations[2]": near, "setup.sigma": {Setup: pumpSetup(), Columns: still}} {
		_, err := s.Drift().Track(t.Context(), in)
		require.Len(t, refusal.Violations(err), 1, "%v", err)
		require.Equal(t, path, refusal.Violations(err)[0].Path)
	}
}
