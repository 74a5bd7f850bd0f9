package main

import (
	"bytes"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/csvlog"
)

// longCSV is the simulated match and other signals as a long CSV of two million rows, and
// the number of rows.
func longCSV(b *testing.B) (text []byte, rows int) {
	b.Helper()
	log, _ := longMatch(b)
	var out bytes.Buffer
	all := log.Signals
	log.Signals = nil
	for _, s := range all {
		if !strings.HasPrefix(s.Name, "besides/") || rows+s.Len() < 1_800_000 {
			log.Signals, rows = append(log.Signals, s), rows+s.Len()
		}
	}
	require.NoError(b, csvlog.WriteLong(&out, log))
	return out.Bytes(), rows
}

// BenchmarkImportLong is the whole of `afterbell import`, from a long CSV to the stored
// match with its report and sheet, beside Go's own encoding/csv, which only takes the same
// bytes apart, and beside that with the numbers read, which is the least an import does.
func BenchmarkImportLong(b *testing.B) {
	text, rows := longCSV(b)
	path := filepath.Join(b.TempDir(), "q14.csv")
	require.NoError(b, os.WriteFile(path, text, 0o644))
	data := filepath.Join(b.TempDir(), "data")
	bench := func(name string, work func(b *testing.B)) {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				work(b)
			}
			b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
		})
	}
	bench("import", func(b *testing.B) {
		done(b, afterbell("import", path, "--profile", sample("heron.yaml"), "--data", data, "--replace"))
	})
	bench("analyze", func(b *testing.B) {
		done(b, afterbell("analyze", path, "--profile", sample("heron.yaml"), "--json"))
	})
	bench("encoding-csv", func(b *testing.B) {
		require.Equal(b, rows+1, apart(b, text, false))
	})
	bench("encoding-csv and numbers", func(b *testing.B) {
		require.Equal(b, rows+1, apart(b, text, true))
	})
}

// apart takes a CSV text apart and returns its rows, the header counted.
func apart(b *testing.B, text []byte, numbers bool) (rows int) {
	r := csv.NewReader(bytes.NewReader(text))
	r.ReuseRecord = true
	for {
		row, err := r.Read()
		if err == io.EOF {
			return rows
		}
		require.NoError(b, err)
		rows++
		if numbers && rows > 1 {
			_, err := strconv.ParseFloat(row[0], 64)
			require.NoError(b, err)
			_, _ = strconv.ParseFloat(row[2], 64) // text is no number
		}
	}
}
