package path

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// What a piece is slower by everywhere is its own, and its law here is that of such a piece.
func TestPace(t *testing.T) {
	w := &way{}
	usual := newLaw(distuv.StudentsT{Mu: math.Log(0.5), Sigma: 0.08, Nu: 20}, 9)
	read := func(off ...float64) (out []reading) {
		for _, u := range off {
			out = append(out, reading{y: math.Log(0.5) + 0.08*u, law: usual, ok: true})
		}
		return out
	}
	alike := [][]reading{read(1, 1.1, 0.9, 1), read(-1, -0.9, -1.1, -1), read(0.5, 0.4, 0.6, 0.5), read(-0.5, -0.6, -0.4, -0.5)}
	own := w.shareOwn(alike)
	assert.Greater(t, own, 0.6)
	assert.Zero(t, w.shareOwn([][]reading{read(1, -1, 1, -1), read(-1, 1, -1, 1), read(1, -1, 1, -1), read(-1, 1, -1, 1)}), "none is a piece's own")
	assert.InDelta(t, 0.3, w.shareOwn(nil), 1e-9, "nothing seen: a guess")

	// With share r of the variance its own, k readings u of a piece tell of one more that its mean
	// is k r/(1+(k-1) r) of theirs and its variance 1 - k r r/(1+(k-1) r) (best linear prediction).
	p := w.pace(read(1, 1, 1, 9), 3, 0.5)
	assert.InDelta(t, 3*0.5/2, p.off, 1e-9)
	assert.InDelta(t, math.Sqrt(1-3*0.25/2), p.narrow, 1e-9)
	of := usual.of(p)
	assert.InDelta(t, 0.5*math.Exp(0.08*p.off), of.usual(), 1e-9)
	assert.Less(t, of.within(in99)/of.usual(), usual.within(in99)/usual.usual())
	alone := w.pace(read(9), 0, 0.5)
	assert.Zero(t, alone.off)
	assert.InDelta(t, 1, alone.narrow, 1e-9, "nothing is known of it: the law of all pieces")
}

// A piece that took nearly twice as long in every other slot is most likely a slick one, and
// one that went as usual is not.
func TestSlickPieces(t *testing.T) {
	in, _, _ := play(settings{seed: 5, hz: 100, stages: 5, cap: 1})
	w := newWay(in, DefaultConfig())
	all, _ := w.pieces()
	long := func(j journey) bool { return len(j.visits) > 5 }
	n := 0
	for _, j := range all {
		if long(j) {
			assert.Less(t, w.pace(w.readings([]journey{j})[0], -1, 0.3).slick, 0.1)
			n++
		}
	}
	require.NotZero(t, n)
	for slot := range w.laws { // the same pieces, where others go as fast again
		w.laws[slot].dist.Mu -= 0.6
	}
	for _, j := range all {
		if long(j) {
			got := w.pace(w.readings([]journey{j})[0], -1, 0.3)
			assert.Greater(t, got.slick, 0.9)
			assert.InDelta(t, 0.6, got.law.Mu, 0.2)
		}
	}
}
