package matchfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go/encoding/rle"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// maxPage bounds what one page may claim to hold: the largest page that the encoder can
// make, of text at both its limits.
const maxPage = maxGroupText + maxText + 4*maxRows

// unzstd is shared by all readers; it decodes on as many goroutines as call it.
var unzstd = sync.OnceValues(func() (*zstd.Decoder, error) {
	return zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(maxPage))
})

// columnPages are the pages of one column of one row group, still compressed.
type columnPages struct {
	entries  int // of the dictionary
	dictSize int // its length uncompressed
	dict     []byte
	header   format.DataPageHeaderV2
	bodySize int
	body     []byte
}

func (p *columnPages) rows() int                 { return int(p.header.NumRows) }
func (p *columnPages) encoding() format.Encoding { return p.header.Encoding }

// splitColumn takes the pages of one column off the front of b.
func splitColumn(b []byte) (p columnPages, rest []byte, err error) {
	h, payload, rest, err := splitPage(b)
	if err != nil {
		return p, nil, err
	}
	if h.Type == format.DictionaryPage {
		p.entries = int(h.DictionaryPageHeader.V.NumValues)
		p.dict, p.dictSize = payload, int(h.UncompressedPageSize)
		if p.entries < 1 || p.entries > maxEntries {
			return p, nil, fmt.Errorf("a dictionary of %d entries", p.entries)
		}
		if h, payload, rest, err = splitPage(rest); err != nil {
			return p, nil, err
		}
	}
	if h.Type != format.DataPageV2 || !h.DataPageHeaderV2.Valid {
		return p, nil, fmt.Errorf("a page of type %s where the data page should be", h.Type)
	}
	p.header = h.DataPageHeaderV2.V
	levels := int(p.header.DefinitionLevelsByteLength)
	if levels < 0 || levels > len(payload) || levels > int(h.UncompressedPageSize) || p.header.RepetitionLevelsByteLength != 0 {
		return p, nil, errors.New("the levels do not fit the page")
	}
	p.body, p.bodySize = payload[levels:], int(h.UncompressedPageSize)-levels
	return p, rest, nil
}

func splitPage(b []byte) (h format.PageHeader, payload, rest []byte, err error) {
	var protocol thrift.CompactProtocol
	r := protocol.NewReaderFromBytes(b)
	if err := thrift.NewDecoder(r).Decode(&h); err != nil {
		return h, nil, nil, fmt.Errorf("page header: %w", err)
	}
	b = b[r.BytesRead():]
	size := int(h.CompressedPageSize)
	if size < 0 || size > len(b) || h.UncompressedPageSize < 0 || h.UncompressedPageSize > maxPage {
		return h, nil, nil, fmt.Errorf("a page claims %d bytes, %d uncompressed", size, h.UncompressedPageSize)
	}
	return h, b[:size], b[size:], nil
}

// pageReader uncompresses pages. What it returns is valid until the next call of the same
// method.
type pageReader struct {
	bodyBuf, dictBuf []byte
	tableBuf         []float64
}

func (r *pageReader) body(p columnPages) (b []byte, err error) {
	if !p.header.IsCompressed.V {
		if len(p.body) != p.bodySize {
			return nil, fmt.Errorf("%d bytes where the page header says %d", len(p.body), p.bodySize)
		}
		return p.body, nil
	}
	r.bodyBuf, err = uncompress(r.bodyBuf, p.body, p.bodySize)
	return r.bodyBuf, err
}

// dict is the dictionary, of entries of size bytes each (0: of any size).
func (r *pageReader) dict(p columnPages, size int) (b []byte, err error) {
	if p.entries == 0 {
		return nil, errors.New("the dictionary page is missing")
	}
	if size > 0 && p.dictSize != size*p.entries {
		return nil, fmt.Errorf("a dictionary of %d bytes for %d entries", p.dictSize, p.entries)
	}
	r.dictBuf, err = uncompress(r.dictBuf, p.dict, p.dictSize)
	return r.dictBuf, err
}

// table is a dictionary of float64.
func (r *pageReader) table(dict []byte) []float64 {
	r.tableBuf = slices.Grow(r.tableBuf[:0], len(dict)/8)[:len(dict)/8]
	for i := range r.tableBuf {
		r.tableBuf[i] = float64At(dict[8*i:])
	}
	return r.tableBuf
}

func uncompress(dst, src []byte, size int) ([]byte, error) {
	z, err := unzstd()
	if err != nil {
		return dst, err
	}
	dst, err = z.DecodeAll(src, slices.Grow(dst[:0], size))
	if err == nil && len(dst) != size {
		err = fmt.Errorf("%d bytes uncompressed where the page header says %d", len(dst), size)
	}
	return dst, err
}

// checkDelta makes sure that a DELTA_BINARY_PACKED page holds as many values as the row
// group has rows, before the decoder allocates what the page claims.
func checkDelta(p columnPages, body []byte, rows int) error {
	if p.encoding() != format.DeltaBinaryPacked {
		return fmt.Errorf("encoding %s", p.encoding())
	}
	for range 2 { // block size and number of mini-blocks stand before the count
		_, n := binary.Uvarint(body)
		if n <= 0 {
			return io.ErrUnexpectedEOF
		}
		body = body[n:]
	}
	if count, n := binary.Uvarint(body); n <= 0 || count != uint64(rows) {
		return fmt.Errorf("%d values, not %d", count, rows)
	}
	return nil
}

// idsOf reads a page of dictionary indexes, one for each row. The runs are counted first,
// because the decoder would allocate whatever a run claims.
func idsOf(ids []int32, body []byte, rows int) ([]int32, error) {
	if len(body) == 0 || body[0] > 16 {
		return ids, errors.New("no width of dictionary indexes")
	}
	width, runs := int(body[0]), body[1:]
	count := uint64(0)
	for at := 0; at < len(runs); {
		header, n := binary.Uvarint(runs[at:])
		if n <= 0 {
			return ids, io.ErrUnexpectedEOF
		}
		length, size := header>>1, uint64(width+7)/8
		if length > uint64(rows+7) {
			return ids, fmt.Errorf("a run of %d dictionary indexes for %d rows", length, rows)
		}
		if header&1 == 1 { // bit-packed: groups of eight
			length, size = 8*length, length*uint64(width)
		}
		count += length
		if count > uint64(rows+7) || size > uint64(len(runs)-at-n) {
			return ids, fmt.Errorf("more than %d dictionary indexes, or fewer bytes than they take", rows)
		}
		at += n + int(size)
	}
	if count < uint64(rows) {
		return ids, fmt.Errorf("%d dictionary indexes, not %d", count, rows)
	}
	ids, err := (&rle.Encoding{BitWidth: width}).DecodeInt32(slices.Grow(ids[:0], rows+7), runs)
	return ids[:min(rows, len(ids))], err
}

// splitText reads n texts as appendText wrote them.
func splitText(b []byte, n int) ([]string, error) {
	out := make([]string, 0, min(n, len(b)/4))
	for range n {
		if len(b) < 4 || uint64(uint32At(b, 0)) > uint64(len(b)-4) {
			return out, io.ErrUnexpectedEOF
		}
		size := int(uint32At(b, 0))
		out = append(out, string(b[4:4+size]))
		b = b[4+size:]
	}
	if len(b) > 0 {
		return out, fmt.Errorf("%d bytes left over", len(b))
	}
	return out, nil
}

func uint32At(b []byte, i int) uint32 { return binary.LittleEndian.Uint32(b[i:]) }
