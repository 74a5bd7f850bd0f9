package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// q14Folder is where stored puts the match, inside the data folder.
var q14Folder = filepath.Join("season=2031", "event=millbrook-open", "match=q14", "robot=heron")

func TestVerdictIsNotedAndKept(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	r := analyzed(t, "--data", data, "millbrook-open/q14/heron")
	require.NotEmpty(t, r.Findings)
	id := r.Findings[0].ID

	o := done(t, afterbell("verdict", "--data", data, "millbrook-open/q14/heron"))
	assert.Contains(t, o.stdout, id+"  nothing said")
	done(t, afterbell("verdict", "--data", data, "millbrook-open/q14/heron", id, "yes"))
	o = done(t, afterbell("verdict", "--data", data, "millbrook-open/q14/heron", id, "no", "--json"))
	var said []saidOf
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &said))
	require.Equal(t, id, said[0].Finding)
	require.Equal(t, "no", *said[0].Happened)

	notes := filepath.Join(data, q14Folder, "notes.jsonl")
	text, err := os.ReadFile(notes)
	require.NoError(t, err)
	require.Equal(t, 2, strings.Count(string(text), "\n"), "what was said first stays in the file")

	// A new analysis and a new import of the same log leave the notes alone.
	done(t, afterbell("analyze", "--data", data, "millbrook-open/q14/heron", "--again"))
	done(t, afterbell("import", "--data", data, sample("jam-stuck.csv.zst"), "--profile", sample("heron.yaml"),
		"--season", "2031", "--event", "millbrook-open", "--match", "q14", "--replace"))
	after, err := os.ReadFile(notes)
	require.NoError(t, err)
	require.Equal(t, string(text), string(after))
	done(t, afterbell("verify", "--data", data))

	o = done(t, afterbell("verdict", "--data", data, "millbrook-open/q14/heron", id, "none"))
	assert.Contains(t, o.stdout, id+"  nothing said")
}

// The crew is heard while a collector has the data folder for itself.
func TestVerdictWhileCollecting(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	const match = "millbrook-open/q14/heron"
	finding := analyzed(t, "--data", data, match).Findings[0].ID
	_, _, stop := collect(t, data)
	failed(t, afterbell("analyze", "--data", data, match, "--again"), exitFailed, "is being written by")
	o := done(t, afterbell("verdict", "--data", data, match, finding, "no"))
	assert.Contains(t, o.stdout, finding+"  did not happen")
	done(t, stop())
	o = done(t, afterbell("verdict", "--data", data, match))
	assert.Contains(t, o.stdout, finding+"  did not happen")
}

func TestVerdictRefuses(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	const match = "millbrook-open/q14/heron"
	failed(t, afterbell("verdict", "--data", data), exitUsage, "a match is missing")
	failed(t, afterbell("verdict", "--data", data, match, "jam-lift-1"), exitUsage, "yes, no or none is missing")
	failed(t, afterbell("verdict", "--data", data, match, "jam-lift-1", "perhaps"), exitUsage, `"perhaps"`, "yes, no nor none")
	failed(t, afterbell("verdict", "--data", data, match, "jam-lift-9", "yes"), exitUsage, `no finding "jam-lift-9"`, "it has jam-lift-1")
	failed(t, afterbell("verdict", "--data", data, "millbrook-open/q99/heron", "jam-lift-1", "yes"), exitFailed, "q99")
	failed(t, afterbell("verdict", "--data", data+"-none", match), exitFailed, "there is no data folder")
	require.NoFileExists(t, filepath.Join(data, q14Folder, "notes.jsonl"))
}
