package main

import (
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

// exportedAs are the forms of export, and whether the payload of a NaN survives in them.
var exportedAs = map[string]bool{"csv": false, "jsonl": false, "parquet": true, "arrow": true, "arrow-stream": true}

// What export writes in any form, import reads, and nothing is lost on the way.
func TestEveryFormExportedAndImportedAgain(t *testing.T) {
	t.Parallel()
	first, profile := dataFolder(t), sample("curlew.yaml")
	stored(t, first, "rookie.csv.gz", "curlew.yaml")
	before := analyzed(t, "q14", "--data", first)
	for format := range exportedAs {
		out := filepath.Join(t.TempDir(), "out") // the name says nothing
		done(t, afterbell("export", "q14", "--data", first, "--format", format, "--out", out))
		second := dataFolder(t)
		done(t, importAs(t, second, "again", profile, []string{out}))
		after := analyzed(t, "again", "--data", second)
		assert.Equal(t, before.From.SignalsSHA256, after.From.SignalsSHA256, format)
		sameFacts(t, before, after)
		assert.Equal(t, readText(t, out), done(t, afterbell("export", "again", "--data", second, "--format", format)).stdout, format)
	}
	// The stored file is one too.
	third := dataFolder(t)
	done(t, importAs(t, third, "again", profile, []string{filepath.Join(first, "season=2031", "event=millbrook-open", "match=q14", "robot=curlew", "signals.parquet")}))
	assert.Equal(t, before.From.SignalsSHA256, analyzed(t, "again", "--data", third).From.SignalsSHA256)
}

// What is lost most easily: power-ups, payloads, signs, extremes, text that looks like a number,
// floats that look like integers, names that need quoting.
func TestExportOfWhatIsLostMostEasily(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "count", Kind: schemas.Int64, Time: []int64{-1, 2, 5}, Boot: []int32{0, 0, 3}, Int: []int64{math.MinInt64, 1<<53 + 1, math.MaxInt64}},
		{Name: "ok", Kind: schemas.Bool, Time: []int64{1, 2}, Bool: []bool{true, false}},
		{Name: `say "a", b`, Unit: "m/s²", Kind: schemas.Float64, Time: []int64{1, 2}, Float: []float64{5, -7}},
		{Name: "v", Unit: "V", Kind: schemas.Float64, Time: []int64{1, 2, 3, 4, 5, 6}, Float: []float64{math.Copysign(0, -1), math.Inf(1), math.Inf(-1), 5e-324, math.MaxFloat64, math.Float64frombits(0x7ff8dead0000beef)}},
		{Name: "words", Kind: schemas.Text, Time: []int64{1, 2, 3, 4, 5}, Text: []string{"nan", "", "12", "true", "a\r\n\"b\",\u2028"}},
	}}
	var b strings.Builder
	_, err := matchfile.Write(&b, log, nil)
	require.NoError(t, err)
	data, profile := dataFolder(t), written(t, "robot.yaml", "profile: 1\nrobot: heron\n")
	done(t, importAs(t, data, "q14", profile, []string{written(t, "q14.parquet", b.String())}))
	for format, payloads := range exportedAs {
		out := filepath.Join(t.TempDir(), "out")
		done(t, afterbell("export", "q14", "--data", data, "--format", format, "--out", out))
		describe := anylog.Describe
		if payloads {
			describe = anylog.DescribeBits
		}
		assert.Equal(t, describe(log), describe(readLog(t, out)), format)
	}
}

// A stretch begins with what was held then.
func TestExportKnowsWhatWasHeld(t *testing.T) {
	data := dataFolder(t)
	log := written(t, "q14.csv", "time_s,signal,value,type\n"+
		"0,robot/mode,driver,text\n3,game/score,2,int64\n4,released,5,float64\n1,gate,true,bool\n0,v [V],12,float64\n5,v [V],11,float64\n7,v [V],10.5,float64\n9,v [V],10,float64\n8,robot/mode,disabled,text\n")
	profile := written(t, "robot.yaml", "profile: 1\nrobot: heron\npath:\n  release: released\n  stages:\n    - {name: gate, sensor: gate}\n")
	done(t, importAs(t, data, "q14", profile, []string{log}))
	export := func(args ...string) string {
		return done(t, afterbell(append([]string{"export", "q14", "--data", data}, args...)...)).stdout
	}
	const header = "time_s,signal,value,type\n"
	assert.Equal(t, header+"6,game/score,2,int64\n6,gate,true,bool\n6,released,5,float64\n6,robot/mode,driver,text\n8,robot/mode,disabled,text\n7,v [V],10.5,float64\n", export("--from", "6", "--to", "8.5"))
	assert.Equal(t, header+"6,robot/mode,driver,text\n", export("--from", "6", "--to", "7", "--signal", "robot/mode"))
	assert.Equal(t, header+"8,robot/mode,disabled,text\n", export("--from", "8", "--to", "9", "--signal", "robot/mode"), "a sample at the start is the value there")
	assert.Equal(t, header, export("--from", "0.5", "--to", "0.6", "--signal", "game/score"), "it had no value yet")
	for format := range exportedAs {
		out := filepath.Join(t.TempDir(), "out")
		done(t, afterbell("export", "q14", "--data", data, "--from", "6", "--to", "8.5", "--format", format, "--out", out))
		got := readLog(t, out)
		assert.Equal(t, []string{"driver", "disabled"}, got.Find("robot/mode").Text, format)
		assert.Equal(t, []int64{6_000_000, 8_000_000}, got.Find("robot/mode").Time, format)
	}
}

// The stretch of a finding, with a little room.
func TestExportOfAFinding(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	stored(t, data, "jam-reversed.csv.gz", "heron.yaml")
	r := analyzed(t, "q14", "--data", data)
	require.NotEmpty(t, r.Findings)
	f := r.Findings[0]
	out := filepath.Join(t.TempDir(), "jam.parquet")
	done(t, afterbell("export", "q14", "--data", data, "--finding", f.ID, "--around", "1.5", "--format", "parquet", "--out", out))
	first, last, ok := readLog(t, out).Bounds()
	require.True(t, ok)
	assert.InDelta(t, f.StartS-1.5, schemas.Seconds(first), 0.05)
	assert.InDelta(t, f.EndS+1.5, schemas.Seconds(last), 0.05)

	failed(t, afterbell("export", "q14", "--data", data, "--finding", "jam-none-9"), exitFailed, `no finding "jam-none-9"; it has `, f.ID)
	failed(t, afterbell("export", "q14", "--data", data, "--finding", f.ID, "--from", "1"), exitUsage, "--finding and --from, --to exclude each other")
	failed(t, afterbell("export", "q14", "--data", data, "--without-notes"), exitUsage, "--without-notes belongs to --clip")
	failed(t, afterbell("export", "q14", "--data", data, "--format", "xlsx"), exitUsage, "use csv, jsonl, parquet, arrow or arrow-stream")
	failed(t, afterbell("export", "q14", "--data", data, "--signal", "no/such"), exitFailed, `no signal "no/such"`)
}

// The examples of RFC 3339, section 5.8. A leap second is told, and shifts nothing.
func TestTimesOfTheStandard(t *testing.T) {
	for at, want := range map[string]string{
		"1985-04-12T23:20:50.52Z":      "1985-04-12T23:20:50.52Z",
		"1996-12-19T16:39:57-08:00":    "1996-12-20T00:39:57Z",
		"1937-01-01T12:00:27.87+00:20": "1937-01-01T11:40:27.87Z",
	} {
		got, err := parseAt(at)
		require.NoError(t, err)
		assert.Equal(t, want, *got)
	}
	data, profile := dataFolder(t), sample("curlew.yaml")
	for _, at := range []string{"1990-12-31T23:59:60Z", "1990-12-31T15:59:60-08:00"} {
		failed(t, importAs(t, data, "q14", profile, []string{sample("rookie.csv.gz")}, "--at", at), exitUsage, "--at "+strconv.Quote(at)+" is a leap second")
	}
	assert.NoDirExists(t, filepath.Join(data, "season=2031"))
}
