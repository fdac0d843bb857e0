// Package keyfile reads private keys from files that their owner alone may use.
package keyfile

import (
	"crypto/ed25519"
	"fmt"
	"io"
	"os"

	"linepace.example/proto/record"
)

// maxBytes is far more than a PEM file with one key has.
const maxBytes = 64 << 10

// ExposedError says that others than its owner may use a key's file.
type ExposedError struct {
	Path string
	Mode os.FileMode
}

func (e *ExposedError) Error() string {
	return fmt.Sprintf("%s has the mode %04o, so that others than its owner may use the key: chmod 600 it, and consider a new key", e.Path, e.Mode)
}

// Read returns the Ed25519 key in the PEM file at path. It refuses what is no
// regular file, what group or others may read or write (*ExposedError), and what
// [record.ParseSigningKey] does not take.
func Read(path string) (ed25519.PrivateKey, error) {
	text, err := readPrivate(path)
	if err != nil {
		return nil, err
	}
	key, err := record.ParseSigningKey(text)
	if err != nil {
		return nil, fmt.Errorf("%s %w", path, err)
	}
	return key, nil
}

// readPrivate looks at the name first, since opening a pipe waits for a writer;
// what is judged and read is what was then opened.
func readPrivate(path string) ([]byte, error) {
	named, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, err
	case !named.Mode().IsRegular():
		return nil, fmt.Errorf("%s is not a regular file", path)
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
		return nil, fmt.Errorf("%s is not a regular file", path)
	case mode.Perm()&0o077 != 0:
		return nil, &ExposedError{path, mode.Perm()}
	}
	text, err := io.ReadAll(io.LimitReader(file, maxBytes+1))
	if err == nil && len(text) > maxBytes {
		return nil, fmt.Errorf("%s is too long for a key", path)
	}
	return text, err
}
