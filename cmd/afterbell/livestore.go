package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

// liveStore puts the collector's matches into the data folder: analyzed where there is a
// profile, else as samples only.
type liveStore struct {
	home     *home.Home
	profiles map[string]*robotProfile
	log      *slog.Logger
}

// Load reads the samples of a stored match.
func (s *liveStore) Load(id schemas.MatchID) (*schemas.Log, map[string]string, error) {
	f, err := matchfile.Open(filepath.Join(s.home.Dir(id), signalsFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	} else if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	log, err := f.Read()
	return log, f.Meta(), err
}

// Taken is whether any robot has a match of that name.
func (s *liveStore) Taken(season, event, match string) bool {
	dir := filepath.Dir(s.home.Dir(schemas.MatchID{Season: season, Event: event, Match: match, Robot: "any"}))
	_, err := os.Stat(dir)
	return err == nil
}

// Publish stores a match, with its report and sheet when its robot has a profile.
func (s *liveStore) Publish(ctx context.Context, m collector.Sealed) error {
	at := m.At.UTC().Format(time.RFC3339Nano)
	j := &job{id: m.ID, at: &at, log: m.Log, match: m.Match, seal: m.Seal, stored: storedAt(time.Now()), meta: m.Meta}
	if m.Late > 0 {
		j.meta[metaLate] = strconv.Itoa(m.Late)
	}
	j.sayLate()
	if s.home.Exists(m.ID) {
		j.takePlace(s.home)
	}
	j.profile = s.profiles[m.ID.Robot]
	if m.Idle {
		s.forgetIdle()
		return j.publishSamples(s.home)
	}
	if j.profile == nil {
		return j.publishSamples(s.home)
	}
	var err error
	if j.history, err = earlier(s.home, j.id, j.at, j.stored); err != nil {
		return err
	}
	_, err = j.publish(ctx, s.home, true)
	return err
}

// sayLate has the report say that the match was sealed again.
func (j *job) sayLate() {
	if n := j.meta[metaLate]; n != "" {
		j.match.Notes = append(slices.Clip(j.match.Notes), n+" samples came after the first sheet was made, from a radio that held them back; they are in this one")
	}
}

// publishSamples writes the folder of a match that is not analyzed.
func (j *job) publishSamples(h *home.Home) error {
	return h.Publish(j.id, true, func(dir string) error {
		return writeFile(filepath.Join(dir, signalsFile), func(w io.Writer) error {
			_, err := matchfile.Write(w, j.log, j.fileMeta())
			return err
		})
	})
}

// idlePrefix begins the names under which samples outside of any match are kept.
const idlePrefix = "idle-"

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
		if !strings.HasPrefix(id.Match, idlePrefix) {
			continue
		}
		info, err := os.Stat(filepath.Join(s.home.Dir(id), signalsFile))
		if err != nil || time.Since(info.ModTime()) < idleKept {
			continue
		}
		if err := s.home.Remove(id); err != nil {
			s.log.Warn("idle samples cannot be removed", "match", id.String(), "err", err)
		}
	}
}
