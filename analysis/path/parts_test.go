package path

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

func TestClock(t *testing.T) {
	const s = 1_000_000
	// 1 s at rest, 2 s onward at half rate, 1 s back, 1 s at rest, onward to the end at 8 s.
	c := newClock([]int64{0, 1 * s, 3 * s, 4 * s, 5 * s}, []float64{0, 0.5, -1, 0, 1}, 8*s, true)
	assert.InDelta(t, 4, c.onward(0, 8*s), 1e-12)
	assert.InDelta(t, 4, c.onward(-5*s, 80*s), 1e-12, "nothing before the log and after it")
	assert.InDelta(t, 0.25, c.onward(2*s, 2*s+s/2), 1e-12)
	assert.InDelta(t, 1, c.backward(0, 8*s), 1e-12)
	assert.Zero(t, c.onward(3*s, 5*s))
	assert.Equal(t, int64(2*s), c.after(0, 0.5))
	assert.Equal(t, int64(5*s+s/2), c.after(2*s, 1))
	assert.Equal(t, int64(8*s), c.after(0, 100), "never: the end")
	assert.Equal(t, int64(3*s+s/2), c.returning(8*s, 0.5, 0))
	assert.InDelta(t, 3*s, c.returning(8*s, 7, 0), 1, "less than that: when it began")

	r := relay{{math.MinInt64, c}, {6 * s, newClock([]int64{0}, []float64{0}, 8*s, true)}}
	assert.InDelta(t, 2, r.onward(0, 8*s), 1e-12, "handed at 6 s to a stage at rest")
	assert.Equal(t, int64(3*s), r.before(6*s, 1, 0))
	assert.Equal(t, int64(2*s), r.before(6*s, 9, 2*s), "not before")
}

// rows is a beam's readings, one character a sample: # blocked, . clear.
func rows(hz float64, readings string) *series.Bool {
	s := &series.Bool{Name: "beam"}
	for i, c := range readings {
		s.T, s.V = append(s.T, schemas.Micros(float64(i)/hz)), append(s.V, c == '#')
	}
	return s
}

func repeat(s string, n int) (out string) {
	for range n {
		out += s
	}
	return out
}

// A motor's numbers count from when it has spun up: a heavy roller takes longer.
func TestSpinUp(t *testing.T) {
	for _, c := range []struct{ lag, least, most float64 }{{0.03, 0.25, 0.25}, {0.2, 0.45, 0.67}} {
		st := Stage{Command: &series.Float{}, Current: &series.Float{}, Speed: &series.Float{}}
		turning := 0.0
		for k := range 1200 {
			at, command := int64(k)*10_000, 0.0
			if k%400 >= 200 {
				command = 0.8
			}
			turning += (command - turning) * 0.01 / c.lag
			st.Command.T, st.Command.V = append(st.Command.T, at), append(st.Command.V, command)
			st.Speed.T, st.Speed.V = append(st.Speed.T, at), append(st.Speed.V, 60*turning)
			st.Current.T, st.Current.V = append(st.Current.T, at), append(st.Current.V, 2+40*(command-turning))
		}
		d := readDrive(st, Input{End: 12_000_000}, signalOf(nil), DefaultConfig())
		for _, began := range []int{200, 600, 1000} {
			n := slices.Index(d.settled[began:], true)
			require.GreaterOrEqual(t, n, 0)
			settled := float64(d.t[began+n])/1e6 - 0.01*float64(began)
			assert.GreaterOrEqual(t, settled, c.least-0.011)
			assert.LessOrEqual(t, settled, c.most+0.011)
		}
	}
}

func TestBeamChatter(t *testing.T) {
	usual := repeat(repeat(".", 100)+repeat("#", 25), 8) + repeat(".", 100) // eight pieces at 100 Hz
	cases := []struct {
		name     string
		hz       float64
		readings string
		blocks   [][2]float64 // s, those more likely a piece than not
	}{
		{"plain", 100, repeat(".", 100) + repeat("#", 25) + repeat(".", 100), [][2]float64{{1, 1.25}}},
		{"one sample lost", 100, repeat(".", 100) + repeat("#", 10) + "." + repeat("#", 14) + repeat(".", 100), [][2]float64{{1, 1.25}}},
		{"chatter on coming and going", 100, repeat(".", 100) + "#." + repeat("#", 21) + ".#" + repeat(".", 100), [][2]float64{{1, 1.25}}},
		{"two samples lost at 1 kHz", 1000, repeat(".", 1000) + repeat("#", 100) + ".." + repeat("#", 148) + repeat(".", 1000), [][2]float64{{1, 1.25}}},
		{"a spark of 3 ms", 1000, repeat(".", 1000) + "###" + repeat(".", 1000) + repeat("#", 250) + repeat(".", 1000), [][2]float64{{2.003, 2.253}}},
		{"two pieces 80 ms apart", 100, repeat(".", 100) + repeat("#", 25) + repeat(".", 8) + repeat("#", 25) + repeat(".", 100), [][2]float64{{1, 1.25}, {1.33, 1.58}}},
		{"a fast piece at 20 Hz", 20, repeat(".", 40) + "###" + repeat(".", 40), [][2]float64{{2, 2.15}}},
		{"still blocked at the end", 100, repeat(".", 100) + repeat("#", 100), [][2]float64{{1, 1.99}}},
		{"blocked from the start", 100, repeat("#", 100) + repeat(".", 100), [][2]float64{{0, 1}}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s := rows(c.hz, c.readings)
			b := watch(s, 0, s.T[len(s.T)-1], DefaultConfig())
			var got [][2]float64
			for _, x := range b.blocks {
				if x.real > 0.5 {
					got = append(got, [2]float64{schemas.Seconds(x.from), schemas.Seconds(x.to)})
				}
			}
			assert.Equal(t, c.blocks, got)
			assert.Empty(t, flickers(b.glitches, DefaultConfig()))
		})
	}
	s := rows(100, usual)
	assert.Len(t, watch(s, 0, s.T[len(s.T)-1], DefaultConfig()).blocks, 8)
	storm := rows(100, repeat(".", 200)+repeat("#.", 30)+repeat(".", 200))
	assert.Len(t, flickers(watch(storm, 0, storm.T[len(storm.T)-1], DefaultConfig()).glitches, DefaultConfig()), 1)
}

// A spell of chatter begins and ends with readings as long as short pieces: what is usual is
// not learned from them, unless there is hardly anything else.
func TestFirstLookLeavesOutWhatIsNearChatter(t *testing.T) {
	s := func(t float64) int64 { return schemas.Micros(t) }
	b := beam{
		spells: []series.Interval{{Start: s(20.15), End: s(21)}, {Start: s(40.2), End: s(41)}},
		blocks: []block{
			{from: s(10), to: s(10.4), real: 1},
			{from: s(20), to: s(20.1), real: 0.9},
			{from: s(30), to: s(30.4), real: 1},
			{from: s(35), to: s(35.1), real: 0.3},
			{from: s(41.5), to: s(41.6), real: 0.8},
			{from: s(50), to: s(50.4), real: 1},
		},
	}
	var from []float64
	for _, x := range b.sound(DefaultConfig()) {
		from = append(from, schemas.Seconds(x.from))
	}
	assert.Equal(t, []float64{10, 30, 50}, from)
	b.blocks = b.blocks[1:]
	assert.Len(t, b.sound(DefaultConfig()), 4, "two are hardly enough")
}

// A beam that is written only when it changes says the same as one that is sampled.
func TestBeamOnChange(t *testing.T) {
	dense := rows(100, repeat(repeat(".", 100)+repeat("#", 25), 5)+repeat(".", 100))
	end := dense.T[len(dense.T)-1]
	sparse := &series.Bool{Name: "beam"}
	for i, v := range dense.V {
		if i == 0 || v != dense.V[i-1] {
			sparse.T, sparse.V = append(sparse.T, dense.T[i]), append(sparse.V, v)
		}
	}
	want, got := watch(dense, 0, end, DefaultConfig()).blocks, watch(sparse, 0, end, DefaultConfig()).blocks
	require.Len(t, got, len(want))
	for i := range want {
		assert.Equal(t, want[i].from, got[i].from)
		assert.Equal(t, want[i].to, got[i].to)
	}
}

// With no prior and no jams the fit is the maximum-likelihood lognormal law for censored
// times. Data: the 6-MP arm of Freireich et al., Blood 21 (1963), as in R MASS::gehan; the
// law to agree with is package stat's, by Newton's method and checked against R survreg.
func TestLawWithCensoring(t *testing.T) {
	weeks := []float64{6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35}
	var all []took
	var same []stat.Lasted
	for i, x := range weeks {
		all = append(all, took{x: x, done: i < 9})
		same = append(same, stat.Lasted{Time: x, Complete: i < 9})
	}
	want, ok := stat.FitLognormal(same)
	require.True(t, ok)
	cfg := DefaultConfig()
	cfg.JamRate = 0
	l := fit(all, belief{mu: 3, kappa: 1e-9, sigma: 1, nu: 1e-9}, 1e-3, cfg)
	assert.InDelta(t, want.Mu, l.dist.Mu, 0.01)
	assert.InDelta(t, want.Sigma, l.dist.Sigma/math.Sqrt(1+1/float64(len(weeks))), 0.02)
	assert.InDelta(t, 9, l.n, 1e-9)
}

func TestLawIsNotSpoiltByJams(t *testing.T) {
	cfg := DefaultConfig()
	prior := guess(cfg.PriorDwellS, cfg)
	var all []took
	for _, x := range []float64{0.41, 0.39, 0.40, 0.43, 0.38, 0.40, 0.42, 0.37} {
		all = append(all, took{x: x, done: true})
	}
	clean := fit(all, prior, 1e-3, cfg)
	assert.InDelta(t, 0.4, clean.usual(), 0.01)
	for _, x := range []float64{3, 7, 12} {
		all = append(all, took{x: x, done: true})
	}
	all = append(all, took{x: 40})
	jammedToo := fit(all, prior, 1e-3, cfg)
	assert.InDelta(t, clean.usual(), jammedToo.usual(), 0.01)
	assert.Less(t, jammedToo.within(in95), 0.7)

	one := fit([]took{{x: 90, done: true}}, prior, 1e-3, cfg)
	assert.Less(t, one.usual(), 1.0, "one stand of a minute and a half is not what is usual")
	none := fit(nil, prior, 1e-3, cfg)
	assert.InDelta(t, cfg.PriorDwellS, none.usual(), 1e-9)
	assert.Greater(t, none.within(in95)/none.usual(), 3.0, "nothing seen: a wide guess")
}

// Two of five steps were jams whose motors told nothing: where the robot is regular elsewhere
// (the prior's spread) they stand out, where it is not they may be its way.
func TestLawOfFewStepsWithJams(t *testing.T) {
	cfg := DefaultConfig()
	var all []took
	for _, x := range []float64{0.82, 0.38, 1.00, 0.34, 0.36} {
		all = append(all, took{x: x, done: true})
	}
	prior := guess(cfg.PriorDwellS, cfg)
	prior.sigma = 0.09
	regular := fit(all, prior, 1e-3, cfg)
	assert.InDelta(t, 0.36, regular.usual(), 0.02)
	assert.InDelta(t, 3, regular.n, 0.1)
	assert.Less(t, regular.within(in99), 0.6)
	prior.sigma = 0.5
	irregular := fit(all, prior, 1e-3, cfg)
	assert.Greater(t, irregular.n, 4.0)
	assert.Greater(t, irregular.within(in99), 1.0)
}

func TestBeyond(t *testing.T) {
	// Half normal: mean sqrt(2/pi), mean square 1 (any textbook).
	m, m2 := beyond(0, 0, 1)
	assert.InDelta(t, math.Sqrt(2/math.Pi), m, 1e-12)
	assert.InDelta(t, 1, m2, 1e-12)
	far, _ := beyond(40, 0, 1)
	assert.InDelta(t, 40.025, far, 1e-3)
	l := newLaw(distuv.StudentsT{Mu: 0, Sigma: 0.1, Nu: 9}, 5)
	assert.InDelta(t, math.Exp(l.dist.LogProb(math.Log(1.2))-l.dist.LogProb(0)), l.like(1.2), 1e-12)
}

// What a robot did in earlier matches is what is usual until today says otherwise.
func TestHistory(t *testing.T) {
	some := func(v float64) *float64 { return &v }
	var past []schemas.Pass
	for i := range 30 {
		at := 10 * float64(i)
		d := 0.02 * float64(i%3)
		past = append(past, schemas.Pass{Outcome: schemas.PassReleased, Stages: []schemas.StagePass{
			{Stage: "mouth", EnterS: some(at), LeaveS: some(at + 0.25)},
			{Stage: "throat", EnterS: some(at + 0.5 + d), LeaveS: some(at + 0.75 + d)},
			{Stage: "lift", EnterS: some(at + 1 + d), LeaveS: some(at + 1.25 + d)},
			{Stage: "gate", EnterS: some(at + 1.5 + d), LeaveS: some(at + 3)},
		}})
	}
	past = append(past, schemas.Pass{Outcome: schemas.PassJammed, Stages: []schemas.StagePass{{Stage: "mouth", EnterS: some(400), LeaveS: some(440)}}})
	l := newTimeline(20, fourStages...)
	l.usual(2)
	l.drive(7.5, 10.05, 0.8)
	l.block("mouth", 8, 9.25) // the second piece of the match stands for a second
	l.block("throat", 9.5, 9.75)
	l.block("lift", 10, 10.25)
	l.drive(10.05, 10.55, 0.8)
	l.leave(10.5, 12)
	in := l.input()
	in.History = [][]schemas.Pass{past}
	out := Detect(in, DefaultConfig())
	require.Len(t, out.Jams, 1, "suspected: %v", told(out.Suspected))
	assert.InDelta(t, 8.1, out.Jams[0].StartS, 0.2)
	sum := out.Stages[0]
	assert.Equal(t, 30, sum.UsualPasses)
	assert.InDelta(t, 0.52, *sum.UsualS, 1e-9)
	assert.InDelta(t, 0.5, *sum.UsualLowS, 1e-9)
	assert.InDelta(t, 0.54, *sum.UsualHighS, 1e-9)
	assert.InDelta(t, 0.5, *sum.TransitS, 0.02, "the median of today's undisturbed passes: one")
	assert.Equal(t, 2, sum.Passes)
	assert.Equal(t, 1, sum.Jams)
	assert.InDelta(t, 1.35, *out.Stages[3].TransitS, 0.6, "the last stage: from entering to leaving")
}

func TestWhatIsDueIsNoChance(t *testing.T) {
	narrow := newLaw(distuv.StudentsT{Mu: 0, Sigma: 0.1, Nu: 1000}, 20)
	density := distuv.Normal{Mu: 0, Sigma: 0.1}.Prob(0) // a second, at the median of one second
	assert.InEpsilon(t, density*everyS, narrow.due(1), 0.01)
	assert.Less(t, narrow.due(1.6), 0.1, "it was due long before")
	wide := newLaw(distuv.StudentsT{Mu: 2, Sigma: 5, Nu: 6}, 0)
	assert.Equal(t, wide.like(3), wide.due(3), "nobody knows when it is due")
}

// What drives a stage for some hundredths of a second again and again holds a piece in a beam: the
// beam is clear for as long because the piece sinks out of it.
func TestAPieceHeldInItsBeamByTwitchesIsNoFlicker(t *testing.T) {
	held := func(twitch float64) Result {
		l := newTimeline(60, fourStages...).warm()
		there := l.come(14, 1)
		for at := there + 2; at < 40; at += 0.1 {
			l.block("gate", there, at)
			there = at + 0.02
			if twitch > 0 {
				l.drive(at+0.01, at+0.01+twitch, 0.6, "gate")
			}
		}
		l.leave(there, 45)
		return Detect(l.input(), DefaultConfig())
	}
	r := held(0.015)
	assert.Empty(t, r.Faults)
	assert.Empty(t, told(r.Jams))
	assert.NotEmpty(t, held(0).Faults, "nothing drove it")
}

// Pieces that were in the path when the log began did not pass the beams behind them unseen.
func TestPiecesThereFromTheStartMakeNoBeamBlind(t *testing.T) {
	l := newTimeline(40, fourStages...)
	l.drive(0, 1.5, 0.8)
	l.block("lift", 0.1, 0.35)
	l.block("gate", 0.6, 5.35)
	l.block("lift", 0.9, 1.15)
	l.block("gate", 5.45, 6.35)
	l.drive(5, 5.5, 0.8, "gate")
	l.drive(6, 6.5, 0.8, "gate")
	l.out = []float64{5.45, 6.45}
	for k := range 3 {
		l.usual(10 + 8*float64(k))
	}
	assert.Empty(t, Detect(l.input(), DefaultConfig()).Faults)
}

// A piece that a later one passed was not in its way, as far as anybody knows.
func TestAPieceThatWasPassedBlocksNoWay(t *testing.T) {
	l := newTimeline(20, fourStages...)
	w := newWay(l.warm().input(), DefaultConfig())
	ahead := journey{visits: []visit{{slot: 3, from: 2_000_000, to: 9_000_000, next: 3, how: onward}}}
	behind := visit{slot: 2, from: 3_000_000, to: 12_000_000, next: 3, how: onward}
	all := []journey{ahead, {visits: []visit{behind}}}
	assert.EqualValues(t, 9_000_000, w.free(all, 1, behind))
	all[0].visits[0].how = lost
	assert.EqualValues(t, 3_000_000, w.free(all, 1, behind))
}
