package gateway

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

// Services that answer without computing, and note the request id that they got.

type scaling struct {
	linepacev1.UnimplementedScalingServiceServer
}

func (scaling) Scale(_ context.Context, r *linepacev1.ScaleRequest) (*linepacev1.ScaleResponse, error) {
	return &linepacev1.ScaleResponse{EffectiveMaxRpm: r.Drive.GetMotor().GetMaxRpm()}, nil
}

func (scaling) Setpoint(context.Context, *linepacev1.SetpointRequest) (*linepacev1.SetpointResponse, error) {
	return nil, requestid.Attach(refusal.Invalid([]refusal.Violation{{Path: "target.unit", Reason: "UNIT_REQUIRED", Text: "is needed"}}), "from-service").Err()
}

func (scaling) Catch(context.Context, *linepacev1.CatchRequest) (*linepacev1.CatchResponse, error) {
	return &linepacev1.CatchResponse{}, nil
}

func (scaling) Lap(context.Context, *linepacev1.LapRequest) (*linepacev1.LapResponse, error) {
	return &linepacev1.LapResponse{}, nil
}

func (scaling) CheckReading(context.Context, *linepacev1.CheckReadingRequest) (*linepacev1.CheckReadingResponse, error) {
	return &linepacev1.CheckReadingResponse{}, nil
}

func (scaling) Diagnose(context.Context, *linepacev1.DiagnoseRequest) (*linepacev1.DiagnoseResponse, error) {
	return &linepacev1.DiagnoseResponse{}, nil
}

type changeover struct {
	linepacev1.UnimplementedChangeoverServiceServer
	plan func(context.Context, *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error)
}

func (c changeover) Plan(ctx context.Context, r *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
	if c.plan != nil {
		return c.plan(ctx, r)
	}
	md, _ := metadata.FromIncomingContext(ctx)
	return &linepacev1.PlanResponse{Setpoints: []*linepacev1.Setpoint{{DriveId: r.Line.GetId(), Tag: strings.Join(md.Get(requestid.Header), " ")}}}, nil
}

type dwell struct {
	linepacev1.UnimplementedDwellServiceServer
}

func (dwell) Dwell(context.Context, *linepacev1.DwellRequest) (*linepacev1.DwellResponse, error) {
	return &linepacev1.DwellResponse{}, nil
}

func (dwell) Dose(context.Context, *linepacev1.DoseRequest) (*linepacev1.DoseResponse, error) {
	return &linepacev1.DoseResponse{}, nil
}

func (dwell) Transition(context.Context, *linepacev1.TransitionRequest) (*linepacev1.TransitionResponse, error) {
	return &linepacev1.TransitionResponse{}, nil
}

type drifting struct {
	linepacev1.UnimplementedDriftServiceServer
}

func (drifting) Assess(context.Context, *linepacev1.AssessRequest) (*linepacev1.AssessResponse, error) {
	return &linepacev1.AssessResponse{}, nil
}

func (drifting) Track(context.Context, *linepacev1.TrackRequest) (*linepacev1.TrackResponse, error) {
	return &linepacev1.TrackResponse{}, nil
}

type ratio struct {
	linepacev1.UnimplementedRatioServiceServer
}

func (ratio) Window(context.Context, *linepacev1.WindowRequest) (*linepacev1.WindowResponse, error) {
	return &linepacev1.WindowResponse{}, nil
}

func (ratio) Blend(context.Context, *linepacev1.BlendRequest) (*linepacev1.BlendResponse, error) {
	return &linepacev1.BlendResponse{}, nil
}

func (ratio) Draw(context.Context, *linepacev1.DrawRequest) (*linepacev1.DrawResponse, error) {
	return &linepacev1.DrawResponse{}, nil
}

func (ratio) Gear(context.Context, *linepacev1.GearRequest) (*linepacev1.GearResponse, error) {
	return &linepacev1.GearResponse{}, nil
}

func (ratio) Ramps(context.Context, *linepacev1.RampsRequest) (*linepacev1.RampsResponse, error) {
	return &linepacev1.RampsResponse{}, nil
}

type records struct {
	linepacev1.UnimplementedRecordServiceServer
}

func (records) Verify(context.Context, *linepacev1.VerifyRequest) (*linepacev1.VerifyResponse, error) {
	return &linepacev1.VerifyResponse{Outcome: linepacev1.VerifyResponse_SAME}, nil
}

func (records) Keys(context.Context, *linepacev1.KeysRequest) (*linepacev1.KeysResponse, error) {
	return &linepacev1.KeysResponse{}, nil
}

type unitList struct {
	linepacev1.UnimplementedUnitServiceServer
}

func (unitList) List(context.Context, *linepacev1.ListRequest) (*linepacev1.ListResponse, error) {
	return &linepacev1.ListResponse{Units: []*linepacev1.Unit{{Symbol: "m"}}}, nil
}

func up(context.Context) error { return nil }

func inProcess(t *testing.T, c changeover) (*httptest.Server, *observer.ObservedLogs) {
	t.Helper()
	core, logged := observer.New(zap.DebugLevel)
	h, err := InProcess(Services{scaling{}, c, dwell{}, ratio{}, drifting{}, records{}, unitList{}}, up, zap.New(core))
	require.NoError(t, err)
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s, logged
}

func remote(t *testing.T, c changeover) *httptest.Server {
	t.Helper()
	backend := grpc.NewServer()
	linepacev1.RegisterScalingServiceServer(backend, scaling{})
	linepacev1.RegisterChangeoverServiceServer(backend, c)
	linepacev1.RegisterDwellServiceServer(backend, dwell{})
	linepacev1.RegisterRatioServiceServer(backend, ratio{})
	linepacev1.RegisterDriftServiceServer(backend, drifting{})
	linepacev1.RegisterRecordServiceServer(backend, records{})
	linepacev1.RegisterUnitServiceServer(backend, unitList{})
	healthpb.RegisterHealthServer(backend, health.NewServer())
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go backend.Serve(l)
	t.Cleanup(backend.Stop)
	return remoteTo(t, l.Addr().String())
}

func remoteTo(t *testing.T, address string) *httptest.Server {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	h, err := Remote(conn, zap.NewNop())
	require.NoError(t, err)
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s
}

type answer struct {
	code   int
	header http.Header
	body   []byte
}

func send(t *testing.T, method, url, body string, header ...string) answer {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	require.NoError(t, err)
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	return do(t, r)
}

func do(t *testing.T, r *http.Request) answer {
	t.Helper()
	res, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return answer{res.StatusCode, res.Header, data}
}

// refusalIn reads an answer as the google.rpc.Status that every refusal is.
func refusalIn(t *testing.T, a answer) error {
	t.Helper()
	require.Equal(t, "application/json; charset=utf-8", a.header.Get("Content-Type"))
	s := &spb.Status{}
	require.NoError(t, protojson.Unmarshal(a.body, s), "%s", a.body)
	err := status.ErrorProto(s)
	require.Equal(t, a.header.Get(requestid.Header), requestid.In(err), "%s", a.body)
	return err
}

func TestEveryRouteIsServed(t *testing.T) {
	local, _ := inProcess(t, changeover{})
	for _, s := range []*httptest.Server{local, remote(t, changeover{})} {
		routes := routesOf(contract())
		methods := 0
		for _, file := range contract() {
			for i := range file.Services().Len() {
				of := file.Services().Get(i).Methods()
				for j := range of.Len() {
					if m := of.Get(j); !m.IsStreamingClient() && !m.IsStreamingServer() { // streams are for gRPC
						methods++
					}
				}
			}
		}
		require.Len(t, routes, methods, "each method but streams has one path")
		for _, route := range routes {
			body := "{}"
			if route.method == http.MethodGet {
				body = ""
			}
			a := send(t, route.method, s.URL+route.path, body)
			require.NotContains(t, []int{404, 405, 501}, a.code, "%s %s: %s", route.method, route.path, a.body)
			if route.path != "/v1/scaling:setpoint" {
				require.Equal(t, 200, a.code, "%s %s: %s", route.method, route.path, a.body)
				require.Equal(t, "application/json; charset=utf-8", a.header.Get("Content-Type"))
				require.True(t, json.Valid(a.body))
				require.Equal(t, fmt.Sprint(len(a.body)), a.header.Get("Content-Length"))
			}
		}
	}
}

func TestRequestIDRoundTrip(t *testing.T) {
	local, _ := inProcess(t, changeover{})
	for _, s := range []*httptest.Server{local, remote(t, changeover{})} {
		a := send(t, "POST", s.URL+"/v1/changeovers:plan", `{"line": {"id": "l"}}`, "X-Request-Id", "B-2291", "Grpc-Metadata-X-Request-Id", "forged")
		require.Equal(t, []string{"B-2291"}, a.header.Values(requestid.Header))
		require.Contains(t, string(a.body), `"tag":"B-2291"`, "the service sees it, once")

		a = send(t, "POST", s.URL+"/v1/changeovers:plan", `{}`, "X-Request-Id", "two words")
		require.Len(t, a.header.Values(requestid.Header), 1)
		made := a.header.Get(requestid.Header)
		require.NotEqual(t, "two words", made)
		require.Contains(t, string(a.body), `"tag":"`+made+`"`)

		a = send(t, "POST", s.URL+"/v1/changeovers:plan", `{"x": 1}`, "X-Request-Id", "B-2292")
		require.Equal(t, "B-2292", requestid.In(refusalIn(t, a)))
	}
}

// A service's refusal comes through unchanged.
func TestServiceRefusal(t *testing.T) {
	local, logged := inProcess(t, changeover{})
	for _, s := range []*httptest.Server{local, remote(t, changeover{})} {
		a := send(t, "POST", s.URL+"/v1/scaling:setpoint", `{}`)
		require.Equal(t, 400, a.code)
		var raw struct {
			Code    int
			Message string
			Details []map[string]any
		}
		require.NoError(t, json.Unmarshal(a.body, &raw))
		require.Equal(t, 3, raw.Code)
		require.Equal(t, "target.unit: is needed", raw.Message)
		require.Equal(t, []map[string]any{
			{"@type": "type.googleapis.com/google.rpc.ErrorInfo", "reason": "INVALID_REQUEST", "domain": "linepace.example"},
			{"@type": "type.googleapis.com/google.rpc.BadRequest", "fieldViolations": []any{
				map[string]any{"field": "target.unit", "reason": "UNIT_REQUIRED", "description": "is needed"},
			}},
			{"@type": "type.googleapis.com/google.rpc.RequestInfo", "requestId": "from-service"},
		}, raw.Details)
	}
	require.Zero(t, logged.Len(), "the service has logged its refusal")
}

// What the gateway refuses itself it logs itself.
func TestOwnRefusalsAreLogged(t *testing.T) {
	s, logged := inProcess(t, changeover{})
	a := send(t, "POST", s.URL+"/v1/changeovers:plan", `{"lin": 1}`, "X-Request-Id", "B-7")
	require.Equal(t, 400, a.code)
	require.Equal(t, 1, logged.Len())
	fields := logged.All()[0].ContextMap()
	require.Equal(t, "B-7", fields["request_id"])
	require.Equal(t, "/v1/changeovers:plan", fields["path"])
	require.Equal(t, "INVALID_REQUEST", fields["reason"])
	require.EqualValues(t, 400, fields["http_code"])
	require.NotContains(t, fmt.Sprint(fields), "lin\"", "no payload")
}

func TestMethods(t *testing.T) {
	s, _ := inProcess(t, changeover{})
	for _, method := range []string{"GET", "HEAD", "PUT", "DELETE", "PATCH", "OPTIONS"} {
		a := send(t, method, s.URL+"/v1/changeovers:plan", "")
		require.Equal(t, 405, a.code, method)
		require.Equal(t, "POST", a.header.Get("Allow"))
		require.Empty(t, a.header.Values("Access-Control-Allow-Origin"))
	}
	for _, path := range []string{"/v1/units", "/healthz"} {
		for _, method := range []string{"POST", "PUT", "DELETE", "OPTIONS"} {
			a := send(t, method, s.URL+path, "")
			require.Equal(t, 405, a.code, "%s %s", method, path)
			require.Equal(t, "GET, HEAD", a.header.Get("Allow"))
			require.Equal(t, refusal.WrongHTTPMethod, refusal.Reason(refusalIn(t, a)))
		}
		a := send(t, "HEAD", s.URL+path, "")
		require.Equal(t, 200, a.code, path)
		require.Empty(t, a.body)
	}
	for _, path := range []string{"/", "/v1", "/v1/units/", "//v1/units", "/v1/changeovers", "/v1/changeovers:", "/v1/changeovers:plans", "/V1/units"} {
		a := send(t, "POST", s.URL+path, "{}")
		require.Equal(t, 404, a.code, path)
		err := refusalIn(t, a)
		require.Equal(t, refusal.NoSuchMethod, refusal.Reason(err))
		require.Contains(t, err.Error(), "POST /v1/changeovers:plan", "the message names what there is")
	}
}

// The body is read as JSON whatever the caller says it is, and form fields in it
// are nothing but faulty JSON.
func TestContentType(t *testing.T) {
	s, _ := inProcess(t, changeover{})
	for _, contentType := range []string{"application/x-www-form-urlencoded", "text/plain", "application/xml", "/;;", "application/grpc"} {
		a := send(t, "POST", s.URL+"/v1/changeovers:plan", `{"line": {"id": "l"}}`, "Content-Type", contentType, "Accept", "text/html")
		require.Equal(t, 200, a.code, contentType)
		require.Contains(t, string(a.body), `"driveId":"l"`)
		require.Equal(t, "application/json; charset=utf-8", a.header.Get("Content-Type"))
	}
	a := send(t, "POST", s.URL+"/v1/changeovers:plan", `line.id=l`, "Content-Type", "application/x-www-form-urlencoded")
	require.Equal(t, 400, a.code)
	a = send(t, "POST", s.URL+"/v1/units", ``, "Content-Type", "application/x-www-form-urlencoded")
	require.Equal(t, 405, a.code, "no way from POST to GET")
	a = send(t, "POST", s.URL+"/v1/changeovers:plan", `{}`, "Content-Encoding", "gzip")
	require.Equal(t, 415, a.code)
	require.Equal(t, refusal.InvalidRequest, refusal.Reason(refusalIn(t, a)))
	a = send(t, "POST", s.URL+"/v1/changeovers:plan", `{}`, "Content-Encoding", "identity")
	require.Equal(t, 200, a.code)
}

// endless gives bytes for ever and counts them.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	e.read += len(p)
	return copy(p, bytes.Repeat([]byte(" "), len(p))), nil
}

func TestOversize(t *testing.T) {
	s, _ := inProcess(t, changeover{})
	cases := []struct {
		name   string
		length int64 // as told in the header; -1: not told
	}{{"told", 50 << 20}, {"told by one byte", MaxMessageBytes + 1}, {"not told", -1}}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			h, err := InProcess(Services{scaling{}, changeover{}, dwell{}, ratio{}, drifting{}, records{}, unitList{}}, up, zap.NewNop())
			require.NoError(t, err)
			e := &endless{}
			r := httptest.NewRequest("POST", "/v1/changeovers:plan", e)
			r.ContentLength = tc.length
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			require.Equal(t, 413, w.Code)
			require.Equal(t, refusal.RequestTooLarge, refusal.Reason(refusalIn(t, answer{w.Code, w.Header(), w.Body.Bytes()})))
			if tc.length > 0 {
				require.Zero(t, e.read, "nothing is read where the length is told")
				require.Equal(t, "close", w.Header().Get("Connection"))
			}
			require.LessOrEqual(t, e.read, 2*MaxMessageBytes+1)
		})
	}
	at := `{"line": {"id": "l"}}`
	a := send(t, "POST", s.URL+"/v1/changeovers:plan", at+strings.Repeat(" ", MaxMessageBytes-len(at)))
	require.Equal(t, 200, a.code, "the limit itself is taken: %s", a.body)
}

func TestBodyThatDoesNotArrive(t *testing.T) {
	h, err := InProcess(Services{scaling{}, changeover{}, dwell{}, ratio{}, drifting{}, records{}, unitList{}}, up, zap.NewNop())
	require.NoError(t, err)
	r := httptest.NewRequest("POST", "/v1/changeovers:plan", io.MultiReader(strings.NewReader(`{"line"`), &broken{}))
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	require.Equal(t, 499, w.Code)
	require.Equal(t, refusal.Cancelled, refusal.Reason(refusalIn(t, answer{w.Code, w.Header(), w.Body.Bytes()})))
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("the line is dead") }

func TestGetTakesNoBody(t *testing.T) {
	s, _ := inProcess(t, changeover{})
	a := send(t, "GET", s.URL+"/v1/units", "{}")
	require.Equal(t, 400, a.code)
	require.Equal(t, "MALFORMED", refusal.Violations(refusalIn(t, a))[0].Reason)
}

func TestQuery(t *testing.T) {
	s, _ := inProcess(t, changeover{})
	for _, path := range []string{"/v1/units", "/v1/changeovers:plan"} {
		method := map[bool]string{true: "GET", false: "POST"}[path == "/v1/units"]
		a := send(t, method, s.URL+path+"?pretty=true&line.id=x", "")
		require.Equal(t, 400, a.code)
		v := refusal.Violations(refusalIn(t, a))
		require.Len(t, v, 2)
		require.Equal(t, "line.id", v[0].Path)
		require.Equal(t, "pretty", v[1].Path)
		require.Equal(t, "UNKNOWN_FIELD", v[1].Reason)
		a = send(t, method, s.URL+path+"?a=%zz", "")
		require.Equal(t, 400, a.code)
		require.Equal(t, "MALFORMED", refusal.Violations(refusalIn(t, a))[0].Reason)
	}
}

func TestMethodOverride(t *testing.T) {
	s, _ := inProcess(t, changeover{})
	for _, path := range []string{"/v1/units", "/v1/changeovers:plan"} {
		a := send(t, "POST", s.URL+path, `{}`, "X-HTTP-Method-Override", "GET", "Content-Type", "application/x-www-form-urlencoded")
		require.Equal(t, 400, a.code)
		v := refusal.Violations(refusalIn(t, a))
		require.Equal(t, "MALFORMED", v[0].Reason)
		require.Contains(t, v[0].Text, "X-HTTP-Method-Override")
	}
}

func TestDeadServer(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close()) // a port where nobody listens
	s := remoteTo(t, l.Addr().String())
	a := send(t, "POST", s.URL+"/v1/changeovers:plan", `{}`)
	require.Equal(t, 503, a.code)
	failure := refusalIn(t, a)
	require.Equal(t, ServerUnreachable, refusal.Reason(failure))
	require.NotContains(t, string(a.body), "dial tcp", "our words, not those of the transport")
	require.Contains(t, failure.Error(), "cannot be reached")
	a = send(t, "GET", s.URL+"/healthz", "")
	require.Equal(t, 503, a.code)
	require.Contains(t, string(a.body), "cannot be reached")
	a = send(t, "POST", s.URL+"/v1/changeovers:plan", `{"lin`)
	require.Equal(t, 400, a.code, "what is wrong with the request is told all the same")
}

func TestHealth(t *testing.T) {
	a := send(t, "GET", remote(t, changeover{}).URL+"/healthz", "")
	require.Equal(t, 200, a.code)
	require.Equal(t, "ok\n", string(a.body))

	down := func(context.Context) error { return errors.New("shutting down") }
	h, err := InProcess(Services{scaling{}, changeover{}, dwell{}, ratio{}, drifting{}, records{}, unitList{}}, down, zap.NewNop())
	require.NoError(t, err)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/healthz", nil))
	require.Equal(t, 503, w.Code)
	require.Equal(t, "shutting down\n", w.Body.String())
}

func TestPanic(t *testing.T) {
	s, logged := inProcess(t, changeover{plan: func(context.Context, *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
		panic("a secret")
	}})
	a := send(t, "POST", s.URL+"/v1/changeovers:plan", `{}`, "X-Request-Id", "B-9")
	require.Equal(t, 500, a.code)
	err := refusalIn(t, a)
	require.Equal(t, refusal.InternalFault, refusal.Reason(err))
	require.Contains(t, err.Error(), "B-9")
	require.NotContains(t, string(a.body), "secret")
	lines := logged.FilterMessage("panic").All()
	require.Len(t, lines, 1)
	require.Equal(t, "B-9", lines[0].ContextMap()["request_id"])
	require.Contains(t, lines[0].ContextMap()["stack"], "TestPanic")
}

// An answer that JSON cannot hold is the service's fault, not the caller's.
func TestAnswerThatJSONCannotHold(t *testing.T) {
	s, logged := inProcess(t, changeover{plan: func(context.Context, *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
		return &linepacev1.PlanResponse{Verdict: 99}, nil
	}})
	a := send(t, "POST", s.URL+"/v1/changeovers:plan", `{}`)
	require.Equal(t, 500, a.code)
	require.Equal(t, refusal.InternalFault, refusal.Reason(refusalIn(t, a)))
	require.Equal(t, 1, logged.FilterMessage("internal fault").Len())
}

func TestStatusJSONHoldsKnownDetails(t *testing.T) {
	s := &spb.Status{}
	require.NoError(t, protojson.Unmarshal(statusJSON(violation("a", "B", "c")), s))
	require.Len(t, s.Details, 2)
	require.True(t, s.Details[0].MessageIs(&errdetails.ErrorInfo{}))
}
