package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// driven is a match of the plain story with some conditions of driving, and its world.
func driven(t *testing.T, seed uint64, with ...string) (*world, *Match) {
	t.Helper()
	s, ok := findScenario("clean")
	require.True(t, ok)
	s.trips = nil // one piece each, so that cycles compare
	o := Options{Scenario: "clean", Seed: seed, With: with}
	require.NoError(t, s.prepare(o))
	w := newWorld(s, o)
	w.run()
	m := &Match{Log: w.recorder.log(), Profile: profileFor(w), Robot: s.robot}
	m.Truth = truth(w, m)
	return w, m
}

// liningUp is how long lining up took that the robot did, and that its driver did, s, by the medians.
func liningUp(m *Match) (assisted, byHand float64) {
	var took [2][]float64
	for _, c := range m.Truth.Cycles {
		if c.Period == schemas.PeriodDriver && c.Align != nil && c.Align.AlignS != nil {
			which := 0
			if *c.Align.Assisted {
				which = 1
			}
			took[which] = append(took[which], *c.Align.AlignS)
		}
	}
	for i := range took {
		slices.Sort(took[i])
	}
	return took[1][len(took[1])/2], took[0][len(took[0])/2]
}

// scoredIn are the lengths of the complete cycles of a period.
func scoredIn(m *Match, period string) []float64 {
	var out []float64
	for _, c := range m.Truth.Cycles {
		if c.Kind == "score" && c.Complete && c.Period == period {
			out = append(out, c.DurationS)
		}
	}
	return out
}

func lost(w *world, cause string) (seconds float64) {
	for _, l := range w.losses {
		if l.cause == cause {
			seconds += l.seconds
		}
	}
	return seconds
}

func spread(v []float64) float64 {
	mean, sum := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sum += (x - mean) * (x - mean)
	}
	return math.Sqrt(sum/float64(len(v))) / mean
}

// Each of the other conditions does what its summary says.
func TestDriveConditionsDoWhatTheySay(t *testing.T) {
	t.Parallel()
	plainWorld, plain := driven(t, 2)
	usual := scoredIn(plain, schemas.PeriodDriver)
	median := func(v []float64) float64 {
		v = slices.Clone(v)
		slices.Sort(v)
		return v[len(v)/2]
	}
	checks := map[string]func(*testing.T, *world, *Match){
		"traffic": func(t *testing.T, w *world, _ *Match) {
			assert.NotEmpty(t, w.rivals)
			assert.Positive(t, lost(w, lostWay))
		},
		"moved-zones": func(t *testing.T, w *world, m *Match) {
			p, err := profile.Parse("robot.yaml", m.Profile)
			require.NoError(t, err)
			require.Len(t, p.Cycles.Zones, 2)
			assert.Equal(t, w.field.pickups[0].x1, p.Cycles.Zones[0].Corners[2][0])
			assert.Equal(t, w.field.goals[0].y1, p.Cycles.Zones[1].Corners[2][1])
			assert.NotEqual(t, oven.zone, w.field.pickups[0].zone)
		},
		"short-way": func(t *testing.T, _ *world, m *Match) {
			assert.GreaterOrEqual(t, len(scoredIn(m, schemas.PeriodDriver)), 12)
		},
		"slow-robot": func(t *testing.T, _ *world, m *Match) {
			n := len(scoredIn(m, schemas.PeriodDriver))
			assert.True(t, 2 <= n && n <= 5, "%d", n)
		},
		"two-pickups": func(t *testing.T, w *world, _ *Match) {
			both := [2]bool{}
			for _, at := range w.track {
				for i, z := range w.field.pickups {
					both[i] = both[i] || z.holds(at)
				}
			}
			assert.Equal(t, [2]bool{true, true}, both)
		},
		"two-goals": func(t *testing.T, w *world, _ *Match) {
			require.Len(t, w.field.goals, 2)
			still := [2]int{}
			for i, at := range w.track[1:] {
				if math.Hypot(at.X-w.track[i].X, at.Y-w.track[i].Y) > 1e-4 {
					continue
				}
				for k, z := range w.field.goals {
					if z.holds(at) {
						still[k]++
					}
				}
			}
			assert.Positive(t, still[0], "it stops at the far one")
			assert.Positive(t, still[1], "and at the near one")
		},
		"aim-assist": func(t *testing.T, w *world, m *Match) {
			on := m.Log.Find("drive/assist")
			require.NotNil(t, on)
			assert.Contains(t, on.Bool, true)
			assert.Contains(t, string(m.Profile), "assist: drive/assist")
			by, hand := 0, 0
			for n := 1; n <= w.driver.trip; n++ {
				if w.scenario.trips[n].assist > 0 {
					by++
				} else {
					hand++
				}
			}
			assert.Positive(t, by)
			assert.Positive(t, hand)
		},
		"quick-assist": func(t *testing.T, w *world, m *Match) {
			assisted, byHand := liningUp(m)
			assert.Less(t, assisted+0.3, byHand)
		},
		"slow-assist": func(t *testing.T, w *world, m *Match) {
			assisted, byHand := liningUp(m)
			assert.Greater(t, assisted, byHand+0.3)
		},
		"hand-overs": func(t *testing.T, w *world, m *Match) {
			rows := 0
			for _, c := range m.Truth.Cycles {
				if c.Kind == "handover" {
					rows++
					assert.True(t, c.Complete)
				}
			}
			assert.Positive(t, rows)
			handed := m.Log.Find("game/handover").Int
			assert.EqualValues(t, w.field.handover, handed[len(handed)-1])
			p, err := profile.Parse("robot.yaml", m.Profile)
			require.NoError(t, err)
			assert.Equal(t, "game/handover", p.Cycles.Handover.Signal)
		},
		"handed-in": func(t *testing.T, _ *world, m *Match) {
			none := 0
			for _, c := range m.Truth.Cycles {
				if c.Complete && c.Phases.ReturnS == nil && c.Phases.CarryS != nil {
					none++
				}
			}
			assert.Positive(t, none, "cycles without a step into a pickup zone")
		},
		"queues": func(t *testing.T, w *world, m *Match) {
			assert.Greater(t, lost(w, lostQueue), 4.0)
			assert.Greater(t, median(scoredIn(m, schemas.PeriodDriver)), median(usual)+0.5)
		},
		"rolling-pieces": func(t *testing.T, w *world, _ *Match) { assert.True(t, w.driver.trip > 3) },
		"missed-scores": func(t *testing.T, w *world, m *Match) {
			released := m.Log.Find("path/release").Int
			assert.Greater(t, released[len(released)-1], int64(w.field.score))
			assert.Greater(t, lost(w, lostWasted), 5.0)
		},
		"double-loads": func(t *testing.T, w *world, _ *Match) {
			assert.Greater(t, w.path.taken, plainWorld.path.taken+1)
		},
		"uneven-pace": func(t *testing.T, _ *world, m *Match) {
			sum := spread(scoredIn(m, schemas.PeriodDriver)[1:])
			for seed := uint64(3); seed < 6; seed++ {
				_, m := driven(t, seed, "uneven-pace")
				sum += spread(scoredIn(m, schemas.PeriodDriver)[1:])
			}
			assert.Greater(t, sum/4, 2*spread(usual[1:]))
		},
		"tapping": func(t *testing.T, _ *world, m *Match) {
			taps := func(m *Match) (n int) {
				v, on := m.Log.Find("drive/command").Float, false
				for _, x := range v {
					if !on && math.Abs(x) > 0.3 {
						n++
					}
					on = math.Abs(x) > 0.3 || on && math.Abs(x) > 0.05
				}
				return n
			}
			assert.Greater(t, taps(m), 3*taps(plain))
		},
		"beginner": func(t *testing.T, _ *world, m *Match) {
			assert.Greater(t, median(scoredIn(m, schemas.PeriodDriver)), median(usual)+1)
		},
		"expert": func(t *testing.T, _ *world, m *Match) {
			assert.Less(t, median(scoredIn(m, schemas.PeriodDriver)), median(usual))
		},
		"defender": func(t *testing.T, w *world, m *Match) {
			assert.LessOrEqual(t, w.field.score, 4)
			assert.NotEmpty(t, w.rivals)
			way := 0.0
			for i, at := range w.track[1:] {
				way += math.Hypot(at.X-w.track[i].X, at.Y-w.track[i].Y)
			}
			assert.Greater(t, way, 60.0, "m driven")
		},
		"dead-robot": func(t *testing.T, w *world, m *Match) {
			assert.Zero(t, w.field.score)
			require.Len(t, m.Truth.Cycles, 2)
			assert.False(t, m.Truth.Cycles[0].Complete || m.Truth.Cycles[1].Complete)
		},
		"slow-counter": func(t *testing.T, w *world, _ *Match) {
			most := 0.0
			for _, e := range w.field.events {
				for _, id := range e.ids {
					for _, c := range w.path.gone {
						if c.id == id {
							most = math.Max(most, w.begin+e.at-c.trace.at(w.path, len(c.trace.moments)))
						}
					}
				}
			}
			assert.True(t, 1.2 < most && most < 3, "%g", most)
		},
		"counted-after-end": func(t *testing.T, _ *world, m *Match) {
			p := m.Truth.Match.Periods[0]
			c := m.Truth.Cycles[0]
			assert.True(t, c.Complete && p.EndS < c.EndS && c.EndS <= p.EndS+3, "%+v", c)
			assert.Equal(t, 1, *m.Truth.Autonomous.Pieces)
		},
		"counted-too-late": func(t *testing.T, w *world, m *Match) {
			assert.False(t, m.Truth.Cycles[0].Complete)
			assert.Equal(t, 0, *m.Truth.Autonomous.Pieces)
			assert.Greater(t, w.begin+w.field.events[0].at, m.Truth.Match.Periods[0].EndS+3)
		},
		"corrected-counter": func(t *testing.T, _ *world, m *Match) {
			v, falls := m.Log.Find("game/score").Int, 0
			for i := 1; i < len(v); i++ {
				if v[i] == v[i-1]-1 {
					falls++
				}
			}
			assert.Equal(t, 2, falls)
		},
		"reset-counter": func(t *testing.T, _ *world, m *Match) {
			v, falls := m.Log.Find("game/score").Int, 0
			for i := 1; i < len(v); i++ {
				if v[i] == 0 && v[i-1] > 1 {
					falls++
				}
			}
			assert.Equal(t, 1, falls)
		},
		"driver-practice": func(t *testing.T, _ *world, m *Match) {
			require.Len(t, m.Truth.Match.Periods, 1)
			assert.InDelta(t, 120, m.Truth.Match.EndS-m.Truth.Match.StartS, 0.05)
			assert.Nil(t, m.Truth.Autonomous.Pieces)
		},
		"short-practice": func(t *testing.T, _ *world, m *Match) {
			require.Len(t, m.Truth.Match.Periods, 1)
			assert.InDelta(t, 60, m.Truth.Match.EndS-m.Truth.Match.StartS, 0.05)
		},
		"empty-autonomous": func(t *testing.T, _ *world, m *Match) { assert.Equal(t, 0, *m.Truth.Autonomous.Pieces) },
		"full-autonomous": func(t *testing.T, _ *world, m *Match) {
			assert.Equal(t, 3, *m.Truth.Autonomous.Pieces)
			assert.Len(t, m.Truth.Autonomous.ScoresS, 3, "a time for each piece")
		},
		"long-pause": func(t *testing.T, _ *world, m *Match) {
			p := m.Truth.Match.Periods
			require.Len(t, p, 2)
			assert.True(t, 3 <= p[1].StartS-p[0].EndS && p[1].StartS-p[0].EndS <= 10)
		},
		"disabled-midway": func(t *testing.T, _ *world, m *Match) {
			p := m.Truth.Match.Periods
			require.Len(t, p, 3)
			assert.Equal(t, []string{"autonomous", "driver", "driver"}, []string{p[0].Name, p[1].Name, p[2].Name})
			assert.Less(t, p[2].StartS-p[1].EndS, 5.0, "longer would end the match")
		},
	}
	troubles := []string{"blocked-return", "blocked-carry", "pinned", "missed-pickups", "long-aim", "lost-robot", "dropped-piece"}
	uneven := 0
	for _, c := range slices.Concat(matchLengths(), driveConditions()) {
		if slices.Contains(troubles, c.Name) {
			continue // see TestTroublesCostTheirSeconds
		}
		check, ok := checks[c.Name]
		require.True(t, ok, "%s has no check", c.Name)
		t.Run(c.Name, func(t *testing.T) {
			w, m := driven(t, 2, c.Name)
			check(t, w, m)
			if slices.Contains(onlyUneven(), c.Name) {
				nothingSlow(t, w, m)
				uneven++
			}
		})
	}
	assert.Equal(t, len(onlyUneven()), uneven)
}
