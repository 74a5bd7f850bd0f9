package recognize

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

func logWith(names ...string) *schemas.Log {
	l := &schemas.Log{}
	for i, n := range names {
		l.Signals = append(l.Signals, &schemas.Signal{Name: n, Time: []int64{int64(i)}, Float: []float64{0}})
	}
	l.Normalize()
	return l
}

func parsed(t *testing.T, text string) *profile.Profile {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte(text))
	require.NoError(t, err)
	return p
}

func TestTheBestProfileFits(t *testing.T) {
	four := parsed(t, "profile: 1\nrobot: heron\nmode: {signal: robot/mode}\npower: {voltage: power/voltage, current: power/current, battery: power/battery}\n")
	two := parsed(t, "profile: 1\nrobot: curlew\nmode: {signal: robot/mode}\npower: {voltage: power/voltage}\n")
	none := parsed(t, "profile: 1\nrobot: bittern\n")
	robots := []*profile.Profile{two, none, four}
	check := func(name string, log *schemas.Log, want ...int) {
		t.Helper()
		got := []int{}
		for _, f := range Profiles(log, robots) {
			got = append(got, f.Profile)
		}
		assert.Equal(t, append([]int{}, want...), got, name)
	}
	check("all of one, all of the other", logWith("robot/mode", "power/voltage", "power/current", "power/battery", "x"), 2, 0)
	check("all of the small one, half of the large", logWith("robot/mode", "power/voltage"), 0, 2)
	check("three of four before all of two: curlew has no current", logWith("robot/mode", "power/voltage", "power/current"), 2, 0)
	check("one of two is not enough", logWith("robot/mode", "x", "y"))
	check("nothing known", logWith("a", "b"))
	check("no log", &schemas.Log{})
	fits := Profiles(logWith("robot/mode", "power/voltage", "power/current"), []*profile.Profile{four})
	assert.Equal(t, []Fit{{Profile: 0, Found: 3, Missing: []string{"power/battery"}}}, fits)
	assert.Equal(t, 4, fits[0].Mapped())

	twin := []*profile.Profile{two, four, two}
	assert.Len(t, Tied(Profiles(logWith("robot/mode", "power/voltage"), twin)), 2)
	assert.Len(t, Tied(Profiles(logWith("robot/mode", "power/voltage", "power/current", "power/battery"), twin)), 1)
	assert.Empty(t, Tied(nil))
}

// Each sample log is told to be its own robot's, whatever the order of the profiles.
func TestTheSampleLogsAreRecognised(t *testing.T) {
	dir := filepath.Join("..", "..", "sample-logs")
	var robots []*profile.Profile
	for _, name := range []string{"heron.yaml", "curlew.yaml"} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		robots = append(robots, parsed(t, string(data)))
	}
	swapped := []*profile.Profile{robots[1], robots[0]}
	for log, robot := range map[string]string{"clean.csv.gz": "heron", "jam-stuck.csv.zst": "heron", "rookie.csv.gz": "curlew"} {
		l, _, err := ingest.ReadFiles(t.Context(), []string{filepath.Join(dir, log)}, ingest.Options{})
		require.NoError(t, err)
		for _, given := range [][]*profile.Profile{robots, swapped} {
			fits := Profiles(l, given)
			require.NotEmpty(t, fits, log)
			assert.Equal(t, robot, given[fits[0].Profile].Robot, log)
		}
	}
}

func TestWhatAFileNameSays(t *testing.T) {
	zone := time.FixedZone("", 2*3600)
	at := func(text string) time.Time {
		v, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		return v
	}
	robots := []string{"heron", "curlew"}
	for name, want := range map[string]Named{
		"q14.csv":                        {Match: "q14"},
		"Q14.CSV.GZ":                     {Match: "q14"},
		"heron-q14.csv":                  {Match: "q14", Robot: "heron"},
		"curlew_m003.jsonl":              {Match: "m3", Robot: "curlew"},
		"Qualification 14 heron.parquet": {Match: "q14", Robot: "heron"},
		"match_07.arrow":                 {Match: "m7"},
		"final-2.csv.zst":                {Match: "f2"},
		"2031-03-01_14-32-05_heron.csv":  {Match: "m0301-1432", Robot: "heron", Time: at("2031-03-01T14:32:05+02:00"), Seconds: true},
		"20310301T143205Z-q14.csv":       {Match: "q14", Time: at("2031-03-01T14:32:05Z"), Seconds: true},
		"log 2031-03-01 14.32.csv":       {Match: "m0301-1432", Time: at("2031-03-01T14:32:00+02:00")},
		"2031-13-41_14-32-05.csv":        {Match: "m2031-13-41-14-32-05"},
		"pit test, new belt.csv":         {Match: "pit-test-new-belt"},
		"14.csv":                         {Match: "m14"},
		"???.csv":                        {Match: "log"},
		".csv":                           {Match: "csv"},
		"heron.csv":                      {Match: "log", Robot: "heron"},
		"robot8.csv":                     {Match: "robot8"},
		"m0.csv":                         {Match: "m0"},
	} {
		got := FileName(name, robots, zone)
		assert.True(t, want.Time.Equal(got.Time), "%s: %v", name, got.Time)
		want.Time, got.Time = time.Time{}, time.Time{}
		assert.Equal(t, want, got, name)
		assert.NoError(t, schemas.CheckName("match", got.Match), name)
	}
}

func TestWhenAMatchBegan(t *testing.T) {
	now := time.Date(2031, 3, 1, 15, 0, 0, 0, time.UTC)
	began := time.Date(2031, 3, 1, 14, 30, 0, 0, time.UTC)
	const first, start, last = int64(5e6), int64(35e6), int64(205e6)
	got, how := Start(Named{Time: began}, now, now, first, last, start)
	assert.Equal(t, ByName, how)
	assert.Equal(t, began.Add(30*time.Second), got)
	got, how = Start(Named{}, began, now, first, last, start)
	assert.Equal(t, ByDate, how)
	assert.Equal(t, began.Add(-170*time.Second), got)
	for _, odd := range []time.Time{{}, time.Unix(0, 0), time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)} {
		_, how = Start(Named{Time: odd}, odd, now, first, last, start)
		assert.Empty(t, how, "%v", odd)
	}
	future := now.Add(48 * time.Hour)
	_, how = Start(Named{}, future, now, first, last, start)
	assert.Empty(t, how, "a file's date in the future")
	_, how = Start(Named{Time: future}, future, now, first, last, start)
	assert.Equal(t, ByName, how, "this laptop's clock may be wrong")
}

func FuzzFileName(f *testing.F) {
	f.Add("2031-03-01_14-32-05_heron.csv")
	f.Fuzz(func(t *testing.T, name string) {
		if got := FileName(name, []string{"heron"}, time.UTC); schemas.CheckName("match", got.Match) != nil {
			t.Fatalf("%q is no name of a match", got.Match)
		}
	})
}
