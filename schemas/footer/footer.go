// Package footer looks at the end of a Parquet file before a library does.
//
// The libraries that read Parquet allocate what the footer claims: one flipped byte in the
// length of a list can ask for hundreds of gigabytes and end the process, which no recover
// stops. Check walks the footer's Thrift structure once and makes sure that every claim
// fits the bytes that are there; after it, what a decoder allocates is in proportion to
// the file. It does not say that the content makes sense.
package footer

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

const (
	magic   = "PAR1"
	tailLen = 4 + len(magic)

	// MaxLen is the longest footer Check takes: some hundred thousand columns.
	MaxLen = 256 << 20

	maxDepth = 24 // the format nests seven deep
)

// Check says what is wrong with the end of the Parquet file of size bytes in r, or nil.
func Check(r io.ReaderAt, size int64) error {
	if size < int64(len(magic)+tailLen) {
		return fmt.Errorf("%d bytes are too few for a Parquet file", size)
	}
	var tail [tailLen]byte
	if _, err := r.ReadAt(tail[:], size-int64(tailLen)); err != nil {
		return err
	}
	if string(tail[4:]) != magic {
		return errors.New("the end of a Parquet file is missing: cut off, or another kind of file")
	}
	length := int64(binary.LittleEndian.Uint32(tail[:]))
	if length > size-int64(len(magic)+tailLen) || length > MaxLen {
		return fmt.Errorf("the footer claims %d bytes of a file of %d", length, size)
	}
	b := make([]byte, length)
	if _, err := r.ReadAt(b, size-int64(tailLen)-length); err != nil {
		return err
	}
	return CheckThrift(b)
}

// CheckThrift says where the claims of a structure in Thrift's compact protocol exceed its
// bytes, or nil. The protocol is Apache Thrift, "Thrift Compact protocol encoding".
func CheckThrift(b []byte) error {
	w := walker{b: b}
	if err := w.structure(0); err != nil {
		return fmt.Errorf("the footer is damaged near its byte %d of %d: %w", w.at, len(b), err)
	}
	return nil
}

// KeyValues is the key-value metadata in a footer's bytes, and checks all of them as
// CheckThrift does. It decodes nothing else: a file of many row groups has a footer that
// takes a library longer to decode than some signals take to read.
func KeyValues(b []byte) (map[string]string, error) {
	w := walker{b: b, keyValues: map[string]string{}}
	if err := w.structure(0); err != nil {
		return nil, fmt.Errorf("the footer is damaged near its byte %d of %d: %w", w.at, len(b), err)
	}
	return w.keyValues, nil
}

// Page is what a page header says of its page.
type Page struct {
	Len      int // bytes of the header
	Unpacked int // bytes of the page, unpacked and as it lies in the file
	Packed   int
}

// PageHeader reads the page header at the start of b, which may be followed by anything.
func PageHeader(b []byte) (Page, error) {
	w := walker{b: b}
	if err := w.structure(0); err != nil {
		return Page{}, fmt.Errorf("the page header is damaged: %w", err)
	}
	return Page{Len: w.at, Unpacked: int(w.sizes[0]), Packed: int(w.sizes[1])}, nil
}

// Types of the compact protocol.
const (
	typeStop   = 0
	typeTrue   = 1
	typeFalse  = 2
	typeByte   = 3
	typeI16    = 4
	typeI32    = 5
	typeI64    = 6
	typeDouble = 7
	typeBinary = 8
	typeList   = 9
	typeSet    = 10
	typeMap    = 11
	typeStruct = 12
)

// Where FileMetaData of the Parquet format holds its key-value metadata, a list of
// structures {1: key, 2: value}.
const (
	fieldKeyValues = 5
	fieldKey       = 1
	fieldValue     = 2
)

// Where PageHeader of the Parquet format holds the sizes of its page.
const (
	fieldUnpacked = 2
	fieldPacked   = 3
)

// walker steps over a structure. It keeps nothing of it but the key-value metadata, if it
// has a map for that, and the two numbers that a page header has for sizes.
type walker struct {
	sizes     [2]int32
	b         []byte
	at        int
	keyValues map[string]string
	inPairs   bool   // inside the list of key-value pairs
	key       string // of the pair being read
}

func (w *walker) structure(depth int) error {
	if depth > maxDepth {
		return fmt.Errorf("nested deeper than %d", maxDepth)
	}
	field := uint64(0)
	for {
		head, err := w.byte()
		if err != nil {
			return err
		}
		if head&0x0f == typeStop {
			return nil
		}
		if step := head >> 4; step > 0 {
			field += uint64(step)
		} else { // the number stands by itself, zigzag
			if field, err = w.varint(); err != nil {
				return err
			}
			field /= 2
		}
		if depth == 0 {
			w.inPairs = field == fieldKeyValues && w.keyValues != nil
		}
		if t := head & 0x0f; t != typeTrue && t != typeFalse { // a bool's value is its type
			from := w.at
			if err := w.value(t, depth); err != nil {
				return err
			}
			if w.inPairs && t == typeBinary {
				w.pair(field, from)
			}
			if depth == 0 && t == typeI32 && (field == fieldUnpacked || field == fieldPacked) {
				v, _ := binary.Varint(w.b[from:]) // zigzag
				w.sizes[field-fieldUnpacked] = int32(max(min(v, math.MaxInt32), -1))
			}
		}
	}
}

// pair takes a key or value that begins, with its length, at byte from.
func (w *walker) pair(field uint64, from int) {
	_, n := binary.Uvarint(w.b[from:])
	s := string(w.b[from+n : w.at])
	switch field {
	case fieldKey:
		w.key = s
	case fieldValue:
		w.keyValues[w.key] = s
	}
}

func (w *walker) value(t byte, depth int) error {
	switch t {
	case typeTrue, typeFalse, typeByte:
		return w.skip(1)
	case typeI16, typeI32, typeI64:
		_, err := w.varint()
		return err
	case typeDouble:
		return w.skip(8)
	case typeBinary:
		n, err := w.varint()
		if err != nil {
			return err
		}
		return w.skip(n)
	case typeList, typeSet:
		return w.list(depth)
	case typeMap:
		return errors.New("a map, which the format does not use")
	case typeStruct:
		return w.structure(depth + 1)
	default:
		return fmt.Errorf("unknown type %d", t)
	}
}

func (w *walker) list(depth int) error {
	if depth > maxDepth {
		return fmt.Errorf("nested deeper than %d", maxDepth)
	}
	head, err := w.byte()
	if err != nil {
		return err
	}
	n := uint64(head >> 4)
	if n == 0x0f {
		if n, err = w.varint(); err != nil {
			return err
		}
	}
	if n > uint64(len(w.b)-w.at) { // an element takes a byte at least
		return fmt.Errorf("a list of %d in %d bytes", n, len(w.b)-w.at)
	}
	for range n {
		if err := w.value(head&0x0f, depth+1); err != nil {
			return err
		}
	}
	return nil
}

func (w *walker) byte() (byte, error) {
	if w.at >= len(w.b) {
		return 0, io.ErrUnexpectedEOF
	}
	w.at++
	return w.b[w.at-1], nil
}

func (w *walker) varint() (uint64, error) {
	v, n := binary.Uvarint(w.b[w.at:])
	if n <= 0 {
		return 0, io.ErrUnexpectedEOF
	}
	w.at += n
	return v, nil
}

func (w *walker) skip(n uint64) error {
	if n > uint64(len(w.b)-w.at) {
		return io.ErrUnexpectedEOF
	}
	w.at += int(n)
	return nil
}
