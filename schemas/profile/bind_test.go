package profile_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
	"github.com/afterbell/afterbell/schemas/units"
)

func ptr(v float64) *float64 { return &v }

// times are n samples 20 ms apart, the first at -20 ms: log time may be negative.
func times(n int) []int64 {
	out := make([]int64, n)
	for i := range out {
		out[i] = int64(i-1) * 20_000
	}
	return out
}

func floats(unit string, v ...float64) *schemas.Log {
	return logOf(&schemas.Signal{Name: "s", Unit: unit, Kind: schemas.Float64, Time: times(len(v)), Float: v})
}

func ints(v ...int64) *schemas.Log {
	return logOf(&schemas.Signal{Name: "s", Kind: schemas.Int64, Time: times(len(v)), Int: v})
}

func bools(v ...bool) *schemas.Log {
	return logOf(&schemas.Signal{Name: "s", Kind: schemas.Bool, Time: times(len(v)), Bool: v})
}

func texts(v ...string) *schemas.Log {
	return logOf(&schemas.Signal{Name: "s", Kind: schemas.Text, Time: times(len(v)), Text: v})
}

func logOf(signals ...*schemas.Signal) *schemas.Log {
	l := &schemas.Log{Signals: signals}
	l.Normalize()
	return l
}

type floatBinder = func(*profile.Ref, *schemas.Log) (*series.Float, error)

func TestFloat(t *testing.T) {
	none := profile.Ref{}
	for name, c := range map[string]struct {
		ref  profile.Ref
		bind floatBinder
		log  *schemas.Log
		want []float64
	}{
		"as it is":                     {none, (*profile.Ref).Volts, floats("", 12.1, 11.9), []float64{12.1, 11.9}},
		"already in volts":             {none, (*profile.Ref).Volts, floats("V", 12.1, 11.9), []float64{12.1, 11.9}},
		"riding unit":                  {none, (*profile.Ref).Volts, floats("mV", 12100, 11900), []float64{12.1, 11.9}},
		"unit of the profile":          {profile.Ref{Unit: "mV"}, (*profile.Ref).Volts, floats("", 12100), []float64{12.1}},
		"profile's unit over riding":   {profile.Ref{Unit: "V"}, (*profile.Ref).Volts, floats("mV", 12.1), []float64{12.1}},
		"unknown riding unit":          {none, (*profile.Ref).Volts, floats("counts", 7), []float64{7}},
		"amps":                         {none, (*profile.Ref).Amps, floats("mA", 500), []float64{0.5}},
		"percent command":              {none, (*profile.Ref).Command, floats("%", -100, 50), []float64{-1, 0.5}},
		"metres":                       {none, (*profile.Ref).Metres, floats("in", 100), []float64{2.54}},
		"radians":                      {none, (*profile.Ref).Radians, floats("deg", 180), []float64{math.Pi}},
		"roller speed":                 {none, (*profile.Ref).RadiansPerSecond, floats("rpm", 60), []float64{2 * math.Pi}},
		"tilt stays in degrees":        {none, (*profile.Ref).Degrees, floats("deg", 12.5), []float64{12.5}},
		"tilt without unit is degrees": {none, (*profile.Ref).Degrees, floats("", 12.5), []float64{12.5}},
		"tilt in radians":              {none, (*profile.Ref).Degrees, floats("rad", math.Pi/2), []float64{90}},
		"tilt rate":                    {none, (*profile.Ref).DegreesPerSecond, floats("rad/s", math.Pi), []float64{180}},
		"base unit of a lift":          {none, (*profile.Ref).Float, floats("ft", 1), []float64{0.3048}},
		"counter":                      {none, (*profile.Ref).Float, ints(0, 1, 3), []float64{0, 1, 3}},
		"scale, offset, invert": {
			profile.Ref{Scale: ptr(2), Offset: ptr(1), Invert: true},
			(*profile.Ref).Float, floats("", 10),
			[]float64{-21},
		},
		"unit before scale": {
			profile.Ref{Scale: ptr(2), Offset: ptr(0.5)},
			(*profile.Ref).Volts, floats("mV", 3000),
			[]float64{6.5},
		},
		"bool pulses":           {none, (*profile.Ref).Float, bools(false, true, false), []float64{0, 1, 0}},
		"bool turned round":     {profile.Ref{Invert: true}, (*profile.Ref).Float, bools(false, true), []float64{1, 0}},
		"bool scaled":           {profile.Ref{Scale: ptr(-0.5), Offset: ptr(1)}, (*profile.Ref).Command, bools(false, true), []float64{1, 0.5}},
		"pulse of a threshold":  {profile.Ref{Above: ptr(2), Scale: ptr(10)}, (*profile.Ref).Float, floats("", 0.1, 0.3), []float64{0, 1}},
		"pulse of one, inverse": {profile.Ref{Above: ptr(2), Invert: true}, (*profile.Ref).Float, floats("", 1, 3), []float64{1, 0}},
		"no samples":            {none, (*profile.Ref).Float, floats(""), []float64{}},
	} {
		c.ref.Signal = "s"
		s, err := c.bind(&c.ref, c.log)
		require.NoError(t, err, name)
		assert.Equal(t, "s", s.Name, name)
		assert.InDeltaSlice(t, c.want, s.V, 1e-14, name)
		assert.Equal(t, times(len(c.want)), s.T, name)
	}
}

func TestAbsentIsNil(t *testing.T) {
	var none *profile.Ref
	for _, r := range []*profile.Ref{none, signal("other")} {
		f, err := r.Volts(floats("", 1))
		assert.Nil(t, f)
		assert.NoError(t, err)
		b, err := r.Bool(floats("", 1))
		assert.Nil(t, b)
		assert.NoError(t, err)
		w, err := r.Text(floats("", 1))
		assert.Nil(t, w)
		assert.NoError(t, err)
	}
}

func TestWrongKindOrUnit(t *testing.T) {
	_, err := signal("s").Volts(texts("12.1"))
	assert.EqualError(t, err, `signal "s" is text where a number is needed`)
	_, err = signal("s").Bool(texts("on"))
	assert.EqualError(t, err, `signal "s" is text where a number is needed`)
	_, err = signal("s").Volts(floats("A", 1))
	assert.EqualError(t, err, `signal "s" is in A (a current) where a voltage is needed; if it is not, set its unit in the profile`)
	_, err = signal("s").Command(floats("V", 1))
	assert.EqualError(t, err, `signal "s" is in V (a voltage) where a plain number is needed; if it is not, set its unit in the profile`)
	one := profile.Ref{Signal: "s", Unit: "1", Scale: ptr(1.0 / 12)}
	s, err := one.Command(floats("V", 6))
	require.NoError(t, err)
	assert.Equal(t, []float64{0.5}, s.V)
}

// NaN and infinities are legal samples and count as no reading.
func TestNoReadingIsDropped(t *testing.T) {
	log := floats("", 1, math.NaN(), math.Inf(1), 2, math.Inf(-1))
	s, err := signal("s").Float(log)
	require.NoError(t, err)
	assert.Equal(t, []float64{1, 2}, s.V)
	assert.Equal(t, []int64{-20_000, 40_000}, s.T)
	b, err := signal("s").Bool(log)
	require.NoError(t, err)
	assert.Equal(t, []int64{-20_000, 40_000}, b.T)
	w, err := signal("s").Text(log)
	require.NoError(t, err)
	assert.Equal(t, []string{"1", "2"}, w.V)
	huge := profile.Ref{Signal: "s", Scale: ptr(10)}
	s, err = huge.Float(floats("", 1e308, 1))
	require.NoError(t, err)
	assert.Equal(t, []float64{10}, s.V, "what scaling makes infinite is no reading either")
}

func TestBool(t *testing.T) {
	for name, c := range map[string]struct {
		ref  profile.Ref
		log  *schemas.Log
		want []bool
	}{
		"bool":             {profile.Ref{}, bools(true, false), []bool{true, false}},
		"bool inverted":    {profile.Ref{Invert: true}, bools(true, false), []bool{false, true}},
		"other than 0":     {profile.Ref{}, floats("", 0, 1, -1, 0.5, math.Copysign(0, -1)), []bool{false, true, true, true, false}},
		"int":              {profile.Ref{}, ints(0, 2), []bool{false, true}},
		"int inverted":     {profile.Ref{Invert: true}, ints(0, 2), []bool{true, false}},
		"mm against m":     {profile.Ref{Below: ptr(0.08)}, floats("mm", 79, 80, 81), []bool{true, false, false}},
		"scaled":           {profile.Ref{Above: ptr(1), Scale: ptr(0.001)}, floats("", 999, 1001), []bool{false, true}},
		"below, inverted":  {profile.Ref{Below: ptr(1), Invert: true}, floats("", 0, 2), []bool{false, true}},
		"above a negative": {profile.Ref{Above: ptr(-1)}, floats("", -2, 0), []bool{false, true}},
		"int threshold":    {profile.Ref{Above: ptr(10), Hysteresis: 3}, ints(10, 11, 8, 7), []bool{false, true, true, false}},
	} {
		c.ref.Signal = "s"
		b, err := c.ref.Bool(c.log)
		require.NoError(t, err, name)
		assert.Equal(t, c.want, b.V, name)
		assert.Equal(t, times(len(c.want)), b.T, name)
	}
}

// The threshold and the end of the hysteresis, at the value and at its neighbours.
func TestThresholdsAtTheirNeighbours(t *testing.T) {
	up := func(v float64) float64 { return math.Nextafter(v, math.Inf(1)) }
	down := func(v float64) float64 { return math.Nextafter(v, math.Inf(-1)) }
	below := profile.Ref{Signal: "s", Below: ptr(2), Hysteresis: 0.5}
	b, err := below.Bool(floats("", 2, down(2), 2, 2.4, down(2.5), 2.5, 2.4, down(2)))
	require.NoError(t, err)
	assert.Equal(t, []bool{false, true, true, true, true, false, false, true}, b.V)
	above := profile.Ref{Signal: "s", Above: ptr(2), Hysteresis: 0.5}
	b, err = above.Bool(floats("", 2, up(2), 2, 1.6, up(1.5), 1.5, 1.6, up(2)))
	require.NoError(t, err)
	assert.Equal(t, []bool{false, true, true, true, true, false, false, true}, b.V)
}

func TestText(t *testing.T) {
	for name, c := range map[string]struct {
		log  *schemas.Log
		want []string
	}{
		"text":  {texts("B07", "", "nan"), []string{"B07", "", "nan"}},
		"float": {floats("", 1, 1.5, 1e21, math.Copysign(0, -1)), []string{"1", "1.5", "1000000000000000000000", "0"}},
		"int":   {ints(1, -7), []string{"1", "-7"}},
		"bool":  {bools(true, false), []string{"true", "false"}},
	} {
		w, err := signal("s").Text(c.log)
		require.NoError(t, err, name)
		assert.Equal(t, c.want, w.V, name)
	}
}

// A log of two power-ups: each boot is in order, their times run into one another.
func TestBootsAreMergedByTime(t *testing.T) {
	log := logOf(&schemas.Signal{
		Name: "s", Kind: schemas.Float64,
		Boot:  []int32{0, 0, 0, 1, 1, 1},
		Time:  []int64{10, 30, 50, 20, 30, 40},
		Float: []float64{1, 2, 3, 4, 5, 6},
	})
	s, err := signal("s").Float(log)
	require.NoError(t, err)
	assert.Equal(t, []int64{10, 20, 30, 40, 50}, s.T)
	assert.Equal(t, []float64{1, 4, 5, 6, 3}, s.V, "of one time the higher boot's sample stays")

	log.Signals[0].Float[4] = math.NaN()
	s, err = signal("s").Float(log)
	require.NoError(t, err)
	assert.Equal(t, []float64{1, 4, 2, 6, 3}, s.V, "unless it is no reading")
}

func drawLog(t *rapid.T) *schemas.Log {
	n := rapid.IntRange(0, 40).Draw(t, "samples")
	s := &schemas.Signal{
		Name: "s", Kind: schemas.Float64,
		Unit: rapid.SampledFrom([]string{"", "V", "mV", "counts"}).Draw(t, "unit"),
	}
	for range n {
		s.Time = append(s.Time, rapid.Int64Range(-20, 20).Draw(t, "time"))
		s.Boot = append(s.Boot, rapid.Int32Range(0, 2).Draw(t, "boot"))
		s.Float = append(s.Float, rapid.SampledFrom([]float64{-3, -2, -1, 0, 1, 2, 3, math.NaN(), math.Inf(1)}).Draw(t, "value"))
	}
	return logOf(s)
}

func drawRef(t *rapid.T) *profile.Ref {
	r := &profile.Ref{Signal: "s", Invert: rapid.Bool().Draw(t, "invert")}
	if rapid.Bool().Draw(t, "scaled") {
		r.Scale = ptr(rapid.SampledFrom([]float64{-2, 0.001, 1000}).Draw(t, "scale"))
	}
	if rapid.Bool().Draw(t, "shifted") {
		r.Offset = ptr(rapid.SampledFrom([]float64{-1, 0.5}).Draw(t, "offset"))
	}
	return r
}

// Against a plain model: a map from time to value, written in the order of boots.
func TestFloatProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log, ref := drawLog(t), drawRef(t)
		in := log.Signals[0]
		before := slices.Clone(in.Float)
		want := map[int64]float64{}
		for i, v := range in.Float {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				continue
			}
			if in.Unit == "mV" {
				v /= 1000
			}
			if ref.Scale != nil {
				v *= *ref.Scale
			}
			if ref.Offset != nil {
				v += *ref.Offset
			}
			if ref.Invert {
				v *= -1
			}
			want[in.Time[i]] = v
		}
		got, err := ref.FloatIn(log, units.Volt)
		require.NoError(t, err)
		require.Len(t, got.T, len(want))
		for i, at := range got.T {
			require.Equal(t, want[at], got.V[i])
			require.True(t, i == 0 || got.T[i-1] < at, "strictly increasing")
		}
		for i, v := range before {
			require.Equal(t, math.Float64bits(v), math.Float64bits(in.Float[i]), "the log is left alone")
		}
	})
}

// A state changes only when a reading has passed the threshold one way, or the end of the
// hysteresis the other way; above is below of the negated signal.
func TestBoolProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := drawLog(t)
		log.Signals[0].Unit = ""
		limit := float64(rapid.IntRange(-2, 2).Draw(t, "limit"))
		hysteresis := float64(rapid.IntRange(0, 2).Draw(t, "hysteresis"))
		below := &profile.Ref{Signal: "s", Below: &limit, Hysteresis: hysteresis}
		got, err := below.Bool(log)
		require.NoError(t, err)
		v, err := signal("s").Float(log)
		require.NoError(t, err)
		require.Equal(t, v.T, got.T)
		on := false
		for i, x := range v.V {
			switch {
			case x < limit:
				on = true
			case x >= limit+hysteresis:
				on = false
			}
			require.Equal(t, on, got.V[i], "sample %d of %v", i, v.V)
		}

		above := &profile.Ref{Signal: "s", Above: ptr(-limit), Hysteresis: hysteresis, Scale: ptr(-1)}
		mirrored, err := above.Bool(log)
		require.NoError(t, err)
		require.Equal(t, got.V, mirrored.V)
	})
}

func BenchmarkFloat(b *testing.B) {
	const n = 150 * 250 // a match at 250 Hz
	v := make([]float64, n)
	for i := range v {
		v[i] = 12000 + float64(i%100)
	}
	log := floats("mV", v...)
	b.SetBytes(8 * n)
	for b.Loop() {
		if _, err := signal("s").Volts(log); err != nil {
			b.Fatal(err)
		}
	}
}
