package record

import (
	"bytes"
	"errors"
)

// Leaf returns how a log keeps a record: the detached JWS, empty where the record
// is not signed, a newline, and the payload.
func Leaf(jws string, payload []byte) []byte {
	leaf := make([]byte, 0, len(jws)+1+len(payload))
	return append(append(append(leaf, jws...), '\n'), payload...)
}

// SplitLeaf takes a leaf apart. The payload shares the leaf's bytes. It fails
// where there is no newline or no payload; what the parts are is not looked at.
func SplitLeaf(leaf []byte) (jws string, payload []byte, err error) {
	before, payload, ok := bytes.Cut(leaf, []byte{'\n'})
	switch {
	case !ok:
		return "", nil, errors.New("proto/record: a leaf without newline between signature and payload")
	case len(payload) == 0:
		return "", nil, errors.New("proto/record: a leaf without payload")
	}
	return string(before), payload, nil
}
