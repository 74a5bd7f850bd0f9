package path

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// settings of one generated match.
type settings struct {
	seed    uint64
	hz      float64
	jamRate float64 // chance of a jam per piece and stage
	stages  int
	noEye   []int  // stages without a beam
	cap     int    // pieces it carries at most
	mute    string // "", "speed", "current", "motor": what is not logged
	flicker float64
	drop    float64
	weak    bool
	long    float64
}

// play runs a whole match: drive up, take in pieces, carry them to the gate, wait, release.
func play(s settings) (Input, []trueJam, int) {
	rnd := rand.New(rand.NewPCG(s.seed, 77))
	r := &robot{rnd: rnd, length: 0.16 + 0.1*rnd.Float64(), lag: 0.04 + 0.06*rnd.Float64(), full: 0.6 + 0.4*rnd.Float64(), together: rnd.IntN(2) == 0}
	if rnd.IntN(2) == 0 {
		r.press = 0.06 + 0.08*rnd.Float64()
	}
	x := 0.0
	for i := range s.stages {
		r.zone = append(r.zone, x)
		reach := 0.3 + 0.25*rnd.Float64()
		eye := x + reach*(0.3+0.4*rnd.Float64())
		if slices.Contains(s.noEye, i) {
			eye = math.NaN()
		}
		r.eye = append(r.eye, eye)
		r.speed = append(r.speed, 0.9+0.8*rnd.Float64())
		x += reach
	}
	r.zone = append(r.zone, x)
	last := s.stages - 1
	r.gate = r.zone[last] + 0.9*(x-r.zone[last])
	if !math.IsNaN(r.eye[last]) {
		r.gate = r.eye[last] + 0.05
	}
	r.command, r.roll, r.amps = make([]float64, s.stages), make([]float64, s.stages), make([]float64, s.stages)
	sag := 0.0
	level := 12.4
	if s.weak {
		level = 9.5
	}
	r.battery = func(t float64) float64 { return level - 0.005*t - sag }
	rec := newRecorder(r, s.hz)
	rec.miss, rec.drop = s.flicker, s.drop
	rec.current = s.mute != "current" && s.mute != "motor"
	rec.rpm = s.mute != "speed" && s.mute != "motor"
	length := 150.0
	if s.long > 0 {
		length = s.long
	}
	rec.periods = []schemas.Period{{Name: "autonomous", StartS: 5, EndS: 20}, {Name: "driver", StartS: 21, EndS: length - 5}}

	d := &player{robot: r, rnd: rnd, jamRate: s.jamRate, cap: max(s.cap, 1)}
	const dt = 0.002
	for r.t < length {
		if math.Mod(r.t, 0.5) < dt {
			sag = 1.5 * rnd.Float64() * rnd.Float64()
		}
		clear(r.command)
		if r.t >= 5 && r.t < 20 || r.t >= 21 && r.t < length-5 {
			d.act()
		}
		r.step(dt)
		rec.sample(r)
	}
	var jams []trueJam
	for _, j := range r.truth {
		if !j.cleared {
			j.end = r.t
		}
		if j.end-j.start >= 0.3 && j.against >= 0.3 && !j.brief {
			jams = append(jams, j)
		}
	}
	return rec.input(), jams, d.made
}

// compared is how reported jams agree with the true ones.
type compared struct {
	hits       int
	start, end []float64 // s, reported less true
	extra      []schemas.Jam
	missed     []trueJam
}

// compare matches reported jams to true ones: the stage where the piece stood or a
// neighbour, and most of the time in common.
func compare(in Input, jams []schemas.Jam, truth []trueJam) (c compared) {
	used := make([]bool, len(jams))
	stage := func(name string) int {
		return slices.IndexFunc(in.Stages, func(s Stage) bool { return s.Name == name })
	}
	for _, t := range truth {
		best := slices.IndexFunc(jams, func(j schemas.Jam) bool {
			shared := min(j.EndS, t.end) - max(j.StartS, t.start)
			d := stage(j.Stage) - t.stage
			return shared > 0.4*(t.end-t.start) && shared > 0.4*(j.EndS-j.StartS) && d >= -1 && d <= 1
		})
		if best < 0 || used[best] {
			c.missed = append(c.missed, t)
			continue
		}
		used[best] = true
		c.hits++
		c.start = append(c.start, math.Abs(jams[best].StartS-t.start))
		c.end = append(c.end, math.Abs(jams[best].EndS-t.end))
	}
	for i, j := range jams {
		if !used[i] {
			c.extra = append(c.extra, j)
		}
	}
	return c
}

// variant is one of many kinds of robot and log: two to five stages, one to three pieces at
// once, 20 to 200 Hz, with and without current, speed and a beam, chatter, drop-outs.
func variant(seed int) settings {
	rnd := rand.New(rand.NewPCG(uint64(seed), 1))
	s := settings{seed: uint64(seed), stages: 2 + rnd.IntN(4), cap: 1 + rnd.IntN(3), jamRate: 0.05, long: 110}
	s.hz = []float64{20, 50, 100, 200}[rnd.IntN(4)]
	s.mute = []string{"", "", "speed", "current", "motor"}[rnd.IntN(5)]
	if s.stages > 2 && rnd.IntN(2) == 0 {
		s.noEye = []int{1 + rnd.IntN(s.stages-2)}
	}
	if rnd.IntN(3) == 0 {
		s.flicker = 0.001
	}
	if rnd.IntN(3) == 0 {
		s.drop = 0.02
	}
	s.weak = rnd.IntN(5) == 0
	return s
}

func TestGeneratedMatches(t *testing.T) {
	const matches = 200
	var all compared
	var truths, made, passes int
	for seed := range matches {
		in, truth, pieces := play(variant(seed))
		out := Detect(in, DefaultConfig())
		c := compare(in, out.Jams, truth)
		all.hits += c.hits
		all.start, all.end = append(all.start, c.start...), append(all.end, c.end...)
		all.extra, all.missed = append(all.extra, c.extra...), append(all.missed, c.missed...)
		truths, made, passes = truths+len(truth), made+pieces, passes+len(out.Passes)
	}
	recall := float64(all.hits) / float64(truths)
	precision := float64(all.hits) / float64(all.hits+len(all.extra))
	t.Logf("%d matches, %d jams: recall %.3f, precision %.3f; %d pieces, %d passes", matches, truths, recall, precision, made, passes)
	for _, q := range []float64{0.5, 0.8, 0.95} {
		t.Logf("%2.0f %% of starts within %.3f s, of ends within %.3f s", 100*q, stat.Quantile(q, all.start), stat.Quantile(q, all.end))
	}
	require.Greater(t, truths, 150)
	assert.Greater(t, recall, 0.9)
	assert.Greater(t, precision, 0.9)
	assert.Less(t, stat.Quantile(0.8, all.start), 0.2, "starts")
	assert.Less(t, stat.Quantile(0.8, all.end), 0.3, "ends")
	assert.InDelta(t, made, passes, 0.02*float64(made), "passes")
}

// Clean matches: pieces in contact, held, waiting and pressed, chatter and drop-outs, and
// no jam. A crew that is sent to look for nothing stops believing.
func TestCleanMatches(t *testing.T) {
	const matches = 100
	made, said := 0, 0
	for seed := range matches {
		s := variant(1000 + seed)
		s.jamRate = 0
		in, _, pieces := play(s)
		out := Detect(in, DefaultConfig())
		made, said = made+pieces, said+len(out.Jams)
		for _, j := range told(out.Jams) {
			t.Logf("match %d: %s", 1000+seed, j)
		}
	}
	t.Logf("%d clean matches, %d pieces: %d false jams", matches, made, said)
	require.Greater(t, made, 1000)
	assert.LessOrEqual(t, said, matches/33, "about one false jam in 33 matches at most")
}
