package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/analysis/season"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/parts"
	"github.com/afterbell/afterbell/schemas/rollup"
	"github.com/afterbell/afterbell/viewer"
)

func (a *app) seasonCommand() *cobra.Command {
	var year, trial string
	var asJSON bool
	var files seasonFiles
	c := &cobra.Command{
		Use:   "season ROBOT [--trial A B]",
		Short: "Say whether a robot gets better over its matches",
		Long: `Season looks at all stored matches of a robot in a season: cycle time, jams by stage,
battery resistance, lowest voltage, time to level, autonomous score. For each it says
whether its level changed and since which match, whether it drifts, or what change would
have been seen. All measures together are told of a change that is none in one season of
twenty. What the crew denied (afterbell verdict) is left out. Sessions of practice, which
are those of events with that word in their name, are a kind of their own.

With --trial it compares two versions that were run in turns, A and B: add an entry to the
parts log before each turn, and name A and B by its words. What is said then holds however often
you look, so that you may stop when it is settled.

` + exitHelp,
		Example: "  afterbell season heron\n  afterbell season heron --season 2031 --json\n  afterbell season heron --format parquet --out heron.parquet --figures notebook\n  afterbell season heron --trial \"soft belt\" \"ribbed belt\"",
		Args: func(c *cobra.Command, args []string) error {
			if !c.Flags().Changed("trial") {
				return oneArg("a robot")(c, args)
			}
			if len(args) != 2 {
				return usagef("a trial takes a robot and two entries of its parts log: season ROBOT --trial A B")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			h, err := home.Open(a.dataDir)
			if err != nil {
				return err
			}
			if err := files.check(a, asJSON, trial != ""); err != nil {
				return err
			}
			if trial != "" {
				return a.trial(h, args[0], year, trial, args[1], asJSON)
			}
			s, notes, err := lookAtSeason(h, args[0], year)
			if err != nil {
				return err
			}
			for _, n := range notes {
				a.note("%s", n)
			}
			if files.figures != "" {
				if err := a.writeSeasonFigures(files.figures, &s); err != nil {
					return err
				}
			}
			switch {
			case asJSON:
				return s.WriteJSON(a.stdout)
			case files.format != "":
				return files.write(a, &s)
			}
			return a.printSeason(s)
		},
	}
	c.Flags().StringVar(&year, "season", "", "`season`; the robot's newest when left out")
	c.Flags().StringVar(&trial, "trial", "", "compare two versions that were run in turns, `A B`, by the words of their entries in the parts log")
	c.Flags().BoolVar(&asJSON, "json", false, "print the season as JSON")
	c.Flags().StringVar(&files.format, "format", "", "write every point as csv or parquet instead")
	c.Flags().StringVar(&files.out, "out", "", "write them to this `file`; standard output when left out")
	c.Flags().StringVar(&files.figures, "figures", "", "write every picture of the season into this `folder`, as SVG, PNG and PDF")
	return c
}

// seasonFor looks at seasons for the pages.
func seasonFor(h *home.Home) viewer.SeasonFunc {
	return func(robot, year string) (schemas.Season, []string, error) { return lookAtSeason(h, robot, year) }
}

// trialFor compares two versions for the pages.
func trialFor(h *home.Home) viewer.TrialFunc {
	return func(robot, year, first, second string) (schemas.Trial, error) {
		t, _, err := compareInTurns(h, robot, year, first, second)
		return t, err
	}
}

// seasonRow is a match on its way into the season.
type seasonRow struct {
	order string
	when  time.Time
	name  schemas.SeasonMatch
	match season.Match
}

// seasonRead is what is stored of a robot's season: its matches in order of time, and its parts log.
type seasonRead struct {
	names   []schemas.SeasonMatch
	matches []season.Match
	changed []season.Changed
	notes   []string // what could not be read
}

func readSeason(h *home.Home, robot, year string) (out seasonRead, err error) {
	all, err := h.List()
	if err != nil {
		return out, err
	}
	ids, err := inSeason(all, "of", robot, year, func(id schemas.MatchID) string { return id.Robot })
	if err != nil {
		return out, err
	}
	var rows []seasonRow
	events, notes := readCounted(h, ids)
	out.notes = notes
	for _, e := range events {
		for _, r := range e.Rows {
			rows = append(rows, seasonRowOf(e.Season, e.Event, r))
		}
	}
	slices.SortStableFunc(rows, func(a, b seasonRow) int { return cmp.Compare(a.order, b.order) })
	for _, r := range rows {
		out.names, out.matches = append(out.names, r.name), append(out.matches, r.match)
	}
	changed, bad, err := changedParts(h, robot, ids[0].Season, rows)
	out.changed, out.notes = changed, append(out.notes, bad...)
	return out, err
}

// lookAtSeason reads the tables of a robot's matches and its parts log and looks at them together.
// notes say what could not be read.
func lookAtSeason(h *home.Home, robot, year string) (out schemas.Season, notes []string, err error) {
	read, err := readSeason(h, robot, year)
	if err != nil {
		return out, nil, err
	}
	return season.Look(robot, read.names, read.matches, read.changed), read.notes, nil
}

// compareInTurns reads what lookAtSeason reads, and compares two versions that were run in turns.
func compareInTurns(h *home.Home, robot, year, first, second string) (out schemas.Trial, notes []string, err error) {
	read, err := readSeason(h, robot, year)
	if err != nil {
		return out, nil, err
	}
	out, err = season.Compare(robot, first, second, read.names, read.matches, read.changed)
	if err != nil {
		return out, read.notes, usageError{err}
	}
	return out, read.notes, nil
}

// trial prints what comes of two versions that were run in turns.
func (a *app) trial(h *home.Home, robot, year, first, second string, asJSON bool) error {
	t, notes, err := compareInTurns(h, robot, year, first, second)
	for _, n := range notes {
		a.note("%s", n)
	}
	if err != nil {
		return err
	}
	if asJSON {
		return t.WriteJSON(a.stdout)
	}
	return a.printTrial(t)
}

func (a *app) printTrial(t schemas.Trial) error {
	fmt.Fprintf(a.stdout, "%s: A is “%s” with %d runs, B is “%s” with %d, %d turns\n%s\n\n", t.Robot, t.A.Text, len(t.A.Runs), t.B.Text, len(t.B.Runs), t.Turns, t.Headline)
	wide := 0
	for _, m := range t.Measures {
		wide = max(wide, len(m.Name))
	}
	for _, m := range t.Measures {
		fmt.Fprintf(a.stdout, "%-*s  %s\n", wide, m.Name, m.Note)
	}
	for _, n := range t.Notes {
		fmt.Fprintln(a.stdout, n)
	}
	_, err := fmt.Fprintln(a.stdout, "\nB less A. Intervals are 95 % and hold however often you look. This informs; it does not say that a robot is safe.")
	return err
}

// changedParts are the entries of the parts log that lie in a season, each placed before the
// first match since. A season that is named as a year holds those of that year, another all.
func changedParts(h *home.Home, robot, year string, rows []seasonRow) (out []season.Changed, notes []string, err error) {
	data, err := h.Parts(robot)
	if err != nil {
		return nil, nil, err
	}
	entries, bad := parts.Parse(data, time.Local)
	for _, b := range bad {
		notes = append(notes, fmt.Sprintf("%s, %v; the line is left out", h.PartsFile(robot), b))
	}
	if n, err := strconv.Atoi(year); err == nil {
		entries = slices.DeleteFunc(entries, func(e parts.Entry) bool { return e.At.Year() != n })
	}
	for i, e := range entries {
		c := season.Changed{Letter: parts.Letter(i), Kind: e.Kind, Text: e.Text, At: e.At.Format("2006-01-02 15:04")}
		if e.Day {
			c.At = e.At.Format(time.DateOnly)
		}
		for c.Index < len(rows) && rows[c.Index].when.Before(e.At) {
			c.Index++
		}
		out = append(out, c)
	}
	return out, notes, nil
}

// seasonRowOf is a match on its way into the season.
func seasonRowOf(year, event string, r rollup.Row) (row seasonRow) {
	var at *string
	stored := ""
	if r.StoredAt != nil {
		row.when = time.UnixMicro(*r.StoredAt)
		stored = row.when.UTC().Format(time.RFC3339Nano)
	}
	if r.At != nil {
		row.when = time.UnixMicro(*r.At)
		text := row.when.UTC().Format(time.RFC3339Nano)
		at = &text
	}
	row.order = orderKey(at, stored)
	row.name = schemas.SeasonMatch{Season: year, Event: event, Match: r.Name, At: at}
	row.match = season.MatchOf(event, r.Match, r.Stages, r.Mechanisms)
	return row
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
	still := 0
	for _, m := range s.Measures {
		if m.Wear && !m.Says() {
			still++
			continue
		}
		fmt.Fprintf(a.stdout, "%-*s  %s\n", wide, m.Name, m.Note)
	}
	if g := s.Growth; g != nil {
		fmt.Fprintf(a.stdout, "%-*s  %s\n", wide, "all jams", g.Note)
	}
	if still > 0 {
		fmt.Fprintf(a.stdout, "%-*s  nothing to see in %d more measures of wear; --json has them\n", wide, "wear", still)
	}
	fmt.Fprintln(a.stdout)
	for _, d := range s.Drivers {
		name := cmp.Or(d.Name, "before the first driver in the parts log")
		if len(s.Drivers) == 1 && d.Name == "" {
			name = "driven"
		}
		fmt.Fprintf(a.stdout, "%s: %.1f h in %d matches, %.1f h in %d sessions of practice\n", name, d.MatchHours, d.Matches, d.PracticeHours, d.Sessions)
	}
	for _, p := range s.Parts {
		fmt.Fprintf(a.stdout, "%s  %s  %s\n", p.Letter, p.At, p.Text)
		for _, line := range season.PartWords(p) {
			fmt.Fprintf(a.stdout, "     %s\n", line)
		}
	}
	_, err := fmt.Fprintln(a.stdout, "\nA change since a match is not yet a change because of it. This informs; it does not say that a robot is safe.")
	return err
}
