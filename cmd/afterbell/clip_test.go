package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/clip"
)

// clipped stores a match with a jam and cuts its finding out.
func clipped(t *testing.T, more ...string) (data, file string, finding schemas.Finding) {
	t.Helper()
	data = filepath.Join(t.TempDir(), "data")
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	r := analyzed(t, "q14", "--data", data)
	for _, f := range r.Findings {
		if f.Kind == "jam" {
			finding = f
		}
	}
	require.NotEmpty(t, finding.ID)
	done(t, afterbell("verdict", "q14", finding.ID, "yes", "--data", data))
	file = filepath.Join(t.TempDir(), "q14-jam.clip")
	o := done(t, afterbell(append([]string{"export", "q14", "--clip", "--finding", finding.ID, "--out", file, "--data", data}, more...)...))
	assert.Contains(t, o.stderr, "who gets it can read all of them")
	assert.Equal(t, len(more) == 0, strings.Contains(o.stderr, "notes may name people"))
	return data, file, finding
}

// A clip goes to another laptop, and is a match of its own there: profile and names known,
// the finding found again, the crew's word beside it, and no part of the robot's past.
func TestAClipIsAMatchOnAnotherLaptop(t *testing.T) {
	t.Parallel()
	data, file, finding := clipped(t)
	info, err := os.Stat(file)
	require.NoError(t, err)
	whole, err := os.Stat(filepath.Join(openHome(t, data).Dir(named("2031", "millbrook-open", "q14", "heron")), schemas.SignalsFile))
	require.NoError(t, err)
	assert.Less(t, info.Size(), whole.Size()/2)

	other := filepath.Join(t.TempDir(), "other")
	o := done(t, afterbell("import", file, "--data", other))
	name := "q14-clip-" + finding.ID
	assert.Contains(t, o.stdout, "2031/millbrook-open/"+name+"/heron: ")
	requireWhole(t, other)
	h := openHome(t, other)
	id := named("2031", "millbrook-open", name, "heron")
	r, err := readReport(h, id)
	require.NoError(t, err)
	require.NotNil(t, r.Match.CutFrom)
	assert.Equal(t, "q14", r.Match.CutFrom.Match)
	assert.Equal(t, finding.ID, r.Match.CutFrom.Finding)
	again := false
	for _, f := range r.Findings {
		again = again || f.Kind == "jam" && f.StartS <= finding.EndS && f.EndS >= finding.StartS
	}
	assert.True(t, again, "the stretch alone shows the jam again")
	assert.Contains(t, strings.Join(r.Quality.Notes, "; "), "cut from 2031/millbrook-open/q14")
	notes, err := h.Notes(id)
	require.NoError(t, err)
	assert.Contains(t, string(notes), finding.ID)
	page := readText(t, filepath.Join(h.Dir(id), schemas.SheetFile))
	assert.Contains(t, page, "A stretch of")
	from, err := clip.ReadFile(file)
	require.NoError(t, err)
	first, last, _ := from.Log.Bounds()
	assert.GreaterOrEqual(t, schemas.Seconds(first), finding.StartS-10)
	assert.LessOrEqual(t, schemas.Seconds(last), finding.EndS+10)

	// It stays a stretch when it is analyzed again, and later matches do not count it.
	done(t, afterbell("verify", "--rebuild", "--data", other))
	r, err = readReport(h, id)
	require.NoError(t, err)
	require.NotNil(t, r.Match.CutFrom)
	stored(t, other, "clean.csv.gz", "heron.yaml")
	assert.Empty(t, analyzed(t, "2031/millbrook-open/q14/heron", "--data", other).Usual.Matches)

	// Its names can be given, it cannot be stored twice, and it can be looked at without storing.
	failed(t, afterbell("import", file, "--data", other), exitFailed, "exists: use --replace or another --match")
	done(t, afterbell("import", file, "--data", other, "--event", "home", "--match", "lift-jam", "--season", "2032"))
	assert.True(t, h.Exists(named("2032", "home", "lift-jam", "heron")))
	failed(t, afterbell("import", file, sample("clean.csv.gz"), "--data", other), exitUsage, "cannot be imported together")
	failed(t, afterbell("import", file, "--add", "--data", other), exitUsage, "leave --add out")
	shown := reportIn(t, done(t, afterbell("analyze", file, "--json")).stdout)
	require.NotNil(t, shown.Match.CutFrom)
}

func TestAClipWithoutNotes(t *testing.T) {
	t.Parallel()
	_, file, finding := clipped(t, "--without-notes")
	c, err := clip.ReadFile(file)
	require.NoError(t, err)
	assert.Empty(t, c.Notes)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.NotContains(t, string(data), "notes.jsonl")
	other := filepath.Join(t.TempDir(), "other")
	done(t, afterbell("import", file, "--data", other))
	notes, err := openHome(t, other).Notes(named("2031", "millbrook-open", "q14-clip-"+finding.ID, "heron"))
	require.NoError(t, err)
	assert.Empty(t, notes)
}

// A stretch by time, and one that is too short to show again what the sheet found there.
func TestAClipByTimeSaysWhatItDoesNotShow(t *testing.T) {
	t.Parallel()
	data, _, finding := clipped(t)
	file := filepath.Join(t.TempDir(), "short.clip")
	from := finding.StartS + 0.2
	done(t, afterbell("export", "q14", "--clip", "--from", fmt.Sprint(from), "--to", fmt.Sprint(from+0.4), "--out", file, "--data", data))
	r := reportIn(t, done(t, afterbell("analyze", file, "--json")).stdout)
	assert.Empty(t, r.Jams)
	assert.Contains(t, strings.Join(r.Quality.Notes, "; "), "the sheet of the whole match says here: "+ended(finding.Title)+" This stretch alone does not show it.")

	for _, tt := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--clip"}, exitUsage, "needs a stretch"},
		{[]string{"--clip", "--finding", finding.ID, "--from", "3"}, exitUsage, "exclude each other"},
		{[]string{"--clip", "--finding", "jam-roof-7"}, exitFailed, `no finding "jam-roof-7"; it has `},
		{[]string{"--clip", "--finding", finding.ID, "--around", "-1"}, exitUsage, "--around"},
		{[]string{"--clip", "--finding", finding.ID, "--signal", "power/voltage"}, exitUsage, "takes all signals"},
		{[]string{"--clip", "--from", "5000", "--to", "5001"}, exitFailed, "no samples from"},
		{[]string{"--without-notes"}, exitUsage, "belongs to --clip"},
	} {
		failed(t, afterbell(append([]string{"export", "q14", "--data", data}, tt.args...)...), tt.code, tt.want)
	}
}

// A clip that is damaged or made to do harm stores nothing.
func TestABadClipStoresNothing(t *testing.T) {
	t.Parallel()
	_, file, _ := clipped(t)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	other := filepath.Join(t.TempDir(), "other")
	flipped := bytes.Clone(data)
	flipped[len(data)/2] ^= 4
	for _, bad := range [][]byte{
		flipped,
		bytes.ReplaceAll(data, []byte("robot.yaml"), []byte("../../../x")),
	} {
		require.NoError(t, os.WriteFile(file, bad, 0o644))
		failed(t, afterbell("import", file, "--data", other), exitFailed, file, "ask for the clip again")
		assert.NoDirExists(t, other)
	}
}
