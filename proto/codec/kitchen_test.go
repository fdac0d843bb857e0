package codec_test

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// types returns an empty message of each type that the tests go through: four of
// the contract, and one that has a field of every type in every position.
var types = []func() proto.Message{
	func() proto.Message { return new(linepacev1.PlanRequest) },
	func() proto.Message { return new(linepacev1.PlanResponse) },
	func() proto.Message { return new(linepacev1.ScaleRequest) },
	func() proto.Message { return new(linepacev1.SetpointRequest) },
	func() proto.Message { return dynamicpb.NewMessage(kitchen) },
}

var kitchen = must(protodesc.NewFile(kitchenFile(), nil)).Messages().ByName("Kitchen")

var scalarTypes = []struct {
	name     string
	kind     descriptorpb.FieldDescriptorProto_Type
	typeName string
}{
	{"double", descriptorpb.FieldDescriptorProto_TYPE_DOUBLE, ""},
	{"int32", descriptorpb.FieldDescriptorProto_TYPE_INT32, ""},
	{"uint32", descriptorpb.FieldDescriptorProto_TYPE_UINT32, ""},
	{"bool", descriptorpb.FieldDescriptorProto_TYPE_BOOL, ""},
	{"string", descriptorpb.FieldDescriptorProto_TYPE_STRING, ""},
	{"bytes", descriptorpb.FieldDescriptorProto_TYPE_BYTES, ""},
	{"enum", descriptorpb.FieldDescriptorProto_TYPE_ENUM, ".kitchen.Mode"},
	{"message", descriptorpb.FieldDescriptorProto_TYPE_MESSAGE, ".kitchen.Item"},
}

// kitchenFile describes Kitchen: fields a_double to a_message, many_double to
// many_message, maybe_double to maybe_enum (optional), one_double to one_message
// (in the oneof choice), and a_z, declared last, whose JSON name aZ sorts before
// the others but aBool to aUint32. Of this protoc-gen-go has made kitchen_pb_test.go.
func kitchenFile() *descriptorpb.FileDescriptorProto {
	optional := descriptorpb.FieldDescriptorProto_LABEL_OPTIONAL.Enum()
	m := &descriptorpb.DescriptorProto{
		Name:      proto.String("Kitchen"),
		OneofDecl: []*descriptorpb.OneofDescriptorProto{{Name: proto.String("choice")}},
	}
	add := func(prefix string, i int) *descriptorpb.FieldDescriptorProto {
		f := &descriptorpb.FieldDescriptorProto{
			Name:   proto.String(prefix + "_" + scalarTypes[i].name),
			Number: proto.Int32(int32(len(m.Field) + 1)),
			Label:  optional,
			Type:   scalarTypes[i].kind.Enum(),
		}
		if name := scalarTypes[i].typeName; name != "" {
			f.TypeName = &name
		}
		m.Field = append(m.Field, f)
		return f
	}
	for i := range scalarTypes {
		add("a", i)
	}
	for i := range scalarTypes {
		add("many", i).Label = descriptorpb.FieldDescriptorProto_LABEL_REPEATED.Enum()
	}
	for i := range scalarTypes {
		add("one", i).OneofIndex = proto.Int32(0)
	}
	for i := range len(scalarTypes) - 1 {
		f := add("maybe", i)
		f.Proto3Optional = proto.Bool(true)
		f.OneofIndex = proto.Int32(int32(len(m.OneofDecl)))
		m.OneofDecl = append(m.OneofDecl, &descriptorpb.OneofDescriptorProto{Name: proto.String("_" + f.GetName())})
	}
	last := add("a", 0)
	last.Name, last.Number = proto.String("a_z"), proto.Int32(20000) // a tag of three bytes
	value := func(name string, number int32) *descriptorpb.EnumValueDescriptorProto {
		return &descriptorpb.EnumValueDescriptorProto{Name: &name, Number: &number}
	}
	return &descriptorpb.FileDescriptorProto{
		Name: proto.String("kitchen.proto"), Package: proto.String("kitchen"), Syntax: proto.String("proto3"),
		EnumType: []*descriptorpb.EnumDescriptorProto{{
			Name: proto.String("Mode"),
			Value: []*descriptorpb.EnumValueDescriptorProto{
				value("MODE_UNSPECIFIED", 0), value("SLOW", 1), value("FAST", 7), value("BACK", -3),
			},
		}},
		MessageType: []*descriptorpb.DescriptorProto{m, {
			Name: proto.String("Item"),
			Field: []*descriptorpb.FieldDescriptorProto{
				{Name: proto.String("id"), Number: proto.Int32(1), Label: optional, Type: descriptorpb.FieldDescriptorProto_TYPE_STRING.Enum()},
				{Name: proto.String("value"), Number: proto.Int32(2), Label: optional, Type: descriptorpb.FieldDescriptorProto_TYPE_DOUBLE.Enum()},
			},
		}},
	}
}

// fieldOf returns the value of a field by its JSON name.
func fieldOf(m proto.Message, name string) protoreflect.Value {
	pm := m.ProtoReflect()
	fd := pm.Descriptor().Fields().ByJSONName(name)
	if fd == nil {
		panic(fmt.Sprintf("%s has no field %q", pm.Descriptor().FullName(), name))
	}
	return pm.Get(fd)
}
