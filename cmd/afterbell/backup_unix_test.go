//go:build unix

package main

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/rollup"
)

// unzipped is the folder in a zip file.
func unzipped(t *testing.T, file string) string {
	t.Helper()
	z, err := zip.OpenReader(file)
	require.NoError(t, err)
	defer z.Close()
	dir := t.TempDir()
	for _, f := range z.File {
		path := filepath.Join(dir, filepath.FromSlash(f.Name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		from, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(from)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, data, f.Mode()))
	}
	return dir
}

func backup(t *testing.T, data, to string, more ...string) (backedUp, outcome) {
	t.Helper()
	o := done(t, afterbell(append([]string{"backup", to, "--data", data, "--json"}, more...)...))
	var b backedUp
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &b))
	return b, o
}

// While robots send and matches are sealed, each backup holds all that was acknowledged when
// it began, once, bit for bit, and a collector goes on from it.
func TestABackupWhileCollectingHoldsWhatWasAcknowledged(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	robots, profiles, more := sendingRobots(t, dir, 8)
	cmd, url := collecting(t, "127.0.0.1:0", data, more...)
	stop := make(chan struct{})
	var senders sync.WaitGroup
	for _, r := range robots {
		senders.Go(func() { _ = r.run(url, stop) })
	}
	type copied struct {
		dir   string
		acked []int
	}
	var copies []copied
	everywhere := filepath.Join(dir, "stick")
	for i := range 6 {
		time.Sleep(400 * time.Millisecond)
		c := copied{}
		for _, r := range robots {
			c.acked = append(c.acked, int(r.known.Load()))
		}
		if i%2 == 0 {
			file := filepath.Join(dir, fmt.Sprintf("copy%d.zip", i))
			backup(t, data, file)
			c.dir = unzipped(t, file)
		} else { // again and again to the same folder, and kept as it was then
			backup(t, data, everywhere)
			c.dir = filepath.Join(dir, fmt.Sprintf("copy%d", i))
			require.NoError(t, os.CopyFS(c.dir, os.DirFS(everywhere)))
		}
		copies = append(copies, c)
	}
	close(stop)
	senders.Wait()
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	for _, c := range copies {
		done(t, afterbell("verify", "--data", c.dir))
		stored := settledSamples(t, c.dir, profiles)
		for i, r := range robots {
			acked := c.acked[i]
			require.Positive(t, acked)
			for seq, batch := range r.sent {
				for _, p := range batch {
					n := stored[r.name][p]
					require.LessOrEqual(t, n, 1, "%s: a sample is there %d times", r.name, n)
					if seq < acked {
						require.Equal(t, 1, n, "%s: batch %d of %d was acknowledged before the backup began, and is not in it", r.name, seq+1, acked)
					}
				}
			}
		}
		done(t, afterbell("verify", "--data", c.dir))
	}
	t.Logf("acknowledged at the last backup: %v of %d, %d and %d batches", copies[5].acked, robots[0].acked, robots[1].acked, robots[2].acked)
}

func TestASecondBackupCopiesWhatIsNew(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	data, to := filepath.Join(dir, "data"), filepath.Join(dir, "stick")
	add := func(match string) {
		done(t, importAs(t, data, match, sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
	}
	add("q1")
	add("q2")
	b, o := backup(t, data, to)
	assert.Len(t, b.Copied, 2)
	assert.Contains(t, o.stderr, "crew's notes, which may name people")
	done(t, afterbell("verify", "--data", to))
	same := func() {
		t.Helper()
		inside := func(dir string) map[string][sha256.Size]byte {
			out := map[string][sha256.Size]byte{}
			for path, sum := range contents(t, dir) {
				rel, err := filepath.Rel(dir, path)
				require.NoError(t, err)
				derived := rel == rollup.Folder || strings.HasPrefix(rel, rollup.Folder+string(filepath.Separator)) // a copy makes its own
				if rel != "backup.json" && !home.IsLock(rel) && !derived {
					out[rel] = sum
				}
			}
			return out
		}
		want, got := inside(data), inside(to)
		assert.Equal(t, want, got)
	}
	same()
	b, _ = backup(t, data, to)
	assert.Empty(t, b.Copied)
	assert.Equal(t, 2, b.Same)

	add("q3")
	done(t, afterbell("analyze", "q1", "--again", "--data", data))
	done(t, afterbell("verdict", "q2", analyzed(t, "q2", "--data", data).Findings[0].ID, "no", "--data", data))
	b, _ = backup(t, data, to)
	assert.Equal(t, []string{"2031/millbrook-open/q1/curlew", "2031/millbrook-open/q2/curlew", "2031/millbrook-open/q3/curlew"}, b.Copied)
	same()

	// What was renamed stays in the copy under its old name, and is named.
	done(t, afterbell("rename", "q3", "q4", "--data", data))
	b, o = backup(t, data, to)
	assert.Equal(t, []string{"2031/millbrook-open/q3/curlew"}, b.Gone)
	assert.Contains(t, o.stderr, "no longer here, renamed or deleted since: 2031/millbrook-open/q3/curlew")
	backup(t, data, to, "--prune")
	same()

	// A file that is damaged here is copied as it is, and said to be.
	dirQ1 := filepath.Join(data, "season=2031", "event=millbrook-open", "match=q1", "robot=curlew")
	require.NoError(t, os.WriteFile(filepath.Join(dirQ1, "cycles.parquet"), []byte("no table"), 0o644))
	b, o = backup(t, data, to)
	assert.Equal(t, []string{"2031/millbrook-open/q1/curlew"}, b.Damaged)
	assert.Contains(t, o.stderr, "are damaged here, and so in the copy")
	same()
}

func TestABackupWithoutNotesHasNone(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	data, to := filepath.Join(dir, "data"), filepath.Join(dir, "stick")
	done(t, importAs(t, data, "q1", sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
	done(t, afterbell("verdict", "q1", analyzed(t, "q1", "--data", data).Findings[0].ID, "no", "--data", data))
	done(t, afterbell("parts", "add", "curlew", "new driver", "--kind", "driver", "--data", data))
	whole := filepath.Join(dir, "whole")
	backup(t, data, whole)
	assert.FileExists(t, filepath.Join(whole, "parts", "curlew.txt"))
	_, o := backup(t, data, to, "--without-notes")
	assert.NotContains(t, o.stderr, "name people")
	for path := range contents(t, to) {
		assert.NotContains(t, path, "notes.jsonl")
		assert.NotContains(t, path, "curlew.txt")
	}
	done(t, afterbell("verify", "--data", to))
	b, _ := backup(t, data, to, "--without-notes")
	assert.Empty(t, b.Copied)
	failed(t, afterbell("backup", to, "--data", data), exitFailed, "without the crew's notes")
	zipped := filepath.Join(dir, "copy.zip")
	backup(t, data, zipped, "--without-notes")
	for path := range contents(t, unzipped(t, zipped)) {
		assert.NotContains(t, path, "notes.jsonl")
	}
}

func TestBackupRefusesWhatCannotWork(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	done(t, importAs(t, data, "q1", sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
	files := contents(t, data)
	failed(t, afterbell("backup", "--data", data), exitUsage, "is missing")
	failed(t, afterbell("backup", data, "--data", data), exitUsage, "lie in one another")
	failed(t, afterbell("backup", filepath.Join(data, "copy"), "--data", data), exitUsage, "lie in one another")
	failed(t, afterbell("backup", filepath.Join(data, "copy.zip"), "--data", data), exitUsage, "lie in one another")
	failed(t, afterbell("backup", dir, "--data", data), exitUsage, "lie in one another")
	other := filepath.Join(dir, "photos")
	require.NoError(t, os.MkdirAll(other, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(other, "robot.jpg"), nil, 0o644))
	failed(t, afterbell("backup", other, "--data", data), exitFailed, "holds other things and no backup")
	file := filepath.Join(other, "copy.zip")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	failed(t, afterbell("backup", file, "--data", data), exitFailed, "exists")
	failed(t, afterbell("backup", filepath.Join(other, "new.zip"), "--prune", "--data", data), exitUsage, "--prune is for a folder")
	failed(t, afterbell("backup", filepath.Join(dir, "stick"), "--data", filepath.Join(dir, "none")), exitFailed, "no data folder")
	assert.Equal(t, files, contents(t, data))
	entries, err := os.ReadDir(other)
	require.NoError(t, err)
	assert.Len(t, entries, 2, "nothing half-made is left")

	// A copy that was cut short is not collected into.
	to := filepath.Join(dir, "stick")
	backup(t, data, to)
	text := readText(t, filepath.Join(to, "backup.json"))
	require.Contains(t, text, `"complete": true`)
	require.NoError(t, os.WriteFile(filepath.Join(to, "backup.json"), []byte(strings.Replace(text, "true", "false", 1)), 0o644))
	failed(t, afterbell("collect", "--data", to, "--listen", "127.0.0.1:0", "--pages", "off"), exitFailed, "is a backup that was cut short")
	backup(t, data, to)
}
