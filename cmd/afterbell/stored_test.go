package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// A match is analyzed the same from its file, when it is stored, from the stored samples,
// and again.
func TestAFileAndTheStoredMatchSayTheSame(t *testing.T) {
	t.Parallel()
	for _, s := range samples {
		t.Run(s.name, func(t *testing.T) {
			data := dataFolder(t)
			file := reportIn(t, sampleAnalysis(t, s.name).stdout)
			stored(t, data, s.log, s.profile)
			now := analyzed(t, "q14", "--data", data)
			require.Equal(t, file.From.SignalsSHA256, now.From.SignalsSHA256)
			sameFacts(t, file, now)
			assert.Equal(t, reportOf(t, data, s.profile), now, "as report.json has it")

			before := contents(t, data)
			analyzed(t, "q14", "--data", data)
			assert.Equal(t, before, contents(t, data), "to look is not to touch")
			again := analyzed(t, "q14", "--again", "--data", data)
			sameFacts(t, now, again)
			assert.Equal(t, "2", again.From.Seal)
			assert.Equal(t, reportOf(t, data, s.profile), again)
		})
	}
}

// reportOf reads report.json of the match that stored makes.
func reportOf(t *testing.T, data, profile string) *schemas.Report {
	t.Helper()
	robot, _, _ := strings.Cut(profile, ".")
	text := readText(t, filepath.Join(data, "season=2031", "event=millbrook-open", "match=q14", "robot="+robot, schemas.ReportFile))
	var r schemas.Report
	require.NoError(t, json.Unmarshal([]byte(text), &r))
	return &r
}

// Earlier matches say what is usual; a later one never changes a report unless it is asked.
func TestHistoryIsWhatCameBefore(t *testing.T) {
	t.Parallel()
	data, heron := dataFolder(t), sample("heron.yaml")
	for _, m := range []struct{ name, log, at string }{
		{"q8", "clean.csv.gz", "2031-03-01T12:00:00Z"},
		{"q2", "brownout.csv.gz", "2031-03-01T10:00:00Z"}, // imported later, played earlier
		{"q5", "jam-reversed.csv.gz", "2031-03-01T11:00:00+00:00"},
	} {
		done(t, importAs(t, data, m.name, heron, []string{sample(m.log)}, "--at", m.at))
	}
	matches := func(name string, more ...string) []string {
		return analyzed(t, append([]string{name, "--data", data}, more...)...).Usual.Matches
	}
	assert.Equal(t, []string{"2031/millbrook-open/q2"}, matches("q5"))
	assert.Equal(t, []string{"2031/millbrook-open/q2", "2031/millbrook-open/q5"}, matches("q8"))
	assert.Empty(t, matches("q2"))
	q8 := filepath.Join(data, "season=2031", "event=millbrook-open", "match=q8", "robot=heron", schemas.ReportFile)
	assert.NotContains(t, readText(t, q8), "millbrook-open/q2", "stored before it had a history")
	matches("q8", "--again")
	assert.Contains(t, readText(t, q8), "millbrook-open/q2")

	done(t, afterbell("import", sample("clean.csv.gz"), "--profile", heron, "--data", data, "--season", "2032", "--match", "q1", "--at", "2032-03-01T10:00:00Z"))
	assert.Empty(t, matches("2032/practice/q1/heron"), "another season is another robot")
}

// --html writes the sheet that report.html is, but for the name of the match.
func TestTheSheetOfAFile(t *testing.T) {
	data, out := dataFolder(t), filepath.Join(t.TempDir(), "q14.html")
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	o := done(t, afterbell("analyze", "q14", "--data", data, "--html", out))
	page := readText(t, out)
	assert.Equal(t, page, readText(t, filepath.Join(data, "season=2031", "event=millbrook-open", "match=q14", "robot=heron", schemas.SheetFile)))
	finding := regexp.MustCompile(`(?m)^■ 1 Stop\. (.+)$`).FindStringSubmatch(o.stdout)
	require.Len(t, finding, 2, o.stdout)
	assert.Contains(t, page, finding[1], "the page and the terminal say the same")
	assert.NotContains(t, page, "http://127.0.0.1", "no link to a server that is not there")
}

// demo does the whole job, and the pages it serves show it.
func TestDemo(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	o := done(t, afterbell("demo", "--once", "--no-open", "--data", data))
	assert.Regexp(t, `serving on http://127\.0\.0\.1:\d+\nthe sheet: http://127\.0\.0\.1:\d+/m/millbrook-open/q14/heron\n`, o.stdout)
	assert.Contains(t, o.stdout, "Before the next match")
	first := analyzed(t, "q14", "--data", data)
	require.NotEmpty(t, first.Jams)
	require.NotEmpty(t, first.Usual.Matches)
	done(t, afterbell("demo", "--once", "--no-open", "--data", data))
	sameFacts(t, first, analyzed(t, "q14", "--data", data)) // the same matches each time
	done(t, afterbell("verify", "--data", data))
}

// What simulate writes is what analyze and import take.
func TestSimulateAndAnalyze(t *testing.T) {
	dir := t.TempDir()
	o := done(t, afterbell("simulate", "--scenario", "jam-stuck", "--seed", "7", "--out", dir))
	paths := strings.Fields(o.stdout)
	require.Len(t, paths, 3)
	r := analyzed(t, paths[0], "--profile", paths[2])
	var truth schemas.Report
	require.NoError(t, json.Unmarshal([]byte(readText(t, paths[1])), &truth))
	assert.Equal(t, truth.Quality.Samples, r.Quality.Samples)
	assert.Equal(t, truth.Match.Periods, r.Match.Periods)
	assert.Regexp(t, `(?m)^jam-stuck +\S`, done(t, afterbell("simulate", "--list")).stdout)
}

// serve shows what is stored, until it is interrupted.
func TestServe(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	url, stop := served(t, "--data", data)
	for path, says := range map[string]string{"/": "q14", "/m/millbrook-open/q14/curlew": "curlew"} {
		res, err := http.Get(url + path)
		require.NoError(t, err)
		body, err := io.ReadAll(res.Body)
		require.NoError(t, err)
		require.NoError(t, res.Body.Close())
		assert.Equal(t, http.StatusOK, res.StatusCode, path)
		assert.Contains(t, string(body), says)
	}
	taken := strings.TrimPrefix(url, "http://")
	failed(t, afterbell("serve", "--data", data, "--listen", taken), exitFailed, "cannot serve on "+taken, "try --listen 127.0.0.1:0")
	assert.Equal(t, exitDone, stop().code)
}

// served runs serve on a free port and returns its address and what stops it.
func served(t *testing.T, args ...string) (url string, stop func() outcome) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	out, in := io.Pipe()
	ended := make(chan outcome, 1)
	go func() {
		var talk bytes.Buffer
		code := run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0"}, args...), strings.NewReader(""), in, &talk)
		in.Close()
		ended <- outcome{code: code, stderr: talk.String()}
	}()
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	return strings.TrimSpace(strings.TrimPrefix(line, "serving on ")), func() outcome {
		cancel()
		return <-ended
	}
}
