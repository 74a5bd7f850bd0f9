package clock_test

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/clock"
)

// A collector that stops and starts again at any moment knows what one that ran through does,
// to the last bit, and goes on to the same.
func TestASnapshotGoesOnTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, _ := worlds(t)
		var through, restarted clock.Track
		x := 0.
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			x += rapid.Float64Range(1e5, 2e7).Draw(t, "pause")
			there, back := float64(delay(t, "there")), float64(delay(t, "back"))
			switch rapid.IntRange(0, 5).Draw(t, "kind") {
			case 0:
				w.start, w.ahead = w.start+3e7, w.ahead-3e7
			case 1, 2:
				e := w.exchange(x, there, 10, back)
				through.Add(e)
				restarted.Add(e)
			default:
				robot, collector := w.arrival(x, there)
				through.Arrived(robot, collector)
				restarted.Arrived(robot, collector)
			}
			want, err := json.Marshal(&through)
			require.NoError(t, err)
			var read clock.Track
			require.NoError(t, json.Unmarshal(want, &read))
			restarted = read
			got, err := json.Marshal(restarted)
			require.NoError(t, err)
			require.Equal(t, string(want), string(got))
			a, known := through.Fit()
			b, _ := restarted.Fit()
			require.Equal(t, a, b)
			if known {
				_, bound := through.BoundAt(a.At - 1e7)
				_, again := restarted.BoundAt(a.At - 1e7)
				require.Equal(t, bound, again)
			}
		}
	})
}

// The form is read by later versions: these bytes must go on meaning this.
func TestTheFormOfASnapshot(t *testing.T) {
	var track clock.Track
	track.Add(clock.Exchange{T0: 1000, T1: math.MaxInt64 - 400, T2: math.MaxInt64 - 380, T3: 1120})
	track.Arrived(1300, math.MaxInt64)
	text, err := json.Marshal(struct{ Track clock.Track }{track})
	require.NoError(t, err)
	assert.JSONEq(t, `{"Track":{"clock":1,"upper":[[1000,9223372036854775407],[1300,9223372036854775807]],"lower":[[1120,9223372036854775427]],
		"exchanges":1,"min_delay_us":100,"breaks":0}}`, string(text))
	assert.Contains(t, string(text), "9223372036854775807", "to the last digit")

	empty, err := json.Marshal(clock.Track{})
	require.NoError(t, err)
	assert.JSONEq(t, `{"clock":1,"upper":[],"lower":[],"exchanges":0,"min_delay_us":0,"breaks":0}`, string(empty))
}

func TestADamagedSnapshotIsRefused(t *testing.T) {
	const whole = `{"clock":1,"upper":[[1000,5000]],"lower":[[1100,5010]],"exchanges":1,"min_delay_us":90,"breaks":0}`
	var track clock.Track
	require.NoError(t, json.Unmarshal([]byte(whole), &track))
	before, ok := track.Fit()
	require.True(t, ok)

	var many []string
	for i := range 129 {
		many = append(many, fmt.Sprintf("[%d,%d]", i, i+4000))
	}
	for name, c := range map[string]struct{ old, with, says string }{
		"cut off":              {`"breaks":0}`, ``, "unexpected end of JSON input"},
		"another form":         {`"clock":1`, `"clock":2`, "version 2, expected 1"},
		"no form":              {`"clock":1,`, ``, "version 0, expected 1"},
		"no exchanges":         {`"exchanges":1`, `"exchanges":0`, "0 exchanges with 1 limits from above and 1 from below"},
		"nothing from above":   {`[[1000,5000]]`, `[]`, "1 exchanges with 0 limits"},
		"breaks under nothing": {`"breaks":0`, `"breaks":-1`, "out of range"},
		"delay under nothing":  {`:90`, `:-90`, "out of range"},
		"twice the same time":  {`[1000,5000]`, `[1000,5000],[1000,5001]`, "upper limit 1 is not after the one before it"},
		"out of order":         {`[1100,5010]`, `[1100,5010],[1099,5009]`, "lower limit 1 is not after the one before it"},
		"too many":             {`[[1000,5000]]`, `[` + strings.Join(many, ",") + `]`, "has 129 limits, more than 128"},
		"contradiction":        {`[1100,5010]`, `[1100,9010]`, "contradict each other"},
	} {
		damaged := strings.Replace(whole, c.old, c.with, 1)
		require.NotEqual(t, whole, damaged, name)
		err := json.Unmarshal([]byte(damaged), &track)
		assert.ErrorContains(t, err, c.says, name)
		after, ok := track.Fit()
		assert.True(t, ok, name)
		assert.Equal(t, before, after, name)
	}
}
