package codec_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/proto/codec"
	"linepace.example/proto/refusal"
)

// The judges of this file are google.golang.org/protobuf/encoding/protojson, the
// JSON mapping by protobuf's own authors; encoding/json for the syntax, where
// protojson lets an exponent without digits pass; and github.com/gowebpki/jcs, an
// implementation of RFC 8785 (held to the RFC's own vectors in encode_test.go).

// checkWritten compares what the codec makes of m with what the judges make of it.
func checkWritten(t *testing.T, m proto.Message) {
	t.Helper()
	want := withoutNegativeZeros(m)
	written, err := codec.Append(nil, m)
	if err != nil {
		t.Fatalf("%v: %v", m, err)
	}
	checkReadBack(t, written, want)
	if want := compact(must(protojson.MarshalOptions{EmitDefaultValues: true}.Marshal(want))); !bytes.Equal(written, want) {
		t.Fatalf("Append differs from protojson:\ngot  %s\nwant %s", written, want)
	}

	canonical, err := codec.AppendCanonical(nil, m)
	if err != nil {
		t.Fatalf("%v: %v", m, err)
	}
	checkReadBack(t, canonical, want)
	if want := must(jcs.Transform(must(protojson.Marshal(want)))); !bytes.Equal(canonical, want) {
		t.Fatalf("AppendCanonical differs from RFC 8785 of protojson:\ngot  %s\nwant %s", canonical, want)
	}
}

// compact drops the white space, which protojson puts in at random.
func compact(text []byte) []byte {
	var out bytes.Buffer
	if err := json.Compact(&out, text); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// checkReadBack reads a text with the codec and with protojson.
func checkReadBack(t *testing.T, text []byte, want proto.Message) {
	t.Helper()
	for name, read := range map[string]func([]byte, proto.Message) error{"codec": codec.Unmarshal, "protojson": protojson.Unmarshal} {
		got := want.ProtoReflect().New().Interface()
		if err := read(text, got); err != nil {
			t.Fatalf("%s cannot read %s: %v", name, text, err)
		}
		if !proto.Equal(want, got) {
			t.Fatalf("%s reads %s as\n%v, want\n%v", name, text, got, want)
		}
	}
}

// checkRead compares how the codec and protojson read any text, and reports
// whether the codec accepts it.
func checkRead(t *testing.T, text []byte, empty proto.Message) bool {
	t.Helper()
	got, want := empty, proto.Clone(empty)
	err, judged := codec.Unmarshal(text, got), protojson.Unmarshal(text, want)
	if err == nil {
		if judged != nil || !json.Valid(text) {
			t.Fatalf("accepted, but protojson or encoding/json refuses %q: %v", text, judged)
		}
		if want := withoutNegativeZeros(want); !proto.Equal(want, got) {
			t.Fatalf("%q is read as\n%v, want\n%v", text, got, want)
		}
		checkWritten(t, got)
		return true
	}
	var violations codec.Errors
	if !errors.As(err, &violations) || len(violations) == 0 || len(violations) > 100 {
		t.Fatalf("%q is refused with %T of %d: %v", text, err, len(violations), err)
	}
	for _, v := range violations {
		if v.Reason == "" || v.Text == "" || !utf8.ValidString(v.Path+v.Text) {
			t.Fatalf("%q is refused with %q", text, v)
		}
		if judged == nil && json.Valid(text) && !stricter(empty.ProtoReflect().Descriptor(), v) {
			t.Fatalf("protojson accepts %q, but the codec says %q", text, v)
		}
	}
	fault := slices.IndexFunc(violations, isSyntax)
	if json.Valid(text) && fault >= 0 && !beyondSyntax(violations[fault]) {
		t.Fatalf("encoding/json takes %q, but the codec says %q", text, violations[fault])
	}
	if !json.Valid(text) && fault < 0 {
		t.Fatalf("encoding/json does not take %q, but the codec says %v", text, violations)
	}
	return false
}

// isSyntax reports whether a violation is an error of syntax, and beyondSyntax
// whether it is one that encoding/json does not see.
func isSyntax(v refusal.Violation) bool {
	return v.Reason == "MALFORMED" && !strings.HasPrefix(v.Text, "not base64")
}

func beyondSyntax(v refusal.Violation) bool {
	for _, part := range []string{"a byte that is not UTF-8", "a lone surrogate", "as the whole body", "a value nested more than"} {
		if strings.Contains(v.Text, part) {
			return true
		}
	}
	return false
}

// stricter reports whether a violation is one of those where the codec is
// stricter than protojson on purpose.
func stricter(md protoreflect.MessageDescriptor, v refusal.Violation) bool {
	switch v.Reason {
	case "WRONG_TYPE": // null; numbers in quotes, of an enum, or of an integer with point or exponent
		return strings.HasPrefix(v.Text, "null where ") || strings.Contains(v.Text, "a number belongs") ||
			strings.Contains(v.Text, "an integer from ") || strings.Contains(v.Text, " where a string out of ")
	case "NOT_FINITE": // "NaN", "Infinity"
		return strings.HasPrefix(v.Text, `"`)
	case "UNKNOWN_FIELD": // the name in the .proto file
		return isProtoName(md, v.Path)
	case "MALFORMED":
		return strings.HasPrefix(v.Text, "not base64")
	case "DUPLICATE_FIELD": // a null, which gives nothing to protojson
		return true
	}
	return v.Reason == "TOO_MANY"
}

// isProtoName reports whether path ends in a field's name as its .proto file has
// it, where that is not its name in JSON.
func isProtoName(md protoreflect.MessageDescriptor, path string) bool {
	steps := strings.Split(path, ".")
	for _, step := range steps[:len(steps)-1] {
		step, _, _ = strings.Cut(step, "[")
		fd := md.Fields().ByJSONName(step)
		if fd == nil || fd.Message() == nil {
			return false
		}
		md = fd.Message()
	}
	last := steps[len(steps)-1]
	fd := md.Fields().ByName(protoreflect.Name(last))
	return fd != nil && fd.JSONName() != last
}

// 20,000 random messages, the same in every run.
func TestRandomMessagesAsProtojson(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for i := range 20000 {
		seed := make([]byte, random.IntN(160))
		for j := range seed {
			seed[j] = byte(random.Uint32())
		}
		m := types[i%len(types)]()
		fill(&source{seed}, m.ProtoReflect())
		checkWritten(t, m)
	}
}

// Documents with one or two bytes changed, which is how most documents are wrong.
func TestDamagedDocumentsAsProtojson(t *testing.T) {
	const bytesOfJSON = "{}[]:,\"\\/-+.0123456789eEtfnN aux\n\x00\xc3"
	random := rand.New(rand.NewPCG(3, 4))
	accepted := 0
	for i := range 20000 {
		seed := make([]byte, random.IntN(100))
		for j := range seed {
			seed[j] = byte(random.Uint32())
		}
		m := types[i%len(types)]()
		fill(&source{seed}, m.ProtoReflect())
		text := must(codec.AppendCanonical(nil, m))
		for range 1 + random.IntN(2) {
			at, b := random.IntN(len(text)), bytesOfJSON[random.IntN(len(bytesOfJSON))]
			switch random.IntN(3) {
			case 0:
				text[at] = b
			case 1:
				text = append(text[:at:at], text[min(at+1, len(text)-1):]...)
			case 2:
				text = append(text[:at:at], append([]byte{b}, text[at:]...)...)
			}
		}
		proto.Reset(m)
		if checkRead(t, text, m) {
			accepted++
		}
	}
	// The damage must be neither harmless nor deadly throughout.
	require.Greater(t, accepted, 1000)
	require.Less(t, accepted, 19000)
}

// FuzzUnmarshal: on any bytes the codec agrees with protojson or is stricter on
// purpose, and never panics.
func FuzzUnmarshal(f *testing.F) {
	for _, c := range refused {
		kind := len(types) - 2
		body, ok := strings.CutPrefix(c.body, "kitchen ")
		if ok {
			kind++
		}
		f.Add(byte(kind), []byte(body))
	}
	f.Fuzz(func(t *testing.T, kind byte, text []byte) {
		checkRead(t, text, types[int(kind)%len(types)]())
		checkJudged(t, text, types[int(kind)%len(types)]())
		checkPart(t, text, types[int(kind)%len(types)]())
	})
}

// checkPart holds that reading in part refuses what reading refuses, in the same
// words, and else reads the same.
func checkPart(t *testing.T, text []byte, m proto.Message) {
	t.Helper()
	whole := m.ProtoReflect().New().Interface()
	err := codec.Unmarshal(text, whole)
	part, partErr := codec.UnmarshalPart(text, m)
	require.Equal(t, err, partErr)
	switch {
	case err == nil:
		require.False(t, part)
		require.True(t, proto.Equal(whole, m))
	case !part:
		require.True(t, proto.Equal(whole, m), "both are empty")
	}
}

// FuzzStructured: any message survives the codec, and is to protojson what it
// was before.
func FuzzStructured(f *testing.F) {
	f.Fuzz(func(t *testing.T, kind byte, seed []byte) {
		m := types[int(kind)%len(types)]()
		fill(&source{seed}, m.ProtoReflect())
		checkWritten(t, m)
	})
}

// Without its corpus a fuzz target passes on nothing.
func TestFuzzCorpusIsThere(t *testing.T) {
	for _, target := range []string{"FuzzUnmarshal", "FuzzStructured"} {
		files, err := filepath.Glob("testdata/fuzz/" + target + "/*")
		require.NoError(t, err)
		require.Greater(t, len(files), 20, target)
		for _, file := range files {
			content, err := os.ReadFile(file)
			require.NoError(t, err)
			require.True(t, bytes.HasPrefix(content, []byte("go test fuzz v1\nbyte(")), file)
		}
	}
}
