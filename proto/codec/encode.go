package codec

import (
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Append appends m as JSON to dst, in the form that the package comment states.
//
// It fails, naming the field's path, on NaN and infinities, on text that is not
// UTF-8, on an enum's number that has no name, and on a message outside the
// closed set. That is a fault of the program, never of a request.
func Append(dst []byte, m proto.Message) ([]byte, error) {
	t, err := tableFor(m)
	if err != nil {
		return nil, err
	}
	e := encoder{out: dst}
	if err := e.writeMessage(t, m.ProtoReflect()); err != nil {
		return nil, err
	}
	return e.out, nil
}

func tableFor(m proto.Message) (*table, error) {
	if m == nil {
		return nil, errors.New("proto/codec: no message to write")
	}
	t, err := tableOf(m.ProtoReflect().Descriptor())
	if err != nil {
		return nil, fmt.Errorf("proto/codec: %w", err)
	}
	return t, nil
}

type encoder struct{ out []byte }

// writeMessage writes an object. Every member is followed by a comma, the last of
// which becomes the closing brace.
func (e *encoder) writeMessage(t *table, m protoreflect.Message) error {
	e.out = append(e.out, '{')
	for _, f := range t.declared {
		v, present := e.get(f, m)
		if !present {
			continue
		}
		e.out = append(e.out, f.key...)
		if err := e.writeField(f, v); err != nil {
			return err
		}
		e.out = append(e.out, ',')
	}
	e.out = closed(e.out, '}')
	return nil
}

// closed ends an object or a list, in place of the comma after its last member.
func closed(out []byte, bracket byte) []byte {
	if last := len(out) - 1; out[last] == ',' {
		out[last] = bracket
		return out
	}
	return append(out, bracket)
}

// get returns the value of a field of m and whether it is to be written. The
// value of an empty list is invalid.
func (e *encoder) get(f *field, m protoreflect.Message) (v protoreflect.Value, present bool) {
	switch {
	case f.message != nil && !f.list && f.oneof == nil:
		v = m.Get(f.desc) // half the cost of asking first
		return v, v.Message().IsValid()
	case !f.presence && !f.list:
		return m.Get(f.desc), true
	case m.Has(f.desc):
		return m.Get(f.desc), true
	}
	return protoreflect.Value{}, f.list
}

func (e *encoder) writeField(f *field, v protoreflect.Value) error {
	if !f.list {
		return inside(f.name, e.writeValue(f, v))
	}
	if !v.IsValid() {
		e.out = append(e.out, "[]"...)
		return nil
	}
	list := v.List()
	e.out = append(e.out, '[')
	for i := range list.Len() {
		if err := e.writeValue(f, list.Get(i)); err != nil {
			return inside(f.name+"["+strconv.Itoa(i)+"]", err)
		}
		e.out = append(e.out, ',')
	}
	e.out = closed(e.out, ']')
	return nil
}

func (e *encoder) writeValue(f *field, v protoreflect.Value) error {
	switch f.kind {
	case protoreflect.MessageKind:
		return e.writeMessage(f.message, v.Message())
	case protoreflect.DoubleKind:
		x := v.Float()
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return &writeError{text: fmt.Sprint(x, " is not a number that JSON has")}
		}
		e.out = appendNumber(e.out, x)
	case protoreflect.StringKind:
		s := v.String()
		if !utf8.ValidString(s) {
			return &writeError{text: quote(strings.ToValidUTF8(s, "\uFFFD")) + " is not UTF-8"}
		}
		e.out = appendString(e.out, s)
	case protoreflect.EnumKind:
		name, ok := f.enum.name(v.Enum())
		if !ok {
			return &writeError{text: fmt.Sprintf("the number %d has no name in %s", v.Enum(), f.desc.Enum().FullName())}
		}
		e.out = append(e.out, name...)
	case protoreflect.BoolKind:
		e.out = strconv.AppendBool(e.out, v.Bool())
	case protoreflect.Int32Kind:
		e.out = strconv.AppendInt(e.out, v.Int(), 10)
	case protoreflect.Uint32Kind:
		e.out = strconv.AppendUint(e.out, v.Uint(), 10)
	case protoreflect.BytesKind:
		e.out = append(e.out, '"')
		e.out = base64.StdEncoding.AppendEncode(e.out, v.Bytes())
		e.out = append(e.out, '"')
	}
	return nil
}

// appendString appends valid UTF-8 as RFC 8785 section 3.2.2.2 writes it: only
// what must be escaped is, and by its short form where it has one.
func appendString[T string | []byte](dst []byte, s T) []byte {
	const hex = "0123456789abcdef"
	dst = append(dst, '"')
	start := 0
	for i := range len(s) {
		c := s[i]
		if plain[c] || c >= utf8.RuneSelf {
			continue
		}
		dst = append(dst, s[start:i]...)
		start = i + 1
		if short := strings.IndexByte("\"\\\b\t\n\f\r", c); short >= 0 {
			dst = append(dst, '\\', `"\btnfr`[short])
		} else {
			dst = append(dst, '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
		}
	}
	dst = append(dst, s[start:]...)
	return append(dst, '"')
}

// A writeError says where in a message the value is that has no JSON. It is not
// of type Errors, which a caller may blame a request for.
type writeError struct {
	path []string // innermost first
	text string
}

func (e *writeError) Error() string {
	path := slices.Clone(e.path)
	slices.Reverse(path)
	return "proto/codec: " + strings.Join(path, ".") + ": " + e.text
}

// inside adds the step of the path that an error comes from.
func inside(step string, err error) error {
	if e, ok := err.(*writeError); ok {
		e.path = append(e.path, step)
	}
	return err
}
