package arrowlog

import (
	"bytes"
	"errors"
	"io"

	flatbuffers "github.com/google/flatbuffers/go"
)

// Kinds of messages, the union MessageHeader of Message.fbs.
const (
	headerSchema     = 1
	headerDictionary = 2
	headerBatch      = 3
)

// message is one message of a stream: metadata and body.
type message struct {
	version int16
	header  byte
	table   flatbuffers.Table // of the header
	body    []byte
}

// errEnd is the mark at the end of a stream.
var errEnd = errors.New("end of stream")

// stream reads messages that follow one another. What next returns is valid until it is
// called again.
type stream struct {
	r    io.Reader
	at   int64
	head [8]byte
	meta []byte
	body []byte
}

func (s *stream) position() int64 { return s.at }

// next is the next message; errEnd at the mark that ends a stream, io.EOF where the stream
// just ends, io.ErrUnexpectedEOF within a message.
func (s *stream) next(mostBody int64) (*message, error) {
	n, err := io.ReadFull(s.r, s.head[:])
	s.at += int64(n)
	switch {
	case err == io.ErrUnexpectedEOF && string(s.head[:min(n, 4)]) == Continuation[:min(n, 4)]:
		return nil, err
	case err == io.ErrUnexpectedEOF:
		return nil, damaged("%d bytes that are no message", n)
	case err != nil:
		return nil, err
	case string(s.head[:4]) != Continuation:
		return nil, damaged("a message does not begin with ff ff ff ff")
	}
	size := int64(u32(s.head[4:]))
	if size == 0 {
		return nil, errEnd
	}
	if s.meta, err = s.read(s.meta, size, mostMeta, "the metadata of a message"); err != nil {
		return nil, err
	}
	m, length, err := parse(s.meta)
	if err != nil {
		return nil, err
	}
	if s.body, err = s.read(s.body, length, mostBody, "a message"); err != nil {
		return nil, err
	}
	m.body = s.body
	return m, nil
}

// more reports whether anything follows.
func (s *stream) more() bool {
	n, _ := io.ReadFull(s.r, s.head[:1])
	return n > 0
}

// read reads n bytes, into buf if it is large enough. Memory grows with the bytes that come.
func (s *stream) read(buf []byte, n, most int64, what string) ([]byte, error) {
	if n < 0 || n > most {
		return buf, damaged("%s of %d bytes", what, n)
	}
	if n <= int64(cap(buf)) || n <= firstRead {
		if int64(cap(buf)) < n {
			buf = make([]byte, n)
		}
		buf = buf[:n]
		got, err := io.ReadFull(s.r, buf)
		s.at += int64(got)
		return buf, short(err)
	}
	into := bytes.NewBuffer(buf[:0])
	got, err := io.CopyN(into, s.r, n)
	s.at += got
	return into.Bytes(), short(err)
}

// firstRead is how many bytes are made room for before they came.
const firstRead = 4 << 20

func short(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// parse reads the metadata of a message.
func parse(meta []byte) (m *message, bodyLength int64, err error) {
	root, err := rootTable(meta)
	if err != nil {
		return nil, 0, err
	}
	m = &message{version: getInt16(root, 4, 0), header: getByte(root, 6)}
	o := root.Offset(8)
	if o == 0 {
		return nil, 0, damaged("a message without content")
	}
	root.Union(&m.table, flatbuffers.UOffsetT(o))
	return m, getInt64(root, 10), nil
}

func rootTable(meta []byte) (flatbuffers.Table, error) {
	if len(meta) < 8 {
		return flatbuffers.Table{}, damaged("metadata of %d bytes", len(meta))
	}
	return flatbuffers.Table{Bytes: meta, Pos: flatbuffers.GetUOffsetT(meta)}, nil
}

// blocks reads messages of a file where its footer says they are.
type blocks struct {
	r    io.ReaderAt
	size int64
	at   int64
	buf  []byte
}

// block is where a message lies in the file.
type block struct{ offset, meta, body int64 }

const (
	headLen = 8 // Magic, padded
	tailLen = 4 + len(Magic)
)

// whole reports whether the file has an end.
func (f *blocks) whole() (bool, error) {
	if f.size < int64(headLen+tailLen) {
		return false, nil
	}
	end := make([]byte, len(Magic))
	if _, err := f.r.ReadAt(end, f.size-int64(len(end))); err != nil && err != io.EOF {
		return false, err
	}
	return string(end) == Magic, nil
}

type footer struct {
	schema                *schema
	dictionaries, batches []block
}

func (f *blocks) footer() (*footer, error) {
	var tail [4]byte
	f.at = f.size - int64(tailLen)
	if _, err := f.r.ReadAt(tail[:], f.at); err != nil {
		return nil, err
	}
	n := int64(u32(tail[:]))
	if n > f.size-int64(headLen+tailLen) || n > mostMeta {
		return nil, damaged("a footer of %d bytes in a file of %d", n, f.size)
	}
	f.at -= n
	raw := make([]byte, n)
	if _, err := f.r.ReadAt(raw, f.at); err != nil {
		return nil, err
	}
	root, err := rootTable(raw)
	if err != nil {
		return nil, err
	}
	o := root.Offset(6)
	if o == 0 {
		return nil, damaged("a footer without a schema")
	}
	foot := &footer{}
	if foot.schema, err = readSchema(child(root, root.Pos+flatbuffers.UOffsetT(o)), getInt16(root, 4, 0)); err != nil {
		return nil, err
	}
	if foot.dictionaries, err = f.list(root, 8); err != nil {
		return nil, err
	}
	foot.batches, err = f.list(root, 10)
	return foot, err
}

// list is a list of blocks, each of which lies inside the data of the file.
func (f *blocks) list(t flatbuffers.Table, slot flatbuffers.VOffsetT) ([]block, error) {
	const size = 24 // offset i64, metadata length i32, padding, body length i64
	at, n, err := vector(t, slot, size)
	if err != nil {
		return nil, err
	}
	out := make([]block, n)
	for i := range out {
		raw := t.Bytes[int(at)+i*size:]
		b := block{int64(u64(raw)), int64(int32(u32(raw[8:]))), int64(u64(raw[16:]))}
		end := f.size - int64(tailLen)
		if b.offset < 0 || b.meta < 8 || b.body < 0 || b.offset > end || b.meta > end-b.offset || b.body > end-b.offset-b.meta {
			return nil, damaged("a record batch that lies outside of the file")
		}
		out[i] = b
	}
	return out, nil
}

// message reads the message of a block.
func (f *blocks) message(b block, mostBody int64) (*message, error) {
	f.at = b.offset
	if b.meta > mostMeta || b.body > mostBody {
		return nil, damaged("a message of %d bytes", b.meta+b.body)
	}
	if n := b.meta + b.body; int64(cap(f.buf)) < n { // which are in the file
		f.buf = make([]byte, n)
	}
	buf := f.buf[:b.meta+b.body]
	if _, err := f.r.ReadAt(buf, b.offset); err != nil {
		return nil, short(err)
	}
	head := buf[:b.meta]
	switch {
	case string(head[:4]) == Continuation:
		head = head[4:]
		if len(head) < 4 {
			return nil, damaged("metadata of %d bytes", b.meta)
		}
		fallthrough
	default: // before version 0.15 of the library there was no marker
		n := u32(head)
		if int64(n) > int64(len(head)-4) {
			return nil, damaged("metadata of %d bytes in a block of %d", n, b.meta)
		}
		head = head[4 : 4+n]
	}
	m, length, err := parse(head)
	if err != nil {
		return nil, err
	}
	if length < 0 || length > b.body {
		return nil, damaged("a body of %d bytes in a block of %d", length, b.body)
	}
	m.body = buf[b.meta : b.meta+length]
	return m, nil
}
