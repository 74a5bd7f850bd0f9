package motors

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// IEC 60255-149: the time until a thermal relay trips is tau ln((I² - Ip²) / (I² - (k Ib)²))
// with the current Ip before. With tau 600 s and twice the limit that is 172.609243 s from
// cold and 67.997211 s after 0.8 of the limit for long.
func TestThermalMemoryOfTheStandard(t *testing.T) {
	for _, c := range []struct{ before, want float64 }{{0, 172.609243}, {0.8, 67.997211}} {
		for _, dt := range []float64{0.001, 0.02, 1} {
			h := thermal{limitA: 20, tauS: 600, heat: c.before * c.before}
			s := 0.0
			for ; h.heat < 1; s += dt {
				h.step(40, dt)
			}
			assert.InDelta(t, c.want, s, dt, "steps of %g s", dt)
		}
	}
}

func TestHeatOfALog(t *testing.T) {
	m, volts := sound().run(append(work(12), act{s: 5, u: 0.9, held: true}, act{s: 20})...)
	m.LimitA, m.TauS = 25, 10
	got := detectAll(t, volts, m)[0]
	require.NotNil(t, got.Heat)
	// Held for half of its time constant at 36 A, from little: (36/25)² (1 - e^-0.5) = 0.82.
	assert.InDelta(t, 0.85, *got.Heat, 0.05)
	assert.InDelta(t, 12*3.5+2+5, *got.HeatAtS, 0.1)
	m.LimitA = 0
	assert.Nil(t, detectAll(t, volts, m)[0].Heat, "no limit, no share of it")
}

func TestUsualOfEarlierMatches(t *testing.T) {
	row := schemas.Motor{Name: "roller", Side: schemas.CurrentWinding}
	match := func(ohm, free float64, side string) []schemas.Motor {
		return []schemas.Motor{{Name: "other", ResistanceOhm: schemas.Some(9)}, {Name: "roller", Side: side, ResistanceOhm: schemas.Some(ohm), FreeA: schemas.Some(free)}}
	}
	history := [][]schemas.Motor{match(0.30, 2, "winding"), match(0.32, 3, "winding"), match(0.9, 4, "supply")}
	tellUsual(&row, history, DefaultConfig())
	assert.Nil(t, row.UsualResistanceOhm, "two read the same way are too few")
	require.NotNil(t, row.UsualFreeA)
	assert.InDelta(t, 3, *row.UsualFreeA, 0)
	tellUsual(&row, append(history, match(0.31, 3, "winding")), DefaultConfig())
	require.NotNil(t, row.UsualResistanceOhm)
	assert.InDelta(t, 0.31, *row.UsualResistanceOhm, 0)
}
