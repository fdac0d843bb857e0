package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"

	"linepace.example/client"
	"linepace.example/proto/codec"
	"linepace.example/proto/refusal"
)

// document is a message as it stands in a file. It is read as YAML, and so as JSON
// too, and handed to the codec of the service as JSON: what it takes and what it
// says of the rest are the same everywhere, and here each fault has its place.
type document struct {
	name string
	root *yaml.Node // nil of JSON that is not YAML
}

// faultsError lists everything that is wrong with what was given.
type faultsError struct{ faults []string }

func (e *faultsError) Error() string { return strings.Join(e.faults, "; ") }

// add adds everything that err says is wrong.
func (e *faultsError) add(err error) {
	if err != nil {
		e.faults = append(e.faults, faultsOf(err)...)
	}
}

// parse reads a document into a message. Of faults in its fields the error is a
// *faultsError.
func parse(name string, text []byte, m proto.Message) (*document, error) {
	if len(bytes.TrimSpace(text)) == 0 {
		return nil, fmt.Errorf("%s is empty", name)
	}
	d := &document{name: name}
	asJSON, err := d.read(text)
	if err != nil {
		return nil, err
	}
	err = codec.Unmarshal(asJSON, m)
	var wrong codec.Errors
	if errors.As(err, &wrong) {
		faults := &faultsError{}
		for _, v := range wrong {
			faults.faults = append(faults.faults, d.placed(v, v.Path))
		}
		return nil, faults
	}
	return d, err
}

// read reads the nodes of a document and returns it as JSON. What is JSON is taken
// as it is, since some of it is not YAML, such as an escaped surrogate pair: then a
// fault has no place.
func (d *document) read(text []byte) (asJSON []byte, err error) {
	var whole, more yaml.Node
	in := yaml.NewDecoder(bytes.NewReader(text))
	err = in.Decode(&whole)
	if err == nil {
		d.root = whole.Content[0]
	}
	switch {
	case json.Valid(text):
		return text, nil
	case err != nil: // of broken YAML it tells the line alone
		return nil, fmt.Errorf("%s: %w", d.name, err)
	case in.Decode(&more) != io.EOF:
		return nil, fmt.Errorf("%s holds more than one document", d.name)
	}
	var w jsonWriter
	if err := w.value(d.root, 0); err != nil {
		return nil, fmt.Errorf("%s:%w", d.name, err)
	}
	return w.out, nil
}

// placed tells a fault of the field at path with its line and column, which are
// known where there is a document and it was read as YAML.
func (d *document) placed(v refusal.Violation, path string) string {
	text := v.Text
	if v.Path != "" {
		text = v.Path + ": " + text
	}
	switch {
	case d == nil:
		return text
	case d.root == nil:
		return d.name + ": " + text
	}
	at := d.find(path, v.Reason == "UNKNOWN_FIELD" || v.Reason == "DUPLICATE_FIELD")
	return fmt.Sprintf("%s:%d:%d: %s", d.name, at.Line, at.Column, text)
}

var pathStep = regexp.MustCompile(`[^.\[\]]+`)

// find returns the node of the field at path, its key where that is at fault, or
// what comes nearest to it.
func (d *document) find(path string, key bool) *yaml.Node {
	at, node := d.root, d.root
	for _, step := range pathStep.FindAllString(path, -1) {
		name, value := child(node, step)
		if value == nil {
			return at
		}
		at, node = value, value
		if name != nil && (key || value.Kind != yaml.ScalarNode) {
			at = name
		}
	}
	return at
}

// child returns what stands in node under a key, the last of several, or under an index.
func child(node *yaml.Node, step string) (name, value *yaml.Node) {
	if node.Kind == yaml.AliasNode {
		node = node.Alias
	}
	if node.Kind == yaml.SequenceNode {
		if i, err := strconv.Atoi(step); err == nil && i >= 0 && i < len(node.Content) {
			return nil, node.Content[i]
		}
		return nil, nil
	}
	for i := len(node.Content) - 2; i >= 0; i -= 2 {
		if node.Content[i].Value == step {
			return node.Content[i], node.Content[i+1]
		}
	}
	return nil, nil
}

// maxDepth is several times what the contract nests.
const maxDepth = 64

// jsonWriter writes YAML as JSON. It interprets nothing: what is a number in JSON
// stays one, digit by digit, and what only YAML takes for something else than text,
// such as 010 or a date, stays text.
type jsonWriter struct{ out []byte }

func (w *jsonWriter) value(n *yaml.Node, depth int) error {
	switch {
	case depth > maxDepth:
		return fmt.Errorf("%d:%d: is nested deeper than %d levels", n.Line, n.Column, maxDepth)
	case len(w.out) > client.MaxMessageBytes:
		return fmt.Errorf("%d:%d: there is more than a message can hold, %d bytes", n.Line, n.Column, client.MaxMessageBytes)
	}
	switch n.Kind {
	case yaml.AliasNode:
		return w.value(n.Alias, depth+1)
	case yaml.MappingNode:
		return w.mapping(n, depth)
	case yaml.SequenceNode:
		return w.sequence(n, depth)
	}
	w.scalar(n)
	return nil
}

func (w *jsonWriter) mapping(n *yaml.Node, depth int) error {
	w.out = append(w.out, '{')
	for i := 0; i+1 < len(n.Content); i += 2 {
		if i > 0 {
			w.out = append(w.out, ',')
		}
		key := n.Content[i]
		if key.Kind != yaml.ScalarNode {
			return fmt.Errorf("%d:%d: the name of a field is a text", key.Line, key.Column)
		}
		w.text(key.Value)
		w.out = append(w.out, ':')
		if err := w.value(n.Content[i+1], depth+1); err != nil {
			return err
		}
	}
	w.out = append(w.out, '}')
	return nil
}

func (w *jsonWriter) sequence(n *yaml.Node, depth int) error {
	w.out = append(w.out, '[')
	for i, item := range n.Content {
		if i > 0 {
			w.out = append(w.out, ',')
		}
		if err := w.value(item, depth+1); err != nil {
			return err
		}
	}
	w.out = append(w.out, ']')
	return nil
}

// decimal is what YAML takes for a number and JSON does not: +5, .5 and 5.
var decimal = regexp.MustCompile(`^[+-]?(0|[1-9][0-9]*)?(\.[0-9]*)?([eE][+-]?[0-9]+)?$`)

func (w *jsonWriter) scalar(n *yaml.Node) {
	switch tag := n.ShortTag(); {
	case tag == "!!null":
		w.out = append(w.out, "null"...)
	case tag == "!!bool":
		w.out = append(w.out, strings.ToLower(n.Value)...)
	case (tag == "!!int" || tag == "!!float") && json.Valid([]byte(n.Value)):
		w.out = append(w.out, n.Value...)
	case (tag == "!!int" || tag == "!!float") && decimal.MatchString(n.Value):
		x, err := strconv.ParseFloat(n.Value, 64)
		if err != nil {
			w.text(n.Value)
			return
		}
		w.out = strconv.AppendFloat(w.out, x, 'g', -1, 64)
	default:
		w.text(n.Value)
	}
}

func (w *jsonWriter) text(s string) {
	quoted, _ := json.Marshal(s) // of a text: never fails
	w.out = append(w.out, quoted...)
}
