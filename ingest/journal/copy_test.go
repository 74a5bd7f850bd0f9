package journal

import (
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
)

// While frames are appended and old segments dropped, every copy can be opened, has no torn
// end, and holds each frame that was durable before and not dropped since, in a row.
func TestACopyOfAJournalThatIsWritten(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "journal")
	j, _, _ := reopen(t, Options{Dir: dir, Segment: 4 << 10, Every: 1})
	_, err := j.Rotate([]byte("head"))
	require.NoError(t, err)
	flushed(t, j)
	var dropped atomic.Uint64 // frames before it may be gone
	stop, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		for n := 0; ; n++ {
			select {
			case <-stop:
				ended <- nil
				return
			default:
			}
			if j.Full() {
				if _, err := j.Rotate([]byte("head")); err != nil {
					ended <- err
					return
				}
			}
			number, err := j.Append(2, fmt.Appendf(nil, "frame %d %0100d", n, n))
			if err == nil && n%200 == 199 {
				dropped.Store(number - 100)
				_, err = j.DropBefore(number - 100)
			}
			if err == nil && n%20 == 0 {
				err = j.Flush(nil)
			}
			if err != nil {
				ended <- err
				return
			}
		}
	}()
	for i := range 40 {
		before, _ := j.Durable()
		to := filepath.Join(t.TempDir(), "copy")
		done, err := Copy(t.Context(), dir, to)
		require.NoError(t, err)
		from := dropped.Load()
		var numbers []uint64
		c, found, err := Open(Options{Dir: to}, func(f Frame) error {
			numbers = append(numbers, f.Number)
			return nil
		})
		require.NoError(t, err)
		require.NoError(t, c.Close())
		require.Empty(t, found.Torn)
		require.Empty(t, found.Damaged)
		require.Equal(t, done.Frames, found.Frames)
		require.NotEmpty(t, numbers)
		for k := 1; k < len(numbers); k++ {
			require.Equal(t, numbers[k-1]+1, numbers[k], "copy %d has a hole", i)
		}
		require.LessOrEqual(t, numbers[0], max(from, 1), "copy %d", i)
		require.GreaterOrEqual(t, numbers[len(numbers)-1], before, "copy %d", i)
	}
	close(stop)
	require.NoError(t, <-ended)
	require.Greater(t, dropped.Load(), uint64(200), "nothing was dropped meanwhile")
	require.NoError(t, j.Close())
}

// Cut at any byte, the copy is the frames that were whole.
func TestACopyHasNoTornEnd(t *testing.T) {
	data, ends, _ := oldSegment(t)
	for cut := range len(data) + 1 {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(segmentPath(dir, 1), data[:cut], 0o644))
		to := filepath.Join(dir, "copy")
		done, err := Copy(t.Context(), dir, to)
		require.NoError(t, err)
		whole := 0
		for _, end := range ends {
			if end <= cut {
				whole++
			}
		}
		require.Equal(t, whole, done.Frames, "cut at %d", cut)
		j, frames, found := reopen(t, Options{Dir: to})
		require.NoError(t, j.Close())
		require.Len(t, frames, whole)
		require.Empty(t, found.Torn)
	}
	done, err := Copy(t.Context(), filepath.Join(t.TempDir(), "none"), filepath.Join(t.TempDir(), "copy"))
	require.NoError(t, err)
	require.Zero(t, done)
}
