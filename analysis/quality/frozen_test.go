package quality

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// turned is the speed of a roller that turns three seconds in ten, in steps of 0.25 with noise.
func turned(seed uint64, noise, step float64) *schemas.Signal {
	r := rand.New(rand.NewPCG(seed, 3))
	return sampled("speed", 50, 120, func(s float64) float64 {
		v := 0.0
		if math.Mod(s, 10) > 7 {
			v = 40
		}
		return math.Round((v+noise*r.NormFloat64())/step)*step + 0
	})
}

func held(s *schemas.Signal, from, to float64) *schemas.Signal {
	last := 0.0
	for i, t := range s.Time {
		switch at := schemas.Seconds(t); {
		case at < from:
			last = s.Float[i]
		case at < to:
			s.Float[i] = last
		}
	}
	return s
}

func TestFrozen(t *testing.T) {
	speed := Mapped{Signal: "speed", Role: "path.stages[0].speed", RestsAtZero: true}
	for _, c := range []struct {
		name string
		s    *schemas.Signal
		want []string
	}{
		{"as it turned", held(turned(1, 0.1, 0.25), 28, 38), []string{"speed frozen"}},
		{"as it rested", held(turned(2, 0.1, 0.25), 31, 36), []string{"speed frozen"}},
		{"under a second", held(turned(3, 0.1, 0.25), 28, 28.9), nil},
		{"a roller that reads exactly 0 at rest", turned(4, 0, 0.25), nil},
		{"coarse steps", turned(5, 0.1, 2.5), nil},
		{"sound", turned(6, 0.1, 0.25), nil},
		{"three times: something it does", held(held(held(turned(7, 0.1, 0.25), 28, 33), 58, 63), 88, 93), nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := detect([]*schemas.Signal{c.s}, speed).Faults
			assert.ElementsMatch(t, c.want, kinds(got), "%v", got)
			for _, f := range got {
				assert.Greater(t, *f.Confidence, 0.9)
			}
		})
	}
}

// A lift that holds its load draws the same all the while, and in coarse steps reads the same
// until it moves again. What repeats through a move is frozen, and so is what repeats while it
// holds where a sound reading does not.
func TestAHeldLiftIsNotFrozen(t *testing.T) {
	var moves []float64 // s, each takes one
	for at := 4.0; at < 235; at += 6 {
		if at < 100 || at > 140 {
			moves = append(moves, at)
		}
	}
	var works []series.Interval
	for _, at := range moves {
		works = append(works, series.Interval{Start: schemas.Micros(at), End: schemas.Micros(at + 1)})
	}
	current := func(step float64) *schemas.Signal {
		r := rand.New(rand.NewPCG(8, 8))
		return sampled("current", 50, 240, func(s float64) float64 {
			amps := 10.0
			for _, at := range moves {
				if s >= at && s < at+1 {
					amps = 20 + 10*r.NormFloat64()
				}
			}
			return math.Round((amps+0.2*r.NormFloat64())/step) * step
		})
	}
	lift := Mapped{Signal: "current", Role: "moves[0].current", RestsAtZero: true, Works: works}
	for _, c := range []struct {
		name string
		s    *schemas.Signal
		want []string
	}{
		{"coarse, and held for long once", current(2.5), nil},
		{"coarse, and the same through moves", held(current(2.5), 101, 160), []string{"current frozen"}},
		{"fine, and the same while it holds", held(current(0.1), 105, 130), []string{"current frozen"}},
	} {
		assert.ElementsMatch(t, c.want, kinds(detect([]*schemas.Signal{c.s}, lift).Faults), c.name)
	}
}

// A run of heads is geometric: of n runs the longest is about log(n) long over the logarithm
// of one over the chance of another head (Schilling, The longest run of heads, 1990, from
// memory). As long a run is no wonder, and one of several times that length is.
func TestTooLongARunOfHeads(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	var runs []run
	for range 2000 {
		n := 1
		for r.Float64() < 0.5 {
			n++
		}
		runs = append(runs, run{from: 0, to: n})
	}
	longest := int(math.Log2(2000))
	sorted := byLength(runs)
	assert.Less(t, tooLong(run{to: longest}, sorted), 3.0)
	assert.Less(t, tooLong(run{to: 2 * longest}, sorted), frozenOdds)
	assert.Greater(t, tooLong(run{to: 10 * longest}, sorted), frozenOdds)
	assert.Zero(t, tooLong(run{to: 10 * longest}, sorted[:20]), "too few to tell")
}

func TestDead(t *testing.T) {
	zero := sampled("current", 50, 20, func(float64) float64 { return 0 })
	works := func(to float64) []series.Interval { return []series.Interval{{Start: 0, End: schemas.Micros(to)}} }
	for _, c := range []struct {
		name string
		s    *schemas.Signal
		m    Mapped
		dead bool
	}{
		{"at work for two seconds", zero, Mapped{RestsAtZero: true, Works: works(2)}, true},
		{"at work for nearly two", zero, Mapped{RestsAtZero: true, Works: works(math.Nextafter(2, 0) - 1e-6)}, false},
		{"a motor nobody used", zero, Mapped{RestsAtZero: true}, false},
		{"restless by its kind", zero, Mapped{Restless: true}, true},
		{"neither at rest nor restless: a command, a count", zero, Mapped{Works: works(9)}, false},
		{"one other reading", zeroed(sampled("current", 50, 20, func(s float64) float64 { return 1 }), 0.01, 30), Mapped{RestsAtZero: true, Works: works(9)}, false},
		{"too few readings", sampled("current", 5, 19, func(float64) float64 { return 0 }), Mapped{RestsAtZero: true, Works: works(9)}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.m.Signal = "current"
			got := detect([]*schemas.Signal{c.s}, c.m).Faults
			if !c.dead {
				assert.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			assert.Equal(t, Dead, got[0].Kind)
		})
	}
}
