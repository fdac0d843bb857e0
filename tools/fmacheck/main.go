// Command fmacheck fails when the compiler fuses a multiplication with an
// addition in the packages that it is given.
//
// A fused x*y + z rounds once where the separate operations round twice, so
// its last bit depends on the processor, and a result recorded on one machine
// would not be reproduced on another. The Go specification lets a compiler
// fuse unless the product is rounded by a conversion: float64(x*y) + z. Only
// the compiled code tells whether every product in a package is.
//
//	go run ./tools/fmacheck linepace.example/core/...
package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
)

// targets are the builds in which the compiler fuses where it may: arm64
// always, amd64 from GOAMD64=v3 on.
var targets = [][]string{
	{"GOOS=linux", "GOARCH=arm64"},
	{"GOOS=linux", "GOARCH=amd64", "GOAMD64=v3"},
}

// instruction matches a line of the compiler's listing: position, mnemonic.
var instruction = regexp.MustCompile(`\(([^()]+:\d+)\)\s+([A-Z][A-Z0-9]*)\b`)

// fused matches the mnemonics of fused multiply-add on arm64 and amd64.
var fused = regexp.MustCompile(`^(FN?M(ADD|SUB)[DS]|VFN?M(ADD|SUB)\d{3}[SP][SD])$`)

// complaint matches what the go command prints beside a listing when it fails.
var complaint = regexp.MustCompile(`(?m)^(# |go: |\S+\.go:\d+:|package ).*$`)

func main() {
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

func run(patterns []string, stdout, stderr io.Writer) int {
	if len(patterns) != 1 {
		fmt.Fprintln(stderr, "usage: fmacheck PACKAGES")
		return 2
	}
	failed := false
	for _, target := range targets {
		packages, found, err := check(".", patterns[0], target)
		if err != nil {
			fmt.Fprintf(stderr, "fmacheck: error: %v: %v\n", target, err)
			return 1
		}
		for _, f := range found {
			fmt.Fprintln(stderr, f)
		}
		failed = failed || len(found) > 0
		fmt.Fprintf(stdout, "fmacheck: %v: %d packages, %d fused instructions\n", target, packages, len(found))
	}
	if failed {
		fmt.Fprintln(stderr, "fmacheck: hint: round the product before it is added: float64(x*y) + z")
		return 1
	}
	return 0
}

// check compiles the packages that pattern names in the module at dir for
// target and returns their number and the fused instructions in them. It is
// an error if the pattern names no package or a package left no listing: a
// check that saw nothing must not pass.
func check(dir, pattern string, target []string) (int, []string, error) {
	packages, err := list(dir, pattern, target)
	if err != nil {
		return 0, nil, err
	}
	// For packages that are already in the build cache the go command replays
	// what the compiler printed, listing included.
	listing, err := output(dir, target, "build", "-gcflags="+pattern+"=-S", pattern)
	if err != nil {
		return 0, nil, err
	}
	found, seen, functions := scan(listing)
	for _, p := range packages {
		if !slices.Contains(seen, p) {
			return 0, nil, fmt.Errorf("the compiler printed no listing of %s", p)
		}
	}
	if functions == 0 {
		return 0, nil, fmt.Errorf("no function in %s", pattern)
	}
	return len(packages), found, nil
}

func list(dir, pattern string, target []string) ([]string, error) {
	text, err := output(dir, target, "list", pattern)
	if err != nil {
		return nil, err
	}
	// The go command only warns when a pattern with "..." matches nothing.
	var packages []string
	for line := range strings.Lines(string(text)) {
		if !strings.HasPrefix(line, "go: ") {
			packages = append(packages, strings.TrimSpace(line))
		}
	}
	if len(packages) == 0 {
		return nil, fmt.Errorf("no package matches %s", pattern)
	}
	return packages, nil
}

// output runs the go command and returns what it printed; the listing comes on
// standard error.
func output(dir string, env []string, args ...string) ([]byte, error) {
	cmd := exec.Command("go", args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), env...)
	text, err := cmd.CombinedOutput()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			err = fmt.Errorf("%w\n%s", err, bytes.Join(complaint.FindAll(text, -1), []byte("\n")))
		}
		return nil, fmt.Errorf("%s: %w", strings.Join(cmd.Args, " "), err)
	}
	return text, nil
}

// scan reads a listing: the fused instructions in it as "file:line: mnemonic",
// the packages that it covers and the number of their functions.
func scan(listing []byte) (found, packages []string, functions int) {
	lines := bufio.NewScanner(bytes.NewReader(listing))
	lines.Buffer(nil, len(listing)+1)
	for lines.Scan() {
		line := lines.Text()
		if name, ok := strings.CutPrefix(line, "# "); ok {
			packages = append(packages, name)
			continue
		}
		if strings.Contains(line, " STEXT ") {
			functions++
			continue
		}
		m := instruction.FindStringSubmatch(line)
		if m != nil && fused.MatchString(m[2]) {
			found = append(found, m[1]+": "+m[2])
		}
	}
	return found, packages, functions
}
