package score

import (
	"context"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"github.com/afterbell/afterbell/analysis/season"
	"github.com/afterbell/afterbell/sample-logs/sim"
	derived "github.com/afterbell/afterbell/schemas/tables"
)

// SeasonCase is a season to score: what counts of its matches, and what changed.
type SeasonCase struct {
	Matches []season.Match
	Changes []SeasonTruth
	// Unsteady are measures that change with what nobody changed.
	Unsteady []string
}

// SeasonTruth is something that changed, and by how much where that is known.
type SeasonTruth struct {
	sim.Change
	Size *float64 // of a step: after less before
}

// SeasonSubject is the subject of whole seasons, which are no matches and so not among Subjects.
func SeasonSubject() Subject {
	return Subject{Name: "season", Title: "changes over a season", Figures: seasonFigures()}
}

func seasonFigures() []Figure {
	return []Figure{
		{Name: "changes found, steps within two matches", Kind: Rate, Leads: true},
		{Name: "steps found within two matches", Kind: Rate, Leads: true},
		{Name: "jam rate: step found within two matches", Kind: Rate},
		{Name: "time to level: step found within two matches", Kind: Rate},
		{Name: "cycle time: step found within two matches", Kind: Rate},
		{Name: "steps found, anywhere", Kind: Rate},
		{Name: "drifts found", Kind: Rate, Leads: true},
		{Name: "resistance: drift found", Kind: Rate},
		{Name: "cycle time: drift found", Kind: Rate},
		{Name: "wear before a jam found", Kind: Rate},
		{Name: "place of a step found, off by", Kind: Error, Unit: "matches"},
		{Name: "interval of the place holds truth", Kind: Rate, Nominal: 0.95, Leads: true},
		{Name: "places in the interval, less one", Kind: Error, Unit: "matches"},
		{Name: "false changes a season", Kind: Per, Unit: "season", Leads: true, Small: true},
		{Name: "seasons with a false change", Kind: Rate, Small: true},
		{Name: "false running alarms a season", Kind: Per, Unit: "season", Small: true},
		{Name: "changes said besides, of what changed", Kind: Per, Unit: "season", Small: true},
		{Name: "other measures that moved with it", Kind: Per, Unit: "season"},
		{Name: "interval of a step holds truth", Kind: Rate, Nominal: 0.95, Leads: true},
		{Name: "interval of a drift holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "before and since holds truth", Kind: Rate, Nominal: 0.95, Leads: true},
		{Name: "step, off by", Kind: Error, Unit: "%"},
		{Name: "drift, off by", Kind: Error, Unit: "%"},
	}
}

// scoreSeason compares what a season tells with what changed in it.
func scoreSeason(c *SeasonCase) *Tally {
	t := newTally()
	all := season.Measures(c.Matches)
	facts := season.Describe(all)
	touched := func(name string) bool {
		return slices.Contains(c.Unsteady, name) || slices.ContainsFunc(c.Changes, func(x SeasonTruth) bool {
			return x.Measure == name || slices.ContainsFunc(x.Touches, func(by string) bool {
				return name == by || strings.HasPrefix(name, by+"/")
			})
		})
	}
	changed := func(name string) bool {
		return slices.ContainsFunc(c.Changes, func(x SeasonTruth) bool { return x.Measure == name })
	}
	wrong, moved, alarms := 0.0, 0.0, 0.0
	for i := range all {
		name, f := all[i].Name, &facts[i]
		said := len(f.Changes)
		if f.Drift != nil {
			said++
		}
		switch {
		case changed(name):
			t.add("changes said besides, of what changed", math.Max(0, float64(said-1)), 0)
		case touched(name):
			moved += math.Min(1, float64(said))
		default:
			if said > 0 {
				wrong++
				t.lose(1, "false change", "%s is said to have changed", name)
			}
			if f.Alarm != nil {
				alarms++
			}
		}
	}
	t.add("false changes a season", wrong, 1)
	t.hit("seasons with a false change", wrong > 0)
	t.add("false running alarms a season", alarms, 1)
	t.add("other measures that moved with it", moved, 1)
	t.add("changes said besides, of what changed", 0, 1)
	for _, x := range c.Changes {
		i := slices.IndexFunc(all, func(s season.Series) bool { return s.Name == x.Measure })
		if i < 0 {
			t.lose(1, "no such measure", "%s has no reading", x.Measure)
			continue
		}
		scoreChange(t, x, &all[i], &facts[i])
	}
	return t
}

// subjectOf names a measure in the figures.
func subjectOf(measure string) string {
	kind, _, _ := strings.Cut(measure, "/")
	return map[string]string{
		"jam_rate": "jam rate", "balance_settle_s": "time to level", "cycle_s": "cycle time", "resistance_ohm": "resistance",
	}[kind]
}

func scoreChange(t *Tally, x SeasonTruth, s *season.Series, f *season.Facts) {
	right := func(by float64) bool { return by > 0 == x.Up }
	any := f.Drift != nil && right(f.Drift.PerMatch)
	near, off := false, 0
	place := 0
	for place < len(s.Index) && s.Index[place] < x.Match {
		place++
	}
	var found *season.Change
	for k := range f.Changes {
		c := &f.Changes[k]
		if !right(c.After - c.Before) {
			continue
		}
		any = true
		if d := c.At - place; found == nil || abs(d) < abs(off) {
			found, off, near = c, d, abs(d) <= 2
		}
	}
	switch {
	case strings.HasPrefix(x.Measure, "free_current_a/"):
		t.hit("wear before a jam found", any)
		return
	case x.Drifts:
		t.hit("changes found, steps within two matches", any)
		t.hit("drifts found", any)
		t.hit(subjectOf(x.Measure)+": drift found", any)
		if f.Drift != nil && x.PerMatch != 0 {
			t.hit("interval of a drift holds truth", f.Drift.Low <= x.PerMatch && x.PerMatch <= f.Drift.High)
			t.value("drift, off by", 100*(f.Drift.PerMatch/x.PerMatch-1))
		}
		if !any {
			t.lose(1, "drift not found", "%s: %s", x.Measure, x.What)
		}
		return
	}
	t.hit("changes found, steps within two matches", near)
	t.hit("steps found within two matches", near)
	t.hit(subjectOf(x.Measure)+": step found within two matches", near)
	t.hit("steps found, anywhere", any)
	if found != nil {
		t.value("place of a step found, off by", float64(off))
		t.hit("interval of the place holds truth", found.Earliest <= place && place <= found.Latest)
		t.value("places in the interval, less one", float64(found.Latest-found.Earliest))
	}
	if !near {
		t.lose(1, "step not found", "%s from match %d: %s", x.Measure, x.Match+1, x.What)
	}
	if x.Size == nil {
		return
	}
	if near && len(f.Changes) == 1 && f.Drift == nil {
		t.hit("interval of a step holds truth", found.Less <= *x.Size && *x.Size <= found.More)
		t.value("step, off by", 100*(found.After-found.Before-*x.Size)/math.Abs(*x.Size))
	}
	if e, ok := season.Since(s, f, x.Match); ok { // as an entry of the parts log would have it
		t.hit("before and since holds truth", e.Less <= *x.Size && *x.Size <= e.More)
	}
}

func abs(v int) int { return max(v, -v) }

// SeasonOptions say which seasons are scored.
type SeasonOptions struct {
	From    uint64
	Seeds   int
	Bank    int // matches of each kind to draw seasons from; 0 plays every match of every season
	Workers int
	// Progress is told of matches played.
	Progress func(done, of int)
}

// RunSeasons scores seasons. With a bank each match is drawn from those played of its kind, so
// that many seasons cost little and the size of each change is that between two kinds, exactly;
// they have one change at most. Without one everything is played and analyzed, signal by signal.
func RunSeasons(ctx context.Context, o SeasonOptions) (*Result, error) {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	all := make([]played, o.Seeds)
	hours := func(matches []season.Match) float64 {
		sum := 0.0
		for _, m := range matches {
			sum += m.RunS / 3600
		}
		return sum
	}
	var draw func(seed uint64) (*SeasonCase, error)
	if o.Bank > 0 {
		b, err := newBank(ctx, o)
		if err != nil {
			return nil, err
		}
		draw = b.season
	} else {
		draw = func(seed uint64) (*SeasonCase, error) { return playSeason(ctx, o, seed) }
	}
	for i := range all {
		p := &all[i]
		p.seed = o.From + uint64(i)
		c, err := draw(p.seed)
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case err != nil:
			p.failure = err.Error()
			continue
		}
		for _, x := range c.Changes {
			p.conditions = append(p.conditions, x.What)
		}
		p.hours, p.tallies = hours(c.Matches), map[string]*Tally{"season": scoreSeason(c)}
		if o.Bank == 0 && o.Progress != nil {
			o.Progress(i+1, o.Seeds)
		}
	}
	return sumUp(Options{Scenario: "season", From: o.From, Seeds: o.Seeds}, []Subject{SeasonSubject()}, all), nil
}

// playSeason plays and analyzes every match of a season.
func playSeason(ctx context.Context, o SeasonOptions, seed uint64) (*SeasonCase, error) {
	s := sim.NewSeason(seed)
	rows, err := playAll(ctx, o.Workers, s.Matches)
	if err != nil {
		return nil, err
	}
	out := &SeasonCase{Matches: rows, Unsteady: s.Unsteady}
	for _, c := range s.Changes {
		out.Changes = append(out.Changes, SeasonTruth{Change: c})
	}
	return out, nil
}

// playAll plays and analyzes matches, some at a time.
func playAll(ctx context.Context, workers int, matches []sim.Options) ([]season.Match, error) {
	rows, errs := make([]season.Match, len(matches)), make([]error, len(matches))
	next := make(chan int)
	var wait sync.WaitGroup
	for range workers {
		wait.Go(func() {
			for i := range next {
				rows[i], errs[i] = playRow(matches[i])
			}
		})
	}
	for i := range matches {
		if ctx.Err() == nil {
			next <- i
		}
	}
	close(next)
	wait.Wait()
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("match %d: %w", i+1, err)
		}
	}
	return rows, ctx.Err()
}

func playRow(o sim.Options) (row season.Match, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panicked: %v", p)
		}
	}()
	m, err := sim.RunOptions(o)
	if err != nil {
		return row, err
	}
	c, _, err := caseOf(m)
	if err != nil {
		return row, err
	}
	match, stages, mechanisms := derived.Rows(c.Got)
	return season.MatchOf(o.Event, match, stages, mechanisms), nil
}

// SeasonsText writes the score of seasons for people to read.
func SeasonsText(w io.Writer, r *Result, bank int) error {
	p := &printer{w: w}
	how := "every match played and analyzed"
	if bank > 0 {
		how = fmt.Sprintf("each match drawn from %d played and analyzed of its kind", bank)
	}
	p.line("%d seasons of forty matches, %s, seeds %d to %d. Intervals are 95 %%: Wilson for shares, Garwood for events.", r.Seeds, how, r.From, r.From+uint64(r.Seeds)-1)
	for _, s := range r.Subjects {
		p.subject(s)
	}
	for _, f := range r.Failures {
		p.line("seed %d: %s", f.Seed, f.Why)
	}
	return p.err
}
