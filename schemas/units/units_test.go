package units

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func convert(t *testing.T, v float64, from, to string) float64 {
	t.Helper()
	a, ok := Find(from)
	require.True(t, ok, "%q", from)
	b, ok := Find(to)
	require.True(t, ok, "%q", to)
	c, err := a.To(b)
	require.NoError(t, err)
	return c.Apply(v)
}

// Values that are exact by definition. Prefixes, minute, hour, degree and degree Celsius:
// SI Brochure, 9th edition (BIPM 2019), tables 4, 7 and 8. Inch, foot, pound, pound-force,
// standard gravity, psi and degree Fahrenheit: NIST SP 811 (2008), appendix B.8 and 4.2.1.1.
// The factors are written out here, not taken from the table under test.
func TestDefinedValues(t *testing.T) {
	for _, c := range []struct {
		v        float64
		from, to string
		want     float64
	}{
		{1, "V", "V", 1},
		{11900, "mV", "V", 11.9},
		{0.0119, "kV", "V", 11.9},
		{42300, "mA", "A", 42.3},
		{250000, "uA", "A", 0.25},
		{1.5, "kW", "W", 1500},
		{1, "Wh", "J", 3600},
		{1, "Ah", "As", 3600},
		{1000, "mAh", "As", 3600},
		{20, "mOhm", "Ohm", 0.02},
		{125, "ms", "s", 0.125},
		{2, "min", "s", 120},
		{1, "h", "s", 3600},
		{1, "in", "m", 0.0254},
		{1, "ft", "m", 0.3048},
		{12, "in", "ft", 1},
		{100, "cm", "m", 1},
		{80, "mm", "m", 0.08},
		{1, "km", "m", 1000},
		{10, "ft/s", "m/s", 3.048},
		{100, "in/s", "m/s", 2.54},
		{36, "km/h", "m/s", 10},
		{1, "gee", "m/s2", 9.80665},
		{180, "deg", "rad", math.Pi},
		{math.Pi, "rad", "deg", 180},
		{1, "rev", "rad", 2 * math.Pi},
		{0.25, "turn", "deg", 90},
		{60, "rpm", "rad/s", 2 * math.Pi},
		{1, "rpm", "rad/s", 2 * math.Pi / 60},
		{1, "rpm", "deg/s", 6},
		{1, "rev/s", "rpm", 60},
		{180, "deg/s", "rad/s", math.Pi},
		{1, "lb", "kg", 0.45359237},
		{1, "lbf", "N", 4.4482216152605},
		{500, "g", "kg", 0.5},
		{1, "psi", "Pa", 6894.757293168361},
		{50, "%", "1", 0.5},
		{212, "degF", "degC", 100},
		{32, "degF", "degC", 0},
		{-40, "degF", "degC", -40},
		{273.15, "K", "degC", 0},
		{25, "degC", "K", 298.15},
	} {
		got := convert(t, c.v, c.from, c.to)
		assert.InDelta(t, c.want, got, 4e-16*math.Max(math.Abs(c.want), 300), "%v %s in %s", c.v, c.from, c.to)
	}
}

// A threshold in the profile and a reading in a smaller unit must meet: 6801 mV is the
// float64 nearest to 6.801, the value that 6.801 has in a profile.
func TestDecimalSubunitsRoundOnce(t *testing.T) {
	for mV := range 20000 {
		require.Equal(t, float64(mV)/1000, convert(t, float64(mV), "mV", "V"))
	}
}

func TestSpellings(t *testing.T) {
	for symbol, spellings := range map[string]string{
		"V": "v volt Volts VDC", "mV": "mv MV millivolts", "A": "a amp Amps AMPERES", "mA": "ma MA milliamps",
		"Ohm": "Ω Ω ohm ohms", "mOhm": "mΩ mohm", "us": "µs μs usec", "s": "S sec seconds", "ms": "msec Milliseconds",
		"deg": "° º degrees Deg", "deg/s": "°/s dps degrees/sec Deg/Sec", "rad/s": "RAD/S radians/s", "rpm": "RPM r/min rev/min",
		"rev/s": "rps rot/s", "rev": "turns rotations rot", "m": "M metre meters", "in": "inch Inches \"", "ft": "FT feet",
		"Nm": "N·m N*m nm N⋅m", "degC": "°C C celsius", "degF": "°F F", "K": "k kelvin", "kg": "KG", "g": "grams",
		"m/s2": "m/s² m/s^2", "%": "percent", "Hz": "hz hertz", "1": "ratio",
	} {
		for _, spelling := range append(strings.Fields(spellings), symbol) {
			u, ok := Find(spelling)
			if assert.True(t, ok, "%q", spelling) {
				assert.Equal(t, symbol, u.Symbol, "%q", spelling)
			}
		}
	}
	for _, unknown := range []string{"", " ", "furlong", "counts", "V/s", "mm2", "left", "°°"} {
		_, ok := Find(unknown)
		assert.False(t, ok, "%q", unknown)
	}
}

// No spelling may stand for two units, and a further spelling that is not folded would
// never be found by another case.
func TestTableIsUnambiguous(t *testing.T) {
	owner := map[string]string{}
	for _, r := range table {
		for _, spelling := range append([]string{fold(r.Symbol)}, r.also...) {
			assert.Equal(t, fold(spelling), spelling, "of %s", r.Symbol)
			assert.Empty(t, owner[spelling], "%q of %s", spelling, r.Symbol)
			owner[spelling] = r.Symbol
		}
		assert.Equal(t, 1.0, Base(r.Quantity).Num)
		assert.Contains(t, Of(r.Quantity), r.Symbol)
		assert.Equal(t, Base(r.Quantity).Symbol, Of(r.Quantity)[0])
		assert.NotContains(t, r.Quantity.String(), "Quantity(")
	}
}

func TestWrongQuantity(t *testing.T) {
	_, err := Ampere.To(Volt)
	assert.EqualError(t, err, "A is a current, not a voltage")
	_, err = named("rpm").To(Metre)
	assert.EqualError(t, err, "rpm is an angular speed, not a length")
	assert.Equal(t, "Quantity(200)", Quantity(200).String())
}

func TestConversionProperties(t *testing.T) {
	unit := rapid.Custom(func(t *rapid.T) Unit { return rapid.SampledFrom(table).Draw(t, "row").Unit })
	rapid.Check(t, func(t *rapid.T) {
		u := unit.Draw(t, "unit")
		other := unit.Filter(func(o Unit) bool { return o.Quantity == u.Quantity }).Draw(t, "other")
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "v")

		self, err := u.To(u)
		require.NoError(t, err)
		require.True(t, self.Identity())
		require.Equal(t, v, self.Apply(v))

		there, err := u.To(other)
		require.NoError(t, err)
		back, err := other.To(u)
		require.NoError(t, err)
		require.InDelta(t, v, back.Apply(there.Apply(v)), 1e-9*math.Max(1, math.Abs(v)))

		base := Base(u.Quantity)
		direct, err := u.To(base)
		require.NoError(t, err)
		onward, err := other.To(base)
		require.NoError(t, err)
		want := direct.Apply(v)
		require.InDelta(t, want, onward.Apply(there.Apply(v)), 1e-9*math.Max(1, math.Abs(want)))
	})
}

func TestSplit(t *testing.T) {
	for in, want := range map[string][2]string{
		"bus voltage [V]":     {"bus voltage", "V"},
		"power/voltage":       {"power/voltage", ""},
		"  speed  [ rad/s ] ": {"speed", "rad/s"},
		"tilt\t[°]":           {"tilt", "°"},
		"motor[0]":            {"motor[0]", ""},
		"motor[0] [A]":        {"motor[0]", "A"},
		"v[mV]":               {"v", "mV"},
		"motor[0][A]":         {"motor[0]", "A"},
		"arm [left]":          {"arm", "left"},
		"a [b] c":             {"a [b] c", ""},
		"a [b] [c]":           {"a [b]", "c"},
		"[V]":                 {"[V]", ""},
		" [V]":                {"[V]", ""},
		"a []":                {"a []", ""},
		"a [ ]":               {"a [ ]", ""},
		"a V]":                {"a V]", ""},
		"":                    {"", ""},
	} {
		name, unit := Split(in)
		assert.Equal(t, want, [2]string{name, unit}, "%q", in)
	}
}

// What is split off can be put back: nothing of a name is lost but blanks around it.
func TestSplitProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.OneOf(rapid.String(), rapid.StringMatching(`[ab \[\]]{0,8}`)).Draw(t, "in")
		name, unit := Split(in)
		if unit == "" {
			require.Equal(t, strings.TrimSpace(in), name)
			return
		}
		again, same := Split(name + " [" + unit + "]")
		require.Equal(t, [2]string{name, unit}, [2]string{again, same})
	})
}
