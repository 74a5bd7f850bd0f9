package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/schemas"
)

// facts is a report without what tells one storing of a match from another.
func facts(r *schemas.Report) *schemas.Report {
	copied := *r
	copied.From.Seal, copied.From.StoredAt = "", ""
	copied.Match.Season, copied.Match.Event, copied.Match.Match, copied.Match.At = "", "", "", nil
	return &copied
}

// sameFacts requires that two reports say the same of a match, to the last digit.
func sameFacts(t testing.TB, want, got *schemas.Report) {
	t.Helper()
	a, err := json.Marshal(facts(want))
	require.NoError(t, err)
	b, err := json.Marshal(facts(got))
	require.NoError(t, err)
	sameReport(t, string(a), string(b), "two reports of a match")
}

// sameReport requires that two reports are the same text, and shows where they are not.
func sameReport(t testing.TB, want, got, what string) {
	t.Helper()
	if want == got {
		return
	}
	var a, b any
	require.NoError(t, json.Unmarshal([]byte(want), &a))
	require.NoError(t, json.Unmarshal([]byte(got), &b))
	require.Fail(t, what+" differ", "%s", shown(differences("report", a, b, 0)))
}

// shown are the first few of the differences, which may be a thousand.
func shown(differences []string) string {
	slices.Sort(differences)
	const most = 10
	if more := len(differences) - most; more > 0 {
		differences = append(differences[:most:most], fmt.Sprintf("and %d more", more))
	}
	if len(differences) == 0 {
		return "in the last digits"
	}
	return strings.Join(differences, "\n")
}

// importAs imports files as a match of millbrook-open with the profile.
func importAs(t testing.TB, data, match, profile string, files []string, more ...string) outcome {
	t.Helper()
	args := append([]string{"import", "--data", data, "--season", "2031", "--event", "millbrook-open", "--match", match, "--profile", profile}, more...)
	return afterbell(append(args, files...)...)
}

// readLog reads a log as import does.
func readLog(t testing.TB, path string) *schemas.Log {
	t.Helper()
	log, _, err := ingest.ReadFiles(context.Background(), []string{path}, ingest.Options{})
	require.NoError(t, err)
	return log
}

// writeLog writes a log as export does.
func writeLog(t testing.TB, log *schemas.Log, name string) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, csvlog.WriteLong(&b, log))
	return written(t, name, b.String())
}

// What export writes, import reads, and nothing is lost on the way: the same hash over all
// samples, and the same report.
func TestExportAndImportAgain(t *testing.T) {
	t.Parallel()
	for _, s := range samples {
		t.Run(s.name, func(t *testing.T) {
			profile, out := sample(s.profile), filepath.Join(t.TempDir(), "out.csv")
			first, second := dataFolder(t), dataFolder(t) // or the first would be history to the second
			done(t, importAs(t, first, "q14", profile, []string{sample(s.log)}))
			done(t, afterbell("export", "q14", "--data", first, "--format", "csv", "--out", out))
			done(t, importAs(t, second, "again", profile, []string{out}))
			before, after := analyzed(t, "q14", "--data", first), analyzed(t, "again", "--data", second)
			assert.Equal(t, before.From.SignalsSHA256, after.From.SignalsSHA256)
			sameFacts(t, before, after)

			assert.Equal(t, done(t, afterbell("export", "again", "--data", second)).stdout, readText(t, out), "and written again it is the same bytes")
		})
	}
}

func readText(t testing.TB, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(data)
}

// The Parquet library and the Arrow reader, which had no part in writing, find every sample.
func TestExportsOtherProgramsRead(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	log := readLog(t, sample("rookie.csv.gz"))
	volts := log.Find("power/voltage")
	require.Equal(t, "V", volts.Unit)
	dir := t.TempDir()

	path := filepath.Join(dir, "q14.parquet")
	done(t, afterbell("export", "q14", "--data", data, "--format", "parquet", "--out", path))
	type row struct {
		Signal string   `parquet:"signal"`
		TimeUS int64    `parquet:"time_us"`
		Value  *float64 `parquet:"value"`
		Text   *string  `parquet:"value_text"`
	}
	rows, err := parquet.ReadFile[row](path)
	require.NoError(t, err)
	require.Len(t, rows, log.Samples())
	at := 0
	for _, s := range log.Signals {
		for i := range s.Time {
			require.Equal(t, [2]any{s.Name, s.Time[i]}, [2]any{rows[at].Signal, rows[at].TimeUS})
			if s.Kind == schemas.Text {
				require.Equal(t, s.Text[i], *rows[at].Text)
			} else {
				require.Equal(t, s.Number(i), *rows[at].Value)
			}
			at++
		}
	}

	o := done(t, afterbell("export", "q14", "--data", data, "--format", "arrow"))
	in, err := ipc.NewFileReader(strings.NewReader(o.stdout))
	require.NoError(t, err)
	defer in.Close()
	samples, seen := 0, 0
	for {
		rec, err := in.Read()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		samples += int(rec.NumRows())
		names := rec.Column(0).(*array.String)
		for i := range names.Len() {
			if names.Value(i) == "power/voltage [V]" {
				require.Equal(t, volts.Time[seen], rec.Column(2).(*array.Int64).Value(i))
				require.Equal(t, volts.Float[seen], rec.Column(3).(*array.Float64).Value(i))
				seen++
			}
		}
	}
	assert.Equal(t, log.Samples(), samples)
	assert.Equal(t, volts.Len(), seen)
}

// A stretch of some signals: the ends belong to it, and times are those of the log.
func TestExportOfAStretch(t *testing.T) {
	data := dataFolder(t)
	log := written(t, "q14.csv", "time_s,signal,value\n-1.5,a [V],1\n0,a [V],2\n0,b,x\n1.000001,a [V],3\n1.000002,a [V],4\n")
	profile := written(t, "robot.yaml", "profile: 1\nrobot: heron\n")
	done(t, importAs(t, data, "q14", profile, []string{log}))
	export := func(args ...string) string {
		return done(t, afterbell(append([]string{"export", "q14", "--data", data}, args...)...)).stdout
	}
	const header = "time_s,signal,value,type\n"
	assert.Equal(t, header+"0,a [V],2,int64\n1.000001,a [V],3,int64\n", export("--signal", "a", "--from", "0", "--to", "1.000001"))
	assert.Equal(t, header+"-1.5,a [V],1,int64\n", export("--to=-1"))
	assert.Equal(t, header+"0,b,x,text\n", export("--signal", "b"))
	assert.Equal(t, header, export("--from", "100"))
}

// An export over a file replaces it whole or not at all; what is no file is written to.
func TestExportOverWhatIsThere(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	want := done(t, afterbell("export", "q14", "--data", data)).stdout
	old := written(t, "old.csv", "old")
	link := filepath.Join(t.TempDir(), "link.csv")
	if os.Symlink(old, link) != nil {
		link = old // a system without links
	}
	done(t, afterbell("export", "q14", "--data", data, "--out", link))
	assert.Equal(t, want, readText(t, old), "a link is followed")
	entries, err := os.ReadDir(filepath.Dir(old))
	require.NoError(t, err)
	assert.Len(t, entries, 1)

	failed(t, afterbell("export", "q14", "--data", data, "--out", t.TempDir()), exitFailed, "is a directory")
	nowhere := filepath.Join(t.TempDir(), "no", "out.csv")
	failed(t, afterbell("export", "q14", "--data", data, "--out", nowhere), exitFailed, "writing "+nowhere)
	failed(t, afterbell("analyze", "q14", "--data", data, "--html", nowhere), exitFailed, "writing "+nowhere)
	done(t, afterbell("export", "q14", "--data", data, "--out", os.DevNull))
	info, err := os.Stat(os.DevNull)
	require.NoError(t, err)
	assert.False(t, info.Mode().IsRegular(), "the null device is still one")
}

// Files of one match, all at once or one after the other, are the match that one file with
// all of it is; for a sample that is in several, the last wins.
func TestSeveralFilesOfOneMatch(t *testing.T) {
	text := string(unpacked(t, "rookie.csv.gz"))
	header, rows, _ := strings.Cut(text, "\n")
	var poses, rest strings.Builder
	poses.WriteString(header + "\n")
	rest.WriteString(header + "\n")
	for row := range strings.Lines(rows) {
		if strings.Contains(row, ",pose/") {
			poses.WriteString(row)
		} else {
			rest.WriteString(row)
		}
	}
	a, b := written(t, "main.csv", rest.String()), written(t, "poses.csv.gz", gzipped(t, poses.String()))
	profile := sample("curlew.yaml")
	whole := analyzed(t, sample("rookie.csv.gz"), "--profile", profile)

	together := dataFolder(t)
	done(t, importAs(t, together, "q14", profile, []string{a, b}))
	sameFacts(t, whole, analyzed(t, "q14", "--data", together))

	added := dataFolder(t)
	done(t, importAs(t, added, "q14", profile, []string{a}, "--at", "2031-03-01T14:32:00Z"))
	half := analyzed(t, "q14", "--data", added)
	assert.Less(t, half.Quality.Samples, whole.Quality.Samples)
	done(t, importAs(t, added, "q14", profile, []string{b}, "--add"))
	r := analyzed(t, "q14", "--data", added)
	sameFacts(t, whole, r)
	assert.Equal(t, "2031-03-01T14:32:00Z", *r.Match.At, "it is still the match of that time")
	assert.Equal(t, half.From.StoredAt, r.From.StoredAt)
	assert.Equal(t, "2", r.From.Seal)

	done(t, importAs(t, added, "q14", profile, []string{b}, "--add"))
	sameFacts(t, whole, analyzed(t, "q14", "--data", added)) // adding it once more adds nothing

	corrected := written(t, "fix.csv", "time_s,signal,value\n244.9815,power/voltage [V],11.5\n")
	done(t, importAs(t, added, "q14", profile, []string{corrected}, "--add"))
	assert.Contains(t, done(t, afterbell("export", "q14", "--data", added, "--signal", "power/voltage", "--to", "244.99")).stdout, "\n244.9815,power/voltage [V],11.5,float64\n")

	other := written(t, "text.csv", "time_s,signal,value\n300,power/voltage [V],high\n")
	before := contents(t, added)
	failed(t, importAs(t, added, "q14", profile, []string{other}, "--add"), exitFailed, "signal power/voltage is float64 in one log and text in another")
	assert.Equal(t, before, contents(t, added))
}

// A log of two matches becomes two, each what it is when it stands alone.
func TestALogOfTwoMatches(t *testing.T) {
	profile := sample("curlew.yaml")
	one := readLog(t, sample("rookie.csv.gz"))
	const pause = 3600 * 1_000_000
	both, err := ingest.Merge(one, later(one, pause))
	require.NoError(t, err)
	path := writeLog(t, both, "Session 7.csv")

	data := dataFolder(t)
	o := done(t, afterbell("import", path, "--profile", profile, "--data", data, "--season", "2031", "--event", "millbrook-open", "--at", "2031-03-01T23:30:00Z"))
	assert.Contains(t, o.stdout, "2031/millbrook-open/session-7-1/curlew")
	assert.Contains(t, o.stdout, "2031/millbrook-open/session-7-2/curlew")
	assert.Contains(t, o.stderr, `note: match "Session 7" is stored as "session-7"`)

	alone := dataFolder(t)
	done(t, importAs(t, alone, "session-7-1", profile, []string{sample("rookie.csv.gz")}))
	done(t, importAs(t, alone, "session-7-2", profile, []string{writeLog(t, later(one, pause), "x.csv")}))
	for i, at := range []string{"2031-03-01T23:30:00Z", "2031-03-02T00:30:00Z"} {
		name := fmt.Sprintf("session-7-%d", i+1)
		got, want := analyzed(t, name, "--data", data), analyzed(t, name, "--data", alone)
		sameFacts(t, want, got)
		assert.Equal(t, at, *got.Match.At)
	}
	assert.Equal(t, []string{"2031/millbrook-open/session-7-1"}, analyzed(t, "session-7-2", "--data", data).Usual.Matches)

	failed(t, afterbell("analyze", path, "--profile", profile), exitUsage, "holds 2 matches", "choose one with --nth")
	second := analyzed(t, path, "--profile", profile, "--nth", "2")
	assert.Equal(t, analyzed(t, "session-7-2", "--data", data).From.SignalsSHA256, second.From.SignalsSHA256)

	undated := dataFolder(t) // when is not said
	done(t, afterbell("import", path, "--profile", profile, "--data", undated, "--season", "2032"))
	assert.Equal(t, []string{"2032/practice/session-7-1"}, analyzed(t, "session-7-2", "--data", undated).Usual.Matches)
}

// later is a log with all times shifted.
func later(log *schemas.Log, us int64) *schemas.Log {
	out := &schemas.Log{}
	for _, s := range log.Signals {
		shifted := *s
		shifted.Time = make([]int64, s.Len())
		for i, t := range s.Time {
			shifted.Time[i] = t + us
		}
		out.Signals = append(out.Signals, &shifted)
	}
	return out
}

// Samples added to a match that bring another match along do not displace it.
func TestAddedSamplesOfAnotherMatch(t *testing.T) {
	data, profile := dataFolder(t), sample("curlew.yaml")
	one := readLog(t, sample("rookie.csv.gz"))
	done(t, importAs(t, data, "q14", profile, []string{sample("rookie.csv.gz")}))
	before := analyzed(t, "q14", "--data", data)
	o := done(t, importAs(t, data, "q14", profile, []string{writeLog(t, later(one, 3600_000_000), "x.csv")}, "--add"))
	assert.Contains(t, o.stderr, fmt.Sprintf("note: %d samples are not of this match and are not stored", one.Samples()))
	sameFacts(t, before, analyzed(t, "q14", "--data", data))
}

// Names become legal ones with a note, and two that would become one are refused.
func TestNamesAreTidied(t *testing.T) {
	data, profile, dir := dataFolder(t), sample("curlew.yaml"), t.TempDir()
	var paths []string
	for _, name := range []string{"Q 14 (final).csv.gz", "2031.03.01 q7.csv.gz", "q_14.CSV"} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, readSample(t, "rookie.csv.gz"), 0o644))
		paths = append(paths, path)
	}
	o := done(t, afterbell(append([]string{"import", "--profile", profile, "--data", data, "--season", "2031", "--event", "Millbrook Open", "--json"}, paths...)...))
	var got []imported
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &got))
	var names []string
	for _, m := range got {
		names = append(names, m.name())
		assert.DirExists(t, m.Folder)
	}
	assert.Equal(t, []string{"2031/millbrook-open/q-14-final/curlew", "2031/millbrook-open/m2031.03.01-q7/curlew", "2031/millbrook-open/q_14/curlew"}, names)
	assert.Contains(t, o.stderr, `note: event "Millbrook Open" is stored as "millbrook-open"`)
	assert.Contains(t, o.stderr, `note: match "Q 14 (final)" is stored as "q-14-final"`)

	same := filepath.Join(dir, "q-14-FINAL.csv")
	before := contents(t, data)
	failed(t, afterbell("import", paths[0], same, "--profile", profile, "--data", data, "--replace"), exitUsage, paths[0], same, "would both be match q-14-final")
	failed(t, afterbell("import", filepath.Join(dir, "___.csv"), "--profile", profile, "--data", data), exitUsage, "___.csv", "give one with --match")
	assert.Equal(t, before, contents(t, data))
}

// Of several files in one command those before a bad one are stored, and the error says so.
func TestABadFileAmongOthers(t *testing.T) {
	data := dataFolder(t)
	bad := written(t, "bad.csv", "time_s,signal,value\nnoon,a,1\n")
	o := afterbell("import", sample("rookie.csv.gz"), bad, "--profile", sample("curlew.yaml"), "--data", data, "--season", "2031")
	failed(t, o, exitFailed, "bad.csv line 2", `"noon"`)
	assert.Contains(t, o.stderr, "\nstored all the same: 2031/practice/rookie/curlew\n")
	done(t, afterbell("verify", "rookie", "--data", data))
}

// A match that is replaced keeps its place among the others, which its history depends on.
func TestReplacing(t *testing.T) {
	t.Parallel()
	data, profile := dataFolder(t), sample("heron.yaml")
	clean, jam := []string{sample("clean.csv.gz")}, []string{sample("jam-reversed.csv.gz")}
	done(t, importAs(t, data, "q1", profile, clean))
	done(t, importAs(t, data, "q2", profile, jam))
	done(t, importAs(t, data, "q3", profile, clean))
	second := analyzed(t, "q2", "--data", data)
	require.Equal(t, []string{"2031/millbrook-open/q1"}, second.Usual.Matches)
	done(t, importAs(t, data, "q2", profile, clean, "--replace"))
	replaced := analyzed(t, "q2", "--data", data)
	assert.Equal(t, second.Usual.Matches, replaced.Usual.Matches, "q3 came later and still does")
	assert.Equal(t, second.From.StoredAt, replaced.From.StoredAt)
	assert.Equal(t, analyzed(t, "q1", "--data", data).From.SignalsSHA256, replaced.From.SignalsSHA256)
	done(t, importAs(t, data, "q2", profile, jam, "--replace"))
	sameFacts(t, second, analyzed(t, "q2", "--data", data))
}
