package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// scratch writes a module with one package and returns its folder.
func scratch(t *testing.T, source string) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "go.mod"), []byte("module scratch.example\n\ngo 1.26.0\n"), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "sum.go"), []byte("package sum\n\n"+source), 0o644))
	return dir
}

func TestCheckFindsWhatTheCompilerFuses(t *testing.T) {
	sources := map[string]struct {
		source string
		fused  bool
	}{
		"sum of a product":            {"func F(x, y, z float64) float64 { return x*y + z }", true},
		"sum of a product, float32":   {"func F(x, y, z float32) float32 { return x*y + z }", true},
		"sum in a loop":               {"func F(x []float64, m float64) (s float64) {\n\tfor i := range x {\n\t\ts += (x[i] - m) * (x[i] - m)\n\t}\n\treturn s\n}", true},
		"rounded product":             {"func F(x, y, z float64) float64 { return float64(x*y) + z }", false},
		"rounded product in a loop":   {"func F(x []float64, m float64) (s float64) {\n\tfor i := range x {\n\t\ts += float64((x[i] - m) * (x[i] - m))\n\t}\n\treturn s\n}", false},
		"nothing to fuse, and a name": {"func FMADDD(x, y float64) float64 { return x * y }", false},
	}
	for name, c := range sources {
		dir := scratch(t, c.source)
		for _, target := range targets {
			t.Run(name+" "+strings.Join(target, " "), func(t *testing.T) {
				// Twice: the second run reads the listing from the build cache.
				for range 2 {
					packages, found, err := check(dir, "scratch.example/...", target)
					require.NoError(t, err)
					require.Equal(t, 1, packages)
					if !c.fused {
						require.Empty(t, found)
						continue
					}
					require.NotEmpty(t, found)
					require.Contains(t, found[0], "sum.go:")
				}
			})
		}
	}
}

func TestCheckRefusesToSeeNothing(t *testing.T) {
	for _, target := range targets {
		_, _, err := check(scratch(t, "func F() {}"), "scratch.example/none/...", target)
		require.ErrorContains(t, err, "no package matches")
		_, _, err = check(scratch(t, "const C = 1"), "scratch.example/...", target)
		require.ErrorContains(t, err, "no function")
		_, _, err = check(scratch(t, "func F() int { return 1.5 }"), "scratch.example/...", target)
		require.ErrorContains(t, err, "sum.go:3")
	}
}

// A difference or a negated sum has mnemonics of its own; which of them the
// compiler chooses where is its business, so they are read from a listing.
func TestScanKnowsEveryFusedMnemonic(t *testing.T) {
	for _, mnemonic := range []string{
		"FMADDD", "FMSUBD", "FNMADDD", "FNMSUBD", "FMADDS", "FMSUBS", "FNMADDS", "FNMSUBS",
		"VFMADD231SD", "VFMSUB231SD", "VFNMADD213SD", "VFNMSUB132SD", "VFMADD231SS", "VFMADD231PD",
	} {
		found, packages, functions := scan([]byte("# a\na.F STEXT size=16\n\t0x0000 00000 (/x/a.go:3)\t" + mnemonic + "\tF0, F2, F1, F0\n"))
		require.Equal(t, []string{"/x/a.go:3: " + mnemonic}, found)
		require.Equal(t, []string{"a"}, packages)
		require.Equal(t, 1, functions)
	}
	for _, mnemonic := range []string{"FADDD", "FMULD", "FNMULD", "MADD", "MSUB", "ADDSD", "MULSD", "VADDSD"} {
		found, _, _ := scan([]byte("\t0x0000 00000 (/x/a.go:3)\t" + mnemonic + "\tF0, F2, F1, F0\n"))
		require.Empty(t, found)
	}
}
