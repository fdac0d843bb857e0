package codec_test

import (
	"encoding/binary"
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// A source makes choices out of bytes, and makes the first choice once they are
// used up. So every message that is filled from it is finite.
type source struct{ bytes []byte }

func (s *source) byte() byte {
	if len(s.bytes) == 0 {
		return 0
	}
	b := s.bytes[0]
	s.bytes = s.bytes[1:]
	return b
}

func (s *source) uint64() uint64 {
	var b [8]byte
	s.bytes = s.bytes[copy(b[:], s.bytes):]
	return binary.LittleEndian.Uint64(b[:])
}

// fill sets fields of an empty message at random, with values that JSON has.
func fill(s *source, m protoreflect.Message) {
	md := m.Descriptor()
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		if od := fd.ContainingOneof(); od != nil && m.WhichOneof(od) != nil {
			continue
		}
		switch n := s.byte() % 4; {
		case n == 0:
		case fd.IsList():
			list := m.Mutable(fd).List()
			for range n {
				if fd.Message() != nil {
					fill(s, list.AppendMutable().Message())
				} else {
					list.Append(s.value(fd))
				}
			}
		case fd.Message() != nil:
			fill(s, m.Mutable(fd).Message())
		default:
			m.Set(fd, s.value(fd))
		}
	}
}

func (s *source) value(fd protoreflect.FieldDescriptor) protoreflect.Value {
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(s.double())
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(s.uint64() >> (s.byte() % 64)))
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(uint32(s.uint64() >> (s.byte() % 64)))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(s.byte()%2 == 1)
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(s.text())
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte(s.text()))
	case protoreflect.EnumKind:
		values := fd.Enum().Values()
		return protoreflect.ValueOfEnum(values.Get(int(s.byte()) % values.Len()).Number())
	}
	panic(fd.Kind())
}

// double returns a finite number of one of the sorts that a formatter treats apart.
func (s *source) double() float64 {
	switch s.byte() % 8 {
	case 0:
		return float64(int8(s.byte()))
	case 1:
		return float64(int32(s.uint64())) / 100
	case 2:
		return math.Copysign(0, -1)
	case 3:
		return math.Pow10(int(s.byte()%60) - 30)
	case 4: // integers around 2^53
		return float64(1<<53 + int64(s.byte()) - 128)
	case 5: // subnormal
		return math.Float64frombits(s.uint64() >> (12 + s.byte()%50))
	case 6:
		return math.Ldexp(float64(s.byte()), int(s.byte()))
	}
	v := math.Float64frombits(s.uint64())
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return math.MaxFloat64
	}
	return v
}

// text returns up to fifteen characters of all sorts.
func (s *source) text() string {
	const characters = "az0 /<&'\"\\\b\t\n\f\r\x00\x1f\x7f\u0080é€\u2028\ufb33\uffff\U0001f600\U0010ffff{}[]:,"
	runes := []rune(characters)
	out := make([]rune, s.byte()%16)
	for i := range out {
		out[i] = runes[int(s.byte())%len(runes)]
	}
	return string(out)
}

// withoutNegativeZeros returns a copy of m in which no zero has a sign.
func withoutNegativeZeros(m proto.Message) proto.Message {
	m = proto.Clone(m)
	dropSigns(m.ProtoReflect())
	return m
}

func dropSigns(m protoreflect.Message) {
	positive := func(v protoreflect.Value) protoreflect.Value { return protoreflect.ValueOfFloat64(v.Float() + 0) }
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.IsList():
			for i := range v.List().Len() {
				if fd.Message() != nil {
					dropSigns(v.List().Get(i).Message())
				} else if fd.Kind() == protoreflect.DoubleKind {
					v.List().Set(i, positive(v.List().Get(i)))
				}
			}
		case fd.Message() != nil:
			dropSigns(v.Message())
		case fd.Kind() == protoreflect.DoubleKind && v.Float() == 0 && !fd.HasPresence():
			m.Clear(fd)
		case fd.Kind() == protoreflect.DoubleKind:
			m.Set(fd, positive(v))
		}
		return true
	})
}
