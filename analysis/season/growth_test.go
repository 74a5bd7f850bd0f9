package season

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/schemas"
)

// growing is a season of forty matches of 140 s in which all five stages jam together each times, and over the
// season as a power law of that shape.
func growing(rng *rand.Rand, shape, each float64) (matches []Match) {
	before := 0.0
	for i := range 40 {
		m := Match{Event: "cup", RunS: 140}
		share := math.Pow(float64(i+1)/40, shape)
		for _, name := range []string{"mouth", "throat", "lift", "pocket", "gate"} {
			k := int(distuv.Poisson{Lambda: each / 5 * (share - before), Src: rng}.Rand())
			m.Stages = append(m.Stages, Stage{Name: name, Passes: 9, Jams: min(k, 9)})
		}
		before = share
		matches = append(matches, m)
	}
	return matches
}

func lookAt(matches []Match) schemas.Season {
	names := make([]schemas.SeasonMatch, len(matches))
	return Look("heron", names, matches, nil)
}

// A robot of which every stage jams a little less the longer it runs is told so, where no stage alone
// shows it; one that stays as it is is not.
func TestJamsGetRarerAsItRuns(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 0))
	var rarer, alone, none, held tally
	for range 100 {
		s := lookAt(growing(rng, 0.5, 40))
		require.NotNil(t, s.Growth)
		byStage := false
		for _, m := range s.Measures {
			byStage = byStage || len(m.Changes) > 0 || m.Trend != nil
		}
		alone.add(byStage)
		rarer.add(s.Growth.Seen && s.Growth.Shape < 1 || byStage)
		held.add(s.Growth.Low <= 0.5 && 0.5 <= s.Growth.High)
		none.add(lookAt(growing(rng, 1, 40)).Growth.Seen)
	}
	rarer.atLeast(t, 0.9, "told that jams get rarer")
	alone.atMost(t, 0.2, "told so by a stage")
	held.atLeast(t, 0.93, "interval holds the shape")
	none.atMost(t, 0.02, "told so of what stays as it is")
}

func TestGrowthInWords(t *testing.T) {
	matches := make([]Match, 0, 30)
	for i := range 30 {
		k := 0
		if i < 10 || i == 15 || i == 22 {
			k = 1
		}
		stage := []string{"mouth", "throat", "lift"}[i%3]
		m := Match{Event: "cup", RunS: 120, Stages: []Stage{{Name: "mouth", Passes: 9}, {Name: "throat", Passes: 9}, {Name: "lift", Passes: 9}}}
		for j := range m.Stages {
			if m.Stages[j].Name == stage {
				m.Stages[j].Jams = k
			}
		}
		matches = append(matches, m)
	}
	g := lookAt(matches).Growth
	require.NotNil(t, g)
	assert.Equal(t, 12, g.Jams)
	assert.InDelta(t, 1, g.Hours, 1e-9)
	assert.InDelta(t, 12*g.Shape, g.Now.Value, 1e-9)
	assert.True(t, g.Seen)
	assert.Contains(t, g.Note, "12 jams of all stages in 1.0 h of running, one in 5.0 min; they get rarer as it runs: now one in ")

	// Where a stage changed that says more.
	for i := range matches {
		matches[i].Stages[2].Jams = 0
		if i >= 15 {
			matches[i].Stages[2].Jams = 2
		}
	}
	s := lookAt(matches)
	require.NotEmpty(t, s.Measures[2].Changes)
	assert.False(t, s.Growth.Seen)
	assert.Contains(t, s.Growth.Note, "a stage has changed by itself, and tells more")
	assert.Nil(t, lookAt(matches[:5]).Growth, "five matches are too few")
	for i := range matches {
		matches[i].Stages = nil
	}
	assert.Nil(t, lookAt(matches).Growth, "without a path nobody looked")
}

// An hour of running is what rates are of: of Gehan's remissions (1965, 6-MP arm, R's MASS::gehan), taken as
// 9 jams in 359 h, the exponential mean is 39.888889 h by R survival 3.5-3, survreg. Of Proschan's air conditioners
// (Technometrics 5, 1963; R's boot::aircondit), 12 failures in 1297 h, the mean is 108.083333 h and the rate at least
// 0.00478070556 an hour by R 4.2.2; its upper limit is of a watch that a failure ends, which no match is.
func TestRatesAreExponential(t *testing.T) {
	s := Series{
		Name: "jam_rate/lift", Value: []float64{0.5, 0.5}, Hours: []float64{200, 159},
		Events: []float64{4, 5}, Tries: []float64{8, 10},
	}
	assert.InDelta(t, 39.888889, 1/s.perHour(0, 2).Value, 1e-6)
	s.Events, s.Hours = []float64{5, 7}, []float64{600, 697}
	got := s.perHour(0, 2)
	assert.InDelta(t, 108.083333, 1/got.Value, 1e-6)
	assert.InDelta(t, 0.00478070556, got.Low, 1e-10)
	assert.Greater(t, got.High, 0.0151750490)
}
