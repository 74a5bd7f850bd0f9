package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// What arrives holds the log: every sample, some late, some twice, and the last written of
// each is the log's. The shares are those that were set.
func TestArrivedHoldsTheLog(t *testing.T) {
	t.Parallel()
	m := story(t, "rookie")
	const late, most, doubled = 0.02, 4, 0.1
	a := arrival{late: late, most: most, doubled: doubled, r: stream(1, "arrival")}
	raw := map[string]*schemas.Signal{}
	samples, stale, behind := 0, 0, 0
	newest := map[string]int64{}
	for s, i := range a.arrived(m.Log) {
		samples++
		to := raw[s.Name]
		if to == nil {
			to = &schemas.Signal{Name: s.Name, Unit: s.Unit, Kind: s.Kind}
			raw[s.Name] = to
		}
		if s.Time[i] < newest[s.Name] {
			behind++
		}
		newest[s.Name] = max(newest[s.Name], s.Time[i])
		require.LessOrEqual(t, newest[s.Name]-s.Time[i], int64(most+1)*1_000_000)
		if s != m.Log.Find(s.Name) {
			stale++
		}
		to.Time = append(to.Time, s.Time[i])
		one := s.Slice(i, i+1)
		to.Float, to.Int = append(to.Float, one.Float...), append(to.Int, one.Int...)
		to.Bool, to.Text = append(to.Bool, one.Bool...), append(to.Text, one.Text...)
	}
	got := &schemas.Log{}
	for _, s := range raw {
		got.Signals = append(got.Signals, s)
	}
	got.Normalize()
	assert.Equal(t, m.Log, got)
	n := float64(m.Log.Samples())
	assert.InEpsilon(t, (1+doubled)*n, samples, 0.02)
	assert.Positive(t, stale)
	assert.Greater(t, float64(behind), late*n/2, "late rows are out of order")
}
