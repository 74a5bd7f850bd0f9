package suggest

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
)

// The stories' robots by their own names and by names without meaning: nothing may be wrong,
// and what is found must be most.
func TestStoriesUnderAnyNames(t *testing.T) {
	for _, story := range []string{"clean", "jam-reversed", "brownout", "bad-balance", "rookie"} {
		m, err := sim.Run(story, 0)
		require.NoError(t, err)
		means := map[string]string{}
		for _, k := range m.Means {
			means[k.Signal] = k.Role
		}
		for name, least := range map[string]float64{"own": 0.9, "random": 0.6} {
			log, back := m.Log, map[string]string(nil)
			if name == "random" {
				log, back = randomNames(m.Log, 7, false)
			}
			p := Propose(log)
			parsed(t, p)
			right := 0
			for _, k := range p.Mapped {
				was := k.Signal
				if back != nil {
					was = back[was]
				}
				if assert.Equal(t, means[was], k.Role, "%s, %s names: %s", story, name, was) {
					right++
				}
			}
			assert.GreaterOrEqual(t, float64(right), least*float64(len(m.Means)), "%s, %s names", story, name)
		}
	}
}

// What is written is what was found: each mapped signal stands in the profile, and no other.
func TestProfileHoldsWhatIsMapped(t *testing.T) {
	m, err := sim.Run("clean", 0)
	require.NoError(t, err)
	p := Propose(m.Log)
	var want, got []string
	for _, k := range p.Mapped {
		want = append(want, k.Role+" "+k.Signal)
	}
	for _, r := range parsed(t, p).Refs() {
		role := r.Role
		if open := strings.IndexByte(role, '['); open >= 0 {
			role = role[:open] + role[strings.IndexByte(role, ']')+1:]
		}
		got = append(got, role+" "+r.Ref.Signal)
	}
	assert.ElementsMatch(t, want, got)
	stages := parsed(t, p).Path.Stages
	var names []string
	for _, s := range stages {
		names = append(names, s.Name)
	}
	assert.Equal(t, m.Stages, names, "stages are named by what their signals' names share")
}

// Names that YAML takes for something else, or that hold its signs.
func TestAnyNameCanBeWritten(t *testing.T) {
	m, err := sim.Run("rookie", 0)
	require.NoError(t, err)
	nasty := []string{"- a: {b}, #c", "true", "12", "\"quoted\" [x]y", "röbot 1: tab\tand\nline\\", "~"}
	for i := range nasty {
		log := &schemas.Log{}
		for j, s := range m.Log.Signals {
			c := *s
			c.Name = nasty[(i+j)%len(nasty)]
			log.Signals = append(log.Signals, &c)
		}
		log.Normalize()
		p := Propose(log)
		require.NotEmpty(t, p.Mapped)
		var got []string
		for _, r := range parsed(t, p).Refs() {
			got = append(got, r.Ref.Signal)
			assert.NotNil(t, log.Find(r.Ref.Signal), "%q", r.Ref.Signal)
		}
		assert.Len(t, got, len(p.Mapped))
	}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[^\x00-\x1f\x7f]{1,20}`).Draw(t, "name")
		p := Proposal{Mapped: []Mapped{{Role: "power.voltage", Signal: strings.TrimSpace("q" + name), Why: name, Sure: 0.9}}}
		text := p.YAML("heron", name)
		require.Contains(t, text, "voltage: ")
	})
}

// Little or nothing to go by.
func TestLogsThatSayLittle(t *testing.T) {
	nan := math.NaN()
	for name, log := range map[string]*schemas.Log{
		"empty":          {},
		"no samples":     {Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Float64}}},
		"one sample":     {Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Float64, Time: []int64{1}, Float: []float64{12.5}}}},
		"no reading":     {Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Float64, Time: []int64{1, 9e6}, Float: []float64{nan, nan}}}},
		"constant":       {Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Float64, Time: []int64{1, 9e6}, Float: []float64{3, 3}}}},
		"two far apart":  {Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Int64, Time: []int64{-9e17, 9e17}, Int: []int64{1, 2}}}},
		"text and bools": {Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Text, Time: []int64{1, 9e6}, Text: []string{"x", "y"}}, {Name: "b", Kind: schemas.Bool, Time: []int64{1, 9e6}, Bool: []bool{true, false}}}},
	} {
		p := Propose(log)
		assert.Empty(t, p.Mapped, name)
		parsed(t, p)
	}
}

// The order of signals and the robot's clock are no matter.
func TestSameProposalForTheSameSignals(t *testing.T) {
	m, err := sim.Run("jam-reversed", 0)
	require.NoError(t, err)
	want := Propose(m.Log).YAML("heron", "a log")
	moved := &schemas.Log{}
	for _, s := range m.Log.Signals {
		c := *s
		c.Time = slices.Clone(s.Time)
		for i := range c.Time {
			c.Time[i] += 3_600_000_000
		}
		moved.Signals = append(moved.Signals, &c)
	}
	assert.Equal(t, want, Propose(moved).YAML("heron", "a log"))
	for range 3 { // maps are walked in another order each time
		assert.Equal(t, want, Propose(m.Log).YAML("heron", "a log"))
	}
}

func TestWordsOfNames(t *testing.T) {
	for name, want := range map[string]string{
		"power/branch/0":      "power branch 0",
		"imu/pitchRate2":      "imu pitch rate 2",
		"IMU PITCH_RATE":      "imu pitch rate",
		"röbot 1: drive.left": "röbot 1 drive left",
		"":                    "",
		"///":                 "",
		"x":                   "x",
	} {
		assert.Equal(t, want, strings.Join(wordsOf(name), " "), name)
	}
	named := func(name string, keys ...string) float64 { return (&signal{words: wordsOf(name)}).named(keys...) }
	assert.Positive(t, named("bus voltage", "voltage"))
	assert.Negative(t, named("motor current", "voltage"))
	assert.Negative(t, named("motor voltage temperature", "voltage"))
	assert.Zero(t, named("kadiko", "voltage"))
}

// solve against trying all ways: of few slots and signals with one signal an option the exact
// marginals are those of all assignments in which none is used twice.
func TestSolveAgainstAllWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		signals := []*signal{{at: 0}, {at: 1}, {at: 2}}
		n := rapid.IntRange(1, 3).Draw(t, "slots")
		slots := make([]slot, n)
		for i := range slots {
			for _, s := range signals {
				if rapid.Bool().Draw(t, "has") {
					slots[i].options = append(slots[i].options, option{odds: rapid.Float64Range(-8, 8).Draw(t, "odds"), uses: []use{{s: s, sure: 1}}})
				}
			}
		}
		got := solve(slots, len(signals))
		exact := make([][]float64, n)
		for i := range exact {
			exact[i] = make([]float64, len(slots[i].options))
		}
		sum := 0.0
		picks := make([]int, n)
		var try func(i int, odds float64, used [3]bool)
		try = func(i int, odds float64, used [3]bool) {
			if i == n {
				w := math.Exp(odds)
				sum += w
				for k, p := range picks {
					if p >= 0 {
						exact[k][p] += w
					}
				}
				return
			}
			picks[i] = -1
			try(i+1, odds, used)
			for j, o := range slots[i].options {
				if at := o.uses[0].s.at; !used[at] {
					u := used
					u[at] = true
					picks[i] = j
					try(i+1, odds+o.odds, u)
				}
			}
		}
		try(0, 0, [3]bool{})
		var use [3]float64
		for i := range got {
			total := 0.0
			for j, p := range got[i] {
				total += p
				use[slots[i].options[j].uses[0].s.at] += p
				// An approximation: it may be less sure than all ways say, and not much surer.
				if p > 0.5 {
					require.Greater(t, exact[i][j]/sum, 0.3, "slot %d option %d: %v", i, j, p)
				}
				if n == 1 {
					require.InDelta(t, exact[i][j]/sum, p, 1e-9)
				}
			}
			require.LessOrEqual(t, total, 1+1e-9)
		}
		for _, u := range use {
			require.LessOrEqual(t, u, 1.001, "no signal is used more than once")
		}
	})
}

func BenchmarkPropose(b *testing.B) {
	m, err := sim.Run("clean", 0)
	require.NoError(b, err)
	for b.Loop() {
		Propose(m.Log)
	}
}
