package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// unpacked is the text of a file that may be packed.
type unpacked struct {
	io.Reader
	head    []byte // the first bytes, which come from Reader again
	packing string // "gzip", "zstd" or empty
	close   func()
}

// maxWindow is how far back a zstd file may refer, and so the memory its reader takes: that of
// zstd --long, the most that the zstd tool unpacks without being asked to.
const maxWindow = 128 << 20

// unpack takes off gzip (RFC 1952) or zstd (RFC 8878), told by the first bytes. Unpacked text
// ends with an error after most bytes, because a small file can unpack into an endless one.
func unpack(packed io.Reader, most int64) (*unpacked, error) {
	head, packed := peek(packed)
	u := &unpacked{Reader: packed, head: head, close: func() {}}
	switch {
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}):
		u.packing = "gzip"
		if r, err := gzip.NewReader(packed); err != nil {
			u.Reader = failed{err}
		} else {
			u.Reader = r
		}
	case bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		u.packing = "zstd"
		r, err := zstd.NewReader(packed, zstd.WithDecoderMaxWindow(maxWindow))
		if err != nil {
			return nil, fmt.Errorf("unpack zstd: %w", err)
		}
		u.Reader, u.close = r, r.Close
	default:
		return u, nil
	}
	if most == 0 {
		most = defaultUnpacked
	}
	u.head, u.Reader = peek(&limited{u.Reader, u.packing, most, most})
	return u, nil
}

// peek is the first bytes of r, and a reader of all its bytes. An error that comes with them
// is kept for that reader.
func peek(r io.Reader) (head []byte, all io.Reader) {
	head = make([]byte, 0, 512)
	for len(head) < cap(head) {
		n, err := r.Read(head[len(head):cap(head)])
		head = head[:len(head)+n]
		if err != nil {
			r = failed{err}
			break
		}
	}
	return head, io.MultiReader(bytes.NewReader(head), r)
}

// failed is a reader that has come to its end.
type failed struct{ err error }

func (f failed) Read([]byte) (int, error) { return 0, f.err }

// limited names the packing in errors, and ends text that is too long.
type limited struct {
	r          io.Reader
	packing    string
	left, most int64
}

func (l *limited) Read(p []byte) (int, error) {
	n, err := l.r.Read(p)
	l.left -= int64(n)
	switch {
	case l.left < 0:
		return 0, fmt.Errorf("the file unpacks to more than %d bytes; split it", l.most)
	case err == nil, err == io.EOF, errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return n, err
	case errors.Is(err, io.ErrUnexpectedEOF):
		return n, io.ErrUnexpectedEOF // cut short, which the reader of the form words
	default:
		return n, &damage{l.packing, err}
	}
}

// damage is packed data that are not what was packed.
type damage struct {
	packing string
	err     error
}

func (d *damage) Error() string {
	return fmt.Sprintf("the %s data are damaged (%v); copy the file again", d.packing, d.err)
}

func (d *damage) Unwrap() error { return d.err }

// damaged is the damage of packed data whose text could not be read: what unpacks to garbage may
// look like a bad row long before its checksum comes. nil if they are sound.
func (u *unpacked) damaged() error {
	var d *damage
	if _, err := io.Copy(io.Discard, u); u.packing != "" && errors.As(err, &d) {
		return d
	}
	return nil
}
