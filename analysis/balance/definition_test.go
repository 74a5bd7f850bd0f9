package balance

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// drawn is a tilt drawn by hand, 50 samples a second, one deg value after another.
type drawn struct{ v []float64 }

func (d *drawn) at(deg, lengthS float64) *drawn {
	for range int(math.Round(lengthS * 50)) {
		d.v = append(d.v, deg)
	}
	return d
}

func (d *drawn) input() Input {
	in := Input{Tilt: &series.Float{Name: "imu/pitch"}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1}
	for i, v := range d.v {
		in.Tilt.T = append(in.Tilt.T, int64(i)*20_000)
		in.Tilt.V = append(in.Tilt.V, v)
	}
	in.End = in.Tilt.T[len(in.Tilt.T)-1]
	return in
}

// constant is a signal of one value at the times of in's tilt from a time to another, 0 else.
func constant(in Input, name string, v, fromS, toS float64) *series.Float {
	s := &series.Float{Name: name}
	for _, t := range in.Tilt.T {
		now := 0.0
		if seconds(t) >= fromS && seconds(t) < toS {
			now = v
		}
		s.T, s.V = append(s.T, t), append(s.V, now)
	}
	return s
}

// drivenX is where the robot is when it drives by drive at 2 m/s per unit.
func drivenX(drive *series.Float) *series.Float {
	x := &series.Float{Name: "pose/x", T: drive.T, V: make([]float64, len(drive.T))}
	for i := 1; i < len(x.V); i++ {
		x.V[i] = x.V[i-1] + 2*drive.V[i-1]*seconds(x.T[i]-x.T[i-1])
	}
	return x
}

type want struct {
	start, end, settle float64 // settle -1: none
	outcome            string
	overshoots         int
}

// Every sentence of the definition of a balance attempt, on tilts without noise, where it must
// hold to the sample.
func TestDefinition(t *testing.T) {
	edge := math.Nextafter
	for _, c := range []struct {
		name string
		tilt *drawn
		want []want
	}{
		{"nothing", new(drawn).at(0, 5), nil},
		{
			"from the first tilt beyond mount until level for hold_s", new(drawn).at(0, 2).at(10, 1).at(0, 3),
			[]want{{2, 4, 1, "level", 0}},
		},
		{"either sign", new(drawn).at(0, 2).at(-10, 1).at(0, 3), []want{{2, 4, 1, "level", 0}}},
		{"mount_deg itself is not beyond", new(drawn).at(0, 2).at(6, 3).at(0, 3), nil},
		{"the next number is", new(drawn).at(0, 2).at(edge(6, 7), 3).at(0, 3), []want{{2, 6, 3, "level", 0}}},
		{"level_deg itself is level", new(drawn).at(0, 1).at(10, 1).at(2.5, 2), []want{{1, 3, 1, "level", 0}}},
		{"the next number is not", new(drawn).at(0, 1).at(10, 1).at(edge(2.5, 3), 2), []want{{1, 3.98, -1, "ran_out", 0}}},
		{
			"a hold that is just long enough", new(drawn).at(0, 1).at(10, 1).at(0, 1.02).at(4, 0.5).at(0, 2),
			[]want{{1, 3, 1, "level", 0}},
		},
		{
			"a hold one sample too short", new(drawn).at(0, 1).at(10, 1).at(0, 1).at(4, 0.5).at(0, 2),
			[]want{{1, 4.5, 2.5, "level", 0}},
		},
		{
			"opposite excursions are overshoots", new(drawn).at(0, 1).at(10, 1).at(-5, 0.5).at(4, 0.5).at(-3, 0.5).at(0, 2),
			[]want{{1, 4.5, 2.5, "level", 3}},
		},
		{
			"an excursion to the same side is none", new(drawn).at(0, 1).at(10, 1).at(0, 0.5).at(4, 0.5).at(0, 0.5).at(-3, 0.5).at(0, 2),
			[]want{{1, 5, 3, "level", 1}},
		},
		{
			"a swing inside the band is none", new(drawn).at(0, 1).at(10, 1).at(-2.4, 0.5).at(2.4, 2),
			[]want{{1, 3, 1, "level", 0}},
		},
		{"a bump under 0.3 s starts nothing", new(drawn).at(0, 2).at(8, 0.28).at(0, 3), nil},
		{"0.3 s is no bump", new(drawn).at(0, 2).at(8, 0.3).at(0, 3), []want{{2, 3.3, 0.3, "level", 0}}},
		{
			"nor is a wobble on the way up", new(drawn).at(0, 2).at(8, 0.2).at(5, 0.1).at(8, 0.2).at(0, 3),
			[]want{{2, 3.5, 0.5, "level", 0}},
		},
		{"two bumps apart are two bumps", new(drawn).at(0, 2).at(8, 0.2).at(0, 0.1).at(8, 0.2).at(0, 3), nil},
		{
			"a bump under 0.3 s in the hold is an excursion", new(drawn).at(0, 2).at(10, 1).at(0, 0.5).at(4, 0.2).at(0, 2),
			[]want{{2, 4.7, 1.7, "level", 0}},
		},
		{"a spike starts nothing", new(drawn).at(0, 2).at(30, 0.04).at(0, 3), nil},
		{
			"a spike in the hold is no excursion", new(drawn).at(0, 2).at(10, 1).at(0, 0.5).at(-30, 0.04).at(0, 2),
			[]want{{2, 4, 1, "level", 0}},
		},
		{
			"a spike in the climb is none either", new(drawn).at(0, 2).at(10, 0.5).at(-30, 0.02).at(10, 0.5).at(0, 2),
			[]want{{2, 4.02, 1.02, "level", 0}},
		},
		{"ran out of log", new(drawn).at(0, 2).at(10, 1).at(0, 0.5), []want{{2, 3.48, -1, "ran_out", 0}}},
		{
			"after an end the next begins", new(drawn).at(0, 1).at(10, 1).at(0, 2).at(-9, 0.5).at(0, 2),
			[]want{{1, 3, 1, "level", 0}, {4, 5.5, 0.5, "level", 0}},
		},
		{"the log begins tilted", new(drawn).at(10, 1).at(0, 2), []want{{0, 2, 1, "level", 0}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			res := Detect(c.tilt.input(), DefaultConfig())
			require.NotNil(t, res.Balances)
			require.Len(t, res.Balances, len(c.want))
			for i, w := range c.want {
				requireAttempt(t, w, res.Balances[i])
			}
		})
	}
}

func requireAttempt(t *testing.T, w want, b schemas.Balance) {
	t.Helper()
	require.InDelta(t, w.start, b.StartS, 1e-9, "start")
	require.InDelta(t, w.end, b.EndS, 1e-9, "end")
	require.Equal(t, w.outcome, b.Outcome)
	require.Equal(t, w.overshoots, b.Overshoots, "overshoots")
	require.Len(t, b.Swings, w.overshoots)
	if w.settle < 0 {
		require.Nil(t, b.SettleS)
	} else {
		require.NotNil(t, b.SettleS)
		require.InDelta(t, w.settle, *b.SettleS, 1e-9, "settle")
	}
}

func TestRanOutOfTheMatch(t *testing.T) {
	periods := []schemas.Period{{Name: "autonomous", StartS: 0, EndS: 3}, {Name: "driver", StartS: 3.5, EndS: 10}}
	for _, c := range []struct {
		name string
		tilt *drawn
		want []want
	}{
		{
			"tilted through the end of the match and after it", new(drawn).at(0, 8).at(10, 7).at(0, 3),
			[]want{{8, 10, -1, "ran_out", 0}},
		},
		{"the hold ends after the match", new(drawn).at(0, 8).at(10, 1.5).at(0, 5), []want{{8, 10, -1, "ran_out", 0}}},
		{"the hold ends with the match", new(drawn).at(0, 8).at(10, 1).at(0, 5), []want{{8, 10, 1, "level", 0}}},
		{
			"swings on after the match", new(drawn).at(0, 8).at(10, 2.5).at(-9, 0.5).at(9, 0.5).at(0, 5),
			[]want{{8, 10, -1, "ran_out", 0}},
		},
		{
			"carried away after it came to rest", new(drawn).at(0, 8).at(10, 3).at(0, 1.5).at(25, 1).at(0, 3),
			[]want{{8, 10, -1, "ran_out", 0}},
		},
		{"carried about after the match", new(drawn).at(0, 11).at(20, 1).at(0, 3), nil},
		{"an attempt outlasts a period", new(drawn).at(0, 2).at(10, 2).at(0, 2), []want{{2, 5, 2, "level", 0}}},
		{"the tilt is lost before the match ends", new(drawn).at(0, 6).at(10, 1), []want{{6, 10, -1, "ran_out", 0}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := c.tilt.input()
			in.Periods = periods
			in.End = max(in.End, 12_000_000)
			res := Detect(in, DefaultConfig())
			require.Len(t, res.Balances, len(c.want))
			for i, w := range c.want {
				requireAttempt(t, w, res.Balances[i])
			}
		})
	}
	late := new(drawn).at(20, 2).at(0, 10).input() // carried to the field, set down before the match
	late.Periods = []schemas.Period{{Name: "driver", StartS: 5, EndS: 12}}
	require.Empty(t, Detect(late, DefaultConfig()).Balances)

	in := new(drawn).at(0, 1).at(10, 1).at(0, 1.5).at(10, 1).at(0, 5).at(10, 1).at(0, 3).input()
	in.Periods = periods
	var names []string
	for _, b := range Detect(in, DefaultConfig()).Balances {
		names = append(names, b.Period)
	}
	require.Equal(t, []string{"autonomous", "driver", "driver"}, names)
}

// The tilt alone is the same in all of these: up, ten degrees for two seconds, level.
func TestLeft(t *testing.T) {
	tilt := new(drawn).at(0, 3).at(10, 2).at(0, 6).input()
	level, left := want{3, 6, 2, "level", 0}, want{3, 5, -1, "left", 0}
	stays := constant(tilt, "drive/command", 0.4, 2, 4.8)
	on := constant(tilt, "drive/command", 0.4, 2, 7)
	back := constant(tilt, "drive/command", 0.4, 2, 4)
	for i, at := range back.T {
		if seconds(at) >= 4 && seconds(at) < 5.3 {
			back.V[i] = -0.4
		}
	}
	still := constant(tilt, "y", 1, 0, 100)
	jumped := constant(tilt, "x", 3, 5.5, 100)
	for _, c := range []struct {
		name        string
		drive, x, y *series.Float
		want        want
	}{
		{"nothing tells", nil, nil, nil, level},
		{"the drive command stops as it comes level", stays, nil, nil, level},
		{"the drive command goes on", on, nil, nil, left},
		{"the drive command takes back the way up", back, nil, nil, left},
		{"the pose stands still", nil, drivenX(stays), still, level},
		{"the pose goes on", nil, drivenX(on), still, left},
		{"the pose goes back behind where it drove up", nil, drivenX(back), still, left},
		{"both", on, drivenX(on), still, left},
		{"wheels spin, the robot stands", on, drivenX(stays), still, level},
		{"a jump of the pose is no way driven", nil, jumped, still, level},
		{"a pose without y tells nothing", nil, drivenX(on), nil, level},
		{"a pose that ends before tells nothing", nil, drivenX(on).Between(0, 4_000_000), still, level},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := tilt
			in.Drive, in.X, in.Y = c.drive, c.x, c.y
			res := Detect(in, DefaultConfig())
			require.Len(t, res.Balances, 1)
			requireAttempt(t, c.want, res.Balances[0])
			require.Equal(t, c.drive == nil && (c.x == nil || c.y == nil), len(res.Notes) == 1,
				"a note says so when neither could tell: %q", res.Notes)
		})
	}
}

// A loop that rests with a constant command, because the platform pushes back, drives nowhere.
func TestAHoldingCommandIsNotDrivingOff(t *testing.T) {
	in := new(drawn).at(0, 3).at(10, 1).at(-5, 0.5).at(4, 0.5).at(2, 3).input()
	in.Drive = &series.Float{Name: "drive/command", T: in.Tilt.T, V: make([]float64, len(in.Tilt.V))}
	for i, v := range in.Tilt.V {
		in.Drive.V[i] = 0.05 * v
	}
	res := Detect(in, DefaultConfig())
	require.Len(t, res.Balances, 1)
	require.Equal(t, "level", res.Balances[0].Outcome)
}

// Level, and some seconds later down again: two attempts, the second of which left.
func TestLevelThenLeft(t *testing.T) {
	in := new(drawn).at(0, 3).at(10, 1).at(0, 4).at(-9, 0.8).at(0, 4).input()
	in.Drive = constant(in, "drive/command", 0.4, 2, 3.9)
	for i, at := range in.Drive.T {
		if seconds(at) >= 7.8 && seconds(at) < 11 {
			in.Drive.V[i] = 0.4
		}
	}
	for _, pose := range []bool{false, true} {
		if pose {
			in.X, in.Y = drivenX(in.Drive), constant(in, "pose/y", 1, 0, 100)
			in.Drive = nil
		}
		res := Detect(in, DefaultConfig())
		require.Len(t, res.Balances, 2)
		requireAttempt(t, want{3, 5, 1, "level", 0}, res.Balances[0])
		requireAttempt(t, want{8, 8.8, -1, "left", 0}, res.Balances[1])
	}
}

func TestAGapIsNoHold(t *testing.T) {
	in := new(drawn).at(0, 2).at(10, 1).at(0, 0.4).input()
	rest := new(drawn).at(0, 3).input().Tilt
	for i, at := range rest.T {
		in.Tilt.T, in.Tilt.V = append(in.Tilt.T, at+4_000_000), append(in.Tilt.V, rest.V[i])
	}
	res := Detect(in, DefaultConfig())
	require.Len(t, res.Balances, 1)
	requireAttempt(t, want{2, 5, 2, "level", 0}, res.Balances[0])
	require.Contains(t, strings.Join(res.Notes, "\n"), "imu/pitch is silent for 0.6 s from 3.4 s of the log")

	short := new(drawn).at(0, 2).at(10, 1).at(0, 3).input()
	short.Tilt.T, short.Tilt.V = append(short.Tilt.T[:160:160], short.Tilt.T[170:]...), append(short.Tilt.V[:160:160], short.Tilt.V[170:]...)
	res = Detect(short, DefaultConfig())
	requireAttempt(t, want{2, 4, 1, "level", 0}, res.Balances[0]) // 0.2 s less than a bump: nothing happened in it
}

func TestNothingToLookAt(t *testing.T) {
	res := Detect(Input{MountDeg: 6, LevelDeg: 2.5, HoldS: 1}, DefaultConfig())
	require.Empty(t, res.Balances)
	require.NotNil(t, res.Balances)
	require.Equal(t, []string{"balance: no tilt in this log"}, res.Notes)
	in := new(drawn).at(10, 3).input()
	in.LevelDeg = 7
	res = Detect(in, DefaultConfig())
	require.Empty(t, res.Balances)
	require.Contains(t, res.Notes[0], "mount_deg the larger angle")
}
