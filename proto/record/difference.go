package record

import (
	"bytes"
	"encoding/json"
	"strconv"

	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// MaxDifferences bounds what [Differences] lists.
const MaxDifferences = 100

// Differences lists the first fields in which two payloads differ in their plan
// and in the formulas that it rests on, in the order of the contract's fields.
// Values are JSON; that of a field or an item that one side does not have is empty.
func Differences(recorded, recomputed *linepacev1.RecordPayload) []*linepacev1.VerifyResponse_Difference {
	var d differences
	d.message("", recorded.GetPlan().ProtoReflect(), recomputed.GetPlan().ProtoReflect())
	a, b := recorded.ProtoReflect(), recomputed.ProtoReflect()
	formulas := a.Descriptor().Fields().ByName("formulas")
	d.list("formulas", formulas, a.Get(formulas).List(), b.Get(formulas).List())
	return d.found
}

type differences struct {
	found []*linepacev1.VerifyResponse_Difference
}

func (d *differences) add(path, recorded, recomputed string) {
	if recorded != recomputed && len(d.found) < MaxDifferences {
		d.found = append(d.found, &linepacev1.VerifyResponse_Difference{Field: path, Recorded: recorded, Recomputed: recomputed})
	}
}

func (d *differences) message(path string, a, b protoreflect.Message) {
	fields := a.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		at := field.JSONName()
		if path != "" {
			at = path + "." + at
		}
		switch {
		case field.IsList():
			d.list(at, field, a.Get(field).List(), b.Get(field).List())
		case field.HasPresence() && !(a.Has(field) && b.Has(field)):
			d.add(at, present(field, a), present(field, b))
		default:
			d.value(at, field, a.Get(field), b.Get(field))
		}
	}
}

func (d *differences) list(path string, field protoreflect.FieldDescriptor, a, b protoreflect.List) {
	for i := range max(a.Len(), b.Len()) {
		at := path + "[" + strconv.Itoa(i) + "]"
		switch {
		case i >= a.Len():
			d.add(at, "", asJSON(field, b.Get(i)))
		case i >= b.Len():
			d.add(at, asJSON(field, a.Get(i)), "")
		default:
			d.value(at, field, a.Get(i), b.Get(i))
		}
	}
}

func (d *differences) value(path string, field protoreflect.FieldDescriptor, a, b protoreflect.Value) {
	if field.Kind() == protoreflect.MessageKind {
		d.message(path, a.Message(), b.Message())
		return
	}
	d.add(path, asJSON(field, a), asJSON(field, b))
}

func present(field protoreflect.FieldDescriptor, m protoreflect.Message) string {
	if !m.Has(field) {
		return ""
	}
	return asJSON(field, m.Get(field))
}

// asJSON writes one value; a value that has no JSON, which no payload holds, as the
// text of its error.
func asJSON(field protoreflect.FieldDescriptor, v protoreflect.Value) string {
	var value any
	switch field.Kind() {
	case protoreflect.MessageKind:
		data, err := codec.AppendCanonical(nil, v.Message().Interface())
		if err != nil {
			return err.Error()
		}
		return string(data)
	case protoreflect.EnumKind:
		value = int(v.Enum())
		if name := field.Enum().Values().ByNumber(v.Enum()); name != nil {
			value = string(name.Name())
		}
	default:
		value = v.Interface()
	}
	var out bytes.Buffer
	write := json.NewEncoder(&out)
	write.SetEscapeHTML(false)
	if err := write.Encode(value); err != nil {
		return err.Error()
	}
	return string(bytes.TrimSuffix(out.Bytes(), []byte{'\n'}))
}
