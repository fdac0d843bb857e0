package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The README shows what the commands really print, and Go that compiles.

func readme(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../../../README.md")
	require.NoError(t, err)
	return string(text)
}

// blocks returns the fenced blocks of a language.
func blocks(t *testing.T, language string) []string {
	t.Helper()
	var out []string
	for _, part := range strings.Split(readme(t), "```"+language+"\n")[1:] {
		block, _, found := strings.Cut(part, "```")
		require.True(t, found)
		out = append(out, block)
	}
	return out
}

func TestReadmeShowsRealSheets(t *testing.T) {
	const demo = "../../../testdata/rooftile/"
	sheets := blocks(t, "text")
	require.Len(t, sheets, 2)
	for i, args := range [][]string{
		{"plan", "--line", demo + "line.yaml", "--product", demo + "product-b.yaml", "--running", demo + "product-a.yaml"},
		{"plan", "--line", demo + "line.yaml", "--product", demo + "product-too-fast.yaml"},
	} {
		var stdout, stderr bytes.Buffer
		run(context.Background(), args, strings.NewReader(""), &stdout, &stderr)
		for _, piece := range strings.Split(sheets[i], "\n...\n") {
			require.Contains(t, stdout.String(), strings.TrimSpace(piece))
		}
	}
}

func TestReadmeShowsCompiledGo(t *testing.T) {
	example, err := os.ReadFile("../../example_test.go")
	require.NoError(t, err)
	snippets := blocks(t, "go")
	require.Len(t, snippets, 1)
	require.Contains(t, string(example), snippets[0])
}

func TestReadmeListsEveryVerbAndExitCode(t *testing.T) {
	for _, c := range newRoot().Commands() {
		require.Regexp(t, "(?m)^\\| `"+c.Name()+"[ `]", readme(t))
	}
	help := strings.ReplaceAll(exitHelp, "\n     ", " ")
	for _, line := range strings.Split(help, "\n")[1:] {
		code, means, found := strings.Cut(strings.TrimSpace(line), "  ")
		require.True(t, found)
		require.Contains(t, readme(t), "| "+code+" | "+means+" |\n")
	}
}
