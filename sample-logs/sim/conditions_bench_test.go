package sim

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ready is a world about to begin, with conditions on.
func ready(t *testing.T, seed uint64, with ...string) *world {
	t.Helper()
	s, _ := findScenario("clean")
	o := Options{Scenario: s.name, Seed: seed, With: with}
	require.NoError(t, s.prepare(o))
	return newWorld(s, o)
}

// letGo lets the empty board go at an angle and a rate and gives its angle every millisecond.
func (p *platform) letGo(angle, rate, push, seconds float64) []float64 {
	p.hooked, p.latched, p.angle, p.rate, p.push = false, 0, angle, rate, push
	var out []float64
	for range int(seconds / step) {
		p.step(away(), step)
		out = append(out, p.angle)
	}
	return out
}

// swings counts how often the board comes through level and on by more than a hundredth.
func swings(angles []float64) (n int) {
	side := 1.0
	for _, a := range angles {
		if a*side < -0.01 {
			n, side = n+1, -side
		}
	}
	return n
}

// Each board does on the bench what its summary says, and the usual one does not.
func TestBoardsDoWhatTheySay(t *testing.T) {
	after := func(p *platform, angle, push, seconds float64) float64 {
		all := p.letGo(angle, 0, push, seconds)
		return math.Abs(all[len(all)-1])
	}
	for name, does := range map[string]func(p *platform) bool{
		"springy-board": func(p *platform) bool { return swings(p.letGo(0.12, 0, 0, 8)) >= 1 },
		"free-board":    func(p *platform) bool { return after(p, 0.12, 0, 1) > 0.07 },
		"damped-board":  func(p *platform) bool { return after(p, 0.12, 0, 1) > 0.03 && swings(p.letGo(0.12, 0, 0, 8)) == 0 },
		"smooth-board":  func(p *platform) bool { return p.rub <= 0.5 && p.stiff <= 200 && p.damp >= 100 },
		"sticky-board": func(p *platform) bool { // 10 N m do not start it
			at := 10 / p.stiff
			return after(p, at, 0, 2) == at
		},
		"clicking-board": func(p *platform) bool { return after(p, 0, 20, 3) < 1.6*degree },
		"slack-board":    func(p *platform) bool { return after(p, 0.9*degree, 0, 2) > 0.89*degree },
		"bouncing-board": func(p *platform) bool { // back from the stop it flies at least a third as fast
			all := p.letGo(p.stop-0.0005, 0.6, 0, 0.01)
			top := slices.Index(all, p.stop)
			return top >= 0 && (all[top]-all[top+1])/step > 0.19
		},
	} {
		for seed := uint64(1); seed <= 6; seed++ {
			assert.True(t, does(ready(t, seed, name).platform), "%s, seed %d", name, seed)
			assert.False(t, does(ready(t, seed).platform), "without %s, seed %d", name, seed)
		}
	}
	grip := func(w *world) float64 {
		before := w.chassis.grip
		w.chassis.x, w.chassis.y = w.platform.x, w.platform.y
		w.platform.underfoot(w.chassis)
		return w.chassis.grip / before
	}
	assert.InDelta(t, 0.45, grip(ready(t, 1, "slick-board")), 0.15)
	assert.Equal(t, 1.0, grip(ready(t, 1)))
}

// answer is a loop's command after a second of a steady tilt in deg and rate in deg/s.
func answer(l leveller, tilt, rate float64) float64 {
	out := 0.0
	for range 100 {
		out = l.command(tilt, rate, 0.01)
	}
	return out
}

// Each levelling loop answers on the bench as its summary says, and the usual one does not.
func TestLoopsDoWhatTheySay(t *testing.T) {
	rate := func(l leveller) float64 { // how much a deg/s counts for a deg
		return (answer(l, 4, 4) - answer(l, 4, 0)) / answer(l, 4, 0)
	}
	for name, does := range map[string]func(l leveller) bool{
		"tilt-only":       func(l leveller) bool { return rate(l) == 0 },
		"little-rate":     func(l leveller) bool { return rate(l) > 0.07 && rate(l) < 0.31 },
		"much-rate":       func(l leveller) bool { return rate(l) > 1.1 },
		"full-or-nothing": func(l leveller) bool { return answer(l, 3, 0) == answer(l, 11, 0) && answer(l, 0.4, 0) == 0 },
		"slow-command": func(l leveller) bool {
			most, was := 0.0, 0.0
			for range 100 {
				now := l.command(11, 0, 0.01)
				most, was = max(most, now-was), now
			}
			return most < 0.0041
		},
		"noisy-rate": func(l leveller) bool {
			l.r = stream(1, "bench")
			low, high := math.Inf(1), math.Inf(-1)
			for k := range 200 {
				if now := l.command(4, 0, 0.01); k >= 100 {
					low, high = min(low, now), max(high, now)
				}
			}
			return high-low > 0.005
		},
		"weak-command": func(l leveller) bool { return answer(l, 10, 0) == answer(l, 12, 0) && answer(l, 12, 0) <= 0.12 },
		"sticky-drive": func(l leveller) bool { return l.sticky >= 0.03 && l.quiet == 0 },
		"winds-up":     func(l leveller) bool { return answer(l, 6, 0) > l.kp*6+0.003 },
		"late-levelling": func(l leveller) bool { // tilts 0.05 s old and older: no answer for so long
			first := 0
			for l.command(11, 0, 0.01) == 0 {
				first++
			}
			return 5 <= first && first <= 12
		},
	} {
		for seed := uint64(1); seed <= 6; seed++ {
			assert.True(t, does(newLeveller(ready(t, seed, name))), "%s, seed %d", name, seed)
			assert.False(t, does(newLeveller(ready(t, seed))), "without %s, seed %d", name, seed)
		}
	}
	for seed := uint64(1); seed <= 6; seed++ {
		well := rate(newLeveller(ready(t, seed, "levels-well")))
		assert.True(t, 0.49 < well && well < 0.91, "%g", well)
	}
}

// Each condition there is has a test that calls it by its name.
func TestEveryConditionIsTested(t *testing.T) {
	files, err := filepath.Glob("*_test.go")
	require.NoError(t, err)
	var all strings.Builder
	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(t, err)
		all.Write(text)
	}
	for _, c := range Conditions() {
		assert.Contains(t, all.String(), `"`+c.Name+`"`)
	}
}
