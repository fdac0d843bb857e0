package server

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/core/fault"
	"linepace.example/proto/refusal"
)

// messageShape lists the fields of a message in which the walk can find
// something: numbers that may be NaN, choices, and messages.
type messageShape struct {
	descriptor protoreflect.MessageDescriptor
	fields     []fieldShape
}

type fieldShape struct {
	protoreflect.FieldDescriptor
	message *messageShape // of a field that holds messages
}

// addShape adds the shapes of d and of all messages in it.
func (c *shapeCheck) addShape(d protoreflect.MessageDescriptor) *messageShape {
	if shape := c.shapes[d.FullName()]; shape != nil {
		return shape
	}
	shape := &messageShape{descriptor: d}
	c.shapes[d.FullName()] = shape
	for i := range d.Fields().Len() {
		field := fieldShape{FieldDescriptor: d.Fields().Get(i)}
		switch field.Kind() {
		case protoreflect.DoubleKind, protoreflect.EnumKind:
		case protoreflect.MessageKind:
			field.message = c.addShape(field.Message())
		default:
			continue
		}
		shape.fields = append(shape.fields, field)
	}
	return shape
}

// check returns the faults of shape in the order of the message's fields, and
// whether a number is a negative zero. The error is the validator's own.
func (c *shapeCheck) check(m proto.Message) ([]shapeFault, bool, error) {
	message := m.ProtoReflect()
	shape := c.shapes[message.Descriptor().FullName()]
	if shape == nil {
		return nil, false, fmt.Errorf("%s is not a request of the contract", message.Descriptor().FullName())
	}
	// A sound request, the usual one, is walked once and validated once.
	quick := walker{check: c}
	quick.message(message, shape)
	err := c.validator.Validate(m, protovalidate.WithFailFast())
	if err == nil && len(quick.found) == 0 {
		return nil, quick.negativeZero, nil
	}
	var invalid *protovalidate.ValidationError
	if err != nil && !errors.As(err, &invalid) {
		return nil, false, err
	}
	// The validator would build every violation of a long list at once; here the
	// walk asks it about one message after the other and stops when it has enough.
	full := walker{check: c, rules: true}
	full.message(message, shape)
	return full.found, full.negativeZero, full.err
}

// walker goes through a message, depth first.
type walker struct {
	check        *shapeCheck
	rules        bool // ask the validator too
	path         []pathStep
	found        []shapeFault
	negativeZero bool
	err          error
}

type pathStep struct {
	field string
	index int // -1 for a field that is no list
}

func (w *walker) message(m protoreflect.Message, shape *messageShape) {
	if len(w.found) > refusal.MaxViolations {
		return
	}
	if unknown := m.GetUnknown(); len(unknown) > 0 {
		w.add("", fault.UnknownField, "has %s that %s does not have", unknownFields(unknown), m.Descriptor().Name())
	}
	var tooLong []string
	if w.rules {
		tooLong = w.validate(m)
	}
	for i := range shape.fields {
		field := &shape.fields[i]
		if !m.Has(field.FieldDescriptor) {
			continue
		}
		value := m.Get(field.FieldDescriptor)
		if !field.IsList() {
			w.value(field, -1, value)
			continue
		}
		if slices.Contains(tooLong, field.JSONName()) {
			continue
		}
		list := value.List()
		for j := range list.Len() {
			w.value(field, j, list.Get(j))
		}
	}
}

func (w *walker) value(field *fieldShape, index int, value protoreflect.Value) {
	switch field.Kind() {
	case protoreflect.DoubleKind:
		x := value.Float()
		if x-x != 0 { // NaN or an infinity
			w.at(field, index, fault.NotFinite, "is %v; it must be a finite number", x)
		}
		if x == 0 && math.Signbit(x) {
			w.negativeZero = true
		}
	case protoreflect.EnumKind:
		if field.Enum().Values().ByNumber(value.Enum()) == nil {
			w.at(field, index, fault.UnknownChoice, "is %d, which is no choice; it must be one of %s", value.Enum(), choices(field.Enum()))
		}
	case protoreflect.MessageKind:
		w.path = append(w.path, pathStep{field.JSONName(), index})
		w.message(value.Message(), field.message)
		w.path = w.path[:len(w.path)-1]
	}
}

func (w *walker) at(field *fieldShape, index int, reason fault.Reason, format string, args ...any) {
	name := field.JSONName()
	if index >= 0 {
		name += "[" + strconv.Itoa(index) + "]"
	}
	w.add(name, reason, format, args...)
}

// add notes a fault of a field of the message that the walk is in, or of the
// message itself where field is empty: then one thing is wrong with it.
func (w *walker) add(field string, reason fault.Reason, format string, args ...any) {
	var path strings.Builder
	for _, s := range w.path {
		if path.Len() > 0 {
			path.WriteByte('.')
		}
		path.WriteString(s.field)
		if s.index >= 0 {
			path.WriteString("[" + strconv.Itoa(s.index) + "]")
		}
	}
	if path.Len() > 0 && field != "" {
		path.WriteByte('.')
	}
	path.WriteString(field)
	w.found = append(w.found, shapeFault{
		Fault:    fault.Fault{Path: path.String(), Reason: reason, Text: fmt.Sprintf(format, args...)},
		oneThing: field == "",
	})
}

// unknownFields names the first few of the fields in raw, which is well formed
// since it was parsed.
func unknownFields(raw []byte) string {
	const most = 3
	var numbers []string
	for len(raw) > 0 {
		number, _, length := protowire.ConsumeField(raw)
		if length < 0 {
			break
		}
		raw = raw[length:]
		if text := strconv.Itoa(int(number)); !slices.Contains(numbers, text) {
			numbers = append(numbers, text)
		}
		if len(numbers) > most {
			numbers[most] = "others"
			break
		}
	}
	if len(numbers) == 1 {
		return "field number " + numbers[0]
	}
	return "field numbers " + strings.Join(numbers, ", ")
}

// choices lists the names of an enumeration that say something.
func choices(enum protoreflect.EnumDescriptor) string {
	var names []string
	for i := range enum.Values().Len() {
		if v := enum.Values().Get(i); v.Number() != 0 {
			names = append(names, string(v.Name()))
		}
	}
	return strings.Join(names, ", ")
}

// unsignZeros replaces every negative zero in m by zero: they are the same number
// with different bits, and would give records that differ.
func unsignZeros(m protoreflect.Message) {
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		switch {
		case field.Kind() == protoreflect.MessageKind && field.IsList():
			for i := range value.List().Len() {
				unsignZeros(value.List().Get(i).Message())
			}
		case field.Kind() == protoreflect.MessageKind:
			unsignZeros(value.Message())
		case field.Kind() == protoreflect.DoubleKind && field.IsList():
			for i := range value.List().Len() {
				value.List().Set(i, unsigned(value.List().Get(i)))
			}
		case field.Kind() == protoreflect.DoubleKind:
			m.Set(field, unsigned(value))
		}
		return true
	})
}

// unsigned returns x, or zero for negative zero: -0 + 0 is 0.
func unsigned(x protoreflect.Value) protoreflect.Value {
	return protoreflect.ValueOfFloat64(x.Float() + 0)
}
