package codec

import (
	"encoding/base64"
	"errors"
	"math"
	"math/bits"
	"reflect"
	"strconv"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// AppendCanonical appends the canonical form of m after RFC 8785 (JCS) to dst. It
// fails as Append does. Messages that differ only in the sign of a zero have the
// same form.
//
// It writes a message that was not generated from its wire format, which has just the
// fields that are to be written: asking for each of the others by protobuf's
// reflection takes longer.
func AppendCanonical(dst []byte, m proto.Message) ([]byte, error) {
	t, err := tableFor(m)
	if err != nil {
		return nil, err
	}
	if s := shapeOf(t, m); s != nil {
		if out, ok := appendShape(dst, s, reflect.ValueOf(m).UnsafePointer()); ok {
			return out, nil
		}
	}
	wire, err := proto.Marshal(m)
	if err == nil {
		w := wireWriter{out: dst}
		if w.message(t, wire) {
			return w.out, nil
		}
	}
	if _, err := Append(nil, m); err != nil { // which says what has no JSON, and where
		return nil, err
	}
	return nil, errors.New("proto/codec: the message holds unknown fields that are not of the wire format")
}

// A wireWriter writes canonical JSON from what proto.Marshal has written, which is
// below 2 GiB: each field once, the values of a list one after the other, and then
// unknown fields as they are. Its methods report false at what has no JSON.
type wireWriter struct{ out []byte }

func (w *wireWriter) message(t *table, wire []byte) bool {
	var first [maxFields]int32 // where the field of that rank begins
	var given uint64
	for pos := 0; pos < len(wire); {
		number, typ, n := consumeTag(wire[pos:])
		if n < 0 {
			return false
		}
		length := protowire.ConsumeFieldValue(number, typ, wire[pos+n:])
		if length < 0 {
			return false
		}
		if f := t.numbered(number); f != nil && given&(1<<f.rank) == 0 && f.hasWireType(typ) {
			given |= 1 << f.rank
			first[f.rank] = int32(pos)
		}
		pos += n + length
	}
	w.out = append(w.out, '{')
	for ; given != 0; given &= given - 1 {
		rank := bits.TrailingZeros64(given)
		if !w.member(t.sorted[rank], wire[first[rank]:]) {
			return false
		}
	}
	w.out = closed(w.out, '}')
	return true
}

// numbered returns the field with a number, or nil: the message may hold unknown ones.
func (t *table) numbered(number protowire.Number) *field {
	if int(number) < len(t.byNumber) {
		return t.byNumber[number]
	}
	for _, f := range t.declared {
		if f.number == number {
			return f
		}
	}
	return nil
}

func (f *field) hasWireType(typ protowire.Type) bool {
	return typ == f.wireType || f.list && typ == protowire.BytesType // packed
}

// consumeTag has a short way for the usual tag of one byte.
func consumeTag(wire []byte) (protowire.Number, protowire.Type, int) {
	if c := wire[0]; c < 0x80 {
		return protowire.Number(c >> 3), protowire.Type(c & 7), 1
	}
	return protowire.ConsumeTag(wire)
}

// member writes the field that wire begins with, and a comma.
func (w *wireWriter) member(f *field, wire []byte) bool {
	_, typ, n := consumeTag(wire)
	before := len(w.out)
	w.out = append(w.out, f.key...)
	switch {
	case f.list && typ != f.wireType:
		packed, _ := protowire.ConsumeBytes(wire[n:])
		if !w.packed(f, packed) {
			return false
		}
	case f.list:
		if !w.list(f, wire) {
			return false
		}
	case f.kind == protoreflect.DoubleKind && !f.presence && isZero(wire[n:]):
		w.out = w.out[:before] // a negative zero, which is the default
		return true
	default:
		if w.value(f, wire[n:]) < 0 {
			return false
		}
	}
	w.out = append(w.out, ',')
	return true
}

func isZero(fixed []byte) bool {
	v, _ := protowire.ConsumeFixed64(fixed)
	return math.Float64frombits(v) == 0
}

// list writes the values of f that wire begins with.
func (w *wireWriter) list(f *field, wire []byte) bool {
	w.out = append(w.out, '[')
	for len(wire) > 0 {
		number, typ, n := consumeTag(wire)
		if number != f.number || typ != f.wireType {
			break
		}
		length := w.value(f, wire[n:])
		if length < 0 {
			return false
		}
		w.out = append(w.out, ',')
		wire = wire[n+length:]
	}
	w.out = closed(w.out, ']')
	return true
}

// packed writes the numbers of a list that share one tag.
func (w *wireWriter) packed(f *field, wire []byte) bool {
	w.out = append(w.out, '[')
	for len(wire) > 0 {
		length := w.value(f, wire)
		if length < 0 {
			return false
		}
		w.out = append(w.out, ',')
		wire = wire[length:]
	}
	w.out = closed(w.out, ']')
	return true
}

// value writes the value that wire begins with and returns its length, or a
// negative number.
func (w *wireWriter) value(f *field, wire []byte) int {
	switch f.wireType {
	case protowire.Fixed64Type:
		v, n := protowire.ConsumeFixed64(wire)
		x := math.Float64frombits(v)
		if x-x != 0 { // NaN or an infinity
			return -1
		}
		w.out = appendNumber(w.out, x)
		return n
	case protowire.VarintType:
		v, n := protowire.ConsumeVarint(wire)
		if !w.integer(f, v) {
			return -1
		}
		return n
	}
	v, n := protowire.ConsumeBytes(wire)
	switch f.kind {
	case protoreflect.StringKind:
		w.out = appendString(w.out, v)
	case protoreflect.BytesKind:
		w.out = append(w.out, '"')
		w.out = base64.StdEncoding.AppendEncode(w.out, v)
		w.out = append(w.out, '"')
	default:
		if !w.message(f.message, v) {
			return -1
		}
	}
	return n
}

func (w *wireWriter) integer(f *field, v uint64) bool {
	switch f.kind {
	case protoreflect.Int32Kind:
		w.out = strconv.AppendInt(w.out, int64(int32(v)), 10)
	case protoreflect.Uint32Kind:
		w.out = strconv.AppendUint(w.out, uint64(uint32(v)), 10)
	case protoreflect.BoolKind:
		w.out = strconv.AppendBool(w.out, v != 0)
	default:
		name, ok := f.enum.name(protoreflect.EnumNumber(int32(v)))
		if !ok {
			return false
		}
		w.out = append(w.out, name...)
	}
	return true
}
