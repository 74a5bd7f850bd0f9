package path

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// situations are the main cases of the definitions as functions, to be seen through other
// loggers and by robots with fewer signals.
var situations = []struct {
	name string
	line func() *timeline
	jam  *expected
}{
	{"usual", func() *timeline {
		l := newTimeline(20, fourStages...).warm()
		l.usual(14)
		return l
	}, nil},
	{"stuck, roller held", func() *timeline {
		l := newTimeline(26, fourStages...).warm()
		l.drive(13.5, 18.05, 0.8)
		l.block("mouth", 14, 14.25)
		l.block("throat", 14.5, 17.25)
		l.hold("throat", 14.65, 17.15)
		l.block("lift", 17.5, 17.75)
		l.leave(18, 20)
		return l
	}, &expected{stages: []string{"throat"}, start: 14.65, end: 17.15, how: "moved_on"}},
	{"stuck between, roller held", func() *timeline {
		l := newTimeline(26, fourStages...).warm()
		l.drive(13.5, 19.55, 0.8)
		l.block("mouth", 14, 14.25)
		l.block("throat", 14.5, 14.75)
		l.hold("throat", 14.9, 18.9)
		l.block("lift", 19, 19.25)
		l.leave(19.5, 21)
		return l
	}, &expected{stages: []string{"throat", "lift"}, start: 14.9, end: 18.9, how: "moved_on"}},
	{"held on purpose", func() *timeline {
		l := newTimeline(40, fourStages...).warm()
		l.drive(13.5, 14.6, 0.8)
		l.block("mouth", 14, 14.25)
		l.block("throat", 14.5, 30.15)
		l.drive(30, 31, 0.8)
		l.block("lift", 30.4, 30.65)
		l.leave(30.9, 32)
		return l
	}, nil},
	{"waits, pressed", func() *timeline {
		l := newTimeline(60, fourStages...).warm()
		there := l.come(14, 1)
		l.drive(there+0.05, 50, 0.1, "gate")
		l.hold("gate", there+0.1, 50)
		l.leave(there, 50)
		return l
	}, nil},
	{"never cleared", func() *timeline {
		l := newTimeline(30, fourStages...).warm()
		l.drive(13.5, 28, 0.8)
		l.block("mouth", 14, 14.25)
		l.block("throat", 14.5, 99)
		l.hold("throat", 14.65, 99)
		return l
	}, &expected{stages: []string{"throat"}, start: 14.65, end: 30}},
}

func TestOtherRates(t *testing.T) {
	for _, hz := range []float64{20, 50, 250, 1000} {
		for _, s := range situations {
			t.Run(fmt.Sprintf("%s at %.0f Hz", s.name, hz), func(t *testing.T) {
				l := s.line()
				l.hz = hz
				see(t, l, s.jam, 0.15+1/hz)
			})
		}
	}
}

// Missing data is a state: with a command every jam is found whatever else the robot lacks.
func TestFewerSignals(t *testing.T) {
	for _, lacks := range [][]string{{"current"}, {"speed"}, {"current", "speed"}, {"volts"}, {"release"}, {"current", "speed", "volts", "release"}} {
		for _, s := range situations {
			t.Run(fmt.Sprintf("%s without %v", s.name, lacks), func(t *testing.T) {
				l := s.line()
				for _, n := range lacks {
					l.lacks[n] = true
				}
				see(t, l, s.jam, 0.25)
			})
		}
	}
}

// Without commands the current tells when a stage is driven; with beams alone nothing does,
// and then a piece that stands is at most suspected.
func TestWithoutCommands(t *testing.T) {
	for _, s := range situations {
		t.Run(s.name+" by current", func(t *testing.T) {
			l := s.line()
			l.lacks["command"] = true
			see(t, l, s.jam, 0.4)
		})
		t.Run(s.name+" by beams alone", func(t *testing.T) {
			l := s.line()
			for _, n := range []string{"command", "current", "speed", "volts"} {
				l.lacks[n] = true
			}
			out := Detect(l.input(), DefaultConfig())
			assert.Empty(t, out.Jams, "suspected: %v", told(out.Suspected))
			if s.name == "never cleared" {
				assert.Len(t, out.Suspected, 1, "it stood to the end")
			}
		})
	}
}

// Nor does a piece that waits at the gate without being pressed on have to be taken for one that
// is, when its motor stands driven hard: while earlier ones waited it drew nothing.
func TestAtTheGateWithoutCommands(t *testing.T) {
	gate := func(press, hard float64) *timeline {
		l := newTimeline(60, fourStages...)
		for _, t := range []float64{2, 8, 14} {
			there := l.come(t, 1)
			l.drive(there+0.05, there+3, press, "gate")
			l.hold("gate", there+0.1, there+3)
			l.leave(there, there+3)
		}
		there := l.come(20, 1)
		l.drive(there+0.05, there+3, press, "gate")
		for k := range 3 {
			l.drive(30+4*float64(k), 32+4*float64(k), hard, "gate")
		}
		l.hold("gate", there+0.1, 50)
		l.leave(there, 50)
		l.lacks["command"] = true
		return l
	}
	t.Run("jammed", func(t *testing.T) {
		see(t, gate(0, 0.8), &expected{stages: []string{"gate"}, start: 30, end: 50, how: "moved_on", cause: "at_gate"}, 0.4)
	})
	t.Run("pressed before, and jammed", func(t *testing.T) {
		see(t, gate(0.2, 0.8), &expected{stages: []string{"gate"}, start: 30, end: 50, how: "moved_on", cause: "at_gate"}, 0.4)
	})
	t.Run("pressed now and then", func(t *testing.T) { see(t, gate(0.2, 0.2), nil, 0.4) })
}

func see(t *testing.T, l *timeline, jam *expected, slack float64) {
	t.Helper()
	in := l.input()
	out := Detect(in, DefaultConfig())
	var want []expected
	if jam != nil {
		w := *jam
		w.slack = slack
		want = []expected{w}
	}
	checkJams(t, in, out, want)
	assert.Len(t, out.Passes, 4)
	assert.Empty(t, out.Faults)
}

func TestStageWithoutBeam(t *testing.T) {
	stages := []string{"mouth", "lift", "pocket", "gate"}
	for _, held := range []bool{true, false} {
		l := newTimeline(30, stages...).warm()
		l.lacks["lift/beam"] = true
		l.drive(13.5, 19.05, 0.8)
		l.block("mouth", 14, 14.25)
		l.block("pocket", 18.5, 18.75) // three and a half seconds late
		if held {
			l.hold("lift", 14.5, 18)
		}
		l.leave(19, 21)
		in := l.input()
		out := Detect(in, DefaultConfig())
		require.Len(t, out.Jams, 1, "suspected: %v", told(out.Suspected))
		j := out.Jams[0]
		assert.Equal(t, "lift", j.Stage)
		assert.InDelta(t, 14.5, j.StartS, 0.3)
		assert.InDelta(t, 18, j.EndS, 0.3)
		require.Len(t, out.Passes, 4)
		for _, p := range out.Passes {
			st := p.Stages[1]
			assert.Nil(t, st.EnterS, "no beam, no time of entering")
			assert.Nil(t, st.LeaveS)
			require.NotNil(t, st.EnterEstS)
			require.NotNil(t, st.LeaveEstS)
			assert.Less(t, *p.Stages[0].LeaveS, *st.EnterEstS)
			assert.Less(t, *st.EnterEstS, *st.LeaveEstS)
			assert.Less(t, *st.LeaveEstS, *p.Stages[2].EnterS)
		}
		assert.Equal(t, 4, out.Stages[1].Passes)
		assert.Equal(t, 1, out.Stages[1].Jams)
		assert.False(t, out.Stages[1].Sensor)
	}
}

func TestOneStage(t *testing.T) {
	l := newTimeline(60, "mouth")
	for _, at := range []float64{2, 8, 14} {
		l.drive(at-1, at+0.05, 0.8)
		l.leave(at, at+2)
	}
	l.drive(19, 20.05, 0.8)
	l.drive(22, 26, 0.8)
	l.hold("mouth", 22.1, 26)
	l.leave(20, 30)
	in := l.input()
	out := Detect(in, DefaultConfig())
	checkJams(t, in, out, []expected{{stages: []string{"mouth"}, start: 22.1, end: 30.1, how: "moved_on", cause: "at_gate"}})
	assert.Len(t, out.Passes, 4)
}

// A last stage without a beam: the piece in it is out of sight until it is counted out.
func TestLastStageWithoutBeam(t *testing.T) {
	l := newTimeline(60, fourStages...).warm()
	l.lacks["gate/beam"] = true
	there := l.come(14, 1)
	l.drive(20, 24, 0.8, "gate")
	l.hold("gate", 20.1, 24)
	l.leave(there, 30)
	in := l.input()
	out := Detect(in, DefaultConfig())
	checkJams(t, in, out, []expected{{stages: []string{"gate"}, start: 20.1, end: 30.1, slack: 0.5, how: "moved_on"}})
	require.Len(t, out.Passes, 4)
	for _, p := range out.Passes {
		assert.Equal(t, "released", p.Outcome)
		assert.Nil(t, p.Stages[3].EnterS)
		assert.NotNil(t, p.Stages[3].EnterEstS)
	}

	l.lacks["release"] = true // then a piece is gone from the path when the last beam has seen it
	out = Detect(l.input(), DefaultConfig())
	assert.Len(t, out.Passes, 4)
	for _, p := range out.Passes {
		assert.Equal(t, "released", p.Outcome)
	}
}

// Scores stand in for a release signal: they come a moment later, and shots miss.
func TestScoreInPlaceOfRelease(t *testing.T) {
	l := newTimeline(40, fourStages...).warm()
	for _, at := range []float64{14, 20, 26} {
		l.usual(at)
	}
	l.blocked["gate"] = append(l.blocked["gate"][:4], l.blocked["gate"][5:]...) // the fifth is not seen at the gate
	in := l.input()
	in.Release = nil
	in.Score = &series.Float{Name: "score"}
	for _, at := range in.Voltage.T {
		n := 0.0
		for i, o := range l.out {
			if at >= schemas.Micros(o+0.9) && i != 1 { // the second misses
				n++
			}
		}
		in.Score.T, in.Score.V = append(in.Score.T, at), append(in.Score.V, n)
	}
	out := Detect(in, DefaultConfig())
	assert.Empty(t, out.Jams, "%v", told(out.Jams))
	require.Len(t, out.Passes, 6)
	for _, p := range out.Passes {
		assert.Equal(t, "released", p.Outcome)
	}
	assert.Nil(t, out.Passes[4].Stages[3].EnterS)
	assert.NotNil(t, out.Passes[5].Stages[3].EnterS)
}

// A path in which nothing sees a piece still shows a motor that is held fast.
func TestNoBeamAtAll(t *testing.T) {
	l := newTimeline(30, "mouth")
	l.lacks["mouth/beam"] = true
	for _, at := range []float64{2, 8} {
		l.drive(at, at+3, 0.8)
	}
	l.drive(14, 18, 0.8)
	l.hold("mouth", 15, 17)
	in := l.input()
	out := Detect(in, DefaultConfig())
	require.Len(t, out.Jams, 1, "suspected: %v", told(out.Suspected))
	assert.InDelta(t, 15, out.Jams[0].StartS, 0.2)
	assert.InDelta(t, 17, out.Jams[0].EndS, 0.2)
	assert.Nil(t, out.Jams[0].Piece)
	assert.Empty(t, out.Passes)
	assert.NotEmpty(t, out.Notes)
}

// One stuck piece is one jam, however long the driver rests between tries; once its roller has
// turned on, what holds it fast next is another.
func TestAStallTriedAgainLaterIsOneJam(t *testing.T) {
	for _, turns := range []bool{false, true} {
		l := newTimeline(45, "mouth")
		l.lacks["mouth/beam"] = true
		for _, at := range []float64{2, 8} {
			l.drive(at, at+3, 0.8)
		}
		l.drive(14, 17, 0.8)
		l.hold("mouth", 15, 17)
		l.drive(27, 31, 0.8) // ten seconds later
		want := 1
		if turns {
			l.drive(20, 23, 0.8)
			want = 2
		}
		l.hold("mouth", 27, 29.5)
		out := Detect(l.input(), DefaultConfig())
		require.Len(t, out.Jams, want, "turns meanwhile: %v, suspected: %v", turns, told(out.Suspected))
		assert.InDelta(t, 15, out.Jams[0].StartS, 0.3)
		assert.InDelta(t, 29.5, out.Jams[want-1].EndS, 0.3)
	}
}

func TestNothingLogged(t *testing.T) {
	for _, in := range []Input{{}, {Stages: make([]Stage, 3)}} {
		out := Detect(in, DefaultConfig())
		assert.Empty(t, out.Passes)
		assert.Empty(t, out.Jams)
		assert.Len(t, out.Stages, len(in.Stages))
	}
}

// A robot with one beam that goes blind: the pieces that are counted out tell.
func TestABeamThatSeesNothingOfWhatIsCounted(t *testing.T) {
	l := newTimeline(60, "gate")
	for k := range 9 {
		at := 3 + 6*float64(k)
		l.drive(at-1, at+0.05, 0.8)
		l.drive(at+1, at+1.5, 0.8)
		if k < 6 {
			l.block("gate", at, at+1.35)
		}
		l.out = append(l.out, at+1.45)
	}
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Faults, 1)
	f := r.Faults[0]
	assert.Equal(t, stuckFalse, f.Kind)
	assert.InDelta(t, 34.35, f.StartS, 0.1)
	assert.InDelta(t, 52.45, f.EndS, 0.1)
	assert.Len(t, r.Passes, 6)

	l.blocked["gate"] = l.blocked["gate"][:3] // most of the match
	r = Detect(l.input(), DefaultConfig())
	require.Len(t, r.Faults, 1)
	assert.InDelta(t, 16.35, r.Faults[0].StartS, 0.1)

	l.out = l.out[:5] // two may be counts that are none
	assert.Empty(t, Detect(l.input(), DefaultConfig()).Faults)
}

// Without commands a stage that was driven for a second in the whole match has its speed from
// that second, not from the noise of all others; one that never was has none.
func TestTheSpeedOfARollerThatHardlyTurned(t *testing.T) {
	for _, turned := range []bool{true, false} {
		l := newTimeline(150, fourStages...)
		if turned {
			l.usual(100)
		}
		l.lacks["command"] = true
		w := newWay(l.input(), DefaultConfig())
		for i, d := range w.drives {
			if turned {
				assert.InDelta(t, 0.8*60, d.topSpeed(), 2, "stage %d", i)
			} else {
				assert.True(t, math.IsNaN(d.topSpeed()), "stage %d", i)
				assert.Zero(t, d.clock.onward(0, 150_000_000)+d.clock.backward(0, 150_000_000), "stage %d", i)
			}
		}
	}
}

// In a long stretch without beams a roller that stands two stages behind the piece at the gate holds
// a piece of its own: there is room between them.
func TestAStandingRollerFarBehindThePieceAheadIsAJam(t *testing.T) {
	l := newTimeline(60, "mouth", "throat", "lift", "pocket", "gate")
	for _, n := range []string{"throat", "lift", "pocket"} {
		l.lacks[n+"/beam"] = true
	}
	for k := range 4 {
		l.usual(2 + 6*float64(k))
	}
	there := l.come(30, 1)
	l.leave(there, 50)
	l.block("mouth", 34, 34.25)
	l.drive(33.5, 37, 0.8, "mouth", "throat", "lift", "pocket")
	l.hold("lift", 35.2, 37)
	l.drive(37.2, 39.5, -0.8, "mouth", "throat", "lift", "pocket")
	l.block("mouth", 38.9, 39.2)
	in := l.input()
	out := Detect(in, DefaultConfig())
	checkJams(t, in, out, []expected{{stages: []string{"lift"}, start: 35.2, end: 37, how: "backed_out", cause: "locked"}})
}
