package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
)

// longMatch is a match of 300 signals and seven million samples: a simulated one,
// which the analyses have their work with, and beside it what a large robot logs besides,
// 160 signals at 50 Hz, 80 at 200 Hz and 20 at 1 kHz. Of each rate most are numbers in the
// steps of a converter, others have noise in every bit, are held states, or count.
func longMatch(t testing.TB) (*schemas.Log, *robotProfile) {
	t.Helper()
	m, err := sim.Run("demo", 1)
	require.NoError(t, err)
	prof, err := parseProfile("heron.yaml", m.Profile)
	require.NoError(t, err)
	first, last, _ := m.Log.Bounds()
	random := rand.New(rand.NewPCG(1, 1))
	for _, g := range []struct{ count, hz int }{{160, 50}, {80, 200}, {20, 1000}} {
		for i := range g.count {
			m.Log.Signals = append(m.Log.Signals, besides(fmt.Sprintf("besides/%d/%03d", g.hz, i), i, first, last, 1e6/int64(g.hz), random))
		}
	}
	m.Log.Normalize()
	require.Len(t, m.Log.Signals, 300)
	return m.Log, prof
}

// besides is one signal with a jitter of some percent of its step.
func besides(name string, i int, first, last, step int64, random *rand.Rand) *schemas.Signal {
	s := &schemas.Signal{Name: name, Kind: schemas.Float64}
	if i%8 == 6 {
		s.Kind = schemas.Bool
	} else if i%8 == 7 {
		s.Kind = schemas.Int64
	}
	f, phase, state, count := 0.05+random.Float64(), 2*math.Pi*random.Float64(), false, int64(0)
	for at := first; at < last; at += step {
		s.Time = append(s.Time, at+random.Int64N(step/20+1))
		x := 10*math.Sin(f*float64(at)/1e6+phase) + 0.3*random.NormFloat64()
		switch {
		case s.Kind == schemas.Bool:
			state = state != (random.IntN(200) == 0)
			s.Bool = append(s.Bool, state)
		case s.Kind == schemas.Int64:
			count += int64(random.IntN(100) / 99)
			s.Int = append(s.Int, count)
		case i%8 == 5:
			s.Float = append(s.Float, x)
		default:
			s.Float = append(s.Float, math.Round(x*64)/64)
		}
	}
	return s
}
