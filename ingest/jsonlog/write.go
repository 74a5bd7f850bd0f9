package jsonlog

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/longform"
)

// form is what this form is called in errors.
const form = "JSON lines"

// WriteLong writes log as long lines, so that Read gives the same log back, bit for bit: a
// signal that is int64 or text says so on each line, a power-up other than 0 too. Lines are
// in order of signal, then boot, then time. The log must be normalized.
//
// What the form cannot say is the payload of a NaN. Names that units.Split would not give
// back, and text that is not UTF-8, are errors, and nothing is written then.
func WriteLong(w io.Writer, log *schemas.Log) error {
	if err := longform.Check(log, form); err != nil {
		return err
	}
	out := bufio.NewWriterSize(w, 64<<10)
	var line []byte
	for _, s := range log.Signals {
		name, err := longform.Title(s, form)
		if err != nil {
			return err
		}
		middle := append(appendQuoted([]byte(`,"signal":`), name), `,"value":`...)
		end := "}\n"
		if s.Kind == schemas.Int64 || s.Kind == schemas.Text {
			end = `,"type":"` + s.Kind.String() + "\"}\n"
		}
		for i, t := range s.Time {
			line = append(line[:0], `{"time_s":`...)
			line = append(cell.AppendSeconds(line, t), middle...)
			line = appendValue(line, s, i)
			if boot := s.BootAt(i); boot != 0 {
				line = append(line, `,"boot":`...)
				line = strconv.AppendInt(line, int64(boot), 10)
			}
			if _, err := out.Write(append(line, end...)); err != nil {
				return fmt.Errorf("write JSON lines: %w", err)
			}
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write JSON lines: %w", err)
	}
	return nil
}

func appendValue(line []byte, s *schemas.Signal, i int) []byte {
	switch s.Kind {
	case schemas.Int64:
		if v := s.Int[i]; v < -1<<53 || v > 1<<53 { // beyond, readers that know float64 only round
			return append(strconv.AppendInt(append(line, '"'), v, 10), '"')
		}
		return strconv.AppendInt(line, s.Int[i], 10)
	case schemas.Bool:
		return strconv.AppendBool(line, s.Bool[i])
	case schemas.Text:
		return appendQuoted(line, s.Text[i])
	default:
		v := s.Float[i]
		if math.IsNaN(v) || math.IsInf(v, 0) { // RFC 8259, section 6: no JSON number
			return append(cell.AppendFloat(append(line, '"'), v), '"')
		}
		return cell.AppendFloat(line, v)
	}
}

// appendQuoted appends s as a JSON string.
func appendQuoted(line []byte, s string) []byte {
	plain := true
	for i := range len(s) {
		if c := s[i]; c < ' ' || c == '"' || c == '\\' || c > '~' {
			plain = false
			break
		}
	}
	if plain {
		return append(append(append(line, '"'), s...), '"')
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil { // a string always can be
		panic(err)
	}
	return append(line, bytes.TrimSuffix(b.Bytes(), []byte("\n"))...)
}
