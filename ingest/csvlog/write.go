package csvlog

import (
	"bufio"
	"fmt"
	"io"
	"iter"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/longform"
)

// form is what this form is called in errors.
const form = "CSV"

// WriteLong writes log in the long form with types, so that Read gives the same log back,
// bit for bit: floats in the shortest form that reads back as the same float64, times exact
// to the microsecond, text as it is, CR and LF included. Lines end in LF. A log of several
// power-ups has a fifth column, boot.
//
// Rows are in order of signal, then boot, then time, so that writing needs no memory and
// reading finds each signal in one piece. The log must be normalized.
//
// What the form cannot say is the payload of a NaN. Names that units.Split would not give
// back, and text that is not UTF-8, are errors, and nothing is written then.
func WriteLong(w io.Writer, log *schemas.Log) error {
	if err := longform.Check(log, form); err != nil {
		return err
	}
	boots := slices.ContainsFunc(log.Signals, func(s *schemas.Signal) bool { return s.Boot != nil })
	out := bufio.NewWriterSize(w, 64<<10)
	if boots {
		out.WriteString("time_s,signal,value,type,boot\n")
	} else {
		out.WriteString("time_s,signal,value,type\n")
	}
	var row []byte
	for _, s := range log.Signals {
		name, err := longform.Title(s, form)
		if err != nil {
			return err
		}
		middle := append(appendField([]byte{','}, name), ',')
		end := "," + s.Kind.String()
		for i, t := range s.Time {
			row = append(cell.AppendSeconds(row[:0], t), middle...)
			row = append(appendValue(row, s, i), end...)
			if boots {
				row = strconv.AppendInt(append(row, ','), int64(s.BootAt(i)), 10)
			}
			if _, err := out.Write(append(row, '\n')); err != nil {
				return fmt.Errorf("write CSV: %w", err)
			}
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write CSV: %w", err)
	}
	return nil
}

// WriteSamples writes samples, each a signal and the index of one in it, in the order
// given: WriteLong for what did not come in order of time, or came twice. Of samples of one
// signal and time a reader keeps the last.
func WriteSamples(w io.Writer, samples iter.Seq2[*schemas.Signal, int]) error {
	out := bufio.NewWriterSize(w, 64<<10)
	out.WriteString("time_s,signal,value,type\n")
	names := map[[2]string]string{}
	var row []byte
	for s, i := range samples {
		key := [2]string{s.Name, s.Unit}
		name, known := names[key]
		if !known {
			spelled, err := longform.Title(s, form)
			if err != nil {
				return err
			}
			name = string(appendField(nil, spelled))
			names[key] = name
		}
		if err := longform.CheckText(s, i, form); err != nil {
			return err
		}
		row = append(cell.AppendSeconds(row[:0], s.Time[i]), ',')
		row = append(append(row, name...), ',')
		row = append(append(appendValue(row, s, i), ','), s.Kind.String()...)
		if _, err := out.Write(append(row, '\n')); err != nil {
			return fmt.Errorf("write CSV: %w", err)
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write CSV: %w", err)
	}
	return nil
}

func appendValue(row []byte, s *schemas.Signal, i int) []byte {
	switch s.Kind {
	case schemas.Int64:
		return strconv.AppendInt(row, s.Int[i], 10)
	case schemas.Bool:
		return strconv.AppendBool(row, s.Bool[i])
	case schemas.Text:
		return appendField(row, s.Text[i])
	default:
		return cell.AppendFloat(row, s.Float[i])
	}
}

// appendField quotes s where RFC 4180, section 2, rules 6 and 7, ask for it.
func appendField(row []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"\r\n") {
		return append(row, s...)
	}
	row = append(row, '"')
	row = append(row, strings.ReplaceAll(s, `"`, `""`)...)
	return append(row, '"')
}
