package record

import (
	"crypto"
	"crypto/ed25519"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-jose/go-jose/v4"
	"github.com/stretchr/testify/require"

	linepacev1 "linepace.example/proto/linepace/v1"
)

var vectors = filepath.Join("..", "..", "testdata", "records")

func readVectors(t testing.TB, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(vectors, name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, into))
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(text)
	require.NoError(t, err)
	return data
}

type ed25519Vectors struct {
	Valid []struct{ ID, Seed, Public, Message, Signature string }
	Must  []struct{ ID, Public, Message, Signature, Comment string } `json:"must_reject"`
}

// test1 is the key of TEST 1 of RFC 8032 section 7.1, whose private part is
// published there.
func test1(t testing.TB) ed25519.PrivateKey {
	t.Helper()
	var v ed25519Vectors
	readVectors(t, "ed25519.json", &v)
	require.Equal(t, "RFC8032-TEST1", v.Valid[0].ID)
	return ed25519.NewKeyFromSeed(unhex(t, v.Valid[0].Seed))
}

func signer(t testing.TB, build string) *Signer {
	t.Helper()
	s, err := NewSigner(test1(t), build)
	require.NoError(t, err)
	return s
}

func trusting(t testing.TB, keys ...ed25519.PublicKey) Keys {
	t.Helper()
	k, err := NewKeys(keys...)
	require.NoError(t, err)
	return k
}

// SHA-256: NIST CAVP and the examples of FIPS 180; sources in the file.
func TestDigestVectors(t *testing.T) {
	var v struct {
		Vectors []struct {
			Msg, ASCII string
			Repeat     []any `json:"ascii_repeat"`
			MD         string
		}
	}
	readVectors(t, "sha256.json", &v)
	require.Len(t, v.Vectors, 13)
	for _, c := range v.Vectors {
		data := unhex(t, c.Msg)
		if c.ASCII != "" {
			data = []byte(c.ASCII)
		}
		if c.Repeat != nil {
			data = []byte(strings.Repeat(c.Repeat[0].(string), int(c.Repeat[1].(float64))))
		}
		require.Equal(t, c.MD, Digest(data))
	}
}

// Ed25519: RFC 8032 section 7.1, the published sign.input, and the signatures of
// Wycheproof that must be rejected; sources in the file. It is the library that
// signs and judges here.
func TestEd25519Vectors(t *testing.T) {
	var v ed25519Vectors
	readVectors(t, "ed25519.json", &v)
	require.GreaterOrEqual(t, len(v.Valid), 6)
	require.GreaterOrEqual(t, len(v.Must), 20)
	for _, c := range v.Valid {
		key := ed25519.NewKeyFromSeed(unhex(t, c.Seed))
		require.Equal(t, c.Public, hex.EncodeToString(key.Public().(ed25519.PublicKey)), c.ID)
		require.Equal(t, c.Signature, hex.EncodeToString(ed25519.Sign(key, unhex(t, c.Message))), c.ID)
		require.True(t, ed25519.Verify(unhex(t, c.Public), unhex(t, c.Message), unhex(t, c.Signature)), c.ID)
	}
	header := encode64([]byte(headerText(algorithm, "", KeyID(unhex(t, v.Must[0].Public)))))
	for _, c := range v.Must {
		signature := unhex(t, c.Signature)
		if len(signature) != ed25519.SignatureSize { // the library panics at none, but its length is judged before
			_, _, _, err := splitJWS(header + ".." + encode64(signature))
			require.ErrorContains(t, err, "not 64 bytes", c.ID)
			continue
		}
		require.False(t, ed25519.Verify(unhex(t, c.Public), unhex(t, c.Message), signature), "%s: %s", c.ID, c.Comment)
	}
}

// RFC 8037 appendix A.3 (thumbprint) and A.4 (JWS), from memory; the key is that
// of RFC 8032 TEST 1, which the file has, and go-jose agrees below.
func TestRFC8037(t *testing.T) {
	key := test1(t)
	public := key.Public().(ed25519.PublicKey)
	require.Equal(t, "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo", PublicKey(public).X)
	require.Equal(t, "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k", KeyID(public))

	input := appendSigningInput(nil, "eyJhbGciOiJFZERTQSJ9", []byte("Example of Ed25519 signing"))
	require.Equal(t, "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc", string(input))
	require.Equal(t, "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg",
		encode64(ed25519.Sign(key, input)))
}

// go-jose verifies what we sign, and we what it signs.
func TestInteroperability(t *testing.T) {
	payload := []byte(`{"formulas":["ratio/1"],"kind":"linepace.plan"}`)
	key := test1(t)
	public := key.Public().(ed25519.PublicKey)
	id := KeyID(public)

	thumbprint, err := (&jose.JSONWebKey{Key: public}).Thumbprint(crypto.SHA256)
	require.NoError(t, err)
	require.Equal(t, encode64(thumbprint), id)

	ours := signer(t, "linepace-server v1.0.0").Sign(payload)
	theirs, err := jose.ParseDetached(ours, payload, []jose.SignatureAlgorithm{jose.EdDSA})
	require.NoError(t, err)
	_, err = theirs.Verify(public)
	require.NoError(t, err)
	require.Equal(t, id, theirs.Signatures[0].Protected.KeyID)
	require.Equal(t, "linepace-server v1.0.0", theirs.Signatures[0].Protected.ExtraHeaders["build"])
	other, err := jose.ParseDetached(ours, append([]byte(" "), payload...), []jose.SignatureAlgorithm{jose.EdDSA})
	require.NoError(t, err)
	_, err = other.Verify(public)
	require.Error(t, err)

	for _, build := range []string{"", "linepace-server v1.0.0"} {
		options := (&jose.SignerOptions{}).WithHeader("kid", id)
		if build != "" {
			options = options.WithHeader("build", build)
		}
		sign, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.EdDSA, Key: key}, options)
		require.NoError(t, err)
		signed, err := sign.Sign(payload)
		require.NoError(t, err)
		text, err := signed.DetachedCompactSerialize()
		require.NoError(t, err)
		header, err := VerifySignature(trusting(t, public), payload, text)
		require.NoError(t, err, text)
		require.Equal(t, Header{Alg: "EdDSA", Build: build, KeyID: id}, header)
		require.Equal(t, signer(t, build).Sign(payload), text, "Ed25519 is deterministic")
	}
}

// A key set that go-jose writes is read, and the other way round.
func TestKeySetInteroperability(t *testing.T) {
	public := test1(t).Public().(ed25519.PublicKey)
	data, err := json.Marshal(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: public, KeyID: KeyID(public)}}})
	require.NoError(t, err)
	keys, err := ParseKeys(data)
	require.NoError(t, err)
	require.Equal(t, 1, keys.Len())

	var set jose.JSONWebKeySet
	data, err = json.Marshal(map[string][]*linepacev1.PublicKey{"keys": keys.Messages()})
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &set))
	require.Equal(t, public, set.Key(KeyID(public))[0].Key)
}
