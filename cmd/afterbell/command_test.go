package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/rollup"
)

// outcome is what a command left behind.
type outcome struct {
	code           int
	stdout, stderr string
}

// afterbell runs one command in this process.
func afterbell(args ...string) outcome {
	return afterbellIn(context.Background(), args...)
}

func afterbellIn(ctx context.Context, args ...string) outcome {
	var out, talk bytes.Buffer
	code := run(ctx, args, strings.NewReader(""), &out, &talk)
	return outcome{code, out.String(), talk.String()}
}

// done requires that a command did its work.
func done(t testing.TB, o outcome) outcome {
	t.Helper()
	require.Equal(t, exitDone, o.code, o.stderr)
	return o
}

// failed checks that a command failed as it should: with that status, nothing on stdout,
// and a first line on stderr that holds all the parts, with a few lines of excerpt behind
// it at most.
func failed(t testing.TB, o outcome, code int, parts ...string) {
	t.Helper()
	assert.Equal(t, code, o.code, o.stderr)
	assert.Empty(t, o.stdout)
	lines := strings.Split(strings.TrimRight(o.stderr, "\n"), "\n")
	first := lines[0]
	assert.True(t, strings.HasPrefix(first, "afterbell: "), o.stderr)
	for _, p := range parts {
		assert.Contains(t, first, p)
	}
	assert.LessOrEqual(t, len(lines), 5, o.stderr)
	for _, trace := range []string{"goroutine ", "panic", ".go:"} {
		assert.NotContains(t, o.stderr, trace)
	}
}

// samples are the committed logs and the profiles that fit them.
var samples = []struct{ name, log, profile string }{
	{"clean", "clean.csv.gz", "heron.yaml"},
	{"jam-reversed", "jam-reversed.csv.gz", "heron.yaml"},
	{"jam-stuck", "jam-stuck.csv.zst", "heron.yaml"},
	{"brownout", "brownout.csv.gz", "heron.yaml"},
	{"bad-balance", "bad-balance.csv.gz", "heron.yaml"},
	{"rookie", "rookie.csv.gz", "curlew.yaml"},
}

// sample is the path of a file among the sample logs.
func sample(name string) string { return filepath.Join("..", "..", "sample-logs", name) }

// written writes a file into a fresh folder and returns its path.
func written(t testing.TB, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(content), 0o644))
	return path
}

// dataFolder is the path of a data folder that does not exist yet. When the test is over
// whatever was stored in it must be whole.
func dataFolder(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "data")
	t.Cleanup(func() { requireWhole(t, dir) })
	return dir
}

// requireWhole checks every match of a data folder and that nothing else is in it.
func requireWhole(t testing.TB, dir string) {
	t.Helper()
	h, err := home.Open(dir)
	if err != nil {
		require.ErrorIs(t, err, fs.ErrNotExist)
		return
	}
	ids, err := h.List()
	require.NoError(t, err)
	for _, id := range ids {
		problems, err := h.Verify(id)
		require.NoError(t, err)
		require.Empty(t, problems, id)
	}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		if !home.IsLock(e.Name()) && e.Name() != liveDir && e.Name() != ".taken.jsonl" && e.Name() != rollup.Folder {
			require.True(t, strings.HasPrefix(e.Name(), "season="), e.Name())
		}
	}
}

// stored imports a sample log as millbrook-open/q14 of the season 2031.
func stored(t testing.TB, data, log, profile string) {
	t.Helper()
	done(t, afterbell("import", sample(log), "--profile", sample(profile), "--data", data,
		"--season", "2031", "--event", "millbrook-open", "--match", "q14", "--at", "2031-03-01T14:32:00Z"))
}

// contents are the hashes of all files below dir, locks left out.
func contents(t testing.TB, dir string) map[string][sha256.Size]byte {
	t.Helper()
	out := map[string][sha256.Size]byte{}
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || home.IsLock(e.Name()) {
			return err
		}
		if e.IsDir() {
			out[path] = [sha256.Size]byte{}
			return nil
		}
		data, err := os.ReadFile(path)
		out[path] = sha256.Sum256(data)
		return err
	})
	if len(out) > 0 {
		require.NoError(t, err)
	}
	return out
}

// analyzed is the report that `analyze --json` prints.
func analyzed(t testing.TB, args ...string) *schemas.Report {
	t.Helper()
	o := done(t, afterbell(append([]string{"analyze", "--json"}, args...)...))
	return reportIn(t, o.stdout)
}

func reportIn(t testing.TB, text string) *schemas.Report {
	t.Helper()
	var r schemas.Report
	require.NoError(t, json.Unmarshal([]byte(text), &r))
	return &r
}

// analyses are what `analyze --json` says of each sample log by itself, each run once.
var analyses = func() map[string]func() outcome {
	out := map[string]func() outcome{}
	for _, s := range samples {
		out[s.name] = sync.OnceValue(func() outcome {
			return afterbell("analyze", "--json", sample(s.log), "--profile", sample(s.profile))
		})
	}
	return out
}()

// sampleAnalysis is what `analyze --json` says of a sample log.
func sampleAnalysis(t testing.TB, name string) outcome {
	t.Helper()
	return done(t, analyses[name]())
}
