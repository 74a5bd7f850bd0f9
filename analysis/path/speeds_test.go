package path

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// A robot may be five times as slow as the one of the other cases, or four times as fast:
// what is usual is learned from its own log.
func TestSlowAndFastRobots(t *testing.T) {
	for _, speed := range []float64{0.2, 0.5, 2, 4} {
		t.Run(fmt.Sprintf("%.1f times", speed), func(t *testing.T) {
			l := newTimeline(90, fourStages...)
			l.hz = 200
			at := 2.0
			for range 4 {
				there := l.come(at, speed)
				l.leave(there, there+1)
				at = there + 4
			}
			stood := 2 / min(speed, 1)
			l.drive(at-0.5, at+3*apart/speed+stood+0.05, 0.8)
			l.block("mouth", at, at+dwell/speed)
			in1 := at + apart/speed
			l.block("throat", in1, in1+dwell/speed+stood)
			l.block("lift", in1+apart/speed+stood, in1+apart/speed+dwell/speed+stood)
			l.leave(in1+2*apart/speed+stood, in1+2*apart/speed+stood+1)
			in := l.input()
			out := Detect(in, DefaultConfig())
			start := in1 + dwell/speed/2
			checkJams(t, in, out, []expected{{stages: []string{"throat"}, start: start, end: start + stood, slack: max(0.2, 0.3/speed), how: "moved_on"}})
			assert.Len(t, out.Passes, 5)
		})
	}
}

// onChange keeps of a signal only the samples that say something new.
func onChange(s *series.Float) *series.Float {
	out := &series.Float{Name: s.Name}
	for i := range s.T {
		if i == 0 || s.V[i] != s.V[i-1] {
			out.T, out.V = append(out.T, s.T[i]), append(out.V, s.V[i])
		}
	}
	return out
}

// A logger that writes a signal only when it changes tells the same.
func TestOnChangeLogs(t *testing.T) {
	for _, s := range situations {
		t.Run(s.name, func(t *testing.T) {
			in := s.line().input()
			full := Detect(in, DefaultConfig())
			sparse := in
			sparse.Stages = nil
			for _, st := range in.Stages {
				b := &series.Bool{Name: st.Sensor.Name}
				for i, v := range st.Sensor.V {
					if i == 0 || v != st.Sensor.V[i-1] {
						b.T, b.V = append(b.T, st.Sensor.T[i]), append(b.V, v)
					}
				}
				st.Sensor, st.Command = b, onChange(st.Command)
				sparse.Stages = append(sparse.Stages, st)
			}
			sparse.Release = onChange(in.Release)
			out := Detect(sparse, DefaultConfig())
			require.Len(t, out.Jams, len(full.Jams), "suspected: %v", told(out.Suspected))
			for i, j := range out.Jams {
				assert.Equal(t, full.Jams[i].Stage, j.Stage)
				assert.InDelta(t, full.Jams[i].StartS, j.StartS, 0.05)
				assert.InDelta(t, full.Jams[i].EndS, j.EndS, 0.05)
			}
			require.Len(t, out.Passes, len(full.Passes))
			for i, p := range out.Passes {
				assert.Equal(t, full.Passes[i].Outcome, p.Outcome)
				for k, st := range p.Stages {
					assert.Equal(t, full.Passes[i].Stages[k].EnterS, st.EnterS)
					assert.Equal(t, full.Passes[i].Stages[k].LeaveS, st.LeaveS)
				}
			}
		})
	}
}

// Passes hold to the sample: the first sample blocked, the first clear one after.
func TestPassTimesHoldToTheSample(t *testing.T) {
	for _, hz := range []float64{20, 100, 1000} {
		l := newTimeline(20, fourStages...).warm()
		l.hz = hz
		l.usual(14)
		in := l.input()
		out := Detect(in, DefaultConfig())
		require.Len(t, out.Passes, 4)
		for k, st := range in.Stages {
			runs := st.Sensor.Runs(in.End)
			require.Len(t, runs, 4)
			for i, r := range runs {
				got := out.Passes[i].Stages[k]
				assert.Equal(t, schemas.Seconds(r.Start), *got.EnterS)
				assert.Equal(t, schemas.Seconds(r.End), *got.LeaveS)
			}
		}
	}
}

// Beams that read at random, and a count of releases that does, are said to and not believed.
func TestStormOfReadings(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 3))
	in := newTimeline(150, fourStages...).warm().input()
	for i := range in.Stages {
		for k := range in.Stages[i].Sensor.V {
			in.Stages[i].Sensor.V[k] = rnd.IntN(2) == 0
		}
	}
	for k := range in.Release.V {
		in.Release.V[k] = float64(rnd.IntN(2))
	}
	out := Detect(in, DefaultConfig())
	assert.Empty(t, out.Jams)
	assert.NotEmpty(t, out.Notes, "the count of releases was left out")
	flickering := 0
	for _, f := range out.Faults {
		if f.Kind == "flicker" {
			flickering++
		}
	}
	assert.Equal(t, len(in.Stages), flickering, "%v", out.Faults)
	assert.Len(t, out.Faults, flickering)
}
