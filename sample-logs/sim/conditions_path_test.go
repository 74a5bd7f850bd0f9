package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// follow plays the clean story with conditions on and shows each step.
func follow(t *testing.T, seed uint64, each func(*world), names ...string) (*world, *schemas.Report) {
	t.Helper()
	s, _ := findScenario("clean")
	o := Options{Scenario: s.name, Seed: seed, With: names}
	require.NoError(t, s.prepare(o))
	w := newWorld(s, o)
	for last := int(w.until / step); w.steps < last; w.steps++ {
		w.advance()
		if each != nil {
			each(w)
		}
	}
	m := &Match{Log: w.recorder.log(), Robot: s.robot}
	return w, truth(w, m)
}

// pieceOf is the piece of a jam.
func pieceOf(w *world, j schemas.Jam) *piece {
	all := slices.Concat(w.path.gone, w.path.pieces)
	return all[slices.IndexFunc(all, func(c *piece) bool { return c.id == *j.Piece })]
}

// Each trouble of the path does what it says, in two matches each.
func TestPathTroublesDoWhatTheySay(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		ok   func(*world, *schemas.Report) bool
	}{
		{"locked-stage", oneJam(func(_ *world, j schemas.Jam) bool { return j.Cause == "locked" && j.Cleared })},
		{"slipping-stage", oneJam(func(_ *world, j schemas.Jam) bool { return j.Cause == "slipping" && j.Cleared })},
		{"between-beams", oneJam(func(w *world, j schemas.Jam) bool {
			x, length := pieceOf(w, j).catch.at, pieceOf(w, j).length
			return !slices.ContainsFunc(w.path.belts, func(b *belt) bool { return !b.blind && x-length < b.beam && b.beam <= x })
		})},
		{"wedged-pair", oneJam(func(_ *world, j schemas.Jam) bool { return j.Cause == "wedged_pair" })},
		{"stuck-at-gate", func(w *world, r *schemas.Report) bool {
			return r.Jams[0].Stage == "gate" && r.Jams[0].Cause == "at_gate" && pieceOf(w, r.Jams[0]).catch.at > w.path.last().beam
		}},
		{"worn-stage", func(_ *world, r *schemas.Report) bool {
			return len(r.Jams) >= 3 && !slices.ContainsFunc(r.Jams, func(j schemas.Jam) bool {
				return *j.Piece%3 != 0 || j.Stage != r.Jams[0].Stage
			})
		}},
		{"short-jam", func(_ *world, r *schemas.Report) bool {
			return len(r.Jams) == 2 && !slices.ContainsFunc(r.Jams, func(j schemas.Jam) bool {
				d := j.EndS - j.StartS
				return d < 0.38 || d > 1.6 || j.Reversals > 0 || j.How != "moved_on"
			})
		}},
		{"jam-driven-free", oneJam(func(w *world, j schemas.Jam) bool {
			k := pieceOf(w, j).catch
			return j.How == "moved_on" && k.gives > 0 && k.forced >= k.gives
		})},
		{"jam-backed-out", oneJam(func(w *world, j schemas.Jam) bool { return j.How == "backed_out" && pieceOf(w, j).trace.backedOut })},
		{"jam-in-autonomous", func(_ *world, r *schemas.Report) bool {
			p := r.Match.Periods[0]
			return len(r.Jams) > 0 && r.Jams[0].StartS > p.StartS && r.Jams[0].StartS < p.EndS
		}},
		{"two-jams", func(_ *world, r *schemas.Report) bool {
			return len(r.Jams) >= 2 && *r.Jams[0].Piece != *r.Jams[1].Piece
		}},
		{"jam-to-the-bell", func(w *world, r *schemas.Report) bool {
			j := r.Jams[len(r.Jams)-1]
			return !j.Cleared && j.How == "" && pieceOf(w, j).held() && slices.ContainsFunc(r.Passes, func(p schemas.Pass) bool {
				return p.Piece == *j.Piece && p.Outcome == schemas.PassJammed
			})
		}},
	} {
		for seed := uint64(1); seed <= 2; seed++ {
			w, r := follow(t, seed, nil, c.name)
			require.NotEmpty(t, r.Jams, "%s, seed %d", c.name, seed)
			assert.True(t, c.ok(w, r), "%s, seed %d: %+v", c.name, seed, r.Jams)
		}
	}
}

// oneJam holds of the one jam there is.
func oneJam(ok func(*world, schemas.Jam) bool) func(*world, *schemas.Report) bool {
	return func(w *world, r *schemas.Report) bool { return len(r.Jams) == 1 && ok(w, r.Jams[0]) }
}

// What looks like a jam and is none is none by the truth, and does look like it: each shows
// for at least the seconds, or as often, as said, and never without its switch.
func TestPathLookalikesAreNoJams(t *testing.T) {
	t.Parallel()
	seconds := func(holds func(*world) bool) func(*world) float64 {
		return func(w *world) float64 {
			if holds(w) {
				return step
			}
			return 0
		}
	}
	// standing mid-path with all stages told to stand, in a match
	held := seconds(func(w *world) bool {
		return w.operator.holds != nil && len(w.path.pieces) > 0 && !slices.ContainsFunc(w.path.belts, func(b *belt) bool { return b.axis.command != 0 })
	})
	waits := seconds(func(w *world) bool {
		d := w.driver
		return d.phase == aligning && d.goodFor > d.settle && !d.waits && w.path.last().axis.command == 0
	})
	pressed := seconds(func(w *world) bool {
		u := w.path.last().axis.command
		return len(w.path.pieces) > 0 && w.path.waiting(w.path.pieces[0]) && u > 0.08 && u < 0.45 && math.Abs(w.path.pieces[0].v) < 0.002
	})
	queue := seconds(func(w *world) bool {
		return len(w.path.pieces) > 1 && w.path.pieces[1].leans && w.path.belts[3].axis.command > 0.25 && math.Abs(w.path.pieces[1].v) < 0.005
	})
	three := seconds(func(w *world) bool { return len(w.path.pieces) == 3 })
	empty := seconds(func(w *world) bool { return len(w.path.pieces) == 0 && w.path.belts[2].surface() > 0.2 })
	touched := seconds(func(w *world) bool {
		return slices.ContainsFunc(w.path.pieces, func(c *piece) bool { return c.hand != nil && c.hand.v < 0 && c == w.path.blocker(0) })
	})
	snagged := seconds(func(w *world) bool { return slices.ContainsFunc(w.path.pieces, (*piece).held) })
	all := []struct {
		name  string
		shows func(*world) float64
		least float64
	}{
		{"held-on-purpose", held, 1.8},
		{"waits-at-gate", waits, 8},
		{"pressed-on-gate", pressed, 5},
		{"pressed-queue", queue, 2},
		{"three-at-once", three, 2},
		{"belts-run-empty", empty, 8},
		{"touch-and-go", touched, 0.1},
		{"snags", snagged, 0.2},
	}
	for _, c := range all {
		for seed := uint64(1); seed <= 2; seed++ {
			shown := 0.0
			_, r := follow(t, seed, func(w *world) { shown += c.shows(w) }, c.name)
			assert.Greater(t, shown, c.least, "%s, seed %d", c.name, seed)
			assert.Empty(t, r.Jams, "%s, seed %d", c.name, seed)
		}
	}
	without := make([]float64, len(all))
	follow(t, 1, func(w *world) {
		for i, c := range all {
			without[i] += c.shows(w)
		}
	})
	for i, c := range all {
		assert.Less(t, without[i], c.least/4, "%s off", c.name)
	}
}

// What pieces and rollers are like shows in the world, and is no jam either.
func TestPathPartsDifferAsSaid(t *testing.T) {
	t.Parallel()
	transit := func(r *schemas.Report) []float64 {
		var out []float64
		for _, p := range r.Passes {
			if p.Outcome == schemas.PassReleased && p.EnterS != nil && p.Stages[2].LeaveEstS != nil {
				out = append(out, *p.Stages[2].LeaveEstS-*p.EnterS)
			}
		}
		slices.Sort(out)
		return out
	}
	mean := func(w *world, of func(*belt) float64) float64 {
		total := 0.0
		for _, b := range w.path.belts {
			total += of(b) / float64(len(w.path.belts))
		}
		return total
	}
	friction := func(b *belt) float64 { return b.friction }
	resistance := func(b *belt) float64 { return b.axis.motor.r }
	limit := func(b *belt) float64 { return b.axis.motor.windingMax }
	spread := func(w *world, of func(*piece) float64) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, c := range slices.Concat(w.path.gone, w.path.pieces) {
			lo, hi = math.Min(lo, of(c)), math.Max(hi, of(c))
		}
		return hi - lo
	}
	for seed := uint64(1); seed <= 2; seed++ {
		plain, usual := follow(t, seed, nil)
		median := transit(usual)[len(transit(usual))/2]
		for _, c := range []struct {
			name string
			ok   func(*world, *schemas.Report) bool
		}{
			{"slick-pieces", func(_ *world, r *schemas.Report) bool {
				all := transit(r)
				slowest := all[len(all)-1]
				return slowest > 1.4*median && slowest < 4*median
			}},
			{"skew-pieces", func(w *world, _ *schemas.Report) bool {
				length := func(c *piece) float64 { return c.length }
				return spread(w, length) > 0.04 && spread(plain, length) < 0.037
			}},
			{"mixed-weights", func(w *world, _ *schemas.Report) bool {
				mass := func(c *piece) float64 { return c.mass }
				return spread(w, mass) > 0.3 && spread(plain, mass) < 0.16
			}},
			{"heavy-rollers", func(w *world, _ *schemas.Report) bool { return mean(w, friction) > 1.55*mean(plain, friction) }},
			{"thin-path-wires", func(w *world, r *schemas.Report) bool {
				return mean(w, resistance) > 1.45*mean(plain, resistance) && transit(r)[len(transit(r))/2] > 1.05*median
			}},
			{"low-current-limit", func(w *world, _ *schemas.Report) bool { return mean(w, limit) <= 24 && mean(plain, limit) == 40 }},
			{"preloaded", func(_ *world, r *schemas.Report) bool {
				return r.Passes[0].EnterS == nil && len(r.Passes[0].Stages) == 1 && r.Passes[0].Outcome == schemas.PassReleased
			}},
			{"loaded-by-hand", func(_ *world, r *schemas.Report) bool {
				return *r.Passes[0].EnterS < r.Match.StartS-1 && r.Passes[0].Outcome == schemas.PassReleased
			}},
		} {
			w, r := follow(t, seed, nil, c.name)
			assert.True(t, c.ok(w, r), "%s, seed %d", c.name, seed)
			assert.Empty(t, r.Jams, "%s, seed %d", c.name, seed)
			assert.Greater(t, len(r.Passes), 9)
		}
	}
}

// Other programs and other paths bring their pieces to the gate all the same.
func TestPathRobotsWork(t *testing.T) {
	t.Parallel()
	for _, names := range [][]string{
		{"program-all-stages"},
		{"program-stage-by-stage"},
		{"program-one-speed"},
		{"path-build"},
		{"path-build", "program-all-stages"},
		{"path-build", "program-stage-by-stage"},
		{"path-build", "three-at-once"},
	} {
		for seed := uint64(1); seed <= 2; seed++ {
			together := 0.0 // s in which stages far from any piece run, with a piece inside
			w, r := follow(t, seed, func(w *world) {
				if len(w.path.pieces) == 1 && w.path.pieces[0].x < 0.3 && w.path.last().axis.command > 0.2 {
					together += step
				}
			}, names...)
			released := 0
			for _, p := range r.Passes {
				if p.Outcome == schemas.PassReleased {
					released++
				}
			}
			assert.GreaterOrEqual(t, released, 9, "%v, seed %d", names, seed)
			assert.Empty(t, r.Jams, "%v, seed %d", names, seed)
			if slices.Contains(names, "program-stage-by-stage") && len(w.path.belts) > 3 {
				assert.Zero(t, together, "seed %d: the gate waits for its piece", seed)
			} else if names[0] != "path-build" {
				assert.Positive(t, together, "%v, seed %d", names, seed)
			}
			if names[0] == "path-build" {
				assert.NotEqual(t, 1.62, w.path.end)
			}
		}
	}
}

// gripped checks that belts grip the pieces of a drawn match as there, and worse in the exam
// than anywhere else, and counts those that came through.
func gripped(t *testing.T, w *world, where string) (released int) {
	t.Helper()
	lo, hi := 0.68, 0.92
	if w.scenario.name == Exam {
		lo, hi = 0.45, 0.60
	}
	for _, p := range slices.Concat(w.path.gone, w.path.pieces) {
		if p.trace.released {
			released++
		}
		if p.trace.passed[2].enter > 0 { // not one that only touched the mouth
			assert.GreaterOrEqual(t, p.mu, lo-1e-9, where)
			assert.LessOrEqual(t, p.mu, hi+1e-9, where)
		}
	}
	return released
}
