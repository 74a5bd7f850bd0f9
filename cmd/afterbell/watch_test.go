package main

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

// put copies a sample log into a folder under another name and date.
func put(t *testing.T, log, dir, name string, written time.Time) string {
	t.Helper()
	return putText(t, string(readSample(t, log)), dir, name, written)
}

func putText(t *testing.T, text, dir, name string, written time.Time) string {
	t.Helper()
	path := filepath.Join(dir, name)
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	require.NoError(t, os.Chtimes(path, written, written))
	return path
}

var yesterday = time.Now().Add(-24 * time.Hour).Truncate(time.Second)

// A stick with logs of two robots: each is told by its signals, named by its file, dated by
// it, and stored once, under whatever name it comes again.
func TestWatchTakesInWhatIsOnAStick(t *testing.T) {
	t.Parallel()
	data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
	put(t, "jam-reversed.csv.gz", stick, "logs/heron_q11.csv.gz", yesterday)
	put(t, "rookie.csv.gz", stick, "Qualification 8.csv.gz", yesterday.Add(time.Hour))
	putText(t, "no log at all\n", stick, "shopping.csv", yesterday)
	putText(t, "JPEG", stick, "robot.jpg", yesterday)
	putText(t, "x", stick, "deep/er/and/deep/er/q99.csv", yesterday)
	args := []string{"watch", stick, "--once", "--data", data, "--profile", sample("heron.yaml"), "--profile", sample("curlew.yaml"), "--event", "millbrook-open"}
	o := afterbell(args...)
	assert.Equal(t, exitFailed, o.code, "one file is bad")
	assert.Contains(t, o.stderr, filepath.Join(stick, "shopping.csv"))
	assert.Contains(t, o.stderr, "left alone")
	assert.Contains(t, o.stderr, "1 file was not stored, for the reasons above")
	season := yesterday.Local().Format("2006")
	assert.Contains(t, o.stdout, season+"/millbrook-open/q11/heron: ")
	assert.Contains(t, o.stdout, season+"/millbrook-open/q8/curlew: ")
	assert.Contains(t, o.stdout, "signals of heron's profile; curlew fits less well; time by the date of the file")
	assert.FileExists(t, filepath.Join(stick, "shopping.csv"))
	requireWhole(t, data)
	h := openHome(t, data)
	q11 := named(season, "millbrook-open", "q11", "heron")
	r, err := readReport(h, q11)
	require.NoError(t, err)
	require.NotNil(t, r.Match.At)
	at, err := time.Parse(time.RFC3339Nano, *r.Match.At)
	require.NoError(t, err)
	log, _, err := ingest.ReadFiles(t.Context(), []string{sample("jam-reversed.csv.gz")}, ingest.Options{})
	require.NoError(t, err)
	_, last, _ := log.Bounds()
	assert.WithinDuration(t, yesterday.Add(-time.Duration(last-micros(r.Match.StartS))*time.Microsecond), at, time.Second, "the file's date is when the log ended")

	// Nothing is taken twice: the same files, and the same bytes under another name and date.
	put(t, "rookie.csv.gz", stick, "copy of it.csv.gz", time.Now())
	before := contents(t, data)
	o = afterbell(append(args, "--json")...)
	assert.Empty(t, strings.TrimSpace(o.stdout))
	assert.Equal(t, before, contents(t, data))
	// Not even when its match was deleted.
	done(t, afterbell("delete", "q8", "--yes", "--data", data))
	afterbell(args...)
	assert.False(t, h.Exists(named(season, "millbrook-open", "q8", "curlew")))
}

// What is known of stored matches is enough; a name that is taken gives way; a log that nothing
// fits is stored and not analyzed.
func TestWatchKnowsTheProfilesOfStoredMatches(t *testing.T) {
	t.Parallel()
	data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
	season := yesterday.Local().Format("2006")
	done(t, afterbell("import", sample("clean.csv.gz"), "--match", "q11", "--profile", sample("heron.yaml"), "--event", "practice", "--season", season, "--data", data))
	put(t, "jam-reversed.csv.gz", stick, "q11.csv.gz", yesterday)
	putText(t, "time_s,a,b\n0,1,2\n1,2,3\n", stick, "bench test.csv", yesterday.Add(-10*time.Minute))
	o := done(t, afterbell("watch", stick, "--once", "--json", "--data", data))
	var got []takenJSON
	for line := range strings.Lines(o.stdout) {
		var one takenJSON
		require.NoError(t, json.Unmarshal([]byte(line), &one))
		got = append(got, one)
	}
	require.Len(t, got, 2)
	assert.Equal(t, "bench test.csv", got[0].File)
	assert.Equal(t, []string{"bench-test", "robot"}, []string{got[0].Match, got[0].Robot})
	assert.Contains(t, got[0].Told, "no profile fits its signals, so stored and not analyzed")
	assert.Equal(t, []string{"q11-2", "heron"}, []string{got[1].Match, got[1].Robot})
	requireWhole(t, data)
}

// folder is a watch of a folder whose clock the test turns.
type folder struct {
	*folderWatch
	lines, names []string
	notes        []string
	now          time.Time
}

func watching(t *testing.T, data, dir string) *folder {
	t.Helper()
	h, err := home.Create(data)
	require.NoError(t, err)
	p, err := readProfile(sample("curlew.yaml"))
	require.NoError(t, err)
	a := &app{stdout: io.Discard, stderr: io.Discard, dataDir: data}
	in := newIntake(a, func() (*home.Home, error) { return h, nil }, []*robotProfile{p}, "2031", "practice")
	f := &folder{now: time.Now()}
	f.folderWatch = &folderWatch{
		dir: dir, in: in, settle: watchSettle, most: watchFiles,
		told:   func(line string) { f.lines = append(f.lines, line) },
		noted:  func(line string) { f.notes = append(f.notes, line) },
		stored: func(_ *looked, done []imported) { f.names = append(f.names, done[0].Match) },
	}
	return f
}

// after looks once more, so long after the last look.
func (f *folder) after(t *testing.T, d time.Duration) int {
	t.Helper()
	f.now = f.now.Add(d)
	return f.look(t.Context(), f.now)
}

// A file that grows is left alone until it is still; one that somebody writes, until it is
// closed.
func TestWatchWaitsForAFileToBeComplete(t *testing.T) {
	dir := t.TempDir()
	f := watching(t, filepath.Join(t.TempDir(), "data"), dir)
	rows := strings.SplitAfter(string(unpacked(t, "rookie.csv.gz")), "\n")
	half := len(rows) / 2
	path := filepath.Join(dir, "q1.csv")
	w, err := os.Create(path)
	require.NoError(t, err)
	_, err = w.WriteString(strings.Join(rows[:half], ""))
	require.NoError(t, err)
	assert.Equal(t, 1, f.after(t, 0))
	assert.Equal(t, 1, f.after(t, time.Second))
	_, err = w.WriteString(strings.Join(rows[half:], ""))
	require.NoError(t, err)
	require.NoError(t, os.Chtimes(path, yesterday, yesterday)) // a stick whose clock stands
	assert.Equal(t, 1, f.after(t, watchSettle), "it has grown")
	if runtime.GOOS == "linux" {
		assert.Equal(t, 1, f.after(t, time.Minute), "it is still, and open for writing")
	}
	assert.Empty(t, f.names)
	require.NoError(t, w.Close())
	f.after(t, time.Minute)
	assert.Equal(t, 0, f.after(t, watchSettle))
	assert.Equal(t, []string{"q1"}, f.names)
	assert.Empty(t, f.lines)
}

// A stick that is pulled and comes back, with what it had and something new; a bad file that is
// mended is looked at again, and told about once until then.
func TestWatchOutlivesAStick(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "stick")
	f := watching(t, filepath.Join(t.TempDir(), "data"), dir)
	f.after(t, 0)
	f.after(t, time.Second)
	require.Len(t, f.lines, 1)
	assert.Contains(t, f.lines[0], "waiting for it")
	put(t, "rookie.csv.gz", dir, "q1.csv.gz", yesterday)
	bad := putText(t, "time_s,signal,value\n0,a,1\nx,a,2\n", dir, "q2.csv", yesterday)
	for range 3 {
		f.after(t, watchSettle)
	}
	assert.Equal(t, []string{"q1"}, f.names)
	require.Len(t, f.lines, 3, "%v", f.lines)
	assert.Contains(t, f.lines[1], "is back")
	assert.Contains(t, f.lines[2], bad+" line 3")
	assert.NotContains(t, f.lines[2], "\n")

	require.NoError(t, os.Rename(dir, dir+"-pulled"))
	f.after(t, watchSettle)
	require.NoError(t, os.Rename(dir+"-pulled", dir))
	for range 3 {
		f.after(t, watchSettle)
	}
	assert.Equal(t, []string{"q1"}, f.names)
	assert.Len(t, f.lines, 5, "%v", f.lines)

	putText(t, "time_s,signal,value\n0,a,1\n1,a,2\n", dir, "q2.csv", yesterday.Add(time.Second))
	for range 3 {
		f.after(t, watchSettle)
	}
	assert.Equal(t, []string{"q1", "q2"}, f.names)
}

// A file that changes while it is copied is not taken as it was in between.
func TestWatchTakesNoFileThatChangesMeanwhile(t *testing.T) {
	dir := t.TempDir()
	path := putText(t, "time_s,a\n0,1\n", dir, "q1.csv", yesterday)
	info, err := os.Stat(path)
	require.NoError(t, err)
	to := filepath.Join(t.TempDir(), "copy")
	require.NoError(t, copyUnchanged(t.Context(), foundFile{path, info.Size(), info.ModTime()}, to))
	require.ErrorIs(t, copyUnchanged(t.Context(), foundFile{path, info.Size(), info.ModTime().Add(-time.Second)}, to+"2"), errMoved)
	require.ErrorIs(t, copyUnchanged(t.Context(), foundFile{path, info.Size() - 1, info.ModTime()}, to+"3"), errMoved)
	require.ErrorIs(t, copyUnchanged(t.Context(), foundFile{path + "gone", 1, info.ModTime()}, to+"4"), os.ErrNotExist)
	ended, stop := context.WithCancel(t.Context())
	stop()
	require.ErrorIs(t, copyUnchanged(ended, foundFile{path, info.Size(), info.ModTime()}, to+"5"), context.Canceled)
}

// A folder with more logs than are looked at is told of once, not passed over in silence.
func TestWatchTellsOfAFolderThatIsTooFull(t *testing.T) {
	f := watching(t, t.TempDir(), t.TempDir())
	f.most = 2
	for _, name := range []string{"a.csv", "b.csv", "c.csv"} {
		putText(t, "time_s,a\n0,1\n", f.dir, name, yesterday)
	}
	for range 2 {
		found, err := f.list()
		require.NoError(t, err)
		require.Len(t, found, 2)
	}
	require.Len(t, f.lines, 1)
	require.Contains(t, f.lines[0], "more than 2 logs")
}

// While another process has the data folder, a file waits, and one line says so.
func TestWatchWaitsForTheDataFolder(t *testing.T) {
	data, dir := filepath.Join(t.TempDir(), "data"), t.TempDir()
	f := watching(t, data, dir)
	put(t, "rookie.csv.gz", dir, "q1.csv.gz", yesterday)
	other := openHome(t, data)
	lock, err := other.Lock()
	require.NoError(t, err)
	f.after(t, 0)
	for range 3 {
		assert.Equal(t, 1, f.after(t, watchSettle))
	}
	require.Len(t, f.lines, 1, "%v", f.lines)
	assert.Contains(t, f.lines[0], "collect --watch")
	require.NoError(t, lock.Unlock())
	f.after(t, watchSettle)
	assert.Equal(t, []string{"q1"}, f.names)
}

// A crash between the samples and the line that says they are stored leaves one match.
func TestACrashWhileTakingAFileStoresItOnce(t *testing.T) {
	data, dir := filepath.Join(t.TempDir(), "data"), t.TempDir()
	f := watching(t, data, dir)
	path := put(t, "rookie.csv.gz", dir, "q1.csv.gz", yesterday)
	h := openHome(t, data)
	sum, err := sumOf(t.Context(), path)
	require.NoError(t, err)
	id := named("2031", "practice", "q7", "curlew")
	release, err := h.Hold()
	require.NoError(t, err)
	require.NoError(t, h.NoteTaken(home.Taken{SHA256: sum, Name: "q1.csv.gz", Matches: []string{id.String()}}))
	require.NoError(t, release())
	f.after(t, 0)
	f.after(t, watchSettle)
	all, err := h.List()
	require.NoError(t, err)
	assert.Equal(t, []string{id.String()}, []string{all[0].String()}, "under the name that was written down")
	assert.Len(t, all, 1)
	// And when it came behind the samples, nothing is done.
	require.NoError(t, os.Remove(filepath.Join(data, ".taken.jsonl")))
	release, err = h.Hold()
	require.NoError(t, err)
	require.NoError(t, h.NoteTaken(home.Taken{SHA256: sum, Name: "q1.csv.gz", Matches: []string{id.String()}}))
	require.NoError(t, release())
	again := watching(t, data, dir)
	again.after(t, 0)
	again.after(t, watchSettle)
	assert.Empty(t, again.names)
}

// The collector takes logs in from a stick in the same process.
func TestCollectWatchesAFolderToo(t *testing.T) {
	data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
	put(t, "rookie.csv.gz", stick, "q8.csv.gz", yesterday)
	_, pages, stop := collect(t, data, "--profile", sample("curlew.yaml"), "--event", "millbrook-open", "--watch", stick)
	h := openHome(t, data)
	require.Eventually(t, func() bool { return h.Exists(named("2031", "millbrook-open", "q8", "curlew")) }, 30*time.Second, 50*time.Millisecond)
	assert.Contains(t, get(t, pages+"/m/millbrook-open/q8/curlew"), "q8")
	o := stop()
	require.Equal(t, exitDone, o.code, o.stderr)
	requireWhole(t, data)
}

// A match that the collector seals never takes the place of one that came as a file.
func TestTheCollectorLeavesMatchesFromFilesAlone(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	h := openHome(t, data)
	lock, err := h.Lock()
	require.NoError(t, err)
	defer lock.Unlock()
	files := contents(t, h.Dir(named("2031", "millbrook-open", "q14", "curlew")))
	s := newLiveStore(h, nil, nil)
	m := sealedOnce(named("2031", "millbrook-open", "q14", "curlew"))
	require.NoError(t, s.Publish(t.Context(), m))
	assert.Equal(t, files, contents(t, h.Dir(m.ID)))
	place := named("2031", "millbrook-open", "q14-2", "curlew")
	require.True(t, h.Exists(place))
	require.NoError(t, s.Publish(t.Context(), m)) // sealed again
	f, err := matchfile.Open(filepath.Join(h.Dir(place), schemas.SignalsFile))
	require.NoError(t, err)
	defer f.Close()
	assert.Equal(t, m.ID.String(), f.Meta()[metaCollectedAs])
	assert.False(t, h.Exists(named("2031", "millbrook-open", "q14-3", "curlew")))
	assert.Equal(t, place, newLiveStore(h, nil, nil).now(m.ID), "the next collector knows too")
}

func TestWatchRefusesWhatCannotWork(t *testing.T) {
	t.Parallel()
	data, dir := filepath.Join(t.TempDir(), "data"), t.TempDir()
	file := putText(t, "x", dir, "q1.csv", yesterday)
	for _, tt := range []struct {
		args []string
		code int
		want string
	}{
		{nil, exitUsage, "a folder is missing"},
		{[]string{file}, exitUsage, "is a file"},
		{[]string{filepath.Join(dir, "none"), "--once"}, exitFailed, "check the path"},
		{[]string{dir, "--event", "No"}, exitUsage, "is not a name"},
		{[]string{dir, "--profile", "none.yaml"}, exitUsage, "there is no such file"},
		{[]string{dir, "--pages", "0.0.0.0:1"}, exitUsage, "--pages"},
	} {
		failed(t, afterbell(append([]string{"watch", "--data", data}, tt.args...)...), tt.code, tt.want)
	}
	assert.NoDirExists(t, data)
	require.NoError(t, os.Mkdir(data, 0o755))
	failed(t, afterbell("watch", data, "--data", data), exitUsage, "is the data folder itself")
}

// Of logs that come together the sheet of the last is opened, and no other.
func TestOneSheetOpensForAStickFullOfLogs(t *testing.T) {
	var mu sync.Mutex
	var opened []string
	n := &openNewest{url: "http://127.0.0.1:1", wait: 50 * time.Millisecond, open: func(page string) {
		mu.Lock()
		defer mu.Unlock()
		opened = append(opened, page)
	}}
	for _, m := range []string{"q1", "q2", "q3"} {
		n.show(imported{Season: "2031", Event: "e", Match: m, Robot: "heron", Severity: "none"})
	}
	n.show(imported{Season: "2031", Event: "e", Match: "q4", Robot: "heron"}) // not analyzed, so there is no sheet
	require.Eventually(t, func() bool { mu.Lock(); defer mu.Unlock(); return len(opened) > 0 }, 10*time.Second, time.Millisecond)
	mu.Lock()
	defer mu.Unlock()
	assert.Equal(t, []string{"http://127.0.0.1:1/m/2031/e/q3/heron"}, opened)
	(*openNewest)(nil).show(imported{Severity: "none"})
}
