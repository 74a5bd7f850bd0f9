package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/crew"
)

func TestNoteIsKeptAndShown(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	const match = "millbrook-open/q14/heron"
	require.Contains(t, done(t, afterbell("note", "--data", data, match)).stdout, "nothing was noted")
	require.Contains(t, done(t, afterbell("note", "--data", data, match, "belt replaced")).stdout, "belt replaced")
	o := done(t, afterbell("note", "--data", data, match, "blocked by two robots", "--json"))
	var remarks []crew.Remark
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &remarks))
	require.Len(t, remarks, 2)
	require.Contains(t, done(t, afterbell("analyze", "--data", data, match)).stdout, "belt replaced")

	done(t, afterbell("note", "--data", data, match, "blocked by two robots", "--take-back"))
	require.NotContains(t, done(t, afterbell("note", "--data", data, match)).stdout, "blocked")
	failed(t, afterbell("note", "--data", data, match, "nobody said that", "--take-back"), exitUsage, "has no note")

	// The next match follows the jam, with what was noted in between; files that travel do not.
	done(t, afterbell("import", "--data", data, sample("clean.csv.gz"), "--profile", sample("heron.yaml"), "--season", "2031", "--event", "millbrook-open", "--match", "q15", "--at", "2031-09-01T15:00:00Z"))
	text := done(t, afterbell("analyze", "--data", data, "millbrook-open/q15/heron")).stdout
	require.Contains(t, text, "Is it mended?")
	require.Contains(t, text, "q14: “belt replaced”")
	for _, name := range []string{"report.json", "report.html"} {
		file, err := os.ReadFile(filepath.Join(data, strings.Replace(q14Folder, "q14", "q15", 1), name))
		require.NoError(t, err)
		require.Contains(t, strings.ToLower(string(file)), "jams in the lift", name)
		require.NotContains(t, string(file), "belt replaced", name)
	}
	// A renamed match is followed under its new name.
	done(t, afterbell("rename", "--data", data, match, "q13"))
	require.Contains(t, done(t, afterbell("analyze", "--data", data, "millbrook-open/q15/heron", "--json")).stdout, `"last": "2031/millbrook-open/q13"`)
	r, err := os.ReadFile(filepath.Join(data, strings.Replace(q14Folder, "q14", "q15", 1), "report.json"))
	require.NoError(t, err)
	require.NotContains(t, string(r), "millbrook-open/q14")
}

// What the crew denied is not followed.
func TestWhatWasDeniedIsNotFollowed(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	id := analyzed(t, "--data", data, "millbrook-open/q14/heron").Findings[0].ID
	done(t, afterbell("import", "--data", data, sample("clean.csv.gz"), "--profile", sample("heron.yaml"), "--season", "2031", "--event", "millbrook-open", "--match", "q15", "--at", "2031-09-01T15:00:00Z"))
	followed := func() int { return len(analyzed(t, "--data", data, "millbrook-open/q15/heron").Mended) }
	require.Equal(t, 1, followed())
	done(t, afterbell("verdict", "--data", data, "millbrook-open/q14/heron", id, "no"))
	require.Zero(t, followed())
}

func TestNoteRefuses(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	const match = "millbrook-open/q14/heron"
	failed(t, afterbell("note", "--data", data), exitUsage, "a match is missing")
	failed(t, afterbell("note", "--data", data, match, "belt", "replaced"), exitUsage, `"replaced"`, "quotation marks")
	failed(t, afterbell("note", "--data", data, match, " "), exitUsage, "says nothing")
	failed(t, afterbell("note", "--data", data, match, "--take-back"), exitUsage, "--take-back needs the text")
	failed(t, afterbell("note", "--data", data, match, strings.Repeat("a", 281)), exitUsage, "281 letters")
	failed(t, afterbell("note", "--data", data, "millbrook-open/q99/heron", "belt"), exitFailed, "q99")
	require.NoFileExists(t, filepath.Join(data, q14Folder, "notes.jsonl"))
}
