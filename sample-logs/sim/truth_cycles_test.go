package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// told is one cycle as the oracle below tells it from what happened on the field, step by
// step, without the log. Times are s of the robot's clock.
type told struct {
	kind       string
	start, end float64
	pieces     int
	complete   bool
	taken      float64 // the last of its pieces came in, not a number for none
	gone       float64 // and left
	period     int
}

// ledger watches a match from outside: the counters at every step, when pieces come and go,
// and which mode runs.
type ledger struct {
	world         *world
	period        int // of those that have begun, -1 before the first
	names         []string
	starts, ends  []float64 // s
	cycles        []told
	since, given  float64
	score         int
	handed        int
	entered, gone map[int]float64
	waiting       []int // pieces that landed and were not counted
	seenGone      int
	open          bool // a period runs
}

func newLedger(w *world) *ledger {
	return &ledger{world: w, period: -1, entered: map[int]float64{}, gone: map[int]float64{}}
}

func (l *ledger) look() {
	w := l.world
	now := w.begin + w.now()
	mode := w.mode()
	if running := mode != schemas.ModeDisabled; l.open && (!running || mode != l.names[l.period]) {
		l.open = false
		l.ends[l.period] = now
	}
	if mode != schemas.ModeDisabled && !l.open {
		l.period++
		l.open = true
		l.names, l.starts, l.ends = append(l.names, mode), append(l.starts, now), append(l.ends, math.Inf(1))
		l.since, l.given = now, now
	}
	for _, c := range w.path.pieces {
		if _, ok := l.entered[c.id]; !ok && c.x >= w.path.belts[0].beam {
			l.entered[c.id] = now
		}
	}
	for ; l.seenGone < len(w.path.gone); l.seenGone++ {
		l.gone[w.path.gone[l.seenGone].id] = now
	}
	for _, f := range w.field.landed {
		if !slices.Contains(l.waiting, f.id) {
			l.waiting = append(l.waiting, f.id)
		}
	}
	if n := w.field.score - l.score; n != 0 {
		l.score = w.field.score
		l.counts(now, n)
	}
	if n := w.field.handover - l.handed; n > 0 {
		l.handed = w.field.handover
		if l.belongs(now) {
			l.cycles = append(l.cycles, told{kind: "handover", start: l.given, end: now, pieces: n, complete: true, period: l.period})
			l.given = now
		}
	}
}

// belongs says whether what happens now is the last period's: it runs, or ended at most 3 s
// ago.
func (l *ledger) belongs(now float64) bool {
	return l.period >= 0 && (l.open || now <= l.ends[l.period]+3)
}

func (l *ledger) counts(now float64, n int) {
	ids := l.waiting
	if n < 0 {
		return
	}
	l.waiting = nil
	if !l.belongs(now) {
		return
	}
	taken, gone := math.NaN(), math.NaN()
	for _, id := range ids {
		taken, gone = math.Max(l.entered[id], or0(taken)), math.Max(l.gone[id], or0(gone))
	}
	l.cycles = append(l.cycles, told{"score", l.since, now, n, true, taken, gone, l.period})
	l.since, l.given = now, now
}

func or0(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// The cycles of the truth against an account kept apart, from the field's own events at
// every step instead of the samples of the log: which there are, when they end, how many
// pieces, and their phases, in two dozen matches with random sets of conditions of driving.
func TestCyclesAgreeWithTheField(t *testing.T) {
	t.Parallel()
	const late = 0.08 // s: a counter is logged when it changes, at the next turn of the loop, some rows are lost
	names := slices.Concat(matchLengths(), driveConditions())
	compared, phases, handovers := 0, 0, 0
	for seed := uint64(1); seed <= 24; seed++ {
		s, _ := findScenario("clean")
		dice := stream(seed, "oracle")
		o := Options{Scenario: "clean", Seed: seed}
		group := map[string]bool{}
		for _, c := range names {
			if dice.Float64() < 0.15 && !group[c.group] {
				o.With = append(o.With, c.Name)
				group[c.group] = c.group != ""
			}
		}
		require.NoError(t, s.prepare(o))
		w := newWorld(s, o)
		l := newLedger(w)
		for last := int((w.bell + w.scenario.tailS) / step); w.steps < last; w.steps++ {
			w.advance()
			l.look()
		}
		m := &Match{Log: w.recorder.log()}
		m.Truth = truth(w, m)

		var complete []schemas.Cycle
		for _, c := range m.Truth.Cycles {
			if c.Complete {
				complete = append(complete, c)
			}
		}
		require.Len(t, complete, len(l.cycles), "seed %d %v", seed, o.With)
		for i, c := range complete {
			want := l.cycles[i]
			assert.Equal(t, want.kind, c.Kind, "seed %d %v", seed, o.With)
			assert.Equal(t, want.pieces, c.Pieces, "seed %d %v", seed, o.With)
			assert.InDelta(t, want.end, c.EndS, late, "seed %d %v", seed, o.With)
			assert.InDelta(t, want.start, c.StartS, late, "seed %d %v", seed, o.With)
			compared++
			if c.Kind == "handover" {
				handovers++
				assert.Nil(t, c.Phases.PlaceS)
				continue
			}
			l.checkPhases(t, seed, c, want, &phases)
		}
		for k, name := range l.names {
			cut := slices.IndexFunc(m.Truth.Cycles, func(c schemas.Cycle) bool {
				return !c.Complete && math.Abs(c.EndS-l.ends[k]) < late
			})
			after := slices.ContainsFunc(l.cycles, func(c told) bool {
				return c.kind == "score" && c.period == k && c.end >= l.ends[k]
			})
			assert.Equal(t, !after, cut >= 0, "seed %d: %s period cut off", seed, name)
		}
	}
	assert.Greater(t, compared, 120)
	assert.Greater(t, phases, 70)
	assert.Positive(t, handovers)
}

// checkPhases walks the robot's way again and holds the phases of a cycle against it.
func (l *ledger) checkPhases(t *testing.T, seed uint64, c schemas.Cycle, want told, compared *int) {
	const late = 0.08
	w := l.world
	first, last, was := math.NaN(), math.NaN(), false
	for _, at := range w.track {
		if at.AtS > want.end {
			break
		}
		in := false
		for _, g := range w.field.goals {
			in = in || at.X >= g.x0 && at.X <= g.x1 && at.Y >= g.y0 && at.Y <= g.y1
		}
		if at.AtS >= want.start {
			for _, p := range w.field.pickups {
				if math.IsNaN(first) && at.X >= p.x0 && at.X <= p.x1 && at.Y >= p.y0 && at.Y <= p.y1 {
					first = at.AtS
				}
			}
			if in && !was {
				last = at.AtS
			}
		}
		was = in
	}
	plain := first > want.start+late && want.taken > first+late && last > want.taken && last < want.gone
	if !plain {
		return // what is null where is not this check's
	}
	require.NotNil(t, c.Phases.PlaceS, "seed %d: %+v %+v", seed, c, want)
	require.NotNil(t, c.Phases.CollectS, "seed %d: %+v %+v", seed, c, want)
	assert.InDelta(t, first-want.start, *c.Phases.ReturnS, 2*late, "seed %d", seed)
	assert.InDelta(t, want.taken-first, *c.Phases.CollectS, 2*late, "seed %d", seed)
	assert.InDelta(t, last-want.taken, *c.Phases.CarryS, 2*late, "seed %d", seed)
	assert.InDelta(t, want.end-last, *c.Phases.PlaceS, 2*late, "seed %d", seed)
	*compared++
}
