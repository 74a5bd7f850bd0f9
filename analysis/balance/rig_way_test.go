package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// before is a log with a second in front of it in which all stays as it first is.
func before(in Input) Input {
	for _, f := range []*series.Float{in.Tilt, in.Drive} {
		var at []int64
		var v []float64
		for i := range int64(50) {
			at, v = append(at, i*20_000), append(v, f.V[0])
		}
		for i, t := range f.T {
			at, v = append(at, t+1_000_000), append(v, f.V[i])
		}
		f.T, f.V = at, v
	}
	in.End += 1_000_000
	return in
}

// driven adds the pose of a drivetrain of 3 m/s at full command, of a lag and a slide, that went by
// the logged command and slope, in steps of a millisecond, along a line 30 degrees off the x axis.
func driven(in Input, lag, slide, noise float64) Input {
	r := rand.New(rand.NewPCG(6, 6))
	in.X, in.Y = &series.Float{}, &series.Float{}
	speed, way := in.Drive.V[0]-slide*in.Tilt.V[0], 0.0
	for i := 0; i+1 < len(in.Drive.T); i++ {
		in.X.T, in.X.V = append(in.X.T, in.Drive.T[i]), append(in.X.V, 2+way*math.Cos(math.Pi/6)+noise*r.NormFloat64())
		in.Y.T, in.Y.V = append(in.Y.T, in.Drive.T[i]), append(in.Y.V, 1+way*math.Sin(math.Pi/6)+noise*r.NormFloat64())
		for range (in.Drive.T[i+1] - in.Drive.T[i]) / 1000 {
			speed += (in.Drive.V[i] - slide*in.Tilt.V[i] - speed) * 1e-3 / lag
			way += 3 * speed * 1e-3
		}
	}
	return in
}

// runOf is the run of an attempt with its law.
func runOf(t *testing.T, in Input) (*run, tuned) {
	t.Helper()
	cfg := DefaultConfig()
	tr := clean(in.Tilt, in.Rate, 0, cfg)
	found := attempts(tr, in, cfg)
	require.NotEmpty(t, found)
	u := tuneTo(tr, found[0], in, cfg)
	require.NotNil(t, u.run)
	return u.run, u
}

// A drivetrain that is told to go to and fro on a slope that changes by itself, stepped by the
// millisecond, goes as its own lag and slide say, and as no others do.
func TestTheWayIsThatOfItsOwnDrive(t *testing.T) {
	const lag, slide, full = 0.08, 0.003, 3.0
	n, before := 160, 40
	r := &run{sign: 1, step: runStepS, before: before, tilt: make([]float64, n), turning: make([]float64, n), terms: make([]float64, rigTerms*n)}
	speed, way := 0.0, 0.0
	for i := range before + n {
		u, slope := 0.1*math.Copysign(1, math.Sin(float64(i)/9)), 8*math.Cos(float64(i)/23)
		if i == 0 {
			speed = u - slide*slope
		}
		r.command, r.slope, r.way = append(r.command, u), append(r.slope, slope), append(r.way, way)
		for range 25 {
			way += full * speed * 1e-3
			speed += (u - slide*slope - speed) * 1e-3 / lag
		}
	}
	assert.Less(t, r.answers(4, 1, drivetrain{lag: lag, slide: slide}).off, 1e-3)
	for _, other := range [][2]float64{{lag, 2 * slide}, {lag, slide / 3}, {3 * lag, slide}, {lag / 4, slide}} {
		assert.Greater(t, r.answers(4, 1, drivetrain{lag: other[0], slide: other[1]}).off, 4e-3, "%v", other)
	}
	r.followWay()
	assert.NotNil(t, r.way)
}

// What looks like a pose and tells nothing of the drive: one that stands still, one of another robot,
// one that the wheels of a spinning robot made.
func TestAWayThatDoesNotFollowIsNotBelieved(t *testing.T) {
	in := before(boardOnWheels(0.008, 0.1, 0.05, 8))
	good := driven(in, 0.05, 0.001, 0.004)
	for name, x := range map[string]func(i int) float64{
		"stands still":   func(int) float64 { return 2 },
		"another robot":  func(i int) float64 { return 2 + 0.3*math.Sin(float64(i)/40) },
		"wheels that do": func(i int) float64 { return good.X.V[i] + 0.15*math.Sin(float64(i)/60) },
	} {
		other := good
		other.X, other.Y = &series.Float{T: good.X.T}, &series.Float{T: good.Y.T}
		for i := range good.X.T {
			other.X.V, other.Y.V = append(other.X.V, x(i)), append(other.Y.V, 1)
		}
		r, _ := runOf(t, other)
		assert.Nil(t, r.way, name)
	}
}

// By formula: a line that a way follows but for a sine of amplitude a over whole periods leaves a/sqrt 2.
func TestOffTheWay(t *testing.T) {
	var way []float64
	var s waySums
	for i := range 400 {
		way = append(way, 7+0.5*float64(i)/400+0.02*math.Sin(2*math.Pi*float64(i)/20))
	}
	for i := range way {
		s.add(way, i, 3*float64(i))
	}
	assert.InDelta(t, 0.02/math.Sqrt2, s.off(), 2e-4)
	assert.InDelta(t, math.Hypot(0.5/math.Sqrt(12), 0.02/math.Sqrt2), s.size(), 2e-3)
	assert.Zero(t, waySums{}.off())
}
