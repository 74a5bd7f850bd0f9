package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/cmd/dev/score"
)

func TestScoreOptions(t *testing.T) {
	o, asJSON, against, err := scoreOptions(nil)
	require.NoError(t, err)
	assert.Equal(t, score.Options{Subject: "all", Scenario: "exam", From: 1, Seeds: 200}, o.Options)
	assert.False(t, asJSON)
	assert.Empty(t, against)

	for _, args := range [][]string{
		{"path", "--seeds", "7", "--from=3", "--scenario", "clean", "--json", "--against", "x.json"},
		{"--seeds", "7", "--from=3", "path", "--scenario", "clean", "--json", "--against", "x.json"},
		{"--seeds=7", "--from=3", "--scenario=clean", "--json", "--against=x.json", "path"},
	} {
		o, asJSON, against, err = scoreOptions(args)
		require.NoError(t, err)
		assert.Equal(t, score.Options{Subject: "path", Scenario: "clean", From: 3, Seeds: 7}, o.Options)
		assert.True(t, asJSON)
		assert.Equal(t, "x.json", against)
	}
}

func TestScoreMistakes(t *testing.T) {
	for want, args := range map[string][]string{
		`subject "jams" is not known: use one of path`:        {"score", "jams"},
		`scenario "exams" is not known: use one of`:           {"score", "--scenario", "exams"},
		`condition "fog" is not known`:                        {"score", "--with", "fog"},
		`score season knows neither --against nor --with`:     {"score", "season", "--with", "tapping"},
		"--seeds 0: at least one match is needed":             {"score", "--seeds", "0"},
		"--from 0: seeds begin at 1":                          {"score", "--from", "0"},
		"flag provided but not defined: -sedes":               {"score", "--sedes", "1"},
		"usage: go run ./cmd/dev demo|test|check|bench|relea": {"scores"},
	} {
		var stdout, stderr bytes.Buffer
		assert.Equal(t, 2, run(t.Context(), args, &stdout, &stderr), "%v", args)
		assert.Contains(t, stderr.String(), want)
		assert.Empty(t, stdout.String())
	}
	var stdout, stderr bytes.Buffer
	assert.Equal(t, 1, run(t.Context(), []string{"score", "--against", filepath.Join(t.TempDir(), "none.json")}, &stdout, &stderr))
	assert.Contains(t, stderr.String(), "none.json")
}

// A score written as JSON is read back by --against, and the same matches do not differ.
func TestScoreAgainstItself(t *testing.T) {
	args := []string{"score", "power", "--seeds", "2"}
	var stdout, stderr bytes.Buffer
	require.Zero(t, run(t.Context(), append(args, "--json"), &stdout, &stderr), stderr.String())
	var r score.Result
	require.NoError(t, json.Unmarshal(stdout.Bytes(), &r))
	assert.Len(t, r.Matches, 2)
	path := filepath.Join(t.TempDir(), "before.json")
	require.NoError(t, os.WriteFile(path, stdout.Bytes(), 0o600))

	stdout.Reset()
	require.Zero(t, run(t.Context(), append(args, "--against", path), &stdout, &stderr), stderr.String())
	assert.Contains(t, stdout.String(), "against the other score, 2 seeds in common")
	assert.Regexp(t, `resistance interval holds truth .* 0, 0, p 1\.000`, stdout.String())
}
