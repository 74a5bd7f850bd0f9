package home

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func id(event, match, robot string) schemas.MatchID {
	return schemas.MatchID{Season: "2031", Event: event, Match: match, Robot: robot}
}

var q14 = id("millbrook-open", "q14", "heron")

// locked is an empty data folder with the lock held. When the test ends it must hold
// nothing hidden but the files of locks.
func locked(t *testing.T) *Home {
	h, err := Create(filepath.Join(t.TempDir(), "data"))
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, lock.Unlock())
		assert.Empty(t, hiddenNames(t, h.dir))
	})
	return h
}

func hiddenNames(t *testing.T, dir string) []string {
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var out []string
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") && !IsLock(e.Name()) {
			out = append(out, e.Name())
		}
	}
	return out
}

// filled writes the given files.
func filled(files map[string]string) func(dir string) error {
	return func(dir string) error {
		for name, text := range files {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
				return err
			}
		}
		return nil
	}
}

// contents are the files of a folder.
func contents(t *testing.T, dir string) map[string]string {
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	out := map[string]string{}
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		out[e.Name()] = string(data)
	}
	return out
}

func publish(t *testing.T, h *Home, ids ...schemas.MatchID) {
	for _, id := range ids {
		require.NoError(t, h.Publish(id, false, filled(map[string]string{schemas.ReportFile: id.String()})))
	}
}

func TestOpenNeedsAFolder(t *testing.T) {
	dir := t.TempDir()
	_, err := Open(filepath.Join(dir, "absent"))
	assert.ErrorContains(t, err, "there is no data folder at "+filepath.Join(dir, "absent"))
	assert.ErrorIs(t, err, fs.ErrNotExist)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "file"), nil, 0o644))
	_, err = Open(filepath.Join(dir, "file"))
	assert.ErrorContains(t, err, "is a file, not a data folder")
	_, err = Create(filepath.Join(dir, "file", "data"))
	assert.ErrorContains(t, err, "making the data folder")
}

func TestListIsSortedAndKnowsOnlyMatches(t *testing.T) {
	h := locked(t)
	all := []schemas.MatchID{
		id("alder-cup", "m001", "bittern"), id("alder-cup", "m001", "curlew"), id("alder-cup", "m002", "bittern"),
		id("millbrook-open", "m001", "heron"),
		{Season: "2032", Event: "alder-cup", Match: "m001", Robot: "heron"},
	}
	publish(t, h, all[3], all[1], all[4], all[0], all[2])
	for _, other := range []string{
		"season=2031/event=Alder", "season=2031/event=alder-cup/match=14/robot=x", "lost+found", ".incoming-1/season=2031",
		"season=2031/event=alder-cup/match=m003",
	} {
		require.NoError(t, os.MkdirAll(filepath.Join(h.dir, other), 0o755))
	}
	got, err := h.List()
	require.NoError(t, err)
	assert.Equal(t, all, got)
	require.NoError(t, os.RemoveAll(filepath.Join(h.dir, ".incoming-1")))
}

func TestFind(t *testing.T) {
	h := locked(t)
	_, err := h.Find("q14")
	assert.EqualError(t, err, `no match "q14": `+h.dir+" holds no matches yet")
	publish(t, h, q14, id("millbrook-open", "q15", "heron"), id("millbrook-open", "q15", "bittern"), id("alder-cup", "q15", "heron"))
	for ref, want := range map[string]schemas.MatchID{
		"2031/millbrook-open/q14/heron": q14,
		"millbrook-open/q14/heron":      q14,
		"millbrook-open/q14":            q14,
		"q14/heron":                     q14,
		"q14":                           q14,
		"q15/bittern":                   id("millbrook-open", "q15", "bittern"),
		"alder-cup/q15":                 id("alder-cup", "q15", "heron"),
	} {
		got, err := h.Find(ref)
		require.NoError(t, err, ref)
		assert.Equal(t, want, got, ref)
	}
	_, err = h.Find("q15")
	assert.EqualError(t, err, `"q15" fits 3 matches: say which of 2031/alder-cup/q15/heron, 2031/millbrook-open/q15/bittern, 2031/millbrook-open/q15/heron`)
	ambiguous := (*AmbiguousError)(nil)
	assert.ErrorAs(t, err, &ambiguous)
	_, err = h.Find("milbrook-open/q14/heron")
	notFound := (*NotFoundError)(nil)
	require.ErrorAs(t, err, &notFound)
	assert.Equal(t, q14, notFound.Nearest[0])
	assert.ErrorContains(t, err, `no match "milbrook-open/q14/heron" in `+h.dir+`; nearest: 2031/millbrook-open/q14/heron`)
	for _, ref := range []string{"", "/", "../../etc", "2031/millbrook-open/q14/heron/", "a/b/c/d/e"} {
		_, err := h.Find(ref)
		assert.ErrorAs(t, err, &notFound, ref)
	}
}

// The textbook pairs of the edit distance (Wagner and Fischer 1974 use the same measure).
func TestDistance(t *testing.T) {
	assert.Equal(t, 3, distance("kitten", "sitting"))
	assert.Equal(t, 2, distance("", "ab"))
	assert.Equal(t, 1, distance("ab", "b"))
	assert.Zero(t, distance("q14", "q14"))
}

func TestPublishAndReplace(t *testing.T) {
	h := locked(t)
	require.NoError(t, h.Publish(q14, false, filled(map[string]string{"a": "1", schemas.ReportFile: "1"})))
	err := h.Publish(q14, false, filled(nil))
	exists := (*ExistsError)(nil)
	require.ErrorAs(t, err, &exists)
	assert.Equal(t, map[string]string{"a": "1", schemas.ReportFile: "1"}, contents(t, h.Dir(q14)))
	require.NoError(t, os.WriteFile(filepath.Join(h.Dir(q14), schemas.NotesFile), []byte("{}\n"), 0o644))
	require.NoError(t, h.Publish(q14, true, filled(map[string]string{schemas.ReportFile: "2"})))
	assert.Equal(t, map[string]string{schemas.ReportFile: "2", schemas.NotesFile: "{}\n"}, contents(t, h.Dir(q14)), "the notes stay")
	require.NoError(t, h.Publish(q14, true, filled(map[string]string{schemas.NotesFile: "{\"a\":1}\n"})))
	assert.Equal(t, map[string]string{schemas.NotesFile: "{\"a\":1}\n"}, contents(t, h.Dir(q14)), "unless others came")
	info, err := os.Stat(h.Dir(q14))
	require.NoError(t, err)
	if runtime.GOOS != "windows" { // where folders have no such modes
		assert.Equal(t, fs.FileMode(0o755), info.Mode().Perm())
	}
}

func TestAFailedPublishLeavesNothing(t *testing.T) {
	h := locked(t)
	full := errors.New("no space left on device")
	fill := func(dir string) error {
		if err := filled(map[string]string{"signals.parquet": "half"})(dir); err != nil {
			return err
		}
		return full
	}
	assert.ErrorIs(t, h.Publish(q14, false, fill), full)
	assert.False(t, h.Exists(q14))
	entries, err := os.ReadDir(h.dir)
	require.NoError(t, err)
	for _, e := range entries {
		assert.True(t, IsLock(e.Name()), "the locks alone, no empty folders")
	}
	publish(t, h, q14)
	assert.ErrorIs(t, h.Publish(q14, true, fill), full)
	assert.Equal(t, map[string]string{schemas.ReportFile: q14.String()}, contents(t, h.Dir(q14)), "the old match is untouched")
	// A file where a folder should be: the rename itself fails.
	require.NoError(t, os.WriteFile(filepath.Join(h.dir, "season=2031", "event=alder-cup"), nil, 0o644))
	assert.Error(t, h.Publish(id("alder-cup", "m001", "heron"), false, filled(nil)))
}

func TestNamesStayInside(t *testing.T) {
	h := locked(t)
	for _, bad := range []schemas.MatchID{
		{}, id("..", "m", "r"), id("a/b", "m", "r"), id("alder-cup", "14", "heron"), id("alder-cup", "m", "Heron"),
	} {
		assert.Error(t, h.Publish(bad, false, filled(nil)), bad)
		assert.False(t, h.Exists(bad))
		assert.Error(t, renamed(h, bad, q14))
		assert.Error(t, renamed(h, q14, bad))
		assert.Error(t, h.Remove(bad))
	}
	publish(t, h, q14)
	for _, name := range []string{"", "../x", ".hidden", `a\b`, "a/b"} {
		assert.ErrorContains(t, h.Update(q14, writersOf(map[string]string{name: ""})), "cannot be the name of a file", name)
	}
}

func TestRenameAndRemove(t *testing.T) {
	h := locked(t)
	q15 := id("alder-cup", "q15", "heron")
	publish(t, h, q14, id("millbrook-open", "q16", "heron"))
	require.NoError(t, renamed(h, q14, q15))
	assert.False(t, h.Exists(q14))
	assert.Equal(t, map[string]string{schemas.ReportFile: q14.String()}, contents(t, h.Dir(q15)))
	assert.NoDirExists(t, filepath.Dir(h.Dir(q14)), "no empty folder is left")
	assert.ErrorIs(t, renamed(h, q14, q15), fs.ErrNotExist)
	exists := (*ExistsError)(nil)
	assert.ErrorAs(t, renamed(h, q15, id("millbrook-open", "q16", "heron")), &exists)
	require.NoError(t, renamed(h, q15, q15))
	require.NoError(t, h.Remove(q15))
	assert.ErrorIs(t, h.Remove(q15), fs.ErrNotExist)
	assert.NoDirExists(t, filepath.Join(h.dir, "season=2031", "event=alder-cup"))
}

func TestWritingNeedsTheLock(t *testing.T) {
	h, err := Create(t.TempDir())
	require.NoError(t, err)
	for name, err := range map[string]error{
		"publish": h.Publish(q14, false, filled(nil)),
		"update":  h.Update(q14, nil),
		"rename":  renamed(h, q14, id("alder-cup", "m", "r")),
		"remove":  h.Remove(q14),
	} {
		assert.ErrorContains(t, err, "was not locked for writing", name)
	}
}
