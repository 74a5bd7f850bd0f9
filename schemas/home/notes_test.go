package home

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// noted is a data folder with one match that has these notes.
func noted(t *testing.T, notes string) *Home {
	h, err := Create(t.TempDir())
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
	require.NoError(t, lock.Unlock())
	if notes != "" {
		require.NoError(t, os.WriteFile(filepath.Join(h.Dir(q14), schemas.NotesFile), []byte(notes), 0o644))
	}
	return h
}

func notesOf(t *testing.T, h *Home) string {
	data, err := h.Notes(q14)
	require.NoError(t, err)
	return string(data)
}

func TestANoteIsAdded(t *testing.T) {
	h := noted(t, "")
	require.Empty(t, notesOf(t, h))
	require.NoError(t, h.AddNote(q14, []byte("{\"a\":1}\n")))
	require.NoError(t, h.AddNote(q14, []byte("{\"a\":2}\n")))
	require.Equal(t, "{\"a\":1}\n{\"a\":2}\n", notesOf(t, h))
	lock, err := h.Lock()
	require.NoError(t, err, "the lock was given back")
	require.NoError(t, h.AddNote(q14, []byte("{\"a\":3}\n")), "who holds the lock may add as well")
	require.NoError(t, lock.Unlock())
	require.Equal(t, 3, strings.Count(notesOf(t, h), "\n"))
}

func TestANoteIsOneLineOfJSON(t *testing.T) {
	h := noted(t, "")
	for _, line := range []string{"", "\n", "{}", "{\"a\":\n1}\n", "no JSON\n", "{}\n{}\n"} {
		require.Error(t, h.AddNote(q14, []byte(line)), "%q", line)
	}
	require.Empty(t, notesOf(t, h))
	none := q14
	none.Match = "q15"
	require.ErrorIs(t, h.AddNote(none, []byte("{}\n")), os.ErrNotExist)
	none.Match = "../q14"
	require.Error(t, h.AddNote(none, []byte("{}\n")))
	_, err := h.Notes(none)
	require.Error(t, err)
}

// What an editor or a crash leaves behind the last line feed.
func TestANoteBeginsALineOfItsOwn(t *testing.T) {
	for before, want := range map[string]string{
		"{\"a\":1}\n":             "{\"a\":1}\n{\"b\":2}\n",
		"{\"a\":1}":               "{\"a\":1}\n{\"b\":2}\n", // an editor's: kept
		"{\"a\":1}\n{\"cut":       "{\"a\":1}\n{\"b\":2}\n", // was never confirmed: gives way
		"{\"cut":                  "{\"b\":2}\n",
		"{\"a\":1}\nno JSON\n":    "{\"a\":1}\nno JSON\n{\"b\":2}\n", // somebody's whole line: not ours to mend
		"{\"a\":1}\n\n":           "{\"a\":1}\n\n{\"b\":2}\n",
		"{\"a\":1}\n\x00\x00\x00": "{\"a\":1}\n{\"b\":2}\n", // some file systems leave zeros after a power cut
	} {
		h := noted(t, before)
		require.NoError(t, h.AddNote(q14, []byte("{\"b\":2}\n")))
		require.Equal(t, want, notesOf(t, h), "%q", before)
	}
}

func TestNotesOfManyArriveWhole(t *testing.T) {
	h := noted(t, "")
	var all sync.WaitGroup
	for i := range 40 {
		all.Go(func() {
			line := fmt.Sprintf("{\"n\":%d,\"text\":%q}\n", i, strings.Repeat("x", 40*i))
			if err := h.AddNote(q14, []byte(line)); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	seen := map[int]bool{}
	for line := range strings.Lines(notesOf(t, h)) {
		var n struct{ N int }
		require.NoError(t, json.Unmarshal([]byte(line), &n))
		require.False(t, seen[n.N])
		seen[n.N] = true
	}
	require.Len(t, seen, 40)
}

// While another process replaces the match and updates it without end, notes are added, and
// every one of them is there, once and in order. Then the other one is killed, and they still are.
func TestNotesWhileAnotherProcessWrites(t *testing.T) {
	h := noted(t, "")
	child, lines := writer(t, h.dir)
	require.True(t, lines.Scan(), "the other process has the lock")
	_, err := h.Lock()
	var locked *LockedError
	require.ErrorAs(t, err, &locked)
	var replaced atomic.Int64
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for lines.Scan() {
			replaced.Add(1)
		}
	}()
	want := ""
	until := time.Now().Add(time.Minute)
	for i := 0; i < 100 || replaced.Load() < 4; i++ { // as many as it takes the other one to get its turns
		require.True(t, time.Now().Before(until), "the other process is kept from its work")
		line := fmt.Sprintf("{\"n\":%d}\n", i)
		require.NoError(t, h.AddNote(q14, []byte(line)))
		want += line
		require.Equal(t, want, notesOfSoon(t, h))
	}
	require.NoError(t, child.Process.Kill())
	<-ended
	_ = child.Wait()
	require.NoError(t, h.AddNote(q14, []byte("{\"n\":-1}\n")), "what the kill left is made good first")
	require.Equal(t, want+"{\"n\":-1}\n", notesOf(t, h))
}

// notesOfSoon reads the notes of a match that is being replaced, when it is there.
func notesOfSoon(t *testing.T, h *Home) string {
	for range 1000 {
		if text := notesOf(t, h); text != "" || h.Exists(q14) {
			return text
		}
		time.Sleep(time.Millisecond)
	}
	return ""
}

func TestACrashWhileAddingANote(t *testing.T) {
	const first, second = "{\"a\":1}\n", "{\"b\":2}\n"
	prepare := func(h *Home) {
		require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
		require.NoError(t, h.AddNote(q14, []byte(first)))
	}
	work := func(h *Home) error { return h.AddNote(q14, []byte(second)) }
	everyCrash(t, prepare, work, func(h *Home, step string, recovered bool) {
		got := notesOf(t, h)
		require.Contains(t, []string{first, first + second}, got, "crash at %q", step)
		if step == "" {
			require.Equal(t, first+second, got)
		}
	})
}
