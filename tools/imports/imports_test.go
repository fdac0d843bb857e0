// Package imports holds the direction in which the packages of this module may
// import one another: the folders are the architecture.
//
//	core               the standard library and core
//	proto              proto
//	server             core, proto
//	gateway            proto, client/report
//	client             proto
//	client/report      proto, so that the gateway stays free of the rest of client
//	.../cmd/NAME       everything: commands, and their tests, wire the sides together
//	tools              tools
//
// A package may always import packages below its own side. The standard
// library and other modules are free, except in core, which must be a function
// of its arguments alone: no clock, files, network, random numbers or log.
// Tests hold to the same direction, but may use any other module.
package imports

import (
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "linepace.example"

// sides lists what each side may import besides itself; a longer path comes
// before a shorter one that contains it.
var sides = []struct {
	path string
	may  []string
}{
	{"core", nil},
	{"proto", nil},
	{"server", []string{"core", "proto"}},
	{"gateway", []string{"proto", "client/report"}},
	{"client/report", []string{"proto"}},
	{"client", []string{"proto", "client/report"}},
	{"tools", nil},
}

// impure lists the standard packages by which a calculation could depend on
// more than its arguments, or act on more than its result.
var impure = []string{"crypto", "log", "math/rand", "net", "os", "runtime", "syscall", "time"}

// forbidden says what is wrong with package from importing package to, or "".
func forbidden(from, to string, test bool) string {
	if command(from) != "" {
		return "" // also another command's internals: the go command refuses those itself
	}
	side := ""
	var may []string
	for _, s := range sides {
		if within(from, module+"/"+s.path) {
			side, may = s.path, s.may
			break
		}
	}
	if side == "" {
		return "the package belongs to no side: name it in the table"
	}
	if within(to, module) {
		return forbiddenOwn(to, side, may)
	}
	if side != "core" || test {
		return ""
	}
	if first, _, _ := strings.Cut(to, "/"); strings.Contains(first, ".") {
		return "core may import the standard library only"
	}
	if slices.ContainsFunc(impure, func(p string) bool { return within(to, p) }) {
		return "a result of core must depend on its arguments alone"
	}
	return ""
}

func forbiddenOwn(to, side string, may []string) string {
	if command(to) != "" {
		return "nothing may import a command"
	}
	for _, p := range append([]string{side}, may...) {
		if within(to, module+"/"+p) {
			return ""
		}
	}
	return fmt.Sprintf("%s may import only %s", side, strings.Join(append([]string{side}, may...), ", "))
}

// command returns the command that the package is or belongs to, or "".
func command(path string) string {
	before, after, ok := strings.Cut(path, "/cmd/")
	if !ok || !within(before, module) {
		return ""
	}
	name, _, _ := strings.Cut(after, "/")
	return before + "/cmd/" + name
}

// within tells whether path is root or lies below it.
func within(path, root string) bool {
	return path == root || strings.HasPrefix(path, root+"/")
}

func TestForbidden(t *testing.T) {
	cases := []struct {
		from, to string
		test     bool
		ok       bool
	}{
		{from: "core/ratio", to: "math", ok: true},
		{from: "core/ratio", to: "math/big", ok: true},
		{from: "core/ratio", to: "linepace.example/core/exact", ok: true},
		{from: "core/ratio", to: "time"},
		{from: "core/ratio", to: "os"},
		{from: "core/ratio", to: "net/http"},
		{from: "core/ratio", to: "math/rand"},
		{from: "core/ratio", to: "math/rand/v2"},
		{from: "core/ratio", to: "crypto/rand"},
		{from: "core/ratio", to: "log/slog"},
		{from: "core/ratio", to: "go.uber.org/zap"},
		{from: "core/ratio", to: "google.golang.org/protobuf/proto"},
		{from: "core/ratio", to: "linepace.example/proto/linepace/v1"},
		{from: "core/ratio", to: "linepace.example/server"},
		{from: "core/ratio", to: "os", test: true, ok: true},
		{from: "core/ratio", to: "github.com/stretchr/testify/require", test: true, ok: true},
		{from: "core/ratio", to: "linepace.example/server", test: true},

		{from: "proto/codec", to: "linepace.example/proto/linepace/v1", ok: true},
		{from: "proto/record", to: "crypto/ed25519", ok: true},
		{from: "proto/record", to: "linepace.example/core/units"},

		{from: "server", to: "linepace.example/core/ratio", ok: true},
		{from: "server/chain", to: "linepace.example/proto/codec", ok: true},
		{from: "server", to: "time", ok: true},
		{from: "server", to: "linepace.example/gateway"},
		{from: "server", to: "linepace.example/client"},
		{from: "server", to: "linepace.example/client/report"},
		{from: "server", to: "linepace.example/gateway", test: true},
		{from: "server", to: "linepace.example/server/cmd/linepace-server/internal/flags"},

		{from: "gateway", to: "linepace.example/proto/codec", ok: true},
		{from: "gateway/pages", to: "linepace.example/client/report", ok: true},
		{from: "gateway", to: "linepace.example/client"},
		{from: "gateway", to: "linepace.example/client/batchlog"},
		{from: "gateway", to: "linepace.example/server"},
		{from: "gateway", to: "linepace.example/core/units"},

		{from: "client", to: "linepace.example/proto/linepace/v1", ok: true},
		{from: "client/batchlog", to: "linepace.example/client", ok: true},
		{from: "client", to: "linepace.example/client/report", ok: true},
		{from: "client/report", to: "linepace.example/proto/linepace/v1", ok: true},
		{from: "client/report", to: "linepace.example/client/batchlog"},
		{from: "client", to: "linepace.example/core/units"},
		{from: "client", to: "linepace.example/server"},
		{from: "client", to: "linepace.example/gateway"},
		{from: "clientele", to: "fmt"},

		{from: "client/cmd/linepace", to: "linepace.example/server", ok: true},
		{from: "client/cmd/linepace", to: "linepace.example/gateway", test: true, ok: true},
		{from: "server/cmd/linepace-server", to: "linepace.example/gateway", ok: true},

		{from: "tools/fmacheck", to: "os/exec", ok: true},
		{from: "tools/fmacheck", to: "linepace.example/core/units"},
		{from: "elsewhere", to: "fmt"},
	}
	for _, c := range cases {
		why := forbidden(module+"/"+c.from, c.to, c.test)
		if c.ok {
			require.Empty(t, why, "%s -> %s, test %v", c.from, c.to, c.test)
		} else {
			require.NotEmpty(t, why, "%s -> %s, test %v", c.from, c.to, c.test)
		}
	}
}

func TestDirectionOfImports(t *testing.T) {
	imports := readImports(t, filepath.Join("..", ".."))
	require.True(t, slices.ContainsFunc(imports, func(i edge) bool { return within(i.from, module+"/core") }),
		"what has no core is not this module")
	for _, i := range imports {
		if why := forbidden(i.from, i.to, i.test); why != "" {
			t.Errorf("%s: %s imports %s: %s", i.file, i.from, i.to, why)
		}
	}
}

type edge struct {
	file, from, to string
	test           bool
}

// readImports returns the imports of every Go file in the module at root,
// whatever its build constraints. It reads the files itself, since a cached
// test result stays valid while the files that the test read are unchanged;
// of what another process reads, such as go list, the cache knows nothing.
func readImports(t *testing.T, root string) []edge {
	t.Helper()
	var edges []edge
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() {
			return skip(root, path)
		}
		if filepath.Ext(path) != ".go" {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		folder, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		from := strings.TrimSuffix(module+"/"+filepath.ToSlash(folder), "/.")
		for _, spec := range file.Imports {
			to, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			edges = append(edges, edge{path, from, to, strings.HasSuffix(path, "_test.go")})
		}
		return nil
	})
	require.NoError(t, err)
	return edges
}

// skip leaves out the folders that the go command leaves out of a module.
func skip(root, folder string) error {
	if folder == root {
		return nil
	}
	name := filepath.Base(folder)
	if name == "testdata" || name == "vendor" || strings.HasPrefix(name, ".") || strings.HasPrefix(name, "_") {
		return fs.SkipDir
	}
	if _, err := os.Stat(filepath.Join(folder, "go.mod")); err == nil {
		return fs.SkipDir
	}
	return nil
}

func TestReadImports(t *testing.T) {
	root := t.TempDir()
	for path, text := range map[string]string{
		"root.go":               "package root\n",
		"core/a/a.go":           "package a\nimport \"math\"\n",
		"core/a/a_test.go":      "package a_test\nimport x \"linepace.example/server\"\n",
		"core/a/testdata/no.go": "package no\nimport \"time\"\n",
		"other/go.mod":          "module other\n",
		"other/no.go":           "package no\nimport \"time\"\n",
	} {
		path = filepath.Join(root, filepath.FromSlash(path))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	a := filepath.Join(root, "core", "a")
	require.Equal(t, []edge{
		{filepath.Join(a, "a.go"), module + "/core/a", "math", false},
		{filepath.Join(a, "a_test.go"), module + "/core/a", module + "/server", true},
	}, readImports(t, root))
}
