package path

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// A piece stands for as long as it took too long: the load of its motor is higher for just that
// time, and a hand-over strains it as much later on. The stop is where the one began, and is
// told more surely than by a load that was only known to rise.
func TestLoadOfAStandEndsWithIt(t *testing.T) {
	const (
		stood, stopped = 0.5, 1.0 // s
		high           = 0.4
	)
	noise := rand.New(rand.NewPCG(1, 2))
	tr := trail{pass: 0.1, to: high, bears: 0.2, sigma: 0.08}
	for at := 0.0; at < 2.4; at += 0.02 {
		y := 0.0
		if at >= stopped && at < stopped+stood || at >= 2 {
			y = high
		}
		later := 0.0
		if at >= 2 {
			later = high // the hand-over, put off by the stand
		}
		tr.t, tr.y = append(tr.t, schemas.Micros(at)), append(tr.y, y+0.08*noise.NormFloat64())
		tr.usual, tr.later, tr.w = append(tr.usual, 0), append(tr.later, later), append(tr.w, 1)
	}
	fits := func(stop float64, to float64, ends bool) float64 {
		again := never
		if ends {
			again = series.Interval{Start: schemas.Micros(stop + stood - 0.05), End: schemas.Micros(stop + stood + 0.05)}
		}
		return tr.fits(schemas.Micros(stop), to, again)
	}
	for _, wrong := range []float64{0.5, 0.8, 1.2, 1.6, 2} {
		assert.Greater(t, fits(stopped, high, true), fits(wrong, high, true)+10, "a stop at %g s", wrong)
	}
	assert.Greater(t, fits(stopped, high, true), fits(stopped, high, false)+10, "than with a load that stays")
	assert.Greater(t, fits(stopped, high, true), fits(stopped, tr.bears, true)+5, "than with that of a piece that moves")
}

// The piece moves again once it has been driven for what it took too long; of one that never
// went on, or was hardly slow, nothing is known.
func TestWhenAStandEnds(t *testing.T) {
	c := relay{{from: 0, clock: newClock([]int64{0, schemas.Micros(1), schemas.Micros(2)}, []float64{1, 0, 1}, schemas.Micros(9), true)}}
	s := stand{x: 1.5, done: true}
	s.law = guess(1, DefaultConfig()).predict(9)
	s.law.dist.Sigma = 0.1
	again, stood := s.again(c, []int64{0, schemas.Micros(0.8)})
	assert.InDelta(t, 0.5, stood, 1e-9)
	assert.InDelta(t, 0.4, schemas.Seconds(again[0].Start), 1e-3)
	assert.InDelta(t, 0.6, schemas.Seconds(again[0].End), 1e-3)
	assert.InDelta(t, 2.2, schemas.Seconds(again[1].Start), 1e-3, "not while it was not driven")
	s.done = false
	again, _ = s.again(c, []int64{0})
	assert.Nil(t, again)
	s.done, s.x = true, 1.1
	again, _ = s.again(c, []int64{0})
	assert.Nil(t, again)
}
