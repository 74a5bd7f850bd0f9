package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/period"
)

// BenchmarkStoreLongMatch analyzes and stores a match of 300 signals and seven million
// samples. AFTERBELL_BENCH_DATA names a folder in which it stays, for the pages to be
// measured on; `go run ./cmd/dev bench` sets it.
func BenchmarkStoreLongMatch(b *testing.B) {
	log, prof := longMatch(b)
	dir := os.Getenv("AFTERBELL_BENCH_DATA")
	if dir == "" {
		dir = filepath.Join(b.TempDir(), "data")
	}
	h, err := home.Create(dir)
	require.NoError(b, err)
	lock, err := h.Lock()
	require.NoError(b, err)
	defer lock.Unlock()
	matches, err := period.Find(prof.Mode, log)
	require.NoError(b, err)
	j := &job{
		id:  schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: "long", Robot: "heron"},
		log: log, match: longest(matches), profile: prof, seal: 1, stored: storedAt(time.Now()),
	}
	for b.Loop() {
		_, err := j.publish(b.Context(), h, true)
		require.NoError(b, err)
	}
	b.ReportMetric(float64(log.Samples())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}
