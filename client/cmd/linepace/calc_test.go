package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the answers in testdata/calc anew")

// TestCalculations makes each request in testdata/calc, CALCULATION.WHAT.yaml, with
// its working, and holds the text against the file beside it.
func TestCalculations(t *testing.T) {
	requests, err := filepath.Glob("testdata/calc/*.yaml")
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, request := range requests {
		name, _, _ := strings.Cut(filepath.Base(request), ".")
		seen[name] = true
		t.Run(filepath.Base(request), func(t *testing.T) {
			var stdout, stderr bytes.Buffer
			args := []string{"calc", name, "--working", request}
			if name == "track" {
				key := filepath.Join(t.TempDir(), "state.key")
				require.NoError(t, os.WriteFile(key, []byte(strings.Repeat("5a", 32)+"\n"), 0o600))
				args = append(args, "--state-key", key)
			}
			code := run(context.Background(), args, strings.NewReader(""), &stdout, &stderr)
			require.LessOrEqual(t, code, exitNotGood, stderr.String())
			golden := strings.TrimSuffix(request, ".yaml") + ".txt"
			if *update {
				require.NoError(t, os.WriteFile(golden, stdout.Bytes(), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), stdout.String())
			requirePrintable(t, stdout.String())
		})
	}
	for _, k := range calculations {
		require.True(t, seen[k.name], "testdata/calc has no request of %s", k.name)
	}
}

// requirePrintable checks what a terminal and a printer need of every text.
func requirePrintable(t *testing.T, text string) {
	t.Helper()
	for line := range strings.Lines(text) {
		line = strings.TrimSuffix(line, "\n")
		require.LessOrEqual(t, len([]rune(line)), 100, "%q", line)
		for _, r := range line {
			require.True(t, unicode.IsPrint(r), "%q in %q", r, line)
		}
	}
}
