package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/schemas"
)

// readingChecks show in the log, against the true state, what each condition of rates, readings
// and the IMU says of itself.
var readingChecks = map[string]func(t *testing.T, p, plain played){
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
}
