package record

import (
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

var samplePayload = []byte(`{"kind":"linepace.plan","plan":{},"request":{},"version":1}`)

func TestSignAndVerify(t *testing.T) {
	s := signer(t, "linepace-server v1.2.3")
	jws := s.Sign(samplePayload)
	require.Equal(t, jws, s.Sign(samplePayload))
	header, err := VerifySignature(trusting(t, s.Public()), samplePayload, jws)
	require.NoError(t, err)
	require.Equal(t, Header{Alg: "EdDSA", Build: "linepace-server v1.2.3", KeyID: KeyID(s.Public())}, header)
	text, ok := decode64(jws[:strings.Index(jws, "..")])
	require.True(t, ok)
	require.Equal(t, `{"alg":"EdDSA","build":"linepace-server v1.2.3","kid":"kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"}`, string(text))
}

// No single character of a signature, and no bit of a payload, can be changed.
func TestEveryChangeIsSeen(t *testing.T) {
	s := signer(t, "b")
	keys, jws := trusting(t, s.Public()), s.Sign(samplePayload)
	for i := range jws {
		for _, c := range []byte("A_z9.=+\n ") {
			if jws[i] == c {
				continue
			}
			changed := jws[:i] + string(c) + jws[i+1:]
			_, err := VerifySignature(keys, samplePayload, changed)
			require.Error(t, err, changed)
		}
		_, err := VerifySignature(keys, samplePayload, jws[:i])
		require.Error(t, err)
	}
	for i := range samplePayload {
		for bit := range 8 {
			changed := append([]byte(nil), samplePayload...)
			changed[i] ^= 1 << bit
			_, err := VerifySignature(keys, changed, jws)
			require.ErrorAs(t, err, new(*BadSignatureError))
		}
	}
	for _, changed := range [][]byte{nil, samplePayload[1:], append([]byte(nil), append(samplePayload, '\n')...)} {
		_, err := VerifySignature(keys, changed, jws)
		require.ErrorAs(t, err, new(*BadSignatureError))
	}
}

func TestUnknownKey(t *testing.T) {
	s := signer(t, "b")
	_, other, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	for _, keys := range []Keys{{}, trusting(t, other.Public().(ed25519.PublicKey))} {
		header, err := VerifySignature(keys, samplePayload, s.Sign(samplePayload))
		var unknown *UnknownKeyError
		require.ErrorAs(t, err, &unknown)
		require.Equal(t, KeyID(s.Public()), unknown.KeyID)
		require.Equal(t, "b", header.Build)
	}
	// A signature by another key under the name of a trusted one.
	forger, err := NewSigner(other, "b")
	require.NoError(t, err)
	forger.header = s.header
	_, err = VerifySignature(trusting(t, s.Public()), samplePayload, forger.Sign(samplePayload))
	require.ErrorAs(t, err, new(*BadSignatureError))
}

// Each header is signed rightly, so that only its form is at fault.
func TestHeaders(t *testing.T) {
	key := test1(t)
	public := key.Public().(ed25519.PublicKey)
	id := KeyID(public)
	sign := func(header string) string {
		encoded := encode64([]byte(header))
		return encoded + ".." + encode64(ed25519.Sign(key, appendSigningInput(nil, encoded, samplePayload)))
	}
	verify := func(jws string) error {
		_, err := VerifySignature(trusting(t, public), samplePayload, jws)
		return err
	}
	for _, header := range []string{
		`{"alg":"EdDSA","kid":"` + id + `"}`,
		`{"alg":"Ed25519","kid":"` + id + `"}`,
		`{"alg":"Ed25519","build":"x","kid":"` + id + `"}`,
		`{"alg":"EdDSA","build":"` + strings.Repeat("~", 256) + `","kid":"` + id + `"}`,
	} {
		require.NoError(t, verify(sign(header)), header)
	}
	cases := []struct{ header, text string }{
		{`{"alg":"none","kid":"` + id + `"}`, `"none"`},
		{`{"alg":"HS256","kid":"` + id + `"}`, `"HS256"`},
		{`{"alg":"ES256","kid":"` + id + `"}`, `"ES256"`},
		{`{"alg":"eddsa","kid":"` + id + `"}`, `"eddsa"`},
		{`{"kid":"` + id + `"}`, "alg"},
		{`{"alg":"EdDSA"}`, "kid"},
		{`{"alg":"EdDSA","kid":"key-1"}`, "kid"},
		{`{"alg":"EdDSA","kid":""}`, "kid"},
		{`{"alg":"EdDSA","b64":false,"crit":["b64"],"kid":"` + id + `"}`, "only alg, build and kid"},
		{`{"alg":"EdDSA","crit":["exp"],"exp":1,"kid":"` + id + `"}`, "only alg, build and kid"},
		{`{"alg":"EdDSA","crit":[],"kid":"` + id + `"}`, `"crit"`},
		{`{"alg":"EdDSA","b64":true,"kid":"` + id + `"}`, `"b64"`},
		{`{"alg":"EdDSA","jwk":{},"kid":"` + id + `"}`, `"jwk"`},
		{`{"alg":"EdDSA","kid":"` + id + `","typ":"JOSE"}`, `"typ"`},
		{`{"Alg":"EdDSA","kid":"` + id + `"}`, `"Alg"`},
		{`{"alg":"HS256","alg":"EdDSA","kid":"` + id + `"}`, "canonical"},
		{`{"kid":"` + id + `","alg":"EdDSA"}`, "canonical"},
		{`{"alg": "EdDSA","kid":"` + id + `"}`, "canonical"},
		{`{"alg":"EdDSA","kid":"` + id + `"} `, "canonical"},
		{`{"alg":"EdDS\u0041","kid":"` + id + `"}`, "canonical"},
		{`{"alg":"EdDSA","build":"","kid":"` + id + `"}`, "canonical"},
		{`{"alg":"EdDSA","build":null,"kid":"` + id + `"}`, "canonical"},
		{`{"alg":"EdDSA","build":"a\"b","kid":"` + id + `"}`, "build"},
		{`{"alg":"EdDSA","build":"é","kid":"` + id + `"}`, "build"},
		{`{"alg":"EdDSA","build":"` + strings.Repeat("x", 257) + `","kid":"` + id + `"}`, "build"},
		{`{"alg":1,"kid":"` + id + `"}`, "no text"},
		{`["EdDSA"]`, "no JSON object"},
		{`{"alg":"EdDSA","kid":"` + id + `"}{}`, "no JSON object"},
		{`null`, "alg"},
		{``, "no JSON object"},
	}
	for _, tc := range cases {
		err := verify(sign(tc.header))
		require.ErrorAs(t, err, new(*MalformedJWSError), tc.header)
		require.ErrorContains(t, err, tc.text, tc.header)
	}
}

func TestMalformedJWS(t *testing.T) {
	s := signer(t, "b")
	jws := s.Sign(samplePayload)
	header, signature, _ := strings.Cut(jws, "..")
	raw, ok := decode64(signature)
	require.True(t, ok)
	// 64 bytes have 86 characters, the last of which holds 4 spare bits.
	last := strings.IndexByte("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_", signature[85])
	spare := signature[:85] + string("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"[last|1])
	require.NotEqual(t, signature, spare)
	cases := []struct{ name, jws, text string }{
		{"nothing", "", "parts"},
		{"one part", header, "parts"},
		{"two parts", header + "." + signature, "parts"},
		{"four parts", jws + ".", "parts"},
		{"attached", header + "." + encode64(samplePayload) + "." + signature, "detached"},
		{"padded signature", jws + "==", "64 bytes"},
		{"padded header", header + "=.." + signature, "header"},
		{"spare bits", header + ".." + spare, "spare bits"},
		{"a line break", header + "..\n" + signature, "line breaks"},
		{"a line break at the end", jws + "\n", "line breaks"},
		{"the other alphabet", header + ".." + strings.Repeat("+", 86), "base64url"},
		{"short", header + ".." + encode64(raw[:63]), "64 bytes"},
		{"long", header + ".." + encode64(append(raw, 0)), "64 bytes"},
		{"no signature", header + "..", "64 bytes"},
		{"very long", strings.Repeat("a", 4097), "4096"},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			_, err := VerifySignature(trusting(t, s.Public()), samplePayload, tc.jws)
			require.ErrorAs(t, err, new(*MalformedJWSError))
			require.ErrorContains(t, err, tc.text)
		})
	}
}

func TestNewSignerRefuses(t *testing.T) {
	for _, build := range []string{"a\"b", "a\\b", "a\nb", "é", "\x7f", strings.Repeat("x", 257)} {
		_, err := NewSigner(test1(t), build)
		require.Error(t, err, build)
	}
	_, err := NewSigner(test1(t)[:63], "b")
	require.Error(t, err)
}

func TestKeys(t *testing.T) {
	public := test1(t).Public().(ed25519.PublicKey)
	good := func() *linepacev1.PublicKey { return PublicKey(public) }
	keys, err := KeysFrom([]*linepacev1.PublicKey{{Kty: "OKP", Crv: "Ed25519", X: good().X}})
	require.NoError(t, err, "a key without name")
	require.Equal(t, good().Kid, keys.Messages()[0].Kid)

	change := func(f func(k *linepacev1.PublicKey)) []*linepacev1.PublicKey {
		k := good()
		f(k)
		return []*linepacev1.PublicKey{k}
	}
	cases := []struct {
		keys  []*linepacev1.PublicKey
		index int
		field string
	}{
		{change(func(k *linepacev1.PublicKey) { k.Kty = "EC" }), 0, "kty"},
		{change(func(k *linepacev1.PublicKey) { k.Kty = "" }), 0, "kty"},
		{change(func(k *linepacev1.PublicKey) { k.Crv = "X25519" }), 0, "crv"},
		{change(func(k *linepacev1.PublicKey) { k.X = "" }), 0, "x"},
		{change(func(k *linepacev1.PublicKey) { k.X += "=" }), 0, "x"},
		{change(func(k *linepacev1.PublicKey) { k.X = k.X[:42] + "p" }), 0, "x"}, // spare bits
		{change(func(k *linepacev1.PublicKey) { k.X = encode64(make([]byte, 31)) }), 0, "x"},
		{change(func(k *linepacev1.PublicKey) { k.X = "\n" + k.X }), 0, "x"},
		{change(func(k *linepacev1.PublicKey) { k.Kid = "key-1" }), 0, "kid"},
		{[]*linepacev1.PublicKey{good(), nil}, 1, "kty"},
		{[]*linepacev1.PublicKey{good(), good()}, 1, "x"},
	}
	for _, tc := range cases {
		_, err := KeysFrom(tc.keys)
		var wrong *KeyError
		require.ErrorAs(t, err, &wrong)
		require.Equal(t, tc.index, wrong.Index, err)
		require.Equal(t, tc.field, wrong.Field, err)
	}
	_, err = NewKeys(public[:31])
	require.ErrorAs(t, err, new(*KeyError))
}

func TestParseKeys(t *testing.T) {
	public := PublicKey(test1(t).Public().(ed25519.PublicKey))
	key := `"kty":"OKP","crv":"Ed25519","x":"` + public.X + `","kid":"` + public.Kid + `"`
	keys, err := ParseKeys([]byte(`{"keys":[{` + key + `}]}`))
	require.NoError(t, err)
	require.Equal(t, 1, keys.Len())
	for _, jwks := range []string{
		``, `{}x`, `[{` + key + `}]`,
		`{"keys":[{` + key + `,"d":"nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"}]}`, // RFC 8037 appendix A.1, from memory
		`{"keys":[{` + key + `,"use":"enc"}]}`,
		`{"keys":[{` + key + `,"kty":"OKP"}]}`,
	} {
		_, err := ParseKeys([]byte(jwks))
		require.ErrorAs(t, err, new(codec.Errors), jwks)
	}
	empty, err := ParseKeys([]byte(`{"keys":[]}`))
	require.NoError(t, err)
	require.Zero(t, empty.Len())
}

func TestParseSigningKey(t *testing.T) {
	file := func(key any) []byte {
		der, err := x509.MarshalPKCS8PrivateKey(key)
		require.NoError(t, err)
		return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})
	}
	key := test1(t)
	good := file(key)
	got, err := ParseSigningKey(good)
	require.NoError(t, err)
	require.Equal(t, key, got)
	kept, err := os.ReadFile(filepath.Join(vectors, "rfc8032-test1.pem"))
	require.NoError(t, err)
	got, err = ParseSigningKey(kept)
	require.NoError(t, err)
	require.Equal(t, key, got)

	elliptical, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	large, err := rsa.GenerateKey(rand.Reader, 2048)
	require.NoError(t, err)
	cases := []struct {
		name string
		file []byte
		text string
	}{
		{"nothing", nil, "no PEM block"},
		{"another text", []byte("a key"), "no PEM block"},
		{"the bare key", key, "no PEM block"},
		{"two keys", append(append([]byte{}, good...), good...), "several PEM blocks"},
		{"text before", append([]byte("my key\n"), good...), "beside"},
		{"text after", append(append([]byte{}, good...), "my key"...), "beside"},
		{"a public key", pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: []byte{1}}), `"PUBLIC KEY"`},
		{"an encrypted key", pem.EncodeToMemory(&pem.Block{Type: "ENCRYPTED PRIVATE KEY", Bytes: []byte{1}}), "not encrypted"},
		{"no PKCS #8", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: key}), "PKCS #8"},
		{"elliptic curve", file(elliptical), "ecdsa"},
		{"RSA", file(large), "rsa"},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			_, err := ParseSigningKey(tc.file)
			require.ErrorAs(t, err, new(*SigningKeyError))
			require.ErrorContains(t, err, tc.text)
		})
	}
}
