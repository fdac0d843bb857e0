package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"buf.build/go/protoyaml"
	"google.golang.org/protobuf/proto"
)

// input reads messages from files, and at most one of them from standard input.
type input struct {
	stdin io.Reader
	taken bool
}

// read reads a message in YAML, and so in JSON too, from a file, or from standard
// input for "-". An error tells the file, the line and mostly the column.
func (in *input) read(path string, m proto.Message) error {
	name, text, err := in.bytes(path)
	if err != nil {
		return err
	}
	if len(strings.TrimSpace(string(text))) == 0 {
		return fmt.Errorf("%s is empty", name)
	}
	err = protoyaml.UnmarshalOptions{Path: name}.Unmarshal(text, m)
	if err != nil && !strings.HasPrefix(err.Error(), name) { // of broken YAML it tells the line alone
		return fmt.Errorf("%s: %w", name, err)
	}
	return err
}

func (in *input) bytes(path string) (name string, text []byte, err error) {
	if path != "-" {
		text, err = os.ReadFile(path)
		return path, text, err
	}
	if in.taken {
		return "", nil, errors.New("standard input can be read once: give only one file as -")
	}
	in.taken = true
	text, err = io.ReadAll(in.stdin)
	return "standard input", text, err
}
