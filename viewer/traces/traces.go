// Package traces keeps signals of stored matches at hand while somebody looks at them, and
// cuts stretches of them into pixel columns. What it keeps is a copy in memory, bounded;
// no file of a match stays open between two questions.
package traces

import (
	"container/list"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"sync"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/schemas/tables"
)

// defaultRoom is how much memory signals are kept in: a match of seven million samples and
// its like are all there at once.
const defaultRoom = 256 << 20

// Shelf holds the signals that were looked at lately. Its methods may be called from
// several goroutines.
type Shelf struct {
	room int64 // bytes

	mu      sync.Mutex
	matches map[string]*Match // by folder
	used    list.List         // of *Trace, the one used last in front
	taken   int64
}

// NewShelf is an empty shelf.
func NewShelf() *Shelf { return &Shelf{room: defaultRoom, matches: map[string]*Match{}} }

// Match is one stored match as its samples file described it when it was opened.
type Match struct {
	Dir    string
	Seal   string
	SHA256 string // of the samples

	shelf    *Shelf
	changed  time.Time
	size     int64
	infos    []matchfile.Info // in order of name
	pyramids *pyramid.File    // nil when there is none that fits
	sums     []pyramid.Summary
	traces   map[string]*Trace // guarded by the shelf's mu
}

// Trace is one signal ready to be cut.
type Trace struct {
	Info   matchfile.Info
	Line   *pyramid.Line   // of text it has no reading
	Labels *pyramid.Labels // of text, else nil

	pyramid *pyramid.Pyramid
	match   *Match
	cost    int64
	place   *list.Element
	once    sync.Once
	err     error
}

// mostMatches are remembered; a match that is forgotten is opened again when it is asked for.
const mostMatches = 32

// Open is the match in a folder. It is read anew when its samples file changed.
func (s *Shelf) Open(dir string) (*Match, error) {
	path := filepath.Join(dir, schemas.SignalsFile)
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	m, ok := s.matches[dir]
	s.mu.Unlock()
	if ok && m.changed.Equal(info.ModTime()) && m.size == info.Size() {
		return m, nil
	}
	f, err := matchfile.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	m = &Match{
		Dir: dir, Seal: f.Meta()[tables.MetaSeal], SHA256: f.SHA256(), infos: f.Signals(),
		shelf: s, changed: info.ModTime(), size: info.Size(), traces: map[string]*Trace{},
	}
	if p, err := pyramid.Open(filepath.Join(dir, pyramid.FileName), m.SHA256); err == nil {
		m.pyramids, m.sums = p, p.Summaries()
	} // else of an earlier version, or damaged, which `verify` tells: built when needed
	s.mu.Lock()
	defer s.mu.Unlock()
	if old, ok := s.matches[dir]; ok {
		s.forget(old)
	}
	for d, old := range s.matches {
		if len(s.matches) < mostMatches {
			break
		}
		s.forget(old)
		delete(s.matches, d)
	}
	s.matches[dir] = m
	return m, nil
}

// forget drops what is kept of a match.
func (s *Shelf) forget(m *Match) {
	for name, t := range m.traces {
		s.drop(t)
		delete(m.traces, name)
	}
}

func (s *Shelf) drop(t *Trace) {
	if t.place != nil {
		s.used.Remove(t.place)
		s.taken -= t.cost
		t.place = nil
	}
}

// Infos describes all signals in order of name.
func (m *Match) Infos() []matchfile.Info { return m.infos }

// Summaries are what can be said of each signal, in the order of Infos; nil when nothing is
// known without reading every sample.
func (m *Match) Summaries() []pyramid.Summary {
	if len(m.sums) != len(m.infos) {
		return nil
	}
	return m.sums
}

// UnknownSignalError names a signal that a match does not have.
type UnknownSignalError struct{ Name string }

func (e *UnknownSignalError) Error() string { return fmt.Sprintf("there is no signal %q", e.Name) }

// Info is the description of the signal of that name, or an *UnknownSignalError.
func (m *Match) Info(name string) (matchfile.Info, error) {
	i := sort.Search(len(m.infos), func(i int) bool { return m.infos[i].Name >= name })
	if i == len(m.infos) || m.infos[i].Name != name {
		return matchfile.Info{}, &UnknownSignalError{name}
	}
	return m.infos[i], nil
}

// Traces are the signals of those names, read where they are not at hand yet. The error is
// an *UnknownSignalError when one is not there.
func (m *Match) Traces(names []string) ([]*Trace, error) {
	out := make([]*Trace, len(names))
	for i, name := range names {
		info, err := m.Info(name)
		if err != nil {
			return nil, err
		}
		m.shelf.mu.Lock()
		t, ok := m.traces[name]
		if !ok {
			t = &Trace{Info: info, match: m}
			m.traces[name] = t
		}
		m.shelf.mu.Unlock()
		out[i] = t
	}
	var missing []*Trace
	for _, t := range out {
		if !slices.Contains(missing, t) {
			missing = append(missing, t)
		}
	}
	var wg sync.WaitGroup
	for _, t := range missing {
		wg.Go(func() { t.once.Do(t.read) })
	}
	wg.Wait()
	for _, t := range missing {
		if t.err != nil {
			m.shelf.mu.Lock()
			delete(m.traces, t.Info.Name) // to be tried again when asked again
			m.shelf.mu.Unlock()
			return nil, t.err
		}
		m.shelf.touch(t)
	}
	return out, nil
}

// touch puts a trace in front, and drops from the back what there is no room for.
func (s *Shelf) touch(t *Trace) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case t.place != nil:
		s.used.MoveToFront(t.place)
	case t.match.traces[t.Info.Name] == t:
		t.place = s.used.PushFront(t)
		s.taken += t.cost
	}
	for s.taken > s.room && s.used.Len() > 1 {
		old := s.used.Back().Value.(*Trace)
		s.drop(old)
		delete(old.match.traces, old.Info.Name)
	}
}

func (t *Trace) read() {
	f, err := matchfile.Open(filepath.Join(t.match.Dir, schemas.SignalsFile))
	if err != nil {
		t.err = err
		return
	}
	defer f.Close()
	if f.SHA256() != t.match.SHA256 {
		t.err = fmt.Errorf("%s changed while it was read: ask again", t.match.Dir)
		return
	}
	log, err := f.Read(t.Info.Name)
	if err != nil {
		t.err = err
		return
	}
	s := log.Signals[0]
	t.cost = int64(s.Len()) * 20
	if s.Kind == schemas.Text {
		t.Labels = pyramid.LabelsOf(s)
		for _, text := range t.Labels.Text {
			t.cost += int64(len(text))
		}
	}
	t.Line = pyramid.LineOf(s)
	if t.Labels == nil && t.match.pyramids != nil {
		if p, err := t.match.pyramids.Load(t.Info.Name, t.Line); err == nil {
			t.pyramid = p
			return
		}
	}
	t.pyramid = pyramid.Build(t.Line)
}

// Log reads a stretch of signals as period.Stretch cuts it, and what the file says of itself: what
// is held is known from its first moment on. All signals when no name is given.
func (m *Match) Log(names []string, t0, t1 int64, held func(*schemas.Signal) bool) (*schemas.Log, map[string]string, error) {
	for _, name := range names {
		if _, err := m.Info(name); err != nil {
			return nil, nil, err
		}
	}
	f, err := matchfile.Open(filepath.Join(m.Dir, schemas.SignalsFile))
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	log, err := f.Read(names...)
	if err != nil {
		return nil, nil, err
	}
	return period.Stretch(log, t0, t1, f.End(), held), f.Meta(), nil
}
