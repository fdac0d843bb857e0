package keyfile

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestRead(t *testing.T) {
	want := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	der, err := x509.MarshalPKCS8PrivateKey(want)
	require.NoError(t, err)
	text := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})
	path := filepath.Join(t.TempDir(), "key.pem")
	require.NoError(t, os.WriteFile(path, text, 0o600))
	got, err := Read(path)
	require.NoError(t, err)
	require.Equal(t, want, got)

	for _, mode := range []os.FileMode{0o640, 0o604, 0o620, 0o666} {
		require.NoError(t, os.Chmod(path, mode))
		_, err = Read(path)
		var exposed *ExposedError
		require.ErrorAs(t, err, &exposed)
		require.Equal(t, mode, exposed.Mode)
	}
	require.NoError(t, os.Chmod(path, 0o600))
	for name, text := range map[string]string{"no key": "hello", "too long": strings.Repeat("x", maxBytes+1)} {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		_, err = Read(path)
		require.ErrorContains(t, err, path, name)
	}
	_, err = Read(t.TempDir())
	require.ErrorContains(t, err, "regular file")
	_, err = Read(filepath.Join(t.TempDir(), "absent"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestReadSecret(t *testing.T) {
	path := filepath.Join(t.TempDir(), "state.key")
	write := func(text string, mode os.FileMode) {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		require.NoError(t, os.Chmod(path, mode))
	}
	write(" 00 01\n"+strings.Repeat("fF", 30)+"\n", 0o600)
	got, err := ReadSecret(path)
	require.NoError(t, err)
	require.Equal(t, append([]byte{0, 1}, []byte(strings.Repeat("\xff", 30))...), got)

	for name, text := range map[string]string{"no hexadecimal digits": strings.Repeat("xy", 32), "half a byte": strings.Repeat("0", 65), "too short": strings.Repeat("00", 31), "empty": ""} {
		write(text, 0o600)
		_, err = ReadSecret(path)
		require.ErrorContains(t, err, path, name)
	}
	write(strings.Repeat("00", 32), 0o640)
	_, err = ReadSecret(path)
	var exposed *ExposedError
	require.ErrorAs(t, err, &exposed)
}
