package codec

import (
	"bytes"
	"strconv"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/proto/refusal"
)

// Reasons of violations.
const (
	unknownField   = "UNKNOWN_FIELD"   // a key that no field has
	duplicateField = "DUPLICATE_FIELD" // a field given twice, or two members of a oneof
	wrongType      = "WRONG_TYPE"      // a JSON value of another type, or null
	notFinite      = "NOT_FINITE"      // NaN, an infinity, or a number that no double can hold
	outOfRange     = "OUT_OF_RANGE"    // an integer that its field cannot hold
	unknownChoice  = "UNKNOWN_CHOICE"  // an enum name that does not exist
	malformed      = "MALFORMED"       // no JSON object, or no base64
	tooMany        = "TOO_MANY"        // the violations themselves, beyond maxListed
)

// maxListed leaves room for an error of syntax, and for a last violation that
// says how many more there are: then refusal.Most shortens nothing.
const maxListed = refusal.MaxViolations - 2

// Errors lists the violations of a document, in its order. It is never empty.
type Errors []refusal.Violation

func (e Errors) Error() string {
	texts := make([]string, len(e))
	for i, v := range e {
		texts[i] = strings.TrimPrefix(v.Path+": "+v.Text, ": ")
	}
	return strings.Join(texts, "; ")
}

// report adds a violation at the current path. The text is made only if it is listed.
func (d *decoder) report(reason string, text func() string) {
	if len(d.errs) >= maxListed {
		d.unlisted++
		return
	}
	d.errs = append(d.errs, refusal.Violation{Path: d.pathText(), Reason: reason, Text: text()})
}

// reportFault adds the error of syntax that ended the reading.
func (d *decoder) reportFault() {
	text := d.fault
	if d.faultAt > 0 { // the place of the first byte tells nothing
		text += d.place(d.faultAt)
	}
	d.errs = append(d.errs, refusal.Violation{Path: d.pathText(), Reason: malformed, Text: text})
}

// place says where a byte is in the body; columns count characters.
func (d *decoder) place(at int) string {
	before := d.data[:at]
	line := 1 + bytes.Count(before, []byte{'\n'})
	column := 1 + utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])
	return " (line " + strconv.Itoa(line) + ", column " + strconv.Itoa(column) + ", byte offset " + strconv.Itoa(at) + ")"
}

func (d *decoder) result() error {
	if len(d.errs) == 0 {
		return nil
	}
	if d.unlisted > 0 {
		d.errs = append(d.errs, refusal.Violation{Reason: tooMany, Text: "and " + strconv.Itoa(d.unlisted) +
			" more violations, which are not listed; put these right first"})
	}
	return d.errs
}

func (d *decoder) reportBase64() {
	d.report(malformed, func() string {
		return "not base64; write the bytes in the alphabet A-Z a-z 0-9 + /, padded with = to a multiple of four"
	})
}

// reportDuplicate reports a field that is given though it, or another member of
// its oneof, is among the given already.
func (d *decoder) reportDuplicate(f *field, given uint64) {
	d.report(duplicateField, func() string {
		var first string
		names := make([]string, len(f.oneof))
		for i, member := range f.oneof {
			names[i] = member.name
			if given&member.bit != 0 {
				first = member.name
			}
		}
		if given&f.bit != 0 {
			return "given twice; give it once"
		}
		return f.name + " beside " + first + "; give only one of " + strings.Join(names, ", ")
	})
}

func (d *decoder) reportUnknown(t *table, key string) {
	d.report(unknownField, func() string {
		if near := t.near(key); near != "" {
			return "there is no such field; is " + near + " meant?"
		}
		if len(t.declared) == 0 {
			return "there is no such field; " + t.name + " has none"
		}
		names := make([]string, len(t.declared))
		for i, f := range t.declared {
			names[i] = f.name
		}
		return "there is no such field; " + t.name + " has " + strings.Join(names, ", ")
	})
}

// pathText returns the path to the current value, such as line.drives[0].motor.
func (d *decoder) pathText() string {
	var path []byte
	t := d.top
	for i, s := range d.path {
		name := d.unknown
		if s.rank >= 0 {
			f := t.sorted[s.rank]
			name, t = f.name, f.message
		}
		if i > 0 && name[0] != '[' {
			path = append(path, '.')
		}
		path = append(path, name...)
		if s.index >= 0 {
			path = append(path, '[')
			path = strconv.AppendInt(path, int64(s.index), 10)
			path = append(path, ']')
		}
	}
	return string(path)
}

// unknownStep returns the step of an unknown key: as it is where it looks like a
// name, else quoted in brackets.
func unknownStep(key []byte) string {
	for _, c := range key {
		if c != '_' && (c < '0' || c > '9') && (c|0x20 < 'a' || c|0x20 > 'z') {
			return "[" + quote(string(key)) + "]"
		}
	}
	if len(key) == 0 {
		return `[""]`
	}
	return shorten(string(key))
}

// wanted says what belongs into a field, or into one element of it.
func wanted(f *field) string {
	switch f.kind {
	case protoreflect.DoubleKind:
		return "a number"
	case protoreflect.Int32Kind:
		return "an integer from -2147483648 to 2147483647"
	case protoreflect.Uint32Kind:
		return "an integer from 0 to 4294967295"
	case protoreflect.BoolKind:
		return "true or false"
	case protoreflect.BytesKind:
		return "a string in base64"
	case protoreflect.EnumKind:
		return "a string out of " + f.enum.choices
	case protoreflect.MessageKind:
		return "an object"
	}
	return "a string"
}

// describe names the value at a place that was passed over.
func (d *decoder) describe(at int) string {
	s := scanner{data: d.data, pos: at}
	switch c := s.next(); c {
	case '{':
		return "an object"
	case '[':
		return "a list"
	case '"':
		content, _ := s.readString()
		return "the string " + quote(string(content))
	case 't', 'f', 'n':
		s.skip(0)
		return string(d.data[at:s.pos])
	}
	number, _, _ := s.readNumber()
	return "the number " + shorten(string(number))
}

// hint says how to put the wrong value at a place right, where that is plain.
func (d *decoder) hint(f *field, at int) string {
	s := scanner{data: d.data, pos: at}
	last := d.path[len(d.path)-1]
	switch c := s.next(); {
	case c == 'n' && last.index >= 0:
		return "; leave the element out"
	case c == 'n':
		return "; leave the field out"
	case f.list && last.index < 0:
		return "; write it in [ ]"
	case c == '"':
		content, _ := s.readString()
		boolean := string(content) == "true" || string(content) == "false"
		if f.kind == protoreflect.BoolKind && boolean || f.takesNumber() && isNumber(content) {
			return "; write it without quotes"
		}
	case f.kind == protoreflect.StringKind && c != '{' && c != '[':
		return "; write it in quotes"
	}
	return ""
}

func (f *field) takesNumber() bool {
	return f.kind == protoreflect.DoubleKind || f.kind == protoreflect.Int32Kind || f.kind == protoreflect.Uint32Kind
}

func isNumber(content []byte) bool {
	s := scanner{data: content}
	if c := s.peek(); c != '-' && (c < '0' || c > '9') {
		return false
	}
	_, _, ok := s.readNumber()
	return ok && s.pos == len(content)
}

// quote quotes a text for people, shortened.
func quote(s string) string {
	return string(appendString(nil, shorten(s)))
}

// shorten cuts a text of the request that is long.
func shorten(s string) string {
	const most = 64
	if len(s) <= most {
		return s
	}
	cut := most
	for !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}
