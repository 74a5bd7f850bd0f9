package path

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// expected is a jam by its stage (either of two when it stood between them) and times.
type expected struct {
	stages     []string
	start, end float64
	slack      float64 // s; 0.2 when left out
	how        string
	cause      string
}

var fourStages = []string{"mouth", "throat", "lift", "gate"}

// The sentences of the definitions of pass and jam, one case or more for each.
func TestJamsByDefinition(t *testing.T) {
	cases := []struct {
		name    string
		line    func() *timeline
		jams    []expected
		faults  []string
		outcome string // of the fourth pass, that of the case
		passes  int    // 4 when left out
	}{
		{name: "usual passes are no jams", line: func() *timeline {
			l := newTimeline(20, fourStages...).warm()
			l.usual(14)
			return l
		}, outcome: "released"},
		{name: "stuck in front of a beam, roller held: starts when progress stopped, ends when it moves on", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 18.05, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 14.75+2.5) // stopped from 14.65 to 17.15
			l.hold("throat", 14.65, 17.15)
			l.block("lift", 15+2.5, 15.25+2.5)
			l.leave(15.5+2.5, 20)
			return l
		}, jams: []expected{{stages: []string{"throat"}, start: 14.65, end: 17.15, how: "moved_on", cause: "locked"}}, outcome: "released"},
		{name: "the same while the roller slips", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 18.05, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 17.25)
			l.block("lift", 17.5, 17.75)
			l.leave(18, 20)
			return l
		}, jams: []expected{{stages: []string{"throat"}, start: 14.65, end: 17.15, how: "moved_on", cause: "slipping"}}, outcome: "released"},
		{name: "held by the next stage, which is not driven, while its tail lies in the beam of one that is", line: func() *timeline {
			l := newTimeline(28, fourStages...).warm()
			l.drive(13.5, 14.2, 0.8)
			l.drive(14.2, 20, 0.8, "mouth")
			l.block("mouth", 14, 20.05)
			l.drive(20, 21.35, 0.8)
			l.block("throat", 20.3, 20.55)
			l.block("lift", 20.8, 21.05)
			l.leave(21.3, 23)
			return l
		}, outcome: "released"},
		{name: "held so, and stuck as soon as it goes on", line: func() *timeline {
			l := newTimeline(30, fourStages...).warm()
			l.drive(13.5, 14.2, 0.8)
			l.drive(14.2, 18, 0.8, "mouth")
			l.block("mouth", 14, 18.05)
			l.drive(18, 22.35, 0.8)
			l.hold("throat", 18.1, 21.1)
			l.block("throat", 21.3, 21.55)
			l.block("lift", 21.8, 22.05)
			l.leave(22.3, 24)
			return l
		}, jams: []expected{{stages: []string{"mouth", "throat"}, start: 18.1, end: 21.1, how: "moved_on", cause: "locked"}}, outcome: "released"},
		{name: "between two sensors", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 19.55, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 14.75)
			l.block("lift", 19, 19.25)
			l.leave(19.5, 21)
			return l
		}, jams: []expected{{stages: []string{"throat", "lift"}, start: 14.9, end: 18.9, how: "moved_on"}}, outcome: "released"},
		{name: "a stop under 0.3 s is no jam", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 15.75, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 14.95)
			l.hold("throat", 14.6, 14.8)
			l.block("lift", 15.2, 15.45)
			l.leave(15.7, 18)
			return l
		}, outcome: "released"},
		{name: "a stop of 0.5 s is one", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 16.05, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 15.25)
			l.hold("throat", 14.6, 15.1)
			l.block("lift", 15.5, 15.75)
			l.leave(16, 18)
			return l
		}, jams: []expected{{stages: []string{"throat"}, start: 14.6, end: 15.1, how: "moved_on"}}, outcome: "released"},
		{name: "the log ends first: not cleared, ends with the last sample", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 24, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 99)
			l.hold("throat", 14.65, 99)
			return l
		}, jams: []expected{{stages: []string{"throat"}, start: 14.65, end: 26, slack: 0.2}}, outcome: "jammed"},
		{name: "cleared by running back: out at the mouth", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 17, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 17.6)
			l.hold("throat", 14.65, 17)
			l.drive(17.5, 18.6, -0.8)
			l.block("mouth", 17.85, 18.1)
			return l
		}, jams: []expected{{stages: []string{"throat"}, start: 14.65, end: 17.5, how: "backed_out"}}, outcome: "backed_out"},
		{name: "out of the mouth, which runs on, and waiting for a stage that is not driven", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 21.3, 0.8, "mouth")
			l.drive(13.5, 14.28, 0.8, "throat", "lift", "gate")
			l.block("mouth", 14, 14.25)
			l.drive(20, 21.3, 0.8, "throat", "lift", "gate")
			l.block("throat", 20.25, 20.5)
			l.block("lift", 20.75, 21)
			l.leave(21.25, 23)
			return l
		}, outcome: "released"},
		{name: "reversed in vain twice, and freed by the third time", line: func() *timeline {
			l := newTimeline(30, fourStages...).warm()
			l.lacks["current"], l.lacks["speed"] = true, true
			l.drive(13.5, 22, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 14.75)
			l.drive(17, 17.3, -0.8)
			l.drive(19, 19.3, -0.8)
			l.drive(21, 22, -0.8)
			l.block("throat", 21.08, 21.33)
			l.block("mouth", 21.58, 21.83)
			return l
		}, jams: []expected{{stages: []string{"throat", "lift"}, start: 14.85, end: 21, how: "backed_out"}}, outcome: "backed_out"},
		{name: "just past a beam, and back at it as soon as it is reversed", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 19, 0.8)
			l.block("mouth", 14, 14.25)
			l.drive(19, 20, -0.8)
			l.block("mouth", 19.1, 19.35)
			return l
		}, jams: []expected{{stages: []string{"mouth", "throat"}, start: 14.4, end: 19, how: "backed_out"}}, outcome: "backed_out"},
		{name: "straight through the gate, where others came to rest half out of its beam", line: func() *timeline {
			l := newTimeline(32, fourStages...)
			for k, t := range []float64{2, 8, 14, 20} {
				for i, n := range fourStages[:3] {
					l.block(n, t+0.7*float64(i), t+0.7*float64(i)+0.6)
				}
				there, gone := t+2.1, t+2.1+0.6
				if k < 3 { // it stops, and is half out when the roller has come to rest
					gone = there + 1.1
					l.drive(t-0.5, there+0.05, 0.8)
					l.drive(there+1, there+1.4, 0.8, "gate")
				} else {
					l.drive(t-0.5, gone+0.5, 0.8)
				}
				l.block("gate", there, gone)
				l.out = append(l.out, gone+0.1)
			}
			return l
		}, outcome: "released"},
		{name: "driven back for a moment on its way", line: func() *timeline {
			l := newTimeline(26, fourStages...).warm()
			l.drive(13.5, 16.33, 0.8)
			l.drive(14.7, 15.05, -0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 15.02) // a fifth of a second in; rollers need a moment to turn
			l.block("throat", 15.18, 15.45)
			l.block("lift", 15.7, 15.95)
			l.leave(16.2, 18)
			return l
		}, outcome: "released"},
		{name: "one stuck piece is one jam however often the driver stops and reverses", line: func() *timeline {
			l := newTimeline(30, fourStages...).warm()
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 24.15)
			l.hold("throat", 14.65, 24.05)
			for _, t := range []float64{13.5, 17.5, 20.5} {
				l.drive(t, t+2, 0.8)
			}
			l.drive(23.5, 24.95, 0.8)
			for _, t := range []float64{16, 19.6, 22.6} {
				l.drive(t, t+0.5, -0.8)
			}
			l.block("lift", 24.4, 24.65)
			l.leave(24.9, 26)
			return l
		}, jams: []expected{{stages: []string{"throat"}, start: 14.65, end: 24.05, how: "moved_on"}}, outcome: "released"},
		{name: "taken out by hand after the match", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			l.periods = []schemas.Period{{Name: "driver", StartS: 0.5, EndS: 20}}
			l.drive(13.5, 20, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 33)
			l.hold("throat", 14.65, 33)
			return l
		}, jams: []expected{{stages: []string{"throat"}, start: 14.65, end: 33, how: "taken_out"}}, outcome: "jammed"},
		{name: "held on purpose in front of a beam", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			l.drive(13.5, 14.6, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 30.15)
			l.drive(30, 31.05, 0.8)
			l.block("lift", 30.4, 30.65)
			l.leave(30.9, 32)
			return l
		}, outcome: "released"},
		{name: "held on purpose between beams", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			l.drive(13.5, 14.85, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 14.75)
			l.drive(30, 31, 0.8)
			l.block("lift", 30.15, 30.4)
			l.leave(30.65, 32)
			return l
		}, outcome: "released"},
		{name: "waits at the last stage, not driven", line: func() *timeline {
			l := newTimeline(60, fourStages...).warm()
			there := l.come(14, 1)
			l.leave(there, 50)
			return l
		}, outcome: "released"},
		{name: "waits at the last stage, pressed with a small command", line: func() *timeline {
			l := newTimeline(60, fourStages...).warm()
			there := l.come(14, 1)
			l.drive(there+0.05, 50, 0.1, "gate")
			l.hold("gate", there+0.1, 50)
			l.leave(there, 50)
			return l
		}, outcome: "released"},
		{name: "driven to release and not leaving", line: func() *timeline {
			l := newTimeline(60, fourStages...).warm()
			there := l.come(14, 1)
			l.drive(20, 24, 0.8, "gate")
			l.hold("gate", 20.1, 24)
			l.leave(there, 30)
			return l
		}, jams: []expected{{stages: []string{"gate"}, start: 20.1, end: 30.1, cause: "at_gate"}}, outcome: "released"},
		{name: "still inside at the end, held", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			there := l.come(14, 1)
			l.block("gate", there, 99)
			return l
		}, outcome: "held"},
		{name: "backs out of the mouth", line: func() *timeline {
			l := newTimeline(20, fourStages...).warm()
			l.drive(13.5, 14.1, 0.8)
			l.drive(14.2, 15, -0.8)
			l.block("mouth", 14, 14.4)
			return l
		}, outcome: "backed_out"},
		{name: "a beam that flickers while pieces pass", line: func() *timeline {
			l := newTimeline(30, fourStages...).warm()
			for i := range 40 {
				at := 13.05 + 0.13*float64(i)
				l.block("throat", at, at+0.01)
			}
			l.usual(14)
			l.usual(20)
			return l
		}, faults: []string{"throat/beam flicker"}, outcome: "released", passes: 5},
		{name: "chatter as a piece comes and goes does not move its times", line: func() *timeline {
			l := newTimeline(20, fourStages...).warm()
			l.usual(14)
			l.blocked["throat"][3].from += 0.02
			l.block("throat", 14.5, 14.51)
			l.blocked["throat"][3].to -= 0.02
			l.block("throat", 14.74, 14.75)
			return l
		}, outcome: "released"},
		{name: "a beam stuck true while pieces pass", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			for _, t := range []float64{14, 20, 26} {
				l.usual(t)
			}
			l.block("throat", 14.5, 36)
			return l
		}, faults: []string{"throat/beam stuck true"}, outcome: "released", passes: 6},
		{name: "the mouth's beam stuck true while pieces pass", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			for _, t := range []float64{16, 22, 28} {
				l.usual(t)
			}
			l.block("mouth", 13, 36)
			return l
		}, faults: []string{"mouth/beam stuck true"}, outcome: "released", passes: 6},
		{name: "a beam stuck false", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			for _, t := range []float64{14, 20, 26} {
				l.usual(t)
			}
			l.blocked["lift"] = l.blocked["lift"][:3]
			return l
		}, faults: []string{"lift/beam stuck false"}, outcome: "released", passes: 6},
		{name: "a thin piece missed by one beam", line: func() *timeline {
			l := newTimeline(30, fourStages...).warm()
			l.usual(14)
			l.usual(20)
			l.blocked["throat"] = append(l.blocked["throat"][:3], l.blocked["throat"][4:]...)
			return l
		}, outcome: "released", passes: 5},
		{name: "two pieces in the path, the second stuck", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			there := l.come(14, 1)
			l.drive(14.5, 21, 0.8, "mouth", "throat", "lift")
			l.block("mouth", 15.1, 18.35)
			l.hold("mouth", 15.2, 18.2)
			l.block("throat", 18.6, 18.85)
			l.block("lift", 19.1, 22.15)
			l.drive(19.2, 22, 0, "lift")
			l.leave(there, 21.5)
			l.drive(22, 22.55, 0.8)
			l.leave(22.4, 24)
			return l
		}, jams: []expected{{stages: []string{"mouth"}, start: 15.2, end: 18.2, how: "moved_on"}}, outcome: "released", passes: 5},
		{name: "a gap in the log in mid-pass", line: func() *timeline {
			l := newTimeline(30, fourStages...).warm()
			l.silent = []span{{14.6, 17.1}}
			l.drive(13.5, 17.55, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 14.8)
			l.block("lift", 17, 17.25)
			l.leave(17.5, 19)
			return l
		}, outcome: "released"},
		{name: "a weak battery slows all stages", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			l.volts = func(t float64) float64 {
				if t > 13 {
					return 7.2
				}
				return 12
			}
			for _, t := range []float64{14, 22, 30} {
				there := l.come(t, 0.6)
				l.leave(there, there+1)
			}
			return l
		}, outcome: "released", passes: 6},
		{name: "power lost for a second: rollers stand but draw nothing", line: func() *timeline {
			l := newTimeline(30, fourStages...).warm()
			l.dead = []span{{14.6, 15.6}}
			l.drive(13.5, 16.65, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 15.8)
			l.block("lift", 16.1, 16.35)
			l.leave(16.6, 18)
			return l
		}, outcome: "released"},
		{name: "a command that stays on while the robot is disabled", line: func() *timeline {
			l := newTimeline(40, fourStages...).warm()
			l.periods = []schemas.Period{{Name: "driver", StartS: 0.5, EndS: 14.6}}
			l.drive(13.5, 99, 0.8)
			l.block("mouth", 14, 14.25)
			l.block("throat", 14.5, 99)
			return l
		}, outcome: "held"},
		{name: "a piece in the path before the log begins", line: func() *timeline {
			l := newTimeline(20, fourStages...)
			l.leave(-5, 1)
			for _, t := range []float64{4, 8, 12} {
				l.usual(t)
			}
			return l
		}, outcome: "released"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			in := c.line().input()
			out := Detect(in, DefaultConfig())
			checkJams(t, in, out, c.jams)
			var faults []string
			for _, f := range out.Faults {
				faults = append(faults, f.Signal+" "+f.Kind)
			}
			assert.Equal(t, c.faults, faults)
			want := c.passes
			if want == 0 {
				want = 4
			}
			require.Len(t, out.Passes, want, "passes")
			assert.Equal(t, c.outcome, out.Passes[3].Outcome)
		})
	}
}

// Nothing says how long a piece usually takes where the only one jams, or every one: the
// roller that is seen to stand does.
func TestARollerThatStandsIsSeenWithoutAUsualPass(t *testing.T) {
	for _, times := range [][]float64{{14}, {4, 14, 24, 34}} {
		l := newTimeline(times[len(times)-1]+12, fourStages...)
		var want []expected
		for _, at := range times {
			l.drive(at-0.5, at+4.05, 0.8)
			l.block("mouth", at, at+0.25)
			l.block("throat", at+0.5, at+3.25)
			l.hold("throat", at+0.65, at+3.15)
			l.block("lift", at+3.5, at+3.75)
			l.leave(at+4, at+5)
			want = append(want, expected{stages: []string{"throat"}, start: at + 0.65, end: at + 3.15})
		}
		in := l.input()
		checkJams(t, in, Detect(in, DefaultConfig()), want)
	}
}

// checkJams compares what was found with what was laid down.
func checkJams(t *testing.T, in Input, out Result, want []expected) {
	t.Helper()
	if !assert.Len(t, out.Jams, len(want), "jams; suspected: %v", told(out.Suspected)) {
		t.Log(told(out.Jams))
		return
	}
	for i, w := range want {
		got := out.Jams[i]
		slack := w.slack
		if slack == 0 {
			slack = 0.2
		}
		assert.Contains(t, w.stages, got.Stage)
		assert.InDelta(t, w.start, got.StartS, slack, "start")
		assert.InDelta(t, w.end, got.EndS, slack, "end")
		assert.LessOrEqual(t, *got.OnsetLowS, got.StartS)
		assert.GreaterOrEqual(t, *got.OnsetHighS, got.StartS)
		if w.how != "" {
			assert.Equal(t, w.how, got.How)
		}
		if w.cause != "" {
			assert.Equal(t, w.cause, got.Cause)
		}
		if last := schemas.Seconds(in.End); w.end >= last-0.1 {
			assert.False(t, got.Cleared)
			assert.Equal(t, last, got.EndS, "ends with the last sample")
			assert.Empty(t, got.How)
		} else {
			assert.True(t, got.Cleared)
		}
	}
}

func told(jams []schemas.Jam) (out []string) {
	for _, j := range jams {
		out = append(out, fmt.Sprintf("%s %.2f to %.2f, %.2f, %s %s, %v", j.Stage, j.StartS, j.EndS, j.Confidence, j.Cause, j.How, j.Weighed))
	}
	return out
}
