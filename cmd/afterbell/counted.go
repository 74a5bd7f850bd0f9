package main

import (
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/rollup"
)

// readCounted reads the rows of matches that seasons and events are made of, event by event, without
// what the crew denied. A match that was not analyzed, or is a stretch of another, does not count.
// notes say what could not be read.
func readCounted(h *home.Home, ids []schemas.MatchID) (events []rollup.Event, notes []string) {
	ids = slices.DeleteFunc(slices.Clone(ids), func(id schemas.MatchID) bool { return strings.HasPrefix(id.Match, schemas.IdlePrefix) })
	events = rollup.Read(h, ids)
	for i := range events {
		e := &events[i]
		e.Rows = slices.DeleteFunc(e.Rows, func(r rollup.Row) bool { return r.CutFrom != nil })
		for _, p := range e.Problems {
			notes = append(notes, leftOut(p.ID, p.Err))
		}
	}
	return events, notes
}

// inSeason are the matches "of" a robot or "at" an event, by what named says of them, in a season;
// in the newest one when year is empty.
func inSeason(all []schemas.MatchID, of, name, year string, named func(schemas.MatchID) string) (ids []schemas.MatchID, err error) {
	var names []string
	newest := ""
	for _, id := range all {
		if !slices.Contains(names, named(id)) {
			names = append(names, named(id))
		}
		if named(id) == name && (year == "" || id.Season == year) {
			ids, newest = append(ids, id), max(newest, id.Season)
		}
	}
	if len(ids) == 0 {
		return nil, noneStored(of, name, year, names)
	}
	return slices.DeleteFunc(ids, func(id schemas.MatchID) bool { return id.Season != newest }), nil
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
