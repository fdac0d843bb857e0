package codec

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// maxFields is how many fields a message may have: one bit each in the set of
// fields that a document has given.
const maxFields = 64

// A table is what the codec knows of one message type.
type table struct {
	name     string
	declared []*field // in the order of declaration
	sorted   []*field // by name
	byName   map[string]*field
	byNumber [64]*field // those with a number below its length; the others by search
}

// A field is what the codec knows of one field.
type field struct {
	desc     protoreflect.FieldDescriptor
	kind     protoreflect.Kind
	name     string // in JSON
	key      string // the name in quotes, with its colon
	tag      []byte // on the wire
	list     bool
	presence bool // absent and default differ
	number   protowire.Number
	wireType protowire.Type // of one value
	rank     int            // in sorted
	bit      uint64         // in the set of given fields
	once     uint64         // the fields of which one may be given: this one, or its oneof
	oneof    []*field       // the members of its oneof
	message  *table
	enum     *enum
}

// An enum is what the codec knows of one enum type.
type enum struct {
	quoted  map[protoreflect.EnumNumber]string
	small   [16]string // the quoted names of the numbers below its length
	byName  map[string]protoreflect.EnumNumber
	alias   map[string]bool // the names that are read but not written
	choices string          // the names to choose from, for people
}

// tables holds the tables made so far by message descriptor, and so at most one
// for each descriptor that the program has.
var tables sync.Map

// lowerCamel also makes sure that a name needs no escape in JSON and that order
// by bytes is order by UTF-16 code units.
var lowerCamel = regexp.MustCompile(`^[a-z][a-zA-Z0-9]*$`)

// Check reports whether the codec can read and write every message of files and
// every message that these hold, and prepares them. Its error names each message
// and field outside the closed set that the package comment states.
func Check(files ...protoreflect.FileDescriptor) error {
	var errs []error
	for _, file := range files {
		errs = append(errs, checkMessages(file.Messages()))
	}
	return errors.Join(errs...)
}

func checkMessages(list protoreflect.MessageDescriptors) error {
	var errs []error
	for i := range list.Len() {
		md := list.Get(i)
		if md.IsMapEntry() {
			continue // the map field itself is refused
		}
		_, err := tableOf(md)
		errs = append(errs, err, checkMessages(md.Messages()))
	}
	return errors.Join(errs...)
}

// tableOf returns the table of a message type, made at its first use.
func tableOf(md protoreflect.MessageDescriptor) (*table, error) {
	if t, ok := tables.Load(md); ok {
		return t.(*table), nil
	}
	return makeTable(md, nil)
}

// makeTable makes the table of md and of all that it holds. The messages around
// it are those that hold it.
func makeTable(md protoreflect.MessageDescriptor, around []protoreflect.MessageDescriptor) (*table, error) {
	if t, ok := tables.Load(md); ok {
		return t.(*table), nil
	}
	if err := checkMessage(md, around); err != nil {
		return nil, err
	}
	t := &table{name: string(md.Name()), byName: make(map[string]*field)}
	var errs []error
	for i := range md.Fields().Len() {
		f, err := makeField(md.Fields().Get(i), append(slices.Clip(around), md))
		if err != nil {
			errs = append(errs, err)
			continue
		}
		f.bit = 1 << i
		f.once = f.bit
		if t.byName[f.name] != nil {
			errs = append(errs, fmt.Errorf("%s: a second field with the JSON name %q", f.desc.FullName(), f.name))
		}
		t.byName[f.name] = f
		t.declared = append(t.declared, f)
		if int(f.number) < len(t.byNumber) {
			t.byNumber[f.number] = f
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	t.joinOneofs(md)
	t.sorted = slices.SortedFunc(slices.Values(t.declared), func(a, b *field) int { return cmp.Compare(a.name, b.name) })
	for rank, f := range t.sorted {
		f.rank = rank
	}
	stored, _ := tables.LoadOrStore(md, t)
	return stored.(*table), nil
}

func checkMessage(md protoreflect.MessageDescriptor, around []protoreflect.MessageDescriptor) error {
	switch {
	case md.IsPlaceholder():
		return fmt.Errorf("%s: a message without its definition", md.FullName())
	case md.FullName().Parent() == "google.protobuf":
		return fmt.Errorf("%s: a well-known type", md.FullName())
	case md.Syntax() != protoreflect.Proto3:
		return fmt.Errorf("%s: a message of %v, not of proto3", md.FullName(), md.Syntax())
	case md.Fields().Len() > maxFields:
		return fmt.Errorf("%s: a message of %d fields, more than %d", md.FullName(), md.Fields().Len(), maxFields)
	case slices.Contains(around, md):
		return fmt.Errorf("%s: a message that contains itself", md.FullName())
	}
	return nil
}

func makeField(fd protoreflect.FieldDescriptor, around []protoreflect.MessageDescriptor) (*field, error) {
	f := &field{
		desc:     fd,
		kind:     fd.Kind(),
		name:     fd.JSONName(),
		key:      `"` + fd.JSONName() + `":`,
		list:     fd.IsList(),
		presence: fd.HasPresence(),
	}
	if fd.IsMap() {
		return nil, fmt.Errorf("%s: a map", fd.FullName())
	}
	if !lowerCamel.MatchString(f.name) {
		return nil, fmt.Errorf("%s: the JSON name %q is not lowerCamel", fd.FullName(), f.name)
	}
	wireType := protowire.VarintType
	switch f.kind {
	case protoreflect.Int32Kind, protoreflect.Uint32Kind, protoreflect.BoolKind:
	case protoreflect.DoubleKind:
		wireType = protowire.Fixed64Type
	case protoreflect.StringKind, protoreflect.BytesKind:
		wireType = protowire.BytesType
	case protoreflect.EnumKind:
		if fd.Enum().FullName().Parent() == "google.protobuf" {
			return nil, fmt.Errorf("%s: a well-known type", fd.FullName())
		}
		f.enum = makeEnum(fd.Enum())
	case protoreflect.MessageKind:
		sub, err := makeTable(fd.Message(), around)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", fd.FullName(), err)
		}
		f.message = sub
		wireType = protowire.BytesType
	default:
		return nil, fmt.Errorf("%s: a field of type %v", fd.FullName(), f.kind)
	}
	f.number, f.wireType = fd.Number(), wireType
	f.tag = protowire.AppendTag(nil, fd.Number(), wireType)
	return f, nil
}

func makeEnum(ed protoreflect.EnumDescriptor) *enum {
	e := &enum{
		quoted: make(map[protoreflect.EnumNumber]string),
		byName: make(map[string]protoreflect.EnumNumber),
		alias:  make(map[string]bool),
	}
	var choices []string
	for i := range ed.Values().Len() {
		value := ed.Values().Get(i)
		name := string(value.Name())
		e.byName[name] = value.Number()
		if _, known := e.quoted[value.Number()]; !known {
			e.quoted[value.Number()] = `"` + name + `"`
			if n := value.Number(); 0 <= n && int(n) < len(e.small) {
				e.small[n] = e.quoted[n]
			}
		} else {
			e.alias[name] = true
		}
		// It is taken where a choice may stay open, but never the right answer.
		if !strings.HasSuffix(name, "UNSPECIFIED") {
			choices = append(choices, name)
		}
	}
	e.choices = strings.Join(choices, ", ")
	return e
}

// name returns the quoted name of a number, and whether it has one.
func (e *enum) name(n protoreflect.EnumNumber) (string, bool) {
	if uint32(n) < uint32(len(e.small)) {
		return e.small[n], e.small[n] != ""
	}
	name, ok := e.quoted[n]
	return name, ok
}

// joinOneofs tells the members of each oneof of each other. An optional field's
// own oneof has no other member.
func (t *table) joinOneofs(md protoreflect.MessageDescriptor) {
	for i := range md.Oneofs().Len() {
		var members []*field
		var all uint64
		for _, f := range t.declared {
			if f.desc.ContainingOneof() == md.Oneofs().Get(i) {
				members = append(members, f)
				all |= f.bit
			}
		}
		for _, f := range members {
			f.oneof, f.once = members, all
		}
	}
}
