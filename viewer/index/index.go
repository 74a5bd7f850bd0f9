// Package index knows of every match of a data folder what a pit board is searched by, so that
// a board of ten thousand matches opens no file but those of the rows it shows.
//
// It is a table in memory, newest first, made of the reports. A match is read again when the
// size or time of its report or its notes changed; nothing is watched, somebody asks. What was
// read of the reports is kept in a file beside the matches, which is never trusted further than
// those sizes and times, and may be deleted at any time.
package index

import (
	"cmp"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
)

// Entry is one match.
type Entry struct {
	ID       schemas.MatchID
	Order    time.Time // of the match's start, when it was stored where that is not known
	At       string    // RFC 3339, of the match's start; empty when not known
	Date     string    // its day in its own zone, 2006-01-02
	Battery  string
	Severity string
	Verdict  string
	Kinds    []string // of its findings, each once
	Whole    bool     // it has a report that could be read
	Notes    []string // the crew's
	Tally    crew.Tally
	Short    bool // no other season has this event, match and robot

	judged        []schemas.Finding // id, kind and start: what verdicts are told by
	stored        string            // RFC 3339, when it was first stored
	report, notes stamp
	words         string // what is searched, in small letters
}

// stamp tells whether a file changed.
type stamp struct{ Changed, Size int64 }

func stampOf(path string) stamp {
	info, err := os.Stat(path)
	if err != nil {
		return stamp{}
	}
	return stamp{info.ModTime().UnixNano(), info.Size()}
}

// Snapshot is the table at one moment. It is never changed.
type Snapshot struct {
	Entries []Entry // newest first
	Facets  Facets
}

// Facets are the values there are to choose from, each once and sorted.
type Facets struct{ Seasons, Events, Robots, Batteries, Kinds []string }

// Index keeps the table of a data folder. It may be used by many at once.
type Index struct {
	home *home.Home
	skip func(schemas.MatchID) bool

	mu      sync.Mutex // of a refresh
	known   map[schemas.MatchID]Entry
	unsaved int
	loaded  bool

	now        atomic.Pointer[Snapshot]
	read, all  atomic.Int64 // how far the refresh under way is
	refreshing atomic.Bool
}

// New is the index of a data folder; nothing is read yet. Matches that skip names are none.
func New(h *home.Home, skip func(schemas.MatchID) bool) *Index {
	return &Index{home: h, skip: skip, known: map[schemas.MatchID]Entry{}}
}

// few are so many matches that everybody waits until they have been looked at: that takes some
// milliseconds. Chosen by us.
const few = 500

// Now is the table as it is, after a refresh where there are few matches; in a large folder the
// refresh goes on behind, and the next to ask sees what it found.
func (x *Index) Now() (*Snapshot, error) {
	s := x.now.Load()
	if s == nil || len(s.Entries) <= few {
		return x.Refresh()
	}
	if x.refreshing.CompareAndSwap(false, true) {
		go func() {
			defer x.refreshing.Store(false)
			_, _ = x.Refresh() // an error shows to whoever asks next
		}()
	}
	return s, nil
}

// Soon is Now for somebody who waits only so long for the first table; nil when it is not
// ready by then, and Progress says how far it is.
func (x *Index) Soon(patience time.Duration) (*Snapshot, error) {
	if x.now.Load() != nil {
		return x.Now()
	}
	type answer struct {
		s   *Snapshot
		err error
	}
	done := make(chan answer, 1)
	go func() {
		s, err := x.Refresh()
		done <- answer{s, err}
	}()
	select {
	case a := <-done:
		return a.s, a.err
	case <-time.After(patience):
		return nil, nil
	}
}

// Progress is how many matches the refresh under way has looked at, of how many.
func (x *Index) Progress() (read, all int) { return int(x.read.Load()), int(x.all.Load()) }

// Refresh brings the table up to what the folder holds.
func (x *Index) Refresh() (*Snapshot, error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if !x.loaded {
		x.load()
	}
	ids, err := x.home.List()
	if err != nil {
		return nil, err
	}
	x.read.Store(0)
	x.all.Store(int64(len(ids)))
	entries := make([]Entry, len(ids))
	keep := make([]bool, len(ids))
	var next, changed atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), max(len(ids)/64, 1)) {
		workers.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(ids) {
					return
				}
				var anew bool
				entries[i], anew, keep[i] = x.entry(ids[i])
				if anew {
					changed.Add(1)
				}
				x.read.Add(1)
			}
		})
	}
	workers.Wait()
	kept := entries[:0]
	for i, e := range entries {
		if keep[i] {
			kept = append(kept, e)
		}
	}
	if s := x.now.Load(); s != nil && changed.Load() == 0 && len(kept) == len(x.known) {
		return s, nil
	}
	x.unsaved += int(changed.Load())
	s := snapshot(slices.Clip(kept))
	x.known = make(map[schemas.MatchID]Entry, len(s.Entries))
	for _, e := range s.Entries {
		x.known[e.ID] = e
	}
	x.now.Store(s)
	x.save()
	return s, nil
}

// entry is one match as it is now; anew is whether it had to be read.
func (x *Index) entry(id schemas.MatchID) (e Entry, anew, keep bool) {
	dir := x.home.Dir(id)
	report, notes := stampOf(filepath.Join(dir, schemas.ReportFile)), stampOf(filepath.Join(dir, schemas.NotesFile))
	old, seen := x.known[id]
	if seen && old.Whole && old.report == report && old.notes == notes {
		return old, false, true
	}
	if report == (stamp{}) && x.skip(id) {
		return Entry{}, false, false
	}
	e = old
	if !seen || !old.Whole || old.report != report {
		if e, anew = readEntry(id, dir), true; !e.Whole && seen && !old.Whole && old.Order.Equal(e.Order) {
			anew = false // damaged as before
		}
	} else {
		anew = true // its notes
	}
	e.report, e.notes = report, notes
	e.hear(dir)
	return e, anew, true
}

// hear reads the crew's notes.
func (e *Entry) hear(dir string) {
	e.Notes, e.Tally = nil, crew.Tally{}
	if e.notes != (stamp{}) {
		if data, err := os.ReadFile(filepath.Join(dir, schemas.NotesFile)); err == nil {
			for _, n := range crew.Remarks(data) {
				e.Notes = append(e.Notes, n.Text)
			}
			verdicts, _ := crew.Parse(data)
			e.Tally = crew.Count(crew.Judged(&schemas.Report{Findings: e.judged}, verdicts))
		}
	}
	words := append([]string{e.ID.Event, e.ID.Match, e.ID.Robot, e.Battery, e.Verdict}, e.Notes...)
	e.words = strings.ToLower(strings.Join(words, "\n"))
}

// readEntry reads of a report what is searched. One that cannot be read stands where its folder
// was last written.
func readEntry(id schemas.MatchID, dir string) Entry {
	e := Entry{ID: id}
	var r searched
	if r.readFile(filepath.Join(dir, schemas.ReportFile)) != nil || r.Report != schemas.ReportVersion {
		if info, err := os.Stat(dir); err == nil {
			e.Order = info.ModTime()
		}
		return e
	}
	e.Whole, e.Battery, e.Severity, e.Verdict = true, r.Battery.ID, r.Verdict.Severity, r.Verdict.Text
	e.stored = r.From.StoredAt
	if r.Match.At != nil {
		e.At = *r.Match.At
	}
	e.placed()
	for _, f := range r.Findings {
		e.judged = append(e.judged, schemas.Finding{ID: f.ID, Kind: f.Kind, StartS: f.StartS})
		if !slices.Contains(e.Kinds, f.Kind) {
			e.Kinds = append(e.Kinds, f.Kind)
		}
	}
	return e
}

// placed puts an entry into its place in time.
func (e *Entry) placed() {
	if at, err := time.Parse(time.RFC3339Nano, e.stored); err == nil {
		e.Order = at
	}
	if at, err := time.Parse(time.RFC3339Nano, e.At); err == nil {
		e.Order, e.Date = at, at.Format(time.DateOnly)
	}
}

// newer orders entries, the newest first.
func newer(a, b Entry) int {
	return cmp.Or(b.Order.Compare(a.Order), strings.Compare(b.ID.String(), a.ID.String()))
}

func snapshot(entries []Entry) *Snapshot {
	s := &Snapshot{Entries: entries}
	slices.SortFunc(s.Entries, newer)
	seasons := map[schemas.MatchID]int{}
	f := make([]map[string]bool, 5)
	for i := range f {
		f[i] = map[string]bool{}
	}
	for _, e := range s.Entries {
		seasons[withoutSeason(e.ID)]++
		for i, v := range []string{e.ID.Season, e.ID.Event, e.ID.Robot, e.Battery} {
			f[i][v] = true
		}
		for _, k := range e.Kinds {
			f[4][k] = true
		}
	}
	for i := range s.Entries {
		s.Entries[i].Short = seasons[withoutSeason(s.Entries[i].ID)] == 1
	}
	for i, to := range []*[]string{&s.Facets.Seasons, &s.Facets.Events, &s.Facets.Robots, &s.Facets.Batteries, &s.Facets.Kinds} {
		for v := range f[i] {
			if v != "" {
				*to = append(*to, v)
			}
		}
		slices.Sort(*to)
	}
	slices.Reverse(s.Facets.Seasons)
	return s
}

func withoutSeason(id schemas.MatchID) schemas.MatchID {
	id.Season = ""
	return id
}

// CacheFile is where in a data folder the index keeps what it read of the reports.
const CacheFile = ".index.json"

// cached is the file: Version tells other forms of it apart.
type cached struct {
	Version int      `json:"version"`
	Matches []stored `json:"matches"`
}

// stored is an entry in the file. What the crew noted is not in it: it is theirs to hand on.
type stored struct {
	ID       string          `json:"id"`
	Report   stamp           `json:"report"`
	Stored   string          `json:"stored,omitempty"`
	At       string          `json:"at,omitempty"`
	Battery  string          `json:"battery,omitempty"`
	Severity string          `json:"severity"`
	Verdict  string          `json:"verdict"`
	Findings []storedFinding `json:"findings,omitempty"`
}

type storedFinding struct {
	ID     string  `json:"id"`
	Kind   string  `json:"kind"`
	StartS float64 `json:"start_s"`
}

const (
	cacheVersion = 1
	worthSaving  = 100 // matches read anew; fewer are read again sooner than the file is written
	mostCache    = 256 << 20
)

// load takes what the file has; a file that is damaged or of another form is as good as none.
func (x *Index) load() {
	x.loaded = true
	path := filepath.Join(x.home.Root(), CacheFile)
	if info, err := os.Stat(path); err != nil || info.Size() > mostCache {
		return
	}
	data, err := os.ReadFile(path)
	var c cached
	if err != nil || json.Unmarshal(data, &c) != nil || c.Version != cacheVersion {
		return
	}
	for _, m := range c.Matches {
		p := strings.Split(m.ID, "/")
		if len(p) != 4 {
			continue
		}
		e := Entry{
			ID: schemas.MatchID{Season: p[0], Event: p[1], Match: p[2], Robot: p[3]}, Whole: true, report: m.Report,
			stored: m.Stored, At: m.At, Battery: m.Battery, Severity: m.Severity, Verdict: m.Verdict,
			notes: stamp{Size: -1}, // not read yet
		}
		e.placed()
		for _, f := range m.Findings {
			e.judged = append(e.judged, schemas.Finding{ID: f.ID, Kind: f.Kind, StartS: f.StartS})
			if !slices.Contains(e.Kinds, f.Kind) {
				e.Kinds = append(e.Kinds, f.Kind)
			}
		}
		x.known[e.ID] = e
	}
}

// save writes the file when much is new. A folder that cannot be written to has none.
func (x *Index) save() {
	if x.unsaved < worthSaving {
		return
	}
	c := cached{Version: cacheVersion}
	for _, e := range x.now.Load().Entries {
		if !e.Whole {
			continue
		}
		m := stored{ID: e.ID.String(), Report: e.report, Stored: e.stored, At: e.At, Battery: e.Battery, Severity: e.Severity, Verdict: e.Verdict}
		for _, f := range e.judged {
			m.Findings = append(m.Findings, storedFinding{f.ID, f.Kind, f.StartS})
		}
		c.Matches = append(c.Matches, m)
	}
	if err := writeWhole(filepath.Join(x.home.Root(), CacheFile), c); err == nil {
		x.unsaved = 0
	}
}

// writeWhole puts the file in its place at once, so that no reader finds half of one.
func writeWhole(path string, c cached) error {
	data, err := json.Marshal(c)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), CacheFile+"-*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = cmp.Or(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name()) // what is left of it would only lie about
		return fmt.Errorf("index: %w", err)
	}
	return nil
}
