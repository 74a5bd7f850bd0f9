package main

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
)

// liveStore puts the collector's matches into the data folder: analyzed where there is a
// profile, else as samples only.
type liveStore struct {
	home     *home.Home
	profiles map[string]*robotProfile
	log      *slog.Logger

	mu sync.Mutex // guards moved
	// moved are the names that matches have now, by the name the collector sealed them under.
	moved map[schemas.MatchID]schemas.MatchID

	making sync.Map // robots whose sheet is being made, to howFar
}

// howFar is how many of the analyses of a sheet are done.
type howFar struct{ done, all int }

// far is how many analyses of the sheet that is being made are done, of how many; none of none
// while none is made.
func (s *liveStore) far(robot string) (done, all int) {
	if f, ok := s.making.Load(robot); ok {
		return f.(howFar).done, f.(howFar).all
	}
	return 0, 0
}

// newLiveStore is a store whose lock is held, so that no match is renamed while it is used.
func newLiveStore(h *home.Home, profiles map[string]*robotProfile, log *slog.Logger) *liveStore {
	return &liveStore{home: h, profiles: profiles, log: log, moved: renamedSince(h, time.Now().Add(-movedLookBack))}
}

// movedLookBack is how long ago a match may have been renamed and still get late samples: the
// collector remembers matches for seven days, and those that held back a radio longer.
const movedLookBack = 60 * 24 * time.Hour

// renamedSince finds the matches that were renamed after the collector sealed them.
func renamedSince(h *home.Home, since time.Time) map[schemas.MatchID]schemas.MatchID {
	out := map[schemas.MatchID]schemas.MatchID{}
	all, err := h.List()
	if err != nil {
		return out
	}
	for _, id := range all {
		path := filepath.Join(h.Dir(id), schemas.SignalsFile)
		if info, err := os.Stat(path); err != nil || info.ModTime().Before(since) {
			continue
		}
		f, err := matchfile.Open(path)
		if err != nil {
			continue // damaged, and told by verify
		}
		if old, ok := schemas.ParseMatchID(f.Meta()[metaCollectedAs]); ok {
			out[old] = id
		}
		_ = f.Close() // it was only read
	}
	return out
}

// now is the name that a match has now.
func (s *liveStore) now(id schemas.MatchID) schemas.MatchID {
	s.mu.Lock()
	defer s.mu.Unlock()
	if to, ok := s.moved[id]; ok {
		return to
	}
	return id
}

// place is the name to store a match under. When a log that was taken in from a file has the
// name by now, it is the next free one: what is there is never overwritten by another match.
func (s *liveStore) place(id schemas.MatchID) schemas.MatchID {
	now := s.now(id)
	if !s.home.Exists(now) || s.collected(now) {
		return now
	}
	free := now
	for n := 2; s.home.Exists(free); n++ {
		free.Match = numbered(now.Match, n)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.moved == nil {
		s.moved = map[schemas.MatchID]schemas.MatchID{}
	}
	s.moved[id] = free
	return free
}

// collected is whether a stored match came from the collector. One that cannot be read is
// taken for its own, which is to be stored anew.
func (s *liveStore) collected(id schemas.MatchID) bool {
	f, err := matchfile.Open(filepath.Join(s.home.Dir(id), schemas.SignalsFile))
	if err != nil {
		return true
	}
	defer f.Close()
	return f.Meta()[metaBoots] != ""
}

// Load reads the samples of a stored match.
func (s *liveStore) Load(id schemas.MatchID) (*schemas.Log, map[string]string, error) {
	f, err := matchfile.Open(filepath.Join(s.home.Dir(s.now(id)), schemas.SignalsFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	} else if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	log, err := f.Read()
	if err == nil && len(filesOf(f.Meta())) > 0 {
		log = collectedSamples(log, f.Meta()) // the rest is none of the collector's
	}
	return log, f.Meta(), err
}

// Taken is whether any robot has a match of that name, or had one that was renamed.
func (s *liveStore) Taken(season, event, match string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for id := range s.moved {
		if id.Season == season && id.Event == event && id.Match == match {
			return true
		}
	}
	dir := filepath.Dir(s.home.Dir(schemas.MatchID{Season: season, Event: event, Match: match, Robot: "any"}))
	_, err := os.Stat(dir)
	return err == nil
}

// Publish stores a match, with its report and sheet when its robot has a profile.
func (s *liveStore) Publish(ctx context.Context, m collector.Sealed) error {
	if place := s.place(m.ID); place != m.ID {
		m.Meta[metaCollectedAs] = m.ID.String()
		m.ID = place
	}
	defer s.home.Rewrite(m.ID)()
	at := m.At.UTC().Format(time.RFC3339Nano)
	j := &job{id: m.ID, at: &at, log: m.Log, match: m.Match, seal: m.Seal, stored: storedAt(time.Now()), meta: m.Meta, step: m.Step}
	if m.Late > 0 {
		j.meta[metaLate] = strconv.Itoa(m.Late)
	}
	if s.home.Exists(m.ID) {
		j.takePlace(s.home)
		if err := j.takeFilesAlong(s.home); err != nil {
			return err
		}
	}
	j.profile = s.profiles[m.ID.Robot]
	if j.profile != nil && len(filesOf(j.meta)) > 0 { // files may have brought another part of it
		if err := j.findMatch(func(all []period.Match) period.Match { return overlapping(all, m.Match) }); err != nil {
			return err
		}
	} else {
		j.sayLate()
	}
	if m.Idle {
		s.forgetIdle()
		return j.publishSamples(ctx, s.home)
	}
	if j.profile == nil {
		return j.publishSamples(ctx, s.home)
	}
	var err error
	if j.history, err = earlier(s.home, j.id, j.at, j.stored); err != nil {
		return err
	}
	j.tell = func(done, all int) { s.making.Store(j.id.Robot, howFar{done, all}) }
	j.tell(0, len(analysis.All()))
	defer s.making.Delete(j.id.Robot)
	if _, err = j.publish(ctx, s.home, true); err == nil {
		keepRollup(s.home, j.id)
	}
	return err
}

// sayLate has the report say that the match was sealed again.
func (j *job) sayLate() {
	if n := j.meta[metaLate]; n != "" {
		j.match.Notes = append(slices.Clip(j.match.Notes), n+" samples came after the first sheet was made, from a radio that held them back; they are in this one")
	}
}

// publishSamples writes the folder of a match that is not analyzed.
func (j *job) publishSamples(ctx context.Context, h *home.Home) error {
	_, err := j.publish(ctx, h, true)
	return err
}

// idleKept is how long samples outside of any match are kept.
const idleKept = 7 * 24 * time.Hour

// forgetIdle removes samples outside of any match that have been kept long enough.
func (s *liveStore) forgetIdle() {
	all, err := s.home.List()
	if err != nil {
		s.log.Warn("idle samples cannot be listed", "err", err)
		return
	}
	for _, id := range all {
		if !strings.HasPrefix(id.Match, schemas.IdlePrefix) {
			continue
		}
		info, err := os.Stat(filepath.Join(s.home.Dir(id), schemas.SignalsFile))
		if err != nil || time.Since(info.ModTime()) < idleKept {
			continue
		}
		if err := s.home.Remove(id); err != nil {
			s.log.Warn("idle samples cannot be removed", "match", id.String(), "err", err)
		}
	}
}
