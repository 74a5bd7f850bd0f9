// Package journal keeps what must not be lost: frames appended to files, synced in groups,
// and read again after a crash.
//
// # What is promised
//
//   - A frame whose number is at or below Durable is on stable storage. It is read back after
//     a crash, a kill or a loss of power, whole and once.
//   - A frame is never read in part: its CRC-32C covers its number, its kind and its bytes.
//   - When the disk is full, read-only or failing, nothing is reported durable that is not.
//     Frames wait in memory, Admit blocks while Options.Pending bytes wait, and writing is
//     tried again until it works. The journal never gives up by itself.
//   - After a failed write or sync nothing of that file is trusted beyond what was durable
//     before: the frames go again, into a new file, from memory. (A kernel may drop the pages
//     that a failed sync could not write and call the next sync a success.)
//
// # How it lies on disk
//
// A folder of segments, 00000001.segment and so on; a segment is frames one after another:
//
//	magic    u32  "abj1"
//	length   u32  of the payload
//	number   u64  one more than the frame before, across segments
//	kind     u8   the user's; 1 is a Head
//	zero     3 bytes
//	crc      u32  CRC-32C (RFC 3720) of the 20 bytes before and the payload
//	payload
//
// All integers are little-endian. A frame is never split. A new process begins a new segment,
// so that a torn end never lies in a file that is still written.
//
// One commit writes and syncs everything that was appended since the one before, of however
// many connections (group commit), so that the number of syncs does not grow with senders.
package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// Options say where a journal lies and how it works. Dir is required.
type Options struct {
	Dir string
	// Segment is the size in bytes at which Full reports true; 16 MiB: reading goes segment by
	// segment through one buffer, and a larger one costs more to get than it saves.
	Segment int64
	// Every is the least time from one sync to the next; 5 ms. Longer saves syncs, and every
	// acknowledgement waits that much longer.
	Every time.Duration
	// Pending is how many bytes may wait for the disk before Admit blocks; 64 MiB.
	Pending int
	// Retry is the pause after a failed write; 500 ms.
	Retry time.Duration
	// Trouble, if set, is called when writing begins to fail, and with nil when it works again.
	// It must not call back into the journal.
	Trouble func(error)
	// Create makes the file of a new segment; tests put a failing disk here.
	Create func(path string) (File, error)
}

// File is what a journal needs of a file it writes.
type File interface {
	io.WriteCloser
	// Sync returns when everything written is on stable storage.
	Sync() error
	Truncate(size int64) error
}

func (o Options) orDefault() Options {
	if o.Segment == 0 {
		o.Segment = 16 << 20
	}
	if o.Every == 0 {
		o.Every = 5 * time.Millisecond
	}
	if o.Pending == 0 {
		o.Pending = 64 << 20
	}
	if o.Retry == 0 {
		o.Retry = 500 * time.Millisecond
	}
	if o.Create == nil {
		o.Create = createFile
	}
	if o.Trouble == nil {
		o.Trouble = func(error) {}
	}
	return o
}

// MaxPayload is the longest payload of a frame in bytes.
const MaxPayload = 1 << 30

// ErrClosed is returned by calls on a closed journal.
var ErrClosed = errors.New("the journal is closed")

const (
	magic      = 0x316a6261 // "abj1"
	headerSize = 24
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Journal is an open journal. Its methods may be called from several goroutines.
type Journal struct {
	o Options

	mu       sync.Mutex
	work     sync.Cond     // pending has grown, or the journal is closed
	hurried  chan struct{} // somebody waits in Flush
	pending  []batch       // not yet taken by the committer
	waiting  int           // bytes in pending and in the commit under way
	next     uint64        // number of the next frame
	durable  uint64        // number of the last frame on stable storage
	turned   chan struct{}
	trouble  error
	segments []segment // in order; the last is the one being written
	length   int64     // bytes of the newest segment, pending ones included
	closed   bool

	done   chan struct{}
	spare  []byte // the buffer of the last commit, to be used again
	file   File   // of the newest segment; the committer's own
	lastID uint64 // of the newest segment begun, durable or not
}

// batch is frames for one segment.
type batch struct {
	data  []byte
	last  uint64 // number of the last frame in data
	first uint64
	fresh bool // begins a new segment, with a Head
}

// segment is one file of the journal.
type segment struct {
	id          uint64
	first, last uint64 // numbers of its frames; last is the last durable one
	size        int64  // durable bytes
	whole       bool   // begins with a Head
}

// Head is the kind of the frame that begins a segment and makes all segments before it
// unnecessary for understanding what follows.
const Head = 1

// Admit waits until there is room for more, so that those who send are slowed down when the
// disk is. It returns false when done is closed first, or the journal is.
func (j *Journal) Admit(done <-chan struct{}) bool {
	for {
		j.mu.Lock()
		full, closed, turned := j.waiting >= j.o.Pending, j.closed, j.turned
		j.mu.Unlock()
		if closed {
			return false
		}
		if !full {
			return true
		}
		select {
		case <-turned:
		case <-done:
			return false
		}
	}
}

// Append adds a frame of that kind, 2 and up, whose payload is parts put together. It
// returns the frame's number at once; the frame is on disk when Durable has reached it. It
// never waits for the disk: call Admit before. parts may be used again afterwards.
func (j *Journal) Append(kind byte, parts ...[]byte) (uint64, error) {
	return j.append(kind, false, parts)
}

// Full reports whether the newest segment has grown to its size, so that it is time for
// Rotate.
func (j *Journal) Full() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.length >= j.o.Segment
}

// Rotate begins a new segment with a Head. DropBefore can then remove older segments.
func (j *Journal) Rotate(parts ...[]byte) (uint64, error) {
	return j.append(Head, true, parts)
}

func (j *Journal) append(kind byte, rotate bool, parts [][]byte) (uint64, error) {
	size := 0
	for _, p := range parts {
		size += len(p)
	}
	if size > MaxPayload {
		return 0, fmt.Errorf("a frame of %d bytes is longer than %d", size, MaxPayload)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed {
		return 0, ErrClosed
	}
	number := j.next
	j.next++
	if len(j.pending) == 0 || rotate {
		b := batch{data: j.spare[:0], fresh: rotate, first: number}
		j.spare = nil
		j.pending = append(j.pending, b)
		if rotate {
			j.length = 0
		}
	}
	b := &j.pending[len(j.pending)-1]
	b.data = appendFrame(b.data, number, kind, size, parts)
	b.last = number
	j.waiting += headerSize + size
	j.length += int64(headerSize + size)
	j.work.Signal()
	return number, nil
}

func appendFrame(dst []byte, number uint64, kind byte, size int, parts [][]byte) []byte {
	at := len(dst)
	dst = binary.LittleEndian.AppendUint32(dst, magic)
	dst = binary.LittleEndian.AppendUint32(dst, uint32(size))
	dst = binary.LittleEndian.AppendUint64(dst, number)
	dst = append(dst, kind, 0, 0, 0)
	crc := crc32.Update(0, castagnoli, dst[at:])
	for _, p := range parts {
		crc = crc32.Update(crc, castagnoli, p)
	}
	dst = binary.LittleEndian.AppendUint32(dst, crc)
	for _, p := range parts {
		dst = append(dst, p...)
	}
	return dst
}

// Durable is the number of the last frame on stable storage, and a channel that is closed
// when that changes or the journal is closed.
func (j *Journal) Durable() (uint64, <-chan struct{}) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.durable, j.turned
}

// Last is the number of the last frame appended.
func (j *Journal) Last() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.next - 1
}

// Flush waits until every frame appended so far is on stable storage, without a pause since
// the last sync. It returns the trouble there is when done is closed before that.
func (j *Journal) Flush(done <-chan struct{}) error {
	want := j.Last()
	for {
		durable, turned := j.Durable()
		if durable >= want {
			return nil
		}
		select {
		case j.hurried <- struct{}{}:
		default:
		}
		select {
		case <-turned:
			j.mu.Lock()
			closed := j.closed && j.durable < want
			j.mu.Unlock()
			if closed {
				return ErrClosed
			}
		case <-done:
			return errors.Join(j.Trouble(), errors.New("gave up waiting for the disk"))
		}
	}
}

// Trouble is why nothing can be written now, or nil.
func (j *Journal) Trouble() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.trouble
}

// Size is how many bytes the journal has on disk and in how many segments.
func (j *Journal) Size() (bytes int64, segments int) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, s := range j.segments {
		bytes += s.size
	}
	return bytes, len(j.segments)
}

// Close writes what waits and closes the journal. When the disk fails it tries once more and
// then returns the error: what was not durable is lost with the process, and nothing of it was
// ever reported durable.
func (j *Journal) Close() error {
	j.mu.Lock()
	if j.closed {
		j.mu.Unlock()
		<-j.done
		return nil
	}
	j.closed = true
	j.work.Broadcast()
	j.mu.Unlock()
	<-j.done
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.durable+1 < j.next {
		return fmt.Errorf("%d frames could not be written: %w", j.next-1-j.durable, j.trouble)
	}
	return nil
}

func segmentPath(dir string, id uint64) string {
	return filepath.Join(dir, fmt.Sprintf("%08d.segment", id))
}

func createFile(path string) (File, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, err
	}
	return diskFile{f}, nil
}

type diskFile struct{ *os.File }

func (f diskFile) Sync() error { return syncData(f.File) }
