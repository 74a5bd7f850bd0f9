package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/analysis/compare"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer"
	"github.com/afterbell/afterbell/viewer/sheet"
)

// comparePass prints one pass against this robot's usual one.
func (a *app) comparePass(j *job, piece, at string, asJSON bool) error {
	n, err := strconv.Atoi(piece)
	if err != nil {
		return usagef("--compare %q is not the number of a piece: use a whole number from 1", piece)
	}
	var past []analysis.Earlier
	if h, err := home.Open(a.dataDir); err == nil {
		past = j.earlierLogs(h, a.note)
	}
	c, err := analysis.Compare(j.input(), n, at, past)
	var wrong *compare.PassError
	if errors.As(err, &wrong) {
		return usagef("--compare: %w", err)
	} else if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(c)
	}
	return sheet.ComparisonText(a.stdout, c, 80, isTerminal(a.stdout))
}

// mostEarlier matches, the newest, are read for a comparison: some thirty passes say well
// enough what is usual, and reading a log takes a moment.
const mostEarlier = 3

// earlierLogs reads the newest of the earlier matches that a stored match has. One that
// cannot be read is left out, with a note: it must not stop the comparison.
func (j *job) earlierLogs(h *home.Home, note func(string, ...any)) []analysis.Earlier {
	var out []analysis.Earlier
	for _, r := range j.history[max(0, len(j.history)-mostEarlier):] {
		id := schemas.MatchID{Season: r.Match.Season, Event: r.Match.Event, Match: r.Match.Match, Robot: r.Match.Robot}
		old, _, err := loadStored(h, id, j.profile)
		if err != nil {
			note("%s is left out of the comparison: %v", id, err)
			continue
		}
		out = append(out, analysis.Earlier{Log: old.log, Report: r})
	}
	return out
}

// compareFor compares passes of stored matches for the pages.
func compareFor(h *home.Home, log *slog.Logger) viewer.CompareFunc {
	return func(_ context.Context, id schemas.MatchID, piece int, at string) (*schemas.Comparison, error) {
		j, _, err := loadStored(h, id, nil)
		if err != nil {
			return nil, err
		}
		if j.history, err = earlier(h, id, j.at, j.stored); err != nil {
			return nil, err
		}
		c, err := analysis.Compare(j.input(), piece, at, j.earlierLogs(h, func(format string, args ...any) { log.Warn(fmt.Sprintf(format, args...)) }))
		var wrong *compare.PassError
		if errors.As(err, &wrong) {
			return nil, &viewer.AskError{Err: err}
		}
		return c, err
	}
}
