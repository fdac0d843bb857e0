package codec

import "google.golang.org/protobuf/proto"

// HasShape reports whether m is written from its struct.
func HasShape(m proto.Message) bool {
	t, err := tableFor(m)
	return err == nil && shapeOf(t, m) != nil
}
