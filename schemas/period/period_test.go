package period

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// modeLog is a log with a steady 10 Hz signal over [0, lengthS] and a mode signal that
// changes at the given seconds.
func modeLog(lengthS float64, changes map[float64]string) *schemas.Log {
	tick := &schemas.Signal{Name: "tick", Kind: schemas.Float64}
	for t := int64(0); t <= schemas.Micros(lengthS); t += 100_000 {
		tick.Time, tick.Float = append(tick.Time, t), append(tick.Float, 1)
	}
	mode := &schemas.Signal{Name: "robot/mode", Kind: schemas.Text}
	for at, m := range changes {
		mode.Time, mode.Text = append(mode.Time, schemas.Micros(at)), append(mode.Text, m)
	}
	log := &schemas.Log{Signals: []*schemas.Signal{tick, mode}}
	log.Normalize()
	return log
}

func byName() *profile.Mode {
	p, err := profile.Parse("robot.yaml", []byte("profile: 1\nrobot: heron\nmode: {signal: robot/mode}\n"))
	if err != nil {
		panic(err)
	}
	return p.Mode
}

func describe(matches []Match) string {
	out := ""
	for _, m := range matches {
		out += fmt.Sprintf("[%g-%g", schemas.Seconds(m.Start), schemas.Seconds(m.End))
		for _, p := range m.Periods {
			out += fmt.Sprintf(" %s %g-%g", p.Mode[:1], schemas.Seconds(p.Start), schemas.Seconds(p.End))
		}
		out += "]"
	}
	return out
}

// The rules are those of the definition of a match; each limit is tried at its value and
// one sample beyond.
func TestFindHoldsTheDefinitionOfAMatch(t *testing.T) {
	const d, a, v = "disabled", "autonomous", "driver"
	for _, c := range []struct {
		name    string
		length  float64
		changes map[float64]string
		want    string
	}{
		{"whole match", 200, map[float64]string{0: d, 10: a, 30: v, 150: d}, "[10-150 a 10-30 d 30-150]"},
		{"short pause between periods", 200, map[float64]string{0: d, 10: a, 30: d, 33: v, 150: d}, "[10-150 a 10-30 d 33-150]"},
		{"pause of exactly 10 s", 200, map[float64]string{0: d, 10: a, 30: d, 40: v, 150: d}, "[10-150 a 10-30 d 40-150]"},
		{"pause over 10 s", 200, map[float64]string{0: d, 10: a, 30: d, 40.1: v, 150: d}, "[10-30 a 10-30][40.1-150 d 40.1-150]"},
		{"driver only", 100, map[float64]string{0: d, 10: v, 90: d}, "[10-90 d 10-90]"},
		{"disabled under 5 s in driver", 200, map[float64]string{10: v, 60: d, 64.9: v, 150: d}, "[10-150 d 10-60 d 64.9-150]"},
		{"disabled 5 s behind driver", 200, map[float64]string{10: v, 60: d, 65: v, 150: d}, "[10-60 d 10-60][65-150 d 65-150]"},
		{"next match's autonomous at once", 200, map[float64]string{10: a, 30: v, 90: a, 110: v, 190: d}, "[10-90 a 10-30 d 30-90][90-190 a 90-110 d 110-190]"},
		{"log ends enabled", 96.4, map[float64]string{0: d, 10: a, 30: v}, "[10-96.4 a 10-30 d 30-96.4]"},
		{"unknown word is disabled", 200, map[float64]string{0: d, 10: a, 30: v, 150: "test"}, "[10-150 a 10-30 d 30-150]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Find(byName(), modeLog(c.length, c.changes))
			require.NoError(t, err)
			assert.Equal(t, c.want, describe(got))
		})
	}
}

func TestSilenceEndsAMatch(t *testing.T) {
	log := modeLog(40, map[float64]string{0: "disabled", 10: "autonomous", 30: "driver"})
	tick := log.Find("tick")
	for s := 101.0; s < 120; s++ { // 61 s later the log goes on, still in driver mode
		tick.Time, tick.Float = append(tick.Time, schemas.Micros(s)), append(tick.Float, 1)
	}
	got, err := Find(byName(), log)
	require.NoError(t, err)
	assert.Equal(t, "[10-40 a 10-30 d 30-40]", describe(got), "what the mode is after a silence is not known")

	mode := log.Find("robot/mode")
	mode.Time, mode.Text = append(mode.Time, 105e6), append(mode.Text, "driver")
	got, err = Find(byName(), log)
	require.NoError(t, err)
	assert.Equal(t, "[10-40 a 10-30 d 30-40][105-119 d 105-119]", describe(got))
}

func TestWithoutModeTheWholeLogIsTheMatch(t *testing.T) {
	got, err := Find(nil, modeLog(50, nil))
	require.NoError(t, err)
	assert.Equal(t, "[0-50 d 0-50]", describe(got))
	assert.NotEmpty(t, got[0].Notes)

	got, err = Find(byName(), modeLog(50, map[float64]string{0: "disabled"}))
	require.NoError(t, err)
	require.Len(t, got, 1)
	assert.Empty(t, got[0].Periods, "a robot that was never enabled had no period")
}

func TestEnabledAndAutonomousAsBools(t *testing.T) {
	log := modeLog(100, nil)
	at := func(name string, on ...float64) {
		s := &schemas.Signal{Name: name, Kind: schemas.Bool}
		for i, x := range on {
			s.Time, s.Bool = append(s.Time, schemas.Micros(x)), append(s.Bool, i%2 == 1)
		}
		log.Signals = append(log.Signals, s)
	}
	at("enabled", 0, 10, 80)
	at("auto", 0, 5, 30) // already true while disabled
	log.Normalize()
	p, err := profile.Parse("robot.yaml", []byte("profile: 1\nrobot: heron\nmode: {enabled: enabled, autonomous: auto}\n"))
	require.NoError(t, err)
	got, err := Find(p.Mode, log)
	require.NoError(t, err)
	assert.Equal(t, "[10-80 a 10-30 d 30-80]", describe(got))
}

func TestStoredStretchKeepsLeadAndHeldValues(t *testing.T) {
	log := modeLog(400, map[float64]string{0: "disabled", 100: "autonomous", 120: "driver", 240: "disabled"})
	log.Signals = append(log.Signals, &schemas.Signal{Name: "power/battery", Kind: schemas.Text, Time: []int64{2_000_000}, Text: []string{"B3"}})
	log.Normalize()
	got, err := Find(byName(), log)
	require.NoError(t, err)
	require.Len(t, got, 1)
	cut := Cut(log, got[0])
	first, last, _ := cut.Bounds()
	assert.Equal(t, [2]int64{70e6, 250e6}, [2]int64{first, last}, "30 s before and 10 s after")
	assert.Equal(t, []string{"B3"}, cut.Find("power/battery").Text, "a name said once before the cut still holds")
	assert.Equal(t, "disabled", cut.Find("robot/mode").Text[0])
	assert.Equal(t, 1801, cut.Find("tick").Len(), "a steady signal gets no extra sample")
}

// A recorder that was off between two matches: what a signal held is carried to the first
// sample of the second, not into the silence before it, where it would end a gap.
func TestCarriedValuesMakeNoGap(t *testing.T) {
	log := modeLog(20, map[float64]string{0: "autonomous", 5: "driver", 20: "disabled"})
	log.Signals = append(log.Signals, &schemas.Signal{Name: "power/battery", Kind: schemas.Text, Time: []int64{2_000_000}, Text: []string{"B3"}})
	log.Normalize()
	for _, s := range modeLog(20, map[float64]string{0: "disabled", 10: "autonomous", 15: "driver", 20: "disabled"}).Signals {
		old := log.Find(s.Name)
		for i, t := range s.Time {
			old.Time = append(old.Time, t+3600e6)
			if s.Kind == schemas.Text {
				old.Text = append(old.Text, s.Text[i])
			} else {
				old.Float = append(old.Float, s.Float[i])
			}
		}
	}
	log.Normalize()
	got, err := Find(byName(), log)
	require.NoError(t, err)
	require.Len(t, got, 2)
	cut := Cut(log, got[1])
	first, _, _ := cut.Bounds()
	assert.Equal(t, int64(3600e6), first)
	assert.Equal(t, []string{"B3"}, cut.Find("power/battery").Text)
	assert.Equal(t, []int64{3600e6}, cut.Find("power/battery").Time)
	assert.Equal(t, 201, cut.Find("tick").Len())
}

// Shifting a log in time shifts what is found, and nothing else.
func TestFindMovesWithTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shift := rapid.Int64Range(-1e9, 1e9).Draw(t, "shift")
		changes := map[float64]string{0: "disabled"}
		at := 0.0
		for range rapid.IntRange(1, 8).Draw(t, "changes") {
			at += float64(rapid.IntRange(1, 200).Draw(t, "step")) / 10
			changes[at] = rapid.SampledFrom([]string{"disabled", "autonomous", "driver"}).Draw(t, "mode")
		}
		log := modeLog(at+10, changes)
		before, err := Find(byName(), log)
		require.NoError(t, err)
		for _, s := range log.Signals {
			for i := range s.Time {
				s.Time[i] += shift
			}
		}
		after, err := Find(byName(), log)
		require.NoError(t, err)
		require.Len(t, after, len(before))
		for i := range before {
			assert.Equal(t, before[i].Start+shift, after[i].Start)
			assert.Equal(t, before[i].End+shift, after[i].End)
			assert.Equal(t, len(before[i].Periods), len(after[i].Periods))
		}
	})
}

// What a power-up last said holds until its next sample, and no longer than the power-up.
func TestCutCarriesWithinOnePowerUp(t *testing.T) {
	pack := &schemas.Signal{
		Name: "power/battery", Kind: schemas.Text, Time: []int64{0, 40e6}, Text: []string{"B1", "B2"}, Boot: []int32{0, 1},
	}
	note := &schemas.Signal{Name: "note", Kind: schemas.Text, Time: []int64{1e6}, Text: []string{"of the power-up before"}}
	volts := &schemas.Signal{Name: "power/voltage", Kind: schemas.Float64}
	for at := int64(41e6); at <= 120e6; at += 1e6 {
		volts.Time, volts.Float, volts.Boot = append(volts.Time, at), append(volts.Float, 12), append(volts.Boot, 1)
	}
	log := &schemas.Log{Signals: []*schemas.Signal{pack, note, volts}}
	log.Normalize()
	out := Cut(log, Match{First: 60e6, Last: 100e6})
	require.Nil(t, out.Find("note"))
	got := out.Find("power/battery")
	require.Equal(t, []string{"B2"}, got.Text)
	require.Equal(t, []int64{60e6}, got.Time)
	require.Equal(t, []int32{1}, got.Boot)
}
