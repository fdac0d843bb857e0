package record

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// fill sets every field of m to something that is not its default; of a choice,
// the member that turn picks.
func fill(m protoreflect.Message, turn int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if one := field.ContainingOneof(); one != nil && !one.IsSynthetic() {
			if one.Fields().Get(turn%one.Fields().Len()) != field {
				continue
			}
		}
		switch {
		case field.IsList():
			list := m.Mutable(field).List()
			for range 2 {
				if field.Kind() == protoreflect.MessageKind {
					fill(list.AppendMutable().Message(), turn)
				} else {
					list.Append(scalar(field))
				}
			}
		case field.Kind() == protoreflect.MessageKind:
			fill(m.Mutable(field).Message(), turn)
		default:
			m.Set(field, scalar(field))
		}
	}
}

func scalar(field protoreflect.FieldDescriptor) protoreflect.Value {
	switch field.Kind() {
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(0.1 + float64(field.Number()))
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(-int32(field.Number()))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(field.Enum().Values().Get(1).Number())
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte{1})
	}
	return protoreflect.ValueOfString("text <" + string(field.Name()) + "> \u2028\"\\")
}

// whole returns a request and a plan with every field of the contract set.
func whole(turn int) (*linepacev1.PlanRequest, *linepacev1.PlanResponse) {
	req, resp := &linepacev1.PlanRequest{}, &linepacev1.PlanResponse{}
	fill(req.ProtoReflect(), turn)
	fill(resp.ProtoReflect(), turn)
	return req, resp
}

// Every field of the contract is in the payload but those that the format leaves
// out, and making it changes nothing.
func TestPayloadKeepsEveryField(t *testing.T) {
	for turn := range 6 {
		req, resp := whole(turn)
		formulas := []string{"share/1", "ratio/1", "share/1", "count/1"}
		reqBefore, respBefore := proto.CloneOf(req), proto.CloneOf(resp)
		payload, err := Payload(req, resp, formulas)
		require.NoError(t, err)
		require.True(t, proto.Equal(reqBefore, req))
		require.True(t, proto.Equal(respBefore, resp))
		require.Equal(t, []string{"share/1", "ratio/1", "share/1", "count/1"}, formulas)

		req.IncludeWorking, req.IncludeRecord, resp.Record, resp.LeaderIds = false, false, nil, nil
		for _, sp := range resp.Setpoints {
			require.NotEmpty(t, sp.Working)
			sp.Working = nil
		}
		for _, check := range resp.Checks {
			require.NotEmpty(t, check.Message)
			check.Message, check.Window = "", nil
		}
		want := &linepacev1.RecordPayload{Kind: "linepace.plan", Version: 1, Formulas: []string{"count/1", "ratio/1", "share/1"}, Request: req, Plan: resp}
		got := &linepacev1.RecordPayload{}
		require.NoError(t, protojson.Unmarshal(payload, got), "%s", payload)
		require.True(t, proto.Equal(want, got), "%s", payload)

		opened, err := Open(payload)
		require.NoError(t, err)
		require.True(t, proto.Equal(want, opened))
	}
}

// The canonical form is that of another implementation of RFC 8785.
func TestPayloadIsCanonical(t *testing.T) {
	for turn := range 6 {
		req, resp := whole(turn)
		payload, err := Payload(req, resp, []string{"ratio/1"})
		require.NoError(t, err)
		other, err := jcs.Transform(payload)
		require.NoError(t, err)
		require.Equal(t, string(other), string(payload))
	}
}

// A new field that is at its default leaves an old record as it was.
func TestPayloadLeavesDefaultsOut(t *testing.T) {
	payload, err := Payload(&linepacev1.PlanRequest{Batch: &linepacev1.Batch{RequestedAt: "2026-03-02T06:00:00.50+01:00"}}, &linepacev1.PlanResponse{}, nil)
	require.NoError(t, err)
	require.Equal(t, `{"kind":"linepace.plan","plan":{},"request":{"batch":{"requestedAt":"2026-03-02T06:00:00.50+01:00"}},"version":1}`, string(payload))
}

func TestPayloadOfNothing(t *testing.T) {
	for _, f := range []func() ([]byte, error){
		func() ([]byte, error) { return Payload(nil, &linepacev1.PlanResponse{}, nil) },
		func() ([]byte, error) { return Payload(&linepacev1.PlanRequest{}, nil, nil) },
		func() ([]byte, error) {
			return Payload(&linepacev1.PlanRequest{}, &linepacev1.PlanResponse{Setpoints: []*linepacev1.Setpoint{{DemandedRpm: proto.Float64(math.NaN())}}}, nil)
		},
	} {
		_, err := f()
		require.Error(t, err)
	}
}

func TestOpenRefuses(t *testing.T) {
	const sound = `{"kind":"linepace.plan","plan":{"verdict":"RUNNABLE"},"request":{"line":{"id":"a"}},"version":1}`
	_, err := Open([]byte(sound))
	require.NoError(t, err)
	replace := func(old, with string) string {
		require.Equal(t, 1, strings.Count(sound, old))
		return strings.Replace(sound, old, with, 1)
	}
	cases := []struct {
		name, payload string
		want          any
		text          string
	}{
		{"nothing", "", new(*MalformedError), "empty"},
		{"another text", "a record", new(*MalformedError), ""},
		{"a list", "[]", new(*MalformedError), ""},
		{"a byte order mark", "\xef\xbb\xbf" + sound, new(*MalformedError), "byte order mark"},
		{"Latin-1", replace(`"a"`, "\"\xe9\""), new(*MalformedError), ""},
		{"UTF-16", "{\x00}\x00", new(*MalformedError), ""},
		{"cut short", sound[:len(sound)-1], new(*MalformedError), ""},
		{"an unknown field", replace(`"line":`, `"lime":`), new(*MalformedError), "lime"},
		{"an unknown choice", replace(`RUNNABLE`, `RUNABLE`), new(*MalformedError), "RUNNABLE"},
		{"no request", replace(`"request":{"line":{"id":"a"}},`, ``), new(*MalformedError), "request"},
		{"no plan", replace(`"plan":{"verdict":"RUNNABLE"},`, ``), new(*MalformedError), "plan"},
		{"a newline after", sound + "\n", new(*TrailingBytesError), "byte 96"},
		{"another record after", sound + sound, new(*TrailingBytesError), "byte 96"},
		{"a zero byte after", sound + "\x00", new(*TrailingBytesError), "byte 96"},
		{"a field twice", replace(`{"id":"a"}`, `{"id":"b","id":"a"}`), new(*DuplicateKeyError), "request.line.id"},
		{"the version twice", replace(`"version":1`, `"version":1,"version":1`), new(*DuplicateKeyError), "version"},
		{"another kind", replace(`linepace.plan`, `linepace.loaded`), new(*UnknownKindError), "linepace.loaded"},
		{"another kind with other fields", `{"approval":{},"kind":"linepace.approval","version":1}`, new(*UnknownKindError), "linepace.approval"},
		{"no kind", replace(`"kind":"linepace.plan",`, ``), new(*UnknownKindError), ""},
		{"version 2", replace(`"version":1`, `"version":2`), new(*UnknownVersionError), "version 2 "},
		{"version 2 with other fields", replace(`"version":1`, `"version":2,"zone":"CET"`), new(*UnknownVersionError), "version 2 "},
		{"no version", replace(`,"version":1`, ``), new(*UnknownVersionError), "version 0 "},
		{"white space", replace(`"plan":{`, `"plan": {`), new(*NotCanonicalError), "byte 31"},
		{"white space before", " " + sound, new(*NotCanonicalError), "byte 0"},
		{"another order", `{"plan":{"verdict":"RUNNABLE"},"kind":"linepace.plan","request":{"line":{"id":"a"}},"version":1}`, new(*NotCanonicalError), "byte 2"},
		{"a default written out", replace(`"verdict":"RUNNABLE"`, `"setpoints":[],"verdict":"RUNNABLE"`), new(*NotCanonicalError), ""},
		{"an escape that is not needed", replace(`"id":"a"`, `"id":"\u0061"`), new(*NotCanonicalError), ""},
		{"a number otherwise", replace(`{"id":"a"}`, `{"drives":[{"motor":{"maxRpm":1.0}}],"id":"a"}`), new(*NotCanonicalError), ""},
		{"minus zero", replace(`{"id":"a"}`, `{"drives":[{"motor":{"baseRpm":-0}}],"id":"a"}`), new(*NotCanonicalError), ""},
		{"formulas out of order", `{"formulas":["b/1","a/1"],` + sound[1:], new(*NotCanonicalError), "byte 14"},
		{"a formula twice", `{"formulas":["a/1","a/1"],` + sound[1:], new(*NotCanonicalError), ""},
		{"the working", replace(`"verdict"`, `"setpoints":[{"driveId":"a","working":[{"id":"a/1"}]}],"verdict"`), new(*NotCanonicalError), ""},
		{"a check's wording", replace(`"plan":{`, `"plan":{"checks":[{"message":"all is well"}],`), new(*NotCanonicalError), ""},
		{"a record in the record", replace(`"plan":{`, `"plan":{"record":{"payload":"AA=="},`), new(*NotCanonicalError), ""},
		{"includeRecord", replace(`"request":{`, `"request":{"includeRecord":true,`), new(*NotCanonicalError), ""},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			p, err := Open([]byte(tc.payload))
			require.Nil(t, p)
			require.ErrorAs(t, err, tc.want)
			require.ErrorContains(t, err, tc.text)
		})
	}
}

func TestLeaf(t *testing.T) {
	payload := []byte("{\"a\":\"b\n\"}\n")
	for _, jws := range []string{"", "header..signature"} {
		leaf := Leaf(jws, payload)
		require.Equal(t, jws+"\n"+string(payload), string(leaf))
		gotJWS, gotPayload, err := SplitLeaf(leaf)
		require.NoError(t, err)
		require.Equal(t, jws, gotJWS)
		require.Equal(t, payload, gotPayload)
	}
	for _, leaf := range []string{"", "header..signature", "\n", "header..signature\n"} {
		_, _, err := SplitLeaf([]byte(leaf))
		require.Error(t, err, "%q", leaf)
	}
}

func TestDifferences(t *testing.T) {
	req, resp := whole(0)
	open := func(resp *linepacev1.PlanResponse, formulas ...string) *linepacev1.RecordPayload {
		payload, err := Payload(req, resp, formulas)
		require.NoError(t, err)
		p, err := Open(payload)
		require.NoError(t, err)
		return p
	}
	recorded := open(resp, "a/1", "b/1")
	require.Empty(t, Differences(recorded, open(resp, "a/1", "b/1")))

	other := proto.CloneOf(resp)
	other.Setpoints[1].Count = proto.Int32(7)
	other.Setpoints[1].PulseHz = nil
	other.Setpoints[0].Tag = "a <b>"
	other.Setpoints[0].Band.Low.Value = 1e21
	other.Setpoints[0].Change = nil
	other.Checks = other.Checks[:1]
	other.Verdict = linepacev1.Check_NOT_RUNNABLE
	got := Differences(recorded, open(other, "a/1"))
	byField := map[string][2]string{}
	var order []string
	for _, d := range got {
		byField[d.Field] = [2]string{d.Recorded, d.Recomputed}
		order = append(order, d.Field)
	}
	require.Len(t, byField, len(got))
	require.Equal(t, [2]string{"-6", "7"}, byField["setpoints[1].count"])
	require.Equal(t, "", byField["setpoints[1].pulseHz"][1])
	require.Equal(t, `"a <b>"`, byField["setpoints[0].tag"][1])
	require.Equal(t, [2]string{"1.1", "1e+21"}, byField["setpoints[0].band.low.value"])
	require.Contains(t, byField["setpoints[0].change"][0], `{"fromCount":-1,`)
	require.Contains(t, byField["checks[1]"][0], `"code":"ABOVE_HIGHEST_SPEED"`)
	require.Equal(t, [2]string{`"RUNNABLE"`, `"NOT_RUNNABLE"`}, byField["verdict"])
	require.Equal(t, [2]string{`"b/1"`, ""}, byField["formulas[1]"])
	require.Len(t, got, 8, "%v", order)

	many := proto.CloneOf(resp)
	for range 2 * MaxDifferences {
		many.Setpoints = append(many.Setpoints, &linepacev1.Setpoint{})
	}
	require.Len(t, Differences(recorded, open(many, "a/1", "b/1")), MaxDifferences)
}

// keptPayload is a real payload, of the demo line's change with twelve drives or so.
func keptPayload(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(vectors, "v1", "roof-tiles.json"))
	require.NoError(t, err)
	return data
}

// FuzzOpen: what is opened is the very bytes that Payload writes, what is refused
// is refused by one of the types of error.
func FuzzOpen(f *testing.F) {
	for _, name := range []string{"measured-pump", "odd-texts"} {
		payload, err := os.ReadFile(filepath.Join(vectors, "v1", name+".json"))
		require.NoError(f, err)
		f.Add(payload)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Open(data)
		require.Equal(t, openByWriting(data), err)
		_, other := OpenIndex(data)
		require.Equal(t, err, other)
		if err != nil {
			require.Nil(t, p)
			require.True(t, typed(err), "%T", err)
			return
		}
		again, err := Payload(p.Request, p.Plan, p.Formulas)
		require.NoError(t, err)
		require.True(t, bytes.Equal(data, again))
		require.Equal(t, Kind, p.Kind)
		require.EqualValues(t, Version, p.Version)
		read := &linepacev1.RecordPayload{}
		require.NoError(t, protojson.Unmarshal(data, read))
		require.True(t, proto.Equal(p, read), "protobuf's own JSON reads it otherwise")
	})
}

func typed(err error) bool {
	var (
		malformed *MalformedError
		trailing  *TrailingBytesError
		duplicate *DuplicateKeyError
		kind      *UnknownKindError
		version   *UnknownVersionError
		canonical *NotCanonicalError
	)
	return errors.As(err, &malformed) || errors.As(err, &trailing) || errors.As(err, &duplicate) ||
		errors.As(err, &kind) || errors.As(err, &version) || errors.As(err, &canonical)
}

// The corpus is run as a test; without it little is.
func TestFuzzCorpusIsThere(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "fuzz", "FuzzOpen", "*"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 10)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		require.True(t, bytes.HasPrefix(data, []byte("go test fuzz v1\n")), file)
	}
}

// BenchmarkRecord measures what a record adds to a plan of twelve drives: the
// payload and its digest, and the signature; and what verifying costs before the
// recomputation, and what it would cost to write the payload again.
func BenchmarkRecord(b *testing.B) {
	payload := keptPayload(b)
	p, err := Open(payload)
	require.NoError(b, err)
	require.Len(b, p.Plan.Setpoints, 12)
	sign := signer(b, "linepace-server v1.0.0")
	jws := sign.Sign(payload)
	keys := trusting(b, sign.Public())
	run := func(name string, f func() error) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := f(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(payload)), "payload-bytes")
		})
	}
	run("payload and digest", func() error {
		out, err := Payload(p.Request, p.Plan, p.Formulas)
		Digest(out)
		return err
	})
	run("digest", func() error { Digest(payload); return nil })
	run("sign", func() error { sign.Sign(payload); return nil })
	run("verify signature", func() error { _, err := VerifySignature(keys, payload, jws); return err })
	encoded, _, signature, err := splitJWS(jws)
	require.NoError(b, err)
	input := appendSigningInput(nil, encoded, payload)
	run("bare Ed25519 of the same bytes", func() error {
		if !ed25519.Verify(sign.Public(), input, signature) {
			return errors.New("not verified")
		}
		return nil
	})
	run("open", func() error { _, err := Open(payload); return err })
	run("open index", func() error { _, err := OpenIndex(payload); return err })
	run("open by writing again", func() error { return openByWriting(payload) })
	run("codec alone", func() error { return codec.Unmarshal(payload, &linepacev1.RecordPayload{}) })
}
