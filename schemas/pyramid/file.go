package pyramid

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/afterbell/afterbell/schemas"
)

// FileName is the name of the pyramids of a match beside its samples.
const FileName = "pyramid.bin"

const mark = "afterbell\x00p\x01"

// mostIndex bytes are read of an index.
const mostIndex = 64 << 20

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Summary is what can be said of a signal without reading it.
type Summary struct {
	Name     string `json:"name"`
	Samples  int    `json:"samples"`
	Readings int    `json:"readings"` // samples that are numbers; 0 of text
	// Least and Greatest reading; nil without any.
	Least    *float64 `json:"least"`
	Greatest *float64 `json:"greatest"`
	Changes  int      `json:"changes"` // samples that differ from the one before them
	Gaps     int      `json:"gaps"`    // neighbours further apart than GapLimit; 0 of what holds its value
}

// place is a Summary in the index.
type place struct {
	Summary
	Offset int64  `json:"offset"` // of the first bucket, counted from the end of the index
	Bytes  int    `json:"bytes"`
	CRC32C uint32 `json:"crc32c"`
}

type index struct {
	SHA256  string  `json:"signals_sha256"`
	Signals []place `json:"signals"`
}

// Write writes the pyramids of a normalized log. sha256 is that of its samples, as the match
// file beside it carries it. The bytes depend on the log only.
func Write(w io.Writer, sha256 string, log *schemas.Log) error {
	built := make([]place, len(log.Signals))
	buckets := make([][]byte, len(log.Signals))
	var wg sync.WaitGroup
	var next atomic.Int64
	for range min(runtime.GOMAXPROCS(0), 4) {
		wg.Go(func() {
			var numbers []float64
			for i := next.Add(1) - 1; i < int64(len(built)); i = next.Add(1) - 1 {
				built[i].Summary, buckets[i], numbers = summarize(log.Signals[i], numbers)
			}
		})
	}
	wg.Wait()
	at := int64(0)
	for i, b := range buckets {
		built[i].Offset, built[i].Bytes, built[i].CRC32C = at, len(b), crc32.Checksum(b, castagnoli)
		at += int64(len(b))
	}
	text, err := json.Marshal(index{sha256, built})
	if err != nil {
		return err
	}
	all := make([]byte, 0, int64(len(mark)+8+len(text))+at)
	all = append(all, mark...)
	all = binary.LittleEndian.AppendUint32(all, uint32(len(text)))
	all = binary.LittleEndian.AppendUint32(all, crc32.Checksum(text, castagnoli))
	all = append(all, text...)
	for _, b := range buckets {
		all = append(all, b...)
	}
	_, err = w.Write(all)
	return err
}

// summarize is a signal's summary and its lowest buckets. numbers is memory for it to use, and
// comes back for the next signal.
func summarize(s *schemas.Signal, numbers []float64) (Summary, []byte, []float64) {
	sum := Summary{Name: s.Name, Samples: s.Len()}
	if s.Kind == schemas.Text {
		sum.Changes = max(0, len(LabelsOf(s).From)-1)
		return sum, nil, numbers
	}
	l := lineIn(s, numbers)
	sum.Changes = changes(l.V)
	if l.Gap > 0 {
		sum.Gaps = longer(l.T, l.Gap)
	}
	low := make([]byte, (len(l.V)+base-1)/base)
	least, greatest := math.Inf(1), math.Inf(-1)
	for b := range low {
		V := l.V[b*base : min((b+1)*base, len(l.V))]
		lo, hi, none, readings := bucket(V)
		if sum.Readings += readings; readings == 0 {
			low[b] = byte(none | none<<4)
			continue
		}
		if V[lo] < least {
			least = V[lo]
		}
		if V[hi] > greatest {
			greatest = V[hi]
		}
		low[b] = byte(lo | hi<<4)
	}
	if sum.Readings > 0 {
		sum.Least, sum.Greatest = schemas.Some(least), schemas.Some(greatest)
	}
	if s.Kind != schemas.Float64 {
		numbers = l.V
	}
	return sum, low, numbers
}

// bucket is scan of a bucket, and where its last sample lies that is no reading.
func bucket(V []float64) (lo, hi, none, readings int) {
	least, greatest := math.Inf(1), math.Inf(-1)
	for k, v := range V {
		if !reading(v) {
			none = k
			continue
		}
		readings++
		if v < least {
			lo, least = k, v
		}
		if v > greatest {
			hi, greatest = k, v
		}
	}
	return lo, hi, none, readings
}

// changes is how many values differ from the one before.
func changes(V []float64) int {
	n := 0
	for k := 1; k < len(V); k++ {
		if V[k] != V[k-1] {
			n++
		}
	}
	return n
}

// longer is how many times are further from the one before than limit.
func longer(T []int64, limit int64) int {
	n := 0
	for k := 1; k < len(T); k++ {
		if T[k]-T[k-1] > limit {
			n++
		}
	}
	return n
}

// File is the pyramids of a match, the index read. It holds no file open.
type File struct {
	path  string
	data  int64 // where the buckets begin
	index map[string]place
	order []Summary
}

// ErrStale says that a file is of other samples.
var ErrStale = errors.New("the pyramids are of other samples")

// Open reads the index of the file at path. The error is ErrStale when it is not of the
// samples with that hash.
func Open(path, sha256 string) (*File, error) {
	r, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	head := make([]byte, len(mark)+8)
	if _, err := io.ReadFull(r, head); err != nil {
		return nil, fmt.Errorf("%s: cut off: %w", path, err)
	}
	size, sum := binary.LittleEndian.Uint32(head[len(mark):]), binary.LittleEndian.Uint32(head[len(mark)+4:])
	if string(head[:len(mark)]) != mark || size > mostIndex {
		return nil, fmt.Errorf("%s: not pyramids as this program writes them", path)
	}
	text, err := io.ReadAll(io.LimitReader(r, int64(size)))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(text) < int(size) || crc32.Checksum(text, castagnoli) != sum {
		return nil, fmt.Errorf("%s: the index is damaged: its checksum does not match", path)
	}
	var in index
	if err := json.Unmarshal(text, &in); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if in.SHA256 != sha256 {
		return nil, fmt.Errorf("%s: %w", path, ErrStale)
	}
	f := &File{path: path, data: int64(len(head)) + int64(size), index: map[string]place{}}
	for _, s := range in.Signals {
		f.index[s.Name] = s
		f.order = append(f.order, s.Summary)
	}
	return f, nil
}

// Summaries are those of all signals, in order of name.
func (f *File) Summaries() []Summary { return f.order }

// Check reads all buckets and compares them with their checksums.
func (f *File) Check() error {
	r, err := os.Open(f.path)
	if err != nil {
		return err
	}
	defer r.Close()
	for _, s := range f.order {
		if _, err := f.buckets(r, f.index[s.Name]); err != nil {
			return err
		}
	}
	return nil
}

func (f *File) buckets(r io.ReaderAt, s place) ([]byte, error) {
	if s.Offset < 0 || s.Bytes < 0 || s.Bytes > s.Samples/base+1 {
		return nil, fmt.Errorf("%s: pyramid of %q claims %d bytes for %d samples", f.path, s.Name, s.Bytes, s.Samples)
	}
	raw := make([]byte, s.Bytes)
	if _, err := r.ReadAt(raw, f.data+s.Offset); err != nil {
		return nil, fmt.Errorf("%s: pyramid of %q: %w", f.path, s.Name, err)
	}
	if crc32.Checksum(raw, castagnoli) != s.CRC32C {
		return nil, fmt.Errorf("%s: pyramid of %q is damaged: its checksum does not match", f.path, s.Name)
	}
	return raw, nil
}

// Load is the pyramid of the signal of that name, whose line is l.
func (f *File) Load(name string, l *Line) (*Pyramid, error) {
	s, ok := f.index[name]
	n := (len(l.V) + base - 1) / base
	if !ok || s.Samples != len(l.V) || s.Bytes != n {
		return nil, fmt.Errorf("%s: no pyramid of %q as it is", f.path, name)
	}
	r, err := os.Open(f.path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	raw, err := f.buckets(r, s)
	if err != nil {
		return nil, err
	}
	low := newLevel(n)
	for b, v := range raw {
		lo, hi := b*base+int(v&15), b*base+int(v>>4)
		switch {
		case lo >= len(l.V) || hi >= len(l.V):
			return nil, fmt.Errorf("%s: pyramid of %q points beyond its samples", f.path, name)
		case !reading(l.V[lo]):
			low.least[b], low.greatest[b] = -1, -1
		default:
			low.least[b], low.greatest[b] = int32(lo), int32(hi)
		}
	}
	return rise(l, low), nil
}
