package season

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// inTurns is a trial of two belts, two runs of each and then the other, of cycles that get faster by
// learns a run, and by better with the second belt.
func inTurns(rng *rand.Rand, runs int, better, learns float64) (names []schemas.SeasonMatch, matches []Match, changed []Changed) {
	for i := range runs {
		b := i/2%2 == 1
		if i%2 == 0 {
			text := "soft belt"
			if b {
				text = "Ribbed belt"
			}
			changed = append(changed, Changed{Letter: "a", Kind: "part", Text: text, Index: i})
		}
		cycle := 12 - learns*float64(i) + 0.8*rng.NormFloat64()
		jams := 0
		if b {
			cycle -= better
		} else if rng.Float64() < 0.9 {
			jams = 2
		}
		names = append(names, schemas.SeasonMatch{Season: "2031", Event: "practice", Match: fmt.Sprintf("p%d", i)})
		matches = append(matches, Match{Event: "practice", Practice: true, RunS: 60, CycleS: &cycle, Stages: []Stage{{Name: "mouth", Passes: 8, Jams: jams}}})
	}
	return names, matches, changed
}

func measureNamed(t *testing.T, trial schemas.Trial, name string) schemas.TrialMeasure {
	t.Helper()
	for _, m := range trial.Measures {
		if m.Name == name {
			return m
		}
	}
	require.Fail(t, "no measure "+name)
	return schemas.TrialMeasure{}
}

func TestTrialSettlesWhatDiffers(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 0))
	var settled, covered, jams tally
	for range 40 {
		names, matches, changed := inTurns(rng, 20, 2.5, 0.1)
		trial, err := Compare("heron", "soft", "ribbed belt", names, matches, changed)
		require.NoError(t, err)
		require.Equal(t, 9, trial.Turns)
		require.Len(t, trial.B.Runs, 10)
		m := measureNamed(t, trial, "cycle_s")
		settled.add(m.Settled)
		covered.add(*m.Low <= -2.5 && -2.5 <= *m.High)
		jam := measureNamed(t, trial, "jam_rate/mouth")
		jams.add(jam.Settled && jam.Difference < 0 && *jam.High < 0)
	}
	settled.atLeast(t, 0.9, "differences of three deviations settled in 20 runs")
	covered.atLeast(t, 0.95, "intervals that hold the difference")
	jams.atLeast(t, 0.9, "jams that one belt has and the other not")
}

// A driver who learns is no difference between belts, and one may look after every run.
func TestTrialOfTheSameLookedAtAfterEveryRun(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 0))
	var ever, covered tally
	for range 40 {
		names, matches, changed := inTurns(rng, 24, 0, 0.2)
		wrong, out := false, false
		for n := 8; n <= 24; n += 2 {
			var upTo []Changed
			for _, c := range changed {
				if c.Index < n {
					upTo = append(upTo, c)
				}
			}
			trial, err := Compare("heron", "soft belt", "ribbed", names[:n], matches[:n], upTo)
			require.NoError(t, err)
			m := measureNamed(t, trial, "cycle_s")
			wrong = wrong || m.Settled
			out = out || m.Low != nil && *m.Low > 0 || m.High != nil && *m.High < 0
		}
		ever.add(wrong)
		covered.add(!out)
	}
	ever.atMost(t, 0.05, "trials of the same that were ever called settled")
	covered.atLeast(t, 0.95, "intervals that held nothing, at every look")
}

// How many more runs it says are about as many as it takes.
func TestTrialSaysHowManyMore(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 0))
	names, matches, changed := inTurns(rng, 40, 1.2, 0)
	said, took := 0, 0
	for n := 8; n <= 40 && took == 0; n += 2 {
		trial, err := Compare("heron", "soft belt", "ribbed", names[:n], matches[:n], changed[:n/2])
		require.NoError(t, err)
		m := measureNamed(t, trial, "cycle_s")
		if n == 12 {
			require.False(t, m.Settled)
			require.NotNil(t, m.MoreRuns)
			require.Contains(t, m.Note, "more runs, if it stays so")
			said = *m.MoreRuns
		}
		if m.Settled {
			require.Nil(t, m.MoreRuns)
			took = n - 12
		}
	}
	t.Logf("said %d, took %d", said, took)
	require.Positive(t, took)
	require.InDelta(t, took, said, 20)
}

func TestTrialThatCannotBe(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 0))
	names, matches, changed := inTurns(rng, 12, 1, 0)
	_, err := Compare("heron", "wooden belt", "ribbed belt", names, matches, changed)
	require.ErrorContains(t, err, `no entry "wooden belt"`)
	_, err = Compare("heron", "belt", "ribbed belt", names, matches, changed)
	require.ErrorContains(t, err, "fits several entries")
	_, err = Compare("heron", "soft", "soft belt", names, matches, changed)
	require.ErrorContains(t, err, "the same entry")

	// One after the other is no trial in turns, and it says so.
	trial, err := Compare("heron", "soft", "ribbed", names[:8], matches[:8], []Changed{{Text: "soft belt"}, {Text: "ribbed belt", Index: 4}})
	require.NoError(t, err)
	require.Contains(t, trial.Notes[0], "not run in turns")
	// Of the runs after a trial only as many count as a turn has.
	trial, err = Compare("heron", "soft", "ribbed", names, matches, changed[:4])
	require.NoError(t, err)
	require.Len(t, trial.B.Runs, 4)
	trial, err = Compare("heron", "soft", "ribbed", names[:2], matches[:2], changed[:2])
	require.NoError(t, err)
	require.Equal(t, "Nothing can be compared yet.", trial.Headline)
	require.Empty(t, trial.Measures)
}
