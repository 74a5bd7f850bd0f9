package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// formChecks do so for the conditions of beams, of faults, and of how the log is written.
var formChecks = map[string]func(t *testing.T, p, plain played){
	"beam-flickers": func(t *testing.T, p, plain played) {
		require.Len(t, p.odd(t), 1)
		id := p.odd(t)[0]
		assert.Greater(t, edges(p.logged(id)), 3*edges(plain.logged(id)))
		assert.Empty(t, p.Truth.Quality.Faults, "a poor sensor is no dead one")
	},
	"beam-sticks": func(t *testing.T, p, _ played) {
		f, s := p.theFault(t)
		assert.Contains(t, []string{frozen, dead}, f.Kind)
		i := slices.Index(s.Time, schemas.Micros(f.StartS))
		require.GreaterOrEqual(t, i, 0)
		assert.Len(t, slices.Compact(slices.Clone(s.Bool[i:])), 1)
		assert.Equal(t, schemas.Seconds(s.Time[s.Len()-1]), f.EndS)
		for _, pass := range p.Truth.Passes {
			for _, stage := range pass.Stages {
				if name := "path/" + stage.Stage + "/beam"; name == f.Signal && stage.EnterS != nil {
					assert.Less(t, *stage.EnterS, f.StartS, "nobody saw it come")
				}
			}
		}
	},
	"beam-comes-back": func(t *testing.T, p, _ played) {
		f, s := p.theFault(t)
		i, j := slices.Index(s.Time, schemas.Micros(f.StartS)), slices.Index(s.Time, schemas.Micros(f.EndS))
		require.Greater(t, j, i)
		assert.Len(t, slices.Compact(slices.Clone(s.Bool[i:j])), 1)
		assert.Greater(t, len(slices.Compact(slices.Clone(s.Bool[j:]))), 1)
		assert.InDelta(t, 22.5, f.EndS-f.StartS, 17.6)
	},
	"beam-misses-some": func(t *testing.T, p, _ played) {
		require.Len(t, p.odd(t), 1)
		id := p.odd(t)[0]
		estimated, told := 0, 0
		for _, pass := range p.Truth.Passes {
			for _, s := range pass.Stages {
				if s.Stage != p.w.recorder.channel(id).of {
					continue
				}
				if s.EnterS == nil && s.EnterEstS != nil {
					estimated++
				} else if s.EnterS != nil {
					told++
				}
			}
		}
		assert.Positive(t, estimated)
		assert.Positive(t, told)
		all, w := 0, p.clean(id).v
		for i := 1; i < len(w); i++ {
			if w[i] > w[i-1] {
				all++
			}
		}
		assert.Less(t, edges(p.logged(id)), all)
		assert.Greater(t, edges(p.logged(id)), all/4)
	},
	"slow-beams": func(t *testing.T, p, plain played) {
		differ := false
		for k, pass := range p.Truth.Passes {
			sound := plain.Truth.Passes[k]
			assert.InDelta(t, *sound.EnterS+0.016, *pass.EnterS, 0.03)
			assert.InDelta(t, *sound.LeaveS+0.035, *pass.LeaveS, 0.045)
			differ = differ || *pass.LeaveS > *sound.LeaveS
		}
		assert.True(t, differ)
	},
	"frozen-sensor": func(t *testing.T, p, _ played) {
		f, s := p.theFault(t)
		assert.Equal(t, frozen, f.Kind)
		i, j := slices.Index(s.Time, schemas.Micros(f.StartS)), slices.Index(s.Time, schemas.Micros(f.EndS))
		assert.Len(t, slices.Compact(slices.Clone(s.Float[i:j])), 1)
		assert.GreaterOrEqual(t, f.EndS-f.StartS, 2.9)
	},
	"dead-sensor": func(t *testing.T, p, _ played) {
		f, s := p.theFault(t)
		assert.Equal(t, dead, f.Kind)
		assert.Equal(t, []float64{0}, slices.Compact(slices.Clone(s.Float)))
		assert.Equal(t, schemas.Seconds(s.Time[0]), f.StartS)
	},
	"no-readings": func(t *testing.T, p, _ played) {
		require.NotEmpty(t, p.Truth.Quality.Faults)
		for _, c := range p.w.recorder.those(func(c *channel) bool { return len(c.faults) > 0 }) {
			s := p.logged(c.id)
			for i, at := range s.Time {
				u := schemas.Seconds(at)
				in := slices.ContainsFunc(p.Truth.Quality.Faults, func(f schemas.Fault) bool {
					return f.Signal == c.name && f.Kind == noReading && f.StartS <= u && (u < f.EndS || u == f.EndS && i+1 == s.Len())
				})
				if in != math.IsNaN(s.Float[i]) {
					t.Errorf("%s at %g: told %v, reads %g", c.id, u, in, s.Float[i])
				}
			}
		}
	},
	"other-units": readsRight, "other-names": readsRight, "mode-numbers": readsRight, "mode-words": readsRight, "mode-bools": readsRight,
	"beams-as-numbers": readsRight, "beams-active-low": readsRight, "distance-beams": readsRight,
	"only-changes": func(t *testing.T, p, plain played) {
		readsRight(t, p, plain)
		assert.Less(t, p.Log.Samples(), plain.Log.Samples()*3/4)
		v := p.logged("power/voltage").Float
		assert.Len(t, slices.Compact(slices.Clone(v)), len(v))
	},
	"radio-gaps": func(t *testing.T, p, _ played) {
		assert.Greater(t, len(p.Truth.Quality.Gaps), 1)
		silentIn(t, p)
	},
	"silent-device": func(t *testing.T, p, _ played) {
		require.NotEmpty(t, p.Truth.Quality.Gaps)
		for _, g := range p.Truth.Quality.Gaps {
			assert.NotEmpty(t, g.Signal)
			assert.InDelta(t, 6.5, g.EndS-g.StartS, 5.7)
		}
		silentIn(t, p)
	},
	"late-rows": func(t *testing.T, p, plain played) {
		assert.True(t, sameLog(p.Log, plain.Log))
		assert.NotNil(t, p.Arrived)
	},
	"doubled-rows": func(t *testing.T, p, plain played) {
		assert.True(t, sameLog(p.Log, plain.Log))
		assert.NotNil(t, p.Arrived)
	},
	"wrong-clock": func(t *testing.T, p, plain played) {
		a, b := plain.logged("power/voltage").Time, p.logged("power/voltage").Time
		n := len(a) - 1
		ppm := (float64(b[n]-b[0])/float64(a[n]-a[0]) - 1) * 1e6
		assert.InDelta(t, p.w.scenario.sensors.clock.ppm, ppm, 0.1)
		assert.InDelta(t, 160, math.Abs(ppm), 141)
		followsClock(t, p, plain)
	},
	"clock-step": func(t *testing.T, p, plain played) {
		require.Len(t, p.Truth.Quality.Gaps, 1)
		g := p.Truth.Quality.Gaps[0]
		assert.InDelta(t, p.w.scenario.sensors.clock.stepS, g.EndS-g.StartS, 0.03)
		silentIn(t, p)
		followsClock(t, p, plain)
	},
	"reboot": func(t *testing.T, p, _ played) {
		require.Len(t, p.Truth.Quality.Gaps, 1)
		g := p.Truth.Quality.Gaps[0]
		assert.InDelta(t, 6.5, g.EndS-g.StartS, 2.6)
		silentIn(t, p)
		score := p.logged("game/score")
		i, _ := slices.BinarySearch(score.Time, schemas.Micros(g.EndS))
		assert.Positive(t, score.Int[i-1])
		assert.Zero(t, score.Int[i], "the counter begins anew")
		assert.Len(t, p.Truth.Match.Periods, 2, "the period goes on")
		pieces := 0
		for _, c := range p.Truth.Cycles {
			pieces += c.Pieces
		}
		assert.Equal(t, p.w.field.score, pieces, "no score is lost in it")
		require.Len(t, p.w.reboots.lost, 1)
		for _, c := range p.Truth.Cycles {
			if c.StartS < g.StartS && g.EndS < c.EndS {
				assert.Nil(t, c.Phases.PlaceS, "its odometry knew nothing")
				assert.Nil(t, c.Why)
			}
		}
	},
	"log-begins-late": func(t *testing.T, p, plain played) {
		first, _, _ := p.Log.Bounds()
		assert.Greater(t, schemas.Seconds(first), plain.Truth.Match.StartS)
		assert.Nil(t, p.Truth.Battery.RestV, "nobody saw it at rest")
		assert.Less(t, *p.Truth.Battery.EnergyWh, *plain.Truth.Battery.EnergyWh)
		assert.InDelta(t, schemas.Seconds(first), p.Truth.Match.StartS, 0.6)
		for k := 1; k < 5; k++ { // the last ones are the same, down to a turn of the loop
			want, got := plain.Truth.Cycles[len(plain.Truth.Cycles)-k], p.Truth.Cycles[len(p.Truth.Cycles)-k]
			assert.InDelta(t, want.StartS, got.StartS, 0.021)
			if want.Complete {
				assert.InDelta(t, *want.Phases.CarryS, *got.Phases.CarryS, 0.03)
			}
		}
		assert.Less(t, len(p.Truth.Passes), len(plain.Truth.Passes))
	},
	"log-ends-early": func(t *testing.T, p, plain played) {
		_, last, _ := p.Log.Bounds()
		assert.Equal(t, schemas.Seconds(last), p.Truth.Match.EndS)
		assert.Less(t, p.Truth.Match.EndS, plain.Truth.Match.EndS-10)
		assert.Less(t, *p.Truth.Battery.EnergyWh, *plain.Truth.Battery.EnergyWh)
		assert.Equal(t, plain.Truth.Cycles[0], p.Truth.Cycles[0])
		assert.False(t, p.Truth.Cycles[len(p.Truth.Cycles)-1].Complete)
	},
}
