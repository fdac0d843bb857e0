package server

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// planner plans behind the chain and sees what the log sees.
type planner struct {
	*Server
	logged *observer.ObservedLogs
}

func newPlanner(t testing.TB) planner {
	t.Helper()
	core, logged := observer.New(zap.ErrorLevel)
	s, err := New(Config{Log: zap.New(core)})
	require.NoError(t, err)
	return planner{s, logged}
}

// plan demands what holds for any request: a plan that can be written, the same
// each time, or a refusal that says what is wrong.
func (p planner) plan(t *testing.T, req *linepacev1.PlanRequest) {
	t.Helper()
	first, err := p.Changeover().Plan(t.Context(), req)
	if lines := p.logged.TakeAll(); len(lines) > 0 {
		t.Fatalf("%s: %v", lines[0].Message, lines[0].ContextMap())
	}
	if err != nil {
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
		require.NotEmpty(t, refusal.Violations(err), "%v", err)
		return
	}
	require.NotZero(t, first.Verdict)
	written, err := codec.Append(nil, first)
	require.NoError(t, err, "the plan holds what JSON cannot")
	again, err := p.Changeover().Plan(t.Context(), req)
	require.NoError(t, err)
	rewritten, err := codec.Append(nil, again)
	require.NoError(t, err)
	require.True(t, bytes.Equal(written, rewritten), "the same request, another plan:\n%s\n%s", written, rewritten)
}

func roofTiles(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "conformance", "base", "roof-tiles.json"))
	require.NoError(t, err)
	return data
}

// FuzzPlanBytes reads any bytes as JSON and plans what it can read.
func FuzzPlanBytes(f *testing.F) {
	p := newPlanner(f)
	f.Add(roofTiles(f))
	f.Fuzz(func(t *testing.T, data []byte) {
		req := &linepacev1.PlanRequest{}
		if err := codec.Unmarshal(data, req); err != nil {
			var wrong codec.Errors
			require.True(t, errors.As(err, &wrong) && len(wrong) > 0, "%v", err)
			return
		}
		p.plan(t, req)
	})
}

// FuzzPlanStructured changes a sound request in places and ways that the bytes
// choose: most of what comes out is nearly right, which is where calculations
// break.
func FuzzPlanStructured(f *testing.F) {
	p := newPlanner(f)
	whole := &linepacev1.PlanRequest{}
	require.NoError(f, protojson.Unmarshal(roofTiles(f), whole))
	f.Fuzz(func(t *testing.T, seed []byte) {
		m := mutator{seed: seed}
		req := sound(t)
		if m.pick(2) == 0 {
			req = proto.CloneOf(whole)
		}
		for range 1 + m.pick(6) {
			m.message(req.ProtoReflect())
		}
		p.plan(t, req)
	})
}

// mutator draws its choices from a seed, and zeros when that is used up.
type mutator struct{ seed []byte }

func (m *mutator) pick(n int) int {
	if len(m.seed) == 0 {
		return 0
	}
	b := m.seed[0]
	m.seed = m.seed[1:]
	return int(b) % n
}

// message changes one field, of msg or of a message in it.
func (m *mutator) message(msg protoreflect.Message) {
	fields := msg.Descriptor().Fields()
	if fields.Len() == 0 {
		return
	}
	field := fields.Get(m.pick(fields.Len()))
	switch {
	case m.pick(40) == 39:
		msg.SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 4000, protowire.VarintType), 1))
	case field.IsList():
		m.list(msg, field)
	case field.Kind() == protoreflect.MessageKind:
		switch m.pick(8) {
		case 0:
			msg.Clear(field)
		default:
			m.message(msg.Mutable(field).Message())
		}
	default:
		msg.Set(field, m.scalar(field))
	}
}

func (m *mutator) list(msg protoreflect.Message, field protoreflect.FieldDescriptor) {
	list := msg.Mutable(field).List()
	switch choice := m.pick(10); {
	case choice == 0 && list.Len() > 0: // the last goes
		list.Truncate(list.Len() - 1)
	case choice == 1 && list.Len() > 0: // one comes twice
		list.Append(list.Get(m.pick(list.Len())))
	case list.Len() == 0 || choice == 2: // a new one
		if field.Kind() == protoreflect.MessageKind {
			m.message(list.AppendMutable().Message())
		} else {
			list.Append(m.scalar(field))
		}
	case field.Kind() == protoreflect.MessageKind:
		m.message(list.Get(m.pick(list.Len())).Message())
	default:
		list.Set(m.pick(list.Len()), m.scalar(field))
	}
}

var (
	doubles = []float64{
		0, 1, -1, 0.1, 50, 100, 101, -5, 42, 1750, 0.5, 1e-3, 1e3, 1e6, 1e6 + 1, 1e-12, 1e12, 1e-300, 1e300,
		math.MaxFloat64, math.SmallestNonzeroFloat64, math.Copysign(0, -1), math.NaN(), math.Inf(1), math.Inf(-1),
		99.99999999999999, 1.0 / 3, 65535, 65535.5, 1 << 53,
	}
	integers = []int32{0, 1, 2, 4, 17, -1, 9, 10, 100, 32767, 32768, 65535, 65536, 100000, 100001, math.MaxInt32, math.MinInt32}
	texts    = []string{
		"", "a", "takeaway", "kiln-rollers", "cooler", "feeder-clay", "glaze-pump", "cutter", "kiln", "dryer", "clay", "grog", "é\x00",
		"m/min", "mm", "m", "r/min", "min", "s", "kg/h", "g/r", "L/min", "mL/r", "kg/L", "pc/min", "pulse/L", "%", "1", "ton", "gal/min", "rpm",
		"ft/min", "[ft_i]/min", "Hz", "m/", "m/min/min", "m9", "K",
	}
)

func (m *mutator) scalar(field protoreflect.FieldDescriptor) protoreflect.Value {
	switch field.Kind() {
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(doubles[m.pick(len(doubles))])
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(integers[m.pick(len(integers))])
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(texts[m.pick(len(texts))])
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(m.pick(2) == 0)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(m.pick(field.Enum().Values().Len()+2) - 1))
	}
	panic("the fuzz test does not know fields of kind " + field.Kind().String())
}

// What fuzzing has found stays found: the corpus is run as a test.
func TestFuzzCorpusIsThere(t *testing.T) {
	for _, target := range []string{"FuzzPlanBytes", "FuzzPlanStructured", "FuzzScaleStructured"} {
		files, err := filepath.Glob(filepath.Join("testdata", "fuzz", target, "*"))
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(files), 10, "the corpus of %s is missing", target)
		for _, file := range files {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			require.True(t, bytes.HasPrefix(data, []byte("go test fuzz v1\n")), file)
		}
	}
}

// A mutator that changed nothing, or could not reach a field, would prove nothing.
func TestMutatorReachesEveryField(t *testing.T) {
	changed := map[protoreflect.FullName]bool{}
	state := uint64(1)
	for range 200_000 {
		seed := make([]byte, 24)
		for i := range seed {
			state = state*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
			seed[i] = byte(state >> 56)
		}
		m := mutator{seed: seed}
		req := &linepacev1.PlanRequest{}
		m.message(req.ProtoReflect())
		noteFields(req.ProtoReflect(), changed)
	}
	for _, shape := range shapesIn(contractCheck(t).shapes["linepace.v1.PlanRequest"], nil) {
		for i := range shape.descriptor.Fields().Len() {
			name := shape.descriptor.Fields().Get(i).FullName()
			require.True(t, changed[name], "the mutator never sets %s", name)
		}
	}
}

func noteFields(m protoreflect.Message, changed map[protoreflect.FullName]bool) {
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		changed[field.FullName()] = true
		switch {
		case field.Kind() != protoreflect.MessageKind:
		case field.IsList():
			for i := range value.List().Len() {
				noteFields(value.List().Get(i).Message(), changed)
			}
		default:
			noteFields(value.Message(), changed)
		}
		return true
	})
}

// shapesIn adds to seen the shape of a message and those of all messages in it.
func shapesIn(shape *messageShape, seen []*messageShape) []*messageShape {
	if slices.Contains(seen, shape) {
		return seen
	}
	seen = append(seen, shape)
	for i := range shape.fields {
		if shape.fields[i].message != nil {
			seen = shapesIn(shape.fields[i].message, seen)
		}
	}
	return seen
}
