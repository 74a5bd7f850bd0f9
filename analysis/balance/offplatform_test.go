package balance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// climbedTo is a log with a second before it in which the robot was driven up by a command to where the
// log begins.
func climbedTo(in Input, command float64) Input {
	const before, step = 1_000_000, 20_000
	tilt, drive := &series.Float{}, &series.Float{}
	for t := int64(0); t < before; t += step {
		tilt.T, tilt.V = append(tilt.T, t), append(tilt.V, in.Tilt.V[0])
		drive.T, drive.V = append(drive.T, t), append(drive.V, command)
	}
	for i, t := range in.Tilt.T {
		tilt.T, tilt.V = append(tilt.T, before+t), append(tilt.V, in.Tilt.V[i])
		drive.T, drive.V = append(drive.T, before+t), append(drive.V, in.Drive.V[i])
	}
	in.Tilt, in.Drive, in.End = tilt, drive, in.End+before
	return in
}

// A loop with a strong rate term brakes the platform by a command that goes on through all of a short
// hold: it answers the rate, and the robot is still there.
func TestALoopThatBrakesDoesNotDriveOff(t *testing.T) {
	for _, lead := range []float64{0.6, 0.7, 0.8} {
		for _, gain := range []float64{0.015, 0.02, 0.03} {
			for _, damp := range []float64{4, 7, 10} {
				in := climbedTo(board{damp: damp, stiff: -0.3, pull: 700, lag: 0.08, slide: 0.001, limit: 0.6}.under(gain, lead, 0, 6), -0.4)
				in.HoldS = 0.4
				found := Detect(in, DefaultConfig()).Balances
				require.NotEmpty(t, found)
				assert.Equal(t, "level", found[0].Outcome, "lead %g gain %g damp %g", lead, gain, damp)
			}
		}
	}
}

// A robot that turns on the floor behind the platform, to and fro and then away by some metres, is off it,
// though it was not driven on as the tilt came back; one that is told half a metre stands level.
func TestDrivenFarWithoutATiltIsOff(t *testing.T) {
	for command, want := range map[float64]string{0.6: "left", 0.1: "level"} {
		in := Input{Tilt: &series.Float{}, Drive: &series.Float{}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1}
		for at := int64(0); at < 10_000_000; at += 20_000 {
			tilt, drive := 0.0, 0.0
			switch s := seconds(at); {
			case s < 2:
			case s < 3.5:
				tilt, drive = 12, 0.3
			case s >= 4.2 && s < 4.5:
				drive = -command
			case s >= 5 && s < 7:
				drive = command
			}
			in.Tilt.T, in.Tilt.V = append(in.Tilt.T, at), append(in.Tilt.V, tilt)
			in.Drive.T, in.Drive.V = append(in.Drive.T, at), append(in.Drive.V, drive)
		}
		in.End = in.Tilt.T[len(in.Tilt.T)-1]
		found := Detect(in, DefaultConfig()).Balances
		require.Len(t, found, 1)
		assert.Equal(t, want, found[0].Outcome, "command %g", command)
	}
}
