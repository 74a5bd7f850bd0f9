package findings

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Many short drop-outs are one finding, and sensors that dropped out together share it.
func TestSensorsThatDropOut(t *testing.T) {
	drop := func(signal string, start, end float64) schemas.Fault {
		return schemas.Fault{Signal: signal, Kind: "drop-out", StartS: start, EndS: end, Note: "reads 0", Confidence: schemas.Some(0.97)}
	}
	p, err := profile.Parse("robot.yaml", []byte(strings.Replace(robot, "{tilt: imu/pitch,", "{tilt: imu/pitch, rate: imu/rate,", 1)))
	require.NoError(t, err)
	look := func(faults ...schemas.Fault) []schemas.Finding {
		r := &schemas.Report{Match: schemas.Match{StartS: 10, EndS: 160}, Quality: schemas.Quality{Faults: faults}}
		found, _ := Build(Input{Report: r, Profile: p, LogEnd: 170})
		return found
	}

	found := look(drop("imu/pitch", 40, 40.5), drop("imu/pitch", 60, 61), drop("imu/pitch", 90, 90.1))
	require.Len(t, found, 1)
	assert.Equal(t, "The sensor imu/pitch dropped to zero 3 times, 1.6 s in all.", found[0].Title)
	assert.Contains(t, found[0].Because, "The longest was 1.00 s at 50.0 s.")
	assert.Equal(t, schemas.SeverityFix, found[0].Severity)
	assert.Len(t, found[0].Spans, 3)
	assert.InDelta(t, 0.97, found[0].Confidence, 1e-12)

	found = look(drop("imu/pitch", 40, 40.5), drop("imu/pitch", 60, 61), drop("imu/rate", 40, 40.5), drop("imu/rate", 60, 61))
	require.Len(t, found, 1)
	assert.Equal(t, "The sensors imu/pitch and imu/rate dropped to zero 2 times, 1.5 s in all.", found[0].Title)
	assert.Len(t, found[0].Spans, 2)
	assert.Contains(t, found[0].Because, "what they share")

	assert.Len(t, look(drop("imu/pitch", 40, 40.5), drop("imu/rate", 60, 61)), 2, "not together")
	found = look(drop("imu/pitch", 40, 40.5))
	require.Len(t, found, 1)
	assert.Equal(t, "The sensor imu/pitch dropped to zero once, for 0.50 s.", found[0].Title)
	assert.Equal(t, schemas.SeverityWatch, found[0].Severity)
}

// A profile that reads a signal wrongly is one finding, with what to write for each.
func TestSignalsThatTheProfileMisreads(t *testing.T) {
	p, err := profile.Parse("robot.yaml", []byte(robot))
	require.NoError(t, err)
	r := &schemas.Report{Match: schemas.Match{StartS: 10, EndS: 160}, Quality: schemas.Quality{Faults: []schemas.Fault{
		{Signal: "pose/x", Kind: schemas.FaultMisread, StartS: 0, EndS: 170, Note: "pose x: the robot goes 9000 m: it is in mm; in the profile write {signal: pose/x, unit: mm}"},
		{Signal: "pose/y", Kind: schemas.FaultMisread, StartS: 0, EndS: 170, Note: "pose y: the robot goes 4000 m: it is in mm; in the profile write {signal: pose/y, unit: mm}"},
	}}}
	found, verdict := Build(Input{Report: r, Profile: p, LogEnd: 170})
	require.Len(t, found, 1)
	assert.Equal(t, "The profile reads pose/x and pose/y wrongly.", found[0].Title)
	assert.Equal(t, schemas.SeverityFix, found[0].Severity)
	require.Len(t, found[0].Check, 2)
	assert.Contains(t, found[0].Check[0], "write {signal: pose/x, unit: mm}")
	assert.Contains(t, verdict.Text, "reads pose/x and pose/y wrongly")
}

// Sensors that share a zero that is off are one finding, and stop no robot.
func TestAZeroThatIsOffIsToldOnce(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		for _, b := range []string{"left", "lift", "roller"} {
			r.Quality.Faults = append(r.Quality.Faults, schemas.Fault{
				Signal: "power/branch/" + b, Kind: schemas.FaultZero, EndS: 160, Note: b + " reads 2.3 A at rest",
			})
		}
	})
	require.Len(t, found, 1)
	assert.Equal(t, schemas.SeverityFix, found[0].Severity)
	assert.Equal(t, "The zero of three current sensors is off.", found[0].Title)
	assert.Contains(t, found[0].Because, "left reads 2.3 A at rest, lift reads 2.3 A at rest and roller reads 2.3 A at rest")
	assert.Len(t, found[0].Evidence, 3)
	assert.Equal(t, []string{cautionHands}, found[0].Caution)
}
