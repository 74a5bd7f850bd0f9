package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/align"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/ingest/together"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

// csvOf is a log as long CSV, its clock moved by so many microseconds.
func csvOf(t testing.TB, l *schemas.Log, by int64) string {
	t.Helper()
	moved := &schemas.Log{}
	for _, s := range l.Signals {
		c := *s
		c.Time = make([]int64, s.Len())
		for i, at := range s.Time {
			c.Time[i] = at + by
		}
		moved.Signals = append(moved.Signals, &c)
	}
	var b bytes.Buffer
	require.NoError(t, csvlog.WriteLong(&b, moved))
	return b.String()
}

// reboot cuts a sample log where the robot started again: both parts on clocks that begin at
// zero, and how long after the first the second began, in seconds.
func reboot(t testing.TB, log string) (first, second string, after float64) {
	t.Helper()
	l := readLog(t, sample(log))
	from, to, _ := l.Bounds()
	a, b := l.Cut(from, from+70e6), l.Cut(from+73e6, to)
	begin, _, _ := b.Bounds()
	return csvOf(t, a, -from), csvOf(t, b, -begin), schemas.Seconds(begin - from)
}

// watchOnce is one look at a folder by a program of its own.
func watchOnce(t *testing.T, data, dir string) outcome {
	t.Helper()
	return afterbell("watch", dir, "--once", "--data", data, "--profile", sample("heron.yaml"), "--profile", sample("curlew.yaml"), "--event", "millbrook-open", "--season", "2031")
}

func theOnly(t *testing.T, data string) schemas.MatchID {
	t.Helper()
	all, err := openHome(t, data).List()
	require.NoError(t, err)
	require.Len(t, all, 1, "%v", all)
	return all[0]
}

// Files of two computers on one stick become one match, whichever is older, and the sheet says so.
func TestWatchPutsTwoComputersTogether(t *testing.T) {
	t.Parallel()
	drive, vision := twoComputers(t, "bad-balance.csv.gz", 1234.567, 80)
	want := sampleReport(t, "bad-balance.csv.gz")
	for _, driveFirst := range []bool{true, false} {
		data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
		dates := map[bool]time.Time{driveFirst: yesterday, !driveFirst: yesterday.Add(2 * time.Second)}
		putText(t, readText(t, drive), stick, "q14_drive.csv", dates[true])
		putText(t, readText(t, vision), stick, "q14_vision.csv", dates[false])
		o := done(t, watchOnce(t, data, stick))
		assert.Contains(t, o.stdout, "put to the match that was there: it was shifted by")
		id := theOnly(t, data)
		assert.Equal(t, "2031/millbrook-open/q14/heron", id.String())
		requireWhole(t, data)
		r, err := readReport(openHome(t, data), id)
		require.NoError(t, err)
		assert.Regexp(t, `q14_\w+\.csv was shifted by -?1234\.\d+ s ± 0\.0\d\d s.*told by \d+ changes of game/score, robot/mode that both saw`, strings.Join(r.Quality.Notes, "; "))
		assert.Equal(t, len(want.Balances), len(r.Balances))
		assert.Equal(t, len(want.Passes), len(r.Passes))
		assert.Equal(t, len(want.Cycles), len(r.Cycles))
		assert.Equal(t, want.Verdict.Severity, r.Verdict.Severity)
		meta, err := metaOf(openHome(t, data), id)
		require.NoError(t, err)
		files := filesOf(meta)
		require.Len(t, files, 2)
		assert.Len(t, files[0].SHA256, 64)
		assert.NotEqual(t, files[0].SHA256, files[1].SHA256)
		before := contents(t, data)
		done(t, watchOnce(t, data, stick))
		assert.Equal(t, before, contents(t, data), "nothing is taken twice")
	}
}

// A file that comes when the match has its sheet and notes: it is put to it, and the notes stay.
func TestALaterFileIsPutToItsMatch(t *testing.T) {
	t.Parallel()
	drive, vision := twoComputers(t, "bad-balance.csv.gz", -5.25, 40)
	data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
	putText(t, readText(t, drive), stick, "q14.csv", yesterday)
	done(t, watchOnce(t, data, stick))
	done(t, afterbell("note", "q14", "belt replaced", "--data", data))
	h := openHome(t, data)
	id := theOnly(t, data)
	notes, err := h.Notes(id)
	require.NoError(t, err)
	one, _, err := loadStored(h, id, nil)
	require.NoError(t, err)
	putText(t, readText(t, vision), stick, "camera.csv", yesterday.Add(time.Minute))
	o := done(t, watchOnce(t, data, stick))
	assert.Contains(t, o.stdout, "2031/millbrook-open/q14/heron")
	require.Equal(t, id, theOnly(t, data))
	requireWhole(t, data)
	after, err := h.Notes(id)
	require.NoError(t, err)
	assert.Equal(t, notes, after)
	both, _, err := loadStored(h, id, nil)
	require.NoError(t, err)
	assert.Greater(t, both.seal, one.seal)
	assert.Equal(t, one.at, both.at)
	for _, s := range one.log.Signals {
		assert.Equal(t, s, both.log.Find(s.Name), "what was there is as it was")
	}
	// The same samples in another form are no news.
	out := filepath.Join(t.TempDir(), "again.parquet")
	done(t, afterbell("export", "q14", "--format", "parquet", "--signal", "power/voltage", "--signal", "robot/mode", "--out", out, "--data", data))
	putText(t, readText(t, out), stick, "copy.parquet", yesterday.Add(time.Hour))
	done(t, watchOnce(t, data, stick))
	again, _, err := loadStored(h, id, nil)
	require.NoError(t, err)
	assert.Equal(t, both.log.Samples(), again.log.Samples())
}

// Two matches of one robot stay two, whatever the files are called and dated.
func TestWatchKeepsTwoMatchesApart(t *testing.T) {
	t.Parallel()
	data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
	put(t, "clean.csv.gz", stick, "a/q14.csv.gz", yesterday)
	put(t, "jam-reversed.csv.gz", stick, "b/q14.csv.gz", yesterday.Add(time.Second))
	o := done(t, watchOnce(t, data, stick))
	assert.NotContains(t, o.stderr, "kept apart", "there is nothing to be done about it")
	all, err := openHome(t, data).List()
	require.NoError(t, err)
	assert.Len(t, all, 2)
}

// A robot that started again: kept apart with the command that puts it together, which does; by
// the times in the names it is put together at once.
func TestWatchAndAReboot(t *testing.T) {
	t.Parallel()
	first, second, after := reboot(t, "clean.csv.gz")
	data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
	putText(t, first, stick, "q14.csv", yesterday)
	again := putText(t, second, stick, "q14 again.csv", yesterday.Add(85*time.Second))
	o := done(t, watchOnce(t, data, stick))
	lines := strings.Split(strings.TrimSpace(o.stderr), "\n")
	require.Len(t, lines, 1, o.stderr)
	assert.Contains(t, lines[0], "q14 again.csv is kept apart, as q14-2: it may be of q14")
	assert.Contains(t, lines[0], "--add --match q14")
	all, err := openHome(t, data).List()
	require.NoError(t, err)
	require.Len(t, all, 2)
	done(t, afterbell("delete", "q14-2", "--yes", "--data", data))
	args := []string{"import", again, "--add", "--match", "q14", "--event", "millbrook-open", "--season", "2031", "--profile", sample("heron.yaml"), "--data", data, "--shift"}
	failed(t, afterbell(append(args, "0")...), exitFailed, "two courses are not laid over each other")
	o = done(t, afterbell(append(args, trimmed(after))...))
	assert.Contains(t, o.stderr, "as it was told")
	requireWhole(t, data)
	r := analyzed(t, "q14", "--data", data)
	require.Len(t, r.Match.Periods, len(sampleReport(t, "clean.csv.gz").Match.Periods))

	data, stick = filepath.Join(t.TempDir(), "data"), t.TempDir()
	began := yesterday.Local()
	putText(t, first, stick, "q14 "+began.Format("2006-01-02 15.04.05")+".csv", yesterday)
	putText(t, second, stick, "q14 "+began.Add(time.Duration(after*float64(time.Second))).Format("2006-01-02 15.04.05")+".csv", yesterday.Add(time.Hour))
	o = done(t, watchOnce(t, data, stick))
	assert.NotContains(t, o.stderr, "kept apart")
	r, err = readReport(openHome(t, data), theOnly(t, data))
	require.NoError(t, err)
	assert.Contains(t, strings.Join(r.Quality.Notes, "; "), "± 4.0 s, told by the times in the files' names")
}

func TestNamesThatSayWhetherItIsOneMatch(t *testing.T) {
	t.Parallel()
	assert.True(t, sameName("q14", "Q14-2"))
	assert.True(t, sameName("q14-camera", "q14"))
	assert.False(t, sameName("q1", "q14"))
	assert.True(t, otherRound("q2", "q14-2"))
	assert.False(t, otherRound("q14", "q14-camera"))
	assert.False(t, otherRound("q14", "camera"))
}

func trimmed(s float64) string { return strconv.FormatFloat(s, 'f', -1, 64) }

// dropTwo drops files on the pages and returns the pages they wait on.
func (u *uploads) dropTwo(names, texts [2]string) (pages [2]string) {
	u.t.Helper()
	for i := range names {
		status, to, page := u.send("/in", yesterday.Add(time.Duration(i)*time.Second), "log", names[i], []byte(texts[i]))
		require.Equal(u.t, http.StatusSeeOther, status, page)
		pages[i] = to
	}
	return pages
}

func (u *uploads) store(to string, f url.Values) (int, string, string) {
	u.t.Helper()
	return u.done(u.client.PostForm(u.url+to, f))
}

// Two logs dropped on the page: the proposal, and one match when it is accepted.
func TestTwoDroppedLogsBecomeOneMatch(t *testing.T) {
	t.Parallel()
	drive, vision := twoComputers(t, "bad-balance.csv.gz", 1234.567, 80)
	data := filepath.Join(t.TempDir(), "data")
	stored(t, data, "clean.csv.gz", "heron.yaml")
	u := newUploads(t, data)
	u.pile.in.season, u.pile.in.event = "2031", "millbrook-open"
	to := u.dropTwo([2]string{"q15 drive.csv", "q15 vision.csv"}, [2]string{readText(t, drive), readText(t, vision)})
	for _, page := range to { // the same from both sides
		text := u.get(page)
		assert.Contains(t, text, "One match, or two?")
		assert.Regexp(t, `Put together with q15 (drive|vision)\.csv\.</b> q15 (drive|vision) begins \d+\.\d{3} s (after|before) q15 (drive|vision), seen by both in \d+ places; ±\d+ ms`, text)
		assert.NotContains(t, text, "Not sure")
	}
	f := form(u.get(to[1]))
	require.True(t, strings.HasPrefix(f.Get("with"), withLog), "it is proposed: %v", f)
	status, sheet, page := u.store(to[1], f)
	require.Equal(t, http.StatusSeeOther, status, page)
	assert.Equal(t, "/m/2031/millbrook-open/q15/heron", sheet)
	assert.Contains(t, u.get(sheet), "that both saw")
	assert.Empty(t, u.pile.Waiting(), "both are stored")
	requireStored(t, data)
	status, again, _ := u.send("/in", yesterday, "log", "x.csv", []byte(readText(t, drive)))
	require.Equal(t, http.StatusSeeOther, status)
	assert.Contains(t, u.get(again), "This file is stored already.")
}

// What is refused stays two matches, and a log that comes later is put to the stored one.
func TestTwoMatchesWhenSomebodySaysSo(t *testing.T) {
	t.Parallel()
	drive, vision := twoComputers(t, "bad-balance.csv.gz", 12, 0)
	data := filepath.Join(t.TempDir(), "data")
	stored(t, data, "clean.csv.gz", "heron.yaml")
	u := newUploads(t, data)
	u.pile.in.season, u.pile.in.event = "2031", "millbrook-open"
	to := u.dropTwo([2]string{"q15.csv", "q15-camera.csv"}, [2]string{readText(t, drive), readText(t, vision)})
	f := form(u.get(to[0]))
	f.Set("with", "")
	status, sheet, page := u.store(to[0], f)
	require.Equal(t, http.StatusSeeOther, status, page)
	assert.Equal(t, "/m/2031/millbrook-open/q15/heron", sheet)
	page = u.get(to[1])
	assert.Contains(t, page, "Put together with q15 of heron, millbrook-open.</b>")
	f = form(page)
	assert.Equal(t, withMatch+"2031/millbrook-open/q15/heron", f.Get("with"))
	status, sheet, page = u.store(to[1], f)
	require.Equal(t, http.StatusSeeOther, status, page)
	assert.Equal(t, "/m/2031/millbrook-open/q15/heron", sheet)
	requireStored(t, data)
	f.Set("with", withMatch+"2031/millbrook-open/q99/heron")
	_, other, _ := u.send("/in", yesterday, "log", "q16.csv", unpacked(t, "brownout.csv.gz"))
	status, _, page = u.store(other, f)
	assert.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Contains(t, page, "is not stored any more")
	assert.NotContains(t, u.get(other), "Put together with q15 of", "another match")
}

// A reboot on the page: nobody knows the shift, so the page asks, and lays nothing over anything.
func TestARebootIsAskedFor(t *testing.T) {
	t.Parallel()
	first, second, after := reboot(t, "clean.csv.gz")
	data := filepath.Join(t.TempDir(), "data")
	stored(t, data, "jam-reversed.csv.gz", "heron.yaml")
	u := newUploads(t, data)
	u.pile.in.season, u.pile.in.event = "2031", "millbrook-open"
	to := u.dropTwo([2]string{"q15.csv", "q15 again.csv"}, [2]string{first, second})
	page := u.get(to[1])
	assert.Contains(t, page, "How their clocks lie to each other is not known")
	f := form(page)
	assert.Empty(t, f.Get("with"), "nothing is put together without a word")
	with := withLog + strings.TrimPrefix(to[0], "/in/") + "?"
	require.Contains(t, page, `value="`+with+`"`)
	f.Set("with", with)
	for said, want := range map[string]string{"": "is no number of seconds", "x": "is no number of seconds", "1e9": "is no number of seconds", "10": "two courses are not laid over each other"} {
		f.Set("after", said)
		status, _, page := u.store(to[1], f)
		assert.Equal(t, http.StatusUnprocessableEntity, status, said)
		assert.Contains(t, page, want)
		assert.Contains(t, page, `value="`+with+`" checked`, "what was chosen stays")
	}
	assert.Len(t, u.pile.Waiting(), 2, "nothing is lost by that")
	f.Set("after", trimmed(after))
	status, sheet, page := u.store(to[1], f)
	require.Equal(t, http.StatusSeeOther, status, page)
	assert.Equal(t, "/m/2031/millbrook-open/q15/heron", sheet)
	requireStored(t, data)
	r, err := readReport(openHome(t, data), named("2031", "millbrook-open", "q15", "heron"))
	require.NoError(t, err)
	assert.Len(t, r.Match.Periods, 2)
	assert.InDelta(t, sampleReport(t, "clean.csv.gz").Match.EndS-sampleReport(t, "clean.csv.gz").Match.StartS, r.Match.EndS-r.Match.StartS, 0.05)
}

// A crash between the lines that say that a file is taken and the match it is put to: before the
// match was written anew the file is taken again, and behind it it is known to be in it.
func TestACrashWhilePuttingAFileToAMatch(t *testing.T) {
	t.Parallel()
	drive, vision := twoComputers(t, "bad-balance.csv.gz", 12, 0)
	data, stick := filepath.Join(t.TempDir(), "data"), t.TempDir()
	putText(t, readText(t, drive), stick, "q14.csv", yesterday)
	done(t, watchOnce(t, data, stick))
	h, id := openHome(t, data), theOnly(t, data)
	path := putText(t, readText(t, vision), stick, "q14 camera.csv", yesterday)
	sum, err := sumOf(t.Context(), path)
	require.NoError(t, err)
	begun := home.Taken{SHA256: sum, Name: "q14 camera.csv", Matches: []string{id.String()}, Into: true}
	note := func() {
		release, err := h.Hold()
		require.NoError(t, err)
		require.NoError(t, h.NoteTaken(begun))
		require.NoError(t, release())
	}
	note()
	done(t, watchOnce(t, data, stick))
	require.Equal(t, id, theOnly(t, data))
	meta, err := metaOf(h, id)
	require.NoError(t, err)
	assert.True(t, madeOf(meta, sum))
	// As if the last line had not come to the disk.
	note()
	before := contents(t, h.Dir(id))
	done(t, watchOnce(t, data, stick))
	assert.Equal(t, before, contents(t, h.Dir(id)), "it is in it once")
	// Stored by itself after a crash, it takes no place of the match it was to be put to.
	begun.SHA256 = strings.Repeat("0", 64)
	note()
	taken, err := h.TakenFiles()
	require.NoError(t, err)
	assert.False(t, takenIn(h, taken[begun.SHA256]))
	in := newIntake(&app{stdout: io.Discard, stderr: io.Discard, dataDir: data}, func() (*home.Home, error) { return h, nil }, nil, "2031", "millbrook-open")
	l, err := in.look(t.Context(), arrived{path: sample("clean.csv.gz"), name: "q14.csv.gz", sum: begun.SHA256}, false)
	require.NoError(t, err)
	_, err = in.store(t.Context(), l, l.report.Guess)
	require.NoError(t, err)
	assert.Equal(t, before, contents(t, h.Dir(id)))
	assert.True(t, h.Exists(named("2031", "millbrook-open", "q14-2", "heron")))
}

// What files brought stays when the collector seals a match again, on the base it has then.
func TestTheCollectorKeepsWhatFilesBrought(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	h, err := home.Create(data)
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	defer lock.Unlock()
	id := named("2031", "practice", "m001", "heron")
	s := newLiveStore(h, nil, nil)
	m := sealedOnce(id, 12.1, 12.2)
	m.Meta = map[string]string{metaBoots: `[{"source":"main","boot":"a","shift_us":0}]`}
	require.NoError(t, s.Publish(t.Context(), m))
	j, err := loadAny(h, id)
	require.NoError(t, err)
	camera := &schemas.Log{Signals: []*schemas.Signal{{Name: "camera/ok", Kind: schemas.Bool, Time: []int64{500, 1500}, Bool: []bool{true, false}}}}
	next, err := j.joined(partOf("camera", camera), toldShift(1000), fromFile{Name: "camera.csv"}, nil)
	require.NoError(t, err)
	_, err = next.putStored(t.Context(), h, id)
	require.NoError(t, err)

	log, _, err := s.Load(id)
	require.NoError(t, err)
	assert.Nil(t, log.Find("camera/ok"), "it is none of the collector's")
	m = sealedOnce(id, 12.1, 12.2, 12.3)
	m.Seal = 2
	m.Meta = map[string]string{metaBoots: `[{"source":"main","boot":"earlier","shift_us":0},{"source":"main","boot":"a","shift_us":7000}]`}
	require.NoError(t, s.Publish(t.Context(), m))
	j, err = loadAny(h, id)
	require.NoError(t, err)
	got := j.log.Find("camera/ok")
	require.NotNil(t, got)
	assert.Equal(t, []int64{8500, 9500}, got.Time, "the base has moved by 7 ms")
	assert.Equal(t, []int32{2, 2}, got.Boot)
	assert.Equal(t, 3, j.log.Find("power/voltage").Len())
	assert.Equal(t, 3, j.seal)
	files := filesOf(j.meta)
	require.Len(t, files, 1)
	assert.Equal(t, int32(2), files[0].Boot)
}

func partOf(name string, l *schemas.Log) together.Part { return together.Part{Name: name, Log: l} }

func toldShift(us int64) together.Found {
	return together.Found{Verdict: together.Sure, By: together.ByPerson, Shift: align.Shift{ShiftUS: us}, Clock: "as it was told"}
}

// What the collector knew of the clocks goes out with Parquet, and puts files together that saw
// nothing alike.
func TestExportedFilesKnowTheirClocks(t *testing.T) {
	t.Parallel()
	l := readLog(t, sample("clean.csv.gz"))
	from, to, _ := l.Bounds()
	data := filepath.Join(t.TempDir(), "data")
	h, err := home.Create(data)
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	sealed := func(match string, log *schemas.Log, offset int64) {
		first, _, _ := log.Bounds()
		m := sealedOnce(named("2031", "practice", match, "heron"))
		m.Log = &schemas.Log{}
		for _, s := range log.Signals {
			c := *s
			c.Time = make([]int64, s.Len())
			for i := range c.Time {
				c.Time[i] = s.Time[i] - first
			}
			m.Log.Signals = append(m.Log.Signals, &c)
		}
		m.Meta = map[string]string{metaBoots: fmt.Sprintf(`[{"source":"main","boot":%q,"shift_us":0,"offset_us":%d,"drift_ppm":3,"bound_us":900,"exchanges":40,"collector":"c","run":1}]`, match, offset)}
		require.NoError(t, newLiveStore(h, nil, nil).Publish(t.Context(), m))
	}
	sealed("m001", l.Cut(from, from+70e6), 1_930_000_000_000_000)
	second := l.Cut(from+73e6, to)
	begin, _, _ := second.Bounds()
	sealed("m002", second, 1_930_000_000_000_000+begin-from)
	require.NoError(t, lock.Unlock())
	dir := t.TempDir()
	var files []string
	for _, m := range []string{"m001", "m002"} {
		files = append(files, filepath.Join(dir, m+".parquet"))
		done(t, afterbell("export", m, "--format", "parquet", "--out", files[len(files)-1], "--data", data))
	}
	args := append([]string{"import", "--match", "q14", "--align", "--profile", sample("heron.yaml"), "--season", "2031", "--data", data}, files...)
	o := done(t, afterbell(args...))
	assert.Contains(t, o.stderr, fmt.Sprintf("m002.parquet was shifted by %.3f s ± 2 ms, told by how both clocks ran against the collector's", schemas.Seconds(begin-from)))
	r := analyzed(t, "practice/q14/heron", "--data", data)
	require.Len(t, r.Match.Periods, 2)
	want := sampleReport(t, "clean.csv.gz")
	assert.InDelta(t, want.Match.EndS-want.Match.StartS, r.Match.EndS-r.Match.StartS, 0.01)
	// The stored files themselves say it as well.
	own := []string{filepath.Join(h.Dir(named("2031", "practice", "m001", "heron")), schemas.SignalsFile), filepath.Join(h.Dir(named("2031", "practice", "m002", "heron")), schemas.SignalsFile)}
	o = done(t, afterbell(append([]string{"import", "--match", "q15", "--align", "--profile", sample("heron.yaml"), "--season", "2031", "--data", data}, own...)...))
	assert.Contains(t, o.stderr, "told by how both clocks ran")
}
