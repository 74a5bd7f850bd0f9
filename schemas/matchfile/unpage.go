package matchfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"

	"github.com/klauspost/compress/zstd"
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

// idsOf reads what appendIDs wrote and makes sure that every index has its entry.
func idsOf(ids []uint16, body []byte, rows, entries int) ([]uint16, error) {
	if len(body) == 0 {
		return ids, io.ErrUnexpectedEOF
	}
	width := body[0]
	header, n := binary.Uvarint(body[1:])
	if n <= 0 {
		return ids, io.ErrUnexpectedEOF
	}
	body = body[1+n:]
	ids = slices.Grow(ids[:0], rows)[:rows]
	padded := (rows + 7) / 8 * 8
	highest := uint16(0)
	switch {
	case width == 0 && header == uint64(rows)<<1 && len(body) == 0:
		clear(ids)
	case width == 8 && header == uint64(padded/8)<<1|1 && len(body) == padded:
		for i := range ids {
			ids[i] = uint16(body[i])
			highest = max(highest, ids[i])
		}
	case width == 16 && header == uint64(padded/8)<<1|1 && len(body) == 2*padded:
		for i := range ids {
			ids[i] = binary.LittleEndian.Uint16(body[2*i:])
			highest = max(highest, ids[i])
		}
	default:
		return ids, fmt.Errorf("%d dictionary indexes of %d bits in %d bytes", rows, width, len(body))
	}
	if int(highest) >= entries {
		return ids, fmt.Errorf("dictionary index %d of %d entries", highest, entries)
	}
	return ids, nil
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
