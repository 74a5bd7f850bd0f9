package clock_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/clock"
)

// kept is how many limits a track remembers from above and from below.
func kept(t *testing.T, track *clock.Track) (upper, lower int) {
	t.Helper()
	text, err := json.Marshal(track)
	require.NoError(t, err)
	var limits struct{ Upper, Lower [][2]int64 }
	require.NoError(t, json.Unmarshal(text, &limits))
	return len(limits.Upper), len(limits.Lower)
}

// Of an hour of exchanges once a second, a line can touch a few in each minute.
func TestOnlyWhatALineCanTouchIsKept(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	w := world{start: 0, ahead: 6e9, gains: steady(-40)}
	var track clock.Track
	for x := 0.; x < 3.6e9; x += 1e6 {
		track.Add(w.exchange(x, 2000*r.ExpFloat64(), 10, 2000*r.ExpFloat64()))
	}
	upper, lower := kept(t, &track)
	assert.Less(t, upper, 100)
	assert.Less(t, lower, 100)
	assert.Greater(t, min(upper, lower), 10, "at least one of each minute")
}

// Delays that bend so that every limit is a corner are kept to 128, and those that go are
// those that matter least: the envelope's tangent in the middle stays where it is.
func TestMemoryIsBounded(t *testing.T) {
	const half, sag = 2.7e8, 1e5 // us: nine minutes, a tenth of a second
	w := world{start: 0, ahead: 6e9, gains: steady(0)}
	var track clock.Track
	for x := 0.; x < 2*half; x += 1e5 {
		late := (x - half) / half
		track.Arrived(w.arrival(x, sag*late*late))
	}
	upper, lower := kept(t, &track)
	assert.Equal(t, 128, upper)
	assert.Zero(t, lower)
	offset, _ := track.BoundAt(half)
	assert.InDelta(t, 6e9, offset, 20) // a chord of a 64th of the arch sags by 24 us in its middle
}
