package path

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// Something is true at any time, and what is likeliest is not less sure than the rest of it.
func TestHistoriesSumToOne(t *testing.T) {
	in, _, _ := play(settings{seed: 3, hz: 100, jamRate: 0.05, stages: 4, cap: 2})
	w := newWay(in, DefaultConfig())
	w.pieces()
	require.NotEmpty(t, w.history.layers)
	for _, l := range w.history.layers {
		sum := 0.0
		for _, e := range l.kept {
			sum += e.sure
		}
		assert.InDelta(t, 1, sum, 1e-9)
	}
	all, _ := w.journeys(w.history.best)
	whole := 0.0
	for _, j := range all {
		for _, v := range j.visits {
			sure := w.history.stayed(v.slot, (v.from+v.to)/2, v.to)
			assert.True(t, sure >= 0 && sure <= 1)
			whole += sure / float64(len(j.visits)) / float64(len(all))
		}
	}
	assert.Greater(t, whole, 0.9, "sound beams leave little doubt")
}

// A jam needs a piece that stood there: the one probability times the other.
func TestDoubt(t *testing.T) {
	for _, c := range []struct {
		name               string
		credit, odds, load float64
		want               float64
	}{
		{"no doubt", 1, 3, 0, 1 / (1 + math.Exp(-3))},
		{"as sure as the beams, however long it stood", 0.8, 20, 0, 0.8},
		{"as likely as not, and the same once more", 0.5, 0, 0, 0.25},
		{"no piece at all", 0, 20, 0, 1 / (1 + math.Exp(mostDoubt))},
		{"two to three, but its motor makes it twice as likely", 0.4, 20, math.Ln2, 0.8 / 1.4},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := stand{credit: c.credit, load: c.load, weighed: []schemas.Weighed{{What: "all of it", LogOdds: c.odds}}}
			s.doubtful()
			assert.InDelta(t, c.want, probability(s.sum()), 1e-6)
		})
	}
}
