package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// reopen opens a journal and collects its frames as "kind:payload".
func reopen(t testing.TB, o Options) (*Journal, []string, Recovery) {
	t.Helper()
	var frames []string
	j, found, err := Open(o, func(f Frame) error {
		frames = append(frames, fmt.Sprintf("%d:%s", f.Kind, f.Payload))
		return nil
	})
	require.NoError(t, err)
	return j, frames, found
}

func put(t testing.TB, j *Journal, kind byte, payload string) uint64 {
	t.Helper()
	n, err := j.Append(kind, []byte(payload))
	require.NoError(t, err)
	return n
}

func flushed(t testing.TB, j *Journal) {
	t.Helper()
	require.NoError(t, j.Flush(nil))
}

func TestWhatWasAppendedIsReadAgain(t *testing.T) {
	o := Options{Dir: t.TempDir()}
	j, frames, found := reopen(t, o)
	require.Empty(t, frames)
	require.Zero(t, found)
	_, err := j.Rotate([]byte("he"), []byte("ad"))
	require.NoError(t, err)
	require.EqualValues(t, 2, put(t, j, 7, "one"))
	put(t, j, 8, "")
	require.NoError(t, j.Close())

	j, frames, found = reopen(t, o)
	require.Equal(t, []string{"1:head", "7:one", "8:"}, frames)
	require.Equal(t, 1, found.Segments)
	require.Empty(t, found.Torn)
	require.EqualValues(t, 4, put(t, j, 9, "again"))
	flushed(t, j)
	var read []uint64
	require.NoError(t, j.Read(2, 4, func(kind byte, _ []byte) bool { return kind != 8 }, func(frames []Frame) error {
		for _, f := range frames {
			read = append(read, f.Number)
		}
		return nil
	}))
	require.Equal(t, []uint64{2, 4}, read)
	require.NoError(t, j.Close())
	_, err = j.Append(2, nil)
	require.ErrorIs(t, err, ErrClosed)
}

// oldSegments makes a journal of one segment with frames of different lengths, and returns
// its bytes and where each frame ends.
func oldSegment(t *testing.T) (data []byte, ends []int, want []string) {
	t.Helper()
	dir := t.TempDir()
	j, _, _ := reopen(t, Options{Dir: dir})
	_, err := j.Rotate([]byte("head"))
	require.NoError(t, err)
	want = []string{"1:head"}
	for i, s := range []string{"alpha", "", "b", "a longer payload, to be cut somewhere inside", "abj1abj1abj1"} {
		put(t, j, byte(2+i), s)
		want = append(want, fmt.Sprintf("%d:%s", 2+i, s))
	}
	require.NoError(t, j.Close())
	data, err = os.ReadFile(segmentPath(dir, 1))
	require.NoError(t, err)
	end, damaged := scan(data, 1, func(f Frame) bool { return true })
	require.EqualValues(t, len(data), end)
	require.Empty(t, damaged)
	for at := 0; at < len(data); {
		_, size := frameAt(data[at:])
		require.NotZero(t, size)
		at += size
		ends = append(ends, at)
	}
	return data, ends, want
}

func TestCutAtEveryByteKeepsEveryWholeFrame(t *testing.T) {
	data, ends, want := oldSegment(t)
	for cut := range len(data) + 1 {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(segmentPath(dir, 1), data[:cut], 0o644))
		whole, last := 0, 0
		for i, e := range ends {
			if e <= cut {
				whole, last = i+1, e
			}
		}
		j, frames, found := reopen(t, Options{Dir: dir})
		require.Equal(t, want[:whole], append([]string{}, frames...), "cut at %d", cut)
		require.Empty(t, found.Damaged, "cut at %d", cut)
		if cut > last {
			require.Equal(t, []Damage{{File: segmentPath(dir, 1), Offset: int64(last), Bytes: int64(cut - last)}}, found.Torn)
		} else {
			require.Empty(t, found.Torn)
		}
		put(t, j, 99, "new")
		require.NoError(t, j.Close())
		j, frames, found = reopen(t, Options{Dir: dir})
		require.Equal(t, append(want[:whole:whole], "99:new"), frames, "cut at %d", cut)
		require.Empty(t, found.Torn, "a torn end is told once")
		require.NoError(t, j.Close())
	}
}

func TestFlippedByteLosesOneFrameAndSaysSo(t *testing.T) {
	data, ends, want := oldSegment(t)
	for at := range data {
		for _, bit := range []byte{0x01, 0x80} {
			dir := t.TempDir()
			bad := bytes.Clone(data)
			bad[at] ^= bit
			require.NoError(t, os.WriteFile(segmentPath(dir, 1), bad, 0o644))
			hit := 0
			for ends[hit] <= at {
				hit++
			}
			kept := append(append([]string{}, want[:hit]...), want[hit+1:]...)
			j, frames, found := reopen(t, Options{Dir: dir})
			require.Equal(t, kept, append([]string{}, frames...), "byte %d", at)
			require.Len(t, append(found.Damaged, found.Torn...), 1, "byte %d", at)
			if hit < len(ends)-1 {
				require.Len(t, found.Damaged, 1, "byte %d", at)
			}
			var again []string
			last, _ := j.Durable()
			require.NoError(t, j.Read(1, last, nil, func(read []Frame) error {
				for _, f := range read {
					again = append(again, fmt.Sprintf("%d:%s", f.Kind, f.Payload))
				}
				return nil
			}))
			require.Equal(t, frames, again, "byte %d: what was replayed can be read later", at)
			require.NoError(t, j.Close())
		}
	}
}

func TestUnreadableFileIsToldAndLeft(t *testing.T) {
	dir := t.TempDir()
	j, _, _ := reopen(t, Options{Dir: dir})
	put(t, j, 5, "kept")
	require.NoError(t, j.Close())
	require.NoError(t, os.Mkdir(segmentPath(dir, 7), 0o755)) // cannot be read as a file
	j, frames, found := reopen(t, Options{Dir: dir})
	require.Equal(t, []string{"5:kept"}, frames)
	require.Len(t, found.Bad, 1)
	require.ErrorContains(t, found.Bad[0].Err, "00000007.segment")
	put(t, j, 6, "after")
	require.NoError(t, j.Close())
	require.FileExists(t, segmentPath(dir, 8))
	require.DirExists(t, segmentPath(dir, 7))
}

// disk is a file system that fails on cue.
type disk struct {
	mu        sync.Mutex
	create    error
	write     error
	short     int // bytes a failing write lets through
	sync      error
	syncs     atomic.Int64
	truncates bool // whether Truncate works
}

func (d *disk) set(f func(*disk)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f(d)
}

type cued struct {
	d *disk
	*os.File
}

func (d *disk) open(path string) (File, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.create != nil {
		return nil, d.create
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	return &cued{d, f}, err
}

func (c *cued) Write(b []byte) (int, error) {
	c.d.mu.Lock()
	defer c.d.mu.Unlock()
	if c.d.write != nil {
		n, _ := c.File.Write(b[:min(c.d.short, len(b))])
		return n, c.d.write
	}
	return c.File.Write(b)
}

func (c *cued) Sync() error {
	c.d.mu.Lock()
	defer c.d.mu.Unlock()
	c.d.syncs.Add(1)
	return c.d.sync
}

func (c *cued) Truncate(n int64) error {
	c.d.mu.Lock()
	defer c.d.mu.Unlock()
	if !c.d.truncates {
		return errors.New("cannot truncate either")
	}
	return c.File.Truncate(n)
}

func TestFailingDiskAcknowledgesNothingAndRecovers(t *testing.T) {
	full := errors.New("no space left on device")
	faults := map[string]func(*disk){
		"write":       func(d *disk) { d.write = full },
		"short write": func(d *disk) { d.write, d.short = full, 30 },
		"sync":        func(d *disk) { d.sync = full },
		"create":      func(d *disk) { d.create, d.write = full, full },
	}
	for name, fault := range faults {
		for _, truncates := range []bool{true, false} {
			t.Run(fmt.Sprintf("%s, truncates %t", name, truncates), func(t *testing.T) {
				d := &disk{truncates: truncates}
				troubles := make(chan error, 100)
				o := Options{
					Dir: t.TempDir(), Create: d.open, Retry: time.Millisecond, Every: time.Microsecond,
					Trouble: func(err error) { troubles <- err },
				}
				j, _, _ := reopen(t, o)
				_, err := j.Rotate([]byte("head"))
				require.NoError(t, err)
				put(t, j, 2, "before")
				flushed(t, j)
				durable, _ := j.Durable()
				d.set(fault)
				put(t, j, 3, "during: a payload longer than a header")
				require.ErrorIs(t, <-troubles, full)
				put(t, j, 4, "during too")
				require.ErrorIs(t, j.Trouble(), full)
				now, _ := j.Durable()
				require.Equal(t, durable, now)

				// What a crash now would leave is all that was durable.
				copied := crashCopy(t, o.Dir)
				crashed, frames, _ := reopen(t, Options{Dir: copied})
				require.Subset(t, frames, []string{"1:head", "2:before"})
				require.NoError(t, crashed.Close())

				d.set(func(d *disk) { d.create, d.write, d.sync = nil, nil, nil })
				flushed(t, j)
				require.NoError(t, <-troubles)
				require.NoError(t, j.Trouble())
				put(t, j, 5, "after")
				require.NoError(t, j.Close())
				j, frames, found := reopen(t, Options{Dir: o.Dir})
				require.Equal(t, []string{"1:head", "2:before", "3:during: a payload longer than a header", "4:during too", "5:after"}, frames)
				require.Empty(t, found.Damaged)
				require.NoError(t, j.Close())
			})
		}
	}
}

// crashCopy is a copy of a folder in which files come and go.
func crashCopy(t *testing.T, dir string) string {
	t.Helper()
	var err error
	for range 1000 {
		copied := filepath.Join(t.TempDir(), "copy")
		if err = os.CopyFS(copied, os.DirFS(dir)); err == nil {
			return copied
		}
	}
	require.NoError(t, err)
	return ""
}

func TestClosingOnAFailingDiskSaysWhatIsLost(t *testing.T) {
	d := &disk{}
	j, _, _ := reopen(t, Options{Dir: t.TempDir(), Create: d.open, Retry: time.Millisecond})
	put(t, j, 2, "kept")
	flushed(t, j)
	d.set(func(d *disk) { d.sync = io.ErrShortWrite })
	put(t, j, 3, "lost")
	put(t, j, 3, "lost")
	err := j.Close()
	require.ErrorIs(t, err, io.ErrShortWrite)
	require.ErrorContains(t, err, "2 frames could not be written")
}

func TestFullJournalSlowsThoseWhoAsk(t *testing.T) {
	d := &disk{sync: io.ErrShortWrite}
	j, _, _ := reopen(t, Options{Dir: t.TempDir(), Create: d.open, Retry: time.Millisecond, Pending: 1000})
	require.True(t, j.Admit(nil))
	put(t, j, 2, string(make([]byte, 1000)))
	stop := make(chan struct{})
	close(stop)
	require.False(t, j.Admit(stop))
	d.set(func(d *disk) { d.sync = nil })
	require.True(t, j.Admit(nil))
	require.NoError(t, j.Close())
	require.False(t, j.Admit(nil))
}

func TestManyShareASync(t *testing.T) {
	d := &disk{}
	j, _, _ := reopen(t, Options{Dir: t.TempDir(), Create: d.open, Every: 50 * time.Millisecond})
	put(t, j, 2, "first")
	flushed(t, j)
	before := d.syncs.Load()
	for range 1000 {
		put(t, j, 2, "one of many")
	}
	flushed(t, j)
	require.LessOrEqual(t, d.syncs.Load()-before, int64(2))
	require.NoError(t, j.Close())
}

func TestDropBeforeKeepsWhatIsNeeded(t *testing.T) {
	o := Options{Dir: t.TempDir(), Segment: 100}
	j, _, _ := reopen(t, o)
	var heads []uint64
	for range 4 {
		require.NoError(t, j.Flush(nil))
		n, err := j.Rotate([]byte("head"))
		require.NoError(t, err)
		heads = append(heads, n)
		require.False(t, j.Full())
		for !j.Full() {
			put(t, j, 2, "something")
		}
	}
	flushed(t, j)
	_, segments := j.Size()
	require.Equal(t, 4, segments)
	freed, err := j.DropBefore(heads[2] + 1) // inside the third
	require.NoError(t, err)
	require.Positive(t, freed)
	_, segments = j.Size()
	require.Equal(t, 2, segments)
	require.NoError(t, j.Close())
	j, frames, _ := reopen(t, o)
	require.Equal(t, "1:head", frames[0])
	require.EqualValues(t, 2, countOf(frames, "1:head"))
	// A segment that a failed disk began has no head: nothing before it may go.
	put(t, j, 2, "headless")
	flushed(t, j)
	freed, err = j.DropBefore(j.Last())
	require.NoError(t, err)
	require.Positive(t, freed, "the third segment can go: the fourth has a head")
	freed, err = j.DropBefore(j.Last() + 1)
	require.NoError(t, err)
	require.Zero(t, freed)
	require.NoError(t, j.Close())
}

func countOf(all []string, one string) (n int) {
	for _, s := range all {
		if s == one {
			n++
		}
	}
	return n
}

func TestManyGoroutinesAppendAndWait(t *testing.T) {
	o := Options{Dir: t.TempDir(), Segment: 2000, Every: time.Microsecond}
	j, _, _ := reopen(t, o)
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range 200 {
				if j.Full() {
					_, _ = j.Rotate([]byte("head"))
				}
				_, err := j.Append(2, fmt.Appendf(nil, "%d/%d", g, i))
				if err != nil || i%50 == 0 && j.Flush(nil) != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	require.NoError(t, j.Close())
	j, frames, _ := reopen(t, o)
	for g := range 8 {
		for i := range 200 {
			require.Equal(t, 1, countOf(frames, fmt.Sprintf("2:%d/%d", g, i)))
		}
	}
	require.NoError(t, j.Close())
}

func FuzzScan(f *testing.F) {
	good := appendFrame(nil, 1, Head, 4, [][]byte{[]byte("head")})
	good = appendFrame(good, 2, 2, 3, [][]byte{[]byte("abc")})
	f.Add(good)
	f.Add(good[:len(good)-1])
	f.Add([]byte("abj1abj1"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var again []byte
		last := uint64(0)
		end, damaged := scan(data, 1, func(fr Frame) bool {
			require.Greater(t, fr.Number, last)
			last = fr.Number
			again = appendFrame(again, fr.Number, fr.Kind, len(fr.Payload), [][]byte{fr.Payload})
			return true
		})
		lost := int64(len(data)) - end
		for _, d := range damaged {
			require.Less(t, d[0], d[1])
			lost += d[1] - d[0]
		}
		require.LessOrEqual(t, int64(len(again)), int64(len(data))-lost)
	})
}

func TestFlushDoesNotWaitForTheNextCommit(t *testing.T) {
	j, _, _ := reopen(t, Options{Dir: t.TempDir(), Every: time.Hour})
	for range 3 { // only the first has no commit before it
		_, err := j.Append(2, []byte("what cannot wait"))
		require.NoError(t, err)
		require.NoError(t, j.Flush(t.Context().Done()))
		durable, _ := j.Durable()
		require.Equal(t, j.Last(), durable)
	}
	require.NoError(t, j.Close())
}
