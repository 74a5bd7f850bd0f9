package collector

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
)

// failing is a disk that is full on cue.
type failing struct {
	mu   sync.Mutex
	full error
}

func (f *failing) set(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.full = err
}

func (f *failing) err() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.full
}

type failingFile struct {
	*os.File
	disk *failing
}

func (f failingFile) Write(b []byte) (int, error) {
	if err := f.disk.err(); err != nil {
		n, _ := f.File.Write(b[:len(b)/2])
		return n, err
	}
	return f.File.Write(b)
}

func TestFullDiskStopsAcknowledgingAndNothingElse(t *testing.T) {
	disk := &failing{}
	f := newField(t, func(o *Options) {
		o.Journal.Create = func(path string) (journal.File, error) {
			file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
			return failingFile{file, disk}, err
		}
	})
	r := f.radio("heron", "", "b")
	r.batch([3]any{"x", 1.0, 1})
	r.acked()
	disk.set(errors.New("no space left on device"))
	r.batch([3]any{"x", 2.0, 2})
	var e wire.Error
	r.want0("error", &e)
	require.Equal(t, wire.Storage, e.Code)
	require.Contains(t, e.Message, "no space left on device")
	h := f.c.Health()
	require.False(t, h.OK)
	require.Contains(t, h.Problem, "no space left on device")
	r.batch([3]any{"x", 3.0, 3})
	disk.set(nil)
	r.acked()
	require.True(t, f.c.Health().OK)
	f.reopen()
	require.NoError(t, f.c.Settle("heron"))
	require.Equal(t, []float64{1, 2, 3}, f.shelf.get(t, "idle-1", "heron").Log.Find("x").Float)
}

// smallJournal is the journal of a robot that sent six batches of three samples, and where
// the frame of each ends.
func smallJournal(t *testing.T) (data []byte, frames map[uint64][2]int) {
	t.Helper()
	f := newField(t)
	r := f.radio("heron", "", "b")
	r.send(wire.Signals{Type: "signals", Names: []string{"x [V]", "y"}, Types: []string{"float64", "text"}})
	for i := range 6 {
		at := float64(i)
		r.batch([3]any{"x", at, at}, [3]any{"x", at + 0.5, at}, [3]any{"y", at, fmt.Sprint("text ", i)})
		r.acked()
	}
	f.close()
	files, err := filepath.Glob(filepath.Join(f.dir, "*.segment"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	data, err = os.ReadFile(files[0])
	require.NoError(t, err)
	frames = map[uint64][2]int{}
	at := 0
	j, _, err := journal.Open(journal.Options{Dir: f.dir}, func(fr journal.Frame) error {
		size := 24 + len(fr.Payload) // the header of a frame
		if fr.Kind == frameRows {
			rows, ok := wire.ParseStored(fr.Payload)
			require.True(t, ok)
			frames[rows.Seq] = [2]int{at, at + size}
		}
		at += size
		return nil
	})
	require.NoError(t, err)
	require.NoError(t, j.Close())
	require.Len(t, frames, 6)
	return data, frames
}

// recovered are the values of x that a collector over that journal brings into the store.
func recoveredFrom(t *testing.T, data []byte) map[float64]int {
	t.Helper()
	f := newField(t)
	f.close()
	old, err := filepath.Glob(filepath.Join(f.dir, "*.segment"))
	require.NoError(t, err)
	for _, name := range old {
		require.NoError(t, os.Remove(name))
	}
	require.NoError(t, os.WriteFile(filepath.Join(f.dir, "00000001.segment"), data, 0o644))
	f.open()
	defer f.close()
	if err := f.c.Settle("heron"); err != nil { // not even its hello was whole
		return nil
	}
	got := map[float64]int{}
	for _, m := range f.shelf.matches {
		x := m.Log.Find("x")
		require.NotNil(t, x)
		for i := range x.Time {
			require.InDelta(t, math.Floor(float64(x.Time[i])/1e6), x.Float[i], 1e-9)
			got[float64(x.Time[i])/1e6]++
		}
	}
	return got
}

// Cut at any byte, every batch whose frame is whole comes into the store, once.
func TestJournalCutAnywhere(t *testing.T) {
	data, frames := smallJournal(t)
	for cut := 0; cut <= len(data); cut += step(t) {
		want := map[float64]int{}
		for seq, f := range frames {
			if f[1] <= cut {
				want[float64(seq-1)], want[float64(seq-1)+0.5] = 1, 1
			}
		}
		got := recoveredFrom(t, data[:cut])
		if len(want) == 0 {
			require.Empty(t, got)
			continue
		}
		require.Equal(t, want, got, "cut at %d", cut)
	}
}

// With any byte flipped, every batch whose own frame is untouched comes into the store, once,
// unless the frame that names its signals was hit.
func TestJournalFlippedAnywhere(t *testing.T) {
	data, frames := smallJournal(t)
	begin := frames[1][0]
	for at := 0; at < len(data); at += step(t) {
		bad := append([]byte{}, data...)
		bad[at] ^= 0x20
		want := map[float64]int{}
		for seq, f := range frames {
			if at < f[0] || at >= f[1] {
				want[float64(seq-1)], want[float64(seq-1)+0.5] = 1, 1
			}
		}
		got := recoveredFrom(t, bad)
		if at < begin { // head, boot or names
			for v, n := range got {
				require.Equal(t, want[v], n, "byte %d", at)
			}
			continue
		}
		require.Equal(t, want, got, "byte %d", at)
	}
}

// step thins the bytes that are tried: AFTERBELL_KILLS, the campaign, tries all of them.
func step(t *testing.T) int {
	t.Helper()
	if os.Getenv("AFTERBELL_KILLS") != "" {
		return 1
	}
	return 5
}

func TestTokensAreKeptHashed(t *testing.T) {
	dir := t.TempDir()
	file := TokenFile(dir)
	require.False(t, file.Knows(""))
	one, err := file.Make("heron")
	require.NoError(t, err)
	two, err := file.Make("bittern")
	require.NoError(t, err)
	require.NotEqual(t, one, two)
	n, err := file.Count()
	require.NoError(t, err)
	require.Equal(t, 2, n)
	require.True(t, file.Knows(one))
	require.True(t, file.Knows(two))
	require.False(t, file.Knows(one+"x"))
	require.False(t, file.Knows(""))
	data, err := os.ReadFile(filepath.Join(dir, "tokens.json"))
	require.NoError(t, err)
	require.NotContains(t, string(data), one)
	info, err := os.Stat(filepath.Join(dir, "tokens.json"))
	require.NoError(t, err)
	require.EqualValues(t, 0o600, info.Mode().Perm())
	require.NoError(t, os.WriteFile(filepath.Join(dir, "tokens.json"), []byte("x"), 0o600))
	_, err = file.Make("")
	require.ErrorContains(t, err, "is not a file of tokens")
	require.False(t, file.Knows(one))
}

// The length of a message without samples, and batches without any, are no reason to stumble.
func TestEmptyBatch(t *testing.T) {
	f := newField(t)
	r := f.radio("heron", "", "b")
	r.batch()
	r.acked()
	r.batch([3]any{"x", 1.0, 1})
	r.acked()
	f.reopen()
	again := f.radio("heron", "", "b")
	require.EqualValues(t, 2, again.seq)
	require.Eventually(t, func() bool { return f.c.Robots()[0].Samples == 1 }, time.Second, time.Millisecond)
}

// What another version wrote was acknowledged too: it is told, and outlives the matches around it.
func TestFramesOfAnotherVersionStay(t *testing.T) {
	f := newField(t)
	r := f.radio("heron", "", "b")
	r.batch([3]any{"x", 1.0, 1})
	r.acked()
	f.close()
	j, _, err := journal.Open(journal.Options{Dir: f.dir}, func(journal.Frame) error { return nil })
	require.NoError(t, err)
	const later = 200 // a kind this version does not know
	number, err := j.Append(later, []byte("acknowledged by a later version"))
	require.NoError(t, err)
	require.NoError(t, j.Close())

	stays := func() (kept bool) {
		j, _, err := journal.Open(journal.Options{Dir: f.dir}, func(fr journal.Frame) error {
			kept = kept || string(fr.Payload) == "acknowledged by a later version"
			return nil
		})
		require.NoError(t, err)
		require.NoError(t, j.Close())
		return kept
	}
	f.open()
	require.Equal(t, Unread{Frames: 1, First: number}, f.c.Unread())
	r = f.radio("heron", "", "b")
	for i := range 4 { // each settling begins a segment, and drops those nobody needs
		r.batch([3]any{"x", 100 + float64(i), i})
		r.acked()
		require.NoError(t, f.c.Settle("heron"))
	}
	require.Equal(t, []float64{1}, f.shelf.get(t, "idle-1", "heron").Log.Find("x").Float[:1])
	f.close()
	require.True(t, stays())
	f.open()
	require.Equal(t, 1, f.c.Unread().Frames)
	f.close()
}
