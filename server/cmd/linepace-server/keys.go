package main

import (
	"fmt"

	"linepace.example/gateway/daemon"
	"linepace.example/proto/record"
	"linepace.example/proto/record/keyfile"
	"linepace.example/server"
)

// newSigner returns a signer by the key in a file, or nil where none is named.
func newSigner(path string) (*record.Signer, error) {
	if path == "" {
		return nil, nil
	}
	key, err := keyfile.Read(path)
	if err != nil {
		return nil, fmt.Errorf("--signing-key: %w", err)
	}
	return record.NewSigner(key, "linepace-server "+daemon.Version())
}

// newStateKey returns the key for states in a file, or nil where none is named.
func newStateKey(path string) (*server.StateKey, error) {
	if path == "" {
		return nil, nil
	}
	secret, err := keyfile.ReadSecret(path)
	if err != nil {
		return nil, fmt.Errorf("--state-key: %w", err)
	}
	return server.NewStateKey(secret)
}
