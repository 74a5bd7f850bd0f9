package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

const matches = 40

// year is a season of a robot in which nothing changes: what its measures are spread like is
// common practice at best, and that nothing changes is all that counts here.
type year struct {
	rng *rand.Rand
	all []Series
}

func newYear(seed uint64) *year {
	y := &year{rng: rand.New(rand.NewPCG(seed, 7))}
	y.add("cycle_s", 1, func(int) float64 { return 11 + 0.8*y.rng.NormFloat64() })
	for _, stage := range []string{"mouth", "throat", "lift", "pocket", "gate"} {
		y.share("jam_rate/"+stage, func(int) (float64, float64) { return y.events(6+y.rng.IntN(6), 0.01) })
	}
	for b := range 4 {
		y.add(fmt.Sprintf("resistance_ohm/B%d", b+1), 4, func(int) float64 { return 0.022 + 0.001*y.rng.NormFloat64() })
	}
	y.add("lowest_v", 1, func(int) float64 { return 8 - math.Exp(0.4*y.rng.NormFloat64()) }) // skewed
	y.add("balance_settle_s", 1, func(int) float64 { return 4 * math.Exp(0.3*y.rng.NormFloat64()) })
	y.share("balance_level_rate", func(int) (float64, float64) { return y.events(1, 0.8) })
	y.add("autonomous_score", 1, func(int) float64 { return float64(y.rng.IntN(4)) }) // many ties
	return y
}

func (y *year) events(tries int, p float64) (float64, float64) {
	k := 0
	for range tries {
		if y.rng.Float64() < p {
			k++
		}
	}
	return float64(k), float64(tries)
}

// add is a measure that every so-manyth match has.
func (y *year) add(name string, every int, reading func(match int) float64) {
	s := Series{Name: name}
	for i := 0; i < matches; i += every {
		s.Index, s.Value = append(s.Index, i), append(s.Value, reading(i))
	}
	y.all = append(y.all, s)
}

func (y *year) share(name string, reading func(match int) (events, tries float64)) {
	s := Series{Name: name}
	for i := range matches {
		k, n := reading(i)
		s.Index, s.Value = append(s.Index, i), append(s.Value, k/n)
		s.Events, s.Tries = append(s.Events, k), append(s.Tries, n)
	}
	y.all = append(y.all, s)
}

// instead puts another measure in the place of one.
func (y *year) instead(name string) *Series {
	for i := range y.all {
		if y.all[i].Name == name {
			return &y.all[i]
		}
	}
	panic(name)
}

func alarms(facts []Facts, but int) int {
	n := 0
	for i, f := range facts {
		if i != but && (len(f.Changes) > 0 || f.Drift != nil) {
			n++
		}
	}
	return n
}

// tally counts over seasons, whose seeds do not change from run to run.
type tally struct{ k, n int }

func (c *tally) add(hit bool) {
	c.n++
	if hit {
		c.k++
	}
}

func (c *tally) atLeast(t *testing.T, share float64, what string) {
	t.Helper()
	require.Positive(t, c.n, what)
	require.GreaterOrEqual(t, float64(c.k)/float64(c.n), share, "%s: %d of %d", what, c.k, c.n)
}

func (c *tally) atMost(t *testing.T, share float64, what string) {
	t.Helper()
	require.Positive(t, c.n, what)
	require.LessOrEqual(t, float64(c.k)/float64(c.n), share, "%s: %d of %d", what, c.k, c.n)
}

func TestSeasonWithoutChanges(t *testing.T) {
	var told tally
	for seed := range uint64(200) {
		told.add(alarms(Describe(newYear(seed).all), -1) > 0)
	}
	told.atMost(t, 0.05, "seasons without a change that are told of one")
}

// One odd match is neither a change nor a drift, however odd.
func TestOddMatchIsNoChange(t *testing.T) {
	var told tally
	for seed := range uint64(100) {
		y := newYear(seed)
		at := y.rng.IntN(matches)
		y.instead("cycle_s").Value[at] = 40
		lift := y.instead("jam_rate/lift")
		lift.Events[at], lift.Value[at] = 4, 4/lift.Tries[at]
		facts := Describe(y.all)
		told.add(alarms(facts, -1) > 0)
		require.Contains(t, facts[0].Strays, at)
	}
	told.atMost(t, 0.05, "seasons told of a change because of one odd match")
}

func TestChangesAreFound(t *testing.T) {
	for _, c := range []struct {
		name    string
		measure string
		change  func(y *year, s *Series, at int) (difference float64)
	}{
		{"cycles two and a half deviations faster", "cycle_s", func(y *year, s *Series, at int) float64 {
			for i := at; i < matches; i++ {
				s.Value[i] -= 2
			}
			return -2
		}},
		{"a belt that jams", "jam_rate/lift", func(y *year, s *Series, at int) float64 {
			for i := at; i < matches; i++ {
				s.Events[i], _ = y.events(int(s.Tries[i]), 0.25)
				s.Value[i] = s.Events[i] / s.Tries[i]
			}
			return 0.24
		}},
		{"gains that halve the time to level", "balance_settle_s", func(y *year, s *Series, at int) float64 {
			for i := at; i < matches; i++ {
				s.Value[i] /= 2.2
			}
			return math.NaN()
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var found, near, others, once, covered tally
			for seed := range uint64(150) {
				y := newYear(1000 + seed)
				at := 8 + y.rng.IntN(matches-16)
				s := y.instead(c.measure)
				difference := c.change(y, s, at)
				facts := Describe(y.all)
				which := 0
				for i := range y.all {
					if &y.all[i] == s {
						which = i
					}
				}
				f := facts[which]
				found.add(len(f.Changes) > 0)
				others.add(alarms(facts, which) > 0)
				once.add(len(f.Changes) <= 1 && f.Drift == nil)
				if len(f.Changes) == 1 {
					near.add(math.Abs(float64(f.Changes[0].At-at)) <= 2)
					if !math.IsNaN(difference) {
						covered.add(f.Changes[0].Less <= difference && difference <= f.Changes[0].More)
					}
				}
			}
			found.atLeast(t, 0.85, "found")
			near.atLeast(t, 0.9, "within two matches, of those found")
			others.atMost(t, 0.05, "alarms of other measures")
			once.atLeast(t, 0.85, "told as one change and nothing else")
			if covered.n > 0 {
				covered.atLeast(t, 0.9, "interval holds the change")
			}
		})
	}
}

func TestDriftIsNoChange(t *testing.T) {
	var found, asChange, covered tally
	for seed := range uint64(150) {
		y := newYear(2000 + seed)
		s := y.instead("cycle_s")
		for i := range s.Value {
			s.Value[i] -= 0.1 * float64(i)
		}
		f := Describe(y.all)[0]
		found.add(f.Drift != nil)
		asChange.add(len(f.Changes) > 0)
		if f.Drift != nil && f.Drift.From == 0 {
			covered.add(f.Drift.Low <= -0.1 && -0.1 <= f.Drift.High)
		}
	}
	found.atLeast(t, 0.9, "drifts found")
	asChange.atMost(t, 0.1, "drifts told as changes")
	covered.atLeast(t, 0.9, "interval holds the slope")
}

// What wears for some matches and then stays, as a belt does until it slips, is one drift that ended and
// not a flight of steps; two steps are two, and a step of readings of two kinds is one.
func TestWearThatEnds(t *testing.T) {
	var ramp, from, until, covered, two, one tally
	for seed := range uint64(150) {
		rng := rand.New(rand.NewPCG(seed, 9))
		at, long := 8+rng.IntN(12), 9+rng.IntN(5)
		measure := func(reading func(i int) float64) *Facts {
			s := Series{Name: "free_current_a/lift"}
			for i := range matches {
				s.Index, s.Value = append(s.Index, i), append(s.Value, reading(i))
			}
			return &Describe([]Series{s})[0]
		}
		past := func(i, place int) float64 {
			if i >= place {
				return 1
			}
			return 0
		}
		f := measure(func(i int) float64 {
			return 2.1 + 0.15*rng.NormFloat64() + 1.8*math.Max(0, math.Min(1, float64(i-at)/float64(long)))
		})
		ramp.add(f.Drift != nil && len(f.Changes) == 0 && f.Drift.Until < matches-1)
		if d := f.Drift; d != nil {
			from.add(math.Abs(float64(d.From-at)) <= 2)
			until.add(math.Abs(float64(d.Until-at-long)) <= 2)
			covered.add(d.Low <= 1.8/float64(long) && 1.8/float64(long) <= d.High)
			require.Empty(t, f.Levels)
		}
		f = measure(func(i int) float64 { return 2.1 + 0.15*rng.NormFloat64() + 0.9*past(i, at) + 0.9*past(i, at+long) })
		two.add(len(f.Changes) == 2 && f.Drift == nil)
		f = measure(func(i int) float64 { return 6.5 - float64(rng.IntN(2))*0.2 + 0.1*rng.NormFloat64() - 2.4*past(i, at) })
		one.add(len(f.Changes) == 1 && f.Drift == nil && f.Changes[0].At == at)
	}
	ramp.atLeast(t, 0.9, "told as one drift that ended")
	from.atLeast(t, 0.9, "begins within two matches")
	until.atLeast(t, 0.9, "ends within two matches")
	covered.atLeast(t, 0.9, "interval holds the slope")
	two.atLeast(t, 0.95, "two steps told as two")
	one.atLeast(t, 0.95, "one step told as one")
}

func TestWearThatEndsInWords(t *testing.T) {
	s := Series{Name: "free_current_a/lift", Unit: "A"}
	var names []schemas.SeasonMatch
	for i := range matches {
		names = append(names, schemas.SeasonMatch{Event: "cup", Match: fmt.Sprintf("q%d", i+1)})
		s.Index, s.Value = append(s.Index, i), append(s.Value, 2+0.1*math.Max(0, math.Min(12, float64(i-10)))+0.01*float64(i%3))
	}
	f := &Describe([]Series{s})[0]
	require.NotNil(t, f.Drift)
	require.Equal(t, []int{10, 22}, []int{f.Drift.From, f.Drift.Until})
	require.Contains(t, note(&s, f, names), "rose from cup/q11 until cup/q23 by 0.10 A a match")
	first, last := f.Drift.ends(&s)
	require.InDelta(t, 1.2, last-first, 0.05)
	out := schemas.Season{Matches: names}
	require.Equal(t, "Current of the lift running free rose by 0.10 A a match from cup/q11 until cup/q23.", sayNews(&s, f, &out))
}

// A battery that is in every fourth match only, and dies.
func TestDyingBattery(t *testing.T) {
	var found tally
	for seed := range uint64(100) {
		y := newYear(3000 + seed)
		s := y.instead("resistance_ohm/B3")
		for i := range s.Value {
			s.Value[i] += 0.0016 * math.Max(0, float64(i-3))
		}
		f := Describe(y.all)[8]
		found.add(f.Drift != nil && f.Drift.PerMatch > 0 || len(f.Changes) > 0 && f.Changes[0].Less > 0)
	}
	found.atLeast(t, 0.9, "dying batteries found")
}

func TestTwoChangesBothWays(t *testing.T) {
	var both tally
	for seed := range uint64(100) {
		y := newYear(4000 + seed)
		s := y.instead("cycle_s")
		for i := 14; i < 27; i++ {
			s.Value[i] += 2.4
		}
		f := Describe(y.all)[0]
		both.add(len(f.Changes) == 2 && math.Abs(float64(f.Changes[0].At-14)) <= 2 && math.Abs(float64(f.Changes[1].At-27)) <= 2)
	}
	both.atLeast(t, 0.9, "both changes found where they are")
}

// The flow of the Nile (Cobb, Biometrika 65, 1978) stepped down in 1898 and did not drift after
// or before.
func TestNileStepsAndDoesNotDrift(t *testing.T) {
	// The first 60 years, as R's datasets::Nile has them.
	flow := []float64{
		1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
		1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
		831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
	}
	s := Series{Name: "flow"}
	for i, v := range flow {
		s.Index, s.Value = append(s.Index, i), append(s.Value, v)
	}
	f := Describe([]Series{s})[0]
	require.Nil(t, f.Drift)
	require.Len(t, f.Changes, 1)
	require.InDelta(t, 28, f.Changes[0].At, 3)
	require.Less(t, f.Changes[0].More, 0.0)
	require.Len(t, f.Levels, 2)
}

func TestTooFewToSay(t *testing.T) {
	s := Series{Name: "cycle_s", Index: []int{0, 1, 2, 3, 4}, Value: []float64{1, 1, 9, 9, 9}}
	f := Describe([]Series{s})[0]
	require.True(t, math.IsNaN(f.P))
	require.Empty(t, f.Changes)
	require.Nil(t, f.Drift)
	require.Equal(t, "too few to say: 5 of the 6 matches it takes", Enough(5))
	require.Empty(t, Enough(6))
	require.Empty(t, Describe(nil))
	flat := Series{Name: "flat", Index: []int{0, 1, 2, 3, 4, 5, 6}, Value: make([]float64, 7)}
	f = Describe([]Series{flat})[0]
	require.Empty(t, f.Changes)
	require.Equal(t, 1.0, f.P)
}

func BenchmarkDescribe(b *testing.B) {
	y := newYear(1)
	for b.Loop() {
		Describe(y.all)
	}
}
