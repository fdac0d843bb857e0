package record

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// Names of the one kind of key there is, after RFC 8037 section 2.
const (
	keyType = "OKP"
	curve   = "Ed25519"
)

// Keys are trusted public keys by their ids. The zero value trusts none. They are
// only as good as the way by which they came: keys that travel with what they have
// signed prove nothing.
type Keys struct{ byID map[string]ed25519.PublicKey }

// KeyError says what is wrong with a public key.
type KeyError struct {
	Index int    // of the key in its list
	Field string // in lowerCamel, such as kid
	Text  string
}

func (e *KeyError) Error() string {
	return "keys[" + strconv.Itoa(e.Index) + "]." + e.Field + " " + e.Text
}

// NewKeys returns the keys that are given. Each has 32 bytes.
func NewKeys(keys ...ed25519.PublicKey) (Keys, error) {
	messages := make([]*linepacev1.PublicKey, len(keys))
	for i, key := range keys {
		if len(key) != ed25519.PublicKeySize {
			return Keys{}, &KeyError{i, "x", fmt.Sprintf("has %d bytes; an Ed25519 key has %d", len(key), ed25519.PublicKeySize)}
		}
		messages[i] = PublicKey(key)
	}
	return KeysFrom(messages)
}

// ParseKeys reads a JSON Web Key Set (RFC 7517), such as GET /v1/keys answers. It
// takes the members kty, crv, x and kid alone: of a key with another use or a
// private part it is not known what trusting it means. The error is of type
// [codec.Errors] or *KeyError.
func ParseKeys(jwks []byte) (Keys, error) {
	var set linepacev1.KeysResponse
	if err := codec.Unmarshal(jwks, &set); err != nil {
		return Keys{}, err
	}
	return KeysFrom(set.Keys)
}

// KeysFrom reads keys of the contract. Every key must be one of Ed25519, named by
// its thumbprint or not named, and given once; the error is a *KeyError.
func KeysFrom(messages []*linepacev1.PublicKey) (Keys, error) {
	k := Keys{byID: make(map[string]ed25519.PublicKey, len(messages))}
	for i, m := range messages {
		key, err := readKey(i, m)
		if err != nil {
			return Keys{}, err
		}
		id := KeyID(key)
		if _, twice := k.byID[id]; twice {
			return Keys{}, &KeyError{i, "x", "is that of an earlier key; give each once"}
		}
		k.byID[id] = key
	}
	return k, nil
}

func readKey(i int, m *linepacev1.PublicKey) (ed25519.PublicKey, error) {
	if m.GetKty() != keyType {
		return nil, &KeyError{i, "kty", fmt.Sprintf("is %q; it must be %s", m.GetKty(), keyType)}
	}
	if m.GetCrv() != curve {
		return nil, &KeyError{i, "crv", fmt.Sprintf("is %q; it must be %s", m.GetCrv(), curve)}
	}
	x, ok := decode64(m.GetX())
	if !ok || len(x) != ed25519.PublicKeySize {
		return nil, &KeyError{i, "x", "is not 32 bytes in base64url without padding, which are 43 characters"}
	}
	if id := KeyID(x); m.GetKid() != "" && m.GetKid() != id {
		return nil, &KeyError{i, "kid", fmt.Sprintf("is %q; the thumbprint of this key is %s", m.GetKid(), id)}
	}
	return x, nil
}

// Messages returns the keys in the order of their ids.
func (k Keys) Messages() []*linepacev1.PublicKey {
	out := make([]*linepacev1.PublicKey, 0, len(k.byID))
	for _, key := range k.byID {
		out = append(out, PublicKey(key))
	}
	slices.SortFunc(out, func(a, b *linepacev1.PublicKey) int { return strings.Compare(a.Kid, b.Kid) })
	return out
}

// Len returns how many keys there are.
func (k Keys) Len() int { return len(k.byID) }

// PublicKey returns a key, of 32 bytes, as it is published.
func PublicKey(key ed25519.PublicKey) *linepacev1.PublicKey {
	return &linepacev1.PublicKey{Kty: keyType, Crv: curve, X: encode64(key), Kid: KeyID(key)}
}

// KeyID returns the thumbprint of a key of 32 bytes after RFC 7638: the SHA-256 of
// its required members in their order, in base64url without padding.
func KeyID(key ed25519.PublicKey) string {
	sum := sha256.Sum256([]byte(`{"crv":"` + curve + `","kty":"` + keyType + `","x":"` + encode64(key) + `"}`))
	return encode64(sum[:])
}

func encode64(data []byte) string { return base64.RawURLEncoding.EncodeToString(data) }

// decode64 reads base64url without padding of which there is one spelling: no line
// breaks, which the library passes over, and no bits left at the end.
func decode64(text string) ([]byte, bool) {
	data, err := base64.RawURLEncoding.Strict().DecodeString(text)
	return data, err == nil && base64.RawURLEncoding.EncodedLen(len(data)) == len(text)
}
