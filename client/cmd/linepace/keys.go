package main

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/mod/sumdb/note"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
	"linepace.example/proto/record/keyfile"
	"linepace.example/server"
)

func newKeygen() *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:   "keygen FILE",
		Short: "Make a key to sign with, and print its public half",
		Long: `Make an Ed25519 key to sign with, and print its public half.

The private key goes to FILE (PEM, PKCS #8, mode 0600), which must not be there
yet. The public key is printed as a JSON Web Key Set: keep it where an auditor
trusts it, and give it to verify, show and audit. With --json the set stands in an
object, in the field jwks, beside the key's id and the file of the private key.

` + exitHelp,
		Example: `  linepace keygen line-2-log.pem > line-2-log.keys.json`,
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return keygen(args[0], asJSON, c.OutOrStdout())
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print also the key's id and where the private key is, as JSON")
	return c
}

func keygen(path string, asJSON bool, stdout io.Writer) error {
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return err
	}
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return err
	}
	if err := writeNew(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600); err != nil {
		return err
	}
	var set bytes.Buffer
	if err := printJSON(&set, &linepacev1.KeysResponse{Keys: []*linepacev1.PublicKey{record.PublicKey(public)}}); err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(stdout).Encode(keyJSON{path, record.KeyID(public), set.Bytes()})
	}
	_, err = stdout.Write(set.Bytes())
	return err
}

// keyJSON is a new key as JSON.
type keyJSON struct {
	File  string          `json:"file"` // of the private key
	KeyID string          `json:"keyId"`
	JWKS  json.RawMessage `json:"jwks"`
}

// readSigner returns a signer of records that names this program as the build, or
// nil where no file is named.
func readSigner(path string) (*record.Signer, error) {
	if path == "" {
		return nil, nil
	}
	key, err := keyfile.Read(path)
	if err != nil {
		return nil, err
	}
	build := "linepace"
	if info, ok := debug.ReadBuildInfo(); ok {
		build += " " + info.Main.Version
	}
	return record.NewSigner(key, build)
}

// readKeys reads pinned keys, or returns nil where no file is named: then no
// signature can be judged.
func readKeys(path string) (*record.Keys, error) {
	if path == "" {
		return nil, nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	keys, err := record.ParseKeys(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if keys.Len() == 0 {
		return nil, fmt.Errorf("%s holds no key", path)
	}
	return &keys, nil
}

// noteSigner returns what signs the checkpoints of a log, whose origin is its name.
func noteSigner(origin string, key ed25519.PrivateKey) (note.Signer, error) {
	public, err := note.NewEd25519VerifierKey(origin, key.Public().(ed25519.PublicKey))
	if err != nil {
		return nil, err
	}
	parts := strings.Split(public, "+") // name, hash, key
	if len(parts) < 2 {
		return nil, errors.New("the log's origin names no key")
	}
	const ed25519Key = 1 // after C2SP's signed-note
	seed := append([]byte{ed25519Key}, key.Seed()...)
	return note.NewSigner("PRIVATE+KEY+" + origin + "+" + parts[1] + "+" + base64.StdEncoding.EncodeToString(seed))
}

// noteVerifier returns what verifies the checkpoints of a log by its key, the only
// one in a file.
func noteVerifier(origin, path string) (note.Verifier, error) {
	keys, err := readKeys(path)
	if err != nil {
		return nil, err
	}
	if keys.Len() != 1 {
		return nil, fmt.Errorf("%s holds %d keys; it must hold the one that signs the log's checkpoints", path, keys.Len())
	}
	public, err := base64.RawURLEncoding.DecodeString(keys.Messages()[0].GetX())
	if err != nil {
		return nil, err
	}
	text, err := note.NewEd25519VerifierKey(origin, public)
	if err != nil {
		return nil, err
	}
	return note.NewVerifier(text)
}

// readStateKey returns the key for states in a file, or nil where none is named.
func readStateKey(path string) (*server.StateKey, error) {
	if path == "" {
		return nil, nil
	}
	secret, err := keyfile.ReadSecret(path)
	if err != nil {
		return nil, fmt.Errorf("--state-key: %w", err)
	}
	return server.NewStateKey(secret)
}
