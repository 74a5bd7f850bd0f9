package cycles

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// anyMatch is a counter that does anything within and around two periods.
func anyMatch(t *rapid.T) Input {
	in := match()
	in.Score = anyCounter(t, "score")
	if rapid.Bool().Draw(t, "has hand-over") {
		in.Handover = anyCounter(t, "hand-over")
	}
	return in
}

func anyCounter(t *rapid.T, name string) *series.Float {
	s := &series.Float{}
	at, v := int64(-30_000_000), 0.0
	for range rapid.IntRange(1, 30).Draw(t, name+" samples") {
		s.T, s.V = append(s.T, at), append(s.V, v)
		at += rapid.Int64Range(1, 12_000_000).Draw(t, "step")
		v = max(0, v+float64(rapid.IntRange(-3, 2).Draw(t, "rise")))
	}
	return s
}

// The scoring cycles of a period follow each other without a hole from its start to its
// end, or to a late score; every score that belongs to a period ends exactly one.
func TestCyclesFillTheirPeriods(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyMatch(t)
		got := Detect(in, DefaultConfig()).Cycles
		scored := 0
		for _, p := range in.Periods {
			at, ended := p.StartS, false
			for _, c := range got {
				if c.Period != p.Name || c.Kind != schemas.CycleScore {
					continue
				}
				assert.False(t, ended, "nothing follows a cut-off cycle")
				assert.Equal(t, at, c.StartS)
				assert.GreaterOrEqual(t, c.EndS, c.StartS)
				assert.Equal(t, c.Complete, c.Pieces > 0)
				at, ended = c.EndS, !c.Complete
				scored += c.Pieces
			}
			assert.GreaterOrEqual(t, at, p.EndS)
			assert.LessOrEqual(t, at, p.EndS+3)
		}
		counted := 0
		for _, s := range Attribute(in.Score.Rises(), in.Periods, in.Modes, 3) {
			if s.Period >= 0 {
				counted += s.Pieces
			}
		}
		assert.Equal(t, counted, scored)
		for k := 1; k < len(got); k++ {
			assert.LessOrEqual(t, got[k-1].EndS, got[k].EndS)
		}
	})
}

func TestShiftInTimeShiftsCycles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyMatch(t)
		by := rapid.SampledFrom([]int64{1, -77_000_000, 3_600_000_000}).Draw(t, "by")
		moved := in
		moved.Score = &series.Float{V: in.Score.V}
		for _, at := range in.Score.T {
			moved.Score.T = append(moved.Score.T, at+by)
		}
		if in.Handover != nil {
			moved.Handover = &series.Float{V: in.Handover.V}
			for _, at := range in.Handover.T {
				moved.Handover.T = append(moved.Handover.T, at+by)
			}
		}
		shift := func(all []schemas.Period) (out []schemas.Period) {
			for _, p := range all {
				out = append(out, schemas.Period{Name: p.Name, StartS: schemas.Seconds(schemas.Micros(p.StartS) + by), EndS: schemas.Seconds(schemas.Micros(p.EndS) + by)})
			}
			return out
		}
		moved.Periods, moved.Modes = shift(in.Periods), shift(in.Modes)
		want, got := Detect(in, DefaultConfig()), Detect(moved, DefaultConfig())
		require.Len(t, got.Cycles, len(want.Cycles))
		assert.Equal(t, want.Usual, got.Usual)
		for k, w := range want.Cycles {
			g := got.Cycles[k]
			assert.Equal(t, schemas.Micros(w.StartS)+by, schemas.Micros(g.StartS))
			assert.Equal(t, schemas.Micros(w.EndS)+by, schemas.Micros(g.EndS))
			w.StartS, w.EndS, g.StartS, g.EndS = 0, 0, 0, 0
			assert.Equal(t, w, g)
		}
	})
}

// A season of eight matches before a match of twelve cycles with pose at 50 Hz to 1 kHz.
func BenchmarkDetect(b *testing.B) {
	for _, hz := range []int64{50, 200, 1000} {
		b.Run(fmt.Sprintf("%dHz", hz), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 1))
			var history []History
			durations := func() (out []float64) {
				for range 12 {
					out = append(out, 11*math.Exp(0.18*rng.NormFloat64()))
				}
				return out
			}
			for k := range 8 {
				history = append(history, earlier(fmt.Sprint("m", k), durations()...))
			}
			in := lasting(durations()...)
			in.History, in.Zones, in.X, in.Y = history, zones, &series.Float{}, &series.Float{}
			for k := range 150 * hz {
				at := k * 1_000_000 / hz
				in.X.T, in.X.V = append(in.X.T, at), append(in.X.V, 7+6.5*math.Sin(float64(at)/2e6))
				in.Y.T, in.Y.V = append(in.Y.T, at), append(in.Y.V, 2)
			}
			for _, at := range in.Score.T[1:] {
				in.Passes = append(in.Passes, pass(float64(at)/1e6-4, float64(at)/1e6-0.5))
			}
			b.ReportAllocs()
			for b.Loop() {
				if r := Detect(in, DefaultConfig()); r.Usual.CycleS == nil || r.Cycles[3].Phases.PlaceS == nil {
					b.Fatal("nothing found")
				}
			}
		})
	}
}
