package check

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// What a wrong unit makes of a sound log no robot explains, one signal at a time, and nothing of
// the log as it is.
func TestMisreads(t *testing.T) {
	for _, c := range []struct {
		name, signal string
		by           float64
		do           string
	}{
		{"as it is", "power/voltage", 1, ""},
		{"voltage in mV", "power/voltage", 1000, "unit: mV"},
		{"current in mA", "power/current", 1000, "unit: mA"},
		{"place in mm", "pose/x", 1000, "unit: mm"},
		{"place in inches", "pose/x", 1 / 0.0254, "unit: in"},
		{"command in per cent", "path/throat/command", 100, `unit: "%"`},
		{"command in volts", "path/throat/command", 12, "scale"},
		{"command that asks for a little more than there is", "path/throat/command", 0.9, ""},
		{"tilt in hundredths", "imu/pitch", 100, "unit or scale"},
		{"heading that goes round and round", "pose/heading", 30, ""},
		{"tilt in radians may be flat ground", "imu/pitch", math.Pi / 180, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			log, text := match(t)
			for i := range log.Find(c.signal).Float {
				log.Find(c.signal).Float[i] *= c.by
			}
			p, err := profile.Parse("robot.yaml", []byte(text))
			require.NoError(t, err)
			got := Misreads(p, log)
			if c.do == "" {
				assert.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			assert.Equal(t, c.signal, got[0].Signal)
			assert.Contains(t, got[0].Do, c.do)
		})
	}
}

// A few readings that a bad wire made are no matter of the profile.
func TestSpikesAreNotMisread(t *testing.T) {
	log, text := match(t)
	r := rand.New(rand.NewPCG(1, 1))
	for _, name := range []string{"power/voltage", "power/current", "pose/x", "path/throat/command", "imu/pitch"} {
		s := log.Find(name)
		for range len(s.Float) / 500 {
			s.Float[r.IntN(len(s.Float))] = 1e5
		}
	}
	p, err := profile.Parse("robot.yaml", []byte(text))
	require.NoError(t, err)
	assert.Empty(t, Misreads(p, log))
}

func TestFlatGroundOrRadians(t *testing.T) {
	flat := func(change func(*schemas.Signal)) bool {
		log, text := match(t)
		change(log.Find("imu/pitch"))
		p, err := profile.Parse("robot.yaml", []byte(text))
		require.NoError(t, err)
		_, ok := Flat(p, log)
		return ok
	}
	radians := func(s *schemas.Signal) {
		for i := range s.Float {
			s.Float[i] *= math.Pi / 180
		}
	}
	assert.False(t, flat(func(*schemas.Signal) {}), "it was on the platform")
	assert.True(t, flat(radians))
	assert.False(t, flat(func(s *schemas.Signal) { radians(s); s.Unit = "rad" }), "the log says so")
}
