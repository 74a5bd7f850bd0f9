package sender

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/schemas"
)

// shut is a server that is not there until it is opened.
func shut(t testing.TB) (server_ *standin.Server, open func(bool)) {
	s := server(t)
	var is atomic.Bool
	s.Refuse = func() int {
		if is.Load() {
			return 0
		}
		return http.StatusServiceUnavailable
	}
	return s, is.Store
}

// abandoned ends a sender whose collector is away.
func abandoned(t testing.TB, s *Sender) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
	defer cancel()
	require.ErrorContains(t, s.Close(ctx), "kept in ")
}

func onDisk(t testing.TB, url string) Config {
	c := config(url)
	c.Boot = "boot 1"
	c.Spool.Dir = t.TempDir()
	return c
}

func TestSpoolOnDiskOutlivesTheProgram(t *testing.T) {
	server, open := shut(t)
	c := onDisk(t, server.URL())
	w := newScript()
	s := begin(t, c)
	require.NoError(t, s.Match("", "q1", Start, 500))
	w.record(s, 50)
	cutSince(t, s)
	w.record(s, 50)
	abandoned(t, s)

	s = begin(t, c)
	w.record(s, 50)
	abandoned(t, s)

	open(true)
	s = begin(t, c)
	w.record(s, 50)
	require.NoError(t, s.Close(soon(t)))
	w.check(t, server)
	server.Look(func(boots []*standin.Boot) {
		require.NotEmpty(t, boots[0].Matches(), "it outlives the program too")
		assert.Equal(t, "q1", boots[0].Matches()[0].Match)
	})
	st := s.Stats()
	assert.EqualValues(t, 200, st.Recorded)
	assert.EqualValues(t, 800, st.Acked)
	assert.Zero(t, st.Waiting)
	assert.Empty(t, mustGlobAll(t, filepath.Join(c.Spool.Dir, "boot-*")), "what was sent leaves nothing behind")
}

// Two programs with one folder: the second is told so, and the first goes on.
func TestFolderOfTheSpoolIsForOneSender(t *testing.T) {
	server, open := shut(t)
	c := onDisk(t, server.URL())
	s := begin(t, c)
	w := newScript()
	w.record(s, 10)
	other := c
	other.Boot = "boot 2"
	_, err := New(other)
	require.ErrorContains(t, err, c.Spool.Dir+" is the spool of another sender that runs")
	w.record(s, 10)
	abandoned(t, s) // what closes it, or kills its program, sets the folder free
	open(true)
	s = begin(t, c)
	require.NoError(t, s.Close(soon(t)))
	w.check(t, server)
}

// The program is restarted while the collector is there, and has some of it.
func TestRestartInTheMiddle(t *testing.T) {
	server := server(t)
	var hold atomic.Bool
	hold.Store(true)
	server.Acks = func(seq uint64) bool { return seq <= 2 || !hold.Load() }
	c := onDisk(t, server.URL())
	w := newScript()
	s := begin(t, c)
	for range 5 {
		w.record(s, 5)
		cutSince(t, s)
	}
	n := len(w.want)
	require.True(t, server.Wait(long, func(b []*standin.Boot) bool { return len(b) == 1 && len(b[0].Samples()) == n }))
	abandoned(t, s)
	hold.Store(false)
	s = begin(t, c)
	w.record(s, 5)
	require.NoError(t, s.Close(soon(t)))
	w.check(t, server)
}

// Without a spool on disk a program that starts again under the same boot goes on behind what
// the collector has.
func TestSameBootInMemory(t *testing.T) {
	server := server(t)
	c := config(server.URL())
	c.Boot = "boot 1"
	w := newScript()
	for range 3 {
		s := begin(t, c)
		w.record(s, 5)
		require.NoError(t, s.Close(soon(t)))
	}
	w.check(t, server)
}

// The disk lost what the collector has: the numbers go on behind that.
func TestSameBootWithAnEmptyDisk(t *testing.T) {
	server, open := shut(t)
	open(true)
	c := onDisk(t, server.URL())
	w := newScript()
	s := begin(t, c)
	for range 4 {
		w.record(s, 5)
		cutSince(t, s)
	}
	require.NoError(t, s.Close(soon(t)))
	open(false)
	s = begin(t, c)
	w.record(s, 5)
	cutSince(t, s)
	w.record(s, 5)
	abandoned(t, s)
	open(true)
	s = begin(t, c)
	w.record(s, 5)
	// Its batches are numbered anew now, also on disk.
	require.NoError(t, s.Ready(soon(t)))
	require.NoError(t, s.Close(soon(t)))
	w.check(t, server)
}

func TestEarlierPowerUpsAreSentToo(t *testing.T) {
	server, open := shut(t)
	c := onDisk(t, server.URL())
	first, second := newScript(), newScript()
	s := begin(t, c)
	first.record(s, 20)
	abandoned(t, s)
	other := c
	other.Robot = "curlew"
	s = begin(t, other)
	newScript().record(s, 1)
	abandoned(t, s)
	open(true)
	c.Boot = "boot 2"
	s = begin(t, c)
	second.record(s, 20)
	require.True(t, server.Wait(long, func(b []*standin.Boot) bool {
		return len(b) == 2 && len(b[0].Samples()) == 80 && len(b[1].Samples()) == 80
	}))
	require.Eventually(t, func() bool {
		left, err := filepath.Glob(filepath.Join(c.Spool.Dir, "boot-*"))
		return err == nil && len(left) == 2
	}, long, time.Millisecond, "the first boot's folder goes, the other robot's stays")
	require.NoError(t, s.Close(soon(t)))
	server.Look(func(boots []*standin.Boot) {
		for _, b := range boots {
			want := map[string]*script{"boot 1": first, "boot 2": second}[b.Name]
			same(t, want.want, arrived(t, b))
			if b.Name == "boot 1" {
				assert.Empty(t, b.Clocks, "its clock is gone")
			}
		}
	})
}

func TestMuchOnDisk(t *testing.T) {
	server, open := shut(t)
	c := onDisk(t, server.URL())
	s := begin(t, c)
	volts := s.Signal("power/voltage", schemas.Float64)
	s.spool.disk.most = 1 << 20 // before there is anything
	const n = 400_000
	for i := range n {
		if err := volts.Put(t.Context(), int64(i), float64(i)); err != nil {
			t.Fatal(err)
		}
	}
	cutSince(t, s)
	require.NoError(t, flush(s))
	s.spool.mu.Lock()
	s.spool.disk.unload(s.spool) // as at the next batch
	inMemory := int64(0)
	for _, e := range s.spool.entries {
		inMemory += int64(len(e.data))
	}
	all := s.spool.bytes
	s.spool.mu.Unlock()
	assert.Greater(t, all, int64(8<<20))
	assert.Less(t, inMemory, all*3/4, "what is to be sent next, and little more")
	open(true)
	require.NoError(t, s.Close(soon(t)))
	server.Look(func(boots []*standin.Boot) {
		at := 0
		for _, x := range boots[0].Samples() {
			if x.Time != int64(at) || x.Value != float64(at) {
				t.Fatalf("sample %d is %v", at, x)
			}
			at++
		}
		require.Equal(t, n, at)
	})
}

// flush waits until all batches are durable here.
func flush(s *Sender) error { return s.spool.disk.journal.Flush(nil) }

func TestFullSpoolOnDisk(t *testing.T) {
	server, open := shut(t)
	c := onDisk(t, server.URL())
	c.Spool.Bytes = 256 << 10
	s := begin(t, c)
	w := newScript()
	for range 60 {
		w.record(s, 100)
		cutSince(t, s)
	}
	abandoned(t, s)
	st := s.Stats()
	assert.Positive(t, st.Lost)
	size := int64(0)
	files, err := filepath.Glob(filepath.Join(c.Spool.Dir, "boot-*", "*.segment"))
	require.NoError(t, err)
	for _, f := range files {
		info, err := os.Stat(f)
		require.NoError(t, err)
		size += info.Size()
	}
	assert.Less(t, size, 2*c.Spool.Bytes)
	open(true)
	s = begin(t, c)
	require.NoError(t, s.Close(soon(t)))
	server.Look(func(boots []*standin.Boot) {
		got := arrived(t, boots[0])
		assert.GreaterOrEqual(t, len(got), len(w.want)-int(st.Lost))
		for k, v := range got {
			assert.Equal(t, w.want[k], v)
		}
	})
}

// Every byte of a spool flipped, or the file cut there: what is read is among what was
// recorded, and nothing panics.
func TestDamagedSpool(t *testing.T) {
	c := onDisk(t, "ws://127.0.0.1:1/v1/live")
	s := begin(t, c)
	w := newScript()
	w.record(s, 3)
	abandoned(t, s)
	files, err := filepath.Glob(filepath.Join(c.Spool.Dir, "boot-*", "*.segment"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	good, err := os.ReadFile(files[0])
	require.NoError(t, err)
	check := func(data []byte, what string, at int) {
		for _, f := range mustGlob(t, filepath.Dir(files[0])) {
			require.NoError(t, os.Remove(f))
		}
		require.NoError(t, os.WriteFile(files[0], data, 0o600))
		p, err := openSpool(withDefaults(t, c))
		require.NoError(t, err, "%s at %d", what, at)
		for range p.entries {
			_, data, ok := p.take()
			require.True(t, ok)
			require.NotEmpty(t, data)
		}
		require.Zero(t, p.counts.Lost)
		require.NoError(t, p.disk.journal.Close())
	}
	for at := 0; at < len(good); at += 37 {
		bad := append([]byte{}, good...)
		bad[at] ^= 0x41
		check(bad, "flipped", at)
		check(good[:at], "cut", at)
	}
	check(good, "whole", len(good))
}

func mustGlobAll(t testing.TB, pattern string) []string {
	t.Helper()
	found, err := filepath.Glob(pattern)
	require.NoError(t, err)
	return found
}

func mustGlob(t testing.TB, dir string) []string {
	t.Helper()
	return mustGlobAll(t, filepath.Join(dir, "*.segment"))
}

func withDefaults(t testing.TB, c Config) Config {
	t.Helper()
	require.NoError(t, c.check())
	return c
}
