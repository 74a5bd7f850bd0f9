package sim

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

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

// sensorChecks show in the log, against the true state, what each condition says of itself.
var sensorChecks = map[string]func(t *testing.T, p, plain played){
	"few-beams": func(t *testing.T, p, _ played) {
		var seen []string
		for _, c := range p.w.recorder.those((*channel).isBeam) {
			if p.w.recorder.clean(c.id) != nil {
				seen = append(seen, c.of)
			}
		}
		assert.Equal(t, []string{"mouth", "gate"}, seen)
	},
	"no-commands": func(t *testing.T, p, _ played) {
		for _, b := range p.w.path.belts {
			assert.Equal(t, b.blind, p.w.recorder.clean("path/"+b.name+"/command") != nil, b.name)
		}
	},
	"no-section": func(t *testing.T, p, _ played) {
		for _, section := range []string{"power", "path", "cycles", "balance", "moves"} {
			if c := p.w.recorder.those(under(section)); c[0].unlogged || c[0].unmapped {
				isMissing(t, p, section)
				return
			}
		}
		t.Fatal("every section is there")
	},
	"log-20-hz": atRate(20), "log-50-hz": atRate(50), "log-100-hz": atRate(100), "log-200-hz": atRate(200), "log-250-hz": atRate(250),
	"log-1000-hz": atRate(1000 / 1.05), // a turn that is late by a millisecond is one missed
	"mixed-rates": func(t *testing.T, p, _ played) {
		rates := map[int]bool{}
		for _, c := range p.w.recorder.those(func(c *channel) bool { return c.periodic() && c.when == nil }) {
			assert.InEpsilon(t, 200/float64(c.every), rate(p.logged(c.id)), 0.05, c.id)
			rates[c.every] = true
		}
		assert.Greater(t, len(rates), 2)
	},
	"odd-rates": func(t *testing.T, p, _ played) {
		odd := 0
		for _, c := range p.w.recorder.those(func(c *channel) bool { return c.hz > 0 && c.when == nil }) {
			assert.InEpsilon(t, c.hz, rate(p.logged(c.id)), 0.02, c.id)
			odd++
		}
		assert.Positive(t, odd)
	},
	"other-noise": func(t *testing.T, p, plain played) {
		for _, id := range []string{"power/voltage", "power/current", "imu/pitch_rate", "imu/pitch"} {
			c, usual := p.w.recorder.channel(id), plain.w.recorder.channel(id)
			assert.GreaterOrEqual(t, c.noise, 0.3*usual.noise)
			assert.LessOrEqual(t, c.noise, 4*usual.noise)
			_, off := p.off(id)
			if c.noise*c.per > 0.5 {
				assert.InEpsilon(t, math.Sqrt(c.noise*c.noise+1/(12*c.per*c.per)), stat.StdDev(off, nil), 0.1, id)
			}
		}
		assert.InEpsilon(t, p.w.recorder.channel("power/voltage").noise/0.018, p.w.recorder.channel("power/current").noise/0.35, 1e-9)
	},
	"coarse-steps": func(t *testing.T, p, plain played) {
		for _, c := range p.w.recorder.those((*channel).measured) {
			usual := plain.w.recorder.channel(c.id).per / c.per
			assert.GreaterOrEqual(t, usual, 2.0, c.id)
			assert.LessOrEqual(t, usual, 10.0, c.id)
			for _, v := range p.logged(c.id).Float[:50] {
				assert.InDelta(t, math.Round(v*c.per), v*c.per, 1e-6, c.id)
			}
		}
	},
	"jitter": func(t *testing.T, p, plain played) {
		spread := func(p played) float64 {
			var steps []float64
			times := p.logged("imu/pitch").Time
			for i := 1; i < len(times); i++ {
				steps = append(steps, float64(times[i]-times[i-1])/1000)
			}
			return stat.StdDev(steps, nil)
		}
		assert.Greater(t, spread(p), 2.5*spread(plain))
		assert.Less(t, spread(p), 15.0)
	},
	"late-currents": func(t *testing.T, p, _ played) {
		lag := p.w.recorder.channel("power/current").behind.lag
		assert.GreaterOrEqual(t, lag, 10)
		assert.Equal(t, lag, lagOf(t, "late-currents", "power/current"))
		assert.Equal(t, lag, p.w.recorder.channel("power/branch/0").behind.lag)
		assert.Nil(t, p.w.recorder.channel("power/voltage").behind)
	},
	"late-device": func(t *testing.T, p, _ played) {
		late := p.w.recorder.those(func(c *channel) bool { return c.behind != nil })
		require.NotEmpty(t, late)
		for _, c := range late {
			assert.Equal(t, late[0].behind.lag, c.behind.lag)
			assert.Equal(t, late[0].device(), c.device())
		}
		if c := late[0]; c.when == nil {
			assert.InDelta(t, c.behind.lag, lagOf(t, "late-device", c.id), 1, c.id)
		}
	},
	"slow-currents": func(t *testing.T, p, plain played) {
		tau := p.w.recorder.channel("power/current").behind.tau
		assert.GreaterOrEqual(t, tau, 0.02)
		assert.LessOrEqual(t, tau, 0.08)
		assert.Less(t, slices.Max(p.logged("power/current").Float), slices.Max(plain.logged("power/current").Float))
	},
	"current-errors": func(t *testing.T, p, _ played) {
		s, clean := p.logged("power/current"), p.clean("power/current")
		offset, gain := stat.LinearRegression(clean.v, s.Float, nil, false)
		assert.InDelta(t, 1, gain, 0.08)
		assert.InDelta(t, 0, offset, 1.6)
		assert.Greater(t, math.Abs(gain-1)+math.Abs(offset), 0.02)
	},
	"roller-encoder-slips": func(t *testing.T, p, _ played) {
		odd := 0
		for _, c := range p.w.recorder.those(func(c *channel) bool { return c.role == "path.stages.speed" }) {
			_, off := p.off(c.id)
			if slices.ContainsFunc(off, func(v float64) bool { return math.Abs(v) > 5 }) {
				odd++
			}
		}
		assert.Equal(t, 1, odd)
	},
	"wheels-slip": func(t *testing.T, p, plain played) {
		worst := func(p played) float64 {
			x, out := p.clean("pose/x"), 0.0
			for i, k := range x.step {
				out = max(out, math.Abs(x.v[i]-p.w.track[k/10].X))
			}
			return out
		}
		assert.Greater(t, worst(p), 0.15)
		assert.Greater(t, worst(p), 1.5*worst(plain))
	},
	"imu-spikes": func(t *testing.T, p, _ played) {
		_, off := p.off("imu/pitch")
		n := 0
		for _, v := range off {
			if math.Abs(v) > 3 {
				n++
				assert.Less(t, math.Abs(v), 41.0)
			}
		}
		assert.Greater(t, float64(n)/float64(len(off)), 0.002)
		assert.Less(t, float64(n)/float64(len(off)), 0.04)
	},
	"imu-drifts": func(t *testing.T, p, _ played) {
		at, off := p.off("imu/pitch")
		bias, drift := stat.LinearRegression(at, off, nil, false)
		assert.InDelta(t, 0.7, math.Abs(bias), 0.52)
		assert.InDelta(t, 0.45, math.Abs(drift)*60, 0.37)
		_, off = p.off("imu/pitch_rate")
		assert.InDelta(t, 0.85, math.Abs(stat.Mean(off, nil)), 0.67)
	},
	"imu-mounted-askew": func(t *testing.T, p, _ played) {
		_, off := p.off("imu/pitch")
		assert.InDelta(t, 1.65, math.Abs(stat.Mean(off, nil)), 0.87)
		assert.Less(t, stat.StdDev(off, nil), 0.2)
	},
	"imu-turned-round": func(t *testing.T, p, _ played) {
		for _, id := range []string{"imu/pitch", "imu/pitch_rate"} {
			assert.Less(t, stat.Correlation(p.logged(id).Float, p.clean(id).v, nil), -0.9, id)
		}
	},
	"imu-feels-turns": func(t *testing.T, p, plain played) {
		_, off := p.off("imu/pitch")
		_, usual := plain.off("imu/pitch")
		assert.Greater(t, stat.StdDev(off, nil), 1.5*stat.StdDev(usual, nil))
	},
	"imu-drops-out": func(t *testing.T, p, _ played) {
		require.NotEmpty(t, p.Truth.Quality.Faults)
		s := p.logged("imu/pitch")
		for _, f := range p.Truth.Quality.Faults {
			assert.Equal(t, frozen, f.Kind)
			assert.LessOrEqual(t, f.EndS-f.StartS, 1.6)
			for i, at := range s.Time {
				if u := schemas.Seconds(at); f.StartS <= u && u < f.EndS-1e-9 {
					assert.Zero(t, s.Float[i])
				}
			}
		}
	},
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
