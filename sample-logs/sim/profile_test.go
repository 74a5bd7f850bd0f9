package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/profile"
)

// A profile made for a story's robot means the same as the one written to teach.
func TestGeneratedProfileMeansTheSameAsTheCommitted(t *testing.T) {
	for _, name := range []string{"clean", "rookie"} {
		s, ok := findScenario(name)
		require.True(t, ok)
		w := newWorld(s, Options{Seed: 3})
		want, err := profile.Parse("committed.yaml", profileFor(w))
		require.NoError(t, err)
		text := generated(w)
		assert.NotEqual(t, string(profileFor(w)), string(text), "the committed one has comments")
		got, err := profile.Parse("generated.yaml", text)
		require.NoError(t, err, "%s", text)
		assert.Equal(t, want, got)
	}
}

// A path of other stages gets a profile of those, and a stage without beam none.
func TestGeneratedProfileFollowsTheBuiltRobot(t *testing.T) {
	s, _ := findScenario(Drawn)
	s.parts = append(s.parts, func(w *world, _ random) {
		for i, b := range w.path.belts {
			b.name = string(rune('a' + i))
			b.blind = i == 1 || i == 3
		}
		w.supply.cutOff, w.supply.recover = 6.3, 6.9
	})
	p, err := profile.Parse("generated.yaml", generated(newWorld(s, Options{Seed: 3})))
	require.NoError(t, err)
	require.Len(t, p.Path.Stages, 5)
	for i, st := range p.Path.Stages {
		assert.Equal(t, string(rune('a'+i)), st.Name)
		assert.Equal(t, i == 1 || i == 3, st.Sensor == nil)
		assert.Equal(t, "path/"+st.Name+"/command", st.Command.Signal)
	}
	assert.Equal(t, profile.BrownoutLimit{EnterV: 6.3, LeaveV: 6.9}, *p.Power.Brownout)
	require.Len(t, p.Power.Branches, 5)
	assert.Equal(t, "intake", p.Power.Branches[2].Name)
}
