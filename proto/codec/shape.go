package codec

import (
	"encoding/base64"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// A shape is where the fields of a message stand in the struct that protobuf's
// generator has made of it. To write a message from there takes two thirds of the
// time, or less, that its wire format takes.
type shape struct {
	places  []place // by name
	unknown int     // the struct's field of unknown fields
}

type place struct {
	*field
	index   int          // in the struct
	wrapper reflect.Type // a pointer, for a member of a oneof
	message *shape
}

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
	index := structFields(pointer.Elem())
	unknown, ok := pointer.Elem().FieldByName("unknownFields")
	if !ok || unknown.Type != reflect.TypeFor[[]byte]() {
		return nil, false
	}
	s := &shape{unknown: unknown.Index[0]}
	for _, f := range t.sorted {
		p := place{field: f}
		key := strconv.Itoa(int(f.number))
		if f.oneof != nil && !f.desc.HasOptionalKeyword() {
			key = string(f.desc.ContainingOneof().Name())
		}
		var ok bool
		if p.index, ok = index[key]; !ok {
			return nil, false
		}
		goType := pointer.Elem().Field(p.index).Type
		if goType.Kind() == reflect.Interface {
			p.wrapper = wrapperOf(f, m, p.index)
			goType = p.wrapper.Elem().Field(0).Type
		}
		if f.message != nil {
			if f.list {
				goType = goType.Elem()
			}
			sub, isMessage := reflect.New(goType.Elem()).Interface().(proto.Message)
			if !isMessage {
				return nil, false
			}
			if p.message, ok = makeShape(f.message, sub); !ok {
				return nil, false
			}
		}
		s.places = append(s.places, p)
	}
	return s, true
}

// structFields finds a struct's fields by what protobuf's generator tags them with:
// the number of a field, the name of a oneof.
func structFields(of reflect.Type) map[string]int {
	index := make(map[string]int)
	for i := range of.NumField() {
		tag := of.Field(i).Tag
		if parts := strings.Split(tag.Get("protobuf"), ","); len(parts) > 1 && of.Field(i).IsExported() {
			index[parts[1]] = i
		}
		if name := tag.Get("protobuf_oneof"); name != "" && of.Field(i).IsExported() {
			index[name] = i
		}
	}
	return index
}

// wrapperOf returns the type that a oneof's field holds where the member f is given.
func wrapperOf(f *field, m proto.Message, index int) reflect.Type {
	probe := m.ProtoReflect().New()
	probe.Set(f.desc, probe.NewField(f.desc))
	return reflect.ValueOf(probe.Interface()).Elem().Field(index).Elem().Type()
}

// A structWriter writes canonical JSON from generated structs. Its methods report
// false at what has no JSON, and at unknown fields.
type structWriter struct{ out []byte }

// message writes the message that a pointer points to; to nil is an empty one.
func (w *structWriter) message(s *shape, pointer reflect.Value) bool {
	w.out = append(w.out, '{')
	if pointer.IsNil() {
		w.out = append(w.out, '}')
		return true
	}
	m := pointer.Elem()
	if m.Field(s.unknown).Len() > 0 { // which the wire format tells the form of
		return false
	}
	for i := range s.places {
		p := &s.places[i]
		v, present := p.get(m)
		if !present {
			continue
		}
		w.out = append(w.out, p.key...)
		if p.list && !w.list(p, v) || !p.list && !w.value(p, v) {
			return false
		}
		w.out = append(w.out, ',')
	}
	w.out = closed(w.out, '}')
	return true
}

// get returns the value of a field and whether it is to be written.
func (p *place) get(m reflect.Value) (v reflect.Value, present bool) {
	v = m.Field(p.index)
	switch {
	case p.wrapper != nil:
		if v.IsNil() {
			return v, false
		}
		wrapper := v.Elem()
		if wrapper.Type() != p.wrapper || wrapper.IsNil() {
			return v, false
		}
		return wrapper.Elem().Field(0), true
	case p.list:
		return v, v.Len() > 0
	case p.message != nil:
		return v, !v.IsNil()
	case !p.presence:
		return v, !isDefault(v)
	case v.Kind() == reflect.Pointer:
		return v.Elem(), !v.IsNil()
	}
	return v, !v.IsNil() // optional bytes
}

func isDefault(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Float64:
		return v.Float() == 0 // and so is a negative zero
	case reflect.String, reflect.Slice:
		return v.Len() == 0
	}
	return v.IsZero()
}

func (w *structWriter) list(p *place, list reflect.Value) bool {
	w.out = append(w.out, '[')
	for i := range list.Len() {
		if !w.value(p, list.Index(i)) {
			return false
		}
		w.out = append(w.out, ',')
	}
	w.out = closed(w.out, ']')
	return true
}

func (w *structWriter) value(p *place, v reflect.Value) bool {
	switch p.kind {
	case protoreflect.MessageKind:
		return w.message(p.message, v)
	case protoreflect.DoubleKind:
		x := v.Float()
		if x-x != 0 { // NaN or an infinity
			return false
		}
		w.out = appendNumber(w.out, x)
	case protoreflect.StringKind:
		s := v.String()
		if !utf8.ValidString(s) {
			return false
		}
		w.out = appendString(w.out, s)
	case protoreflect.EnumKind:
		name, ok := p.enum.quoted[protoreflect.EnumNumber(v.Int())]
		if !ok {
			return false
		}
		w.out = append(w.out, name...)
	case protoreflect.BoolKind:
		w.out = strconv.AppendBool(w.out, v.Bool())
	case protoreflect.Int32Kind:
		w.out = strconv.AppendInt(w.out, v.Int(), 10)
	case protoreflect.Uint32Kind:
		w.out = strconv.AppendUint(w.out, v.Uint(), 10)
	case protoreflect.BytesKind:
		w.out = append(w.out, '"')
		w.out = base64.StdEncoding.AppendEncode(w.out, v.Bytes())
		w.out = append(w.out, '"')
	}
	return true
}
