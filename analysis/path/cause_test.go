package path

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a jam is called by is what its roller did for most of the time it was driven, and
// where the piece was.
func TestCauses(t *testing.T) {
	// stuck is a piece that stands between throat and lift from 14.9 to 18.9 s.
	stuck := func() *timeline {
		l := newTimeline(26, fourStages...).warm()
		l.drive(13.5, 19.55, 0.8)
		l.block("mouth", 14, 14.25)
		l.block("throat", 14.5, 14.75)
		l.block("lift", 19, 19.25)
		l.leave(19.5, 21)
		return l
	}
	// pair is two pieces, the first of which stands in front of the throat's beam from 14.65
	// to 17.15 s, and the second behind it, from when it came to the mouth.
	pair := func(second float64) *timeline {
		l := newTimeline(30, fourStages...).warm()
		l.drive(13.5, 18.05, 0.8)
		l.block("mouth", 14, 14.25)
		l.block("mouth", second, second+0.25)
		l.block("throat", 14.5, 17.25)
		l.hold("throat", 14.65, 17.15)
		l.block("throat", 17.28, 17.53)
		l.block("lift", 17.5, 17.75)
		l.block("lift", 17.78, 20.6)
		l.leave(18, 20)
		l.drive(20.2, 20.8, 0.8, "lift")
		l.leave(20.75, 22)
		return l
	}
	for _, c := range []struct {
		name  string
		line  func() *timeline
		cause string
	}{
		{"its roller stood", func() *timeline {
			l := stuck()
			l.hold("throat", 14.9, 18.9)
			return l
		}, "locked"},
		{"all rollers turned on", stuck, "slipping"},
		{"its roller stood for half of the time, where no beam sees the piece", func() *timeline {
			l := stuck()
			l.hold("throat", 14.9, 17)
			return l
		}, "between_beams"},
		{"a second piece came in contact and stood with it", func() *timeline { return pair(14.28) }, "wedged_pair"},
		{"a second piece ran up to it later", func() *timeline { return pair(15.6) }, "locked"},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := Detect(c.line().input(), DefaultConfig())
			require.Len(t, out.Jams, 1, "%v, suspected %v", told(out.Jams), told(out.Suspected))
			assert.Equal(t, c.cause, out.Jams[0].Cause)
		})
	}
}

// A sagging supply slows a roller as much as it is low (the speed of a d.c. motor is its
// voltage over its constant): that is no load.
func TestSagIsNoLoad(t *testing.T) {
	l := newTimeline(20, fourStages...).warm()
	l.volts = func(t float64) float64 {
		if t > 6 {
			return 8
		}
		return 12
	}
	in := l.input()
	d := readDrive(in.Stages[1], in, signalOf(in.Voltage), DefaultConfig())
	_, full, n := d.means(1_500_000, 3_500_000)
	require.Positive(t, n)
	_, low, n := d.means(9_500_000, 11_500_000)
	require.Positive(t, n)
	assert.InDelta(t, full, low, 0.03)
}
