package home

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheRightToWriteForAMoment(t *testing.T) {
	dir := t.TempDir()
	h, err := Create(dir)
	require.NoError(t, err)
	other, err := Open(dir)
	require.NoError(t, err)
	refused := func() {
		t.Helper()
		_, err := other.Lock()
		var locked *LockedError
		require.True(t, errors.As(err, &locked))
	}
	one, err := h.Hold()
	require.NoError(t, err)
	refused()
	two, err := h.Hold()
	require.NoError(t, err)
	require.NoError(t, one())
	refused() // the second still writes
	require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
	require.NoError(t, two())
	require.Error(t, h.Publish(q14, true, filled(oldFiles)), "nobody holds it any more")
	require.Error(t, two(), "given back twice")

	lock, err := other.Lock()
	require.NoError(t, err)
	_, err = h.Hold()
	var locked *LockedError
	require.True(t, errors.As(err, &locked))
	hold, err := other.Hold()
	require.NoError(t, err)
	require.NoError(t, hold())
	require.NoError(t, other.Publish(q14, true, filled(newFiles)), "what was locked for long stays locked")
	require.NoError(t, lock.Unlock())
}

func TestFilesThatWereTakenAreRemembered(t *testing.T) {
	h := newHome(t)
	none, err := h.TakenFiles()
	require.NoError(t, err)
	assert.Empty(t, none)
	require.Error(t, h.NoteTaken(Taken{SHA256: "a"}), "nobody holds the right to write")
	release, err := h.Hold()
	require.NoError(t, err)
	defer func() { require.NoError(t, release()) }()
	require.NoError(t, h.NoteTaken(Taken{SHA256: "a", Name: "q14.csv", Size: 3, Matches: []string{q14.String()}}))
	taken, err := h.TakenFiles()
	require.NoError(t, err)
	assert.False(t, taken["a"].Done, "begun, and its match is not there")
	require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
	taken, err = h.TakenFiles()
	require.NoError(t, err)
	assert.True(t, taken["a"].Done, "a crash came behind the match and before the second line")
	require.NoError(t, h.NoteTaken(Taken{SHA256: "a", Name: "q14.csv", Size: 3, Matches: []string{q14.String()}, Done: true}))
	require.NoError(t, h.Remove(q14))
	taken, err = h.TakenFiles()
	require.NoError(t, err)
	assert.Equal(t, "q14.csv", taken["a"].Name, "a match that was deleted does not come back by itself")

	// Cut off anywhere in its last line, the file says what it said before.
	path := filepath.Join(h.dir, takenFile)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, h.NoteTaken(Taken{SHA256: "b", Done: true}))
	longer, err := os.ReadFile(path)
	require.NoError(t, err)
	for cut := len(whole); cut < len(longer)-1; cut++ {
		require.NoError(t, os.WriteFile(path, longer[:cut], 0o644))
		taken, err := h.TakenFiles()
		require.NoError(t, err)
		require.Len(t, taken, 1, "cut at %d", cut)
	}
	require.NoError(t, h.NoteTaken(Taken{SHA256: "c", Done: true}))
	taken, err = h.TakenFiles()
	require.NoError(t, err)
	assert.Len(t, taken, 2)
}

// A file that is put to a match that is there already is not in it because the match is there.
func TestAFilePutToAMatchIsNotTakenBefore(t *testing.T) {
	h := newHome(t)
	release, err := h.Hold()
	require.NoError(t, err)
	defer func() { require.NoError(t, release()) }()
	require.NoError(t, h.Publish(q14, false, filled(oldFiles)))
	line := Taken{SHA256: "a", Name: "camera.csv", Matches: []string{q14.String()}, Into: true}
	require.NoError(t, h.NoteTaken(line))
	taken, err := h.TakenFiles()
	require.NoError(t, err)
	assert.False(t, taken["a"].Done)
	assert.True(t, taken["a"].Into)
	line.Done = true
	require.NoError(t, h.NoteTaken(line))
	taken, err = h.TakenFiles()
	require.NoError(t, err)
	assert.True(t, taken["a"].Done)
}

// Who writes a match anew of what is stored of it keeps others out until then.
func TestRewritesFollowOneAnother(t *testing.T) {
	h := newHome(t)
	n, sum := 0, make(chan int)
	for range 8 {
		go func() {
			done := h.Rewrite(q14)
			defer done()
			m := n
			runtime.Gosched()
			n = m + 1
			sum <- n
		}()
	}
	last := 0
	for range 8 {
		last = max(last, <-sum)
	}
	assert.Equal(t, 8, last)
	first := h.Rewrite(q14)
	h.Rewrite(id("alder-cup", "q1", "heron"))() // another match waits for nobody
	first()
}

func newHome(t *testing.T) *Home {
	h, err := Create(filepath.Join(t.TempDir(), "data"))
	require.NoError(t, err)
	return h
}
