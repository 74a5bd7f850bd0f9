package journal

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// forgetful is a folder on a disk that keeps through a loss of power what was synced, and of
// the rest whatever chance leaves: nothing, all, or some of its sectors. A file that was
// removed may be back, since nobody waits for that.
type forgetful struct {
	dir, shadow string // shadow holds a second name for each file

	mu     sync.Mutex
	synced map[string]int64 // by name of the file
}

const sector = 512 // bytes that a disk writes whole or not at all: common practice

func (d *forgetful) create(path string) (File, error) {
	f, err := createFile(path)
	if err != nil {
		return nil, err
	}
	name := filepath.Base(path)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.synced[name] = 0
	_ = os.Remove(filepath.Join(d.shadow, name))
	return &forgetfulFile{f, d, name}, os.Link(path, filepath.Join(d.shadow, name))
}

type forgetfulFile struct {
	File
	disk *forgetful
	name string
}

func (f *forgetfulFile) Write(b []byte) (int, error) {
	f.disk.mu.Lock() // so that the power is not lost in the middle of a copy
	defer f.disk.mu.Unlock()
	return f.File.Write(b)
}

func (f *forgetfulFile) Sync() error {
	info, err := os.Stat(filepath.Join(f.disk.shadow, f.name))
	if err != nil {
		return err
	}
	if err := f.File.Sync(); err != nil {
		return err
	}
	f.disk.mu.Lock()
	defer f.disk.mu.Unlock()
	f.disk.synced[f.name] = max(f.disk.synced[f.name], info.Size())
	return nil
}

// lose is what is on the disk after the power was lost now, in a folder of its own.
func (d *forgetful) lose(t *testing.T, rng *rand.Rand) string {
	t.Helper()
	out := t.TempDir()
	d.mu.Lock()
	defer d.mu.Unlock()
	for name, synced := range d.synced {
		data, err := os.ReadFile(filepath.Join(d.shadow, name))
		require.NoError(t, err)
		if _, err := os.Stat(filepath.Join(d.dir, name)); err != nil && rng.IntN(2) == 0 {
			continue // removed, and stays so
		}
		kept, rest := data[:synced], data[synced:]
		switch rng.IntN(4) {
		case 0:
			rest = nil
		case 1: // all of it
		case 2:
			rest = rest[:rng.IntN(len(rest)+1)]
		default: // the length was written, and some sectors were not
			rest = bytes.Clone(rest)
			for at := 0; at < len(rest); at += sector {
				if rng.IntN(2) == 0 {
					clear(rest[at:min(at+sector, len(rest))])
				}
			}
		}
		if synced == 0 && len(rest) == 0 && rng.IntN(2) == 0 {
			continue // its name was not written either
		}
		require.NoError(t, os.WriteFile(filepath.Join(out, name), append(bytes.Clone(kept), rest...), 0o644))
	}
	return out
}

// adopt takes in files that are there and synced.
func (d *forgetful) adopt(t *testing.T) {
	t.Helper()
	entries, err := os.ReadDir(d.dir)
	require.NoError(t, err)
	for _, e := range entries {
		info, err := e.Info()
		require.NoError(t, err)
		d.synced[e.Name()] = info.Size()
		require.NoError(t, os.Link(filepath.Join(d.dir, e.Name()), filepath.Join(d.shadow, e.Name())))
	}
}

// keptBehind is how many frames are kept of what is durable, inFlight how many may not be yet.
const (
	keptBehind = 200
	inFlight   = 50
)

// life is one journal from its opening until the power is lost. It is handed the frames that
// must be there and returns those that must be there next, and the folder that is left.
func life(t *testing.T, rng *rand.Rand, dir string, must map[uint64]bool) (map[uint64]bool, string) {
	t.Helper()
	disk := &forgetful{dir: dir, shadow: t.TempDir(), synced: map[string]int64{}}
	next := map[uint64]bool{}
	newest := uint64(0)
	j, found, err := Open(Options{Dir: dir, Every: time.Microsecond, Segment: 2 << 10, Create: disk.create}, func(f Frame) error {
		require.Greater(t, f.Number, newest)
		require.Equal(t, frameOf(f.Number), string(f.Payload))
		newest, next[f.Number] = f.Number, true
		return nil
	})
	require.NoError(t, err)
	require.Empty(t, found.Bad)
	for n := range must {
		require.True(t, next[n], "frame %d was durable and is gone; the newest is %d", n, newest)
	}
	disk.adopt(t)
	stop := make(chan struct{})
	var appending sync.WaitGroup
	appending.Go(func() {
		for {
			durable, turned := j.Durable()
			if j.Last() > durable+uint64(inFlight) {
				select {
				case <-stop:
					return
				case <-turned:
				}
				continue
			}
			payload := []byte(frameOf(j.Last() + 1))
			if j.Full() {
				_, _ = j.Rotate(payload)
				if durable > keptBehind {
					_, _ = j.DropBefore(durable - keptBehind)
				}
			} else {
				_, _ = j.Append(2, payload)
			}
		}
	})
	for enough := newest + 5 + uint64(rng.IntN(40)); ; { // so many must be durable, however slow the machine is
		durable, turned := j.Durable()
		if durable >= enough {
			break
		}
		<-turned
	}
	time.Sleep(time.Duration(rng.IntN(1000)) * time.Microsecond) // at any moment of a commit
	durable, _ := j.Durable()
	left := disk.lose(t, rng)
	close(stop)
	appending.Wait()
	end, _ := j.Durable()
	require.NoError(t, j.Close())
	for n := newest + 1; n <= durable; n++ {
		next[n] = true
	}
	for n := range next {
		if n+keptBehind < end { // may have been dropped
			delete(next, n)
		}
	}
	return next, left
}

func TestLossOfPowerLosesNothingThatWasDurable(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	checked := 0
	for range 15 {
		dir, must := t.TempDir(), map[uint64]bool{}
		for range 5 {
			must, dir = life(t, rng, dir, must)
			checked += len(must)
		}
	}
	require.Greater(t, checked, 1000, "hardly anything was durable: the test does not test")
}

// frameOf is what frame n holds, of a length that depends on n.
func frameOf(n uint64) string {
	return fmt.Sprintf("%d %x", n, bytes.Repeat(binary.LittleEndian.AppendUint64(nil, n), int(n%40)))
}
