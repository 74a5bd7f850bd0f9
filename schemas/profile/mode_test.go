package profile_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

func TestModeOf(t *testing.T) {
	m := parse(t, head+"mode: {signal: s, values: {disabled: [disabled, \"0\"], autonomous: [autonomous, 1, true], driver: [driver, 2.0, Tele Op]}}\n").Mode
	for value, want := range map[string]string{
		"disabled": "disabled", "0": "disabled", "0.0": "disabled", "-0": "disabled",
		"autonomous": "autonomous", "1": "autonomous", "1.0": "autonomous", "+1": "autonomous", "true": "autonomous", "TRUE": "autonomous",
		"driver": "driver", "2": "driver", " driver ": "driver", "Tele Op": "driver",
	} {
		mode, ok := m.Of(value)
		assert.True(t, ok, "%q", value)
		assert.Equal(t, want, mode, "%q", value)
	}
	for _, unknown := range []string{"", "3", "test", "Driver", "teleop", "false", "nan"} {
		_, ok := m.Of(unknown)
		assert.False(t, ok, "%q", unknown)
	}
}

func TestModeSeries(t *testing.T) {
	text := "mode: {signal: s, values: {disabled: [0, disabled, false], autonomous: [1, autonomous], driver: [2, driver, true]}}\n"
	m := parse(t, head+text).Mode
	want := []string{"disabled", "autonomous", "driver", "disabled"}
	for name, log := range map[string]*schemas.Log{
		"text":  texts("disabled", "autonomous", "driver", "test"),
		"int":   ints(0, 1, 2, 7),
		"float": floats("", 0, 1, 2, 0.5),
	} {
		s, err := m.Series(log)
		require.NoError(t, err, name)
		assert.Equal(t, want, s.V, name)
		assert.Equal(t, times(4), s.T, name)
	}
	s, err := m.Series(bools(false, true))
	require.NoError(t, err)
	assert.Equal(t, []string{"disabled", "driver"}, s.V)
	s, err = m.Series(floats("", 1, math.NaN(), 2))
	require.NoError(t, err)
	assert.Equal(t, []string{"autonomous", "driver"}, s.V, "no reading is no change of mode")

	log := texts("autonomous")
	_, err = m.Series(log)
	require.NoError(t, err)
	assert.Equal(t, "autonomous", log.Signals[0].Text[0], "the log is left alone")
	s, err = m.Series(logOf())
	assert.Nil(t, s)
	assert.NoError(t, err)
	s, err = (*profile.Mode)(nil).Series(log)
	assert.Nil(t, s)
	assert.NoError(t, err)
}

func TestModeSeriesOfBools(t *testing.T) {
	m := parse(t, head+"mode: {enabled: e, autonomous: a}\n").Mode
	enabled := &schemas.Signal{Name: "e", Kind: schemas.Bool, Time: []int64{0, 10, 30, 40, 60}, Bool: []bool{false, true, false, true, false}}
	autonomous := &schemas.Signal{Name: "a", Kind: schemas.Int64, Time: []int64{5, 10, 35}, Int: []int64{1, 1, 0}}
	s, err := m.Series(logOf(enabled, autonomous))
	require.NoError(t, err)
	assert.Equal(t, []int64{0, 5, 10, 30, 35, 40, 60}, s.T)
	assert.Equal(t, []string{"disabled", "disabled", "autonomous", "disabled", "disabled", "driver", "disabled"}, s.V)

	s, err = m.Series(logOf(enabled))
	require.NoError(t, err)
	assert.Equal(t, []string{"disabled", "driver", "disabled", "driver", "disabled"}, s.V, "never said to be autonomous")
	s, err = m.Series(logOf(autonomous))
	assert.Nil(t, s)
	assert.NoError(t, err)
	words := &schemas.Signal{Name: "a", Kind: schemas.Text, Time: []int64{0}, Text: []string{"yes"}}
	_, err = m.Series(logOf(enabled, words))
	assert.EqualError(t, err, `signal "a" is text where a number is needed`)
}

// A mode signal is never out of step with its profile: each value listed is found again
// under its own mode, however numbers are written.
func TestModeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Int64Range(-1000, 1000).Draw(t, "value")
		written := fmt.Sprintf(rapid.SampledFrom([]string{"%d", "%d.0", " %d", "%de0"}).Draw(t, "form"), value)
		m := &profile.Mode{Signal: signal("s"), Values: map[string][]string{"driver": {written}}}
		s, err := m.Series(ints(value, value+1))
		require.NoError(t, err)
		require.Equal(t, []string{"driver", "disabled"}, s.V)
	})
}
