package home

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// crash is the panic by which a test ends a writer at one of its steps: nothing of the
// writer runs after it, as in a process that was killed.
type crash struct{ step string }

// crashingAt is h with a crash at its nth step from now.
func crashingAt(h *Home, n int) {
	h.step = func(name string) {
		if n == 0 {
			panic(crash{name})
		}
		n--
	}
}

// survived runs work and returns the step it crashed at, or "" when it came to its end.
func survived(t *testing.T, work func() error) (step string) {
	defer func() {
		if p := recover(); p != nil {
			c, ok := p.(crash)
			require.True(t, ok, "%v", p)
			step = c.step
		}
	}()
	require.NoError(t, work())
	return ""
}

// nextWriter is the data folder as the next process finds it, after its recovery.
func nextWriter(t *testing.T, crashed *Home) *Home {
	require.NoError(t, crashed.lock.file.Close()) // the system's part when a process ends
	h, err := Open(crashed.dir)
	require.NoError(t, err)
	_, err = h.Lock()
	require.NoError(t, err)
	left := slices.DeleteFunc(hiddenNames(t, h.dir), func(name string) bool { return name == takenFile }) // which stays
	assert.Empty(t, left)
	return h
}

func writersOf(files map[string]string) map[string]func(io.Writer) error {
	out := map[string]func(io.Writer) error{}
	for name, text := range files {
		out[name] = func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return err
		}
	}
	return out
}

var (
	oldFiles = map[string]string{"cycles.parquet": "old", "signals.parquet": "old", schemas.ReportFile: "old"}
	newFiles = map[string]string{"cycles.parquet": "new", "signals.parquet": "new", schemas.ReportFile: "new"}
	notes    = "{\"text\":\"belt slipped\"}\n"
)

// everyCrash prepares a data folder, lets work crash at its first step, in a fresh folder
// at its second, and so on, and hands each to check: as readers see it right after the
// crash (recovered false), and after the next writer's recovery.
func everyCrash(t *testing.T, prepare func(*Home), work func(*Home) error, check func(h *Home, step string, recovered bool)) {
	for n := 0; ; n++ {
		h, err := Create(t.TempDir())
		require.NoError(t, err)
		_, err = h.Lock()
		require.NoError(t, err)
		prepare(h)
		crashingAt(h, n)
		step := survived(t, func() error { return work(h) })
		check(h, step, false)
		next := nextWriter(t, h)
		check(next, step, true)
		require.NoError(t, next.lock.Unlock())
		if step == "" {
			require.Greater(t, n, 2, "the steps are no longer called")
			return
		}
	}
}

func TestACrashWhilePublishingANewMatch(t *testing.T) {
	work := func(h *Home) error { return h.Publish(q14, false, filled(newFiles)) }
	everyCrash(t, func(*Home) {}, work, func(h *Home, step string, recovered bool) {
		ids, err := h.List()
		require.NoError(t, err)
		if len(ids) == 0 {
			assert.NotEmpty(t, step)
			return
		}
		assert.Equal(t, []schemas.MatchID{q14}, ids)
		assert.Equal(t, newFiles, contents(t, h.Dir(q14)), "whole or not at all, crash at %q", step)
	})
}

func TestACrashWhileReplacingAMatch(t *testing.T) {
	prepare := func(h *Home) {
		require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
		require.NoError(t, os.WriteFile(filepath.Join(h.Dir(q14), schemas.NotesFile), []byte(notes), 0o644))
	}
	work := func(h *Home) error { return h.Publish(q14, true, filled(newFiles)) }
	seen := map[string]int{}
	everyCrash(t, prepare, work, func(h *Home, step string, recovered bool) {
		if !h.Exists(q14) {
			require.False(t, recovered, "lost after a crash at %q", step)
			seen["none"]++
			return
		}
		got := contents(t, h.Dir(q14))
		require.Equal(t, notes, got[schemas.NotesFile], "crash at %q", step)
		delete(got, schemas.NotesFile)
		version := got[schemas.ReportFile]
		seen[fmt.Sprint(version, recovered)]++
		require.Equal(t, map[string]map[string]string{"old": oldFiles, "new": newFiles}[version], got, "crash at %q", step)
	})
	assert.Positive(t, seen["oldfalse"])
	assert.Positive(t, seen["none"], "the moment without a match, which the next writer ends")
	assert.Positive(t, seen["newtrue"])
}

// A file is put to a stored match: it is written down that it will be, the match is replaced by
// one that holds it, it is written down that it is. Wherever a crash comes, the match is whole,
// its notes are there, and no line says that the file is in it when it is not.
func TestACrashWhilePuttingAFileToAMatch(t *testing.T) {
	line := Taken{SHA256: "a", Name: "camera.csv", Matches: []string{q14.String()}, Into: true}
	prepare := func(h *Home) {
		require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
		require.NoError(t, os.WriteFile(filepath.Join(h.Dir(q14), schemas.NotesFile), []byte(notes), 0o644))
	}
	work := func(h *Home) error {
		done := h.Rewrite(q14)
		defer done()
		if err := h.NoteTaken(line); err != nil {
			return err
		}
		if err := h.Publish(q14, true, filled(newFiles)); err != nil {
			return err
		}
		in := line
		in.Done = true
		return h.NoteTaken(in)
	}
	seen := map[string]int{}
	everyCrash(t, prepare, work, func(h *Home, step string, recovered bool) {
		taken, err := h.TakenFiles()
		require.NoError(t, err)
		if !h.Exists(q14) {
			require.False(t, recovered, "lost after a crash at %q", step)
			require.False(t, taken["a"].Done)
			return
		}
		got := contents(t, h.Dir(q14))
		require.Equal(t, notes, got[schemas.NotesFile], "crash at %q", step)
		delete(got, schemas.NotesFile)
		version := got[schemas.ReportFile]
		require.Equal(t, map[string]map[string]string{"old": oldFiles, "new": newFiles}[version], got, "crash at %q", step)
		if version == "old" {
			require.False(t, taken["a"].Done, "crash at %q", step)
		}
		seen[fmt.Sprint(version, taken["a"].Done)]++
	})
	assert.Positive(t, seen["oldfalse"])
	assert.Positive(t, seen["newfalse"], "the file itself says that it is in it")
	assert.Positive(t, seen["newtrue"])
}

func TestACrashWhileUpdatingFiles(t *testing.T) {
	prepare := func(h *Home) { require.NoError(t, h.Publish(q14, false, filled(oldFiles))) }
	work := func(h *Home) error { return h.Update(q14, writersOf(newFiles)) }
	mixed := 0
	everyCrash(t, prepare, work, func(h *Home, step string, recovered bool) {
		got := contents(t, h.Dir(q14))
		require.Len(t, got, len(oldFiles))
		versions := map[string]bool{}
		for _, text := range got {
			versions[text] = true
		}
		if len(versions) > 1 {
			mixed++
			require.False(t, recovered, "crash at %q", step)
			require.Equal(t, "old", got[schemas.ReportFile], "the report is the last to change")
		}
	})
	assert.Positive(t, mixed)
}

func TestACrashWhileRemoving(t *testing.T) {
	prepare := func(h *Home) { require.NoError(t, h.Publish(q14, false, filled(oldFiles))) }
	everyCrash(t, prepare, func(h *Home) error { return h.Remove(q14) }, func(h *Home, step string, recovered bool) {
		if h.Exists(q14) {
			assert.Equal(t, oldFiles, contents(t, h.Dir(q14)), "whole or gone, crash at %q", step)
		}
	})
}

// The recovery may crash as well, at any of its steps, and the next one ends it.
func TestACrashInTheRecovery(t *testing.T) {
	for first := range 40 {
		for second := 0; ; second++ {
			h, err := Create(t.TempDir())
			require.NoError(t, err)
			_, err = h.Lock()
			require.NoError(t, err)
			require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
			crashingAt(h, first)
			if survived(t, func() error { return h.Publish(q14, true, filled(newFiles)) }) == "" {
				require.Greater(t, first, 5)
				return
			}
			require.NoError(t, h.lock.file.Close())
			again, err := Open(h.dir)
			require.NoError(t, err)
			crashingAt(again, second)
			step := survived(t, func() error { _, err := again.Lock(); return err })
			last := nextWriter(t, again)
			got := contents(t, last.Dir(q14))
			require.Contains(t, []map[string]string{oldFiles, newFiles}, got)
			require.NoError(t, last.lock.Unlock())
			if step == "" {
				break
			}
		}
	}
}

var errFull = errors.New("no space left on device")

func TestAFailedUpdateChangesNothing(t *testing.T) {
	h := locked(t)
	require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
	for _, failing := range []string{"cycles.parquet", schemas.ReportFile, "signals.parquet"} {
		files := writersOf(newFiles)
		files[failing] = func(w io.Writer) error {
			_, err := io.WriteString(w, "ha")
			return errors.Join(err, errFull)
		}
		err := h.Update(q14, files)
		require.ErrorIs(t, err, errFull)
		assert.ErrorContains(t, err, "writing "+failing+" of 2031/millbrook-open/q14/heron")
		assert.Equal(t, oldFiles, contents(t, h.Dir(q14)))
	}
	require.NoError(t, h.Update(q14, writersOf(map[string]string{"moves.parquet": "added", schemas.ReportFile: "new"})))
	got := contents(t, h.Dir(q14))
	assert.Equal(t, []string{"added", "old", "new"}, []string{got["moves.parquet"], got["cycles.parquet"], got[schemas.ReportFile]})
	assert.Error(t, h.Update(id("alder-cup", "m", "r"), writersOf(newFiles)))
}

// An update that failed half-way for good (here a folder stands where its file should go)
// is completed or dropped before anything newer, never laid over it.
func TestAStuckUpdateDoesNotReachALaterMatch(t *testing.T) {
	h := locked(t)
	require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
	obstacle := filepath.Join(h.Dir(q14), "moves.parquet", "x")
	require.NoError(t, os.MkdirAll(obstacle, 0o755))
	require.Error(t, h.Update(q14, writersOf(map[string]string{"moves.parquet": "stale", schemas.ReportFile: "stale"})))
	require.NoError(t, h.Publish(q14, true, filled(newFiles)))
	assert.Equal(t, newFiles, contents(t, h.Dir(q14)))
}
