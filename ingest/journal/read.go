package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Frame is one frame as it was appended.
type Frame struct {
	Number  uint64
	Kind    byte
	Payload []byte // valid until the function it is handed to returns
}

// Recovery says what was found when a journal was opened.
type Recovery struct {
	Frames   int
	Bytes    int64
	Segments int
	Torn     []Damage // an end that was being written when the process or the power went
	Damaged  []Damage // bytes in the middle that are not what was written
	Bad      []Damage // files that cannot be read at all; they are left as they are
}

// Damage is a stretch of a file that holds no frame.
type Damage struct {
	File   string
	Offset int64
	Bytes  int64
	Err    error // why it cannot be read; nil for torn and damaged
}

func (d Damage) String() string {
	if d.Err != nil {
		return fmt.Sprintf("%s: %v", d.File, d.Err)
	}
	return fmt.Sprintf("%s: %d bytes from byte %d on", d.File, d.Bytes, d.Offset)
}

// Open opens the journal in o.Dir, which is made if it is not there, and hands every whole
// frame in it to replay, in order. A torn end is cut off; frames behind damage are used.
// When replay returns an error Open ends with it.
func Open(o Options, replay func(Frame) error) (*Journal, Recovery, error) {
	o = o.orDefault()
	var found Recovery
	if err := os.MkdirAll(o.Dir, 0o755); err != nil {
		return nil, found, fmt.Errorf("making the folder of the journal: %w", err)
	}
	ids, err := segmentIDs(o.Dir)
	if err != nil {
		return nil, found, err
	}
	j := &Journal{o: o, next: 1, turned: make(chan struct{}), done: make(chan struct{}), hurried: make(chan struct{}, 1)}
	j.work.L = &j.mu
	for _, id := range ids {
		j.lastID = id
		s, err := j.recoverSegment(id, replay, &found)
		if err != nil {
			return nil, found, err
		}
		if s.last > 0 {
			j.segments = append(j.segments, s)
		}
	}
	j.durable = j.next - 1
	// What is on disk is as good as durable only when it was synced; a process that was
	// killed may have left written frames unsynced.
	if err := syncAll(o.Dir, j.segments); err != nil {
		return nil, found, err
	}
	j.length = o.Segment // whatever is appended first begins with Rotate
	go j.commit()
	return j, found, nil
}

func segmentIDs(dir string) ([]uint64, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("reading the folder of the journal: %w", err)
	}
	var ids []uint64
	for _, e := range entries {
		digits, ok := strings.CutSuffix(e.Name(), ".segment")
		if !ok {
			continue
		}
		if id, err := strconv.ParseUint(digits, 10, 64); err == nil {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids, nil
}

func (j *Journal) recoverSegment(id uint64, replay func(Frame) error, found *Recovery) (segment, error) {
	path := segmentPath(j.o.Dir, id)
	s := segment{id: id}
	data, err := os.ReadFile(path)
	if err != nil {
		found.Bad = append(found.Bad, Damage{File: path, Err: err})
		return s, nil
	}
	found.Segments++
	var stop error
	end, damaged := scan(data, j.next, func(f Frame) bool {
		if s.first == 0 {
			s.first, s.whole = f.Number, f.Kind == Head
		}
		s.last, j.next = f.Number, f.Number+1
		found.Frames++
		stop = replay(f)
		return stop == nil
	})
	if stop != nil {
		return s, stop
	}
	for _, d := range damaged {
		found.Damaged = append(found.Damaged, Damage{File: path, Offset: d[0], Bytes: d[1] - d[0]})
	}
	found.Bytes += end
	s.size = end
	if torn := int64(len(data)) - end; torn > 0 {
		found.Torn = append(found.Torn, Damage{File: path, Offset: end, Bytes: torn})
		if err := cutOff(path, end); err != nil {
			return s, fmt.Errorf("cutting off the torn end of the journal: %w", err)
		}
	}
	return s, nil
}

// cutOff removes a torn end; a file of nothing else goes as a whole.
func cutOff(path string, end int64) error {
	if end == 0 {
		return os.Remove(path)
	}
	return os.Truncate(path, end)
}

func syncAll(dir string, segments []segment) error {
	for _, s := range segments {
		f, err := os.OpenFile(segmentPath(dir, s.id), os.O_RDWR, 0)
		if errors.Is(err, fs.ErrPermission) { // a read-only folder: nothing will be written anyway
			continue
		} else if err != nil {
			return err
		}
		if err := errors.Join(f.Sync(), f.Close()); err != nil {
			return fmt.Errorf("syncing the journal: %w", err)
		}
	}
	return syncDir(dir)
}

// scan hands each whole frame of data to take, until that returns false. Frames numbered
// below from are passed over: they were written twice, the first time by a sync that failed.
// end is the end of the last whole frame; damaged are the stretches between frames that are
// none, as [from, to).
func scan(data []byte, from uint64, take func(Frame) bool) (end int64, damaged [][2]int64) {
	at := 0
	for at < len(data) {
		f, size := frameAt(data[at:])
		if size == 0 {
			next := nextFrame(data, at+1, from)
			if next < 0 {
				break
			}
			damaged = append(damaged, [2]int64{int64(at), int64(next)})
			at = next
			continue
		}
		at += size
		end = int64(at)
		if f.Number < from {
			continue
		}
		from = f.Number + 1
		if !take(f) {
			break
		}
	}
	return end, damaged
}

// frameAt is the frame at the start of data, and its size; 0 when there is no whole one.
func frameAt(data []byte) (Frame, int) {
	if len(data) < headerSize || binary.LittleEndian.Uint32(data) != magic {
		return Frame{}, 0
	}
	length := int64(binary.LittleEndian.Uint32(data[4:]))
	if length > int64(len(data)-headerSize) {
		return Frame{}, 0
	}
	payload := data[headerSize : headerSize+int(length)]
	crc := crc32.Update(crc32.Checksum(data[:20], castagnoli), castagnoli, payload)
	if crc != binary.LittleEndian.Uint32(data[20:]) {
		return Frame{}, 0
	}
	return Frame{Number: binary.LittleEndian.Uint64(data[8:]), Kind: data[16], Payload: payload}, headerSize + int(length)
}

// furthest is how many frames may be lost at one place. Bytes inside a lost frame that look
// like a frame have hardly a number that fits.
const furthest = 1 << 20

// nextFrame is where the next whole frame begins, -1 if there is none.
func nextFrame(data []byte, at int, from uint64) int {
	for ; at+headerSize <= len(data); at++ {
		if binary.LittleEndian.Uint32(data[at:]) != magic {
			continue
		}
		if f, size := frameAt(data[at:]); size > 0 && f.Number >= from && f.Number-from < furthest {
			return at
		}
	}
	return -1
}

// Read hands the durable frames numbered from first to last to each, in order, those of one
// segment at a time; their payloads are valid until it returns. want, if not nil, says by kind
// and the first bytes of the payload (up to 16) whether a frame is needed: the others are
// passed over without a look at their checksum. Damage is passed over: it was reported when
// the journal was opened.
func (j *Journal) Read(first, last uint64, want func(kind byte, head []byte) bool, each func([]Frame) error) error {
	j.mu.Lock()
	segments := slices.Clone(j.segments)
	j.mu.Unlock()
	for _, s := range segments {
		if s.last < first || s.first > last {
			continue
		}
		if err := j.readSegment(s, first, last, want, each); err != nil {
			return err
		}
	}
	return nil
}

var buffers = sync.Pool{New: func() any { return new([]byte) }}

func (j *Journal) readSegment(s segment, first, last uint64, want func(byte, []byte) bool, each func([]Frame) error) error {
	f, err := os.Open(segmentPath(j.o.Dir, s.id))
	if err != nil {
		return fmt.Errorf("reading the journal: %w", err)
	}
	defer f.Close()
	buffer := buffers.Get().(*[]byte)
	defer buffers.Put(buffer)
	*buffer = slices.Grow((*buffer)[:0], int(s.size))[:s.size]
	data := *buffer
	if n, err := f.ReadAt(data, 0); n < len(data) {
		if err == io.EOF {
			err = errors.New("it is shorter than it was")
		}
		return fmt.Errorf("reading the journal: %s: %w", filepath.Base(f.Name()), err)
	}
	var frames []Frame
	seen := first // frames written twice count once
	for at := 0; at+headerSize <= len(data); {
		number := binary.LittleEndian.Uint64(data[at+8:])
		if size, ok := passable(data[at:], number, first, last, want); ok {
			at += size
			continue
		}
		frame, size := frameAt(data[at:])
		if size == 0 {
			if at = nextFrame(data, at+1, s.first); at < 0 {
				break
			}
			continue
		}
		at += size
		if frame.Number >= seen && frame.Number <= last {
			seen = frame.Number + 1
			frames = append(frames, frame)
		}
	}
	if len(frames) == 0 {
		return nil
	}
	return each(frames)
}

// passable is whether what begins at data looks like a frame that is not needed, and its size.
// That is taken on trust only when another frame, or the end, follows right behind it.
func passable(data []byte, number, first, last uint64, want func(byte, []byte) bool) (int, bool) {
	if binary.LittleEndian.Uint32(data) != magic {
		return 0, false
	}
	length := int64(binary.LittleEndian.Uint32(data[4:]))
	size := headerSize + length
	if size > int64(len(data)) || size < int64(len(data)) && (size+4 > int64(len(data)) || binary.LittleEndian.Uint32(data[size:]) != magic) {
		return 0, false
	}
	needed := number >= first && number <= last && (want == nil || want(data[16], data[headerSize:headerSize+min(16, length)]))
	return int(size), !needed
}
