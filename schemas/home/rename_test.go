package home

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// renamed gives a match another name and leaves its files as they are.
func renamed(h *Home, from, to schemas.MatchID) error {
	return h.Rename(from, to, func(dir string) error {
		entries, err := os.ReadDir(h.Dir(from))
		if err != nil {
			return err
		}
		for _, e := range entries {
			data, err := os.ReadFile(filepath.Join(h.Dir(from), e.Name()))
			if err != nil {
				return err
			}
			if err := os.WriteFile(filepath.Join(dir, e.Name()), data, 0o644); err != nil {
				return err
			}
		}
		return nil
	}, nil)
}

// Whatever the step, the match is there under one name after recovery, whole, with its notes,
// and what others say of it goes with the name.
func TestACrashWhileRenaming(t *testing.T) {
	q15, q16 := id("alder-cup", "q15", "heron"), id("millbrook-open", "q16", "heron")
	prepare := func(h *Home) {
		require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
		require.NoError(t, h.Publish(q16, false, filled(oldFiles)))
		require.NoError(t, h.AddNote(q14, []byte(notes)))
	}
	work := func(h *Home) error {
		return h.Rename(q14, q15, filled(newFiles), map[schemas.MatchID]Files{q16: writersOf(map[string]string{"report.html": "new", schemas.ReportFile: "new"})})
	}
	seen := map[string]int{}
	everyCrash(t, prepare, work, func(h *Home, step string, recovered bool) {
		before, after := h.Exists(q14), h.Exists(q15)
		require.False(t, before && after, "both names, crash at %q", step)
		other := contents(t, h.Dir(q16))
		switch {
		case before:
			seen["old"]++
			got := contents(t, h.Dir(q14))
			require.Equal(t, notes, got[schemas.NotesFile])
			delete(got, schemas.NotesFile)
			require.Equal(t, oldFiles, got, "crash at %q", step)
			require.Equal(t, oldFiles, other, "crash at %q", step)
		case after:
			seen["new"]++
			got := contents(t, h.Dir(q15))
			require.Equal(t, notes, got[schemas.NotesFile], "crash at %q", step)
			delete(got, schemas.NotesFile)
			require.Equal(t, newFiles, got, "crash at %q", step)
			if recovered {
				require.Equal(t, "new", other[schemas.ReportFile], "crash at %q", step)
				require.Equal(t, "new", other["report.html"], "crash at %q", step)
				require.NoDirExists(t, h.Dir(q14))
			}
		default:
			seen["none"]++
			require.False(t, recovered, "lost after a crash at %q", step)
		}
	})
	assert.Positive(t, seen["old"])
	assert.Positive(t, seen["none"], "the moment without a match, which the next writer ends")
	assert.Greater(t, seen["new"], 2)
}

// A rename that cannot be written, or not be put in place, leaves everything as it was.
func TestAFailedRenameChangesNothing(t *testing.T) {
	h := locked(t)
	q15, q16 := id("alder-cup", "q15", "heron"), id("millbrook-open", "q16", "heron")
	require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
	require.NoError(t, h.Publish(q16, false, filled(oldFiles)))
	whole := func() {
		t.Helper()
		assert.Equal(t, oldFiles, contents(t, h.Dir(q14)))
		assert.Equal(t, oldFiles, contents(t, h.Dir(q16)))
		assert.False(t, h.Exists(q15))
	}
	full := func(string) error { return errFull }
	require.ErrorIs(t, h.Rename(q14, q15, full, nil), errFull)
	whole()
	others := map[schemas.MatchID]Files{q16: writersOf(map[string]string{"../x": ""})}
	require.ErrorContains(t, h.Rename(q14, q15, filled(newFiles), others), "cannot be the name of a file")
	whole()
	// A file where the event's folder must be.
	blocked := id("blocked", "q15", "heron")
	require.NoError(t, os.WriteFile(filepath.Join(h.dir, "season=2031", "event=blocked"), nil, 0o644))
	require.Error(t, h.Rename(q14, blocked, filled(newFiles), nil))
	whole()
	taken := (*ExistsError)(nil)
	require.True(t, errors.As(h.Rename(q14, q16, filled(newFiles), nil), &taken))
	whole()
}

// The recovery of a rename may crash as well, at any of its steps.
func TestACrashInTheRecoveryOfARename(t *testing.T) {
	q15, q16 := id("alder-cup", "q15", "heron"), id("millbrook-open", "q16", "heron")
	for first := 0; ; first++ {
		for second := 0; ; second++ {
			h, err := Create(t.TempDir())
			require.NoError(t, err)
			_, err = h.Lock()
			require.NoError(t, err)
			require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
			require.NoError(t, h.Publish(q16, false, filled(oldFiles)))
			crashingAt(h, first)
			ended := survived(t, func() error {
				return h.Rename(q14, q15, filled(newFiles), map[schemas.MatchID]Files{q16: writersOf(map[string]string{schemas.ReportFile: "new"})})
			}) == ""
			if ended {
				require.Greater(t, first, 10)
				return
			}
			require.NoError(t, h.lock.file.Close())
			again, err := Open(h.dir)
			require.NoError(t, err)
			crashingAt(again, second)
			step := survived(t, func() error { _, err := again.Lock(); return err })
			last := nextWriter(t, again)
			if last.Exists(q15) {
				require.False(t, last.Exists(q14))
				require.Equal(t, newFiles, contents(t, last.Dir(q15)))
				require.Equal(t, "new", contents(t, last.Dir(q16))[schemas.ReportFile])
			} else {
				require.Equal(t, oldFiles, contents(t, last.Dir(q14)))
				require.Equal(t, oldFiles, contents(t, last.Dir(q16)))
			}
			require.NoError(t, last.lock.Unlock())
			if step == "" {
				break
			}
		}
	}
}
