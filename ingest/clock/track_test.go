package clock_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/clock"
)

// world is a robot's clock as it truly runs: at robot microsecond start+x the collector's
// clock shows start+ahead+x+gains(x).
type world struct {
	start, ahead int64
	gains        func(x float64) float64
}

// steady gains a number of parts per million.
func steady(ppm float64) func(float64) float64 {
	return func(x float64) float64 { return ppm * x / 1e6 }
}

// exchange happens at x with delays in microseconds of the collector's clock. Stamps are cut
// to whole microseconds, as a computer cuts them.
func (w world) exchange(x, there, hold, back float64) clock.Exchange {
	asked := x + w.gains(x) + there
	answered := asked + hold
	return clock.Exchange{
		T0: w.start + int64(math.Floor(x)),
		T1: w.start + w.ahead + int64(math.Floor(asked)),
		T2: w.start + w.ahead + int64(math.Floor(answered)),
		T3: w.start + int64(math.Floor(w.robot(answered+back))),
	}
}

// robot is x when the collector's clock shows start+ahead+c.
func (w world) robot(c float64) float64 {
	x := c
	for range 5 { // each leaves a few parts per million of the error before
		x = c - w.gains(x)
	}
	return x
}

// arrival is when a sample of x is here after a delay.
func (w world) arrival(x, delay float64) (robotUS, collectorUS int64) {
	return w.start + int64(math.Floor(x)), w.start + w.ahead + int64(math.Floor(x+w.gains(x)+delay))
}

// offset is the true offset at x.
func (w world) offset(x float64) float64 { return float64(w.ahead) + w.gains(x) }

// rounding is what float64 may lose of a bound: nothing to speak of, but for an offset of
// years, of which the last place is that much.
func (w world) rounding() float64 {
	return 1e-3 + 4*(math.Nextafter(math.Abs(float64(w.ahead)), math.Inf(1))-math.Abs(float64(w.ahead)))
}

// holds requires the true offset within the bound, at x and at some other times.
func (w world) holds(t require.TestingT, track *clock.Track, times ...float64) {
	for _, x := range times {
		x = math.Floor(x)
		offset, bound := track.BoundAt(w.start + int64(x))
		require.LessOrEqual(t, math.Abs(offset-w.offset(x)), bound+w.rounding(), "at %v", x)
	}
	fit, ok := track.Fit()
	require.True(t, ok)
	offset, bound := track.BoundAt(fit.At)
	require.Equal(t, fit.Offset, offset)
	require.Equal(t, fit.Bound, bound)
}

// worlds draws a clock of any age, however far off, that runs fast or slow by up to 499 ppm.
func worlds(t *rapid.T) (world, float64) {
	ppm := rapid.Float64Range(-499, 499).Draw(t, "ppm")
	return world{
		start: rapid.Int64Range(-9e15, 9e15).Draw(t, "start"),
		ahead: rapid.OneOf(rapid.Int64Range(-1e9, 1e9), rapid.Int64Range(-9e15, 9e15)).Draw(t, "ahead"),
		gains: steady(ppm),
	}, ppm
}

// The promise: whatever the queues do to either direction, the true offset and drift are
// within their bounds, now, at any exchange that is remembered, and later.
func TestTheTruthIsWithinTheBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, ppm := worlds(t)
		var track clock.Track
		var times []float64
		x := 0.
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			x += rapid.OneOf(rapid.Float64Range(1e4, 1e6), rapid.Float64Range(1e6, 3e7)).Draw(t, "pause")
			if rapid.IntRange(0, 2).Draw(t, "kind") == 0 {
				track.Arrived(w.arrival(x, float64(delay(t, "delay"))))
			} else {
				e := w.exchange(x, float64(delay(t, "there")), float64(rapid.Int64Range(0, 1000).Draw(t, "hold")), float64(delay(t, "back")))
				if !e.Sound() {
					continue // cut stamps made a delay of nothing negative
				}
				track.Add(e)
				x = float64(e.T3 - w.start)
				times = append(times, x)
				w.narrows(t, &track, e)
			}
			if len(times) > 0 {
				w.holds(t, &track, append(times, x+6e7, x-3e8)...)
				fit, _ := track.Fit()
				require.LessOrEqual(t, math.Abs(fit.DriftPPM-ppm), fit.DriftBound+1e-6)
				require.False(t, fit.OneSided)
				require.Zero(t, fit.Breaks)
				require.Equal(t, len(times), fit.Exchanges)
			}
		}
	})
}

// narrows requires that the bound is no wider than that of the exchange just taken in by
// itself, which is half its delay and what a clock may drift, wander and cut within it.
func (w world) narrows(t *rapid.T, track *clock.Track, e clock.Exchange) {
	_, bound := track.BoundAt(e.T3)
	took := float64(e.T3-e.T0) / 1e6
	require.LessOrEqual(t, bound, e.Delay()/2+1+(clock.MaxDrift+clock.Wander)*took/2+w.rounding())
}

// A crystal warms and cools: its rate moves within Wander, and the promise holds.
func TestTheTruthIsWithinTheBoundOfAClockThatWanders(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, ppm := worlds(t)
		turn := 2 * math.Pi / (rapid.Float64Range(20, 2000).Draw(t, "period") * 1e6)
		w.gains = func(x float64) float64 { // its rate is ppm + Wander/2 cos(turn x)
			return ppm*x/1e6 + clock.Wander/2*math.Sin(turn*x)/turn/1e6
		}
		var track clock.Track
		var times []float64
		x := 0.
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			x += rapid.Float64Range(1e5, 3e7).Draw(t, "pause")
			most := rapid.SampledFrom([]float64{0, 10, 5000}).Draw(t, "most")
			e := w.exchange(x, most*rapid.Float64Range(0, 1).Draw(t, "there"), 20, most*rapid.Float64Range(0, 1).Draw(t, "back"))
			if !e.Sound() {
				continue // cut stamps made a delay of nothing negative
			}
			track.Add(e)
			times = append(times, float64(e.T3-w.start))
			w.holds(t, &track, append(times, x+6e7)...)
			fit, _ := track.Fit()
			require.Zero(t, fit.Breaks)
		}
	})
}

// bending runs steadily before x and so many parts per million quicker after it.
func bending(before, by, x0 float64) func(float64) float64 {
	return func(x float64) float64 { return before*x/1e6 + by*max(0, x-x0)/1e6 }
}

// Old limits that are tight and new ones that are loose: what the old ones say of now gives
// way by as much as the rate may have moved.
func TestOldLimitsGiveWay(t *testing.T) {
	for _, by := range []float64{0.99 * clock.Wander, -0.99 * clock.Wander} {
		w := world{start: 0, ahead: 1e8, gains: bending(20, by, 3e8)}
		var track clock.Track
		for x := 0.; x < 5.9e8; x += 1e6 {
			delay := 3.
			if x > 3e8 {
				delay = 5000
			}
			track.Add(w.exchange(x, delay, 10, delay))
		}
		w.holds(t, &track, 0, 2e8, 3e8, 4e8, 5e8, 5.9e8)
		_, bound := track.BoundAt(5.9e8)
		assert.Less(t, bound, 1500., "and not by more than that")
	}
}

// Nobody knows what the rate does after the last limit, but that it stays within Wander of
// what it is, which itself is known to Wander.
func TestTheBoundWidensAhead(t *testing.T) {
	for _, by := range []float64{1.99 * clock.Wander, -1.99 * clock.Wander} {
		w := world{start: 0, ahead: 1e8, gains: bending(-5, by, 3e8)}
		var track clock.Track
		for x := 0.; x < 3e8; x += 1e6 {
			track.Add(w.exchange(x, 3, 10, 3))
		}
		w.holds(t, &track, 2e8, 3e8, 4e8, 6e8, 9e8)
	}
}

// A clock whose rate moves by more than Wander, and by no more than Phi, did not step: what is
// old goes until the rest fits.
func TestAClockThatWarmsQuicklyIsNoStep(t *testing.T) {
	for _, bend := range []float64{5, -5} { // ppm in five minutes
		w := world{start: 4e8, ahead: -3e9, gains: func(x float64) float64 { return bend * x * x / 3e8 / 2e6 }}
		var track clock.Track
		for x := 0.; x < 6e8; x += 1e6 {
			track.Add(w.exchange(x, 60, 10, 60))
		}
		fit, ok := track.Fit()
		require.True(t, ok)
		assert.Zero(t, fit.Breaks)
		assert.Equal(t, 600, fit.Exchanges)
		assert.InDelta(t, w.offset(5.99e8), fit.Offset, 100)
		assert.InDelta(t, 2*bend, fit.DriftPPM, 3.5, "it lags by what is remembered")
	}
}

// A step of more than the delays leave room for is found at the first exchange after it.
func TestAStepBreaksTheTrack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, _ := worlds(t)
		var track clock.Track
		const most = 2e4
		some := func() float64 { return rapid.Float64Range(2, most).Draw(t, "delay") }
		breaks := 0
		x := 1e6
		for range rapid.IntRange(1, 5).Draw(t, "pieces") {
			n := rapid.IntRange(1, 15).Draw(t, "exchanges")
			for k := range n {
				track.Add(w.exchange(x, some(), 30, some()))
				fit, ok := track.Fit()
				require.True(t, ok)
				require.Equal(t, breaks, fit.Breaks)
				require.Equal(t, k+1, fit.Exchanges, "counted anew after a step")
				w.holds(t, &track, x)
				x += 1e6 + some()
			}
			// Two whole delays, and what 500 ppm either way do in fifteen seconds.
			step := int64(2*2*most+2*500*15) + rapid.OneOf(rapid.Int64Range(0, 1e5), rapid.Int64Range(0, 1e14)).Draw(t, "step")
			if rapid.Bool().Draw(t, "back") {
				step = -step
			}
			w = world{start: w.start - step, ahead: w.ahead + step, gains: w.gains}
			breaks++
		}
	})
}

// A robot that starts again counts from nothing.
func TestARebootBreaksTheTrack(t *testing.T) {
	w := world{start: 0, ahead: 5e12, gains: steady(20)}
	var track clock.Track
	for x := 0.; x < 3e7; x += 1e6 {
		track.Add(w.exchange(x, 900, 20, 2500))
	}
	again := world{start: 0, ahead: 5e12 + 4e7, gains: steady(20)} // ten seconds after the last
	track.Add(again.exchange(1e6, 1000, 20, 3000))
	fit, ok := track.Fit()
	require.True(t, ok)
	assert.Equal(t, 1, fit.Breaks)
	assert.Equal(t, 1, fit.Exchanges)
	assert.InDelta(t, 4000, fit.MinDelay, 2)
	again.holds(t, &track, 1e6)
}

// What all exchanges say together against the clock filter's one of the last eight, on queues
// that are lame on one side: half the error at most, and a bound that is narrower and holds
// (the filter's need not: its sample may be seconds old).
func TestAllExchangesAreBetterThanTheBest(t *testing.T) {
	var errors, bounds, filterErrors, filterBounds []float64
	for seed := range 60 {
		r := rand.New(rand.NewPCG(3, uint64(seed)))
		w := world{start: 77, ahead: 1e9, gains: steady(100*r.Float64() - 50)}
		var track clock.Track
		var all []clock.Exchange
		for x := 0.; x < 1.5e8; x += 1e6 {
			e := w.exchange(x, 500+300*r.ExpFloat64(), 20, 500+4000*r.ExpFloat64())
			all = append(all, e)
			track.Add(e)
		}
		fit, _ := track.Fit()
		best, _ := clock.Filter(all)
		truth := w.offset(float64(fit.At - w.start))
		require.LessOrEqual(t, math.Abs(fit.Offset-truth), fit.Bound)
		errors, bounds = append(errors, math.Abs(fit.Offset-truth)), append(bounds, fit.Bound)
		filterErrors, filterBounds = append(filterErrors, math.Abs(best.Offset()-truth)), append(filterBounds, best.Delay()/2)
	}
	median := func(v []float64) float64 { slices.Sort(v); return v[len(v)/2] }
	assert.Less(t, median(errors), median(filterErrors)/2)
	assert.Less(t, median(bounds), median(filterBounds))
}

// One exchange and nothing else is RFC 5905's offset, and half its delay.
func TestOneExchangeIsItsOffset(t *testing.T) {
	e := clock.Exchange{T0: 1000_000_000, T1: 1000_137_000, T2: 1000_139_000, T3: 1000_042_000}
	var track clock.Track
	track.Add(e)
	fit, ok := track.Fit()
	require.True(t, ok)
	drifting := clock.MaxDrift*0.042/2 + 1.1 // over the exchange, and the cut of its stamps
	assert.InDelta(t, 117_000, fit.Offset, drifting)
	assert.InDelta(t, 20_000, fit.Bound, drifting)
	assert.InDelta(t, 0, fit.DriftPPM, 1)
	assert.InDelta(t, clock.MaxDrift, fit.DriftBound, 1)
	assert.Equal(t, int64(1000_042_000), fit.At)
	assert.Equal(t, 40_000., fit.MinDelay)
	assert.InDelta(t, float64(e.T1)-20_000, fit.Collector(e.T0), drifting)
}

func TestNothingIsKnownOfNothing(t *testing.T) {
	var track clock.Track
	_, ok := track.Fit()
	assert.False(t, ok)
	offset, bound := track.BoundAt(5)
	assert.Zero(t, offset)
	assert.True(t, math.IsInf(bound, 1))

	track.Add(clock.Exchange{T0: 9, T3: 1})
	_, ok = track.Fit()
	assert.False(t, ok, "an unsound exchange teaches nothing")
}

func TestArrivalsSayAtMost(t *testing.T) {
	var track clock.Track
	track.Arrived(1_000_000, 9_004_000)
	track.Arrived(2_000_000, 10_001_500)
	track.Arrived(3_000_000, 11_001_600)
	fit, ok := track.Fit()
	require.True(t, ok)
	assert.True(t, fit.OneSided)
	assert.Equal(t, 8_001_500., fit.Offset, "the least, while there is too little time to tell a drift")
	assert.Zero(t, fit.DriftPPM)
	assert.True(t, math.IsInf(fit.Bound, 1))
	assert.Equal(t, int64(3_000_000), fit.At)

	w := world{ahead: 8e6, gains: steady(0)}
	track.Add(w.exchange(4e6, 5000, 10, 1800))
	fit, _ = track.Fit()
	assert.False(t, fit.OneSided)
	assert.Zero(t, fit.Breaks)
	assert.InDelta(t, (1600+500+1800)/2, fit.Bound, 10, "the arrival above, by 500 ppm for a second; the answer below")
	w.holds(t, &track, 4e6)
}

// A sample that claims to be of the future would be a step; that it is one, only an exchange
// may say. One that was long under way says nothing.
func TestABadSampleUndoesNoExchange(t *testing.T) {
	w := world{start: 5e6, ahead: 7e6, gains: steady(-30)}
	var track clock.Track
	for x := 0.; x < 2e7; x += 1e6 {
		track.Add(w.exchange(x, 1500, 10, 1500))
	}
	before, _ := track.Fit()
	robot, collector := w.arrival(2e7, 0)
	for _, wrong := range []int64{1e4, 1e9, 1e18, math.MaxInt64 - robot} {
		track.Arrived(robot+wrong, collector)
		after, _ := track.Fit()
		assert.Equal(t, before, after)
	}
	track.Arrived(w.arrival(3e6, 4e9)) // an hour late
	after, _ := track.Fit()
	assert.Equal(t, before, after)
	w.holds(t, &track, 0, 1e7, 2e7)
}

// A sample with the time of another age, in a robot that answers no questions, must not move
// the envelope of the others.
func TestABadSampleMovesNoEnvelope(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	w := world{start: 9e14, ahead: 3e8, gains: steady(40)}
	var track clock.Track
	for x := 0.; x < 1.2e8; x += 5e5 {
		track.Arrived(w.arrival(x, 900+2000*r.ExpFloat64()))
	}
	before, _ := track.Fit()
	track.Arrived(0, w.start+w.ahead+6e7)
	after, _ := track.Fit()
	assert.Equal(t, before, after)
	assert.InDelta(t, 40, after.DriftPPM, 3)
	assert.InDelta(t, w.offset(1.195e8)+900, after.Offset, 400)
}

// Old limits go, and what is known is as good as if they had never been.
func TestWhatIsOldIsForgotten(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	w := world{start: 0, ahead: 0, gains: steady(10)}
	var long, short clock.Track
	for x := 0.; x < 3.6e9; x += 2e6 {
		e := w.exchange(x, 500+2000*r.ExpFloat64(), 10, 500+2000*r.ExpFloat64())
		long.Add(e)
		if e.T1 >= 2940e6 { // the minute 49 of 60: ten before the last
			short.Add(e)
		}
	}
	a, _ := long.Fit()
	b, _ := short.Fit()
	b.Exchanges, b.MinDelay = a.Exchanges, a.MinDelay
	assert.Equal(t, b, a)
	w.holds(t, &long, 3.6e9, 3.3e9)
}

// However long nothing is heard, what was known last stays, looser by its age.
func TestSilenceWidensTheBound(t *testing.T) {
	w := world{start: 0, ahead: 4e9, gains: steady(-15)}
	var track clock.Track
	for x := 0.; x < 1e8; x += 1e6 {
		track.Add(w.exchange(x, 800, 10, 800))
	}
	_, now := track.BoundAt(1e8)
	_, later := track.BoundAt(1e8 + 3.6e9)
	assert.Greater(t, later, now+clock.Wander*3590)
	for x := 1e8; x < 4e9; x += 1e7 {
		track.Arrived(w.arrival(x, 900))
	}
	fit, _ := track.Fit()
	assert.False(t, fit.OneSided)
	assert.LessOrEqual(t, fit.Bound, now)
	w.holds(t, &track, 0, 1e8, 2e9, 4e9)

	// What is old goes with the next exchange, and not before that told whether the clock was set.
	track.Add(w.exchange(4e9, 800, 10, 800))
	fit, _ = track.Fit()
	assert.Zero(t, fit.Breaks)
	assert.InDelta(t, 800, fit.Bound, 5)
}

func TestAStepInSilenceIsSeen(t *testing.T) {
	w := world{start: 0, ahead: 4e9, gains: steady(-15)}
	var track clock.Track
	for x := 0.; x < 1e8; x += 1e6 {
		track.Add(w.exchange(x, 800, 10, 800))
	}
	w.ahead += 5e6
	track.Add(w.exchange(1e8+3.6e9, 800, 10, 800))
	fit, _ := track.Fit()
	assert.Equal(t, 1, fit.Breaks)
}

// Times since some epoch, and up to 9e15 us from it, cost no precision but float64's own.
func TestTimesFarFromNothingLoseNoDigits(t *testing.T) {
	near := world{start: 0, ahead: 0, gains: steady(33)}
	var small clock.Track
	r := rand.New(rand.NewPCG(9, 10))
	delays := make([][2]float64, 100)
	for i := range delays {
		delays[i] = [2]float64{1000 * r.ExpFloat64(), 1000 * r.ExpFloat64()}
		small.Add(near.exchange(float64(i)*1e6, delays[i][0], 5, delays[i][1]))
	}
	want, _ := small.Fit()
	for _, far := range []world{{start: 9e15, ahead: -18e15}, {start: -9e15, ahead: 18e15}, {start: 1.9e15, ahead: 3}} {
		far.gains = near.gains
		var big clock.Track
		for i, d := range delays {
			big.Add(far.exchange(float64(i)*1e6, d[0], 5, d[1]))
		}
		got, ok := big.Fit()
		require.True(t, ok)
		assert.Equal(t, want.At, got.At-far.start)
		assert.Equal(t, want.DriftPPM, got.DriftPPM)
		assert.Equal(t, want.DriftBound, got.DriftBound)
		assert.InDelta(t, want.Bound, got.Bound, 1e-9)
		assert.InDelta(t, want.Offset, got.Offset-float64(far.ahead), 2)
	}
}

func TestCollectorAndRobotAreEachOthersWayBack(t *testing.T) {
	f := clock.Fit{At: 5_000_000, Offset: 2_000_000, DriftPPM: 100}
	assert.Equal(t, 7_000_000., f.Collector(5_000_000))
	assert.Equal(t, 17_001_000., f.Collector(15_000_000))
	assert.Equal(t, 5_000_000., f.Robot(7_000_000))
	rapid.Check(t, func(t *rapid.T) {
		f := clock.Fit{
			At:       rapid.Int64Range(-9e15, 9e15).Draw(t, "at"),
			Offset:   rapid.Float64Range(-9e15, 9e15).Draw(t, "offset"),
			DriftPPM: rapid.Float64Range(-500, 500).Draw(t, "drift"),
		}
		x := f.At + rapid.Int64Range(-1e10, 1e10).Draw(t, "later")
		assert.InDelta(t, float64(x), f.Robot(f.Collector(x)), 16)
	})
}

// The order in which limits of one moment come, and which of them come twice, says nothing.
func TestRepeatsSayNothingNew(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	w := world{start: 0, ahead: 1e6, gains: steady(60)}
	var arrivals [][2]int64
	for x := 0.; x < 5e7; x += 1e6 {
		robot, collector := w.arrival(x, 1000*r.ExpFloat64())
		arrivals = append(arrivals, [2]int64{robot, collector})
	}
	fit := func(list [][2]int64) clock.Fit {
		var track clock.Track
		for _, a := range list {
			track.Arrived(a[0], a[1])
		}
		f, ok := track.Fit()
		require.True(t, ok)
		return f
	}
	want := fit(arrivals)
	shuffled := slices.Concat(arrivals, arrivals)
	for range 20 {
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		assert.Equal(t, want, fit(shuffled))
	}
}
