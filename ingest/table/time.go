package table

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// times turns the time column into microseconds. Rows of which that cannot be are in bad.
func (t *Taker) times(c *Column, rows int) {
	t.us = resize(t.us, rows)
	t.bad = nil
	field := t.fields[t.time]
	ticks := field.Ticks
	if ticks == 0 {
		ticks = 1
		if t.micros {
			ticks = 1_000_000
		}
	}
	if c.Type == Int && ticks == 1_000_000 && c.Valid == nil { // the usual column
		for i, us := range c.Ints {
			if us > cell.MaxTime || us < -cell.MaxTime {
				t.badTime(i, rows, cell.ErrTimeSize)
			}
			t.us[i] = us
		}
		return
	}
	for i := range rows {
		if !c.has(i) {
			t.badTime(i, rows, cell.ErrNoTime)
			continue
		}
		us, err := microsOf(c, i, ticks)
		if err != nil {
			t.badTime(i, rows, err)
		}
		t.us[i] = us
	}
}

// microsOf is row i of a time column in microseconds, rounded, halves away from zero. What
// is a plain number in a column of microseconds must be whole.
func microsOf(c *Column, i int, ticks int64) (int64, error) {
	switch c.Type {
	case Int:
		return rescale(c.Ints[i], ticks)
	case Float:
		v := c.Floats[i]
		if ticks == 1_000_000 {
			if v != math.Trunc(v) {
				return 0, cell.ErrNoTime
			}
			if math.Abs(v) > cell.MaxTime {
				return 0, cell.ErrTimeSize
			}
			return int64(v), nil
		}
		if math.IsNaN(v) {
			return 0, cell.ErrNoTime
		}
		if math.Abs(v) > cell.MaxTime/1e6 {
			return 0, cell.ErrTimeSize
		}
		return schemas.Micros(v), nil
	default:
		if ticks == 1_000_000 {
			return cell.Micros(c.text(i))
		}
		return cell.Seconds(c.text(i))
	}
}

// rescale turns a count of ticks into microseconds.
func rescale(v, ticks int64) (int64, error) {
	switch {
	case ticks <= 1_000_000:
		by := 1_000_000 / ticks
		if v > cell.MaxTime/by || v < -cell.MaxTime/by {
			return 0, cell.ErrTimeSize
		}
		return v * by, nil
	default:
		by := ticks / 1_000_000
		us, rest := v/by, v%by
		switch {
		case rest >= by-by/2:
			us++
		case rest <= by/2-by:
			us--
		}
		if us > cell.MaxTime || us < -cell.MaxTime {
			return 0, cell.ErrTimeSize
		}
		return us, nil
	}
}

func (t *Taker) badTime(i, rows int, err error) {
	if t.bad == nil {
		t.bad = make([]error, rows)
	}
	t.bad[i] = err
}

// timeFault is what is wrong with the time of row i, nil if nothing is.
func (t *Taker) timeFault(i int, c *Column) *columns.Fault {
	if t.bad == nil || t.bad[i] == nil {
		return nil
	}
	err := t.bad[i]
	f := &columns.Fault{What: fmt.Sprintf("%s %s", columns.Quote(c.shown(i)), err)}
	switch {
	case !c.has(i):
		f.What = "there is no time"
		f.Advice = "give every row one"
	case err == cell.ErrTimeSize:
		f.Advice = fmt.Sprintf("check that %s is in the unit its name says", t.fields[t.time].Name)
	case t.micros:
		f.Advice = "write whole microseconds such as 12345678"
	default:
		f.Advice = "write seconds such as 12.345678"
	}
	return f
}

// resize is s with length n, its memory used again.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
