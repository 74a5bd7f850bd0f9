package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// counter is a counter that starts at 0 at the second from and rises by one at each time
// given; a time given twice is a rise by two.
func counter(from float64, at ...float64) *series.Float {
	s := &series.Float{T: []int64{schemas.Micros(from)}, V: []float64{0}}
	for _, t := range at {
		n := len(s.T) - 1
		if s.T[n] == schemas.Micros(t) {
			s.V[n]++
			continue
		}
		s.T, s.V = append(s.T, schemas.Micros(t)), append(s.V, s.V[n]+1)
	}
	return s
}

func match() Input {
	return Input{
		Periods: []schemas.Period{{Name: "autonomous", StartS: 0, EndS: 20}, {Name: "driver", StartS: 23, EndS: 60}},
		Modes: []schemas.Period{
			{Name: "disabled", StartS: -30, EndS: 0},
			{Name: "autonomous", StartS: 0, EndS: 20},
			{Name: "disabled", StartS: 20, EndS: 23},
			{Name: "driver", StartS: 23, EndS: 60},
			{Name: "disabled", StartS: 60, EndS: 70},
		},
		Start: -30_000_000, End: 70_000_000,
	}
}

type short struct {
	kind, period string
	start, end   float64
	pieces       int
	complete     bool
}

func shorts(all []schemas.Cycle) (out []short) {
	for _, c := range all {
		out = append(out, short{c.Kind, c.Period, c.StartS, c.EndS, c.Pieces, c.Complete})
	}
	return out
}

// The rules of the report's format for what a cycle is, one by one.
func TestWhatACycleIs(t *testing.T) {
	const a, d = "autonomous", "driver"
	whole := func(period string, start, end float64, pieces int) short {
		return short{"score", period, start, end, pieces, true}
	}
	cutOff := func(period string, start, end float64) short { return short{"score", period, start, end, 0, false} }
	for name, c := range map[string]struct {
		score *series.Float
		want  []short
	}{
		"score to score in each period": {
			counter(-30, 5, 12, 30, 41),
			[]short{whole(a, 0, 5, 1), whole(a, 5, 12, 1), cutOff(a, 12, 20), whole(d, 23, 30, 1), whole(d, 30, 41, 1), cutOff(d, 41, 60)},
		},
		"no score at all": {counter(-30), []short{cutOff(a, 0, 20), cutOff(d, 23, 60)}},
		"two at one moment": {
			counter(-30, 30, 30, 41),
			[]short{cutOff(a, 0, 20), whole(d, 23, 30, 2), whole(d, 30, 41, 1), cutOff(d, 41, 60)},
		},
		"late, within three seconds": {
			counter(-30, 22.9, 63),
			[]short{whole(a, 0, 22.9, 1), whole(d, 23, 63, 1)},
		},
		"too late": {
			counter(-30, 63.01),
			[]short{cutOff(a, 0, 20), cutOff(d, 23, 60)},
		},
		"before the match": {counter(-30, -5), []short{cutOff(a, 0, 20), cutOff(d, 23, 60)}},
		"at the very end":  {counter(-30, 60), []short{cutOff(a, 0, 20), whole(d, 23, 60, 1)}},
		"at the very start of the driver period": {
			counter(-30, 23),
			[]short{cutOff(a, 0, 20), whole(d, 23, 23, 1), cutOff(d, 23, 60)},
		},
		"a reset scores nothing": {
			&series.Float{T: []int64{0, 30e6, 35e6, 40e6}, V: []float64{7, 8, 0, 1}},
			[]short{cutOff(a, 0, 20), whole(d, 23, 30, 1), whole(d, 30, 40, 1), cutOff(d, 40, 60)},
		},
		"the first sample is no score": {
			&series.Float{T: []int64{30e6, 35e6}, V: []float64{3, 4}},
			[]short{cutOff(a, 0, 20), whole(d, 23, 35, 1), cutOff(d, 35, 60)},
		},
	} {
		in := match()
		in.Score = c.score
		got := Detect(in, DefaultConfig()).Cycles
		assert.Equal(t, c.want, shorts(got), name)
		for _, c := range got {
			assert.InDelta(t, c.EndS-c.StartS, c.DurationS, 1e-9)
			assert.False(t, c.Slow, "too few to know")
		}
	}
}

func TestHandoverIsARowOfItsOwn(t *testing.T) {
	in := match()
	in.Score, in.Handover = counter(-30, 30, 50), counter(-30, 36, 42, 42, 55, 65)
	got := shorts(Detect(in, DefaultConfig()).Cycles)
	assert.Equal(t, []short{
		{"score", "autonomous", 0, 20, 0, false},
		{"score", "driver", 23, 30, 1, true},
		{"handover", "driver", 30, 36, 1, true},
		{"handover", "driver", 36, 42, 2, true},
		{"score", "driver", 30, 50, 1, true},
		{"handover", "driver", 50, 55, 1, true},
		{"score", "driver", 50, 60, 0, false},
	}, got)
}

func TestScoresInNoPeriodAreSaid(t *testing.T) {
	in := match()
	in.Score = counter(-30, -5, 64, 64)
	assert.Equal(t, []string{
		"1 piece scored at -5.0 s, in no period: not counted",
		"2 pieces scored at 64.0 s, in no period: not counted",
	}, Detect(in, DefaultConfig()).Notes)
}

// What follows a match at once may be the next one's autonomous: not disabled, not ours.
func TestALateScoreIsOneWhileDisabled(t *testing.T) {
	in := match()
	in.Modes[4] = schemas.Period{Name: "autonomous", StartS: 60, EndS: 70}
	in.Score = counter(-30, 61)
	assert.False(t, Detect(in, DefaultConfig()).Cycles[1].Complete)
}

func TestWithoutPeriodsOrCounter(t *testing.T) {
	in := Input{Score: counter(0, 10, 20), End: 30_000_000}
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []short{
		{"score", "driver", 0, 10, 1, true}, {"score", "driver", 10, 20, 1, true}, {"score", "driver", 20, 30, 0, false},
	}, shorts(r.Cycles))
	require.Len(t, r.Notes, 1)
	assert.Contains(t, r.Notes[0], "the whole log counts as one driver period")
	for _, none := range []*series.Float{nil, {}} {
		r = Detect(Input{Score: none, Periods: in.Periods}, DefaultConfig())
		assert.Empty(t, r.Cycles)
		assert.Len(t, r.Notes, 1)
	}
}
