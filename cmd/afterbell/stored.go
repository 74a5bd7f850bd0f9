package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
)

// readReport reads the report of a stored match.
func readReport(h *home.Home, id schemas.MatchID) (*schemas.Report, error) {
	path := filepath.Join(h.Dir(id), schemas.ReportFile)
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("%s has no report: %w; `afterbell verify --rebuild %s` makes it again", id, err, id)
	}
	var r schemas.Report
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, fmt.Errorf("%s: not a report: %w; `afterbell verify --rebuild %s` makes it again", path, err, id)
	}
	return &r, nil
}

// earlier are the reports of the robot's earlier matches of the season, in order of time.
// A match's time is its wall clock when that is known, else when it was stored; stored is
// that of the match that asks. Unreadable reports are left out: one damaged match must
// not stop the next from being analyzed. What the crew denied is left out of them.
func earlier(h *home.Home, id schemas.MatchID, at *string, stored string) ([]*schemas.Report, error) {
	all, err := h.List()
	if err != nil {
		return nil, err
	}
	self := orderKey(at, stored)
	var out []*schemas.Report
	for _, e := range all {
		if e.Season != id.Season || e.Robot != id.Robot || e == id {
			continue
		}
		r, err := readReport(h, e)
		if err != nil || r.Match.CutFrom != nil || orderKey(r.Match.At, r.From.StoredAt) >= self {
			continue // stretches of matches are no part of the past: they would count twice
		}
		out = append(out, believed(h, e, r))
	}
	slices.SortStableFunc(out, func(a, b *schemas.Report) int {
		return cmp.Compare(orderKey(a.Match.At, a.From.StoredAt), orderKey(b.Match.At, b.From.StoredAt))
	})
	return out, nil
}

// believed is a report without what the crew denied. Notes that cannot be read deny nothing.
func believed(h *home.Home, id schemas.MatchID, r *schemas.Report) *schemas.Report {
	data, err := h.Notes(id)
	if err != nil || len(data) == 0 {
		return r
	}
	verdicts, _ := crew.Parse(data)
	return crew.Believed(r, crew.Judged(r, verdicts))
}

// orderKey sorts as text: times are kept in UTC with fixed digits.
func orderKey(at *string, stored string) string {
	s := stored
	if at != nil {
		s = *at
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return s
	}
	return t.UTC().Format("2006-01-02T15:04:05.000000000Z")
}

// loadStored reads a stored match back into a job: all its samples, its profile (or
// another one) and the match inside it.
func loadStored(h *home.Home, id schemas.MatchID, other *robotProfile) (*job, string, error) {
	dir := h.Dir(id)
	j := &job{id: id, profile: other}
	if other == nil {
		data, err := os.ReadFile(filepath.Join(dir, schemas.ProfileFile))
		if errors.Is(err, fs.ErrNotExist) {
			return nil, "", fmt.Errorf("%s has no %s beside it: give one with --profile", id, schemas.ProfileFile)
		} else if err != nil {
			return nil, "", err
		}
		if j.profile, err = parseProfile(filepath.Join(dir, schemas.ProfileFile), data); err != nil {
			return nil, "", err
		}
	}
	f, err := matchfile.Open(filepath.Join(dir, schemas.SignalsFile))
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	if j.log, err = f.Read(); err != nil {
		return nil, "", err
	}
	meta := f.Meta()
	j.stored = meta["stored_at"]
	if at, ok := meta["at"]; ok {
		j.at = &at
	}
	j.seal, _ = strconv.Atoi(meta["seal"])
	j.meta = map[string]string{}
	for _, key := range []string{metaBoots, collector.MetaStart, collector.MetaEnd, metaLate, metaCollectedAs, metaCut, metaFiles} {
		if v, ok := meta[key]; ok {
			j.meta[key] = v
		}
	}
	if err := j.findMatch(longest); err != nil {
		return nil, "", err
	}
	j.cut()
	return j, f.SHA256(), nil
}

// openedByHand is the stretch of a match that a message opened.
func openedByHand(meta map[string]string) (period.Match, bool) {
	start, err1 := strconv.ParseInt(meta[collector.MetaStart], 10, 64)
	end, err2 := strconv.ParseInt(meta[collector.MetaEnd], 10, 64)
	whole := []period.Span{{Mode: schemas.PeriodDriver, Start: start, End: end}}
	return period.Match{Start: start, End: end, Periods: whole, Modes: whole}, err1 == nil && err2 == nil
}

// longest is the match a stored folder is about: its lead-in may hold the end of another.
func longest(matches []period.Match) period.Match {
	return slices.MaxFunc(matches, func(a, b period.Match) int { return cmp.Compare(a.End-a.Start, b.End-b.Start) })
}
