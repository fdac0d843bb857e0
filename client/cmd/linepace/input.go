package main

import (
	"bytes"
	"errors"
	"io"
	"os"

	"google.golang.org/protobuf/proto"
)

// input reads files, and at most one of them from standard input.
type input struct {
	stdin io.Reader
	taken bool
}

// read reads a message in YAML, and so in JSON too, from a file, or from standard
// input for "-". An error tells the file, the line and mostly the column.
func (in *input) read(path string, m proto.Message) (*document, error) {
	name, text, err := in.bytes(path)
	if err != nil {
		return nil, err
	}
	return parse(name, text, m)
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

// writeNew writes a file that must not be there yet, so that no evidence is
// overwritten, and makes it durable. A file that holds the same already, as after a
// command that is given again, is left as it is.
func writeNew(path string, data []byte, mode os.FileMode) (err error) {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if errors.Is(err, os.ErrExist) && holdsAlready(path, data) {
		return nil
	}
	if errors.Is(err, os.ErrExist) {
		return &hintedError{err, "nothing is overwritten: give another name"}
	}
	if err != nil {
		return err
	}
	defer func() {
		if err = errors.Join(err, file.Close()); err != nil {
			os.Remove(path) // rather no file than a part of one
		}
	}()
	if _, err := file.Write(data); err != nil {
		return err
	}
	return file.Sync()
}

func holdsAlready(path string, data []byte) bool {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() { // reading a pipe would wait for a writer
		return false
	}
	held, err := os.ReadFile(path)
	return err == nil && bytes.Equal(held, data)
}
