package fleet

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/tables"
)

func p(v float64) *float64 { return &v }

// of is the estimate of a robot, which must be there.
func of(t *testing.T, f schemas.Fleet, measure, robot string) schemas.FleetEstimate {
	t.Helper()
	m := f.Measure(measure)
	require.NotNil(t, m, measure)
	e := m.Estimate(robot)
	require.NotNil(t, e, robot)
	return *e
}

// cycles are matches of a robot with these cycle times.
func cycles(name string, s ...float64) Robot {
	r := Robot{Name: name}
	for _, v := range s {
		r.Matches = append(r.Matches, Match{CycleS: p(v)})
	}
	return r
}

func TestPlacesOfThreeRobots(t *testing.T) {
	f := Look("2031", "millbrook-open", []Robot{
		cycles("heron", 8.1, 8.3, 7.9, 8.2, 8, 8.1),
		cycles("curlew", 12, 14, 13, 12.5, 13.5, 12.8),
		cycles("bittern", 12.4, 13.4, 12.9, 12.6, 14, 13),
	})
	require.Equal(t, 1, f.Fleet)
	require.Equal(t, 18, f.Matches)
	require.Len(t, f.Measures, 1, "what no robot has is left out")
	m := f.Measures[0]
	require.Equal(t, "cycle_s", m.Name)
	require.Equal(t, []string{"bittern", "curlew", "heron"}, f.Order(""))
	require.Equal(t, "heron", f.Order("cycle_s")[0])
	require.Equal(t, 3, m.Pairs)
	require.Equal(t, 2, m.Apart)
	heron := of(t, f, "cycle_s", "heron")
	require.Equal(t, [2]int{1, 1}, [2]int{heron.Best, heron.Worst})
	for _, name := range []string{"curlew", "bittern"} {
		e := of(t, f, "cycle_s", name)
		require.Equal(t, [2]int{2, 3}, [2]int{e.Best, e.Worst}, name)
	}
	// Student's interval of the logarithms: t is 2.570582 with five degrees of freedom (table of
	// the t distribution).
	logs := []float64{math.Log(8.1), math.Log(8.3), math.Log(7.9), math.Log(8.2), math.Log(8), math.Log(8.1)}
	mean, sum := 0.0, 0.0
	for _, v := range logs {
		mean += v / 6
	}
	for _, v := range logs {
		sum += (v - mean) * (v - mean)
	}
	require.InDelta(t, math.Exp(mean), heron.Value, 1e-9)
	require.InDelta(t, math.Exp(mean+2.570582*math.Sqrt(sum/5/6)), *heron.High, 1e-5)
	require.Equal(t, "2 of 3 pairs of robots can be told apart", m.Note)
	require.Equal(t, "No robot is surely in the worse half by any measure.", f.Headline)
	require.InDelta(t, of(t, f, "cycle_s", "curlew").Value, m.Median, 1e-9)
}

func TestWhatIsBetterDependsOnTheMeasure(t *testing.T) {
	low, high := Robot{Name: "low"}, Robot{Name: "high"}
	for i := range 6 {
		v := 0.1 * float64(i%3)
		low.Matches = append(low.Matches, Match{LowestV: p(7 + v), Attempts: 20, Level: 2, Passes: 50, Jams: 1})
		high.Matches = append(high.Matches, Match{LowestV: p(9 + v), Attempts: 20, Level: 18, Passes: 50, Jams: 20})
	}
	f := Look("2031", "e", []Robot{low, high})
	for measure, best := range map[string]string{"lowest_v": "high", "balance_level_rate": "high", "jam_rate": "low"} {
		e := of(t, f, measure, best)
		require.Equal(t, [2]int{1, 1}, [2]int{e.Best, e.Worst}, measure)
		require.Equal(t, best, f.Order(measure)[0])
	}
	require.Equal(t, "Surely in the worse half: high by jams; low by attempts that came level and lowest voltage.", f.Headline)
	require.Equal(t, "all robots can be told apart", f.Measure("jam_rate").Note)
}

func TestTooLittleToSay(t *testing.T) {
	f := Look("2031", "e", nil)
	require.NotNil(t, f.Robots)
	require.NotNil(t, f.Measures)
	require.Contains(t, f.Headline, "Nothing can be compared")

	f = Look("2031", "e", []Robot{cycles("heron", 9, 10, 11)})
	require.Contains(t, f.Headline, "One robot")
	e := of(t, f, "cycle_s", "heron")
	require.Equal(t, [2]int{1, 1}, [2]int{e.Best, e.Worst})
	require.Contains(t, f.Measures[0].Note, "nothing to compare it with")

	// Two matches, matches all alike and no number are no ground to stand on.
	f = Look("2031", "e", []Robot{
		cycles("a", 9, 9.1), cycles("b", 30, 30, 30), cycles("c", 9, 9.2, 8.8, 9.1, 9.3), cycles("d", math.NaN(), -1, 0), {Name: "e"},
	})
	require.Len(t, f.Measures[0].Robots, 3)
	for _, e := range f.Measures[0].Robots {
		require.Equal(t, [2]int{1, 3}, [2]int{e.Best, e.Worst}, e.Robot)
	}
	require.Nil(t, of(t, f, "cycle_s", "a").Low)
	require.Equal(t, []string{"c", "a", "b", "d", "e"}, f.Order("cycle_s"), "what is hardly known is never first")
	require.Nil(t, of(t, f, "cycle_s", "b").High)
	require.Equal(t, "no two of these 3 robots can be told apart; too few matches to say of a and b; not known of d and e", f.Measures[0].Note)
	require.Equal(t, "These robots cannot be told apart.", f.Headline)
	f = Look("2031", "e", []Robot{cycles("a", 9, 9.1), cycles("b", 30)})
	require.Equal(t, "too few matches to say: it takes 3 of a robot", f.Measures[0].Note)
}

// A robot whose jams all come in one match is less sure than one that has as many here and there.
func TestBunchesMakeLessSure(t *testing.T) {
	bunch, spread := Robot{Name: "bunch"}, Robot{Name: "spread"}
	for i := range 8 {
		b := Match{Passes: 10}
		if i == 0 {
			b.Jams = 8
		}
		bunch.Matches, spread.Matches = append(bunch.Matches, b), append(spread.Matches, Match{Passes: 10, Jams: 1})
	}
	f := Look("2031", "e", []Robot{bunch})
	wide := of(t, f, "jam_rate", "bunch")
	f = Look("2031", "e", []Robot{spread})
	narrow := of(t, f, "jam_rate", "spread")
	require.Equal(t, wide.Value, narrow.Value)
	require.Greater(t, *wide.High-*wide.Low, 1.5*(*narrow.High-*narrow.Low))
	low, high := stat.Wilson(8, 80, 0.95)
	require.InDelta(t, low, *narrow.Low, 1e-12)
	require.InDelta(t, high, *narrow.High, 1e-12)
	require.Equal(t, 8, *narrow.Events)
	require.Equal(t, 80, *narrow.Of)
}

func TestWorstStage(t *testing.T) {
	r := Robot{Name: "heron"}
	for i := range 10 {
		r.Matches = append(r.Matches, Match{Passes: 12, Jams: 4 + i%2, Stages: []Stage{{"mouth", 12, i % 2}, {"lift", 12, 4}, {"magazine", 0, 0}}})
	}
	w := of(t, Look("2031", "e", []Robot{r}), "jam_rate", "heron").Weakest
	require.NotNil(t, w)
	require.Equal(t, "lift", w.Name)
	require.Equal(t, 40, *w.Events)
	require.Empty(t, w.NotFrom, "the mouth jams less, and nothing came to the magazine")
	low, _ := stat.Wilson(40, 120, 0.975)
	require.InDelta(t, low, *w.Low, 1e-12, "of two stages, so that both hold")

	for i := range r.Matches {
		r.Matches[i].Stages[0].Jams = 3 + i%2
	}
	w = of(t, Look("2031", "e", []Robot{r}), "jam_rate", "heron").Weakest
	require.Equal(t, []string{"mouth"}, w.NotFrom)
	for i := range r.Matches {
		r.Matches[i].Jams = 0
	}
	require.Nil(t, of(t, Look("2031", "e", []Robot{r}), "jam_rate", "heron").Weakest, "without a jam no stage is the worst")
}

func TestWorstBattery(t *testing.T) {
	r := Robot{Name: "heron"}
	for i := range 12 {
		m := Match{Battery: fmt.Sprintf("B%d", 1+i%3), ResistanceOhm: p(0.02 + 0.0004*float64(i%4))}
		if m.Battery == "B3" {
			*m.ResistanceOhm += 0.012
		}
		r.Matches = append(r.Matches, m)
	}
	e := of(t, Look("2031", "e", []Robot{r}), "resistance_ohm", "heron")
	require.Equal(t, "B3", e.Weakest.Name)
	require.Empty(t, e.Weakest.NotFrom)
	require.Less(t, *e.High-*e.Low, 0.001, "that batteries differ makes their mean no less sure")
	r.Matches = r.Matches[:4] // hardly any twice
	e = of(t, Look("2031", "e", []Robot{r}), "resistance_ohm", "heron")
	require.Equal(t, []string{"B1", "B2"}, sorted(e.Weakest.NotFrom))
	require.Nil(t, e.Weakest.Low)
	require.Greater(t, *e.High-*e.Low, 0.01, "now it does: who knows which comes next")
	for i := range r.Matches {
		r.Matches[i].Battery = ""
	}
	require.Nil(t, of(t, Look("2031", "e", []Robot{r}), "resistance_ohm", "heron").Weakest)
}

func sorted(s []string) []string { return slices.Sorted(slices.Values(s)) }

// The order in which robots and matches are handed in is no matter.
func TestOrderOfInputIsNoMatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	robots := event(rng, 7, make([]float64, 7))
	want := Look("2031", "e", robots)
	slices.Reverse(robots)
	for i := range robots {
		slices.Reverse(robots[i].Matches)
	}
	got := Look("2031", "e", robots)
	require.Equal(t, want.Headline, got.Headline)
	for i, m := range want.Measures {
		require.Equal(t, m.Note, got.Measures[i].Note)
		for k, e := range m.Robots {
			o := got.Measures[i].Robots[k]
			require.Equal(t, [3]any{e.Robot, e.Best, e.Worst}, [3]any{o.Robot, o.Best, o.Worst})
			require.InDelta(t, e.Value, o.Value, 1e-12)
		}
	}
}

// event are robots with 3 to 12 matches whose true measures are one step times worse for each unit
// of behind. Jams of a match hang together: their rate differs from match to match.
func event(rng *rand.Rand, robots int, behind []float64) []Robot {
	var out []Robot
	for i := range robots {
		r := Robot{Name: fmt.Sprintf("r%02d", i)}
		for range 3 + i%10 {
			b := behind[i]
			m := Match{
				CycleS: p(12 * math.Exp(0.1*b+0.12*rng.NormFloat64())), LowestV: p(9 - 0.3*b + 0.4*rng.NormFloat64()),
				Passes: 8 + rng.IntN(6), Attempts: 1 + rng.IntN(2),
			}
			m.Jams = bunch(rng, m.Passes, jamRate(b), 12)
			m.Level = bunch(rng, m.Attempts, levelRate(b), 12)
			if m.Level > 0 {
				m.SettleS = p(4 * math.Exp(0.1*b+0.3*rng.NormFloat64()))
			}
			m.Battery = fmt.Sprintf("B%d", rng.IntN(3))
			m.ResistanceOhm = p(0.02 * math.Exp(0.1*b+0.04*rng.NormFloat64()))
			r.Matches = append(r.Matches, m)
		}
		out = append(out, r)
	}
	return out
}

func jamRate(b float64) float64   { return math.Min(0.9, 0.06*math.Exp(0.2*b)) }
func levelRate(b float64) float64 { return 0.85 * math.Exp(-0.1*b) }

// bunch draws from the beta-binomial distribution: a rate of mean p that differs from match to
// match, less the larger the size.
func bunch(rng *rand.Rand, n int, p, size float64) int {
	rate := gamma(rng, p*size)
	rate /= rate + gamma(rng, (1-p)*size)
	k := 0
	for range n {
		if rng.Float64() < rate {
			k++
		}
	}
	return k
}

// gamma draws by Marsaglia and Tsang's method (ACM TOMS 26, 2000).
func gamma(rng *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(rng, shape+1) * math.Pow(rng.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	for {
		x := rng.NormFloat64()
		v := math.Pow(1+x/math.Sqrt(9*d), 3)
		if v > 0 && math.Log(rng.Float64()) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

// By simulation with a fixed seed: the true places of all robots lie in their ranges at least 95
// times in 100, measure by measure, whether robots are equal or not; and each interval holds its true
// value about as often. The bounds leave four standard errors.
func TestPlacesAndIntervalsHold(t *testing.T) {
	const robots, runs = 12, 150
	for name, behind := range map[string]func(int) float64{
		"equal": func(int) float64 { return 0 }, "unequal": func(i int) float64 { return float64(i % 4) },
	} {
		rng := rand.New(rand.NewPCG(11, 4))
		b, place := make([]float64, robots), map[string]int{}
		for i := range b {
			b[i], place[fmt.Sprintf("r%02d", i)] = behind(i), i
		}
		together, covered, all, apart := map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
		for range runs {
			f := Look("2031", "e", event(rng, robots, b))
			for _, m := range f.Measures {
				right := true
				apart[m.Name] += m.Apart
				for _, e := range m.Robots {
					i := place[e.Robot]
					better, alike := 0, 0
					for _, o := range m.Robots {
						k := place[o.Robot]
						switch {
						case b[k] < b[i]:
							better++
						case b[k] == b[i]:
							alike++
						}
					}
					// Equal robots share their places: any of those may be the true one.
					right = right && e.Best <= 1+better && e.Worst >= better+alike
					if e.Low != nil {
						all[m.Name]++
						if truth := truth(m.Name, b[i]); *e.Low <= truth && truth <= *e.High {
							covered[m.Name]++
						}
					}
				}
				if right {
					together[m.Name]++
				}
			}
		}
		for m, n := range all {
			t.Logf("%s %s: places %d of %d, intervals %.3f, %.1f pairs apart", name, m, together[m], runs, float64(covered[m])/float64(n), float64(apart[m])/runs)
			assert.GreaterOrEqual(t, float64(together[m])/runs, 0.95-4*math.Sqrt(0.95*0.05/runs), "%s %s", name, m)
			assert.InDelta(t, 0.96, float64(covered[m])/float64(n), 0.03, "%s %s", name, m)
			if name == "unequal" && (m == "cycle_s" || m == "lowest_v" || m == "resistance_ohm") {
				assert.Greater(t, apart[m], 2*runs, "something is told apart by %s", m)
			}
		}
	}
}

// truth is what the intervals of a measure should hold.
func truth(measure string, b float64) float64 {
	return map[string]float64{
		"cycle_s": 12 * math.Exp(0.1*b), "lowest_v": 9 - 0.3*b, "jam_rate": jamRate(b), "balance_level_rate": levelRate(b),
		"balance_settle_s": 4 * math.Exp(0.1*b), "resistance_ohm": 0.02 * math.Exp(0.1*b),
	}[measure]
}

func TestMatchOfTables(t *testing.T) {
	n := func(v int64) *int64 { return &v }
	b := "B2"
	m := MatchOf(tables.Match{CycleS: p(9), Passes: n(12), Jams: n(2), BalanceAttempts: n(2), BalanceLevel: n(1), Battery: &b, LowestV: p(8)},
		[]tables.Stage{{Stage: "lift", Passes: 9, Jams: 2}})
	require.Equal(t, Match{CycleS: p(9), Passes: 12, Jams: 2, Attempts: 2, Level: 1, Battery: "B2", LowestV: p(8), Stages: []Stage{{"lift", 9, 2}}}, m)
	require.Equal(t, Match{}, MatchOf(tables.Match{}, nil), "five signals tell nothing of this")
}
