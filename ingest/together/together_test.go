package together

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
)

func sampleLog(t testing.TB, name string) *schemas.Log {
	t.Helper()
	l, _, err := ingest.ReadFiles(t.Context(), []string{filepath.Join("..", "..", "sample-logs", name)}, ingest.Options{})
	require.NoError(t, err)
	return l
}

func modeOf(t testing.TB) *profile.Mode {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte("profile: 1\nrobot: heron\nmode: {signal: robot/mode}\n"))
	require.NoError(t, err)
	return p.Mode
}

// only are the signals of a log whose names begin like that, on a clock of their own: behind by
// so many microseconds, and slower by so many millionths.
func only(l *schemas.Log, shift int64, ppm float64, prefixes ...string) *schemas.Log {
	out := &schemas.Log{}
	for _, s := range l.Signals {
		for _, p := range prefixes {
			if strings.HasPrefix(s.Name, p) {
				c := *s
				c.Time = make([]int64, s.Len())
				for i, t := range s.Time {
					c.Time[i] = int64(math.Round(float64(t-shift) * (1 - ppm*1e-6)))
				}
				out.Signals = append(out.Signals, &c)
				break
			}
		}
	}
	return out
}

var drive = []string{"robot/", "power/", "path/", "game/", "drive/", "lift/"}

// begun is a log cut at a time, its clock beginning anew at zero.
func begun(l *schemas.Log, from, to int64) *schemas.Log {
	cut := l.Cut(from, to)
	first, _, _ := cut.Bounds()
	return only(cut, first, 0, "")
}

func part(name string, l *schemas.Log) Part { return Part{Name: name, Log: l} }

// Two computers of one robot: what both saw puts them together, and the match is there once.
func TestTwoComputersOfOneRobot(t *testing.T) {
	mode := modeOf(t)
	for _, name := range []string{"clean.csv.gz", "bad-balance.csv.gz"} {
		l := sampleLog(t, name)
		first := part("drive", only(l, 0, 0, drive...))
		other := part("vision", only(l, 1_234_567_000, 80, "robot/mode", "game/score", "pose/", "imu/", "path/mouth/beam"))
		f := Compare(first, other, mode)
		require.Equal(t, Sure, f.Verdict, f.Why)
		assert.Equal(t, BySight, f.By)
		assert.InDelta(t, 1_234_567_000, f.Shift.ShiftUS, 120_000) // at its own zero, and 80 ppm less for each second since
		assert.Greater(t, f.Places, 20)
		assert.Regexp(t, `^vision begins \d+\.\d{3} s (after|before) drive, seen by both in \d+ places; ±\d+ ms$`, f.Proposal(first, other))
		whole, boot, err := Put(first.Log, other, f)
		require.NoError(t, err)
		assert.Equal(t, int32(1), boot)
		assert.Equal(t, first.Log.Samples()+other.Log.Samples(), whole.Samples(), "nothing is lost")
		// What both logged keeps its name in one of them only: no counter steps back and forth.
		assert.Equal(t, first.Log.Find("game/score").Time, whole.Find("game/score").Time)
		require.NotNil(t, whole.Find("game/score (vision)"))
		assert.Equal(t, other.Log.Find("game/score").Len(), whole.Find("game/score (vision)").Len())
		assert.Nil(t, whole.Find("pose/x (vision)"))
		got, err := period.Find(mode, whole)
		require.NoError(t, err)
		want, err := period.Find(mode, l)
		require.NoError(t, err)
		require.Len(t, got, 1)
		assert.Equal(t, want[0].Periods, got[0].Periods)
	}
}

// Two matches of one robot are never one, whatever they share: the periods go alike in both.
func TestTwoMatchesAreNotOne(t *testing.T) {
	mode := modeOf(t)
	names := []string{"clean.csv.gz", "jam-reversed.csv.gz", "bad-balance.csv.gz", "brownout.csv.gz"}
	logs := make([]*schemas.Log, len(names))
	for i, n := range names {
		logs[i] = sampleLog(t, n)
	}
	for i, a := range logs {
		for j, b := range logs {
			if i >= j {
				continue
			}
			for _, shared := range [][]string{{""}, {"robot/mode"}, {"robot/mode", "game/score"}, {"robot/mode", "power/voltage"}, {"robot/mode", "path/mouth/beam", "imu/"}} {
				f := Compare(part("a", a), part("b", only(b, 77_000_000, 40, shared...)), mode)
				assert.Less(t, f.Verdict, Sure, "%s and %v of %s: %s", names[i], shared, names[j], f.Shift)
			}
		}
	}
}

// The mode alone puts two logs in their places, and says of any two matches that they are one:
// the wall clock decides, where both know it.
func TestTheModeAloneIsNotSure(t *testing.T) {
	mode := modeOf(t)
	l := sampleLog(t, "clean.csv.gz")
	first, other := part("drive", only(l, 0, 0, drive...)), part("vision", only(l, 5_000_000, 40, "robot/mode", "pose/"))
	f := Compare(first, other, mode)
	assert.Equal(t, Likely, f.Verdict)
	assert.Contains(t, f.Why, "robot/mode tells it, which goes alike in every match")
	a, _, _ := first.Log.Bounds()
	b, _, _ := other.Log.Bounds()
	began := time.Date(2031, 3, 1, 14, 0, 0, 0, time.UTC).UnixMicro()
	first.Wall = Wall{FirstUS: began, BoundUS: RoughBound, How: "the dates of the files", Rough: true}
	other.Wall = first.Wall
	other.Wall.FirstUS += b + 5_000_000 - a + 7*second
	assert.Equal(t, Sure, Compare(first, other, mode).Verdict)
	other.Wall.FirstUS += 600 * second
	f = Compare(first, other, mode)
	assert.Equal(t, Likely, f.Verdict, "a file's date may be wrong")
	assert.Regexp(t, `their dates are 60[67]\.\d{3} s apart`, f.Why)
	first.Wall.Rough, other.Wall.Rough = false, false
	assert.Equal(t, Apart, Compare(first, other, mode).Verdict)
}

// A counter that only counts time goes alike in every match too.
func TestACountdownTellsNothing(t *testing.T) {
	mode := modeOf(t)
	withClock := func(l *schemas.Log) *schemas.Log {
		m, err := period.Find(mode, l)
		require.NoError(t, err)
		s := &schemas.Signal{Name: "game/time_left", Kind: schemas.Int64}
		for k := range int64(140) {
			s.Time, s.Int = append(s.Time, m[0].Start+k*second), append(s.Int, 140-k)
		}
		out := &schemas.Log{Signals: append(only(l, 0, 0, "robot/mode").Signals, s)}
		out.Normalize()
		return out
	}
	a, b := withClock(sampleLog(t, "clean.csv.gz")), withClock(sampleLog(t, "brownout.csv.gz"))
	f := Compare(part("a", a), part("b", only(b, 3_000_000, 0, "")), mode)
	assert.Less(t, f.Verdict, Sure, f.Shift)
}

// A robot that starts again in mid-match, its clock beginning anew: nothing in the two logs says
// how they lie to each other, and nothing is guessed.
func TestAReboot(t *testing.T) {
	mode := modeOf(t)
	rng := rand.New(rand.NewPCG(4, 2))
	for _, name := range []string{"clean.csv.gz", "jam-reversed.csv.gz", "brownout.csv.gz"} {
		l := sampleLog(t, name)
		from, to, _ := l.Bounds()
		for range 3 {
			ended := from + (to-from)*3/10 + rng.Int64N((to-from)*4/10)
			again := ended + 2*second + rng.Int64N(4*second)
			first, other := part("q14", begun(l, from, ended)), part("q14-2", begun(l, again, to))
			f := Compare(first, other, mode)
			assert.Equal(t, Unknown, f.Verdict, "%s at %d: %s %s", name, ended, f.Shift, f.Why)
			assert.NotEmpty(t, f.Why)

			told := Told(first, other, Begins(first, other, again-from), mode)
			require.Equal(t, Sure, told.Verdict, told.Why)
			assert.InDelta(t, again-from, told.BeginsAfter(first, other), 20_000)
			whole, _, err := Put(first.Log, other, told)
			require.NoError(t, err)
			found, err := period.Find(mode, whole)
			require.NoError(t, err)
			require.Len(t, found, 1, "%s at %d", name, ended)
			assert.Equal(t, first.Log.Samples()+other.Log.Samples(), whole.Samples())
			assert.Equal(t, len(l.Signals), len(whole.Signals), "nothing lies over anything")

			over := Told(first, other, 0, mode)
			assert.Equal(t, Apart, over.Verdict, "laid over each other")
			assert.Contains(t, over.Why, "two courses are not laid over each other")
			far := Told(first, other, Begins(first, other, to-from+3600*second), mode)
			assert.Equal(t, Apart, far.Verdict)
			assert.Contains(t, far.Why, "no match takes in both")
		}
	}
}

// Where both logs know the wall clock it puts the second power-up in its place, never before the
// first had ended.
func TestARebootByTheWallClock(t *testing.T) {
	mode := modeOf(t)
	l := sampleLog(t, "jam-reversed.csv.gz")
	from, to, _ := l.Bounds()
	ended := from + (to-from)/2
	again := ended + second/2
	first, other := part("q14", begun(l, from, ended)), part("q14-2", begun(l, again, to))
	began := time.Date(2031, 3, 1, 14, 0, 0, 0, time.UTC).UnixMicro()
	first.Wall = Wall{FirstUS: began, BoundUS: NameBound, How: "the times in the files' names"}
	for _, off := range []int64{0, second, -second} { // names are to the second
		other.Wall = first.Wall
		other.Wall.FirstUS += again - from + off
		f := Compare(first, other, mode)
		require.Equal(t, Sure, f.Verdict, "%d: %s", off, f.Why)
		assert.Equal(t, ByWall, f.By)
		assert.InDelta(t, again-from, f.BeginsAfter(first, other), float64(f.Shift.BoundUS))
		a0, a1, _ := first.Log.Bounds()
		assert.Greater(t, f.BeginsAfter(first, other), a1-a0)
		assert.Equal(t, 2*NameBound, f.Shift.BoundUS)
		assert.Contains(t, f.Proposal(first, other), "told by the times in the files' names; ±4.0 s")
	}
	other.Wall.FirstUS -= 20 * second
	f := Compare(first, other, mode)
	assert.Less(t, f.Verdict, Sure, "the clocks say that both ran at once")

	// Their own times are the wall clock.
	own := func(l *schemas.Log) Part {
		p := part("log", only(l, -began, 0, ""))
		at, _, _ := p.Log.Bounds()
		var ok bool
		p.Wall, ok = OwnClock(at, time.UnixMicro(began).Add(time.Hour))
		require.True(t, ok)
		return p
	}
	first, other = own(l.Cut(from, ended)), own(l.Cut(again, to))
	f = Compare(first, other, mode)
	require.Equal(t, Sure, f.Verdict, f.Why)
	assert.Zero(t, f.Shift.ShiftUS)
	_, ok := OwnClock(0, time.UnixMicro(began))
	assert.False(t, ok, "a clock that begins at zero")
	_, ok = OwnClock(began, time.UnixMicro(began).Add(-48*time.Hour))
	assert.False(t, ok, "the day after tomorrow")
}

// The next match a minute later is a match of its own, wall clock or not.
func TestTheNextMatchIsNotTheRest(t *testing.T) {
	mode := modeOf(t)
	began := time.Date(2031, 3, 1, 14, 0, 0, 0, time.UTC).UnixMicro()
	first, other := part("q1", sampleLog(t, "clean.csv.gz")), part("q2", sampleLog(t, "brownout.csv.gz"))
	from, to, _ := first.Log.Bounds()
	first.Wall = Wall{FirstUS: began, BoundUS: second, How: "the wall clock of their own times"}
	other.Wall = first.Wall
	other.Wall.FirstUS += to - from + 20*second
	f := Compare(first, other, mode)
	assert.Equal(t, Apart, f.Verdict)
	assert.Equal(t, "each holds a whole match of its own", f.Why)
	half, _, _ := other.Log.Bounds()
	other.Log = other.Log.Cut(half+45*second, to) // it joined late, after its autonomous period
	other.Wall.FirstUS += 45 * second
	f = Compare(first, other, mode)
	assert.Equal(t, Apart, f.Verdict)
	assert.Contains(t, f.Why, "no match takes in both")
}

func bootClock(boot, collector string, shift int64, offset, bound float64) clock.BootMeta {
	drift := 12.0
	return clock.BootMeta{Source: "main", Boot: boot, ShiftUS: shift, OffsetUS: &offset, DriftPPM: &drift, BoundUS: &bound, Collector: collector, Run: 1}
}

// Clock fits against one collector come before what both saw, and need nothing that both saw.
func TestClockFitsPutLogsInTheirPlaces(t *testing.T) {
	mode := modeOf(t)
	l := sampleLog(t, "clean.csv.gz")
	from, to, _ := l.Bounds()
	ended := from + (to-from)/2
	first, other := part("q14", begun(l, from, ended)), part("q14-2", begun(l, ended+3*second, to))
	at := func(p Part) int64 { f, _, _ := p.Log.Bounds(); return f }
	began := 1.93e15
	first.Clock = []clock.BootMeta{bootClock("a", "c1", 0, began-float64(at(first)), 800)}
	other.Clock = []clock.BootMeta{bootClock("b", "c1", 0, began+float64(ended+3*second-from)-float64(at(other)), 1200)}
	f := Compare(first, other, mode)
	require.Equal(t, Sure, f.Verdict, f.Why)
	assert.Equal(t, ByClock, f.By)
	assert.Equal(t, ended+3*second-from, f.BeginsAfter(first, other))
	assert.Equal(t, int64(2000), f.Shift.BoundUS)
	assert.Contains(t, f.Proposal(first, other), "told by how both clocks ran against the collector's; ±2 ms")
	assert.Contains(t, f.Line("q14-2"), "± 2 ms, told by how both clocks ran against the collector's")

	other.Clock[0].Run = 2
	assert.Equal(t, int64(1_002_000), Compare(first, other, mode).Shift.BoundUS, "the collector was started anew")
	other.Clock[0].Collector = "c2"
	assert.NotEqual(t, ByClock, Compare(first, other, mode).By, "another laptop's clock")
	other.Clock[0].Collector, other.Clock[0].BoundUS = "c1", nil
	assert.NotEqual(t, ByClock, Compare(first, other, mode).By, "arrivals only")

	// One power-up: the same clock, however each file was shifted.
	first, other = part("main", only(l, 0, 0, drive...)), part("rest", only(l, -5_000_000, 0, "pose/", "imu/"))
	first.Clock, other.Clock = []clock.BootMeta{bootClock("a", "c1", 2_000_000, 0, 1)}, []clock.BootMeta{bootClock("a", "c9", 7_000_000, 0, 1)}
	f = Compare(first, other, mode)
	require.Equal(t, Sure, f.Verdict, f.Why)
	assert.Equal(t, int64(-5_000_000), f.Shift.ShiftUS)
	assert.Zero(t, f.Shift.BoundUS)
}

// Copies of one recording, one of them with holes and another beginning: each sample is there
// once, and what only one has fills the holes.
func TestCopiesOfOneRecording(t *testing.T) {
	mode := modeOf(t)
	l := sampleLog(t, "bad-balance.csv.gz")
	from, to, _ := l.Bounds()
	holed, err := ingest.Merge(l.Cut(from, from+40*second), l.Cut(from+55*second, to-10*second))
	require.NoError(t, err)
	first, other := part("radio", holed), part("disk", only(l, 12_000_000, 0, ""))
	f := Compare(first, other, mode)
	require.Equal(t, Sure, f.Verdict, f.Why)
	assert.Equal(t, int64(12_000_000), f.Shift.ShiftUS)
	assert.Positive(t, f.Repeated)
	whole, _, err := Put(first.Log, other, f)
	require.NoError(t, err)
	assert.Equal(t, l.Samples(), whole.Samples())
	assert.Equal(t, len(l.Signals), len(whole.Signals))
	again, _, err := Put(whole, other, f)
	require.NoError(t, err)
	assert.Equal(t, whole.Samples(), again.Samples(), "nothing comes twice")
}

func TestNamesOfWhatIsPutAside(t *testing.T) {
	long := strings.Repeat("ä", 120) + "/mode"
	a := &schemas.Log{Signals: []*schemas.Signal{{Name: long, Time: []int64{0, 9}, Float: []float64{1, 2}}, {Name: "m (vision)", Time: []int64{0}, Float: []float64{1}}}}
	a.Normalize()
	name := asideName(a, a, long, "vision")
	assert.LessOrEqual(t, len(name), schemas.MaxSignalName)
	assert.True(t, strings.HasSuffix(name, " (vision)"))
	assert.Equal(t, "m (vision 2)", asideName(a, a, "m", "vision"))
	assert.LessOrEqual(t, len(asideName(a, a, long, strings.Repeat("x", 300))), schemas.MaxSignalName)
}
