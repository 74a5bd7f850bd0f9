package autonomous

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// along is a signal at 50 Hz from 0 to 30 s with the value of f at each second.
func along(f func(s float64) float64) *series.Float {
	out := &series.Float{}
	for k := range int64(1501) {
		out.T, out.V = append(out.T, k*20_000), append(out.V, f(float64(k)*0.02))
	}
	return out
}

func driven() Input {
	return Input{
		Score: &series.Float{T: []int64{0, 8e6, 15e6, 21e6, 26e6}, V: []float64{0, 1, 3, 4, 5}},
		X:     along(func(s float64) float64 { return s / 4 }), Y: along(func(s float64) float64 { return 2 - s/20 }),
		Heading: along(func(s float64) float64 { return s / 10 }),
		Periods: []schemas.Period{{Name: "autonomous", StartS: 2, EndS: 20}, {Name: "driver", StartS: 23, EndS: 30}},
	}
}

func ended(x, y float64, pieces int) schemas.Autonomous {
	return schemas.Autonomous{EndX: &x, EndY: &y, Pieces: &pieces}
}

func TestWhatTheRobotDid(t *testing.T) {
	in := driven()
	// Medians by hand: x 4.0 of 3.9 4.0 9.0, y 1.4 of 1.4 1.5 0; three pieces of 3 3 1.
	in.History = []schemas.Autonomous{ended(3.9, 1.4, 3), ended(4.0, 1.5, 3), ended(9.0, 0, 1)}
	a := Detect(in, DefaultConfig())
	assert.Equal(t, 2.0, *a.StartS)
	assert.Equal(t, 20.0, *a.EndS)
	assert.Equal(t, []float64{8, 15, 15, 21}, a.ScoresS, "two at one moment, one late but within three seconds")
	assert.Equal(t, 4, *a.Pieces)
	assert.InDelta(t, 5, *a.EndX, 1e-9)
	assert.InDelta(t, 1, *a.EndY, 1e-9)
	assert.InDelta(t, 2, *a.EndHeading, 1e-9)
	assert.InDelta(t, math.Hypot(1, 0.4), *a.EndErrorM, 1e-9)
	assert.Equal(t, 3.0, *a.UsualPieces)

	require.Len(t, a.Track, 200)
	first, final := a.Track[0], a.Track[199]
	assert.Equal(t, schemas.TrackedAt{AtS: 2, X: 0.5, Y: 1.9}, first)
	assert.Equal(t, 20.0, final.AtS)
	for k := 1; k < len(a.Track); k++ {
		assert.InDelta(t, 18.0/199, a.Track[k].AtS-a.Track[k-1].AtS, 0.021, "evenly spread")
	}
}

func TestWithPartsMissing(t *testing.T) {
	in := driven()
	in.Periods = in.Periods[1:]
	assert.Equal(t, schemas.Autonomous{}, Detect(in, DefaultConfig()), "no autonomous period")

	in = driven()
	in.Score = nil
	a := Detect(in, DefaultConfig())
	assert.Nil(t, a.Pieces, "not zero: nobody counted")
	assert.NotNil(t, a.EndX)

	in = driven()
	in.X, in.Heading = nil, nil
	a = Detect(in, DefaultConfig())
	assert.Nil(t, a.EndX)
	assert.Nil(t, a.EndY)
	assert.Nil(t, a.EndHeading)
	assert.Empty(t, a.Track)
	assert.Equal(t, 4, *a.Pieces)

	in = driven()
	in.X.T, in.X.V = in.X.T[:900], in.X.V[:900] // silent from 18 s on
	in.History = []schemas.Autonomous{ended(1, 1, 1), ended(1, 1, 1), ended(1, 1, 1)}
	a = Detect(in, DefaultConfig())
	assert.Nil(t, a.EndX, "where it was two seconds before is not where it ended")
	assert.Nil(t, a.EndErrorM)
	assert.NotEmpty(t, a.Track)

	in = driven()
	in.History = []schemas.Autonomous{ended(1, 1, 1), ended(1, 1, 1), {}}
	a = Detect(in, DefaultConfig())
	assert.Nil(t, a.EndErrorM, "two matches are no usual")
	assert.Nil(t, a.UsualPieces)

	in = driven()
	in.Score = &series.Float{T: []int64{0}, V: []float64{0}}
	a = Detect(in, DefaultConfig())
	assert.Equal(t, 0, *a.Pieces, "counted, and none")
	assert.NotNil(t, a.ScoresS)
}

func TestShortTrackIsKeptWhole(t *testing.T) {
	in := driven()
	in.X = &series.Float{T: []int64{1e6, 5e6, 25e6}, V: []float64{0, 1, 2}}
	assert.Equal(t, []schemas.TrackedAt{{AtS: 5, X: 1, Y: 1.75}}, Detect(in, DefaultConfig()).Track)
	in.X = &series.Float{}
	assert.Empty(t, Detect(in, DefaultConfig()).Track)
}
