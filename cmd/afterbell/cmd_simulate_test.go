package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

// Rows that come late and rows that come twice are in the file as they came, and reading
// the file gives the log that the truth speaks of, sample for sample.
func TestSimulateWritesRowsAsTheyCame(t *testing.T) {
	dir := t.TempDir()
	with := []string{"late-rows", "doubled-rows"}
	done(t, afterbell("simulate", "--scenario", "rookie", "--seed", "9", "--with", "late-rows,doubled-rows", "--out", dir))
	m, err := sim.RunOptions(sim.Options{Scenario: "rookie", Seed: 9, With: with})
	require.NoError(t, err)

	path := filepath.Join(dir, "rookie-9.csv")
	log, report, err := ingest.Read(context.Background(), []ingest.Source{{
		Name: path, Open: func() (io.ReadCloser, error) { return os.Open(path) },
	}}, ingest.Options{})
	require.NoError(t, err)
	assert.Positive(t, report.Repeated)
	assert.Equal(t, m.Log, log)

	plain, err := sim.RunOptions(sim.Options{Scenario: "rookie", Seed: 9})
	require.NoError(t, err)
	assert.Equal(t, plain.Log, m.Log, "only the file's order differs")
}
