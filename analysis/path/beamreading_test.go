package path

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// flicker turns the readings of a sampled beam over at random from one time to another, in
// runs of a mean length.
func flicker(s *series.Bool, from, to, lasts float64, rnd *rand.Rand) {
	on := false
	for i, at := range s.T {
		if now := schemas.Seconds(at); now < from || now >= to {
			continue
		}
		if rnd.Float64() < schemas.Seconds(s.T[1]-s.T[0])/lasts {
			on = !on
		}
		if on {
			s.V[i] = !s.V[i]
		}
	}
}

// What a beam shows in a spell is hardly a piece; the pieces before and after it are.
func TestSpells(t *testing.T) {
	wrong, spells, lost := 0.0, 0, 0
	const matches = 20
	for seed := range uint64(matches) {
		rnd := rand.New(rand.NewPCG(seed, 1))
		s := rows(100, repeat(repeat(".", 600)+repeat("#", 30), 10)+repeat(".", 600))
		for k := range 10 {
			from := 6.3*float64(k) + 2 + rnd.Float64()
			flicker(s, from, from+1.5, 0.05, rnd)
		}
		b := watch(s, 0, s.T[len(s.T)-1], DefaultConfig())
		spells += len(b.spells)
		pieces := 0
		for _, x := range b.blocks {
			if into := schemas.Seconds(x.from); int(into*100+0.5)%630 == 600 && x.real > 0.9 {
				pieces++
			} else {
				wrong += x.real
			}
		}
		lost += 10 - pieces
	}
	assert.Zero(t, lost, "pieces outside of the spells")
	assert.Less(t, wrong/matches, 6.0, "pieces among some 150 flashes in ten spells")
	assert.InDelta(t, 10*matches, spells, 3*matches)
}

// A beam that is quiet for longer than any false reading before the first block and after the
// last is no other for being quiet longer.
func TestQuietEndsTeachABeamNothing(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 8))
	for range 60 {
		readings := repeat(".", 150)
		for range 3 + rnd.IntN(20) {
			readings += repeat(".", 1+rnd.IntN(60)) + repeat("#", 1+rnd.IntN(20))
		}
		lead := 1 + rnd.IntN(1000)
		readings += repeat(".", 150)
		short := rows(50, readings)
		long := rows(50, repeat(".", lead)+readings+repeat(".", 1+rnd.IntN(1000)))
		for i := range long.T {
			long.T[i] -= schemas.Micros(float64(lead) / 50)
		}
		was := watch(short, 0, short.T[len(short.T)-1], DefaultConfig())
		got := watch(long, 0, long.T[len(long.T)-1], DefaultConfig())
		assert.Equal(t, was.spells, got.spells)
		for i := range got.blocks {
			assert.InDelta(t, was.blocks[i].real, got.blocks[i].real, 1e-6)
			was.blocks[i].real = got.blocks[i].real
		}
		assert.Equal(t, was.blocks, got.blocks)
	}
}

// However often a beam bounces as pieces pass, the seconds it stays clear after the last of
// them are no bounce.
func TestAClearBeamAtTheEndIsNoDropout(t *testing.T) {
	s := rows(50, repeat(repeat(".", 100)+"#.#"+repeat("#", 20), 10)+repeat(".", 60))
	b := watch(s, 0, s.T[len(s.T)-1], DefaultConfig())
	last := b.blocks[len(b.blocks)-1]
	assert.InDelta(t, schemas.Seconds(s.T[len(s.T)-60]), schemas.Seconds(last.to), 1e-9)
}

// A beam that is blocked for thousands of times what a piece is thought to take has no more
// explanations than any other: so many pieces in contact there are not.
func TestALongBlockHasFewExplanations(t *testing.T) {
	l := newTimeline(120, fourStages...)
	l.block("mouth", 15, 110)
	l.drive(1, 119, 0.8)
	w := newWay(l.input(), DefaultConfig())
	w.laws[0] = newLaw(distuv.StudentsT{Mu: math.Log(0.001), Sigma: 0.2, Nu: 9}, 8)
	w.chain()
	most := 0
	w.witness = func(_ happened, _, after []*track) { most = max(most, len(after)) }
	w.follow()
	assert.Positive(t, most)
	assert.Less(t, most, 20*w.cfg.Tracks)
}
