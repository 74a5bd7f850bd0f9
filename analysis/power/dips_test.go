package power

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

func volts(stepUS int64, v ...float64) *series.Float {
	s := &series.Float{}
	for k := range v {
		s.T = append(s.T, int64(k)*stepUS)
	}
	s.V = v
	return s
}

func brownouts(v *series.Float, enter, leave float64) Result {
	return Detect(Input{Voltage: v, EnterV: enter, LeaveV: leave, Start: v.T[0], End: v.T[len(v.T)-1]}, DefaultConfig())
}

// Source: the dip rule of IEC 61000-4-30 on a vector made by hand.
func TestDipsOfTheStandardsRule(t *testing.T) {
	f, err := os.Open("testdata/dip_vector.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	v := &series.Float{}
	for _, row := range rows[1:] {
		i, err := strconv.ParseInt(row[0], 10, 64)
		require.NoError(t, err)
		u, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		v.T, v.V = append(v.T, i*20_000), append(v.V, u)
	}
	type found struct{ start, end, min, minAt float64 }
	list := func(leave float64) (out []found) {
		for _, b := range brownouts(v, 8.0, leave).Brownouts {
			require.NotNil(t, b.EndS)
			out = append(out, found{b.StartS, *b.EndS, b.MinV, b.MinAtS})
		}
		return out
	}
	assert.Equal(t, []found{{0.10, 0.26, 7.5, 0.18}, {0.34, 0.36, 7.99, 0.34}}, list(8.5))
	assert.Equal(t, []found{{0.10, 0.14, 7.9, 0.10}, {0.18, 0.24, 7.5, 0.18}, {0.34, 0.36, 7.99, 0.34}}, list(8.0), "without hysteresis")
	assert.Equal(t, list(8.0), list(0), "a recovery under the cut-off is none")
}

func TestDipLimits(t *testing.T) {
	below := func(v float64) float64 { return math.Nextafter(v, 0) }
	for name, c := range map[string]struct {
		v    []float64
		dips int
		ends bool
	}{
		"at the limit":            {[]float64{12, 6.8, 12}, 0, false},
		"just under":              {[]float64{12, below(6.8), 12}, 1, true},
		"back at the limit":       {[]float64{12, 6, 7.4, 12}, 1, true},
		"just under the recovery": {[]float64{12, 6, below(7.4), 7}, 1, false},
		"log ends within":         {[]float64{12, 12, 6}, 1, false},
		"log begins within":       {[]float64{6, 6, 12}, 1, true},
		"all of the log":          {[]float64{6, 6}, 1, false},
		"never":                   {[]float64{12, 12}, 0, false},
		"two":                     {[]float64{12, 6, 8, 6, 8}, 2, true},
	} {
		got := brownouts(volts(20_000, c.v...), 6.8, 7.4).Brownouts
		if assert.Len(t, got, c.dips, name) && c.dips > 0 {
			assert.Equal(t, c.ends, got[len(got)-1].EndS != nil, name)
		}
	}
}

// The area under the cut-off of straight lines between samples, worked out by hand.
func TestVoltSeconds(t *testing.T) {
	// From 6 V to 8 V the line is under 7 V for half of the step, half a volt on average.
	b := brownouts(volts(100_000, 12, 6, 6, 8), 7, 7.5).Brownouts
	require.Len(t, b, 1)
	assert.InDelta(t, 0.1*1+0.05*0.5, b[0].VoltSeconds, 1e-12)
	// Between cut-off and recovery it is still a dip, but not under the cut-off.
	b = brownouts(volts(100_000, 12, 6, 7.2, 7.2, 8), 7, 7.5).Brownouts
	require.Len(t, b, 1)
	assert.InDelta(t, 0.1*1/1.2/2, b[0].VoltSeconds, 1e-12)
}

// A controller that reboots is silent just when it matters.
func TestSilenceWithinABrownout(t *testing.T) {
	v := volts(20_000, 12, 12, 12, 12, 6.5, 6.4, 12, 12, 12, 12)
	for k := 6; k < len(v.T); k++ {
		v.T[k] += 3_000_000
	}
	r := brownouts(v, 6.8, 7.4)
	require.Len(t, r.Brownouts, 1)
	b := r.Brownouts[0]
	assert.Equal(t, 3.12, *b.EndS, "the first sample back, by the rule")
	assert.InDelta(t, 0.02*(0.3+0.4)/2, b.VoltSeconds, 1e-12, "the silence adds nothing")
	require.NotEmpty(t, r.Notes)
	assert.Contains(t, r.Notes[0], "silent for 3.0 s within the brownout at 0.08 s")
}

func TestBrownoutsNeedLimits(t *testing.T) {
	r := brownouts(volts(20_000, 12, 3, 12), 0, 0)
	assert.Empty(t, r.Brownouts)
	assert.Contains(t, r.Notes[0], "no brownout limits")
	assert.Equal(t, 3.0, *r.Battery.LowestV)
	assert.Equal(t, 0.02, *r.Battery.LowestAtS)

	for _, none := range []*series.Float{nil, {}} {
		r = Detect(Input{Voltage: none, EnterV: 6.8, LeaveV: 7.4}, DefaultConfig())
		assert.Empty(t, r.Brownouts)
		assert.Nil(t, r.Battery.LowestV)
		assert.Equal(t, "no voltage reading", r.Battery.Reason)
	}
}

func TestPeriodOfABrownout(t *testing.T) {
	in := Input{
		Voltage: volts(1_000_000, 6, 8, 6, 8, 6, 8, 6, 8), EnterV: 6.8, LeaveV: 7.4,
		Periods: []schemas.Period{{Name: "autonomous", StartS: 1, EndS: 4}, {Name: "driver", StartS: 4, EndS: 6}},
	}
	var names []string
	for _, b := range Detect(in, DefaultConfig()).Brownouts {
		names = append(names, b.Period)
	}
	assert.Equal(t, []string{"", "autonomous", "driver", ""}, names)
}

// The dips that IEC 61000-4-29 tests d.c. supplies with, at 12 V read 50 times a second: to
// 70, 40 and 0 % of the voltage for 0.01 to 1 s (levels and durations from memory). Each
// that holds a reading is found to within one; a shorter one is found or lies between two
// readings, and the report says how far these are apart.
func TestDipsOfADirectCurrentSupply(t *testing.T) {
	for _, level := range []float64{0.7, 0.4, 0} {
		for _, length := range []float64{0.01, 0.03, 0.1, 0.3, 1} {
			for _, start := range []float64{5.003, 5.011, 5.019} {
				v := steady(0, 10, 50, 12)
				held := 0
				for k, at := range v.T {
					if s := float64(at) / 1e6; s >= start && s < start+length {
						v.V[k] = 12 * level
						held++
					}
				}
				b := Detect(Input{Voltage: v, EnterV: 10, LeaveV: 10.5, End: v.T[len(v.T)-1]}, DefaultConfig()).Brownouts
				if held == 0 {
					assert.Less(t, length, 0.02)
					assert.Empty(t, b)
					continue
				}
				require.Len(t, b, 1, "%v for %v s", level, length)
				assert.Equal(t, 12*level, b[0].MinV)
				assert.InDelta(t, start, b[0].StartS, *b[0].ResolutionS)
				assert.InDelta(t, start+length, *b[0].EndS, *b[0].ResolutionS)
				assert.InDelta(t, 0.02, *b[0].ResolutionS, 1e-9)
			}
		}
	}
}
