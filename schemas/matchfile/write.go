package matchfile

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"io"
	"maps"
	"slices"

	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/schemas"
)

// Summary is what Write can tell about the file it wrote.
type Summary struct {
	SHA256  string // as ContentSHA256
	Samples int
	Bytes   int64
	Signals []Info
}

// encoded is a signal ready to be written.
type encoded struct {
	groups []rowGroup
	info   Info
	sum    [sha256.Size]byte
}

// Write writes log as a match file, with meta in its key-value metadata. The log must be
// normalized; an error says where it is not, and nothing is written then. The bytes depend
// only on the log and meta. Atomic publication and syncing are the caller's.
func Write(w io.Writer, log *schemas.Log, meta map[string]string) (Summary, error) {
	if err := check(log); err != nil {
		return Summary{}, err
	}
	for _, key := range []string{keySignals, keySHA256} {
		if _, taken := meta[key]; taken {
			return Summary{}, fmt.Errorf("metadata key %q is the file's own", key)
		}
	}
	out := fileWriter{w: w}
	if err := out.write([]byte(magic)); err != nil {
		return Summary{}, err
	}
	var infos []Info
	var sums [][sha256.Size]byte
	written := make(spares, maxWaiting)
	newWorker := func() func(int) (encoded, error) {
		e := newEncoder(written)
		return func(i int) (encoded, error) { return e.encode(log.Signals[i]) }
	}
	err := inOrder(len(log.Signals), newWorker, func(i int, s encoded) error {
		for _, g := range s.groups {
			s.info.places = append(s.info.places, place{
				Offset: out.at, Bytes: len(g.raw), Rows: int(g.meta.NumRows),
				CRC32C: crc32.Checksum(g.raw, castagnoli),
			})
			if err := out.rowGroup(g); err != nil {
				return err
			}
			written.put(g.raw)
		}
		infos = append(infos, s.info)
		sums = append(sums, s.sum)
		return nil
	})
	if err != nil {
		return Summary{}, err
	}
	sum := Summary{SHA256: logHash(sums), Samples: log.Samples(), Signals: infos}
	if err := out.footer(sum, meta); err != nil {
		return Summary{}, err
	}
	sum.Bytes = out.at
	return sum, nil
}

// spares are the buffers of row groups that were written, to be used again: a match is some
// thirty megabytes of them, and memory that was never touched costs more than its bytes.
type spares chan []byte

func (s spares) get() []byte {
	select {
	case b := <-s:
		return b[:0]
	default:
		return nil
	}
}

func (s spares) put(b []byte) {
	select {
	case s <- b:
	default: // enough of them
	}
}

func (e *encoder) encode(s *schemas.Signal) (encoded, error) {
	out := encoded{sum: signalHash(s)}
	out.info = Info{Name: s.Name, Unit: s.Unit, Kind: s.Kind, Samples: s.Len(), SHA256: hex.EncodeToString(out.sum[:])}
	if s.Len() > 0 {
		out.info.FirstUS, out.info.LastUS = bounds(s.Time)
	}
	at := cuts(s)
	for i := 1; i < len(at); i++ {
		g, err := e.rowGroup(s.Slice(at[i-1], at[i]))
		if err != nil {
			return encoded{}, fmt.Errorf("signal %q: %w", s.Name, err)
		}
		out.groups = append(out.groups, g)
	}
	return out, nil
}

// fileWriter puts row groups one behind another and remembers them for the footer.
type fileWriter struct {
	w      io.Writer
	at     int64
	groups thrift.Slice[format.RowGroup]
	rows   int64
}

func (f *fileWriter) write(b []byte) error {
	n, err := f.w.Write(b)
	f.at += int64(n)
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	return err
}

func (f *fileWriter) rowGroup(g rowGroup) error {
	m := g.meta
	m.FileOffset = f.at
	m.Ordinal = int16(len(f.groups))
	for i := range m.Columns {
		c := &m.Columns[i].MetaData
		c.DataPageOffset += f.at
		if slices.Contains(c.Encoding, format.RLEDictionary) {
			c.DictionaryPageOffset += f.at
		}
	}
	f.groups = append(f.groups, m)
	f.rows += m.NumRows
	return f.write(g.raw)
}

// footer writes guard, footer, its length and the closing magic.
func (f *fileWriter) footer(sum Summary, meta map[string]string) error {
	index, err := encodeIndex(sum.Signals)
	if err != nil {
		return err
	}
	all := map[string]string{keySignals: index, keySHA256: sum.SHA256}
	maps.Copy(all, meta)
	m := format.FileMetaData{
		Version:      2,
		Schema:       schemaElements(),
		NumRows:      f.rows,
		RowGroups:    f.groups,
		CreatedBy:    "afterbell",
		ColumnOrders: columnOrders(),
	}
	if m.RowGroups == nil {
		m.RowGroups = thrift.Slice[format.RowGroup]{}
	}
	for _, key := range slices.Sorted(maps.Keys(all)) {
		m.KeyValueMetadata = append(m.KeyValueMetadata, format.KeyValue{Key: key, Value: all[key]})
	}
	var b bytes.Buffer
	var protocol thrift.CompactProtocol
	if err := thrift.NewEncoder(protocol.NewWriter(&b)).Encode(&m); err != nil {
		return err
	}
	tail := []byte(guardMark)
	tail = binary.LittleEndian.AppendUint32(tail, crc32.Checksum(b.Bytes(), castagnoli))
	tail = append(tail, b.Bytes()...)
	tail = binary.LittleEndian.AppendUint32(tail, uint32(b.Len()))
	return f.write(append(tail, magic...))
}
