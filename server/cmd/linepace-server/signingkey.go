package main

import (
	"fmt"
	"io"
	"os"

	"linepace.example/proto/record"
)

// maxKeyFile is far more than a PEM file with one key has.
const maxKeyFile = 64 << 10

// newSigner returns a signer by the key in a file, or nil where none is named.
func newSigner(path string) (*record.Signer, error) {
	if path == "" {
		return nil, nil
	}
	signer, err := readSigner(path)
	if err != nil {
		return nil, fmt.Errorf("--signing-key %s: %w", path, err)
	}
	return signer, nil
}

func readSigner(path string) (*record.Signer, error) {
	data, err := readPrivate(path)
	if err != nil {
		return nil, err
	}
	key, err := record.ParseSigningKey(data)
	if err != nil {
		return nil, err
	}
	return record.NewSigner(key, "linepace-server "+version())
}

// A fileError says why a file is not read for a key.
type fileError string

func (e fileError) Error() string { return string(e) }

const (
	notRegular fileError = "is not a regular file"
	tooLong    fileError = "is too long for a key"
)

// An exposedError says that others than its owner may use a key's file.
type exposedError struct{ mode os.FileMode }

func (e exposedError) Error() string {
	return fmt.Sprintf("has the mode %04o, so that others than its owner may use the key: chmod 600 it", e.mode)
}

// readPrivate reads a file that its owner alone may use. The name is looked at
// first, since opening a pipe waits for a writer; what is read is what was opened.
func readPrivate(path string) ([]byte, error) {
	named, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, err
	case !named.Mode().IsRegular():
		return nil, notRegular
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	switch mode := info.Mode(); {
	case !mode.IsRegular():
		return nil, notRegular
	case mode.Perm()&0o077 != 0:
		return nil, exposedError{mode.Perm()}
	}
	data, err := io.ReadAll(io.LimitReader(file, maxKeyFile+1))
	if err == nil && len(data) > maxKeyFile {
		return nil, tooLong
	}
	return data, err
}
