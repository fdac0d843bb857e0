// Package fault describes what is wrong with an input: where, why, and what
// would be right. Every calculation reports all faults of a request at once.
package fault

import (
	"fmt"
	"strconv"
	"strings"
)

// Reason classifies a fault for programs; texts may be reworded, reasons not.
type Reason string

// Reasons.
const (
	Required       Reason = "REQUIRED"             // a value that is needed is absent
	OutOfRange     Reason = "OUT_OF_RANGE"         // a number outside its stated range
	NotFinite      Reason = "NOT_FINITE"           // NaN or an infinity
	UnitRequired   Reason = "UNIT_REQUIRED"        // a quantity without a unit
	UnitUnknown    Reason = "UNIT_UNKNOWN"         // a symbol that no unit has
	UnitAmbiguous  Reason = "UNIT_AMBIGUOUS"       // a symbol that differs between plants
	UnitWrongKind  Reason = "UNIT_WRONG_DIMENSION" // a unit of another kind of quantity
	Duplicate      Reason = "DUPLICATE"            // an id or a drive named twice
	NotFound       Reason = "NOT_FOUND"            // a name that nothing in the request has
	Conflict       Reason = "CONFLICT"             // fields that exclude each other
	Cycle          Reason = "CYCLE"                // drives that follow each other in a ring
	NotDemanded    Reason = "NOT_DEMANDED"         // a drive that the product does not name
	SharesOff      Reason = "SHARES_DO_NOT_SUM"    // shares that do not sum to 100 percent
	TooMany        Reason = "TOO_MANY"             // a list longer than its limit
	TooLong        Reason = "TOO_LONG"             // a text longer than its limit
	UnknownChoice  Reason = "UNKNOWN_CHOICE"       // an enumeration value that does not exist
	UnknownField   Reason = "UNKNOWN_FIELD"        // a field that the message does not have
	WrongType      Reason = "WRONG_TYPE"           // a JSON value of another type
	DuplicateField Reason = "DUPLICATE_FIELD"      // a JSON key, or a choice, given twice
	Malformed      Reason = "MALFORMED"            // a text that does not have its form
	NotGenuine     Reason = "NOT_GENUINE"          // a text that no server with this key made
)

// Fault is one thing wrong with an input.
type Fault struct {
	Path   string // the field, in lowerCamel, such as line.drives[0].motor.maxRpm
	Reason Reason
	Text   string // what is wrong and what would be right
}

// List collects faults in the order in which they are found. Its zero value is
// empty and ready.
type List []Fault

// Add appends a fault at p.
func (l *List) Add(p *Path, r Reason, format string, args ...any) {
	*l = append(*l, Fault{Path: p.String(), Reason: r, Text: fmt.Sprintf(format, args...)})
}

// Error lists the faults, one a line.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, f := range l {
		lines[i] = f.Path + ": " + f.Text
	}
	return strings.Join(lines, "\n")
}

// Err returns l as an error, or nil if there is no fault.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	return l
}

// Path names a field of an input by its way from the root. Paths are built on
// the way down and cost nothing until a fault is reported.
type Path struct {
	up    *Path
	field string
	index int // with an empty field: index in a list
}

// Root returns the path of a field of the request itself.
func Root(name string) Path { return Path{field: name} }

// Field returns the path of a field of p.
func (p *Path) Field(name string) Path { return Path{up: p, field: name} }

// Index returns the path of the i-th item of p.
func (p *Path) Index(i int) Path { return Path{up: p, index: i} }

// String writes the path as in line.drives[0].motor.maxRpm. It is a loop and not
// a recursion so that the compiler sees that paths stay on the stack.
func (p *Path) String() string {
	var parts [maxDepth]*Path
	n := 0
	for ; p != nil && n < maxDepth; p = p.up {
		parts[n] = p
		n++
	}
	text := make([]byte, 0, 96) // most paths fit
	for n--; n >= 0; n-- {
		switch part := parts[n]; {
		case part.field == "":
			text = append(text, '[')
			text = strconv.AppendInt(text, int64(part.index), 10)
			text = append(text, ']')
		case len(text) > 0:
			text = append(text, '.')
			fallthrough
		default:
			text = append(text, part.field...)
		}
	}
	return string(text)
}

// maxDepth is deeper than any request nests.
const maxDepth = 32
