package codec_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/dynamicpb"

	linepacev1 "linepace.example/proto/linepace/v1"

	"linepace.example/proto/codec"
)

// vectors of RFC 8785: the file names their source.
type vectors struct {
	Numbers []struct {
		IEEE754 string
		JSON    *string // absent: not a number of JSON
	}
	Documents []struct {
		ID        string
		Input     string `json:"input_utf8_hex"`
		Canonical string `json:"canonical_utf8_hex"`
		SHA256    string `json:"sha256_of_canonical"`
	}
}

func readVectors(t *testing.T) vectors {
	data, err := os.ReadFile("../../testdata/jcs/rfc8785.json")
	require.NoError(t, err)
	var v vectors
	require.NoError(t, json.Unmarshal(data, &v))
	require.Len(t, v.Numbers, 29)
	require.Len(t, v.Documents, 3)
	return v
}

// forms are the two forms in which the codec writes.
var forms = map[string]func([]byte, proto.Message) ([]byte, error){
	"Append": codec.Append, "AppendCanonical": codec.AppendCanonical,
}

// Every number of RFC 8785 Appendix B.
func TestNumbersOfRFC8785(t *testing.T) {
	for _, vector := range readVectors(t).Numbers {
		bits, err := strconv.ParseUint(vector.IEEE754, 16, 64)
		require.NoError(t, err)
		m := &linepacev1.Motor{BaseRpm: proto.Float64(math.Float64frombits(bits))}
		for name, write := range forms {
			out, err := write(nil, m)
			if vector.JSON == nil {
				require.ErrorContains(t, err, "baseRpm: ", vector.IEEE754)
				continue
			}
			require.NoError(t, err)
			require.Contains(t, string(out), `"baseRpm":`+*vector.JSON+"}", "%s %s", name, vector.IEEE754)
		}
	}
}

// The numbers and the string of the reference document "values" of RFC 8785,
// read as they stand in its input and written as they stand in its canonical form.
func TestValuesOfRFC8785(t *testing.T) {
	for _, document := range readVectors(t).Documents {
		if document.ID != "JCS-doc-values" {
			continue
		}
		var input, canonical struct{ Numbers, String json.RawMessage }
		require.NoError(t, json.Unmarshal(must(hex.DecodeString(document.Input)), &input))
		require.NoError(t, json.Unmarshal(must(hex.DecodeString(document.Canonical)), &canonical))
		m := dynamicpb.NewMessage(kitchen)
		require.NoError(t, codec.Unmarshal([]byte(`{"manyDouble":`+string(input.Numbers)+`,"aString":`+string(input.String)+`}`), m))
		out, err := codec.AppendCanonical(nil, m)
		require.NoError(t, err)
		require.Equal(t, `{"aString":`+string(canonical.String)+`,"manyDouble":`+string(canonical.Numbers)+`}`, string(out))
		return
	}
	t.Fatal("no such document")
}

// The judge of the canonical form in differential_test.go passes the reference
// documents of RFC 8785 itself, among them those that no message can hold.
func TestJudgeOfTheCanonicalForm(t *testing.T) {
	for _, document := range readVectors(t).Documents {
		canonical, err := jcs.Transform(must(hex.DecodeString(document.Input)))
		require.NoError(t, err)
		require.Equal(t, document.Canonical, hex.EncodeToString(canonical), document.ID)
		digest := sha256.Sum256(canonical)
		require.Equal(t, document.SHA256, hex.EncodeToString(digest[:]), document.ID)
	}
}

// The order of fields, and which of them are written.
func TestForms(t *testing.T) {
	for _, c := range []struct {
		m                 proto.Message
		append, canonical string
	}{
		{&linepacev1.Stopped{}, `{}`, `{}`},
		{(*linepacev1.Quantity)(nil), `{"value":0,"unit":""}`, `{}`},
		{&linepacev1.Quantity{Value: math.Copysign(0, -1), Unit: "m"}, `{"value":0,"unit":"m"}`, `{"unit":"m"}`},
		{&linepacev1.Motor{}, `{"minRpm":0,"maxRpm":0}`, `{}`},
		{
			&linepacev1.Motor{MinRpm: 90, MaxRpm: 1750, BaseRpm: proto.Float64(0), Regulation: &linepacev1.Regulation{}},
			`{"minRpm":90,"maxRpm":1750,"baseRpm":0,"regulation":{"of":"OF_UNSPECIFIED"}}`,
			`{"baseRpm":0,"maxRpm":1750,"minRpm":90,"regulation":{}}`,
		},
		{
			&linepacev1.PlanResponse{Checks: []*linepacev1.Check{{}}, Verdict: linepacev1.Check_NOT_RUNNABLE},
			`{"setpoints":[],"checks":[{"code":"CODE_UNSPECIFIED","severity":"SEVERITY_UNSPECIFIED","driveId":"","field":"","message":"","binds":"LIMIT_UNSPECIFIED","fitField":"","otherField":""}],"verdict":"NOT_RUNNABLE","leaderIds":[],"transitions":[]}`,
			`{"checks":[{}],"verdict":"NOT_RUNNABLE"}`,
		},
		{
			&linepacev1.Dwell{SectionIds: []string{"kiln", ""}, Meaning: &linepacev1.Dwell_Point_{Point: &linepacev1.Dwell_Point{}}},
			`{"sectionIds":["kiln",""],"point":{},"belts":[]}`,
			`{"point":{},"sectionIds":["kiln",""]}`,
		},
		{&linepacev1.SetpointRequest{From: &linepacev1.SetpointRequest_Count{}}, `{"count":0,"includeWorking":false,"units":[]}`, `{"count":0}`},
	} {
		for name, want := range map[string]string{"Append": c.append, "AppendCanonical": c.canonical} {
			out, err := forms[name]([]byte("before "), c.m)
			require.NoError(t, err)
			require.Equal(t, "before "+want, string(out), name)
		}
	}
}

func TestAppendRefuses(t *testing.T) {
	deep := func(q *linepacev1.Quantity) proto.Message {
		return &linepacev1.PlanResponse{Setpoints: []*linepacev1.Setpoint{{}, {Band: &linepacev1.Setpoint_Band{High: q}}}}
	}
	for want, m := range map[string]proto.Message{
		"setpoints[1].band.high.value: NaN":  deep(&linepacev1.Quantity{Value: math.NaN()}),
		"setpoints[1].band.high.value: +Inf": deep(&linepacev1.Quantity{Value: math.Inf(1)}),
		"setpoints[1].band.high.value: -Inf": deep(&linepacev1.Quantity{Value: math.Inf(-1)}),
		"setpoints[1].band.high.unit: ":      deep(&linepacev1.Quantity{Unit: "m\xff"}),
		"verdict: the number 99 has no name": &linepacev1.PlanResponse{Verdict: 99},
		"no message":                         nil,
	} {
		for name, write := range forms {
			out, err := write(nil, m)
			require.ErrorContains(t, err, want, name)
			require.NotErrorAs(t, err, new(codec.Errors), "a fault of the program must not be blamed on a request")
			require.Nil(t, out)
		}
	}
}

// Unknown fields are passed over in the canonical form too, which is written from
// the wire format and so sees them; what is no wire format there is an error.
func TestCanonicalUnknownFields(t *testing.T) {
	m := &linepacev1.Quantity{Value: 1, Unit: "m"}
	m.ProtoReflect().SetUnknown([]byte{0xa2, 0x3e, 0x02, 'h', 'i'}) // number 996, "hi"
	got, err := codec.AppendCanonical(nil, m)
	require.NoError(t, err)
	require.Equal(t, `{"unit":"m","value":1}`, string(got))
	for _, broken := range [][]byte{{0xff}, {0xa2}, {0xa2, 0x3e}, {0xa2, 0x3e, 0x05, 'h'}, {0x0f}} {
		m.ProtoReflect().SetUnknown(broken)
		_, err := codec.AppendCanonical(nil, m)
		require.Error(t, err, "% x", broken)
	}
}
