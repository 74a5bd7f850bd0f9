package csvlog

import (
	"bytes"
	"fmt"
	"io"
	"strconv"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// sample is what a row of a long file says.
type sample struct {
	lane     *columns.Lane
	t        int64
	value    cell.Value
	declared bool
	kind     schemas.Kind // if declared
	boot     int32
}

// long reads the rows of a long file.
func (r *reader) long() error {
	var s sample
	for {
		if !r.usualLong(&s) {
			if err := r.longRow(&s); err == io.EOF {
				return nil
			} else if err != nil {
				return err
			}
		}
		if r.boots {
			r.b.SetBoot(s.boot)
		}
		var fault *columns.Fault
		if s.declared {
			fault = r.b.AddDeclared(s.lane, r.recordAt, s.t, &s.value, s.kind)
		} else {
			fault = r.b.Add(s.lane, r.recordAt, s.t, &s.value)
		}
		if fault != nil {
			column := map[columns.Part]int{columns.InName: 2, columns.InValue: 3, columns.InType: 4}[fault.Part]
			if err := r.reject(column, fault); err != nil {
				return err
			}
		}
	}
}

// longRow reads the next good row of a long file into s, which still holds the sample before.
// At the end it returns io.EOF.
func (r *reader) longRow(s *sample) error {
	for {
		fields, t, err := r.row()
		if err != nil {
			return err
		}
		column := 2
		lane, fault := r.b.Signal(fields[1], s.lane)
		s.declared = r.typed && len(fields[3]) > 0
		if fault == nil && s.declared {
			if s.kind, s.declared = schemas.ParseKind(string(bytes.TrimSpace(fields[3]))); !s.declared {
				column, fault = 4, &columns.Fault{
					What:   fmt.Sprintf("%s is not a type", columns.Quote(fields[3])),
					Advice: "write float64, int64, bool or text, or nothing",
				}
			}
		}
		if fault == nil && r.boots {
			if s.boot, fault = bootOf(fields[4]); fault != nil {
				column = 5
			}
		}
		if fault == nil {
			s.lane, s.t = lane, t
			s.value.Read(fields[2])
			return nil
		}
		if err := r.reject(column, fault); err != nil {
			return err
		}
	}
}

// bootOf reads the number of a power-up.
func bootOf(raw []byte) (int32, *columns.Fault) {
	if len(raw) == 0 {
		return 0, nil
	}
	n, err := strconv.ParseInt(string(bytes.TrimSpace(raw)), 10, 32)
	if err != nil {
		return 0, &columns.Fault{
			What:   columns.Quote(raw) + " is not the number of a power-up",
			Advice: "write an integer from -2^31 to 2^31-1, or nothing",
		}
	}
	return int32(n), nil
}

// wide reads the rows of a wide file.
func (r *reader) wide() error {
	lanes, err := r.lanes()
	if err != nil {
		return err
	}
	cells := make([]cell.Value, len(lanes))
	for {
		t, ok := r.usualWide(cells)
		if !ok {
			var fields [][]byte
			if fields, t, err = r.row(); err == io.EOF {
				return nil
			} else if err != nil {
				return err
			}
			for i := range cells {
				cells[i].Read(fields[i+1])
			}
		}
		for i, lane := range lanes {
			if fault := r.b.Add(lane, r.recordAt, t, &cells[i]); fault != nil {
				if err := r.reject(i+2, fault); err != nil {
					return err
				}
			}
		}
	}
}

// lanes are the signals of a wide header, in order of its columns.
func (r *reader) lanes() ([]*columns.Lane, error) {
	var lanes []*columns.Lane
	columnOf := map[string]int{}
	for i, title := range r.titles[1:] {
		lane, fault := r.b.Signal([]byte(title), nil)
		if fault == nil {
			if first, twice := columnOf[lane.Name()]; twice {
				fault = &columns.Fault{
					What:   fmt.Sprintf("the name is that of column %d already", first),
					Advice: "give each column its own name; the unit is no part of it",
				}
			}
		}
		if fault != nil {
			return nil, r.reject(i+2, &columns.Fault{What: fault.What, Advice: fault.Advice, Final: true})
		}
		columnOf[lane.Name()] = i + 2
		lanes = append(lanes, lane)
	}
	return lanes, nil
}
