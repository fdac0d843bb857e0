package codec_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/types/dynamicpb"

	linepacev1 "linepace.example/proto/linepace/v1"

	"linepace.example/proto/codec"
)

// The struct in kitchen_pb_test.go is what protoc-gen-go makes of kitchenFile.
func TestKitchenIsThatOfItsFile(t *testing.T) {
	got := protodesc.ToFileDescriptorProto(File_kitchen_proto)
	for _, m := range got.MessageType { // as protoc fills them in
		for _, f := range m.Field {
			f.JsonName = nil
		}
	}
	require.Empty(t, got.GetOptions().GetGoPackage())
	require.True(t, proto.Equal(kitchenFile(), got))
}

// A message is written the same from its struct and from its wire format, which is
// all that there is of a dynamic message.
func TestCanonicalOfStructs(t *testing.T) {
	require.True(t, codec.HasShape(new(Kitchen)))
	require.True(t, codec.HasShape(new(linepacev1.RecordPayload)))
	require.False(t, codec.HasShape(dynamicpb.NewMessage(kitchen)))
	random := rand.New(rand.NewPCG(8785, 4))
	for range 20000 {
		seed := make([]byte, random.IntN(300))
		for j := range seed {
			seed[j] = byte(random.Uint32())
		}
		m := dynamicpb.NewMessage(kitchen)
		fill(&source{seed}, m)
		if random.IntN(8) == 0 {
			m.SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 500, protowire.VarintType), 1))
		}
		made := new(Kitchen)
		require.NoError(t, proto.Unmarshal(must(proto.Marshal(m)), made))
		require.Equal(t, string(must(codec.AppendCanonical(nil, m))), string(must(codec.AppendCanonical(nil, made))))
	}
}

// What has no JSON is refused from a struct as from the wire format, and by its path.
func TestCanonicalOfStructsRefuses(t *testing.T) {
	for field, m := range map[string]*Kitchen{
		"aDouble":           {ADouble: math.Inf(-1)},
		"manyDouble[1]":     {ManyDouble: []float64{0, math.NaN()}},
		"aString":           {AString: "\xff"},
		"manyString[0]":     {ManyString: []string{"a\xc3"}},
		"aEnum":             {AEnum: 2},
		"manyEnum[2]":       {ManyEnum: []Mode{1, 7, -4}},
		"oneEnum":           {Choice: &Kitchen_OneEnum{OneEnum: 15}},
		"maybeEnum":         {MaybeEnum: Mode(16).Enum()},
		"oneMessage.value":  {Choice: &Kitchen_OneMessage{OneMessage: &Item{Value: math.Inf(1)}}},
		"manyMessage[1].id": {ManyMessage: []*Item{nil, {Id: "\x80"}}},
	} {
		_, err := codec.AppendCanonical(nil, m)
		require.ErrorContains(t, err, "proto/codec: "+field+": ")
	}
}

// Numbers of at most three decimals have a short way of their own. They and their
// neighbours are written as strconv finds the shortest digits.
func TestThousandths(t *testing.T) {
	random := rand.New(rand.NewPCG(8785, 5))
	number := func(v float64) {
		q := must(codec.AppendCanonical(nil, &linepacev1.Quantity{Value: v}))
		if want := `{"value":` + strconv.FormatFloat(v, 'f', -1, 64) + `}`; string(q) != want {
			t.Fatalf("got %s, want %s", q, want)
		}
	}
	for range 200000 {
		thousandths := int64(random.Uint64() >> (6 + random.IntN(58)))
		if thousandths == 0 {
			continue
		}
		v := float64(thousandths) / 1000
		for range 3 {
			number(v)
			number(-v)
			number(math.Nextafter(v, 0))
			v = math.Nextafter(v, math.Inf(1))
		}
	}
	for _, v := range []float64{0.001, 0.0015, 0.29, 999999999999.999, 1000000000000.001, 4503599627370.4955, 9007199254740.993, 0.0010000000000000002} {
		number(v)
	}
}
