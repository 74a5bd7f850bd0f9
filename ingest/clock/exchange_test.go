package clock_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/clock"
)

// The figures are an example worked by the formulas of RFC 5905, section 8, in seconds: stamps
// 1000.000 1000.137 1000.139 1000.042 give an offset of 0.117 and a delay of 0.040.
func TestOffsetAndDelayAreThoseOfRFC5905(t *testing.T) {
	e := clock.Exchange{T0: 1000_000_000, T1: 1000_137_000, T2: 1000_139_000, T3: 1000_042_000}
	assert.Equal(t, 117_000., e.Offset())
	assert.Equal(t, 40_000., e.Delay())
	assert.True(t, e.Sound())
}

// RFC 5905, section 8: whatever the two messages' delays, the true offset is within half of
// Delay of Offset.
func TestTheTrueOffsetIsWithinHalfTheDelay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		offset := rapid.Int64Range(-1e15, 1e15).Draw(t, "offset")
		start := rapid.Int64Range(-1e15, 1e15).Draw(t, "start")
		there, hold, back := delay(t, "there"), delay(t, "hold"), delay(t, "back")
		e := clock.Exchange{T0: start, T1: start + there + offset, T2: start + there + hold + offset, T3: start + there + hold + back}
		assert.Equal(t, float64(there+back), e.Delay())
		assert.LessOrEqual(t, math.Abs(e.Offset()-float64(offset)), e.Delay()/2)
		assert.Equal(t, there+hold+back <= 16e6, e.Sound())
	})
}

// delay is from nothing over the milliseconds of a radio link to seconds.
func delay(t *rapid.T, name string) int64 {
	return rapid.OneOf(rapid.Int64Range(0, 100), rapid.Int64Range(0, 20_000), rapid.Int64Range(0, 3_000_000)).Draw(t, name)
}

func TestSoundTellsWhatCannotBeAnExchange(t *testing.T) {
	for name, c := range map[string]struct {
		e    clock.Exchange
		want bool
	}{
		"no time passes":          {clock.Exchange{T0: 5, T1: 9, T2: 9, T3: 5}, true},
		"answer before question":  {clock.Exchange{T0: 5, T1: 9, T2: 9, T3: 4}, false},
		"collector runs back":     {clock.Exchange{T0: 5, T1: 9, T2: 8, T3: 5}, false},
		"delay of nothing":        {clock.Exchange{T0: 5, T1: 9, T2: 19, T3: 15}, true},
		"delay under nothing":     {clock.Exchange{T0: 5, T1: 9, T2: 20, T3: 15}, false},
		"sixteen seconds":         {clock.Exchange{T0: 0, T1: 9, T2: 20, T3: 16_000_000}, true},
		"a microsecond more":      {clock.Exchange{T0: 0, T1: 9, T2: 20, T3: 16_000_001}, false},
		"longer than int64 holds": {clock.Exchange{T0: math.MinInt64, T1: 0, T2: 0, T3: math.MaxInt64}, false},
		"clocks as far as can be": {clock.Exchange{T0: math.MinInt64, T1: math.MaxInt64 - 1, T2: math.MaxInt64, T3: math.MinInt64 + 2}, true},
	} {
		assert.Equal(t, c.want, c.e.Sound(), name)
	}
	far := clock.Exchange{T0: math.MinInt64, T1: math.MaxInt64, T2: math.MaxInt64, T3: math.MinInt64}
	assert.InEpsilon(t, math.Pow(2, 64), far.Offset(), 1e-15)
}

// answered is an exchange with a delay in microseconds, told from others by its start.
func answered(start, delay int64) clock.Exchange {
	return clock.Exchange{T0: start, T1: 7_000_000 + start, T2: 7_000_000 + start, T3: start + delay}
}

// RFC 5905, section 10: of the eight samples in the shift register the filter uses the one of
// the least delay.
func TestFilterTakesTheLeastDelayOfTheLastEight(t *testing.T) {
	delays := []int64{1, 9, 8, 7, 3, 6, 5, 3, 4} // the 1 is the ninth from the end
	var list []clock.Exchange
	for i, d := range delays {
		list = append(list, answered(int64(i)*1_000_000, d))
	}
	best, ok := clock.Filter(list)
	assert.True(t, ok)
	assert.Equal(t, list[7], best, "the least of the last eight; of two threes the newer")

	best, ok = clock.Filter(list[:8])
	assert.True(t, ok)
	assert.Equal(t, list[0], best)

	best, ok = clock.Filter(append(list[:8:8], clock.Exchange{T0: 9, T3: 1}))
	assert.True(t, ok)
	assert.Equal(t, list[0], best, "an unsound one takes no place")

	_, ok = clock.Filter([]clock.Exchange{{T0: 9, T3: 1}})
	assert.False(t, ok)
	_, ok = clock.Filter(nil)
	assert.False(t, ok)
}
