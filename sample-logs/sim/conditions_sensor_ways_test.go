package sim

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// placesMissing are the places of the profile that a condition leaves out.
var placesMissing = map[string]string{
	"no-roller-speeds": "path.stages.speed", "no-roller-currents": "path.stages.current", "no-release": "path.release",
	"no-whole-current": "power.current", "no-branches": "power.branches", "no-battery-name": "power.battery", "no-mode": "mode",
	"no-pose": "cycles.pose", "no-aim": "cycles.align", "no-tilt-rate": "balance.rate", "no-drive-command": "balance.drive",
}

// isMissing holds when no signal of that place is both in the log and named, and truth
// knows none of it.
func isMissing(t *testing.T, p played, place string) {
	found := 0
	for _, c := range p.w.recorder.those(under(place)) {
		found++
		assert.True(t, c.unlogged || c.unmapped, c.id)
		assert.Nil(t, p.w.recorder.clean(c.id))
		assert.Equal(t, c.unlogged, p.Log.Find(c.name) == nil)
		assert.Equal(t, !c.unmapped, strings.Contains(string(p.Profile), c.name+"\n"), "%s\n%s", c.id, p.Profile)
	}
	assert.Positive(t, found)
}

// off are the differences of what was logged from the true value.
func (p played) off(id string) (at, off []float64) {
	s, clean := p.logged(id), p.clean(id)
	k := 0
	for i, t := range s.Time {
		for k < len(clean.t) && clean.t[k] < t {
			k++
		}
		if k < len(clean.t) && clean.t[k] == t {
			at, off = append(at, schemas.Seconds(t)-p.w.begin), append(off, s.Number(i)-clean.v[k])
		}
	}
	return at, off
}

// lagOf plays a match again step by step and says by how many steps what was logged of a
// channel follows its true value best.
func lagOf(t *testing.T, condition, id string) int {
	t.Helper()
	s, _ := findScenario("clean")
	o := Options{Scenario: "clean", Seed: 4, With: []string{condition}}
	require.NoError(t, s.prepare(o))
	w := newWorld(s, o)
	c := w.recorder.channel(id)
	var truth []float64
	for last := int(w.until / step); w.steps < last; w.steps++ {
		w.advance()
		truth = append(truth, c.read(w))
	}
	p := played{&Match{Log: w.recorder.log()}, w}
	logged, clean := p.logged(id), p.clean(id)
	best, least := 0, math.Inf(1)
	for lag := range 120 {
		sum := 0.0
		for i, k := range clean.step {
			d := logged.Number(i) - truth[max(0, k-lag)]
			sum += d * d
		}
		if sum < least {
			best, least = lag, sum
		}
	}
	return best
}

func edges(s *schemas.Signal) int {
	n := 0
	for i := 1; i < s.Len(); i++ {
		if s.Bool[i] && !s.Bool[i-1] {
			n++
		}
	}
	return n
}

// odd are the beams that say something else than they would have.
func (p played) odd(t *testing.T) []string {
	t.Helper()
	var out []string
	for _, c := range p.w.recorder.those((*channel).isBeam) {
		_, off := p.off(c.id)
		if slices.ContainsFunc(off, func(v float64) bool { return v != 0 }) {
			out = append(out, c.id)
		}
	}
	return out
}

func (p played) theFault(t *testing.T) (schemas.Fault, *schemas.Signal) {
	t.Helper()
	require.Len(t, p.Truth.Quality.Faults, 1)
	f := p.Truth.Quality.Faults[0]
	return f, p.Log.Find(f.Signal)
}

// readsRight checks that through the profile every signal means what was true.
func readsRight(t *testing.T, p, _ played) {
	parsed, err := profile.Parse("robot.yaml", p.Profile)
	require.NoError(t, err)
	n := 0
	for _, ref := range parsed.Refs() {
		var c *channel
		for _, x := range p.w.recorder.those(func(c *channel) bool { return c.name == ref.Ref.Signal }) {
			c = x
		}
		if c == nil || ref.Want == profile.WantText || ref.Role == "mode.signal" {
			continue
		}
		clean := p.clean(c.id)
		s, err := ref.Ref.FloatIn(p.Log, ref.Unit)
		if ref.Unit.Symbol == "" {
			s, err = ref.Ref.Float(p.Log)
		}
		require.NoError(t, err)
		require.Equal(t, clean.t, s.T, c.id)
		step := 0.0
		if c.per > 0 {
			step = 1 / c.per / max(c.mul, 1e-9)
			if c.mul == 0 {
				step = 1 / c.per
			}
		}
		sum := 0.0
		for i, v := range s.V {
			sum += (v - clean.v[i]) * (v - clean.v[i])
		}
		if c.isBeam() {
			assert.Zero(t, sum, c.id)
		}
		assert.LessOrEqual(t, math.Sqrt(sum/float64(len(s.V))), 1.5*math.Hypot(c.noise, step/math.Sqrt(12))+0.51*step*oneIf(c.noise == 0), c.id)
		n++
	}
	assert.Greater(t, n, 15)
	mode, err := parsed.Mode.Series(p.Log)
	require.NoError(t, err)
	for i, at := range mode.T {
		lead, end := schemas.Micros(p.Truth.Match.StartS), schemas.Micros(p.Truth.Match.EndS)
		assert.Equal(t, at < lead || at >= end || p.between(at), mode.V[i] == schemas.ModeDisabled)
	}
}

// between says whether a time lies between the two periods.
func (p played) between(at int64) bool {
	ps := p.Truth.Match.Periods
	return len(ps) == 2 && schemas.Micros(ps[0].EndS) <= at && at < schemas.Micros(ps[1].StartS)
}

// rate of a signal, samples a second.
func rate(s *schemas.Signal) float64 {
	return float64(s.Len()-1) / schemas.Seconds(s.Time[s.Len()-1]-s.Time[0])
}

func atRate(hz float64) func(*testing.T, played, played) {
	return func(t *testing.T, p, _ played) {
		for _, id := range []string{"power/voltage", "imu/pitch", "path/mouth/beam"} {
			assert.InEpsilon(t, hz, rate(p.logged(id)), 0.07, id)
		}
	}
}

// Whatever the seed, no score falls into a reboot: the counter that begins anew hides none.
func TestRebootsHideNoScore(t *testing.T) {
	t.Parallel()
	for seed := uint64(1); seed <= 5; seed++ {
		m, w := with(t, seed, "reboot")
		p := played{m, w}
		score := p.logged("game/score")
		counted := 0
		for i := 1; i < score.Len(); i++ {
			counted += int(max(0, score.Int[i]-score.Int[i-1]))
		}
		assert.Equal(t, w.field.score, counted, "seed %d", seed)
	}
}

// silentIn checks that in each gap of the truth nothing came, from sample to sample.
func silentIn(t *testing.T, p played) {
	t.Helper()
	for _, g := range p.Truth.Quality.Gaps {
		edges := 0
		for _, s := range p.Log.Signals {
			if g.Signal != "" && s.Name != g.Signal {
				continue
			}
			for _, at := range s.Time {
				u := schemas.Seconds(at)
				if g.StartS+1e-6 < u && u < g.EndS-1e-6 {
					t.Errorf("%s at %g in %v", s.Name, u, g)
				}
				if math.Abs(u-g.StartS) < 1e-6 || math.Abs(u-g.EndS) < 1e-6 {
					edges++
				}
			}
		}
		assert.GreaterOrEqual(t, edges, 2)
	}
}

// followsClock checks that what the truth tells lies on samples of the log, as it did on the
// right clock.
func followsClock(t *testing.T, p, plain played) {
	t.Helper()
	clock := p.w.scenario.sensors.clock
	shows := func(at float64) float64 { return clock.shows(at, p.w.begin) }
	for i, c := range p.Truth.Cycles {
		want := plain.Truth.Cycles[i]
		assert.InDelta(t, shows(want.StartS), c.StartS, 2e-6)
		assert.InDelta(t, shows(want.EndS), c.EndS, 2e-6)
		if ph := c.Phases; ph.ReturnS != nil && ph.CollectS != nil {
			assert.InDelta(t, c.DurationS, *ph.ReturnS+*ph.CollectS+*ph.CarryS+*ph.PlaceS, 1e-5)
		}
		if c.Complete {
			_, found := slices.BinarySearch(p.logged("game/score").Time, schemas.Micros(c.EndS))
			assert.True(t, found, "no score sample at %g", c.EndS)
		}
	}
	for i, pass := range p.Truth.Passes {
		want := plain.Truth.Passes[i]
		assert.InDelta(t, shows(*want.EnterS), *pass.EnterS, 2e-6)
		assert.InDelta(t, shows(*want.Stages[0].LeaveS), *pass.Stages[0].LeaveS, 2e-6)
	}
	for i, b := range p.Truth.Balances {
		assert.InDelta(t, shows(plain.Truth.Balances[i].StartS), b.StartS, 2e-6)
	}
}
