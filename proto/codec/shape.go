package codec

import (
	"encoding/base64"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
	"unsafe"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// A shape is where the fields of a message stand in the struct that protobuf's
// generator has made of it. To write a message from there takes half of the time,
// or less, that its wire format takes. Reflection finds the places and holds each
// to the Go type that the generator gives it; what is read from there on is read
// by address, and nothing is written.
type shape struct {
	places  []place // by name
	unknown uintptr // of the unknown fields
}

type place struct {
	*field
	offset  uintptr // in the struct
	how     how
	size    uintptr // of an item of a list
	message *shape
	wrapper reflect.Type // what the oneof's field holds for this member: a pointer
}

// how is how a field stands in a struct.
type how uint8

const (
	byValue   how = iota // its default is absence
	byPointer            // nil is absence
	bySlice              // nil is absence: optional bytes
	byList               // an empty one is absence
	byChoice             // in a oneof
)

// shapes holds the shapes made so far by type of message, nil for a type that
// was not generated with a field of its struct for each of its own.
var shapes sync.Map

func shapeOf(t *table, m proto.Message) *shape {
	kind := reflect.TypeOf(m)
	if s, ok := shapes.Load(kind); ok {
		return s.(*shape)
	}
	s, ok := makeShape(t, m.ProtoReflect().Type().New().Interface())
	if !ok {
		s = nil
	}
	shapes.Store(kind, s)
	return s
}

func makeShape(t *table, m proto.Message) (*shape, bool) {
	pointer := reflect.TypeOf(m)
	if pointer.Kind() != reflect.Pointer || pointer.Elem().Kind() != reflect.Struct {
		return nil, false
	}
	fields := structFields(pointer.Elem())
	unknown, ok := pointer.Elem().FieldByName("unknownFields")
	if !ok || unknown.Type != reflect.TypeFor[[]byte]() {
		return nil, false
	}
	s := &shape{unknown: unknown.Offset}
	for _, f := range t.sorted {
		p := place{field: f}
		if !p.find(fields, m) {
			return nil, false
		}
		s.places = append(s.places, p)
	}
	return s, true
}

// structFields finds a struct's fields by what protobuf's generator tags them with:
// the number of a field, the name of a oneof.
func structFields(of reflect.Type) map[string]reflect.StructField {
	fields := make(map[string]reflect.StructField)
	for i := range of.NumField() {
		tag := of.Field(i).Tag
		if parts := strings.Split(tag.Get("protobuf"), ","); len(parts) > 1 && of.Field(i).IsExported() {
			fields[parts[1]] = of.Field(i)
		}
		if name := tag.Get("protobuf_oneof"); name != "" && of.Field(i).IsExported() {
			fields[name] = of.Field(i)
		}
	}
	return fields
}

// find finds the place among the fields of a struct, and reports whether it is of
// the type that it should be.
func (p *place) find(fields map[string]reflect.StructField, m proto.Message) bool {
	chosen := p.oneof != nil && !p.desc.HasOptionalKeyword()
	key := strconv.Itoa(int(p.number))
	if chosen {
		key = string(p.desc.ContainingOneof().Name())
	}
	found, ok := fields[key]
	if !ok {
		return false
	}
	p.offset = found.Offset
	goType := found.Type
	switch {
	case p.list:
		if goType.Kind() != reflect.Slice {
			return false
		}
		goType = goType.Elem()
		p.how, p.size = byList, goType.Size()
	case chosen:
		if goType.Kind() != reflect.Interface || goType.NumMethod() == 0 {
			return false
		}
		p.how, p.wrapper = byChoice, wrapperOf(p.field, m, found.Index)
		goType = p.wrapper.Elem().Field(0).Type // the only one
	case p.kind == protoreflect.MessageKind:
		p.how = byPointer
	case p.presence && p.kind == protoreflect.BytesKind:
		p.how = bySlice
	case p.presence:
		if goType.Kind() != reflect.Pointer {
			return false
		}
		p.how, goType = byPointer, goType.Elem()
	}
	if p.field.message == nil {
		return goType.Kind() == goKinds[p.kind] && (p.kind != protoreflect.BytesKind || goType.Elem().Kind() == reflect.Uint8)
	}
	if goType.Kind() != reflect.Pointer {
		return false
	}
	sub, isMessage := reflect.New(goType.Elem()).Interface().(proto.Message)
	if isMessage {
		p.message, isMessage = makeShape(p.field.message, sub)
	}
	return isMessage
}

// goKinds are what the generator makes of the kinds that are no messages.
var goKinds = map[protoreflect.Kind]reflect.Kind{
	protoreflect.DoubleKind: reflect.Float64,
	protoreflect.StringKind: reflect.String,
	protoreflect.BytesKind:  reflect.Slice,
	protoreflect.EnumKind:   reflect.Int32,
	protoreflect.BoolKind:   reflect.Bool,
	protoreflect.Int32Kind:  reflect.Int32,
	protoreflect.Uint32Kind: reflect.Uint32,
}

// wrapperOf returns the type that a oneof's field holds where the member f is given.
func wrapperOf(f *field, m proto.Message, index []int) reflect.Type {
	probe := m.ProtoReflect().New()
	probe.Set(f.desc, probe.NewField(f.desc))
	return reflect.ValueOf(probe.Interface()).Elem().FieldByIndex(index).Elem().Type()
}

// appendShape appends the message at an address as canonical JSON; at nil is an
// empty one. It reports false at what has no JSON, and at unknown fields.
func appendShape(out []byte, s *shape, at unsafe.Pointer) ([]byte, bool) {
	out = append(out, '{')
	if at == nil {
		return append(out, '}'), true
	}
	if len(*(*[]byte)(unsafe.Add(at, s.unknown))) > 0 { // which the wire format tells the form of
		return out, false
	}
	for i := range s.places {
		p := &s.places[i]
		v := p.value(unsafe.Add(at, p.offset))
		if v == nil {
			continue
		}
		out = append(out, p.key...)
		var ok bool
		if p.how == byList {
			out, ok = appendItems(out, p, v)
		} else {
			out, ok = appendPlace(out, p, v)
		}
		if !ok {
			return out, false
		}
		out = append(out, ',')
	}
	return closed(out, '}'), true
}

// value returns where the value of the field at an address stands, or nil where it
// is not to be written. That of a message is a pointer to it.
func (p *place) value(at unsafe.Pointer) unsafe.Pointer {
	switch p.how {
	case byValue:
		if p.isDefault(at) {
			return nil
		}
	case byPointer:
		target := *(*unsafe.Pointer)(at)
		if p.message == nil || target == nil {
			return target
		}
	case bySlice:
		if *(*[]byte)(at) == nil {
			return nil
		}
	case byList:
		if len(*(*[]byte)(at)) == 0 { // the length is that of any slice
			return nil
		}
	case byChoice:
		// What methods an interface has is of no matter here, as long as it has some.
		choice := any(*(*interface{ isChoice() })(at))
		if reflect.TypeOf(choice) != p.wrapper {
			return nil
		}
		return reflect.ValueOf(choice).UnsafePointer()
	}
	return at
}

func (p *place) isDefault(at unsafe.Pointer) bool {
	switch p.kind {
	case protoreflect.DoubleKind:
		return *(*float64)(at) == 0 // and so is a negative zero
	case protoreflect.StringKind:
		return *(*string)(at) == ""
	case protoreflect.BytesKind:
		return len(*(*[]byte)(at)) == 0
	case protoreflect.BoolKind:
		return !*(*bool)(at)
	}
	return *(*int32)(at) == 0 // as are uint32 and enums
}

func appendItems(out []byte, p *place, list unsafe.Pointer) ([]byte, bool) {
	items := *(*[]byte)(list) // begin and length are those of any slice
	at := unsafe.Pointer(unsafe.SliceData(items))
	out = append(out, '[')
	for i := range len(items) {
		var ok bool
		if out, ok = appendPlace(out, p, unsafe.Add(at, uintptr(i)*p.size)); !ok {
			return out, false
		}
		out = append(out, ',')
	}
	return closed(out, ']'), true
}

// appendPlace appends the value at an address, which is that of a field or of an
// item of its list.
func appendPlace(out []byte, p *place, at unsafe.Pointer) ([]byte, bool) {
	switch p.kind {
	case protoreflect.MessageKind:
		return appendShape(out, p.message, *(*unsafe.Pointer)(at))
	case protoreflect.DoubleKind:
		x := *(*float64)(at)
		if x-x != 0 { // NaN or an infinity
			return out, false
		}
		return appendNumber(out, x), true
	case protoreflect.StringKind:
		return appendText(out, *(*string)(at))
	case protoreflect.EnumKind:
		name, ok := p.enum.name(protoreflect.EnumNumber(*(*int32)(at)))
		return append(out, name...), ok
	case protoreflect.BoolKind:
		return strconv.AppendBool(out, *(*bool)(at)), true
	case protoreflect.Int32Kind:
		return strconv.AppendInt(out, int64(*(*int32)(at)), 10), true
	case protoreflect.Uint32Kind:
		return strconv.AppendUint(out, uint64(*(*uint32)(at)), 10), true
	}
	out = append(out, '"')
	out = base64.StdEncoding.AppendEncode(out, *(*[]byte)(at))
	return append(out, '"'), true
}

// appendText appends a text, and reports false where it is not UTF-8.
func appendText(out []byte, s string) ([]byte, bool) {
	for i := range len(s) {
		if !plain[s[i]] { // nor are bytes of which it must be judged whether they are UTF-8
			return appendString(out, s), utf8.ValidString(s)
		}
	}
	out = append(out, '"')
	out = append(out, s...)
	return append(out, '"'), true
}
