package matchfile

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// chunk is one column of one row group, encoded but not yet laid out in pages.
type chunk struct {
	column   int
	rows     int
	null     bool // every row is null; body is empty
	dict     []byte
	entries  int // of dict; 0 means that there is no dictionary page
	encoding format.Encoding
	body     []byte
	min, max []byte // plain, nil where the column has none to tell
}

// rowGroup is an encoded row group. Offsets in meta count from the start of raw.
type rowGroup struct {
	raw  []byte
	meta format.RowGroup
}

// pageWriter lays out chunks as pages.
type pageWriter struct {
	zstd     *zstd.Encoder
	packed   []byte
	header   bytes.Buffer
	protocol thrift.CompactProtocol
}

func newPageWriter() pageWriter {
	// The options are constants of this program; NewWriter refuses only bad ones.
	z, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest),
		zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(false), zstd.WithZeroFrames(true),
		zstd.WithAllLitEntropyCompression(true))
	if err != nil {
		panic(err)
	}
	return pageWriter{zstd: z}
}

// add appends the pages of c to g.
func (w *pageWriter) add(g *rowGroup, c chunk) error {
	start := len(g.raw)
	m := format.ColumnMetaData{
		Type:         columns[c.column].physical,
		Encoding:     thrift.Slice[format.Encoding]{format.RLE, c.encoding},
		PathInSchema: thrift.Slice[string]{columns[c.column].name},
		Codec:        format.Zstd,
		NumValues:    int64(c.rows),
		Statistics:   format.Statistics{MinValue: c.min, MaxValue: c.max},
	}
	if c.entries > 0 {
		m.Encoding = append(m.Encoding, format.Plain)
		m.DictionaryPageOffset = int64(start)
		w.packed = w.zstd.EncodeAll(c.dict, w.packed[:0])
		h := format.PageHeader{
			Type:                 format.DictionaryPage,
			UncompressedPageSize: int32(len(c.dict)),
			CompressedPageSize:   int32(len(w.packed)),
			CRC:                  int32(crc32.ChecksumIEEE(w.packed)),
			DictionaryPageHeader: thrift.New(format.DictionaryPageHeader{NumValues: int32(c.entries), Encoding: format.Plain}),
		}
		n, err := w.page(g, &h, nil, w.packed)
		if err != nil {
			return err
		}
		m.TotalUncompressedSize += int64(n + len(c.dict))
	}
	m.DataPageOffset = int64(len(g.raw))
	n, err := w.dataPage(g, c, &m)
	if err != nil {
		return err
	}
	m.TotalUncompressedSize += int64(n + len(c.body))
	m.TotalCompressedSize = int64(len(g.raw) - start)
	g.meta.Columns = append(g.meta.Columns, format.ColumnChunk{MetaData: m})
	g.meta.TotalByteSize += m.TotalUncompressedSize
	g.meta.TotalCompressedSize += m.TotalCompressedSize
	return nil
}

// dataPage appends the data page of c and returns the bytes it has besides the values.
func (w *pageWriter) dataPage(g *rowGroup, c chunk, m *format.ColumnMetaData) (int, error) {
	data := format.DataPageHeaderV2{NumValues: int32(c.rows), NumRows: int32(c.rows), Encoding: c.encoding}
	body := c.body
	if len(body) >= minCompress {
		w.packed = w.zstd.EncodeAll(body, w.packed[:0])
		if len(w.packed) < len(body)-len(body)/16 {
			body = w.packed
		}
	}
	data.IsCompressed = thrift.New(len(body) != len(c.body))
	var levels []byte
	if columns[c.column].optional {
		// All rows are there or all are null: one run of the highest or of the lowest level.
		levels = binary.AppendUvarint(nil, uint64(c.rows)<<1)
		levels = append(levels, bit(!c.null))
		data.DefinitionLevelsByteLength = int32(len(levels))
		if c.null {
			data.NumNulls = int32(c.rows)
			m.Statistics.NullCount = int64(c.rows)
		}
	}
	h := format.PageHeader{
		Type:                 format.DataPageV2,
		UncompressedPageSize: int32(len(levels) + len(c.body)),
		CompressedPageSize:   int32(len(levels) + len(body)),
		CRC:                  int32(crc32.Update(crc32.ChecksumIEEE(levels), crc32.IEEETable, body)),
		DataPageHeaderV2:     thrift.New(data),
	}
	n, err := w.page(g, &h, levels, body)
	return n + len(levels), err
}

// minCompress is the length below which compressing a page is not tried.
const minCompress = 64

// page appends header, levels and body and returns the length of the header.
func (w *pageWriter) page(g *rowGroup, h *format.PageHeader, levels, body []byte) (int, error) {
	w.header.Reset()
	if err := thrift.NewEncoder(w.protocol.NewWriter(&w.header)).Encode(h); err != nil {
		return 0, err
	}
	g.raw = append(g.raw, w.header.Bytes()...)
	g.raw = append(g.raw, levels...)
	g.raw = append(g.raw, body...)
	return w.header.Len(), nil
}
