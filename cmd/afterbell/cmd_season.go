package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/analysis/season"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/tables"
)

func (a *app) seasonCommand() *cobra.Command {
	var year string
	var asJSON bool
	c := &cobra.Command{
		Use:   "season ROBOT",
		Short: "Say whether a robot gets better over its matches",
		Long: `Season looks at all stored matches of a robot in a season: cycle time, jams by stage,
battery resistance, lowest voltage, time to level, autonomous score. For each it says
whether its level changed and since which match, whether it drifts, or what change would
have been seen. All measures together are told of a change that is none in one season of
twenty. What the crew denied (afterbell verdict) is left out.

` + exitHelp,
		Example: "  afterbell season heron\n  afterbell season heron --season 2031 --json",
		Args:    oneArg("a robot"),
		RunE: func(_ *cobra.Command, args []string) error {
			h, err := home.Open(a.dataDir)
			if err != nil {
				return err
			}
			s, skipped, err := lookAtSeason(h, args[0], year)
			if err != nil {
				return err
			}
			for _, id := range skipped {
				a.note("%s has no report that can be read and is left out; `afterbell verify --rebuild %s` makes it again", id, id)
			}
			if asJSON {
				return a.printJSON(s)
			}
			return a.printSeason(s)
		},
	}
	c.Flags().StringVar(&year, "season", "", "`season`; the robot's newest when left out")
	c.Flags().BoolVar(&asJSON, "json", false, "print the season as JSON")
	return c
}

// seasonRow is a match on its way into the season.
type seasonRow struct {
	order string
	name  schemas.SeasonMatch
	match season.Match
}

// lookAtSeason reads the tables of a robot's matches and looks at them together. skipped are
// matches that could not be read.
func lookAtSeason(h *home.Home, robot, year string) (out schemas.Season, skipped []schemas.MatchID, err error) {
	all, err := h.List()
	if err != nil {
		return out, nil, err
	}
	ids, err := ofSeason(all, robot, year)
	if err != nil {
		return out, nil, err
	}
	var rows []seasonRow
	for _, id := range ids {
		row, counts, err := readSeasonRow(h, id)
		switch {
		case err != nil:
			skipped = append(skipped, id)
		case counts:
			rows = append(rows, row)
		}
	}
	slices.SortStableFunc(rows, func(a, b seasonRow) int { return cmp.Compare(a.order, b.order) })
	var names []schemas.SeasonMatch
	var matches []season.Match
	for _, r := range rows {
		names, matches = append(names, r.name), append(matches, r.match)
	}
	return season.Look(robot, names, matches), skipped, nil
}

// ofSeason are the matches of the robot in the season, or in its newest one.
func ofSeason(all []schemas.MatchID, robot, year string) ([]schemas.MatchID, error) {
	var robots []string
	var ids []schemas.MatchID
	newest := ""
	for _, id := range all {
		if !slices.Contains(robots, id.Robot) {
			robots = append(robots, id.Robot)
		}
		if id.Robot == robot && (year == "" || id.Season == year) {
			ids, newest = append(ids, id), max(newest, id.Season)
		}
	}
	if len(ids) == 0 {
		in := ""
		if year != "" {
			in = " in season " + year
		}
		if len(robots) == 0 {
			return nil, fmt.Errorf("no match of %q%s is stored: the data folder is empty; import one with `afterbell import`", robot, in)
		}
		slices.Sort(robots)
		return nil, fmt.Errorf("no match of %q%s is stored; there are matches of %s", robot, in, strings.Join(robots, ", "))
	}
	return slices.DeleteFunc(ids, func(id schemas.MatchID) bool { return id.Season != newest }), nil
}

// readSeasonRow is what counts of a match. A match that was not analyzed, or is a stretch of
// another, does not count. Where the crew spoke the tables are made again from the report,
// without what it denied.
func readSeasonRow(h *home.Home, id schemas.MatchID) (row seasonRow, counts bool, err error) {
	dir := h.Dir(id)
	if _, err := os.Stat(filepath.Join(dir, reportFile)); errors.Is(err, fs.ErrNotExist) || strings.HasPrefix(id.Match, idlePrefix) {
		return row, false, nil
	}
	m, err := tables.ReadMatch(dir)
	if err != nil {
		return row, false, err
	}
	stages, err := tables.Read[tables.Stage](filepath.Join(dir, tables.StagesFile))
	if err != nil {
		return row, false, err
	}
	notes, err := h.Notes(id)
	if err != nil {
		return row, false, err
	}
	if verdicts, _ := crew.Parse(notes); len(verdicts) > 0 {
		r, err := readReport(h, id)
		if err != nil {
			return row, false, err
		}
		m, stages = tables.Rows(crew.Believed(r, crew.Judged(r, verdicts)))
	}
	if m.CutFrom != nil {
		return row, false, nil
	}
	var at *string
	if m.At != nil {
		text := time.UnixMicro(*m.At).UTC().Format(time.RFC3339Nano)
		at = &text
	}
	stored := ""
	if m.StoredAt != nil {
		stored = time.UnixMicro(*m.StoredAt).UTC().Format(time.RFC3339Nano)
	}
	row.order = orderKey(at, stored)
	row.name = schemas.SeasonMatch{Season: id.Season, Event: id.Event, Match: id.Match, At: at}
	row.match = season.Match{
		CycleS: m.CycleS, ResistanceOhm: m.ResistanceOhm, ResistanceLow: m.ResistanceLowOhm, ResistanceHigh: m.ResistanceHighOhm,
		LowestV: m.LowestV, BalanceSettleS: m.BalanceSettleS,
	}
	if m.Battery != nil {
		row.match.Battery = *m.Battery
	}
	if m.BalanceAttempts != nil && m.BalanceLevel != nil {
		row.match.Attempts, row.match.Level = int(*m.BalanceAttempts), int(*m.BalanceLevel)
	}
	if m.AutonomousPieces != nil {
		n := int(*m.AutonomousPieces)
		row.match.AutonomousPieces = &n
	}
	for _, s := range stages {
		row.match.Stages = append(row.match.Stages, season.Stage{Name: s.Stage, Passes: int(s.Passes), Jams: int(s.Jams)})
	}
	return row, true, nil
}

// printSeason says it in lines.
func (a *app) printSeason(s schemas.Season) error {
	first := ""
	if n := len(s.Matches); n > 0 {
		first = fmt.Sprintf(", season %s, from %s/%s to %s/%s", s.Matches[0].Season, s.Matches[0].Event, s.Matches[0].Match, s.Matches[n-1].Event, s.Matches[n-1].Match)
	}
	fmt.Fprintf(a.stdout, "%s: %d matches%s\n\n", s.Robot, len(s.Matches), first)
	wide := 0
	for _, m := range s.Measures {
		wide = max(wide, len(m.Name))
	}
	for _, m := range s.Measures {
		fmt.Fprintf(a.stdout, "%-*s  %s\n", wide, m.Name, m.Note)
	}
	_, err := fmt.Fprintln(a.stdout, "\nA change since a match is not yet a change because of it. This informs; it does not say that a robot is safe.")
	return err
}
