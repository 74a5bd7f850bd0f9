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

// with plays the clean story with some conditions on, and keeps the world.
func with(t testing.TB, seed uint64, names ...string) (*Match, *world) {
	t.Helper()
	m, w, err := playWorld(Options{Scenario: "clean", Seed: seed, With: names})
	require.NoError(t, err)
	return m, w
}

// played is a match with its world.
type played struct {
	*Match
	w *world
}

func (p played) logged(id string) *schemas.Signal { return p.Log.Find(p.w.recorder.channel(id).name) }

func (p played) clean(id string) *clean {
	for i, c := range p.w.recorder.channels {
		if c.id == id {
			return p.w.recorder.cleans[i]
		}
	}
	return nil
}

// Every sensor condition alone does what it says, gives a log in order, a profile that
// reads it and a truth inside it, and leaves what happened as it was. So do all together.
func TestEverySensorConditionDoesWhatItSays(t *testing.T) {
	t.Parallel()
	m, w := with(t, 4)
	plain := played{m, w}
	plainProfile := string(generated(w))
	var all []string
	groups := map[string]bool{}
	for _, c := range sensorConditions() {
		if c.group == "" || !groups[c.group] {
			all = append(all, c.Name)
			groups[c.group] = true
		}
		m, w := with(t, 4, c.Name)
		for seed := uint64(5); sameLog(m.Log, plain.Log) && len(m.Truth.Quality.Faults) == 0 && seed < 8 && strings.HasPrefix(c.Name, "beam-"); seed++ {
			m, w = with(t, seed, c.Name) // no piece came while it stuck
		}
		assert.Equal(t, []string{c.Name}, m.Conditions)
		whole(t, m)
		same := string(m.Profile) == plainProfile && m.Arrived == nil && sameLog(m.Log, plain.Log)
		assert.False(t, same, "%s changes nothing", c.Name)
		if w.seed == 4 && !slices.Contains([]string{"reboot", "log-begins-late", "log-ends-early"}, c.Name) {
			assert.Equal(t, plain.w.track, w.track, "%s changes what happened", c.Name)
		}
		check := readingChecks[c.Name]
		if check == nil {
			check = formChecks[c.Name]
		}
		if place, ok := placesMissing[c.Name]; ok {
			check = func(t *testing.T, p, _ played) { isMissing(t, p, place) }
		}
		if assert.NotNil(t, check, "%s has no check", c.Name) {
			t.Run(c.Name, func(t *testing.T) { check(t, played{m, w}, plain) })
		}
	}
	m, _ = with(t, 4, all...)
	whole(t, m)
}

func sameLog(a, b *schemas.Log) bool {
	return slices.EqualFunc(a.Signals, b.Signals, func(x, y *schemas.Signal) bool {
		return x.Name == y.Name && slices.Equal(x.Time, y.Time) && slices.Equal(x.Float, y.Float) &&
			slices.Equal(x.Int, y.Int) && slices.Equal(x.Bool, y.Bool) && slices.Equal(x.Text, y.Text)
	})
}

// whole checks what must hold for any match.
func whole(t *testing.T, m *Match) {
	t.Helper()
	first, last, ok := m.Log.Bounds()
	require.True(t, ok, "%v", m.Conditions)
	for _, s := range m.Log.Signals {
		for i := 1; i < s.Len(); i++ {
			if s.Time[i-1] >= s.Time[i] {
				t.Fatalf("%v: %s at %d is not after %d", m.Conditions, s.Name, s.Time[i], s.Time[i-1])
			}
		}
	}
	p, err := profile.Parse("robot.yaml", m.Profile)
	require.NoError(t, err, "%v\n%s", m.Conditions, m.Profile)
	for _, r := range p.Refs() {
		absent := slices.Contains(m.Truth.Quality.Missing, r.Ref.Signal)
		assert.Equal(t, absent, m.Log.Find(r.Ref.Signal) == nil, "%v %s", m.Conditions, r.Ref.Signal)
		if !absent {
			_, err := bind(r, m.Log)
			assert.NoError(t, err, "%v %s", m.Conditions, r.Role)
		}
	}
	inside := func(at float64, what string) {
		assert.GreaterOrEqual(t, at, schemas.Seconds(first)-2e-6, "%v %s", m.Conditions, what)
		assert.LessOrEqual(t, at, schemas.Seconds(last)+2e-6, "%v %s", m.Conditions, what)
	}
	r := m.Truth
	for _, p := range r.Match.Periods {
		inside(p.StartS, "period")
		inside(p.EndS, "period")
	}
	for _, j := range r.Jams {
		inside(j.StartS, "jam")
		inside(j.EndS, "jam")
	}
	for _, b := range r.Brownouts {
		inside(b.StartS, "brownout")
	}
	for _, c := range r.Cycles {
		inside(c.StartS, "cycle")
		inside(c.EndS, "cycle")
		assert.InDelta(t, c.EndS-c.StartS, c.DurationS, 3e-6)
	}
	for _, b := range r.Balances {
		inside(b.StartS, "balance")
		inside(b.EndS, "balance")
	}
	for _, v := range r.Moves {
		inside(v.StartS, "move")
		inside(v.EndS, "move")
	}
	for _, g := range r.Quality.Gaps {
		inside(g.StartS, "gap")
		inside(g.EndS, "gap")
		assert.Less(t, g.StartS, g.EndS)
	}
	for _, f := range r.Quality.Faults {
		inside(f.StartS, "fault")
		inside(f.EndS, "fault")
		assert.NotNil(t, m.Log.Find(f.Signal), f.Signal)
		assert.False(t, math.IsInf(f.StartS, 0))
	}
	if e := r.Battery.EnergyWh; e != nil {
		assert.Greater(t, *e, 0.0, "%v", m.Conditions)
	}
}

func bind(r profile.NamedRef, log *schemas.Log) (any, error) {
	switch r.Want {
	case profile.WantText:
		return r.Ref.Text(log)
	case profile.WantBool:
		return r.Ref.Bool(log)
	}
	if r.Unit.Symbol == "" {
		return r.Ref.Float(log)
	}
	return r.Ref.FloatIn(log, r.Unit)
}

// Drawn matches have some two sensor conditions each.
func TestDrawnMatchesHaveSensorConditions(t *testing.T) {
	n := 0
	const seeds = 400
	for seed := uint64(1); seed <= seeds; seed++ {
		s, _ := findScenario(Drawn)
		for _, name := range s.draw(seed) {
			if slices.ContainsFunc(sensorConditions(), func(c condition) bool { return c.Name == name }) {
				n++
			}
		}
	}
	assert.InDelta(t, 2.4, float64(n)/seeds, 0.4)
}
