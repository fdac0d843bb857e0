package server

import (
	"errors"
	"fmt"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/core/fault"
)

// validate asks the validator about the annotations of m's own fields, not of the
// messages in them, and returns the names of the lists that are too long.
func (w *walker) validate(m protoreflect.Message) (tooLong []string) {
	onlyThis := protovalidate.FilterFunc(func(other protoreflect.Message, _ protoreflect.Descriptor) bool { return other == m })
	err := w.check.validator.Validate(m.Interface(), protovalidate.WithFilter(onlyThis))
	if err == nil {
		return nil
	}
	var invalid *protovalidate.ValidationError
	if !errors.As(err, &invalid) {
		w.err = errors.Join(w.err, err)
		return nil
	}
	for _, v := range invalid.Violations {
		if v.FieldDescriptor == nil {
			w.missingChoice(m, v)
			continue
		}
		if v.Proto.GetRuleId() == "enum.defined_only" {
			continue // the walk finds these, also where the contract does not say it
		}
		reason, text := ruleFault(v)
		w.add(v.FieldDescriptor.JSONName(), reason, "%s", text)
		if reason == fault.TooMany {
			tooLong = append(tooLong, v.FieldDescriptor.JSONName())
		}
	}
	return tooLong
}

// missingChoice reports a required oneof at the message that it is a part of:
// what it is called has no place in JSON.
func (w *walker) missingChoice(m protoreflect.Message, v *protovalidate.Violation) {
	elements := v.Proto.GetField().GetElements()
	oneof := m.Descriptor().Oneofs().ByName(protoreflect.Name(elements[len(elements)-1].GetFieldName()))
	w.add("", fault.Required, "needs one of %s", fieldNames(oneof.Fields()))
}

func fieldNames(fields protoreflect.FieldDescriptors) string {
	names := make([]string, fields.Len())
	for i := range names {
		names[i] = fields.Get(i).JSONName()
	}
	return strings.Join(names, ", ")
}

// ruleFault says in our words what rule a field breaks, and what would be right.
func ruleFault(v *protovalidate.Violation) (fault.Reason, string) {
	field := v.FieldDescriptor
	rules, err := protovalidate.ResolveFieldRules(field)
	if err != nil {
		rules = &validate.FieldRules{}
	}
	text, list := rules.GetString(), rules.GetRepeated()
	switch v.Proto.GetRuleId() {
	case "required":
		return fault.Required, "is needed" + example(field)
	case "string.min_len":
		return fault.Required, fmt.Sprintf("is needed: %d to %d characters", text.GetMinLen(), text.GetMaxLen())
	case "string.max_len":
		return fault.TooLong, fmt.Sprintf("has %d characters; at most %d are taken", len([]rune(v.FieldValue.String())), text.GetMaxLen())
	case "bytes.min_len":
		return fault.Required, "is needed: at least " + byteCount(int(rules.GetBytes().GetMinLen()))
	case "bytes.max_len":
		return fault.TooLong, fmt.Sprintf("has %s; at most %s are taken", byteCount(len(v.FieldValue.Bytes())), byteCount(int(rules.GetBytes().GetMaxLen())))
	case "repeated.min_items":
		return tooFew(v.FieldValue.List().Len(), list)
	case "repeated.max_items":
		return fault.TooMany, fmt.Sprintf("has %d items; at most %d are taken", v.FieldValue.List().Len(), list.GetMaxItems())
	case "enum.not_in":
		return fault.Required, "is needed: one of " + choices(field.Enum())
	case "bool.const":
		return fault.OutOfRange, fmt.Sprintf("must be %v where it is given; leave it out otherwise", rules.GetBool().GetConst())
	}
	return fault.OutOfRange, v.Proto.GetMessage()
}

func tooFew(n int, list *validate.RepeatedRules) (fault.Reason, string) {
	want := fmt.Sprintf("%d to %d items", list.GetMinItems(), list.GetMaxItems())
	if n == 0 {
		return fault.Required, "is needed: " + want
	}
	return fault.OutOfRange, fmt.Sprintf("has %d items; it must have %s", n, want)
}

// example says what a message that is needed holds.
func example(field protoreflect.FieldDescriptor) string {
	if field.Kind() != protoreflect.MessageKind {
		return ""
	}
	return ": an object with " + fieldNames(field.Message().Fields())
}
