package main

import (
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "github.com/afterbell/afterbell/"

// rule says what the code below a folder must not import, and why.
type rule struct {
	folder string
	never  []string
	why    string
}

// The data goes one way: robot, ingest, match files, analysis, sheet, viewer.
var rules = []rule{
	{"schemas", []string{module + "ingest", module + "analysis", module + "viewer", module + "cmd", module + "sample-logs"}, "the ground floor stands on nothing"},
	{"ingest", []string{module + "analysis", module + "viewer", module + "cmd", module + "sample-logs"}, "what takes samples in knows nothing of what is made of them"},
	{"analysis", []string{module + "ingest", module + "viewer", module + "cmd", module + "sample-logs"}, "an analysis is series in, facts out"},
	{"analysis", []string{"os", "io/fs", "net", "net/http", "log", "log/slog", "database/sql", "sync", "math/rand"}, "an analysis is pure: no files, no network, no log, no shared state, no chance"},
	{"viewer", []string{module + "ingest", module + "analysis", module + "cmd", module + "sample-logs"}, "pages show what a report says; what must be computed is handed in"},
	{"sample-logs", []string{module + "analysis", module + "viewer", module + "cmd"}, "truth must not come from the code it judges"},
	{"cmd/dev", []string{module + "viewer", module + "cmd/afterbell"}, "it must run on a clone before any page is built"},
}

// importsOf lists the imports of every Go file below a folder, tests left out: a test may
// look across.
func importsOf(t *testing.T, folder string) map[string][]string {
	t.Helper()
	root, err := projectRoot()
	require.NoError(t, err)
	out := map[string][]string{}
	err = filepath.WalkDir(filepath.Join(root, folder), func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && (e.Name() == "node_modules" || e.Name() == "testdata"):
			return filepath.SkipDir
		case !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		for _, i := range f.Imports {
			name, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			out[rel] = append(out[rel], name)
		}
		return nil
	})
	require.NoError(t, err)
	require.NotEmpty(t, out, "no Go files below %s", folder)
	return out
}

// broken lists the imports that break a rule.
func broken(r rule, imports map[string][]string) []string {
	var out []string
	for file, names := range imports {
		for _, name := range names {
			for _, never := range r.never {
				if name == never || strings.HasPrefix(name, never+"/") && strings.HasPrefix(never, module) {
					out = append(out, fmt.Sprintf("%s imports %s: %s", file, name, r.why))
				}
			}
		}
	}
	return out
}

func TestImportsGoOneWay(t *testing.T) {
	for _, r := range rules {
		assert.Empty(t, broken(r, importsOf(t, r.folder)), r.folder)
	}
}

func TestARuleSeesABreach(t *testing.T) {
	got := broken(rules[2], map[string][]string{"analysis/x.go": {"math", module + "viewer/sheet"}})
	require.Len(t, got, 1)
	assert.Contains(t, got[0], "analysis/x.go imports "+module+"viewer/sheet")
	assert.NotEmpty(t, broken(rules[3], map[string][]string{"analysis/x.go": {"os"}}))
	assert.Empty(t, broken(rules[3], map[string][]string{"analysis/x.go": {"math/rand/v2"}}), "a seeded generator is no chance")
}

// The top level of the project is fixed, so that everybody finds the same rooms.
func TestTopLevel(t *testing.T) {
	root, err := projectRoot()
	require.NoError(t, err)
	out, err := (&dev{ctx: t.Context(), root: root}).command(".", nil, "git", "ls-files").Output()
	require.NoError(t, err)
	allowed := map[string]bool{
		"cmd": true, "ingest": true, "analysis": true, "viewer": true, "schemas": true, "sample-logs": true,
		"go.mod": true, "go.sum": true, "README.md": true, "DEVELOPERS.md": true, "LICENSE": true,
	}
	for _, name := range strings.Fields(string(out)) {
		top, _, _ := strings.Cut(name, "/")
		assert.True(t, allowed[top] || strings.HasPrefix(top, "."), "%s does not belong at the top level", top)
	}
}

func TestDeadLinksAreSeen(t *testing.T) {
	root := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(root, "a.md"), []byte("# One Thing, Two\n"), 0o600))
	d := &dev{ctx: t.Context(), root: root}
	for link, want := range map[string]string{
		"a.md": "", "a.md#one-thing-two": "", "#one-thing-two": "", "https://example.org/x": "",
		"b.md": "no such file", "a.md#three": "no such heading",
	} {
		assert.Equal(t, want, d.deadLink("a.md", link), link)
	}
}
