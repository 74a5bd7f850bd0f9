package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/tables"
)

// countedRows are the tables of a match that seasons and events are made of, without what the crew denied.
type countedRows struct {
	match      tables.Match
	stages     []tables.Stage
	mechanisms []tables.Mechanism
}

// readCounted reads the tables of a match. A match that was not analyzed, or is a stretch of
// another, does not count. Where the crew spoke the tables are made again from the report.
func readCounted(h *home.Home, id schemas.MatchID) (out countedRows, counts bool, err error) {
	dir := h.Dir(id)
	if _, err := os.Stat(filepath.Join(dir, reportFile)); errors.Is(err, fs.ErrNotExist) || strings.HasPrefix(id.Match, idlePrefix) {
		return out, false, nil
	}
	if out.match, err = tables.ReadMatch(dir); err != nil {
		return out, false, err
	}
	if out.stages, err = tables.Read[tables.Stage](filepath.Join(dir, tables.StagesFile)); err != nil {
		return out, false, err
	}
	out.mechanisms, err = tables.Read[tables.Mechanism](filepath.Join(dir, tables.MechanismsFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) { // tables of an earlier version lack it
		return out, false, err
	}
	notes, err := h.Notes(id)
	if err != nil {
		return out, false, err
	}
	if verdicts, _ := crew.Parse(notes); len(verdicts) > 0 {
		r, err := readReport(h, id)
		if err != nil {
			return out, false, err
		}
		out.match, out.stages, out.mechanisms = tables.Rows(crew.Believed(r, crew.Judged(r, verdicts)))
	}
	return out, out.match.CutFrom == nil, nil
}

// leftOut says that a match could not be read.
func leftOut(id schemas.MatchID, err error) string {
	return fmt.Sprintf("%s is left out: %v; `afterbell verify --rebuild %s` makes its tables again", id, err, id)
}

// noneStored is the error that no match "of" a robot or "at" an event is stored; there are those
// of others.
func noneStored(of, name, year string, others []string) error {
	in := ""
	if year != "" {
		in = " in season " + year
	}
	if len(others) == 0 {
		return notStoredError(fmt.Sprintf("no match %s %q%s is stored: the data folder is empty; import one with `afterbell import`", of, name, in))
	}
	slices.Sort(others)
	return notStoredError(fmt.Sprintf("no match %s %q%s is stored; there are matches %s %s", of, name, in, of, strings.Join(others, ", ")))
}

// notStoredError is what noneStored says; pages ask whether it is fs.ErrNotExist.
type notStoredError string

func (e notStoredError) Error() string { return string(e) }
func (e notStoredError) Unwrap() error { return fs.ErrNotExist }
