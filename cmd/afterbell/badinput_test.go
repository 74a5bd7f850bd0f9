package main

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/arrowlog"
)

// refused checks that no command takes the file, that each says so in the same words, and
// that nothing is left of it in a data folder, be there one or not.
func refused(t *testing.T, path string, parts ...string) {
	t.Helper()
	curlew := sample("curlew.yaml")
	parts = append(parts, path)
	failed(t, afterbell("analyze", path, "--profile", curlew), exitFailed, parts...)
	failed(t, afterbell("profile", "check", curlew, "--log", path), exitFailed, parts...)

	none := dataFolder(t)
	failed(t, afterbell("import", path, "--profile", curlew, "--data", none, "--match", "q14"), exitFailed, parts...)
	assert.NoDirExists(t, none)

	some := dataFolder(t)
	stored(t, some, "rookie.csv.gz", "curlew.yaml")
	before := contents(t, some)
	for _, how := range []string{"--replace", "--add"} {
		failed(t, afterbell("import", path, "--profile", curlew, "--data", some, "--season", "2031", "--event", "millbrook-open", "--match", "q14", how), exitFailed, parts...)
	}
	assert.Equal(t, before, contents(t, some), "what was stored is not touched")
}

func TestFilesThatAreNoLogs(t *testing.T) {
	t.Parallel()
	const header = "time_s,signal,value\n"
	const object = `{"time_s":1,"signal":"a","value":1}` + "\n"
	arrow, stream, parquet := tableFiles(t)
	flipped := []byte(parquet)
	for i := len(flipped) / 3; i < len(flipped)/3+8; i++ {
		flipped[i] ^= 0xff
	}
	packed := readSample(t, "rookie.csv.gz")
	packedZstd := readSample(t, "jam-stuck.csv.zst")
	damaged, wrongSum := bytes.Clone(packed), bytes.Clone(packed)
	damaged[len(damaged)/2] ^= 0x10
	wrongSum[len(wrongSum)-7] ^= 0x10 // of the CRC-32 at the end (RFC 1952, section 2.3.1)
	junk := make([]byte, 5000)
	random := rand.New(rand.NewPCG(1, 2))
	for i := range junk {
		junk[i] = byte(random.Uint32())
	}
	for _, c := range []struct {
		name, content string
		says          []string
	}{
		{"empty", "", []string{"line 1", "the file is empty", "begin a long file with time_s,signal,value"}},
		{"empty lines", "\n\n\n", []string{"begin a long file with"}},
		{"header only", header, []string{"line 1", "no samples, only a header", "check that the log was recorded"}},
		{"other header", "t,name,v\n1,a,2\n", []string{"line 1", `begins with neither time_s nor time_us`}},
		{"binary junk", string(junk), []string{"line 1"}},
		{"zeros", strings.Repeat("\x00", 5000), []string{"line 1"}},
		{"picture", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", []string{"line 1"}},
		{"web page", "<!DOCTYPE html>\n<html></html>\n", []string{"line 1", "time_s"}},
		{"time that is no time", header + "1,a,2\nnoon,a,3\n", []string{"line 3, column 1 (time_s)", `"noon"`, "write decimal seconds such as 12.345678", "--skip-bad-rows"}},
		{"time of the year 300000", header + "1,a,2\n9300000000000,a,3\n", []string{"line 3, column 1 (time_s)"}},
		{"decimal comma", header + "1,a,12\n2,a,\"12,1\"\n", []string{"line 3, column 3 (value)"}},
		{"hexadecimal", "time_s,signal,value,type\n1,a,0x10,float64\n", []string{"line 2, column 3 (value)", `"0x10"`}},
		{"too large a number", header + "1,a,2\n2,a,1e400\n", []string{"line 3, column 3 (value)", `"1e400"`}},
		{"two types", header + "1,a,2\n2,a,on\n", []string{"line 3, column 3 (value)", `"on"`, "--skip-bad-rows"}},
		{"too few fields", header + "1,a,2\n2,a\n", []string{"line 3", "2 fields where the header has 3"}},
		{"open quotation mark", header + "1,a,\"2\n3,a,4\n", []string{"line 2"}},
		{"not UTF-8", header + "1,caf\xe9,2\n", []string{"line 2", "UTF-8"}},
		{"gzip cut in the middle", string(packed[:len(packed)/2]), []string{"cut short", "copy it again from where it was recorded"}},
		{"gzip cut before its last byte", string(packed[:len(packed)-1]), []string{"cut short"}},
		{"gzip cut in its head", string(packed[:6]), []string{"cut short"}},
		{"gzip with a damaged byte", string(damaged), nil},
		{"gzip with another checksum", string(wrongSum), []string{"the gzip data are damaged", "copy the file again"}},
		{"zstd cut in the middle", string(packedZstd[:len(packedZstd)/2]), []string{"cut short", "copy it again"}},
		{"zstd cut before its last byte", string(packedZstd[:len(packedZstd)-1]), []string{"cut short"}},
		{"gzip in gzip", gzipped(t, string(packed)), []string{"packed twice", "unpack it once"}},
		{"JSON of no log", `{"name":"x"}` + "\n", []string{"line 1", "neither time_s nor time_us"}},
		{"JSON cut in a line", object + object[:20], []string{"line 2", "ends before its JSON object does"}},
		{"JSON number too large", object + strings.Replace(object, "1}", "1e400}", 1), []string{"line 2, column 34 (value)", "1e400", "--skip-bad-rows"}},
		{"JSON in one array", "[" + object + "]", []string{"a JSON array", "one object a line"}},
		{"JSON in gzip, cut", gzipped(t, strings.Repeat(object, 1000))[:60], []string{"cut short"}},
		{"Arrow file cut", arrow[:len(arrow)*2/3], []string{"cut short", "copy it again"}},
		{"Arrow stream cut", stream[:len(stream)*2/3], []string{"cut short", "copy it again"}},
		{"Arrow of the magic only", "ARROW1\x00\x00", []string{"cut short before its first row"}},
		{"Arrow length of gigabytes", "\xff\xff\xff\xff\xf0\xff\xff\x7f" + stream[8:], []string{"the Arrow data are damaged", "copy the file again"}},
		{"Parquet cut", parquet[:len(parquet)/2], []string{"the Parquet data are damaged", "the end of a Parquet file is missing"}},
		{"Parquet damaged", string(flipped), []string{"Parquet"}},
		{"Parquet encrypted", "PARE" + parquet[4:], []string{"a Parquet file that is encrypted", "without encryption"}},
		{"Parquet in zstd, cut", zstded(t, parquet)[:200], []string{"Parquet"}},
		{"nothing in gzip", gzipped(t, ""), []string{"the file is empty"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			refused(t, written(t, "q14.csv", c.content), c.says...)
		})
	}
	t.Run("no file", func(t *testing.T) {
		refused(t, filepath.Join(t.TempDir(), "q14.csv"), "no")
	})
}

// A signal that has a few more names than any robot is a value column taken for a name.
func TestMoreSignalsThanAnyRobot(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,signal,value\n")
	for i := range 10_002 {
		fmt.Fprintf(&b, "%d,%d,a\n", i, i)
	}
	refused(t, written(t, "q14.csv", b.String()), "line 10002", "more than 10000 signals", "check that the signal column holds names")
}

// The order of rows, and rows that come twice, change nothing that is concluded or stored.
func TestRowsInAnyOrder(t *testing.T) {
	lines := strings.Split(strings.TrimRight(string(unpacked(t, "rookie.csv.gz")), "\n"), "\n")
	header, rows := lines[0], lines[1:]
	report := func(rows []string) string {
		path := written(t, "q14.csv", header+"\n"+strings.Join(rows, "\n")+"\n")
		return done(t, afterbell("analyze", path, "--profile", sample("curlew.yaml"), "--json")).stdout
	}
	want := report(rows)
	require.Greater(t, len(want), 5000)

	backwards := slices.Clone(rows)
	slices.Reverse(backwards)
	sameReport(t, want, report(backwards), "rows in order, and backwards,")

	shuffled := slices.Clone(rows)
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	sameReport(t, want, report(shuffled), "rows in order, and in none,")

	doubled := slices.Clone(rows)
	for i, row := range rows {
		doubled = append(doubled, row)
		if i%3 == 0 {
			doubled = append(doubled, row)
		}
	}
	sameReport(t, want, report(doubled), "rows once, and some twice or three times,")

	late := slices.Clone(rows)
	for i := 0; i < 1000; i += 7 {
		late[i], late[len(late)-1-i] = late[len(late)-1-i], late[i]
	}
	sameReport(t, want, report(late), "rows in order, and some late,")
}

func TestBadRowsThatAreSkippedAreCounted(t *testing.T) {
	data := dataFolder(t)
	text := strings.Replace(string(unpacked(t, "rookie.csv.gz")), "\n", "\nnoon,game/score,1,int64\n", 1) + "1e99,pose/x,1,float64\n"
	path := written(t, "q14.csv", text)
	args := []string{path, "--profile", sample("curlew.yaml"), "--skip-bad-rows"}
	o := done(t, afterbell(append([]string{"import", "--data", data}, args...)...))
	assert.Contains(t, o.stdout, "2 bad rows left out")
	assert.Contains(t, o.stderr, `note: 2 bad rows left out; the first: `+path+` line 2, column 1 (time_s): "noon"`)
	with, without := analyzed(t, args...), analyzed(t, sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"))
	assert.Equal(t, without.From.SignalsSHA256, with.From.SignalsSHA256, "the rest is all there")

	// Cut short, the whole rows before the cut are left.
	cut := readSample(t, "rookie.csv.gz")
	r := analyzed(t, written(t, "q14.csv.gz", string(cut[:len(cut)/2])), "--profile", sample("curlew.yaml"), "--skip-bad-rows")
	assert.Greater(t, r.Quality.Samples, 4000)
	assert.Less(t, r.Quality.Samples, without.Quality.Samples)
}

// A profile whose signals are not in the log is no error: the report says what it went
// without, and the sheet what would tell.
func TestAProfileOfOtherSignals(t *testing.T) {
	args := []string{sample("rookie.csv.gz"), "--profile", sample("heron.yaml")}
	r := analyzed(t, args...)
	assert.Contains(t, r.Quality.Missing, "imu/pitch")
	assert.Contains(t, r.Quality.Missing, "path/mouth/beam")
	for _, a := range r.Analyses {
		if a.Name == "path" || a.Name == "balance" || a.Name == "moves" {
			assert.False(t, a.Ran, a.Name)
			assert.NotEmpty(t, a.Missing, a.Name)
			assert.NotEmpty(t, a.Reason, a.Name)
		}
	}
	assert.Contains(t, done(t, afterbell(append([]string{"analyze"}, args...)...)).stdout, "What this log cannot tell")
	o := done(t, afterbell("profile", "check", sample("heron.yaml"), "--log", sample("rookie.csv.gz")))
	assert.Regexp(t, `imu/pitch +-- not in the log`, o.stdout)
	assert.Regexp(t, `power/voltage  \d+ samples`, o.stdout)
}

// A log of which the mapped signals have other types than the profile needs.
func TestSignalsOfTheWrongType(t *testing.T) {
	log := written(t, "q14.csv", "time_s,signal,value\n0,robot/mode,driver\n0,power/voltage,high\n1,power/voltage,low\n1,game/score,many\n5,robot/mode,disabled\n")
	r := analyzed(t, log, "--profile", sample("curlew.yaml"))
	for _, a := range r.Analyses {
		if a.Name == "power" || a.Name == "cycles" {
			assert.False(t, a.Ran, a.Name)
			assert.Contains(t, a.Reason, "text", a.Name)
		}
	}
	mode := written(t, "mode.csv", "time_s,signal,value\n0,robot/mode,1.5\n1,robot/mode,2.5\n2,power/voltage,12\n")
	o := afterbell("analyze", mode, "--profile", sample("curlew.yaml"), "--json")
	if o.code != exitDone { // numbers may be named in mode.values; these are not
		failed(t, o, exitUsage, "robot/mode")
	}
}

// Logs that hold next to nothing still give a report.
func TestLogsThatHoldNextToNothing(t *testing.T) {
	for name, rows := range map[string]string{
		"one sample":               "0,power/voltage,12\n",
		"one sample of each":       "0,power/voltage,12\n0,robot/mode,driver\n0,game/score,0\n0,pose/x,1\n0,pose/y,1\n",
		"no readings":              "0,power/voltage,nan\n1,power/voltage,inf\n2,power/voltage,-inf\n",
		"the ends of time":         "-9000000000000,power/voltage,12\n9000000000000,power/voltage,12\n",
		"numbers at their ends":    "0,power/voltage,1.7976931348623157e308\n1,power/voltage,-1.7976931348623157e308\n2,power/voltage,5e-324\n",
		"a counter at its ends":    "0,game/score,9223372036854775807\n1,game/score,-9223372036854775808\n2,robot/mode,driver\n3,robot/mode,disabled\n",
		"a match of no length":     "0,robot/mode,autonomous\n0,power/voltage,12\n",
		"modes without pause":      "0,robot/mode,autonomous\n0.000001,robot/mode,driver\n0.000002,robot/mode,disabled\n",
		"never enabled":            "0,robot/mode,disabled\n10,robot/mode,disabled\n5,power/voltage,12\n",
		"a signal without a match": "0,a,1\n1,b,2\n",
		"a name of 256 bytes":      "0," + strings.Repeat("n", 256) + ",1\n",
		"text that is markup":      "0,robot/mode,<script>alert(1)</script>\n1,power/voltage,12\n",
	} {
		t.Run(name, func(t *testing.T) {
			data := dataFolder(t)
			path := written(t, "q14.csv", "time_s,signal,value\n"+rows)
			for _, profile := range []string{"curlew.yaml", "heron.yaml"} {
				r := analyzed(t, path, "--profile", sample(profile))
				assert.Len(t, r.Analyses, len(analysis.All()))
				done(t, afterbell("import", path, "--profile", sample(profile), "--data", data))
			}
		})
	}
}

// tableFiles are a log as an Arrow file, a stream, and as Parquet that another program wrote.
func tableFiles(t testing.TB) (file, stream, other string) {
	t.Helper()
	log := anylog.OfAMatch(1)
	var a, s, p bytes.Buffer
	require.NoError(t, arrowlog.Write(&a, log))
	require.NoError(t, arrowlog.WriteStream(&s, log))
	type row struct {
		Time   int64   `parquet:"time_us"`
		Signal string  `parquet:"signal,dict"`
		Value  float64 `parquet:"value"`
	}
	var rows []row
	for _, s := range log.Signals {
		for i := range s.Time {
			if s.Kind == schemas.Float64 {
				rows = append(rows, row{s.Time[i], s.Name, s.Float[i]})
			}
		}
	}
	require.NoError(t, parquet.Write(&p, rows, parquet.Compression(&parquet.Zstd)))
	return a.String(), s.String(), p.String()
}

func zstded(t testing.TB, text string) string {
	t.Helper()
	w, err := zstd.NewWriter(nil)
	require.NoError(t, err)
	return string(w.EncodeAll([]byte(text), nil))
}

func readSample(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(sample(name))
	require.NoError(t, err)
	return data
}

// unpacked is the text of a sample log packed with gzip.
func unpacked(t testing.TB, name string) []byte {
	t.Helper()
	r, err := gzip.NewReader(bytes.NewReader(readSample(t, name)))
	require.NoError(t, err)
	text, err := io.ReadAll(r)
	require.NoError(t, err)
	return text
}

func gzipped(t testing.TB, text string) string {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := io.WriteString(w, text)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.String()
}
