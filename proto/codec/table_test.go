package codec_test

import (
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	linepacev1 "linepace.example/proto/linepace/v1"

	"linepace.example/proto/codec"
)

// Every file of the contract is within the closed set.
func TestCheckPassesTheContract(t *testing.T) {
	var files []protoreflect.FileDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("linepace.v1", func(file protoreflect.FileDescriptor) bool {
		files = append(files, file)
		return true
	})
	require.Contains(t, files, linepacev1.File_linepace_v1_changeover_service_proto)
	require.NoError(t, codec.Check(files...))
	require.NoError(t, codec.Check(kitchen.ParentFile()))
}

// fileOf describes a proto3 file of one message M with one field f, as changed.
func fileOf(change func(*descriptorpb.FileDescriptorProto, *descriptorpb.DescriptorProto, *descriptorpb.FieldDescriptorProto)) *descriptorpb.FileDescriptorProto {
	f := &descriptorpb.FieldDescriptorProto{
		Name: proto.String("f"), Number: proto.Int32(1),
		Label: descriptorpb.FieldDescriptorProto_LABEL_OPTIONAL.Enum(),
		Type:  descriptorpb.FieldDescriptorProto_TYPE_INT32.Enum(),
	}
	m := &descriptorpb.DescriptorProto{Name: proto.String("M"), Field: []*descriptorpb.FieldDescriptorProto{f}}
	file := &descriptorpb.FileDescriptorProto{
		Name: proto.String("m.proto"), Package: proto.String("m"), Syntax: proto.String("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{m},
	}
	if change != nil {
		change(file, m, f)
	}
	return file
}

func TestCheckRefuses(t *testing.T) {
	type file = *descriptorpb.FileDescriptorProto
	type message = *descriptorpb.DescriptorProto
	type field = *descriptorpb.FieldDescriptorProto
	ofType := func(kind descriptorpb.FieldDescriptorProto_Type) func(file, message, field) {
		return func(_ file, _ message, f field) { f.Type = kind.Enum() }
	}
	holding := func(file protoreflect.FileDescriptor, name string) func(file, message, field) {
		return func(ff *descriptorpb.FileDescriptorProto, _ message, f field) {
			ff.Dependency = append(ff.Dependency, file.Path())
			f.Type = descriptorpb.FieldDescriptorProto_TYPE_MESSAGE.Enum()
			f.TypeName = proto.String(".google.protobuf." + name)
		}
	}
	for name, c := range map[string]struct {
		change func(file, message, field)
		want   string
	}{
		"int64":    {ofType(descriptorpb.FieldDescriptorProto_TYPE_INT64), "m.M.f: a field of type int64"},
		"uint64":   {ofType(descriptorpb.FieldDescriptorProto_TYPE_UINT64), "m.M.f: a field of type uint64"},
		"sint64":   {ofType(descriptorpb.FieldDescriptorProto_TYPE_SINT64), "m.M.f: a field of type sint64"},
		"fixed64":  {ofType(descriptorpb.FieldDescriptorProto_TYPE_FIXED64), "m.M.f: a field of type fixed64"},
		"sfixed64": {ofType(descriptorpb.FieldDescriptorProto_TYPE_SFIXED64), "m.M.f: a field of type sfixed64"},
		"float":    {ofType(descriptorpb.FieldDescriptorProto_TYPE_FLOAT), "m.M.f: a field of type float"},
		"sint32":   {ofType(descriptorpb.FieldDescriptorProto_TYPE_SINT32), "m.M.f: a field of type sint32"},
		"fixed32":  {ofType(descriptorpb.FieldDescriptorProto_TYPE_FIXED32), "m.M.f: a field of type fixed32"},
		"sfixed32": {ofType(descriptorpb.FieldDescriptorProto_TYPE_SFIXED32), "m.M.f: a field of type sfixed32"},
		"any":      {holding(anypb.File_google_protobuf_any_proto, "Any"), "google.protobuf.Any: a well-known type"},
		"duration": {holding(durationpb.File_google_protobuf_duration_proto, "Duration"), "google.protobuf.Duration: a well-known type"},
		"struct":   {holding(structpb.File_google_protobuf_struct_proto, "Struct"), "google.protobuf.Struct: a well-known type"},
		"wrapper":  {holding(wrapperspb.File_google_protobuf_wrappers_proto, "DoubleValue"), "google.protobuf.DoubleValue: a well-known type"},
		"null value": {func(ff file, _ message, f field) {
			ff.Dependency = []string{structpb.File_google_protobuf_struct_proto.Path()}
			f.Type = descriptorpb.FieldDescriptorProto_TYPE_ENUM.Enum()
			f.TypeName = proto.String(".google.protobuf.NullValue")
		}, "m.M.f: a well-known type"},
		"map": {func(_ file, m message, f field) {
			f.Label = descriptorpb.FieldDescriptorProto_LABEL_REPEATED.Enum()
			f.Type = descriptorpb.FieldDescriptorProto_TYPE_MESSAGE.Enum()
			f.TypeName = proto.String(".m.M.FEntry")
			key, value := proto.Clone(f).(field), proto.Clone(f).(field)
			for i, part := range []field{key, value} {
				part.Name, part.Number = proto.String([]string{"key", "value"}[i]), proto.Int32(int32(i+1))
				part.Label = descriptorpb.FieldDescriptorProto_LABEL_OPTIONAL.Enum()
				part.Type, part.TypeName = descriptorpb.FieldDescriptorProto_TYPE_STRING.Enum(), nil
			}
			m.NestedType = []message{{
				Name: proto.String("FEntry"), Field: []field{key, value},
				Options: &descriptorpb.MessageOptions{MapEntry: proto.Bool(true)},
			}}
		}, "m.M.f: a map"},
		"group": {func(ff file, m message, f field) {
			ff.Syntax = nil
			f.Type = descriptorpb.FieldDescriptorProto_TYPE_GROUP.Enum()
			f.TypeName = proto.String(".m.M.F")
			m.NestedType = []message{{Name: proto.String("F")}}
		}, "m.M: a message of proto2, not of proto3"},
		"proto2": {func(ff file, _ message, _ field) { ff.Syntax = nil }, "m.M: a message of proto2"},
		"edition": {func(ff file, _ message, _ field) {
			ff.Syntax, ff.Edition = proto.String("editions"), descriptorpb.Edition_EDITION_2023.Enum()
		}, "m.M: a message of editions"},
		"snake case": {func(_ file, _ message, f field) { f.JsonName = proto.String("a_b") }, `the JSON name "a_b" is not lowerCamel`},
		"capital":    {func(_ file, _ message, f field) { f.JsonName = proto.String("Ab") }, "is not lowerCamel"},
		"quoted":     {func(_ file, _ message, f field) { f.JsonName = proto.String(`a"b`) }, "is not lowerCamel"},
		"contains itself": {func(_ file, m message, f field) {
			f.Type = descriptorpb.FieldDescriptorProto_TYPE_MESSAGE.Enum()
			f.TypeName = proto.String(".m.M.N")
			back := proto.Clone(f).(field)
			back.TypeName = proto.String(".m.M")
			m.NestedType = []message{{Name: proto.String("N"), Field: []field{back}}}
		}, "m.M.f: m.M.N.f: m.M: a message that contains itself"},
		"undefined": {func(ff file, _ message, f field) {
			ff.Dependency = []string{"x.proto"}
			f.Type = descriptorpb.FieldDescriptorProto_TYPE_MESSAGE.Enum()
			f.TypeName = proto.String(".x.X")
		}, "m.M.f: x.X: a message without its definition"},
		"same name": {func(_ file, m message, f field) {
			second := proto.Clone(f).(field)
			second.Name, second.JsonName, second.Number = proto.String("g"), proto.String("f"), proto.Int32(2)
			m.Field = append(m.Field, second)
		}, `m.M.g: a second field with the JSON name "f"`},
		"65 fields": {func(_ file, m message, f field) {
			for i := 2; i <= 65; i++ {
				more := proto.Clone(f).(field)
				more.Name, more.Number = proto.String(fmt.Sprint("f", i)), proto.Int32(int32(i))
				m.Field = append(m.Field, more)
			}
		}, "m.M: a message of 65 fields, more than 64"},
		"nested message": {func(_ file, m message, f field) {
			bad := proto.Clone(f).(field)
			bad.Type = descriptorpb.FieldDescriptorProto_TYPE_INT64.Enum()
			m.NestedType = []message{{Name: proto.String("N"), Field: []field{bad}}}
		}, "m.M.N.f: a field of type int64"},
	} {
		t.Run(name, func(t *testing.T) {
			options := protodesc.FileOptions{AllowUnresolvable: name == "undefined"}
			file, err := options.New(fileOf(c.change), protoregistry.GlobalFiles)
			require.NoError(t, err)
			require.ErrorContains(t, codec.Check(linepacev1.File_linepace_v1_quantity_proto, file), c.want)
			if name == "nested message" {
				return // M itself is within the set
			}
			m := dynamicpb.NewMessage(file.Messages().ByName("M"))
			_, err = codec.Append(nil, m)
			require.ErrorContains(t, err, c.want)
			err = codec.Unmarshal([]byte(`{}`), m)
			require.ErrorContains(t, err, c.want)
			require.NotErrorAs(t, err, new(codec.Errors))
		})
	}
	unchanged, err := protodesc.NewFile(fileOf(nil), nil)
	require.NoError(t, err)
	require.NoError(t, codec.Check(unchanged))
}

// The first uses of a message may come at once.
func TestFirstUseAtOnce(t *testing.T) {
	fresh := must(protodesc.NewFile(kitchenFile(), nil)).Messages().ByName("Kitchen")
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			m := dynamicpb.NewMessage(fresh)
			if err := codec.Unmarshal([]byte(`{"aString":"a","manyMessage":[{"id":"b"}]}`), m); err != nil {
				t.Error(err)
			}
			if out, err := codec.AppendCanonical(nil, m); err != nil || string(out) != `{"aString":"a","manyMessage":[{"id":"b"}]}` {
				t.Error(string(out), err)
			}
		})
	}
	group.Wait()
}

// Check names all that is wrong.
func TestCheckListsAll(t *testing.T) {
	file, err := protodesc.NewFile(fileOf(func(_ *descriptorpb.FileDescriptorProto, m *descriptorpb.DescriptorProto, f *descriptorpb.FieldDescriptorProto) {
		f.Type = descriptorpb.FieldDescriptorProto_TYPE_INT64.Enum()
		second := proto.Clone(f).(*descriptorpb.FieldDescriptorProto)
		second.Name, second.Number = proto.String("g"), proto.Int32(2)
		second.Type = descriptorpb.FieldDescriptorProto_TYPE_FLOAT.Enum()
		m.Field = append(m.Field, second)
	}), nil)
	require.NoError(t, err)
	err = codec.Check(file)
	require.ErrorContains(t, err, "m.M.f: a field of type int64")
	require.ErrorContains(t, err, "m.M.g: a field of type float")
}
