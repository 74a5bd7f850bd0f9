//go:build unix

package main

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/period"
)

// storeLongMatch stores longMatch as practice/q14 and returns the number of its samples.
func storeLongMatch(t testing.TB, data string) int {
	t.Helper()
	log, prof := longMatch(t)
	matches, err := period.Find(prof.Mode, log)
	require.NoError(t, err)
	require.Len(t, matches, 1)
	h, err := home.Create(data)
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	j := job{
		id:  schemas.MatchID{Season: "2031", Event: "practice", Match: "q14", Robot: "heron"},
		log: log, match: matches[0], profile: prof, seal: 1, stored: "2031-03-01T14:32:00Z",
	}
	_, err = j.publish(t.Context(), h, false)
	require.NoError(t, err)
	require.NoError(t, lock.Unlock())
	return log.Samples()
}

// BenchmarkAnalyzeStored is `afterbell analyze MATCH --json` of a stored match of 300
// signals and seven million samples, from the start of the process to its end. Beside
// it stands the same without a match, which is what the process itself takes.
func BenchmarkAnalyzeStored(b *testing.B) {
	data := filepath.Join(b.TempDir(), "data")
	samples := storeLongMatch(b, data)
	program := built(b)
	for name, args := range map[string][]string{
		"300 signals": {"analyze", "practice/q14/heron", "--json", "--data", data},
		"nothing":     {"version", "--json"},
	} {
		b.Run(name, func(b *testing.B) {
			var seconds float64
			var peak int64
			for b.Loop() {
				l := measured(b, program, args...)
				seconds += l.Seconds
				peak = max(peak, l.Peak)
			}
			b.ReportMetric(seconds/float64(b.N), "s/process")
			b.ReportMetric(float64(peak)/(1<<20), "peak-MiB")
			if name != "nothing" {
				b.ReportMetric(float64(samples)/1e6, "Msamples")
			}
		})
	}
}
