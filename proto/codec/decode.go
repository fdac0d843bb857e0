package codec

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Unmarshal reads a document of the language that the package comment states into
// m, whose former content is lost.
//
// The error is of type Errors where the document is at fault, and lists all its
// violations; m is then unchanged. Another error says that m is nil or outside
// the closed set.
func Unmarshal(data []byte, m proto.Message) error {
	_, err := unmarshal(data, m, decoder{})
	return err
}

// UnmarshalPart reads as Unmarshal does. Where the syntax is sound but something is
// not taken, it returns the Errors and still reads the rest into m, so that a
// caller can be told at once what is wrong with that too; part then is true. It is
// false where m was left alone: the syntax is not sound, or an item of a list was
// not taken, without which the others would stand in wrong places.
func UnmarshalPart(data []byte, m proto.Message) (part bool, err error) {
	d := decoder{part: &part}
	_, err = unmarshal(data, m, d)
	return part, err
}

// UnmarshalCanonical reads as Unmarshal does, and reports whether the document is
// the very text that AppendCanonical writes of m. It finds out while it reads, for
// much less than writing m again takes.
func UnmarshalCanonical(data []byte, m proto.Message) (canonical bool, err error) {
	return unmarshal(data, m, decoder{scanner: scanner{judge: true}})
}

// UnmarshalSelected reads and judges all of a document as UnmarshalCanonical does,
// and leaves out of m what is not selected: making the messages is half the work.
func UnmarshalSelected(data []byte, m proto.Message, s Selection) (canonical bool, err error) {
	return unmarshal(data, m, decoder{scanner: scanner{judge: true}, selection: s})
}

// A Selection says which fields of some messages are wanted; of others all are.
type Selection map[*table]selected

type selected struct {
	omitted uint64 // the fields left out
	never   uint64 // the fields that no canonical document gives
}

// Only selects the fields with these JSON names of the messages of m's type, and
// returns s. A name that the type does not have selects nothing.
func (s Selection) Only(m proto.Message, names ...string) Selection {
	return s.mark(m, func(mark *selected, f *field) {
		if !slices.Contains(names, f.name) {
			mark.omitted |= f.bit
		}
	})
}

// Never has a document that gives one of these fields judged as not canonical, and
// returns s.
func (s Selection) Never(m proto.Message, names ...string) Selection {
	return s.mark(m, func(mark *selected, f *field) {
		if slices.Contains(names, f.name) {
			mark.never |= f.bit
		}
	})
}

func (s Selection) mark(m proto.Message, mark func(*selected, *field)) Selection {
	t, err := tableFor(m)
	if err != nil { // no such message can be read either
		return s
	}
	marks := s[t]
	for _, f := range t.declared {
		mark(&marks, f)
	}
	s[t] = marks
	return s
}

func unmarshal(data []byte, m proto.Message, d decoder) (canonical bool, err error) {
	if m == nil || !m.ProtoReflect().IsValid() {
		return false, errors.New("proto/codec: no message to read into")
	}
	t, err := tableOf(m.ProtoReflect().Descriptor())
	if err != nil {
		return false, fmt.Errorf("proto/codec: %w", err)
	}
	d.data = data
	d.wire = make([]byte, 0, len(data)/2)
	d.top, d.path = t, make([]step, 0, 16)
	sound := d.readDocument(t)
	if !sound {
		d.reportFault()
	}
	if err := d.result(); err != nil {
		if d.part != nil && sound && !d.holes {
			if *d.part = proto.Unmarshal(d.wire, m) == nil; !*d.part {
				proto.Reset(m)
			}
		}
		return false, err
	}
	if err := proto.Unmarshal(d.wire, m); err != nil {
		return false, fmt.Errorf("proto/codec: internal error: %w", err)
	}
	return d.judge && !d.departs, nil
}

// A decoder turns a document into the message's wire format. Setting the fields
// of a message one by one through reflection takes several allocations for each;
// the wire format is read with hardly more than the message itself needs.
type decoder struct {
	scanner
	wire      []byte // what could be read
	holes     bool   // an item of a list could not be read
	part      *bool  // nil: what could be read is not wanted where not all could
	top       *table
	path      []step
	unknown   string // the key of the last step where it is no field
	errs      Errors
	selection Selection
	unlisted  int // violations beyond those in errs
}

// A step of the path to a value: the rank of a field, -1 where it is unknown, and its
// element where index is not -1. It holds no pointer, since writing one for each value
// costs the garbage collector's attention.
type step struct{ rank, index int }

// The methods named read return false at an error of syntax, and leave path at
// the value where it is. Other violations they report themselves.

func (d *decoder) readDocument(t *table) bool {
	switch c := d.next(); {
	case d.pos == len(d.data):
		return d.fail(0, "the body is empty; send a JSON object")
	case len(d.data) >= 3 && string(d.data[:3]) == "\xef\xbb\xbf":
		return d.fail(0, "the body begins with a byte order mark; send UTF-8 without it")
	case c != '{':
		return d.failTop()
	}
	if !d.readMessage(t) {
		return false
	}
	d.next()
	if d.pos < len(d.data) {
		return d.fail(d.pos, "something follows the object; send one JSON object alone")
	}
	return true
}

// failTop fails on a document that is no object.
func (d *decoder) failTop() bool {
	at := d.pos
	if !d.skip(0) {
		return false
	}
	return d.fail(at, d.describe(at)+" as the whole body; send a JSON object")
}

func (d *decoder) readMessage(t *table) bool {
	var seen members
	if d.selection != nil {
		seen.selected = d.selection[t]
	}
	for more := d.open('}'); more; {
		if !d.readMember(t, &seen) {
			return false
		}
		var ok bool
		if more, ok = d.more('}'); !ok {
			return false
		}
	}
	return true
}

// members are those of a message that were read so far.
type members struct {
	given uint64
	next  int // the least rank that the next one has where they are in order
	selected
}

// readMember reads a key and its value.
func (d *decoder) readMember(t *table, seen *members) bool {
	f := d.readExpected(t, seen.next)
	if f == nil {
		key, ok := d.readKey()
		if !ok {
			return false
		}
		if f = t.byName[string(key)]; f == nil {
			return d.readUnknown(t, key)
		}
		d.departs = d.departs || f.rank < seen.next
	}
	seen.next = f.rank + 1
	d.departs = d.departs || seen.never&f.bit != 0
	d.path = append(d.path, step{f.rank, -1})
	begin := len(d.wire)
	if !d.readField(f, &seen.given) {
		return false
	}
	if seen.omitted&f.bit != 0 {
		d.wire = d.wire[:begin]
	}
	d.path = d.path[:len(d.path)-1]
	return true
}

// readExpected reads a key that is among the next ones where keys are sorted, and
// nothing where none of them comes. Each stands for itself, with its colon.
func (d *decoder) readExpected(t *table, next int) *field {
	d.next()
	rest := d.data[d.pos:]
	for _, f := range t.sorted[next:min(next+4, len(t.sorted))] {
		if len(rest) >= len(f.key) && rest[1] == f.key[1] && string(rest[:len(f.key)]) == f.key {
			d.pos += len(f.key)
			return f
		}
	}
	return nil
}

func (d *decoder) readUnknown(t *table, key []byte) bool {
	d.path = append(d.path, step{-1, -1})
	d.unknown = unknownStep(key)
	d.reportUnknown(t, string(key))
	if !d.skip(0) {
		return false
	}
	d.path = d.path[:len(d.path)-1]
	return true
}

func (d *decoder) readField(f *field, given *uint64) bool {
	c := d.next()
	if *given&f.once != 0 {
		d.reportDuplicate(f, *given)
		return d.skip(0)
	}
	if c != 'n' { // a null is refused, and gives nothing
		*given |= f.bit
	}
	if f.list {
		return d.readList(f, c)
	}
	return d.readValue(f, c)
}

func (d *decoder) readList(f *field, c byte) bool {
	if c != '[' {
		return d.readWrong(f, "a list")
	}
	i := 0
	for more := d.open(']'); more; i++ {
		d.path[len(d.path)-1].index = i
		before := len(d.wire)
		if !d.readValue(f, d.next()) {
			return false
		}
		d.holes = d.holes || len(d.wire) == before
		var ok bool
		if more, ok = d.more(']'); !ok {
			return false
		}
	}
	d.departs = d.departs || i == 0
	return true
}

// readValue reads one value of the field's type, which begins with c. Lists of
// numbers are not packed on the wire; every reader of it takes both forms.
func (d *decoder) readValue(f *field, c byte) bool {
	number := c == '-' || '0' <= c && c <= '9'
	switch f.kind {
	case protoreflect.DoubleKind:
		if number {
			return d.readDouble(f)
		}
		if c == '"' {
			return d.readNonFinite(f)
		}
	case protoreflect.Int32Kind:
		if number {
			return d.readInteger(f, math.MinInt32, math.MaxInt32)
		}
	case protoreflect.Uint32Kind:
		if number {
			return d.readInteger(f, 0, math.MaxUint32)
		}
	case protoreflect.BoolKind:
		if d.readWord("true") {
			d.writeVarint(f, 1)
			return true
		}
		if d.readWord("false") {
			d.writeVarint(f, 0)
			return true
		}
	case protoreflect.StringKind:
		if c == '"' {
			return d.readText(f)
		}
	case protoreflect.BytesKind:
		if c == '"' {
			return d.readBytes(f)
		}
	case protoreflect.EnumKind:
		if c == '"' {
			return d.readEnum(f)
		}
	case protoreflect.MessageKind:
		if c == '{' {
			begin := d.beginLength(f)
			ok := d.readMessage(f.message)
			d.endLength(begin)
			return ok
		}
	}
	return d.readWrong(f, wanted(f))
}

func (d *decoder) readDouble(f *field) bool {
	number, _, ok := d.readNumber()
	if !ok {
		return false
	}
	v, shortest, ok := parseShort(number)
	if !ok {
		return d.readLongDouble(f, number)
	}
	d.departs = d.departs || !shortest
	d.writeDouble(f, v)
	return true
}

// readLongDouble reads a number that parseShort does not.
func (d *decoder) readLongDouble(f *field, number []byte) bool {
	v, err := strconv.ParseFloat(string(number), 64)
	if err != nil {
		d.report(notFinite, func() string {
			return shorten(string(number)) + " is beyond the largest number, 1.7976931348623157e+308; give a finite number"
		})
		d.writeDouble(f, math.Inf(1)) // given, though not taken
		return true
	}
	if d.judge {
		d.spelled = appendNumber(d.spelled[:0], v)
		d.compare(number)
	}
	d.writeDouble(f, v)
	return true
}

func (d *decoder) writeDouble(f *field, v float64) {
	d.mayBeDefault(f, v == 0)
	d.wire = append(d.wire, f.tag...)
	d.wire = protowire.AppendFixed64(d.wire, math.Float64bits(v+0)) // -0 + 0 = 0
}

// mayBeDefault notes a default where the canonical form leaves it out.
func (d *decoder) mayBeDefault(f *field, isDefault bool) {
	if isDefault && !f.presence && !f.list {
		d.departs = true
	}
}

// readNonFinite reads a string where a double belongs, which may be one of those
// that protobuf's own JSON takes for a number that is none.
func (d *decoder) readNonFinite(f *field) bool {
	at := d.pos
	content, ok := d.readString()
	if !ok {
		return false
	}
	switch s := string(content); s {
	case "NaN", "Infinity", "-Infinity":
		d.report(notFinite, func() string { return `"` + s + `" where a finite number belongs` })
		d.writeDouble(f, math.NaN()) // given, though not taken
		return true
	}
	d.pos = at
	return d.readWrong(f, wanted(f))
}

func (d *decoder) readInteger(f *field, least, most int64) bool {
	at := d.pos
	number, integer, ok := d.readNumber()
	if !ok {
		return false
	}
	if !integer {
		d.pos = at
		return d.readWrong(f, wanted(f)+", without point and exponent,")
	}
	n, err := strconv.ParseInt(string(number), 10, 64)
	if err != nil || n < least || n > most {
		d.report(outOfRange, func() string { return shorten(string(number)) + " where " + wanted(f) + " belongs" })
		return true
	}
	d.departs = d.departs || n == 0 && number[0] == '-'
	d.writeVarint(f, n)
	return true
}

func (d *decoder) readText(f *field) bool {
	content, ok := d.readString()
	d.mayBeDefault(f, len(content) == 0)
	d.wire = append(d.wire, f.tag...)
	d.wire = protowire.AppendBytes(d.wire, content)
	return ok
}

func (d *decoder) readBytes(f *field) bool {
	content, ok := d.readString()
	if !ok {
		return false
	}
	d.mayBeDefault(f, len(content) == 0)
	begin := d.beginLength(f)
	wire, err := base64.StdEncoding.Strict().AppendDecode(d.wire, content)
	// The decoder passes over line breaks, strict or not.
	if err != nil || bytes.ContainsAny(content, "\r\n") {
		d.reportBase64()
		return true
	}
	d.wire = wire
	d.endLength(begin)
	return true
}

func (d *decoder) readEnum(f *field) bool {
	content, ok := d.readString()
	if !ok {
		return false
	}
	number, known := f.enum.byName[string(content)]
	if !known {
		d.report(unknownChoice, func() string { return quote(string(content)) + " is none of " + f.enum.choices })
		return true
	}
	d.departs = d.departs || f.enum.alias[string(content)]
	d.writeVarint(f, int64(number))
	return true
}

// readWrong reports a value of another JSON type than the field's and passes over it.
func (d *decoder) readWrong(f *field, wanted string) bool {
	at := d.pos
	if !d.skip(0) {
		return false
	}
	d.report(wrongType, func() string { return d.describe(at) + " where " + wanted + " belongs" + d.hint(f, at) })
	return true
}

func (d *decoder) writeVarint(f *field, n int64) {
	d.mayBeDefault(f, n == 0)
	d.wire = append(d.wire, f.tag...)
	d.wire = protowire.AppendVarint(d.wire, uint64(n))
}

// lengthSize is the room for a length that is not known yet. A varint may be
// longer than it need be; five bytes hold any length.
const lengthSize = 5

// beginLength begins a value that is led by its length and returns where its
// content begins.
func (d *decoder) beginLength(f *field) int {
	d.wire = append(d.wire, f.tag...)
	d.wire = append(d.wire, make([]byte, lengthSize)...)
	return len(d.wire)
}

// endLength ends a value whose content began at begin.
func (d *decoder) endLength(begin int) {
	n := len(d.wire) - begin
	for i := range lengthSize - 1 {
		d.wire[begin-lengthSize+i] = byte(n>>(7*i)) | 0x80
	}
	d.wire[begin-1] = byte(n >> (7 * (lengthSize - 1)))
}
