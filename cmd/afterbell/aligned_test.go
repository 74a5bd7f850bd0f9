package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/schemas"
)

// twoComputers cuts a sample log in two by signals, the second on a clock of its own: shifted
// by so many seconds, and slower by so many millionths. Both have the mode.
func twoComputers(t *testing.T, log string, shift, ppm float64) (first, second string) {
	t.Helper()
	l := readLog(t, sample(log))
	one, two := &schemas.Log{}, &schemas.Log{}
	for _, s := range l.Signals {
		vision := strings.HasPrefix(s.Name, "pose/") || strings.HasPrefix(s.Name, "vision/") || strings.HasPrefix(s.Name, "imu/")
		if !vision {
			one.Signals = append(one.Signals, s)
		}
		if vision || s.Name == "robot/mode" || s.Name == "game/score" {
			c := *s
			c.Time = make([]int64, s.Len())
			for i, at := range s.Time {
				c.Time[i] = int64(math.Round((float64(at) - shift*1e6) * (1 - ppm*1e-6)))
			}
			two.Signals = append(two.Signals, &c)
		}
	}
	dir := t.TempDir()
	write := func(name string, l *schemas.Log) string {
		path := filepath.Join(dir, name)
		f, err := os.Create(path)
		require.NoError(t, err)
		require.NoError(t, csvlog.WriteLong(f, l))
		require.NoError(t, f.Close())
		return path
	}
	return write("drive.csv", one), write("vision.csv", two)
}

// Logs of two computers come together as the whole log they were cut from: the same findings,
// and the report says what was done to them.
func TestTwoComputersLogsArePutTogether(t *testing.T) {
	t.Parallel()
	first, second := twoComputers(t, "bad-balance.csv.gz", 1234.567, 80)
	data := filepath.Join(t.TempDir(), "data")
	args := []string{"import", first, second, "--match", "q14", "--profile", sample("heron.yaml"), "--event", "millbrook-open", "--season", "2031", "--data", data}
	o := done(t, afterbell(append(args, "--align")...))
	told := `vision\.csv was shifted by 1234\.4\d\d s ± 0\.0\d\d s, told by \d+ changes of game/score, robot/mode that both saw`
	assert.Regexp(t, told, o.stderr) // 1234.567 s at its own zero, and 80 ppm less for each second since
	requireWhole(t, data)
	got := analyzed(t, "q14", "--data", data)
	want := sampleReport(t, "bad-balance.csv.gz")
	assert.Equal(t, want.Verdict.Severity, got.Verdict.Severity)
	require.Equal(t, len(want.Balances), len(got.Balances))
	for i := range want.Balances {
		assert.Equal(t, want.Balances[i].Outcome, got.Balances[i].Outcome)
		assert.InDelta(t, want.Balances[i].StartS, got.Balances[i].StartS, 0.05)
	}
	assert.Equal(t, len(want.Passes), len(got.Passes))
	assert.Equal(t, len(want.Cycles), len(got.Cycles))
	require.NotEmpty(t, got.Quality.Notes)
	assert.Regexp(t, told, strings.Join(got.Quality.Notes, "; "))
	done(t, afterbell("analyze", "q14", "--again", "--data", data))
	assert.Contains(t, strings.Join(analyzed(t, "q14", "--data", data).Quality.Notes, "; "), "told by")

	done(t, afterbell(append(args, "--shift", "1234.567", "--replace")...))
	assert.Contains(t, strings.Join(analyzed(t, "q14", "--data", data).Quality.Notes, "; "), "vision.csv was shifted by 1234.567 s, as it was told")
}

func sampleReport(t *testing.T, log string) *schemas.Report {
	t.Helper()
	return reportIn(t, done(t, afterbell("analyze", sample(log), "--profile", sample("heron.yaml"), "--json")).stdout)
}

// What cannot be told is refused, and nothing is stored.
func TestLogsThatCannotBePutTogether(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	first := written(t, "a.csv", "time_s,a\n0,1\n1,2\n")
	second := written(t, "b.csv", "time_s,b\n0,1\n1,2\n")
	for _, tt := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{first, second, "--match", "q1", "--align"}, exitFailed, "no signal is in both logs"},
		{[]string{first, first, "--match", "q1", "--align"}, exitFailed, "or say the shift with --shift"},
		{[]string{first, second, "--align"}, exitUsage, "name it with --match"},
		{[]string{first, "--match", "q1", "--align"}, exitUsage, "need a file"},
		{[]string{first, second, "--match", "q1", "--align", "--shift", "3"}, exitUsage, "leave one out"},
		{[]string{first, second, first, "--match", "q1", "--shift", "3"}, exitUsage, "these are 3"},
		{[]string{first, second, "--match", "q1", "--shift", fmt.Sprint(math.Inf(1))}, exitUsage, "is no shift"},
		{[]string{first, second, "--match", "q1", "--shift", "3", "--add"}, exitUsage, "is for one file"},
		{[]string{first, "--match", "q1", "--align", "--add"}, exitFailed, "there is no data folder"},
	} {
		failed(t, afterbell(append([]string{"import", "--profile", sample("curlew.yaml"), "--data", data}, tt.args...)...), tt.code, tt.want)
	}
	assert.NoDirExists(t, data)
}
