package path

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// shifted is an input with every time moved by d µs.
func shifted(in Input, d int64) Input {
	move := func(t []int64) []int64 {
		out := make([]int64, len(t))
		for i, v := range t {
			out[i] = v + d
		}
		return out
	}
	number := func(s *series.Float) *series.Float {
		if s == nil {
			return nil
		}
		return &series.Float{Name: s.Name, T: move(s.T), V: s.V}
	}
	out := in
	out.Stages = nil
	for _, st := range in.Stages {
		if st.Sensor != nil {
			st.Sensor = &series.Bool{Name: st.Sensor.Name, T: move(st.Sensor.T), V: st.Sensor.V}
		}
		st.Command, st.Current, st.Speed = number(st.Command), number(st.Current), number(st.Speed)
		out.Stages = append(out.Stages, st)
	}
	out.Release, out.Score, out.Voltage = number(in.Release), number(in.Score), number(in.Voltage)
	out.Start, out.End = in.Start+d, in.End+d
	out.Periods = nil
	for _, p := range in.Periods {
		p.StartS, p.EndS = p.StartS+schemas.Seconds(d), p.EndS+schemas.Seconds(d)
		out.Periods = append(out.Periods, p)
	}
	out.Gaps = nil
	for _, g := range in.Gaps {
		out.Gaps = append(out.Gaps, series.Interval{Start: g.Start + d, End: g.End + d})
	}
	return out
}

// shape is a result in JSON with every time in µs from start, so that two results are the
// same when their shapes are.
func shape(t require.TestingT, r Result, start int64) string {
	rel := func(s *float64) {
		if s != nil {
			*s = float64(schemas.Micros(*s) - start)
		}
	}
	for i := range r.Passes {
		p := &r.Passes[i]
		rel(p.EnterS)
		rel(p.LeaveS)
		seen := map[*float64]bool{p.EnterS: true, p.LeaveS: true}
		for k := range p.Stages {
			for _, s := range []*float64{p.Stages[k].EnterS, p.Stages[k].LeaveS, p.Stages[k].EnterEstS, p.Stages[k].LeaveEstS} {
				if !seen[s] {
					rel(s)
				}
			}
		}
	}
	for _, jams := range [][]schemas.Jam{r.Jams, r.Suspected} {
		for i := range jams {
			j := &jams[i]
			rel(&j.StartS)
			rel(&j.EndS)
			rel(j.StillS)
			rel(j.OnsetLowS)
			rel(j.OnsetHighS)
			j.Confidence = float64(int(j.Confidence*1e6)) / 1e6
			j.Weighed = nil
		}
	}
	for _, reasons := range [][]Reason{r.JamReasons, r.SuspectedReasons} {
		for i := range reasons { // where and when; the figures follow, to a rounding
			w := reasons[i]
			reasons[i] = Reason{Followed: w.Followed, Place: w.Place, Told: w.Told, Next: w.Next, CameS: w.CameS, WentS: w.WentS}
			rel(&reasons[i].CameS)
			rel(&reasons[i].WentS)
			if len(w.Considered) > 0 {
				first := w.Considered[0]
				rel(&first.AtS)
				first.Share = 0
				reasons[i].Considered = []schemas.Considered{first}
			}
		}
	}
	for i := range r.Faults {
		rel(&r.Faults[i].StartS)
		rel(&r.Faults[i].EndS)
	}
	for i := range r.Stages {
		if s := r.Stages[i].TransitS; s != nil {
			*s = float64(schemas.Micros(*s))
		}
	}
	b, err := json.Marshal(r)
	require.NoError(t, err)
	return string(b)
}

func small(t *rapid.T) Input {
	in, _, _ := play(settings{
		seed: rapid.Uint64Range(0, 1<<20).Draw(t, "seed"), stages: rapid.IntRange(1, 4).Draw(t, "stages"),
		hz: rapid.SampledFrom([]float64{20, 50, 100}).Draw(t, "hz"), jamRate: 0.1, cap: 2, long: 40,
		flicker: rapid.SampledFrom([]float64{0, 0.001}).Draw(t, "flicker"), drop: rapid.SampledFrom([]float64{0, 0.05}).Draw(t, "drop"),
	})
	return in
}

func TestShiftingTimeShiftsResults(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := small(t)
		d := rapid.Int64Range(-2_000_000_000, 2_000_000_000).Draw(t, "shift")
		in.Explain = true
		was := shape(t, Detect(in, DefaultConfig()), in.Start)
		got := shape(t, Detect(shifted(in, d), DefaultConfig()), in.Start+d)
		assert.JSONEq(t, was, got)
	})
}

// Times that lie between samples rest on the beam's glitch rate, which the padding teaches
// too: they stay within two samples, and starts within the range they are the middle of.
func TestQuietPaddingAddsNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := small(t)
		before := Detect(in, DefaultConfig())
		padded := in
		padded.Stages = nil
		lead := rapid.IntRange(1, 60).Draw(t, "seconds")
		for _, st := range in.Stages {
			if s := st.Sensor; s != nil && !s.V[0] {
				q := &series.Bool{Name: s.Name}
				step := series.Step(s.T)
				for k := int64(lead) * 1_000_000 / step; k > 0; k-- {
					q.T, q.V = append(q.T, s.T[0]-k*step), append(q.V, false)
				}
				q.T, q.V = append(q.T, s.T...), append(q.V, s.V...)
				st.Sensor = q
			}
			padded.Stages = append(padded.Stages, st)
		}
		padded.Start -= int64(lead) * 1_000_000
		sample := 0.0
		for _, st := range in.Stages {
			if st.Sensor != nil {
				sample = max(sample, schemas.Seconds(series.Step(st.Sensor.T)))
			}
		}
		after := Detect(padded, DefaultConfig())
		assert.Len(t, after.Passes, len(before.Passes))
		require.Len(t, after.Jams, len(before.Jams))
		for i := range after.Jams {
			assert.Equal(t, before.Jams[i].Stage, after.Jams[i].Stage)
			assert.InDelta(t, before.Jams[i].StartS, after.Jams[i].StartS, max(2*sample, 1e-3))
			assert.GreaterOrEqual(t, after.Jams[i].StartS, *before.Jams[i].OnsetLowS)
			assert.LessOrEqual(t, after.Jams[i].StartS, *before.Jams[i].OnsetHighS)
			assert.InDelta(t, before.Jams[i].EndS, after.Jams[i].EndS, max(2*sample, 1e-3))
		}
		assert.Len(t, after.Faults, len(before.Faults))
	})
}

// Whatever a log holds, Detect returns, and what it returns is sorted and lies in the log.
func TestAnythingLogged(t *testing.T) {
	number := func(t *rapid.T, name string, values []float64) *series.Float {
		if rapid.Bool().Draw(t, name+"?") {
			return nil
		}
		s := &series.Float{Name: name}
		at := int64(0)
		for range rapid.IntRange(0, 60).Draw(t, name+" samples") {
			at += rapid.Int64Range(1, 400_000).Draw(t, "step")
			s.T, s.V = append(s.T, at), append(s.V, rapid.SampledFrom(values).Draw(t, "value"))
		}
		return s
	}
	rapid.Check(t, func(t *rapid.T) {
		in := Input{Start: 0, End: 30_000_000}
		for i := range rapid.IntRange(0, 4).Draw(t, "stages") {
			st := Stage{Name: string(rune('a' + i))}
			if on := number(t, "beam", []float64{0, 1}); on != nil {
				st.Sensor = &series.Bool{Name: "beam", T: on.T}
				for _, v := range on.V {
					st.Sensor.V = append(st.Sensor.V, v > 0)
				}
			}
			st.Command = number(t, "command", []float64{0, 0, 1, 0.5, -1, 1e300})
			st.Current = number(t, "current", []float64{0, 5, 40, -3, 1e308})
			st.Speed = number(t, "speed", []float64{0, 100, -50, 1e-300})
			in.Stages = append(in.Stages, st)
		}
		in.Release, in.Score = number(t, "release", []float64{0, 1, 2, 1e9}), number(t, "score", []float64{0, 1, 5})
		in.Voltage = number(t, "volts", []float64{0, 12, 6, -1})
		if rapid.Bool().Draw(t, "gap") {
			in.Gaps = []series.Interval{{Start: 3_000_000, End: 5_000_000}}
		}
		if rapid.Bool().Draw(t, "periods") {
			in.Periods = []schemas.Period{{Name: "driver", StartS: 2, EndS: 9.5}}
		}
		out := Detect(in, DefaultConfig())
		for _, jams := range [][]schemas.Jam{out.Jams, out.Suspected} {
			for i, j := range jams {
				assert.LessOrEqual(t, 0.0, j.StartS)
				assert.LessOrEqual(t, j.StartS, j.EndS)
				assert.LessOrEqual(t, j.EndS, 30.0)
				assert.True(t, j.Confidence > 0 && j.Confidence < 1, "confidence %v", j.Confidence)
				if i > 0 {
					assert.LessOrEqual(t, jams[i-1].StartS, j.StartS, "sorted")
				}
			}
		}
		_, err := json.Marshal(out)
		assert.NoError(t, err, "no NaN and no infinity in the result")
		for i, p := range out.Passes {
			assert.Equal(t, i+1, p.Piece)
			assert.Len(t, p.Stages, len(in.Stages))
		}
	})
}
