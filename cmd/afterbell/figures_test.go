package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestFiguresAreWrittenInThreeForms(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "notebook")
	o := done(t, afterbell("analyze", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--json", "--figures", dir))
	require.True(t, strings.HasPrefix(o.stdout, "{"), "stdout is the report alone")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	forms := map[string][]string{}
	starts := map[string]string{".svg": "<svg ", ".png": "\x89PNG\r\n\x1a\n", ".pdf": "%PDF-"} // W3C, ISO/IEC 15948, ISO 32000
	for _, e := range entries {
		ending := filepath.Ext(e.Name())
		if e.Name() == captionsFile {
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		require.True(t, bytes.HasPrefix(data, []byte(starts[ending])), e.Name())
		forms[ending] = append(forms[ending], strings.TrimSuffix(e.Name(), ending))
	}
	require.Contains(t, forms[".svg"], "ribbon")
	require.Equal(t, forms[".svg"], forms[".png"])
	require.Equal(t, forms[".svg"], forms[".pdf"])

	captions, err := os.ReadFile(filepath.Join(dir, captionsFile))
	require.NoError(t, err)
	for _, name := range forms[".svg"] {
		assert.Contains(t, string(captions), "\n"+name+": ")
	}
	before := contents(t, dir)
	done(t, afterbell("analyze", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--figures", dir))
	for name, sum := range contents(t, dir) {
		if filepath.Ext(name) != ".pdf" { // a PDF holds the time it was made
			assert.Equal(t, before[name], sum, "%s differs the second time", name)
		}
	}
}

func TestFiguresGoIntoAFolder(t *testing.T) {
	file := written(t, "notebook", "mine")
	failed(t, afterbell("analyze", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--figures", file), exitUsage, "notebook is a file", "name a folder")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, "mine", string(data))
}
