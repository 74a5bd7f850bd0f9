package main

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"

	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/sample-logs/sim"
)

const folder = ".." // sample-logs

// The files in the folder are what the simulator makes, after unpacking: they cannot rot.
func TestFilesAreWhatTheSimulatorMakes(t *testing.T) {
	t.Parallel()
	for _, s := range samples {
		t.Run(s.scenario, func(t *testing.T) {
			m, err := sim.Run(s.scenario, 0)
			require.NoError(t, err)
			rows, err := s.rows(m)
			require.NoError(t, err)
			sameRows(t, unpack(t, filepath.Join(folder, s.file())), rows)

			truth, err := truthJSON(m)
			require.NoError(t, err)
			if exact {
				assert.Equal(t, string(read(t, filepath.Join(folder, s.scenario+".truth.json"))), string(truth))
			}
			assert.Equal(t, string(read(t, filepath.Join(folder, m.Robot+".yaml"))), string(m.Profile))
		})
	}
}

// exact: on amd64 the compiler rounds after every operation. Elsewhere it may fuse
// multiply and add, which the language allows, and the last bits differ.
var exact = runtime.GOARCH == "amd64"

// sameRows compares two logs byte for byte, or, where arithmetic may differ in its last
// bits, cell by cell with a little room: one in a thousand numbers may have rounded to the
// neighbouring step of its sensor.
func sameRows(t *testing.T, want, got []byte) {
	t.Helper()
	if exact {
		require.True(t, bytes.Equal(want, got), "the file is stale: run go run ./sample-logs/make")
		return
	}
	a, b := cells(t, want), cells(t, got)
	require.Equal(t, len(a), len(b), "rows")
	off, all := 0, 0
	for i := range a {
		for j := range a[i] {
			all++
			if a[i][j] == b[i][j] {
				continue
			}
			off++
			x, errX := strconv.ParseFloat(a[i][j], 64)
			y, errY := strconv.ParseFloat(b[i][j], 64)
			require.NoError(t, errX, "row %d", i)
			require.NoError(t, errY, "row %d", i)
			require.InDelta(t, x, y, 0.6, "row %d cell %d", i, j)
		}
	}
	assert.Less(t, float64(off), float64(all)/1000)
}

func cells(t *testing.T, rows []byte) [][]string {
	t.Helper()
	out, err := csv.NewReader(bytes.NewReader(rows)).ReadAll()
	require.NoError(t, err)
	return out
}

// All together they stay small enough for a clone.
func TestFilesAreSmall(t *testing.T) {
	total := int64(0)
	for _, s := range samples {
		info, err := os.Stat(filepath.Join(folder, s.file()))
		require.NoError(t, err)
		assert.Less(t, info.Size(), int64(400_000), s.file())
		total += info.Size()
	}
	assert.Less(t, total, int64(2_000_000))
}

// A folder that cannot be written to is said, with the scenario, and the exit tells.
func TestRunSaysWhatItCouldNotWrite(t *testing.T) {
	t.Parallel()
	var out, errs bytes.Buffer
	code := run([]string{filepath.Join(t.TempDir(), "missing")}, &out, &errs)
	assert.Equal(t, 1, code)
	assert.Contains(t, errs.String(), "clean: ")
	assert.Empty(t, out.String())
}

func read(t *testing.T, name string) []byte {
	t.Helper()
	out, err := os.ReadFile(name)
	require.NoError(t, err)
	return out
}

func unpack(t *testing.T, name string) []byte {
	t.Helper()
	packed := bytes.NewReader(read(t, name))
	var r io.Reader
	var err error
	if filepath.Ext(name) == ".zst" {
		r, err = zstd.NewReader(packed)
	} else {
		r, err = gzip.NewReader(packed)
	}
	require.NoError(t, err)
	out, err := io.ReadAll(r)
	require.NoError(t, err)
	return out
}
