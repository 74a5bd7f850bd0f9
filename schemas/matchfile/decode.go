package matchfile

import (
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"slices"

	"github.com/parquet-go/parquet-go/encoding/delta"
	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/schemas"
)

// decoder turns row groups back into signals. Its buffers are used again for each.
type decoder struct {
	file  *File
	delta delta.BinaryPackedEncoding
	raw   []byte
	ids   []int32
	boots []int32
	pages pageReader
}

func (d *decoder) signal(info Info) (*schemas.Signal, error) {
	s := &schemas.Signal{Name: info.Name, Unit: info.Unit, Kind: info.Kind, Time: []int64{}}
	for i, p := range info.places {
		if err := d.rowGroup(s, p); err != nil {
			return nil, d.file.damage(fmt.Sprintf("row group %d of signal %q, bytes %d to %d",
				i, info.Name, p.Offset, p.Offset+int64(p.Bytes)), err)
		}
	}
	return s, nil
}

// rowGroup appends the row group at p to s.
func (d *decoder) rowGroup(s *schemas.Signal, p place) (err error) {
	defer recoverInto(&err)
	d.raw = slices.Grow(d.raw[:0], p.Bytes)[:p.Bytes]
	if n, err := d.file.r.ReadAt(d.raw, p.Offset); n < p.Bytes {
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return err
	}
	if crc32.Checksum(d.raw, castagnoli) != p.CRC32C {
		return errors.New("the checksum does not match")
	}
	rest := d.raw
	for i := range columns {
		var pages columnPages
		if pages, rest, err = splitColumn(rest); err == nil {
			err = d.column(s, i, pages, p.Rows)
		}
		if err != nil {
			return fmt.Errorf("column %s: %w", columns[i].name, err)
		}
	}
	return nil
}

// column appends one column of a row group to s, if s needs it.
func (d *decoder) column(s *schemas.Signal, column int, p columnPages, rows int) (err error) {
	if p.rows() != rows {
		return fmt.Errorf("the page holds %d rows, not %d", p.rows(), rows)
	}
	switch columns[column].name {
	case "boot":
		return d.boot(s, p, rows)
	case "time_us":
		s.Time, err = d.int64s(s.Time, p, rows)
	case "value":
		switch s.Kind {
		case schemas.Float64:
			s.Float, err = d.float64s(s.Float, p, rows)
		case schemas.Bool:
			s.Bool, err = d.bools(s.Bool, p, rows)
		}
	case "value_int":
		if s.Kind == schemas.Int64 {
			s.Int, err = d.int64s(s.Int, p, rows)
		}
	case "value_text":
		if s.Kind == schemas.Text {
			s.Text, err = d.texts(s.Text, p, rows)
		}
	}
	return err
}

func (d *decoder) boot(s *schemas.Signal, p columnPages, rows int) error {
	body, err := d.pages.body(p)
	if err != nil {
		return err
	}
	d.boots = slices.Grow(d.boots[:0], rows)[:rows]
	if p.encoding() == format.RLEDictionary {
		dict, err := d.pages.dict(p, 4)
		if err != nil {
			return err
		}
		if p.entries != 1 {
			return fmt.Errorf("a dictionary of %d entries", p.entries)
		}
		boot := int32(uint32At(dict, 0))
		if boot == 0 && s.Boot == nil {
			return nil
		}
		for i := range d.boots {
			d.boots[i] = boot
		}
	} else {
		if err := checkDelta(p, body, rows); err != nil {
			return err
		}
		if d.boots, err = d.delta.DecodeInt32(d.boots, body); err != nil {
			return err
		}
	}
	// Row groups before this one may all have been boot 0; s.Time has their rows only,
	// because the boots of a row group come before its times.
	s.Boot = append(s.Boot, make([]int32, s.Len()-len(s.Boot))...)
	s.Boot = append(s.Boot, d.boots...)
	return nil
}

func (d *decoder) int64s(dst []int64, p columnPages, rows int) ([]int64, error) {
	body, err := d.pages.body(p)
	if err != nil {
		return dst, err
	}
	if err := checkDelta(p, body, rows); err != nil {
		return dst, err
	}
	at := len(dst)
	dst = extend(dst, rows)
	out, err := d.delta.DecodeInt64(dst[at:at:at+rows], body)
	if err == nil && len(out) != rows {
		err = fmt.Errorf("%d values, not %d", len(out), rows)
	}
	return dst, err
}

func (d *decoder) float64s(dst []float64, p columnPages, rows int) ([]float64, error) {
	at := len(dst)
	dst = extend(dst, rows)
	return dst, d.numbers(dst[at:], p)
}

// numbers fills out with the values of a float64 page.
func (d *decoder) numbers(out []float64, p columnPages) error {
	body, err := d.pages.body(p)
	if err != nil {
		return err
	}
	switch p.encoding() {
	case format.RLEDictionary:
		dict, err := d.pages.dict(p, 8)
		if err != nil {
			return err
		}
		if d.ids, err = idsOf(d.ids, body, len(out)); err != nil {
			return err
		}
		return lookUp(out, d.pages.table(dict), d.ids)
	case format.Plain:
		if len(body) != 8*len(out) {
			return fmt.Errorf("%d bytes for %d values", len(body), len(out))
		}
		for i := range out {
			out[i] = float64At(body[8*i:])
		}
	default:
		return fmt.Errorf("encoding %s", p.encoding())
	}
	return nil
}

func (d *decoder) bools(dst []bool, p columnPages, rows int) ([]bool, error) {
	numbers, err := d.float64s(nil, p, rows)
	for i, v := range numbers {
		if err == nil && v != 0 && v != 1 {
			err = fmt.Errorf("row %d of a bool signal is %v", i, v)
		}
		dst = append(dst, v == 1)
	}
	return dst, err
}

func (d *decoder) texts(dst []string, p columnPages, rows int) ([]string, error) {
	body, err := d.pages.body(p)
	if err != nil {
		return dst, err
	}
	switch p.encoding() {
	case format.RLEDictionary:
		dict, err := d.pages.dict(p, 0)
		if err != nil {
			return dst, err
		}
		entries, err := splitText(dict, p.entries)
		if err != nil {
			return dst, err
		}
		if d.ids, err = idsOf(d.ids, body, rows); err != nil {
			return dst, err
		}
		at := len(dst)
		dst = extend(dst, rows)
		return dst, lookUp(dst[at:], entries, d.ids)
	case format.Plain:
		values, err := splitText(body, rows)
		return append(dst, values...), err
	default:
		return dst, fmt.Errorf("encoding %s", p.encoding())
	}
}

// lookUp fills out with the dictionary's entry for each index.
func lookUp[T any](out, entries []T, ids []int32) error {
	out = out[:len(ids)]
	for i, id := range ids {
		if uint(id) >= uint(len(entries)) {
			return fmt.Errorf("dictionary index %d of %d entries", id, len(entries))
		}
		out[i] = entries[id]
	}
	return nil
}

// extend is s with room made for n more at its end; a signal of one row group is
// allocated exactly.
func extend[T any](s []T, n int) []T {
	if len(s) == 0 {
		return make([]T, n)
	}
	return slices.Grow(s, n)[:len(s)+n]
}
