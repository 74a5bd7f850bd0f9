package cycles

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// shuttle is a robot that runs between x = 1 (pickup) and x = 13 (goal) at its speed, and scores
// 2 s after it came to the goal. stands[k] is how long it stands half way back on trip k.
func shuttle(speed []float64, stands []float64) (Input, []float64) {
	pose := &series.Float{}
	var scored []float64
	var passes []schemas.Pass
	t, x := 0.0, 13.0
	log := func() {
		pose.T, pose.V = append(pose.T, schemas.Micros(t)), append(pose.V, x)
	}
	log()
	goTo := func(to, v float64) {
		for math.Abs(to-x) > 1e-9 {
			x += math.Copysign(math.Min(0.02*v, math.Abs(to-x)), to-x)
			t += 0.02
			log()
		}
	}
	wait := func(s float64) {
		for until := t + s; t < until-1e-9; t += 0.02 {
			log()
		}
	}
	for k := range speed {
		goTo(7, speed[k])
		wait(stands[k])
		goTo(1, speed[k])
		wait(1)
		enter := t
		goTo(13, speed[k])
		wait(2)
		leave := t - 0.1
		passes = append(passes, schemas.Pass{Piece: k + 1, Outcome: schemas.PassReleased, EnterS: &enter, LeaveS: &leave})
		scored = append(scored, t)
	}
	over := t
	wait(5)
	y := &series.Float{T: pose.T, V: make([]float64, len(pose.T))}
	for i := range y.V {
		y.V[i] = 1
	}
	return Input{
		Score: counter(-1, scored...), X: pose, Y: y, Passes: passes,
		Zones: []profile.Zone{
			{Name: "a", Use: profile.UsePickup, Corners: [][2]float64{{0, 0}, {2, 0}, {2, 2}, {0, 2}}},
			{Name: "b", Use: profile.UseGoal, Corners: [][2]float64{{12, 0}, {14, 0}, {14, 2}, {12, 2}}},
		},
		Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: over + 1}}, Start: 0, End: schemas.Micros(t),
	}, scored
}

func all(n int, v float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// A robot that stood 5 s on two of its trips lost 5 s there, by arithmetic, and is slow in
// both, on the way back.
func TestStandingIsTimeLost(t *testing.T) {
	stands := []float64{0, 5, 0, 0, 0, 5, 0}
	in, _ := shuttle(all(7, 2.5), stands)
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []int{1, 5}, slowOnes(r))
	for k, s := range stands {
		require.NotNil(t, r.Cycles[k].LostS, k)
		assert.InDelta(t, s, *r.Cycles[k].LostS, 0.3, k)
	}
	assert.Equal(t, WhyReturn, *r.Cycles[1].Why)
	require.Len(t, r.Cycles[1].Events, 1)
	e := r.Cycles[1].Events[0]
	assert.Equal(t, EventStood, e.What)
	assert.Equal(t, "return", e.Phase)
	assert.InDelta(t, 5, e.EndS-e.StartS, 0.4)

	in.Drive = &series.Float{T: []int64{in.Start}, V: []float64{0}}
	for at := in.Start; at < in.End; at += 100_000 {
		in.Drive.T, in.Drive.V = append(in.Drive.T, at+1), append(in.Drive.V, 0.8)
	}
	assert.Equal(t, EventBlocked, Detect(in, DefaultConfig()).Cycles[1].Events[0].What)
}

// Half of the trips troubled: the others are still what is usual.
func TestHalfOfTheTripsTroubled(t *testing.T) {
	in, _ := shuttle(all(8, 2.5), []float64{0, 8, 0, 9, 8, 0, 0, 10})
	assert.Equal(t, []int{1, 3, 4, 7}, slowOnes(Detect(in, DefaultConfig())))
}

// A driver of uneven pace drives slowly now and then without losing anything.
func TestPaceIsNoLoss(t *testing.T) {
	in, _ := shuttle([]float64{2.5, 1.6, 2.4, 2.9, 1.5, 2.2, 1.8, 2.6}, all(8, 0))
	r := Detect(in, DefaultConfig())
	assert.Empty(t, slowOnes(r))
	for _, c := range r.Cycles[:8] {
		assert.InDelta(t, 0, *c.LostS, 0.3)
	}
}

// A driver of even pace who drives one trip at half of it lost what the ways took longer, by
// arithmetic: 12 m out and 12 m back at 2.5 m/s and at 1.25.
func TestDawdlingIsTimeLost(t *testing.T) {
	in, _ := shuttle([]float64{2.5, 2.6, 2.4, 1.25, 2.5, 2.4, 2.6, 2.5}, all(8, 0))
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []int{3}, slowOnes(r))
	assert.InDelta(t, 2*(12/1.25-12/2.5), *r.Cycles[3].LostS, 0.7)
	assert.InDelta(t, 0, *r.Cycles[4].LostS, 0.7)
}

// Without zones, and without the path, the way still tells.
func TestTheWayTellsWithoutZones(t *testing.T) {
	in, _ := shuttle(all(7, 2.5), []float64{0, 0, 0, 6, 0, 0, 0})
	in.Zones = nil
	assert.Equal(t, []int{3}, slowOnes(Detect(in, DefaultConfig())))
	in.Passes = nil
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []int{3}, slowOnes(r))
	assert.Nil(t, r.Cycles[3].Phases.ReturnS)
	assert.Nil(t, r.Cycles[3].Why)
	in.X, in.Y = nil, nil
	r = Detect(in, DefaultConfig())
	assert.Nil(t, r.Cycles[3].LostS)
	assert.Empty(t, r.Cycles[3].Events)
}

// With no measure of the loss and no prior spread the tail is that of the textbook's prediction
// interval (Student's t, n-1 degrees of freedom, scale s sqrt(1+1/n)).
func TestLawIsThePredictionInterval(t *testing.T) {
	logs := []float64{2.2, 2.3, 2.25, 2.4, 2.35, 2.28}
	var all []stat.Lasted
	for _, l := range logs {
		all = append(all, stat.Lasted{Time: math.Exp(l), Complete: true})
	}
	cfg := DefaultConfig()
	cfg.UsualWeight = 0
	law, ok := lawOf(all, nil, cfg)
	require.True(t, ok)
	mean, sd := 2.2966666667, 0.0711805 // by hand
	want := distuv.StudentsT{Mu: mean, Sigma: sd * math.Sqrt(1+1.0/6), Nu: 5}.Survival(math.Log(12))
	assert.InEpsilon(t, want, law.tail(12), 2e-3)
}

// Earlier matches count as far as today is like them: a robot like it was is held against all
// of them, one that now takes twice as long against itself.
func TestHistoryCountsAsFarAsItAgrees(t *testing.T) {
	make := func(around float64, n int) []stat.Lasted {
		var out []stat.Lasted
		for i := range n {
			out = append(out, stat.Lasted{Time: around * (1 + 0.05*float64(i%3-1)), Complete: true})
		}
		return out
	}
	cfg := DefaultConfig()
	same, _ := lawOf(make(10, 6), [][]stat.Lasted{make(10, 30)}, cfg)
	alone, _ := lawOf(make(10, 6), nil, cfg)
	assert.Less(t, same.tail(14), alone.tail(14), "more is known")
	rebuilt, _ := lawOf(make(20, 6), [][]stat.Lasted{make(10, 30)}, cfg)
	assert.InDelta(t, math.Log(20), rebuilt.mu, 0.03)
	assert.Greater(t, rebuilt.tail(21), 0.2)

	in := lasting(20, 21, 19, 20, 22, 20)
	in.History = []History{earlier("m1", 10, 11, 9, 12, 10, 11, 10)}
	r := Detect(in, DefaultConfig())
	assert.Empty(t, slowOnes(r), "all of them are, against the earlier ones")
	assert.Equal(t, SourceMatches, r.Usual.Source)
}

// What the two witnesses say together: as sure as a sure one, and the way outweighs the clock.
func TestBelief(t *testing.T) {
	cfg := DefaultConfig()
	l := law{mu: math.Log(10), scale: 0.2, freedom: 12}
	of := func(seconds float64, seen *sight) float64 { return belief(seconds, 10, 2, 3.33, &l, seen, 0, cfg) }
	usual := &body{trouble: cfg.TroubleShare, most: 1, may: []may{{sigma: 0.8, chance: 1}}}
	saw := func(lost float64) *sight { return &sight{took: lost, usual: usual, scale: 1, blind: cfg.Blind} }
	assert.Less(t, of(10, nil), 0.05)
	assert.Greater(t, of(24, nil), 0.95)
	assert.Greater(t, of(16, saw(6)), 0.95)
	assert.Less(t, of(14.5, saw(0)), 0.2, "it went slowly, and stood nowhere")
	assert.InDelta(t, of(15, saw(3)), of(13, saw(3)), 0.02, "what was seen is in how long it took: it counts once")
	last := 0.0
	for lost := 0.5; lost < 5; lost += 0.5 {
		now := of(16, saw(lost))
		assert.GreaterOrEqual(t, now, last-1e-9)
		last = now
	}
	assert.Zero(t, of(0, nil))
}

// Sets of calls: the false ones expected among them stay under the share asked for.
func TestBelieved(t *testing.T) {
	cfg := DefaultConfig()
	cfg.FalseShare = 0.1
	assert.Equal(t, []bool{true, true, false, false}, believed([]float64{0.99, 0.9, 0.7, 0.4}, cfg), "0.01, 0.1 and 0.3 are 0.41 of 3")
	assert.Equal(t, []bool{false}, believed([]float64{0.85}, cfg))
	assert.Empty(t, believed(nil, cfg))
}

// The evidence that a cycle was judged by adds up to what is believed of it.
func TestEvidenceAddsUp(t *testing.T) {
	in, _ := shuttle(all(7, 2.5), []float64{0, 5, 0, 0, 0, 5, 0})
	r := Detect(in, DefaultConfig())
	require.Len(t, r.Reasons, len(r.Cycles))
	for i, c := range r.Cycles {
		if c.Confidence == nil {
			assert.Empty(t, r.Reasons[i].Weighed)
			continue
		}
		sum := 0.0
		for _, w := range r.Reasons[i].Weighed {
			sum += w.LogOdds
		}
		assert.InDelta(t, *c.Confidence, 1/(1+math.Exp(-sum)), 1e-9)
		assert.Len(t, r.Reasons[i].Weighed, 2, "before, and its way")
	}
}
