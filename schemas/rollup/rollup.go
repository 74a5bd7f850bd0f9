// Package rollup keeps what a season is made of in one table for each event, so that a question
// about two hundred matches opens a handful of files and not a thousand:
//
//	rollup/season=2031/event=millbrook-open/matches.parquet
//
// A row is a match of a robot: the columns of its match.parquet, with the rows of its
// stages.parquet and mechanisms.parquet as lists, all without what the crew denied. Season and
// event are not columns: the folders say them, as they do of the tables of a match.
//
// The file is derived and never the only copy. A row counts as long as the report and the notes
// it was made of have the size and time that stand in it; other rows are made again from the
// match's own tables, and so is a file that is missing or damaged. Whoever may write puts the
// new rows beside the old ones for the next to ask; nothing is lost when that fails, or when
// the folder rollup is deleted.
package rollup

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/parquet-go/parquet-go"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/tables"
)

// Names in the data folder.
const (
	Folder   = "rollup"
	FileName = "matches.parquet"
)

// Row is a match of a robot.
type Row struct {
	head
	tables.Match
	lists
}

// The parts of a row, which are read one by one: the library reads null in the optional field of
// an embedded type as a pointer to zero.
type head struct {
	Name  string `parquet:"match"`
	Robot string `parquet:"robot"`

	// What the row was made of: the columns it was made for, sizes, and times of change in
	// nanoseconds since 1970.
	Form            string `parquet:"form"`
	ReportBytes     int64  `parquet:"report_bytes"`
	ReportChangedNS int64  `parquet:"report_changed_ns"`
	NotesBytes      int64  `parquet:"notes_bytes"`
	NotesChangedNS  int64  `parquet:"notes_changed_ns"`
}

type lists struct {
	Stages     []tables.Stage     `parquet:"stages,list"`
	Mechanisms []tables.Mechanism `parquet:"mechanisms,list"`
}

// form is that of the columns of this version: rows with fewer must be made again.
var form = sync.OnceValue(func() string {
	sum := sha256.Sum256([]byte(parquet.SchemaOf(Row{}).String()))
	return hex.EncodeToString(sum[:6])
})

// Event is the rows of an event, by match and robot.
type Event struct {
	Season, Event string
	Rows          []Row
	Problems      []Problem
}

// Problem is a match whose tables could not be read.
type Problem struct {
	ID  schemas.MatchID
	Err error
}

// Read returns the rows of the matches ids, event by event in the order of ids. Matches that
// were not analyzed have none. What had to be read from the matches themselves is kept for the
// next to ask.
func Read(h *home.Home, ids []schemas.MatchID) []Event {
	var out []Event
	of := map[[2]string]int{}
	wanted := map[int][]schemas.MatchID{}
	for _, id := range ids {
		key := [2]string{id.Season, id.Event}
		i, ok := of[key]
		if !ok {
			i = len(out)
			of[key] = i
			out = append(out, Event{Season: id.Season, Event: id.Event})
		}
		wanted[i] = append(wanted[i], id)
	}
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(out)) {
		workers.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(out); i = int(next.Add(1)) - 1 {
				out[i].read(h, wanted[i])
			}
		})
	}
	workers.Wait()
	return out
}

// Rebuild makes the tables of the events that the matches ids belong to again from nothing.
func Rebuild(h *home.Home, ids []schemas.MatchID) error {
	events := map[string]bool{}
	for _, id := range ids {
		events[path(h, id.Season, id.Event)] = true
	}
	for file := range events {
		if err := os.Remove(file); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return Refresh(h, ids)
}

// Refresh brings the tables of the events that the matches ids belong to up to what the folder
// holds. The error is that of a table that could not be written.
func Refresh(h *home.Home, ids []schemas.MatchID) error {
	all, err := h.List()
	if err != nil {
		return err
	}
	events := map[[2]string][]schemas.MatchID{}
	for _, id := range ids {
		events[[2]string{id.Season, id.Event}] = nil
	}
	for _, id := range all {
		key := [2]string{id.Season, id.Event}
		if _, ok := events[key]; ok {
			events[key] = append(events[key], id)
		}
	}
	for key, ids := range events { // each whole by itself, so that any order will do
		e := Event{Season: key[0], Event: key[1]}
		if err := e.refresh(h, ids); err != nil {
			return err
		}
	}
	return nil
}

func path(h *home.Home, season, event string) string {
	return filepath.Join(h.Root(), Folder, "season="+season, "event="+event, FileName)
}

// key tells the rows of an event apart.
type key struct{ match, robot string }

// read fills in the rows of the matches ids, which are of e.
func (e *Event) read(h *home.Home, ids []schemas.MatchID) {
	known := e.known(h)
	fresh := e.rows(h, ids, known)
	if !fresh {
		return
	}
	rest := e.rest(h, known)
	_ = e.write(h, append(rest, e.Rows...)) // it is read again next time
}

// refresh reads all matches of the event, which are ids, and writes the table where it changed.
func (e *Event) refresh(h *home.Home, ids []schemas.MatchID) error {
	known := e.known(h)
	if fresh := e.rows(h, ids, known); !fresh && len(known) == len(e.Rows) {
		return nil
	}
	if len(e.Rows) == 0 {
		file := path(h, e.Season, e.Event)
		if err := os.Remove(file); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		for dir := filepath.Dir(file); dir != h.Root(); dir = filepath.Dir(dir) {
			_ = os.Remove(dir) // where other events are it stays
		}
		return nil
	}
	return e.write(h, e.Rows)
}

// known are the rows of the file, which may be out of date; none where it cannot be read.
func (e *Event) known(h *home.Home) map[key]Row {
	rows, err := readFile(path(h, e.Season, e.Event))
	if err != nil {
		return nil
	}
	out := make(map[key]Row, len(rows))
	for _, r := range rows {
		out[key{r.Name, r.Robot}] = r
	}
	return out
}

func readFile(path string) ([]Row, error) {
	data, err := os.ReadFile(path) // at once: another may take its place
	if err != nil {
		return nil, err
	}
	heads, err := tables.ReadBytes[head](data)
	if err != nil {
		return nil, err
	}
	matches, err := tables.ReadBytes[tables.Match](data)
	if err != nil {
		return nil, err
	}
	rest, err := tables.ReadBytes[lists](data)
	if err != nil {
		return nil, err
	}
	out := make([]Row, len(heads))
	for i := range out {
		out[i] = Row{heads[i], matches[i], rest[i]}
	}
	return out, nil
}

// rows fills in the rows of the matches ids and says whether any was not known.
func (e *Event) rows(h *home.Home, ids []schemas.MatchID, known map[key]Row) (fresh bool) {
	for _, id := range ids {
		now := Row{head: head{Name: id.Match, Robot: id.Robot, Form: form()}}
		if !now.stamp(h.Dir(id)) {
			continue // not analyzed
		}
		if was, ok := known[key{id.Match, id.Robot}]; ok && was.sameAs(now) {
			e.Rows = append(e.Rows, was)
			continue
		}
		if err := now.fill(h, id); err != nil {
			e.Problems = append(e.Problems, Problem{id, err})
			continue
		}
		fresh = true
		e.Rows = append(e.Rows, now)
	}
	return fresh
}

// rest are the known rows that e has none in place of and whose matches are still there.
func (e *Event) rest(h *home.Home, known map[key]Row) (out []Row) {
	have := make(map[key]bool, len(e.Rows))
	for _, r := range e.Rows {
		have[key{r.Name, r.Robot}] = true
	}
	for k, r := range known {
		id := schemas.MatchID{Season: e.Season, Event: e.Event, Match: k.match, Robot: k.robot}
		if !have[k] && h.Exists(id) {
			out = append(out, r)
		}
	}
	return out
}

// stamp notes what the row is made of; false when there is no report.
func (r *Row) stamp(dir string) bool {
	report, err := os.Stat(filepath.Join(dir, schemas.ReportFile))
	if err != nil {
		return false
	}
	r.ReportBytes, r.ReportChangedNS = report.Size(), report.ModTime().UnixNano()
	if notes, err := os.Stat(filepath.Join(dir, schemas.NotesFile)); err == nil {
		r.NotesBytes, r.NotesChangedNS = notes.Size(), notes.ModTime().UnixNano()
	}
	return true
}

func (r *Row) sameAs(now Row) bool {
	return r.Form == now.Form && r.ReportBytes == now.ReportBytes && r.ReportChangedNS == now.ReportChangedNS &&
		r.NotesBytes == now.NotesBytes && r.NotesChangedNS == now.NotesChangedNS
}

// fill reads the row from the tables of the match; where the crew spoke, from the report,
// without what it denied.
func (r *Row) fill(h *home.Home, id schemas.MatchID) (err error) {
	dir := h.Dir(id)
	if r.NotesBytes > 0 {
		notes, err := h.Notes(id)
		if err != nil {
			return err
		}
		if verdicts, _ := crew.Parse(notes); len(verdicts) > 0 {
			data, err := os.ReadFile(filepath.Join(dir, schemas.ReportFile))
			if err != nil {
				return err
			}
			var report schemas.Report
			if err := json.Unmarshal(data, &report); err != nil {
				return fmt.Errorf("%s: not a report: %w", filepath.Join(dir, schemas.ReportFile), err)
			}
			r.Match, r.Stages, r.Mechanisms = tables.Rows(crew.Believed(&report, crew.Judged(&report, verdicts)))
			return nil
		}
	}
	if r.Match, err = tables.ReadMatch(dir); err != nil {
		return err
	}
	if r.Stages, err = tables.Read[tables.Stage](filepath.Join(dir, tables.StagesFile)); err != nil {
		return err
	}
	r.Mechanisms, err = tables.Read[tables.Mechanism](filepath.Join(dir, tables.MechanismsFile))
	if errors.Is(err, fs.ErrNotExist) { // tables of an earlier version lack it
		err = nil
	}
	return err
}

// write puts rows in place of the file.
func (e *Event) write(h *home.Home, rows []Row) error {
	slices.SortFunc(rows, func(a, b Row) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), strings.Compare(a.Robot, b.Robot))
	})
	to := path(h, e.Season, e.Event)
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(to), "."+FileName+"-*")
	if err != nil {
		return err
	}
	err = errors.Join(tables.WriteRows(f, rows), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), to)
	}
	if err != nil {
		_ = os.Remove(f.Name()) // it is worth nothing
	}
	return err
}
