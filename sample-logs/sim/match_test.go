package sim

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

func play(t testing.TB, name string, seed uint64) *Match {
	t.Helper()
	m, err := Run(name, seed)
	require.NoError(t, err)
	return m
}

// stories are the scenarios at their own seeds, each played once. No test changes one.
var stories = func() map[string]func() (*Match, error) {
	out := map[string]func() (*Match, error){}
	for _, s := range Scenarios() {
		out[s.Name] = sync.OnceValues(func() (*Match, error) { return Run(s.Name, 0) })
	}
	return out
}()

// story is a scenario at its own seed.
func story(t testing.TB, name string) *Match {
	t.Helper()
	m, err := stories[name]()
	require.NoError(t, err)
	return m
}

func TestUnknownScenarioNamesTheKnown(t *testing.T) {
	_, err := Run("clen", 1)
	require.Error(t, err)
	assert.Contains(t, err.Error(), `scenario "clen" is not known: use one of clean,`)
}

func TestOptionsReplace(t *testing.T) {
	t.Parallel()
	m, err := RunOptions(Options{
		Scenario: "clean", Seed: 2, Season: "2032", Event: "elm-cup", MatchName: "f1", At: "2032-02-02T10:00:00Z",
		Battery: "B9", ResistanceOhm: 0.033,
	})
	require.NoError(t, err)
	assert.Equal(t, []string{"2032", "elm-cup", "f1", "heron"}, []string{m.Season, m.Event, m.MatchName, m.Robot})
	assert.Equal(t, "2032-02-02T10:00:00Z", *m.Truth.Match.At)
	assert.Equal(t, "B9", m.Truth.Battery.ID)
	assert.Equal(t, "B9", m.Log.Find("power/battery").Text[0])
	assert.InDelta(t, 0.033, *m.Truth.Battery.ResistanceOhm, 1e-12)
}

func TestSameSeedSameMatch(t *testing.T) {
	t.Parallel()
	for _, s := range Scenarios() {
		a, b := story(t, s.Name), play(t, s.Name, 0)
		assert.Equal(t, a.Log, b.Log, s.Name)
		assert.Equal(t, string(a.Profile), string(b.Profile), s.Name)
		assert.Equal(t, a.Truth, b.Truth, s.Name)
		assert.Equal(t, a.Unsure, b.Unsure, s.Name)
		other := play(t, s.Name, 112)
		assert.NotEqual(t, a.Truth, other.Truth, s.Name)
		assert.NotEqual(t, a.Log.Find("power/voltage").Float, other.Log.Find("power/voltage").Float, s.Name)
	}
}

// Every scenario's log is in the order readers rely on, its profile is a profile and names
// only what the log has, and its truth is a report.
func TestLogProfileAndTruthAreWhole(t *testing.T) {
	t.Parallel()
	compiler := jsonschema.NewCompiler()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schemas.ReportSchema()))
	require.NoError(t, err)
	require.NoError(t, compiler.AddResource("report.json", doc))
	schema, err := compiler.Compile("report.json")
	require.NoError(t, err)

	for _, s := range Scenarios() {
		m := story(t, s.Name)
		p, err := profile.Parse(m.Robot+".yaml", m.Profile)
		require.NoError(t, err, s.Name)
		assert.Equal(t, m.Robot, p.Robot)
		refs := p.Refs()
		require.NotEmpty(t, refs)
		for _, r := range refs {
			assert.Equal(t, m.Log.Find(r.Ref.Signal) == nil, slices.Contains(m.Truth.Quality.Missing, r.Ref.Signal), "%s: %s", s.Name, r.Ref.Signal)
		}
		for k, sig := range m.Log.Signals {
			assert.True(t, slices.IsSorted(sig.Time), sig.Name)
			assert.Len(t, slices.Compact(slices.Clone(sig.Time)), sig.Len(), sig.Name)
			assert.True(t, k == 0 || m.Log.Signals[k-1].Name < sig.Name)
		}
		raw, err := json.Marshal(m.Truth)
		require.NoError(t, err)
		value, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
		require.NoError(t, err)
		assert.NoError(t, schema.Validate(value), s.Name)
	}
}

// A robot of five signals logs five.
func TestRookieLogsFiveSignals(t *testing.T) {
	t.Parallel()
	m := story(t, "rookie")
	assert.Len(t, m.Log.Signals, 5)
	assert.Nil(t, m.Truth.Battery.ResistanceOhm, "no current, no resistance")
	assert.Empty(t, m.Truth.Passes)
	assert.Len(t, m.Truth.Quality.Gaps, 2)
}

// In a clean match, whatever the seed: no jam, no dip, every piece goes through in order,
// the platform is level.
func TestCleanIsClean(t *testing.T) {
	t.Parallel()
	for seed := uint64(1); seed <= 6; seed++ {
		m := play(t, "clean", seed)
		r := m.Truth
		assert.Empty(t, r.Jams, "seed %d", seed)
		assert.Empty(t, r.Brownouts, "seed %d", seed)
		assert.GreaterOrEqual(t, len(r.Passes), 10, "seed %d", seed)
		for _, p := range r.Passes {
			assert.Equal(t, schemas.PassReleased, p.Outcome, "seed %d piece %d", seed, p.Piece)
			assert.Len(t, p.Stages, 5)
		}
		require.Len(t, r.Balances, 1, "seed %d", seed)
		assert.Equal(t, schemas.BalanceLevel, r.Balances[0].Outcome, "seed %d", seed)
		for _, c := range r.Cycles {
			assert.False(t, c.Slow, "seed %d", seed)
		}
	}
}

// Pieces take the stages in order, and one after the other.
func TestPassesAreInOrder(t *testing.T) {
	t.Parallel()
	for _, s := range Scenarios() {
		r := story(t, s.Name).Truth
		for i, p := range r.Passes {
			last := 0.0
			for _, st := range p.Stages {
				enter, leave := either(st.EnterS, st.EnterEstS), either(st.LeaveS, st.LeaveEstS)
				require.NotNil(t, enter, "%s piece %d %s", s.Name, p.Piece, st.Stage)
				assert.Greater(t, *enter, last, "%s piece %d %s", s.Name, p.Piece, st.Stage)
				last = *enter
				if leave != nil {
					assert.Greater(t, *leave, *enter)
				}
			}
			if i > 0 {
				assert.Greater(t, *p.EnterS, *r.Passes[i-1].EnterS)
			}
		}
	}
}

func either(a, b *float64) *float64 {
	if a != nil {
		return a
	}
	return b
}

// The cycles of a period fill it from its start to its end (or to a score just after).
func TestCyclesFillTheirPeriods(t *testing.T) {
	t.Parallel()
	for _, s := range scenarios() {
		m := story(t, s.name)
		scored := m.Log.Find("game/score")
		pieces := 0
		for _, p := range m.Truth.Match.Periods {
			at := p.StartS
			for _, c := range m.Truth.Cycles {
				if c.Period != p.Name {
					continue
				}
				assert.InDelta(t, at, c.StartS, 2e-6, s.name)
				assert.InDelta(t, c.EndS-c.StartS, c.DurationS, 2e-6)
				if ph := c.Phases; ph.ReturnS != nil && ph.CollectS != nil {
					assert.InDelta(t, c.DurationS, *ph.ReturnS+*ph.CollectS+*ph.CarryS+*ph.PlaceS, 1e-5)
				}
				at = c.EndS
				pieces += c.Pieces
			}
			assert.GreaterOrEqual(t, at, p.EndS-1e-6, s.name)
		}
		assert.Equal(t, int(scored.Int[scored.Len()-1]), pieces, s.name)
		require.Len(t, m.Truth.Match.Periods, 2)
		assert.InDelta(t, 20, m.Truth.Match.Periods[0].EndS-m.Truth.Match.Periods[0].StartS, 0.03)
		assert.InDelta(t, 120, m.Truth.Match.Periods[1].EndS-m.Truth.Match.Periods[1].StartS, 0.03)
	}
}

// What a person would look for on the plots of a match without trouble.
func TestCleanLooksLikeAMatch(t *testing.T) {
	t.Parallel()
	m := story(t, "clean")
	r := m.Truth
	var cycles []float64
	for _, c := range r.Cycles[2:] {
		if c.Complete {
			cycles = append(cycles, c.DurationS)
		}
	}
	slices.Sort(cycles)
	assert.InDelta(t, 11, cycles[len(cycles)/2], 2)
	assert.Greater(t, *r.Battery.LowestV, 8.0)
	assert.Less(t, *r.Battery.LowestV, 10.5)
	assert.InDelta(t, 180, *r.Battery.PeakA, 70)
	assert.InDelta(t, 0.8, *r.Battery.ChargeAh, 0.5)
	for _, p := range r.Passes {
		if *p.Stages[3].LeaveS-*p.Stages[3].EnterS > 2 {
			continue // the second of two waits in the pocket
		}
		transit := *p.Stages[4].EnterS - *p.EnterS
		assert.InDelta(t, 2.4, transit, 0.9, "piece %d", p.Piece)
	}
	lift := m.Log.Find("path/lift/current").Float
	running := slices.DeleteFunc(slices.Clone(lift), func(i float64) bool { return i < 1 })
	slices.Sort(running)
	assert.Greater(t, running[len(running)/2], 2.0)
	assert.Less(t, running[len(running)*9/10], 12.0)
}

// A stalled lift shows what a stalled motor shows.
func TestStuckLiftStalls(t *testing.T) {
	t.Parallel()
	m := story(t, "jam-stuck")
	j := m.Truth.Jams[0]
	current, speed := m.Log.Find("path/lift/current"), m.Log.Find("path/lift/speed")
	most, slowest := 0.0, math.Inf(1)
	for i, at := range current.Time {
		if s := schemas.Seconds(at) - j.StartS; s > 0.2 && s < 1.5 {
			most = math.Max(most, current.Float[i])
		}
	}
	for i, at := range speed.Time {
		if s := schemas.Seconds(at) - j.StartS; s > 0.2 && s < 1.5 {
			slowest = math.Min(slowest, math.Abs(speed.Float[i]))
		}
	}
	assert.InDelta(t, 35, most, 7)
	assert.Less(t, slowest, 1.0)
}

// The levelling loop without its rate term keeps the platform swinging for longer.
func TestSwingTakesLonger(t *testing.T) {
	t.Parallel()
	level, swing := story(t, "clean").Truth.Balances[0], story(t, "bad-balance").Truth.Balances[0]
	assert.LessOrEqual(t, level.Overshoots, 2)
	assert.GreaterOrEqual(t, swing.Overshoots, 5)
	assert.Equal(t, schemas.BalanceRanOut, swing.Outcome)
	assert.Nil(t, swing.SettleS)
}

func BenchmarkMatch(b *testing.B) {
	for b.Loop() {
		if _, err := Run("demo", 0); err != nil {
			b.Fatal(err)
		}
	}
}
