package record

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strings"
)

// The two names of the one algorithm: that of RFC 8037, which is written, and that
// of RFC 9864, which is taken too.
const (
	algorithm      = "EdDSA"
	algorithmNewer = "Ed25519"
)

// Bounds of a signature's parts. maxBuild keeps a header well below maxJWS.
const (
	maxBuild = 256
	maxJWS   = 4096
)

// Signer signs payloads with one key.
type Signer struct {
	key    ed25519.PrivateKey
	header string // in base64url
}

// NewSigner returns a signer that tells build, the version of the program that
// signs, in each signature: at most 256 printable characters of ASCII, without
// quotation mark and backslash.
func NewSigner(key ed25519.PrivateKey, build string) (*Signer, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, fmt.Errorf("proto/record: a private key of %d bytes; an Ed25519 key has %d", len(key), ed25519.PrivateKeySize)
	}
	if !plainText(build, maxBuild) {
		return nil, fmt.Errorf("proto/record: build %.300q; it has at most %d printable characters of ASCII, no quotation mark and no backslash", build, maxBuild)
	}
	public := key.Public().(ed25519.PublicKey)
	header := headerText(algorithm, build, KeyID(public))
	return &Signer{key: key, header: encode64([]byte(header))}, nil
}

// Public returns the key that verifies what s signs.
func (s *Signer) Public() ed25519.PublicKey { return s.key.Public().(ed25519.PublicKey) }

// Sign returns the detached JWS over a payload (RFC 7515 appendix F):
//
//	base64url(header) ".." base64url(Ed25519(base64url(header) "." base64url(payload)))
func (s *Signer) Sign(payload []byte) string {
	buffer := buffers.Get().(*[]byte)
	defer buffers.Put(buffer)
	*buffer = appendSigningInput((*buffer)[:0], s.header, payload)
	signature := ed25519.Sign(s.key, *buffer)
	return s.header + ".." + encode64(signature)
}

func appendSigningInput(dst []byte, header string, payload []byte) []byte {
	dst = append(append(dst, header...), '.')
	return base64.RawURLEncoding.AppendEncode(dst, payload)
}

// headerText writes a protected header in its canonical form (RFC 8785). The
// values hold nothing that JSON escapes. An empty build is left out.
func headerText(alg, build, kid string) string {
	if build != "" {
		build = `,"build":"` + build + `"`
	}
	return `{"alg":"` + alg + `"` + build + `,"kid":"` + kid + `"}`
}

func plainText(s string, most int) bool {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			return false
		}
	}
	return len(s) <= most
}

// Header is what the protected header of a signature says. Believe it only where
// [VerifySignature] returned no error.
type Header struct {
	Alg   string `json:"alg"`
	Build string `json:"build"`
	KeyID string `json:"kid"`
}

// MalformedJWSError says that a text is no signature of this format.
type MalformedJWSError struct{ Text string }

func (e *MalformedJWSError) Error() string { return "the signature is malformed: " + e.Text }

// UnknownKeyError says that a signature names a key that is not trusted.
type UnknownKeyError struct{ KeyID string }

func (e *UnknownKeyError) Error() string {
	return fmt.Sprintf("the signature is by the key %s, which is not among the trusted keys", e.KeyID)
}

// BadSignatureError says that a signature does not belong to the payload, though
// its key is trusted: one of the two was changed.
type BadSignatureError struct{ KeyID string }

func (e *BadSignatureError) Error() string {
	return fmt.Sprintf("the signature by the key %s does not belong to these bytes: they or it were changed", e.KeyID)
}

// VerifySignature judges whether a payload was signed by one of the keys. It does
// not read the payload. The error is a *MalformedJWSError, a *UnknownKeyError or a
// *BadSignatureError; with the latter two the header is what the text says.
func VerifySignature(keys Keys, payload []byte, jws string) (Header, error) {
	// Steps 3 to 5 of FORMAT.md.
	encoded, header, signature, err := splitJWS(jws)
	if err != nil {
		return Header{}, err
	}
	key, trusted := keys.byID[header.KeyID]
	if !trusted {
		return header, &UnknownKeyError{header.KeyID}
	}
	buffer := buffers.Get().(*[]byte)
	defer buffers.Put(buffer)
	*buffer = appendSigningInput((*buffer)[:0], encoded, payload)
	if !ed25519.Verify(key, *buffer, signature) {
		return header, &BadSignatureError{header.KeyID}
	}
	return header, nil
}

// splitJWS takes a detached JWS apart, of which there is one spelling.
func splitJWS(jws string) (encoded string, header Header, signature []byte, err error) {
	malformed := func(format string, args ...any) (string, Header, []byte, error) {
		return "", Header{}, nil, &MalformedJWSError{fmt.Sprintf(format, args...)}
	}
	if len(jws) > maxJWS {
		return malformed("it has %d characters; at most %d are taken", len(jws), maxJWS)
	}
	parts := strings.Split(jws, ".")
	if len(parts) != 3 {
		return malformed("it has %d parts; a detached JWS has a header, nothing, and a signature, divided by dots", len(parts))
	}
	if parts[1] != "" {
		return malformed("it holds a payload; the signature of a record is detached from it")
	}
	text, ok := decode64(parts[0])
	if !ok {
		return malformed("its header is not base64url without padding, line breaks and spare bits")
	}
	if header, err = readHeader(text); err != nil {
		return "", Header{}, nil, err
	}
	signature, ok = decode64(parts[2])
	if !ok || len(signature) != ed25519.SignatureSize {
		return malformed("its signature is not 64 bytes in base64url without padding, line breaks and spare bits")
	}
	return parts[0], header, signature, nil
}

// readHeader reads a protected header, and takes only what headerText writes: then
// nothing in it can say anything more, such as crit or b64 of RFC 7797.
func readHeader(text []byte) (Header, error) {
	if h, ok := splitHeader(string(text)); ok {
		return h, nil
	}
	malformed := func(format string, args ...any) (Header, error) {
		return Header{}, &MalformedJWSError{fmt.Sprintf(format, args...)}
	}
	var members map[string]json.RawMessage
	if err := json.Unmarshal(text, &members); err != nil {
		return malformed("its header is no JSON object")
	}
	for name := range members {
		if name != "alg" && name != "build" && name != "kid" {
			return malformed("its header has %.40q; only alg, build and kid are taken", name)
		}
	}
	var h Header
	if err := json.Unmarshal(text, &h); err != nil {
		return malformed("alg, build or kid of its header is no text")
	}
	switch {
	case h.Alg != algorithm && h.Alg != algorithmNewer:
		return malformed("its alg is %.40q; %s and %s are taken", h.Alg, algorithm, algorithmNewer)
	case !plainText(h.Build, maxBuild):
		return malformed("its build is longer than %d characters, or holds others than printable ones of ASCII", maxBuild)
	}
	if !isKeyID(h.KeyID) {
		return malformed("its kid is no thumbprint of a key, which has 43 characters of base64url")
	}
	if headerText(h.Alg, h.Build, h.KeyID) != string(text) {
		return malformed("its header is not in canonical form: alg, build, kid once each and in this order, without white space")
	}
	return h, nil
}

// splitHeader takes a header apart that is as headerText writes it, and reports false
// of any other, for reading as JSON to tell what is wrong with it.
func splitHeader(text string) (h Header, ok bool) {
	rest, _ := strings.CutPrefix(text, `{"alg":"`)
	h.Alg, rest, _ = strings.Cut(rest, `"`)
	if after, found := strings.CutPrefix(rest, `,"build":"`); found {
		h.Build, rest, _ = strings.Cut(after, `"`)
	}
	rest, _ = strings.CutPrefix(rest, `,"kid":"`)
	h.KeyID, _, _ = strings.Cut(rest, `"`)
	ok = (h.Alg == algorithm || h.Alg == algorithmNewer) && plainText(h.Build, maxBuild) && isKeyID(h.KeyID) &&
		headerText(h.Alg, h.Build, h.KeyID) == text
	return h, ok
}

// isKeyID reports whether a text is a thumbprint such as KeyID returns.
func isKeyID(text string) bool {
	id, ok := decode64(text)
	return ok && len(id) == 32
}
