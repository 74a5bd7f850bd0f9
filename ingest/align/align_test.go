package align

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/schemas"
)

func sampleLog(t testing.TB, name string) *schemas.Log {
	t.Helper()
	l, _, err := ingest.ReadFiles(t.Context(), []string{filepath.Join("..", "..", "sample-logs", name)}, ingest.Options{})
	require.NoError(t, err)
	return l
}

// clock is another computer's: it shows (t - shift) after drift, where t is the first one's.
type clock struct {
	shift int64
	ppm   float64
}

func (c clock) of(t int64) int64 { return int64(math.Round(float64(t-c.shift) * (1 - c.ppm*1e-6))) }

// seenBy is what another computer wrote of some signals: every nth sample, each late by up to
// late, measured quantities with noise of that part of their spread.
func seenBy(l *schemas.Log, c clock, names []string, nth int, late int64, noise float64, rng *rand.Rand) *schemas.Log {
	out := &schemas.Log{}
	for _, name := range names {
		s := l.Find(name)
		n := &schemas.Signal{Name: s.Name, Unit: s.Unit, Kind: s.Kind}
		spread := 0.0
		if s.Kind == schemas.Float64 {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, v := range s.Float {
				lo, hi = min(lo, v), max(hi, v)
			}
			spread = hi - lo
		}
		for i := rng.IntN(nth); i < s.Len(); i += nth {
			at := c.of(s.Time[i] + rng.Int64N(late+1))
			if k := len(n.Time); k > 0 && at <= n.Time[k-1] {
				continue
			}
			n.Time = append(n.Time, at)
			switch s.Kind {
			case schemas.Float64:
				n.Float = append(n.Float, s.Float[i]+noise*spread*rng.NormFloat64())
			case schemas.Int64:
				n.Int = append(n.Int, s.Int[i])
			case schemas.Bool:
				n.Bool = append(n.Bool, s.Bool[i])
			default:
				n.Text = append(n.Text, s.Text[i])
			}
		}
		out.Signals = append(out.Signals, n)
	}
	out.Normalize()
	return out
}

// within checks that the shift is right to within its bound, at the ends of both logs too.
func within(t *testing.T, c clock, got Shift, first *schemas.Log) {
	t.Helper()
	from, to, _ := first.Bounds()
	for _, at := range []int64{from, (from + to) / 2, to} {
		want := at - c.of(at)
		have := got.at(c.of(at) + got.ShiftUS)
		assert.LessOrEqual(t, math.Abs(float64(want-have)), float64(got.BoundUS), "at %d: %d, told %d ± %d (%s)", at, want, have, got.BoundUS, got)
	}
}

// Sample logs cut in two by signals, as two computers would have written them, with clocks
// that differ by anything and run apart: the shift is found, to within what is said.
func TestTwoComputersOfOneRobot(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 4))
	worst, widest := 0.0, int64(0)
	for _, name := range []string{"clean.csv.gz", "jam-reversed.csv.gz", "bad-balance.csv.gz"} {
		l := sampleLog(t, name)
		for n := range 12 {
			c := clock{shift: rng.Int64N(4e12) - 2e12, ppm: rng.Float64()*400 - 200}
			names := []string{"robot/mode", "game/score", "path/mouth/beam", "imu/pitch"}
			other := seenBy(l, c, names, 1+n%3, int64(n%2)*5000, 0.01, rng)
			got, err := Find(l, other)
			require.NoError(t, err, "%s %d", name, n)
			assert.True(t, got.Matched)
			within(t, c, got, l)
			at := got.MidUS
			worst = max(worst, math.Abs(float64(at-c.of(at)-got.ShiftUS)))
			widest = max(widest, got.BoundUS)
			assert.Less(t, got.BoundUS, int64(150_000), "%s", got)
		}
	}
	t.Logf("36 pairs of logs: right to %.1f ms at worst, said to be within %.1f ms at most", worst/1e3, float64(widest)/1e3)
}

// The mode alone is enough where it changes often enough.
func TestTheModeAloneIsEnough(t *testing.T) {
	l := sampleLog(t, "clean.csv.gz")
	rng := rand.New(rand.NewPCG(3, 4))
	c := clock{shift: -77_123_456, ppm: 30}
	got, err := Find(l, seenBy(l, c, []string{"robot/mode"}, 1, 0, 0, rng))
	require.NoError(t, err)
	within(t, c, got, l)
	assert.Equal(t, []string{"robot/mode"}, got.Signals)
}

// Where both logs share only a measured quantity, noise on it and all, its course tells.
func TestAMeasuredQuantityAlone(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 4))
	for _, name := range []string{"clean.csv.gz", "brownout.csv.gz"} {
		l := sampleLog(t, name)
		for n := range 4 {
			c := clock{shift: rng.Int64N(4e9) - 2e9, ppm: rng.Float64()*60 - 30}
			got, err := Find(l, seenBy(l, c, []string{"power/voltage"}, 1, 0, 0.005, rng))
			require.NoError(t, err, "%s %d", name, n)
			assert.False(t, got.Matched)
			within(t, c, got, l)
		}
	}
}

// Half a log each, with a stretch that both saw.
func TestHalfALogEach(t *testing.T) {
	l := sampleLog(t, "jam-reversed.csv.gz")
	from, to, _ := l.Bounds()
	rng := rand.New(rand.NewPCG(9, 4))
	c := clock{shift: 5_000_000_000, ppm: -80}
	names := []string{"robot/mode", "path/mouth/beam", "game/score", "power/voltage"}
	first := l.Cut(from, from+(to-from)*6/10)
	got, err := Find(first, seenBy(l.Cut(from+(to-from)*3/10, to), c, names, 1, 0, 0.002, rng))
	require.NoError(t, err)
	within(t, c, got, first)
}

// What cannot be told is refused, with the reason.
func TestWhatCannotBeToldIsRefused(t *testing.T) {
	l := sampleLog(t, "jam-reversed.csv.gz")
	from, to, _ := l.Bounds()
	rng := rand.New(rand.NewPCG(2, 4))
	c := clock{shift: 1_000_000}
	refused := func(name string, first, other *schemas.Log, why string) {
		t.Helper()
		got, err := Find(first, other)
		require.Error(t, err, "%s: %s", name, got)
		assert.Contains(t, err.Error(), why, name)
	}
	only := func(names ...string) *schemas.Log { return seenBy(l, c, names, 1, 0, 0, rng) }
	refused("nothing shared", only("robot/mode"), only("power/voltage"), "no signal is in both logs")
	// A reboot: one ends where the other begins, so neither saw what the other did.
	half := from + (to-from)/2
	refused("no overlap", l.Cut(from, half), seenBy(l.Cut(half+second, to), c, []string{"power/voltage", "imu/pitch"}, 1, 0, 0, rng), "")
	// A light that blinks: every period is as good as the next.
	blink := func(shift int64, n int) *schemas.Log {
		s := &schemas.Signal{Name: "light", Kind: schemas.Bool}
		for i := range n {
			s.Time, s.Bool = append(s.Time, int64(i)*second/2+shift), append(s.Bool, i%2 == 0)
		}
		return &schemas.Log{Signals: []*schemas.Signal{s}}
	}
	refused("periodic", blink(0, 200), blink(777, 200), "the log does not say which is right")
	flat := &schemas.Log{Signals: []*schemas.Signal{{Name: "a", Time: []int64{0, 1e6}, Float: []float64{1, 1}}}}
	refused("nothing happens", flat, flat, "fewer than 3 changes")
	far := only("robot/mode")
	far.Signals[0].Time[len(far.Signals[0].Time)-1] = math.MaxInt64
	refused("times at the end of time", l, far, "no clock's")
	// Two matches of one robot: the modes go alike, and the rest does not.
	other := sampleLog(t, "clean.csv.gz")
	got, err := Find(l, seenBy(other, c, []string{"path/mouth/beam", "power/voltage"}, 1, 0, 0, rng))
	require.Error(t, err, "another match was taken for this one: %s", got)
}

// Chance makes no shift: logs of the same signals whose changes have nothing to do with each
// other are refused.
func TestChanceIsNoShift(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 4))
	taken := 0
	const tries = 200
	for range tries {
		random := func() *schemas.Log {
			l := &schemas.Log{}
			for k := range 3 {
				s := &schemas.Signal{Name: fmt.Sprint("s", k), Kind: schemas.Bool}
				at := int64(0)
				for i := range 40 {
					at += 20_000 * (1 + rng.Int64N(200))
					s.Time, s.Bool = append(s.Time, at), append(s.Bool, i%2 == 0)
				}
				l.Signals = append(l.Signals, s)
			}
			return l
		}
		if _, err := Find(random(), random()); err == nil {
			taken++
		}
	}
	assert.LessOrEqual(t, taken, tries/100, "%d of %d pairs of unrelated logs were put together", taken, tries)
}

func TestApplyMovesTimesAndNothingElse(t *testing.T) {
	l := sampleLog(t, "clean.csv.gz")
	rng := rand.New(rand.NewPCG(6, 4))
	c := clock{shift: 123_456_789, ppm: 150}
	other := seenBy(l, c, []string{"robot/mode", "imu/pitch", "game/score"}, 1, 0, 0, rng)
	before := other.Find("imu/pitch").Time[0]
	s := Shift{ShiftUS: c.shift, MidUS: 0, DriftPPM: 0}
	moved := s.Apply(other, 2)
	assert.Equal(t, before, other.Find("imu/pitch").Time[0], "the log is not changed")
	p := moved.Find("imu/pitch")
	assert.Equal(t, before+c.shift, p.Time[0])
	assert.Equal(t, int32(2), p.BootAt(0))
	assert.Equal(t, other.Find("imu/pitch").Float, p.Float)
	got, err := Find(l, other)
	require.NoError(t, err)
	for i, at := range got.Apply(other, 1).Find("imu/pitch").Time {
		require.InDelta(t, l.Find("imu/pitch").Time[i], at, float64(got.BoundUS), "sample %d", i)
	}
}

func TestASmallLogIsNoTrouble(t *testing.T) {
	for _, l := range []*schemas.Log{{}, {Signals: []*schemas.Signal{{Name: "a", Time: []int64{5}, Float: []float64{1}}}}} {
		_, err := Find(l, l)
		require.Error(t, err)
	}
}
