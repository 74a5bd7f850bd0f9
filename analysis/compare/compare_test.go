package compare

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// passes is a match in which piece k comes to the mouth at 10 k s and leaves 2 s later; the
// roller turns at speed(k, seconds since it came), read every step µs.
func passes(n int, step int64, speed func(piece int, after float64) float64) Match {
	s := &series.Float{Name: "path/mouth/speed"}
	beam := &series.Bool{Name: "path/mouth/beam", T: []int64{0}, V: []bool{false}}
	var m Match
	for k := 1; k <= n; k++ {
		came := int64(10_000_000 * k)
		p := schemas.Pass{Piece: k, Outcome: schemas.PassReleased, EnterS: schemas.Some(schemas.Seconds(came)), LeaveS: schemas.Some(schemas.Seconds(came) + 2)}
		p.Stages = []schemas.StagePass{{Stage: "mouth", EnterS: schemas.Some(schemas.Seconds(came)), LeaveS: schemas.Some(schemas.Seconds(came) + 0.3)}}
		m.Passes = append(m.Passes, p)
		for t := came - 2_000_000; t < came+4_000_000; t += step {
			s.T, s.V = append(s.T, t), append(s.V, speed(k, schemas.Seconds(t-came)))
		}
		beam.T, beam.V = append(beam.T, came, came+300_000), append(beam.V, true, false)
	}
	m.Stages = []path.Stage{{Name: "mouth", Sensor: beam, Speed: s}}
	m.End = int64(10_000_000*n + 10_000_000)
	return m
}

func of(t *testing.T, c *schemas.Comparison, role string) schemas.ComparedSignal {
	t.Helper()
	i := slices.IndexFunc(c.Signals, func(s schemas.ComparedSignal) bool { return s.Role == role })
	require.GreaterOrEqual(t, i, 0, role)
	return c.Signals[i]
}

// Eleven passes at 100, 101 ... 110 rad/s: the median is 105, and by the type 7 rule the 10 %
// point of eleven values is the second smallest, 101.
func TestBandOfKnownPasses(t *testing.T) {
	m := passes(12, 10_000, func(piece int, after float64) float64 {
		if piece == 12 {
			if after >= 1 {
				return 50 // it slows down a second after it came
			}
			return 105
		}
		return 99 + float64(piece)
	})
	c, err := Pass(Input{Match: m, Piece: 12}, DefaultConfig())
	require.NoError(t, err)
	assert.Len(t, c.Passes, 11)
	assert.Equal(t, "mouth", c.Stage)
	assert.InDelta(t, 120, c.EnterS, 1e-9)
	s := of(t, c, "speed")
	for k, at := range c.TimeS {
		require.Equal(t, 11, s.Count[k], at)
		assert.InDelta(t, 105, s.Median[k], 1e-9)
		assert.InDelta(t, 101, s.Low[k], 1e-9)
		assert.InDelta(t, 109, s.High[k], 1e-9)
	}
	require.Len(t, s.Leaves, 1)
	assert.Equal(t, "below", s.Leaves[0].Side)
	assert.InDelta(t, 1, s.Leaves[0].StartS, 0.021)
	assert.InDelta(t, 2.5, s.Leaves[0].EndS, 0.021, "until half a second after it left")
	assert.InDelta(t, 101-50, s.Leaves[0].By, 1e-9)
	beam := of(t, c, "beam")
	assert.Empty(t, beam.Leaves)
	assert.InDelta(t, 1, beam.Median[slices.Index(c.TimeS, 0)], 0, "blocked from the first sample on")
}

// Against a computation from scratch: for every point, every pass by itself, held by search
// from the end, sorted, and the points of the sorted values between two neighbours.
func TestBandAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 9).Draw(t, "passes")
		step := rapid.SampledFrom([]int64{7_000, 20_000, 50_000, 330_000}).Draw(t, "step")
		seed := rapid.Float64Range(1, 9).Draw(t, "wobble")
		m := passes(n, step, func(piece int, after float64) float64 {
			return 100 + 10*math.Sin(seed*float64(piece)+3*after)
		})
		gap := series.Interval{Start: 10_400_000, End: 10_900_000} // hides part of the first pass
		m.Gaps = []series.Interval{gap}
		cfg := DefaultConfig()
		c, err := Pass(Input{Match: m, Piece: n}, cfg)
		require.NoError(t, err)
		got := c.Signals[1]
		speed := m.Stages[0].Speed
		hold := max(3*step, 200_000)
		for k, at := range c.TimeS {
			var v []float64
			for piece := 1; piece < n; piece++ {
				when := int64(10_000_000*piece) + schemas.Micros(at)
				if when > int64(10_000_000*piece)+2_500_000 || when > gap.Start && when < gap.End {
					continue
				}
				for i := len(speed.T) - 1; i >= 0; i-- {
					if speed.T[i] <= when {
						if when-speed.T[i] <= hold {
							v = append(v, speed.V[i])
						}
						break
					}
				}
			}
			require.Equal(t, len(v), got.Count[k], "at %g", at)
			if len(v) < cfg.Fewest {
				require.True(t, math.IsNaN(got.Median[k]) && math.IsNaN(got.Low[k]) && math.IsNaN(got.High[k]))
				continue
			}
			slices.Sort(v)
			point := func(p float64) float64 {
				h := p * float64(len(v)-1)
				i := int(h)
				if i+1 == len(v) {
					return v[i]
				}
				return v[i] + (h-float64(i))*(v[i+1]-v[i])
			}
			require.InDelta(t, point(0.5), got.Median[k], 1e-9)
			require.InDelta(t, point(0.1), got.Low[k], 1e-9)
			require.InDelta(t, point(0.9), got.High[k], 1e-9)
		}
	})
}

// A jammed, a backed-out and a held pass are no yardstick, and an earlier match counts.
func TestWhichPassesAreGood(t *testing.T) {
	flat := func(int, float64) float64 { return 100 }
	m, before := passes(8, 20_000, flat), passes(3, 20_000, flat)
	before.Name = "millbrook-open/q3"
	piece := 4
	m.Jams = []schemas.Jam{{Stage: "mouth", Piece: &piece, StartS: 41, EndS: 41.5}}
	m.Passes[4].Outcome = schemas.PassBackedOut
	m.Passes[5].LeaveS, m.Passes[5].Outcome = nil, schemas.PassHeld
	m.Passes[6].Stages[0].EnterS = nil // its beam missed it
	c, err := Pass(Input{Match: m, Piece: 8, Earlier: []Match{before}}, DefaultConfig())
	require.NoError(t, err)
	var got []string
	for _, p := range c.Passes {
		got = append(got, p.Match+" "+string(rune('0'+p.Piece)))
	}
	assert.Equal(t, []string{"millbrook-open/q3 1", "millbrook-open/q3 2", "millbrook-open/q3 3", " 1", " 2", " 3"}, got)
}

func TestPassesThatCannotBeCompared(t *testing.T) {
	m := passes(3, 20_000, func(int, float64) float64 { return 100 })
	m.Stages = append(m.Stages, path.Stage{Name: "lift"})
	m.Passes[1].Stages[0].EnterS = nil
	for _, c := range []struct {
		piece int
		at    string
		says  string
	}{
		{9, "", "no piece 9: the match has 1 to 3"},
		{1, "lift", `piece 1 was not seen to come to stage "lift": use mouth`},
		{1, "lfit", `piece 1 was not seen to come to stage "lfit": use mouth`},
		{2, "", "no beam saw piece 2 come"},
	} {
		_, err := Pass(Input{Match: m, Piece: c.piece, At: c.at}, DefaultConfig())
		var wrong *PassError
		require.True(t, errors.As(err, &wrong), c.says)
		assert.Contains(t, err.Error(), c.says)
	}
	_, err := Pass(Input{Piece: 1}, DefaultConfig())
	assert.ErrorContains(t, err, "the match has no passes")
}

// What is not known is null, there and back.
func TestGapsAreNull(t *testing.T) {
	m := passes(2, 20_000, func(int, float64) float64 { return 100 })
	c, err := Pass(Input{Match: m, Piece: 2}, DefaultConfig())
	require.NoError(t, err)
	text, err := json.Marshal(c)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"median":[null,null`, "one good pass is no band")
	var back schemas.Comparison
	require.NoError(t, json.Unmarshal(text, &back))
	assert.True(t, math.IsNaN(back.Signals[1].Median[0]))
	assert.Equal(t, c.Signals[1].Value[0], back.Signals[1].Value[0])
	assert.Empty(t, c.Signals[1].Leaves)
}

// Out for less than LeaveS is no leave; a point that is not known ends one.
func TestLeaves(t *testing.T) {
	nan := math.NaN()
	level := func(v float64, n int) schemas.Gappy { return slices.Repeat(schemas.Gappy{v}, n) }
	at := make([]float64, 12)
	for i := range at {
		at[i] = float64(i) / 20
	}
	s := schemas.ComparedSignal{Role: "voltage", Low: level(11, 12), High: level(12, 12), Median: level(11.5, 12)}
	s.Value = schemas.Gappy{11, 9, 10.95, 9, 8, 10, nan, 9, 9, 9, 13, 13}
	got := leaves(s, at, DefaultConfig())
	assert.Equal(t, []schemas.Leave{
		{StartS: 0.15, EndS: 0.25, Side: "below", By: 3, AtS: 0.2},
		{StartS: 0.35, EndS: 0.45, Side: "below", By: 2, AtS: 0.35},
	}, got, "one point below, a hair below, and 50 ms above are nothing")
}

// A stretch of minutes keeps to Most points.
func TestALongStretchGrowsTheStep(t *testing.T) {
	m := passes(3, 20_000, func(int, float64) float64 { return 100 })
	*m.Passes[1].LeaveS += 500
	cfg := DefaultConfig()
	c, err := Pass(Input{Match: m, Piece: 1}, cfg)
	require.NoError(t, err)
	assert.LessOrEqual(t, len(c.TimeS), cfg.Most)
	assert.Greater(t, c.TimeS[len(c.TimeS)-1], 501.0)
	assert.Contains(t, c.TimeS, 0.0)
}
