package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// From a log to a profile that check takes and a sheet can be made with, for each sample log.
func TestSuggestedProfileWorks(t *testing.T) {
	for _, s := range samples {
		out := filepath.Join(t.TempDir(), "robot.yaml")
		o := done(t, afterbell("profile", "suggest", sample(s.log), "--robot", "heron", "--out", out))
		assert.Empty(t, o.stdout)
		assert.Contains(t, o.stderr, "read every line")
		done(t, afterbell("profile", "check", out, "--log", sample(s.log)))
		with, by := analyzed(t, sample(s.log), "--profile", out), analyzed(t, sample(s.log), "--profile", sample(s.profile))
		assert.Equal(t, by.Match.Periods, with.Match.Periods, s.name)
		assert.Len(t, with.Cycles, len(by.Cycles), s.name)
		assert.Len(t, with.Jams, len(by.Jams), s.name)
		for _, b := range slices.Concat(by.Brownouts, with.Brownouts) {
			for i := range b.Branches {
				b.Branches[i].Name = "" // what a breaker feeds no log tells
			}
		}
		assert.Equal(t, by.Brownouts, with.Brownouts, s.name)
	}
}

func TestSuggestAsJSON(t *testing.T) {
	var got struct {
		Robot    string
		YAML     string
		Proposal struct {
			Mapped []struct {
				Role, Of, Signal, Why string
				Sure                  float64
				Others                []struct{ Signal string }
			}
			Open   []any
			Unused []string
		}
	}
	o := done(t, afterbell("profile", "suggest", sample("rookie.csv.gz"), "--robot", "curlew", "--json"))
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &got))
	assert.Equal(t, "curlew", got.Robot)
	roles := map[string]string{}
	for _, m := range got.Proposal.Mapped {
		roles[m.Role] = m.Signal
		assert.Greater(t, m.Sure, 0.5)
		assert.Less(t, m.Sure, 1.0)
		assert.NotEmpty(t, m.Why)
	}
	assert.Equal(t, map[string]string{
		"mode.signal": "robot/mode", "power.voltage": "power/voltage", "cycles.score": "game/score", "cycles.pose.x": "pose/x", "cycles.pose.y": "pose/y",
	}, roles)
	plain := done(t, afterbell("profile", "suggest", sample("rookie.csv.gz"), "--robot", "curlew"))
	assert.Equal(t, plain.stdout, got.YAML)
}

func TestSuggestMistakes(t *testing.T) {
	there := written(t, "robot.yaml", "profile: 1\nrobot: heron\n")
	failed(t, afterbell("profile", "suggest", sample("rookie.csv.gz"), "--out", there), exitUsage, there, "exists", "another name")
	kept, err := os.ReadFile(there)
	require.NoError(t, err)
	assert.Equal(t, "profile: 1\nrobot: heron\n", string(kept))
	failed(t, afterbell("profile", "suggest", sample("rookie.csv.gz"), "--robot", "2 birds"), exitUsage, "--robot")
	failed(t, afterbell("profile", "suggest", "none.csv"), exitFailed, "none.csv")
	failed(t, afterbell("profile", "suggest"), exitUsage, "a log")
	failed(t, afterbell("profile", "suggest", sample("rookie.csv.gz"), "--out", filepath.Join(t.TempDir(), "none", "robot.yaml")), exitFailed, "robot.yaml")

	// A log that says nothing makes a profile that names nothing, and says so.
	o := done(t, afterbell("profile", "suggest", written(t, "dull.csv", "time_s,a\n0,1\n1,1\n9,1\n")))
	assert.Contains(t, o.stderr, "nothing in")
	done(t, afterbell("profile", "check", written(t, "dull.yaml", o.stdout)))
}

// A mistake in a profile shows with what to do, and on the machine's side too.
func TestCheckSaysWhatLooksWrong(t *testing.T) {
	text, err := os.ReadFile(sample("heron.yaml"))
	require.NoError(t, err)
	wrong := strings.Replace(string(text), "sensor: path/throat/beam", "sensor: {signal: path/throat/beam, invert: true}", 1)
	path := written(t, "robot.yaml", wrong)
	o := done(t, afterbell("profile", "check", path, "--log", sample("clean.csv.gz")))
	assert.Contains(t, o.stdout, "? it was blocked 97 % of the time; a beam is clear most of it: take invert: true away")
	assert.Contains(t, o.stdout, "1 doubt.")
	assert.Contains(t, o.stdout, `"driver" 77 %`)
	assert.Contains(t, o.stdout, "12 counted")

	var got struct {
		Doubts, Problems int
		Signals          []struct {
			Place  string
			Passes *int
			Doubts []struct{ What, Do string }
		}
	}
	o = done(t, afterbell("profile", "check", path, "--log", sample("clean.csv.gz"), "--json"))
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &got))
	assert.Equal(t, 1, got.Doubts)
	assert.Zero(t, got.Problems)
	for _, s := range got.Signals {
		if s.Place == "sensor of stage throat" {
			assert.NotNil(t, s.Passes)
			require.Len(t, s.Doubts, 1)
			assert.NotEmpty(t, s.Doubts[0].Do)
			continue
		}
		assert.Empty(t, s.Doubts, s.Place)
	}
}
