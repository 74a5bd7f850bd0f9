package balance

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

func randomLog(rt *rapid.T) logged {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
	return randomScene(r).log(r, sensor{
		rate:  rapid.SampledFrom([]float64{20, 50, 100}).Draw(rt, "rate"),
		noise: rapid.SampledFrom([]float64{0, 0.3}).Draw(rt, "noise"), spikes: 0.002, drive: true, pose: true,
	})
}

func moved(s *series.Float, by int64) *series.Float {
	if s == nil {
		return nil
	}
	out := &series.Float{Name: s.Name, V: s.V}
	for _, t := range s.T {
		out.T = append(out.T, t+by)
	}
	return out
}

// same holds two results together, the second by seconds later.
func same(rt *rapid.T, a, b []schemas.Balance, by, tolerance float64) {
	rt.Helper()
	if len(a) != len(b) {
		rt.Fatalf("%d attempts and %d", len(a), len(b))
	}
	near := func(x, y float64) bool { return math.Abs(x-y) <= tolerance }
	for i := range a {
		p, q := a[i], b[i]
		if !near(p.StartS+by, q.StartS) || !near(p.EndS+by, q.EndS) || p.Outcome != q.Outcome || p.Overshoots != q.Overshoots {
			rt.Fatalf("attempt %d: %.4f to %.4f %s %d, and %.4f to %.4f %s %d, %g s apart",
				i, p.StartS, p.EndS, p.Outcome, p.Overshoots, q.StartS, q.EndS, q.Outcome, q.Overshoots, by)
		}
		if (p.SettleS == nil) != (q.SettleS == nil) || p.SettleS != nil && !near(*p.SettleS, *q.SettleS) {
			rt.Fatalf("attempt %d: settle differs", i)
		}
		if p.Diagnosis != q.Diagnosis || p.Advice != q.Advice {
			rt.Fatalf("attempt %d: %q %q and %q %q", i, p.Diagnosis, p.Advice, q.Diagnosis, q.Advice)
		}
	}
}

func TestShiftInTimeShiftsResults(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := randomLog(rt)
		by := rapid.Int64Range(-1e9, 1e9).Draw(rt, "by")
		in := l.in
		in.Tilt, in.Drive, in.X, in.Y = moved(in.Tilt, by), moved(in.Drive, by), moved(in.X, by), moved(in.Y, by)
		in.Start, in.End = in.Start+by, in.End+by
		in.Periods = slices.Clone(in.Periods)
		for i := range in.Periods {
			in.Periods[i].StartS += seconds(by)
			in.Periods[i].EndS += seconds(by)
		}
		same(rt, Detect(l.in, DefaultConfig()).Balances, Detect(in, DefaultConfig()).Balances, seconds(by), 2e-6)
	})
}

func TestNegatedTiltGivesTheSame(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := randomLog(rt)
		in := l.in
		in.Tilt = &series.Float{Name: in.Tilt.Name, T: in.Tilt.T, V: slices.Clone(in.Tilt.V)}
		for i := range in.Tilt.V {
			in.Tilt.V[i] = -in.Tilt.V[i]
		}
		same(rt, Detect(l.in, DefaultConfig()).Balances, Detect(in, DefaultConfig()).Balances, 0, 0)
	})
}

// More of the same floor before the log's beginning adds nothing.
func TestQuietPaddingAddsNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		l := randomScene(r).log(r, sensor{rate: 50, drive: true, pose: true})
		in := l.in
		padS := rapid.IntRange(1, 20).Draw(rt, "pad")
		pad := func(s *series.Float) *series.Float {
			out := &series.Float{Name: s.Name}
			for i := padS * 50; i > 0; i-- {
				out.T, out.V = append(out.T, s.T[0]-int64(i)*20_000), append(out.V, s.V[0])
			}
			out.T, out.V = append(out.T, s.T...), append(out.V, s.V...)
			return out
		}
		in.Tilt, in.Drive, in.X, in.Y = pad(in.Tilt), pad(in.Drive), pad(in.X), pad(in.Y)
		in.Start = in.Tilt.T[0]
		same(rt, Detect(l.in, DefaultConfig()).Balances, Detect(in, DefaultConfig()).Balances, 0, 0)
	})
}

// Attempts come in order, do not overlap, and the arguments are not changed.
func TestArgumentsAreNotChanged(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := randomLog(rt)
		kept := slices.Clone(l.in.Tilt.V)
		last := math.Inf(-1)
		for _, b := range Detect(l.in, DefaultConfig()).Balances {
			if b.StartS < last || b.EndS < b.StartS {
				rt.Fatalf("%.3f to %.3f after %.3f", b.StartS, b.EndS, last)
			}
			last = b.EndS
		}
		if !slices.Equal(kept, l.in.Tilt.V) {
			rt.Fatal("the tilt was changed")
		}
	})
}
