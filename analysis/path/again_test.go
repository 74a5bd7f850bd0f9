package path

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is kept from the first look is what a second one would find.
func TestLearnedAgain(t *testing.T) {
	in, _, _ := play(settings{seed: 3, hz: 100, jamRate: 0.05, stages: 4, cap: 2})
	w := newWay(in, DefaultConfig())
	all, sensor := w.pieces()
	first := w.motors(all)
	w.jams(all, sensor, first)
	require.NotEmpty(t, w.strains)
	w.relearn(all)
	for slot, l := range w.laws {
		again := w.learn(slot, w.seen[slot])
		assert.Equal(t, again.dist, l.dist, "slot %d", slot)
		assert.Equal(t, again.n, l.n, "slot %d", slot)
	}
	again := w.motors(all)
	for _, d := range w.drives {
		assert.NotEmpty(t, d.passages)
		clear(d.passages)
	}
	assert.Equal(t, len(first), len(again))
	for i, m := range w.motors(all) {
		assert.Equal(t, m.amps, again[i].amps)
		assert.Equal(t, m.ratio, again[i].ratio)
		assert.Equal(t, m.wakes, again[i].wakes)
		assert.Equal(t, len(m.yards), len(again[i].yards))
		assert.Equal(t, m.rippleA, again[i].rippleA)
	}
}

// A passage that begins where another did but ends later is read anew.
func TestPassageOfAnotherLength(t *testing.T) {
	in, _, _ := play(settings{seed: 3, hz: 100, stages: 4, cap: 2})
	w := newWay(in, DefaultConfig())
	all, _ := w.pieces()
	d, v := w.drives[1], all[0].visits[0]
	c := w.driven(v.slot, v.from)
	short := d.passage(v, c)
	v.to += 3_000_000
	long := d.passage(v, c)
	assert.Greater(t, len(long.at), len(short.at))
	assert.Equal(t, d.hardest(v.from, v.to, 2), long.hardest[2])
	assert.Same(t, long, d.passage(v, c))
}
