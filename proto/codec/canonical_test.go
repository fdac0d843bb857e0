package codec_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// checkJudged compares the judgement made while reading with what writing the
// message again says, and reports it.
func checkJudged(t *testing.T, text []byte, empty proto.Message) bool {
	t.Helper()
	got, want := empty, proto.Clone(empty)
	canonical, err := codec.UnmarshalCanonical(text, got)
	if plain := codec.Unmarshal(text, want); plain != nil || err != nil {
		require.Equal(t, plain, err, "%q", text)
		require.False(t, canonical)
		return false
	}
	require.True(t, proto.Equal(want, got), "%q", text)
	written := must(codec.AppendCanonical(nil, got))
	require.Equal(t, bytes.Equal(written, text), canonical, "%q\nis written\n%q", text, written)
	return canonical
}

// Random messages in both forms that are written, and the canonical one with one
// or two places changed.
func TestCanonicalJudgedAsWritten(t *testing.T) {
	random := rand.New(rand.NewPCG(8785, 2))
	changes := []string{
		"", "", "0", "1", "-", ".", "e", ",", ":", "{", "}", `"`, `\`, " ", "\n", "a", "é", "0.0", "-0", "1e0", "1E400", ".50", "00",
		"e+1", `\u0061`, `\u00e9`, `\/`, `\n`, `\u000a`, `\u001f`, `\u001F`, `\"`, `""`, "[]", "{}", "false", "\xc3",
	}
	canonical, other := 0, 0
	for i := range 30000 {
		seed := make([]byte, random.IntN(120))
		for j := range seed {
			seed[j] = byte(random.Uint32())
		}
		kind := types[i%len(types)]
		m := kind()
		fill(&source{seed}, m.ProtoReflect())
		text := must(codec.AppendCanonical(nil, m))
		require.True(t, checkJudged(t, text, kind()), "%q", text)
		checkJudged(t, must(codec.Append(nil, m)), kind())
		for range 1 + random.IntN(2) {
			at := random.IntN(len(text) + 1)
			end := min(at+random.IntN(3), len(text))
			text = append(append(bytes.Clone(text[:at]), changes[random.IntN(len(changes))]...), text[end:]...)
		}
		if checkJudged(t, text, kind()) {
			canonical++
		} else {
			other++
		}
	}
	require.Greater(t, canonical, 1000)
	require.Greater(t, other, 1000)
}

// Numbers around the bounds of the short way to read them: fifteen digits, 1e-6,
// 1e21, zeros at either end. The values are compared with strconv's.
func TestNumbersJudgedAsWritten(t *testing.T) {
	random := rand.New(rand.NewPCG(8785, 3))
	numbers := []string{
		"0", "-0", "0.0", "-0.0", "1", "-1", "10", "1.0", "1.10", "0.1", "0.000001", "0.0000001", "0.00000123", "0.000000123", "1e-7", "1E-7",
		"123456789012345", "1234567890123456", "9007199254740993", "0.12345678901234", "0.123456789012345", "0.1234567890123456",
		"999999999999999", "99999999999999.9", "0.3", "0.30000000000000004", "5e-324", "1e21", "1e+21", "100000000000000000000", "1.7976931348623157e+308",
	}
	for range 100000 {
		digits := strconv.FormatUint(1<<63|random.Uint64(), 10)[:1+random.IntN(19)]
		if at := random.IntN(len(digits) + 1); at < len(digits) && at > 0 {
			digits = digits[:at] + "." + digits[at:]
		} else if at == 0 {
			digits = "0." + "0000000"[:random.IntN(8)] + digits
		}
		numbers = append(numbers, []string{"", "-"}[random.IntN(2)]+digits)
	}
	for _, number := range numbers {
		text := []byte(`{"value":` + number + `}`)
		checkJudged(t, text, &linepacev1.Quantity{})
		q := &linepacev1.Quantity{}
		require.NoError(t, codec.Unmarshal(text, q))
		want := must(strconv.ParseFloat(number, 64)) + 0
		if math.Float64bits(want) != math.Float64bits(q.Value) {
			t.Fatalf("%s is read as %v, want %v", number, q.Value, want)
		}
	}
}

// What a program may leave nil is written as protobuf marshals it: an item that is
// nil as an empty one, a choice that is nil as none.
func TestCanonicalOfNil(t *testing.T) {
	for _, c := range []struct {
		m    proto.Message
		want string
	}{
		{(*linepacev1.Quantity)(nil), `{}`},
		{&linepacev1.Line{Drives: []*linepacev1.Drive{nil, {Id: "a"}}}, `{"drives":[{},{"id":"a"}]}`},
		{&linepacev1.Stage{Kind: &linepacev1.Stage_Chain_{}}, `{"chain":{}}`},
		{&linepacev1.Stage{Kind: (*linepacev1.Stage_Chain_)(nil)}, `{}`},
		{&linepacev1.Line{Drives: []*linepacev1.Drive{}}, `{}`},
		{&linepacev1.Record{Payload: []byte{}}, `{}`},
	} {
		require.Equal(t, c.want, string(must(codec.AppendCanonical(nil, c.m))))
		wire := must(proto.Marshal(c.m))
		again := c.m.ProtoReflect().New().Interface()
		require.NoError(t, proto.Unmarshal(wire, again))
		require.Equal(t, c.want, string(must(codec.AppendCanonical(nil, again))))
	}
}
