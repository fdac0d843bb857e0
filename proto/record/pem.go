package record

import (
	"bytes"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"fmt"
)

// SigningKeyError says why a file holds no key to sign with. It never tells of
// what the file holds more than the labels of its blocks.
type SigningKeyError struct{ Text string }

func (e *SigningKeyError) Error() string { return e.Text }

// pkcs8 is the label of an unencrypted private key (RFC 7468 section 10).
const pkcs8 = "PRIVATE KEY"

// ParseSigningKey reads a file with one PEM block, an Ed25519 private key in
// PKCS #8 (RFC 8410), such as `openssl genpkey -algorithm ed25519` writes. The
// error is a *SigningKeyError.
func ParseSigningKey(file []byte) (ed25519.PrivateKey, error) {
	refuse := func(format string, args ...any) (ed25519.PrivateKey, error) {
		return nil, &SigningKeyError{fmt.Sprintf(format, args...)}
	}
	block, rest := pem.Decode(file)
	if block == nil {
		return refuse("holds no PEM block; it must hold one that begins with -----BEGIN %s-----", pkcs8)
	}
	if second, _ := pem.Decode(rest); second != nil {
		return refuse("holds several PEM blocks; it must hold the one key to sign with")
	}
	if !bytes.HasPrefix(bytes.TrimSpace(file), []byte("-----BEGIN ")) || len(bytes.TrimSpace(rest)) > 0 {
		return refuse("holds something beside its PEM block")
	}
	if block.Type != pkcs8 {
		return refuse("holds a PEM block %.40q; it must be %q: PKCS #8, not encrypted", block.Type, pkcs8)
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return refuse("holds a PEM block that is no private key in PKCS #8")
	}
	signing, ok := key.(ed25519.PrivateKey)
	if !ok {
		return refuse("holds a key of another algorithm (%T); it must be Ed25519", key)
	}
	return signing, nil
}
