package codec

import (
	"bytes"
	"strconv"
	"unicode/utf16"
	"unicode/utf8"
)

// maxDepth bounds the nesting of values that are passed over. Values that are
// read nest no deeper than their messages.
const maxDepth = 100

// A scanner reads the tokens of one JSON document (RFC 8259). Its methods report
// whether the syntax holds; where it does not, fault and faultAt say why.
type scanner struct {
	data    []byte
	pos     int
	scratch []byte // the last string that was not plain
	judge   bool   // whether departs is wanted
	departs bool   // from the canonical form, found so far
	spelled []byte // a value in its canonical form, to compare
	fault   string
	faultAt int
}

// fail notes an error of syntax.
func (s *scanner) fail(at int, fault string) bool {
	s.fault, s.faultAt = fault, at
	return false
}

// next passes over white space and returns the byte after it, 0 at the end.
func (s *scanner) next() byte {
	if s.pos < len(s.data) && s.data[s.pos] > ' ' {
		return s.data[s.pos]
	}
	return s.passSpace()
}

func (s *scanner) passSpace() byte {
	for s.pos < len(s.data) {
		c := s.data[s.pos]
		if c != ' ' && c != '\n' && c != '\r' && c != '\t' {
			return c
		}
		s.departs = true
		s.pos++
	}
	return 0
}

// more passes over what follows a member or an element, a comma or the closing
// bracket, and reports which it was.
func (s *scanner) more(closing byte) (more, ok bool) {
	switch c := s.next(); c {
	case closing:
		s.pos++
		return false, true
	case ',':
		s.pos++
		if s.next() == closing {
			return false, s.fail(s.pos, "a comma before the closing bracket; leave it out")
		}
		return true, true
	}
	return false, s.unexpected("a comma or " + strconv.QuoteRune(rune(closing)))
}

// open passes over an opening bracket and reports whether something follows it
// before the closing one.
func (s *scanner) open(closing byte) bool {
	s.pos++
	if s.next() != closing {
		return true
	}
	s.pos++
	return false
}

// readKey reads a member's key and its colon.
func (s *scanner) readKey() (key []byte, ok bool) {
	if s.next() != '"' {
		return nil, s.unexpected("a field name in double quotes")
	}
	if key, ok = s.readString(); !ok {
		return nil, false
	}
	if s.next() != ':' {
		return nil, s.unexpected("a colon")
	}
	s.pos++
	return key, true
}

// plain marks the bytes that stand for themselves in a string.
var plain = func() (set [256]bool) {
	for c := ' '; c < utf8.RuneSelf; c++ {
		set[c] = c != '"' && c != '\\'
	}
	return set
}()

// readString reads a string and returns its content, which holds until the next
// one is read.
func (s *scanner) readString() (content []byte, ok bool) {
	begin := s.pos + 1
	i := begin
	for i < len(s.data) && plain[s.data[i]] {
		i++
	}
	s.pos = i
	if i < len(s.data) && s.data[i] == '"' {
		s.pos++
		return s.data[begin:i], true
	}
	s.scratch = append(s.scratch[:0], s.data[begin:i]...)
	content, ok = s.readRest()
	if ok && s.judge {
		s.spelled = appendString(s.spelled[:0], content)
		s.compare(s.data[begin-1 : s.pos])
	}
	return content, ok
}

// compare holds a value in the document to its canonical form.
func (s *scanner) compare(text []byte) {
	if !bytes.Equal(s.spelled, text) {
		s.departs = true
	}
}

// readRest reads the rest of a string that is not plain into scratch.
func (s *scanner) readRest() (content []byte, ok bool) {
	for s.pos < len(s.data) {
		c := s.data[s.pos]
		switch {
		case plain[c]:
			s.scratch = append(s.scratch, c)
			s.pos++
		case c == '"':
			s.pos++
			return s.scratch, true
		case c == '\\':
			if !s.readEscape() {
				return nil, false
			}
		case c < ' ':
			return nil, s.fail(s.pos, "a control character in a string; write it as "+strconv.Quote(escaped(c)))
		default:
			r, size := utf8.DecodeRune(s.data[s.pos:])
			if r == utf8.RuneError && size == 1 {
				return nil, s.fail(s.pos, "a byte that is not UTF-8; send the body in UTF-8")
			}
			s.scratch = append(s.scratch, s.data[s.pos:s.pos+size]...)
			s.pos += size
		}
	}
	return nil, s.fail(s.pos, "the body ends inside a string")
}

// escaped returns the escape of a control character.
func escaped(c byte) string {
	quoted := appendString(nil, string(rune(c)))
	return string(quoted[1 : len(quoted)-1])
}

// readEscape reads one escape, or a pair that stands for one character.
func (s *scanner) readEscape() bool {
	at := s.pos
	if at+1 >= len(s.data) {
		return s.fail(len(s.data), "the body ends inside a string")
	}
	s.pos += 2
	switch c := s.data[at+1]; c {
	case '"', '\\', '/':
		s.scratch = append(s.scratch, c)
	case 'b':
		s.scratch = append(s.scratch, '\b')
	case 'f':
		s.scratch = append(s.scratch, '\f')
	case 'n':
		s.scratch = append(s.scratch, '\n')
	case 'r':
		s.scratch = append(s.scratch, '\r')
	case 't':
		s.scratch = append(s.scratch, '\t')
	case 'u':
		return s.readCodeUnits(at)
	default:
		return s.fail(at, `an escape that JSON does not have; a backslash is written \\`)
	}
	return true
}

// readCodeUnits reads the digits of the \u escape that begins at at, and the
// second escape of a surrogate pair.
func (s *scanner) readCodeUnits(at int) bool {
	r, ok := hex4(s.data[s.pos:])
	if !ok {
		return s.fail(at, `\u without four hexadecimal digits`)
	}
	s.pos += 4
	if utf16.IsSurrogate(r) {
		var low rune
		if rest := s.data[s.pos:]; len(rest) > 2 && rest[0] == '\\' && rest[1] == 'u' {
			low, _ = hex4(rest[2:])
		}
		if r = utf16.DecodeRune(r, low); r == utf8.RuneError {
			return s.fail(at, "a lone surrogate; a character outside the basic plane takes a pair")
		}
		s.pos += 6
	}
	s.scratch = utf8.AppendRune(s.scratch, r)
	return true
}

func hex4(digits []byte) (r rune, ok bool) {
	if len(digits) < 4 {
		return 0, false
	}
	for _, c := range digits[:4] {
		switch {
		case '0' <= c && c <= '9':
			r = r<<4 | rune(c-'0')
		case 'a' <= c|0x20 && c|0x20 <= 'f':
			r = r<<4 | rune(c|0x20-'a'+10)
		default:
			return 0, false
		}
	}
	return r, true
}

// readNumber reads a number and reports whether it is written as an integer,
// without point and exponent.
func (s *scanner) readNumber() (number []byte, integer, ok bool) {
	begin := s.pos
	if s.data[s.pos] == '-' {
		s.pos++
	}
	zero := s.peek() == '0'
	switch digits := s.passDigits(); {
	case digits == 0 && s.peek() == 'I':
		return nil, false, s.fail(begin, "-Infinity is not JSON; a number is finite")
	case digits == 0:
		return nil, false, s.unexpected("a digit")
	case zero && digits > 1:
		return nil, false, s.fail(begin, "a number with a leading zero; leave the zero out")
	}
	integer = true
	if s.peek() == '.' {
		integer = false
		s.pos++
		if s.passDigits() == 0 {
			return nil, false, s.unexpected("a digit after the point")
		}
	}
	if s.peek()|0x20 == 'e' {
		integer = false
		s.pos++
		if c := s.peek(); c == '+' || c == '-' {
			s.pos++
		}
		if s.passDigits() == 0 {
			return nil, false, s.unexpected("a digit of the exponent")
		}
	}
	return s.data[begin:s.pos], integer, true
}

// peek returns the next byte, 0 at the end.
func (s *scanner) peek() byte {
	if s.pos < len(s.data) {
		return s.data[s.pos]
	}
	return 0
}

func (s *scanner) passDigits() int {
	begin := s.pos
	for s.pos < len(s.data) && '0' <= s.data[s.pos] && s.data[s.pos] <= '9' {
		s.pos++
	}
	return s.pos - begin
}

// readWord reads the word that is given if it comes next.
func (s *scanner) readWord(word string) bool {
	if len(s.data)-s.pos < len(word) || string(s.data[s.pos:s.pos+len(word)]) != word {
		return false
	}
	s.pos += len(word)
	return true
}

// skip passes over a value of any kind that is nested in depth others.
func (s *scanner) skip(depth int) bool {
	if depth > maxDepth {
		return s.fail(s.pos, "a value nested more than "+strconv.Itoa(maxDepth)+" deep")
	}
	switch c := s.next(); {
	case c == '{':
		return s.skipInside('}', depth)
	case c == '[':
		return s.skipInside(']', depth)
	case c == '"':
		_, ok := s.readString()
		return ok
	case c == '-' || '0' <= c && c <= '9':
		_, _, ok := s.readNumber()
		return ok
	}
	return s.readWord("true") || s.readWord("false") || s.readWord("null") || s.unexpected("a value")
}

// skipInside passes over an object or a list.
func (s *scanner) skipInside(closing byte, depth int) bool {
	for more := s.open(closing); more; {
		if closing == '}' {
			if _, ok := s.readKey(); !ok {
				return false
			}
		}
		if !s.skip(depth + 1) {
			return false
		}
		var ok bool
		if more, ok = s.more(closing); !ok {
			return false
		}
	}
	return true
}

// unexpected fails at the next byte, saying what belongs there.
func (s *scanner) unexpected(wanted string) bool {
	if s.pos >= len(s.data) {
		return s.fail(s.pos, "the body ends where "+wanted+" belongs")
	}
	switch c := s.data[s.pos]; {
	case c == '/' || c == '#':
		return s.fail(s.pos, "JSON has no comments; leave it out")
	case c == '\'':
		return s.fail(s.pos, "a single quote; strings stand in double quotes")
	case s.hasWord("NaN") || s.hasWord("nan") || s.hasWord("Inf") || s.hasWord("inf"):
		return s.fail(s.pos, "NaN and Infinity are not JSON; a number is finite")
	case s.hasWord("True") || s.hasWord("False") || s.hasWord("None"):
		return s.fail(s.pos, "the words of JSON are true, false and null")
	case c == '+':
		return s.fail(s.pos, "a plus sign; leave it out")
	case c == '.':
		return s.fail(s.pos, "a number begins with a digit, as in 0.5")
	}
	r, size := utf8.DecodeRune(s.data[s.pos:])
	if r == utf8.RuneError && size == 1 {
		return s.fail(s.pos, "a byte that is not UTF-8; send the body in UTF-8")
	}
	return s.fail(s.pos, strconv.QuoteRune(r)+" where "+wanted+" belongs")
}

// hasWord reports whether the word comes next, and stays where it is.
func (s *scanner) hasWord(word string) bool {
	at := s.pos
	defer func() { s.pos = at }()
	return s.readWord(word)
}
