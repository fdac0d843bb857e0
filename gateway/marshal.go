package gateway

import (
	"fmt"
	"io"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
)

// marshaler reads and writes messages by the strict codec.
type marshaler struct{}

func (marshaler) ContentType(any) string { return "application/json; charset=utf-8" }

func (marshaler) Marshal(v any) ([]byte, error) {
	m, err := message(v)
	if err != nil {
		return nil, err
	}
	return codec.Append(make([]byte, 0, 4<<10), m)
}

func (marshaler) Unmarshal(data []byte, v any) error {
	m, err := message(v)
	if err != nil {
		return err
	}
	return codec.Unmarshal(data, m)
}

// message returns v as what the mux hands over: a message of the contract.
func message(v any) (proto.Message, error) {
	m, ok := v.(proto.Message)
	if !ok {
		return nil, fmt.Errorf("gateway: %T is no message of the contract", v)
	}
	return m, nil
}

// NewDecoder returns a decoder of a body that admit has read.
func (marshaler) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		b, ok := r.(*body)
		if !ok {
			return fmt.Errorf("gateway: internal error: a body that was not read")
		}
		m, err := message(v)
		if err != nil {
			return err
		}
		var part bool
		if part, b.wrong = codec.UnmarshalPart(b.data, m); part {
			return nil // the service tells what is wrong with the rest; refuseWrong sees to it that nothing else is answered
		}
		return b.wrong
	})
}

func (c marshaler) NewEncoder(w io.Writer) runtime.Encoder {
	return runtime.EncoderFunc(func(v any) error {
		data, err := c.Marshal(v)
		if err != nil {
			return err
		}
		_, err = w.Write(data)
		return err
	})
}
