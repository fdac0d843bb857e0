package server

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/core/fault"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

func contractCheck(t testing.TB) *shapeCheck {
	t.Helper()
	c, err := newShapeCheck()
	require.NoError(t, err)
	return c
}

// sound returns a request of sound shape that holds every kind of field.
func sound(t testing.TB) *linepacev1.PlanRequest {
	t.Helper()
	req := &linepacev1.PlanRequest{}
	require.NoError(t, protojson.Unmarshal([]byte(`{
		"line": {"id": "l", "drives": [{"id": "a",
			"motor": {"maxRpm": 1750, "regulation": {"percent": 0.5, "of": "MAX_SPEED"}},
			"transmission": [{"gearPair": {"driverTeeth": 17, "drivenTeeth": 40}}],
			"delivery": {"roll": {"diameter": {"value": 300, "unit": "mm"}}},
			"sensors": [{"id": "s", "shaft": {"pulsesPerTurn": 60}}],
			"register": {"integer": {"type": "UINT16"}, "span": [
				{"count": 0, "value": {"value": 0, "unit": "r/min"}},
				{"count": 18000, "value": {"value": 1800, "unit": "r/min"}}]}}]},
		"product": {"id": "p",
			"demands": [{"driveId": "a", "rate": {"value": 10, "unit": "m/min"}}],
			"blends": [{"id": "b", "basis": "MASS", "total": {"value": 1, "unit": "kg/h"},
				"components": [{"driveId": "f", "sharePercent": 40}, {"driveId": "g", "balance": true}]}]}}`), req))
	return req
}

func unknownField(number protowire.Number) protoreflect.RawFields {
	return protowire.AppendVarint(protowire.AppendTag(nil, number, protowire.VarintType), 1)
}

func TestShape(t *testing.T) {
	c := contractCheck(t)
	cases := []struct {
		name   string
		change func(*linepacev1.PlanRequest)
		want   []string // path, reason
	}{
		{"sound", func(*linepacev1.PlanRequest) {}, nil},
		{"everything absent", func(r *linepacev1.PlanRequest) { proto.Reset(r) }, []string{"line REQUIRED", "product REQUIRED"}},
		{"no id", func(r *linepacev1.PlanRequest) { r.Line.Drives[0].Id = "" }, []string{"line.drives[0].id REQUIRED"}},
		{"no motor", func(r *linepacev1.PlanRequest) { r.Line.Drives[0].Motor = nil }, []string{"line.drives[0].motor REQUIRED"}},
		{"no drives", func(r *linepacev1.PlanRequest) { r.Line.Drives = nil }, []string{"line.drives REQUIRED"}},
		{"no kind of stage", func(r *linepacev1.PlanRequest) { r.Line.Drives[0].Transmission[0].Kind = nil },
			[]string{"line.drives[0].transmission[0] REQUIRED"}},
		{"no type of integer", func(r *linepacev1.PlanRequest) {
			r.Line.Drives[0].Register.GetInteger().Type = 0
		}, []string{"line.drives[0].register.integer.type REQUIRED"}},
		{"unknown type of integer", func(r *linepacev1.PlanRequest) {
			r.Line.Drives[0].Register.GetInteger().Type = 9
		}, []string{"line.drives[0].register.integer.type UNKNOWN_CHOICE"}},
		{"three points", func(r *linepacev1.PlanRequest) {
			r.Line.Drives[0].Register.Span = append(r.Line.Drives[0].Register.Span, r.Line.Drives[0].Register.Span[0])
		}, []string{"line.drives[0].register.span TOO_MANY"}},
		{"long id", func(r *linepacev1.PlanRequest) { r.Line.Drives[0].Id = strings.Repeat("ü", 129) },
			[]string{"line.drives[0].id TOO_LONG"}},
		{"too many stages", func(r *linepacev1.PlanRequest) {
			r.Line.Drives[0].Transmission = make([]*linepacev1.Stage, 17) // not looked into
			for i := range r.Line.Drives[0].Transmission {
				r.Line.Drives[0].Transmission[i] = &linepacev1.Stage{}
			}
		}, []string{"line.drives[0].transmission TOO_MANY"}},
		{"balance false", func(r *linepacev1.PlanRequest) {
			r.Product.Blends[0].Components[1].Share = &linepacev1.Blend_Component_Balance{}
		}, []string{"product.blends[0].components[1].balance OUT_OF_RANGE"}},
		{"NaN and infinity", func(r *linepacev1.PlanRequest) {
			r.Line.Drives[0].Motor.MaxRpm = math.NaN()
			r.Product.Demands[0].GetRate().Value = math.Inf(-1)
			r.Product.Blends[0].Components[0].Share = &linepacev1.Blend_Component_SharePercent{SharePercent: math.Inf(1)}
		}, []string{
			"line.drives[0].motor.maxRpm NOT_FINITE", "product.demands[0].rate.value NOT_FINITE",
			"product.blends[0].components[0].sharePercent NOT_FINITE",
		}},
		{"unknown fields", func(r *linepacev1.PlanRequest) {
			r.ProtoReflect().SetUnknown(unknownField(99))
			r.Line.Drives[0].Motor.ProtoReflect().SetUnknown(append(unknownField(7), unknownField(8)...))
		}, []string{" UNKNOWN_FIELD", "line.drives[0].motor UNKNOWN_FIELD"}},
		{"several, in the order of the message", func(r *linepacev1.PlanRequest) {
			r.Line.Id = ""
			r.Line.Drives[0].Motor.MinRpm = math.NaN()
			r.Line.Drives[0].Delivery.Kind = nil
			r.Product = nil
		}, []string{
			"product REQUIRED", "line.id REQUIRED", "line.drives[0].motor.minRpm NOT_FINITE", "line.drives[0].delivery REQUIRED",
		}},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			req := sound(t)
			tc.change(req)
			found, negativeZero, err := c.check(req)
			require.NoError(t, err)
			require.False(t, negativeZero)
			var got []string
			for _, f := range found {
				got = append(got, f.Path+" "+string(f.Reason))
				require.NotEmpty(t, f.Text)
			}
			require.Equal(t, tc.want, got, "%v", found)
		})
	}
}

// The texts say what would be right.
func TestShapeTexts(t *testing.T) {
	req := sound(t)
	req.Line.Id = ""
	req.Line.Drives[0].Motor = nil
	req.Line.Drives[0].Register.GetInteger().Type = 9
	req.Line.Drives[0].ProtoReflect().SetUnknown(slices.Concat(unknownField(99), unknownField(100), unknownField(99)))
	req.Product.Demands[0].Kind = nil
	req.Product.Blends[0].Basis = 0
	found, _, err := contractCheck(t).check(req)
	require.NoError(t, err)
	var got []string
	for _, f := range found {
		got = append(got, f.Path+": "+f.Text)
	}
	require.Equal(t, []string{
		"line.id: is needed: 1 to 128 characters",
		"line.drives[0]: has field numbers 99, 100 that Drive does not have",
		"line.drives[0].motor: is needed: an object with minRpm, maxRpm, baseRpm, regulation",
		"line.drives[0].register.integer.type: is 9, which is no choice; it must be one of INT16, UINT16, INT32",
		"product.demands[0]: needs one of rate, dwell, ratio, lengthPerPiece, stopped, leaveAsIs, dose",
		"product.blends[0].basis: is needed: one of MASS, VOLUME",
	}, got)
}

// A request can be wrong in more places than anyone can read; finding them must
// end.
func TestShapeEnds(t *testing.T) {
	c := contractCheck(t)
	req := sound(t)
	for range 9999 {
		req.Line.Drives = append(req.Line.Drives, &linepacev1.Drive{})
	}
	found, _, err := c.check(req)
	require.NoError(t, err)
	require.Less(t, len(found), 2*refusal.MaxViolations)
	require.Greater(t, len(found), refusal.MaxViolations)
	require.True(t, unbounded(found))

	req.Line.Drives = append(req.Line.Drives, &linepacev1.Drive{})
	found, _, err = c.check(req)
	require.NoError(t, err)
	require.Len(t, found, 1)
	require.Equal(t, fault.Fault{Path: "line.drives", Reason: fault.TooMany, Text: "has 10001 items; at most 10000 are taken"}, found[0].Fault)
}

func TestNegativeZeroIsZero(t *testing.T) {
	c := contractCheck(t)
	req := sound(t)
	minus := math.Copysign(0, -1)
	req.Line.Drives[0].Motor.MinRpm = minus
	req.Line.Drives[0].Motor.BaseRpm = proto.Float64(minus)
	req.Line.Drives[0].Register.Span[0].Value.Value = minus

	var seen *linepacev1.PlanRequest
	_, err := checkShape(zap.NewNop(), c)(t.Context(), req, nil, func(_ context.Context, req any) (any, error) {
		seen = req.(*linepacev1.PlanRequest)
		return nil, nil
	})
	require.NoError(t, err)
	require.True(t, math.Signbit(req.Line.Drives[0].Motor.MinRpm), "the caller's message stays as it is")
	require.False(t, math.Signbit(seen.Line.Drives[0].Motor.MinRpm))
	require.False(t, math.Signbit(*seen.Line.Drives[0].Motor.BaseRpm), "present and zero stays present")
	require.False(t, math.Signbit(seen.Line.Drives[0].Register.Span[0].Value.Value))
}

// Every rule that the contract uses has a reason and a text of its own here.
func TestEveryRuleIsMapped(t *testing.T) {
	mapped := map[string]bool{
		"required": true, "string.min_len": true, "string.max_len": true, "bytes.min_len": true, "bytes.max_len": true, "repeated.min_items": true,
		"repeated.max_items": true, "enum.not_in": true, "enum.defined_only": true, "bool.const": true,
	}
	fields := 0
	for _, shape := range contractCheck(t).shapes {
		for i := range shape.descriptor.Fields().Len() {
			field := shape.descriptor.Fields().Get(i)
			rules, err := protovalidate.ResolveFieldRules(field)
			require.NoError(t, err)
			if rules == nil {
				continue
			}
			fields++
			for _, rule := range ruleIDs(rules) {
				require.True(t, mapped[rule], "%s: ruleFault does not know %s", field.FullName(), rule)
			}
			if list := rules.GetRepeated(); list.HasMinItems() {
				require.True(t, list.HasMaxItems(), "%s: the text names both", field.FullName())
			}
			if text := rules.GetString(); text.HasMinLen() {
				require.True(t, text.HasMaxLen(), "%s: the text names both", field.FullName())
			}
		}
		message, err := protovalidate.ResolveMessageRules(shape.descriptor)
		require.NoError(t, err)
		require.Nil(t, message, "%s: rules of a whole message are not mapped", shape.descriptor.FullName())
	}
	require.Greater(t, fields, 50)
}

func ruleIDs(rules *validate.FieldRules) (ids []string) {
	rules.ProtoReflect().Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if f.Kind() != protoreflect.MessageKind {
			ids = append(ids, string(f.Name()))
			return true
		}
		v.Message().Range(func(rule protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
			ids = append(ids, fmt.Sprintf("%s.%s", f.Name(), rule.Name()))
			return true
		})
		return true
	})
	return ids
}

func TestMerge(t *testing.T) {
	shape := []shapeFault{
		{Fault: fault.Fault{Path: "line.drives[0].motor", Reason: fault.Required}},
		{Fault: fault.Fault{Path: "product.demands[0]", Reason: fault.Required}, oneThing: true},
		{Fault: fault.Fault{Path: "line.drives[1].motor.maxRpm", Reason: fault.NotFinite}},
		{Fault: fault.Fault{Path: "line.drives[1].register.span", Reason: fault.OutOfRange}},
		{Fault: fault.Fault{Path: "line.drives[2]", Reason: fault.UnknownField}, oneThing: true},
	}
	physics := func(paths ...string) (l fault.List) {
		for _, p := range paths {
			l = append(l, fault.Fault{Path: p, Reason: fault.OutOfRange})
		}
		return l
	}
	got := merge(shape, physics(
		"line.drives[0].motor", "line.drives[0].motor.maxRpm", "line.drives[0]", "line", "", // explained by the absent motor
		"line.drives[1].motor.maxRpm",           // explained by the NaN
		"product.demands[0]",                    // explained by the choice that was not made
		"line.drives[1].register.span[1].count", // explained by the span of one point
		"line.drives[0].motorway", "line.drives[1].motor", "line.drives[1].motor.minRpm",
		"line.drives[1].register", "line.drives[2].id", "product.demands[0].driveId", "product.demands[0].driveId",
	))
	var paths []string
	for _, f := range got {
		paths = append(paths, f.Path)
	}
	require.Equal(t, []string{
		"line.drives[0].motor", "product.demands[0]", "line.drives[1].motor.maxRpm", "line.drives[1].register.span", "line.drives[2]",
		"line.drives[0].motorway", "line.drives[1].motor", "line.drives[1].motor.minRpm",
		"line.drives[1].register", "line.drives[2].id", "product.demands[0].driveId",
	}, paths)
}

func TestFaultsOfShapeAndPhysicsTogether(t *testing.T) {
	core, logged := observer.New(zap.DebugLevel)
	check := checkShape(zap.New(core), contractCheck(t))
	info := &grpc.UnaryServerInfo{FullMethod: linepacev1.ChangeoverService_Plan_FullMethodName}
	req := sound(t)
	req.Line.Id = ""
	calls := 0
	faulty := grpc.UnaryHandler(func(context.Context, any) (any, error) {
		calls++
		return nil, fault.List{{Path: "line.drives[0].motor.minRpm", Reason: fault.OutOfRange}}
	})
	_, err := check(t.Context(), req, info, faulty)
	var faults fault.List
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, 2)
	require.Equal(t, 1, calls)

	_, err = check(t.Context(), req, info, func(context.Context, any) (any, error) { return "a result", nil })
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, 1, "a result of a faulty request is dropped")
	require.Zero(t, logged.Len())

	_, err = check(t.Context(), req, info, func(context.Context, any) (any, error) { panic("of the shape") })
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, 1, "the caller learns what is wrong all the same")
	require.Equal(t, 1, logged.FilterLevelExact(zap.DebugLevel).Len())
	require.Equal(t, 1, logged.Len())

	req.Line.Drives = make([]*linepacev1.Drive, 10001)
	_, err = check(t.Context(), req, info, faulty)
	require.ErrorAs(t, err, &faults)
	require.Equal(t, 1, calls, "no work for a list without bound")
}
