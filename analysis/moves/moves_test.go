package moves

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// sampled is f at rate samples a second from 0 to lengthS.
func sampled(rate, lengthS float64, f func(s float64) float64) *series.Float {
	out := &series.Float{}
	for i := 0; float64(i) <= lengthS*rate; i++ {
		us := int64(math.Round(float64(i) / rate * 1e6))
		out.T, out.V = append(out.T, us), append(out.V, f(seconds(us)))
	}
	return out
}

// steps holds each value from its time on.
func steps(at ...float64) func(float64) float64 {
	return func(s float64) float64 {
		v := at[1]
		for i := 0; i < len(at); i += 2 {
			if s >= at[i] {
				v = at[i+1]
			}
		}
		return v
	}
}

// line goes from a to b between two times and rests before and after.
func line(fromS, a, toS, b float64) func(float64) float64 {
	return func(s float64) float64 {
		return a + (b-a)*min(1, max(0, (s-fromS)/(toS-fromS)))
	}
}

// detect runs one mechanism, within 0.02, at 50 samples a second for ten seconds.
func detect(target, position func(float64) float64) []schemas.Move {
	in := Input{Mechanisms: []Mechanism{{
		Name: "lift", Target: sampled(50, 10, target), Position: sampled(50, 10, position), Within: 0.02,
	}}}
	return Detect(in, DefaultConfig()).Moves
}

type want struct {
	start, end, from, to, settle, overshoot float64 // settle -1: none
	outcome                                 string
}

func TestMoves(t *testing.T) {
	for _, c := range []struct {
		name             string
		target, position func(float64) float64
		want             []want
	}{
		{"none", steps(0, 0), steps(0, 0), nil},
		{"the first target is no move", steps(0, 1), line(1, 0, 2, 1), nil},
		{"there and stays", steps(0, 0, 1, 1), line(1, 0, 2, 1), []want{{1, 1.98, 0, 1, 0.98, 0, Settled}}},
		{"downwards", steps(0, 1, 1, 0), line(1, 1, 2, 0), []want{{1, 1.98, 1, 0, 0.98, 0, Settled}}},
		{"a step of the tolerance is none", steps(0, 0, 1, 0.02), steps(0, 0), nil},
		{
			"past it and back", steps(0, 0, 1, 1), func(s float64) float64 { return line(1, 0, 2, 1.1)(s) - line(2, 0, 3, 0.1)(s) },
			[]want{{1, 2.8, 0, 1, 1.8, 0.1, Settled}},
		},
		{
			"past it on the way down", steps(0, 1, 1, 0), func(s float64) float64 { return line(1, 1, 2, -0.1)(s) + line(2, 0, 3, 0.1)(s) },
			[]want{{1, 2.8, 1, 0, 1.8, 0.1, Settled}},
		},
		{"stops short and the log ends", steps(0, 0, 1, 1), line(1, 0, 2, 0.9), []want{{1, 10, 0, 1, -1, 0, Short}}},
		{
			"stops short and is sent back", steps(0, 0, 1, 1, 5, 0), func(s float64) float64 { return line(1, 0, 2, 0.9)(s) - line(5, 0, 6, 0.9)(s) },
			[]want{{1, 5, 0, 1, -1, 0, Short}, {5, 5.98, 0.9, 0, 0.98, 0, Settled}},
		},
		{
			"sent elsewhere on the way", steps(0, 0, 1, 1, 1.5, 0.2), func(s float64) float64 { return line(1, 0, 1.5, 0.5)(s) - line(1.5, 0, 1.8, 0.3)(s) },
			[]want{{1, 1.5, 0, 1, -1, 0, Superseded}, {1.5, 1.78, 0.5, 0.2, 0.28, 0, Settled}},
		},
		{
			"sent elsewhere on a long way", steps(0, 0, 1, 1, 4, 0.2), func(s float64) float64 { return line(1, 0, 4, 0.6)(s) - line(4, 0, 5, 0.4)(s) },
			[]want{{1, 4, 0, 1, -1, 0, Superseded}, {4, 4.96, 0.6, 0.2, 0.96, 0, Settled}},
		},
		{
			"sent elsewhere before it began to move", steps(0, 0, 1, 1, 1.4, 0.5), line(1.5, 0, 2, 0.5),
			[]want{{1, 1.4, 0, 1, -1, 0, Superseded}, {1.4, 1.98, 0, 0.5, 0.58, 0, Settled}},
		},
		{
			"stays to the move's end, however short", steps(0, 0, 1, 1, 2.1, 0), func(s float64) float64 { return line(1, 0, 2, 1)(s) - line(2.1, 0, 3, 1)(s) },
			[]want{{1, 1.98, 0, 1, 0.98, 0, Settled}, {2.1, 3, 1, 0, 0.9, 0, Settled}},
		},
		{"a motion profile is one move", line(1, 0, 2, 1), line(1.1, 0, 2.1, 1), []want{{1.02, 2.08, 0, 1, 1.06, 0, Settled}}},
		{
			"up and down again are two", func(s float64) float64 { return line(1, 0, 2, 1)(s) - line(2, 0, 3, 1)(s) },
			func(s float64) float64 { return line(1, 0, 2, 1)(s) - line(2, 0, 3, 1)(s) },
			[]want{{1.02, 1.98, 0.02, 1, 0.96, 0, Settled}, {2.02, 2.98, 0.98, 0, 0.96, 0, Settled}},
		},
		{"a trembling target is none", func(s float64) float64 { return 0.5 + 0.009*math.Sin(40*s) }, steps(0, 0.5), nil},
		{"a spike is neither a settle nor an overshoot", steps(0, 0, 1, 1), func(s float64) float64 {
			if s >= 5 && s < 5.04 {
				return 3
			}
			return line(1, 0, 2, 1)(s)
		}, []want{{1, 1.98, 0, 1, 0.98, 0, Settled}}},
		{
			"pushed away later", steps(0, 0, 1, 1), func(s float64) float64 { return line(1, 0, 2, 1)(s) - line(5, 0, 5.2, 0.3)(s) },
			[]want{{1, 1.98, 0, 1, 0.98, 0, Settled}},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := detect(c.target, c.position)
			require.Len(t, got, len(c.want))
			for i, w := range c.want {
				g := got[i]
				require.Equal(t, "lift", g.Name)
				require.InDelta(t, w.start, g.StartS, 1e-9, "start")
				require.InDelta(t, w.end, g.EndS, 1e-9, "end")
				require.InDelta(t, w.from, g.From, 1e-9, "from")
				require.InDelta(t, w.to, g.To, 1e-9, "to")
				require.InDelta(t, w.overshoot, g.Overshoot, 1e-9, "overshoot")
				require.Equal(t, w.outcome, g.Outcome)
				require.Equal(t, w.settle >= 0, g.SettleS != nil)
				if w.settle >= 0 {
					require.InDelta(t, w.settle, *g.SettleS, 1e-9, "settle")
				}
				require.Nil(t, g.PeakA)
			}
		})
	}
}

// Reference: Octave 7.3.0, control 3.4.0, step() of 1/(s^2 + 2 zeta s + 1): overshoot, rise
// from 10 to 90 % (Nise, Control Systems Engineering, prints the same; from memory) and the
// last exit from the 2 % and 5 % bands, here sampled 50 times a second.
func TestStepResponses(t *testing.T) {
	f, err := os.Open("testdata/expected_step2.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"zeta", "overshoot_sim", "overshoot_formula", "tpeak_sim", "tpeak_formula", "ts2", "ts5", "trise_0_100", "trise_10_90"}, rows[0])
	require.Greater(t, len(rows), 9)
	for _, row := range rows[1:] {
		var n []float64
		for _, s := range row {
			v, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			n = append(n, v)
		}
		zeta := n[0]
		wd := math.Sqrt(1 - zeta*zeta)
		response := func(s float64) float64 {
			if s < 1 {
				return 0
			}
			s--
			return 1 - math.Exp(-zeta*s)*(math.Cos(wd*s)+zeta/wd*math.Sin(wd*s))
		}
		for within, settle := range map[float64]float64{0.02: n[5], 0.05: n[6]} {
			got := Detect(Input{Mechanisms: []Mechanism{{
				Name: "arm", Target: sampled(50, 120, steps(0, 0, 1, 1)), Position: sampled(50, 120, response), Within: within,
			}}}, DefaultConfig()).Moves
			require.Len(t, got, 1)
			require.Equal(t, Settled, got[0].Outcome)
			require.InDelta(t, n[1], got[0].Overshoot, 0.002, "zeta %g", zeta)
			require.InDelta(t, settle, *got[0].SettleS, 0.0201, "zeta %g within %g", zeta, within)
			require.InDelta(t, n[8], *got[0].RiseS, 0.002, "zeta %g", zeta)
		}
	}
}

func TestPeakCurrentAndOrder(t *testing.T) {
	in := Input{Mechanisms: []Mechanism{
		{
			Name: "lift", Target: sampled(50, 10, steps(0, 0, 3, 1)), Position: sampled(50, 10, line(3, 0, 4, 1)), Within: 0.02,
			Current: sampled(50, 10, steps(0, 90, 1, 2, 3, 5, 3.5, -30, 3.6, 5, 6, 80)),
		},
		{
			Name: "arm", Target: sampled(50, 10, steps(0, 0, 1, 1, 5, 0)), Position: sampled(50, 10, steps(0, 0, 1.5, 1, 5.5, 0)), Within: 0.1,
			Current: &series.Float{},
		},
	}}
	got := Detect(in, DefaultConfig()).Moves
	require.Len(t, got, 3)
	require.Equal(t, []string{"arm", "lift", "arm"}, []string{got[0].Name, got[1].Name, got[2].Name})
	require.Nil(t, got[0].PeakA)
	require.InDelta(t, 30, *got[1].PeakA, 0)
}

// Target and position of different rates; the target logged only when it changes.
func TestATargetLoggedWhenItChanges(t *testing.T) {
	target := &series.Float{T: []int64{0, 2_000_000, 2_400_000, 6_000_000}, V: []float64{0, 1, 2, 0.5}}
	got := Detect(Input{Mechanisms: []Mechanism{{
		Name: "wrist", Target: target, Position: sampled(33, 10, steps(0, 0, 3, 2, 7, 0.5)), Within: 0.05,
	}}}, DefaultConfig()).Moves
	require.Len(t, got, 3)
	require.Equal(t, []string{Superseded, Settled, Settled}, []string{got[0].Outcome, got[1].Outcome, got[2].Outcome})
	require.InDelta(t, 0.6, *got[1].SettleS, 0.031)
}

func TestAGapIsNoStay(t *testing.T) {
	position := sampled(50, 10, line(1, 0, 2, 1))
	i, j := series.From(position.T, 2_100_000), series.From(position.T, 4_000_000)
	position.T, position.V = slices.Delete(position.T, i, j), slices.Delete(position.V, i, j)
	got := Detect(Input{Mechanisms: []Mechanism{{
		Name: "lift", Target: sampled(50, 10, steps(0, 0, 1, 1)), Position: position, Within: 0.02,
	}}}, DefaultConfig()).Moves
	require.Len(t, got, 1)
	require.InDelta(t, 3, *got[0].SettleS, 1e-9, "where it was in between nobody knows")
}

func TestNotes(t *testing.T) {
	target, position := sampled(50, 10, steps(0, 0, 8, 1)), sampled(50, 5, steps(0, 0))
	res := Detect(Input{Mechanisms: []Mechanism{
		{Name: "a", Target: target, Within: 1},
		{Name: "b", Position: position, Within: 1},
		{Name: "c", Target: target, Position: position},
		{Name: "d", Target: target, Position: position, Within: 0.02},
	}}, DefaultConfig())
	require.Equal(t, []string{
		"a: moves need both a position and a target in the log",
		"b: moves need both a position and a target in the log",
		"c: within is 0; moves need a tolerance above zero",
		"d: no position while the target moved to 1 at 8.0 s of the log",
	}, res.Notes)
	require.NotNil(t, res.Moves)
	require.Empty(t, res.Moves)

	cut := Detect(Input{
		Mechanisms: []Mechanism{{Name: "lift", Target: sampled(50, 10, steps(0, 0, 4.8, 1)), Position: sampled(50, 10, line(4.8, 0, 5, 0.3)), Within: 0.02}},
		Periods:    []schemas.Period{{Name: "driver", StartS: 0, EndS: 5}},
	}, DefaultConfig())
	require.Equal(t, Short, cut.Moves[0].Outcome)
	require.Equal(t, []string{"lift: the end of a period at 5.0 s of the log cut off the move to 1"}, cut.Notes)
}

// A lift that follows a target at random, second order, with encoder noise.
func randomMechanism(r *rand.Rand) Mechanism {
	m := Mechanism{Name: "lift", Target: &series.Float{}, Position: &series.Float{}, Within: 0.02}
	target, v, rate, next := 0.0, 0.0, 0.0, 1.0
	wn, zeta := 4+8*r.Float64(), 0.3+0.7*r.Float64()
	for i := range 60_000 { // a millisecond each
		s := float64(i) / 1000
		if s > next {
			target, next = r.Float64(), s+0.2+5*r.Float64()
		}
		rate += (wn*wn*(target-v) - 2*zeta*wn*rate) / 1000
		v += rate / 1000
		if i%10 == 0 {
			m.Target.T, m.Target.V = append(m.Target.T, int64(i)*1000), append(m.Target.V, target)
			m.Position.T, m.Position.V = append(m.Position.T, int64(i)*1000), append(m.Position.V, v+0.001*r.NormFloat64())
		}
	}
	return m
}

// Every step of the target larger than the tolerance is a move and nothing else is; they
// follow each other; a shift in time shifts them; upside down they are the same.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := randomMechanism(rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1)))
		logEnd := m.Target.T[len(m.Target.T)-1]
		got := Detect(Input{Mechanisms: []Mechanism{m}, End: logEnd}, DefaultConfig()).Moves
		by := rapid.Int64Range(-1e9, 1e9).Draw(rt, "by")
		other := Mechanism{Name: m.Name, Within: m.Within, Target: &series.Float{}, Position: &series.Float{}}
		rest, changes := m.Target.V[0], 0
		for i := range m.Target.T {
			if math.Abs(m.Target.V[i]-rest) > m.Within {
				changes++
				rest = m.Target.V[i]
			}
			other.Target.T, other.Target.V = append(other.Target.T, m.Target.T[i]+by), append(other.Target.V, -m.Target.V[i])
			other.Position.T, other.Position.V = append(other.Position.T, m.Position.T[i]+by), append(other.Position.V, -m.Position.V[i])
		}
		if len(got) != changes {
			rt.Fatalf("%d moves of %d changes", len(got), changes)
		}
		moved := Detect(Input{Mechanisms: []Mechanism{other}, Start: by, End: logEnd + by}, DefaultConfig()).Moves
		for i, a := range got {
			b := moved[i]
			if math.Abs(a.StartS+seconds(by)-b.StartS) > 2e-6 || math.Abs(a.EndS+seconds(by)-b.EndS) > 2e-6 ||
				a.Outcome != b.Outcome || (a.RiseS == nil) != (b.RiseS == nil) || a.RiseS != nil && math.Abs(*a.RiseS-*b.RiseS) > 1e-9 || a.Overshoot != b.Overshoot || a.From != -b.From || a.To != -b.To {
				rt.Fatalf("%+v became %+v", a, b)
			}
			if i > 0 && a.StartS < got[i-1].EndS {
				rt.Fatalf("move %d starts at %g, before the one at %g has ended", i, a.StartS, got[i-1].EndS)
			}
			if a.Overshoot < 0 || (a.Outcome == Settled) != (a.SettleS != nil) {
				rt.Fatalf("%+v", a)
			}
		}
	})
}

func BenchmarkMatch(b *testing.B) {
	in := Input{Mechanisms: []Mechanism{randomMechanism(rand.New(rand.NewPCG(1, 1))), randomMechanism(rand.New(rand.NewPCG(1, 2)))}}
	require.NotEmpty(b, Detect(in, DefaultConfig()).Moves)
	for b.Loop() {
		Detect(in, DefaultConfig())
	}
}

// A logger that writes what has changed is silent while the lift stays where it was sent.
func TestALogOfChangesStaysWhereItWas(t *testing.T) {
	target := func(s float64) float64 { return 0.5 + 0.5*math.Copysign(1, math.Sin(2*math.Pi*s/20)) }
	r := rand.New(rand.NewPCG(3, 4))
	at, shaken := 0.0, 0.0
	every := sampled(50, 100, func(s float64) float64 {
		at += 0.1 * (target(s) - at)
		if math.Mod(s, 3) < 0.02 {
			shaken = 0.005 * float64(r.IntN(3)-1) // the robot drives over something
		}
		return math.Round(at/0.005)*0.005 + shaken
	})
	changes := &series.Float{}
	for i, v := range every.V {
		if i == 0 || v != every.V[i-1] {
			changes.T, changes.V = append(changes.T, every.T[i]), append(changes.V, v)
		}
	}
	of := func(position *series.Float) []schemas.Move {
		return Detect(Input{Mechanisms: []Mechanism{{Name: "lift", Position: position, Target: sampled(50, 100, target), Within: 0.02}}}, DefaultConfig()).Moves
	}
	full, sparse := of(every), of(changes)
	require.Len(t, sparse, len(full))
	require.NotEmpty(t, full)
	for i := range full {
		require.Equal(t, Settled, sparse[i].Outcome)
		require.InDelta(t, *full[i].SettleS, *sparse[i].SettleS, 0.021)
	}
}
