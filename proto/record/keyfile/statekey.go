package keyfile

import (
	"encoding/hex"
	"fmt"
	"strings"
)

// minSecret is the fewest bytes of a secret: those of a SHA-256.
const minSecret = 32

// ReadSecret returns the random bytes, 32 or more, that the file at path holds in
// hexadecimal digits; space and ends of lines do not count. It refuses files as Read does.
func ReadSecret(path string) ([]byte, error) {
	text, err := readPrivate(path)
	if err != nil {
		return nil, err
	}
	secret, err := hex.DecodeString(strings.Join(strings.Fields(string(text)), ""))
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s does not hold hexadecimal digits alone, two for each byte", path)
	case len(secret) < minSecret:
		return nil, fmt.Errorf("%s holds %d bytes; a secret has %d or more", path, len(secret), minSecret)
	}
	return secret, nil
}
