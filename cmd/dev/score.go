package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/cmd/dev/score"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

// score plays simulated matches and says how well the analyses did.
func (d *dev) score(args []string) error {
	o, asJSON, against, err := scoreOptions(args)
	if err != nil {
		return usageError{err}
	}
	if o.Subject == seasons {
		return d.scoreSeasons(o, asJSON, against)
	}
	var before *score.Result
	if against != "" { // read before the work, so that a wrong name shows at once
		if before, err = readScore(against); err != nil {
			return err
		}
	}
	o.Progress = func(done, of int) {
		if done%20 == 0 || done == of {
			d.say("%d of %d matches", done, of)
		}
	}
	began := time.Now()
	r, err := score.Run(d.ctx, o.Options)
	if err != nil {
		return err
	}
	d.say("%d matches played and scored in %.0f s", o.Seeds, time.Since(began).Seconds())
	if err := d.writeScore(r, before, asJSON); err != nil {
		return err
	}
	if len(r.Failures) > 0 {
		return fmt.Errorf("%d of %d matches could not be scored", len(r.Failures), r.Seeds)
	}
	return nil
}

// seasons is the subject that is played season by season.
const seasons = "season"

// scoreSeasons plays simulated seasons and says how well what changed in them was found.
func (d *dev) scoreSeasons(o scoreArguments, asJSON bool, against string) error {
	if against != "" || len(o.With) > 0 {
		return usageError{errors.New("score season knows neither --against nor --with")}
	}
	began := time.Now()
	r, err := score.RunSeasons(d.ctx, score.SeasonOptions{From: o.From, Seeds: o.Seeds, Bank: o.bank, Workers: o.Workers, Progress: func(done, of int) {
		d.say("%d of %d", done, of)
	}})
	if err != nil {
		return err
	}
	d.say("%d seasons scored in %.0f s", o.Seeds, time.Since(began).Seconds())
	if asJSON {
		e := json.NewEncoder(d.stdout)
		e.SetEscapeHTML(false)
		err = e.Encode(r)
	} else {
		err = score.SeasonsText(d.stdout, r, o.bank)
	}
	if err == nil && len(r.Failures) > 0 {
		err = fmt.Errorf("%d of %d seasons could not be scored", len(r.Failures), r.Seeds)
	}
	return err
}

// writeScore writes the score, as JSON or to read, and the comparison to read.
func (d *dev) writeScore(r, before *score.Result, asJSON bool) error {
	out := d.stdout
	if asJSON {
		e := json.NewEncoder(d.stdout)
		e.SetEscapeHTML(false)
		if err := e.Encode(r); err != nil {
			return err
		}
		out = d.stderr
	} else if err := score.Text(out, r); err != nil {
		return err
	}
	if before == nil {
		return nil
	}
	changes, seeds, err := score.Changes(before, r)
	if err != nil {
		return err
	}
	return score.ChangesText(out, changes, seeds)
}

// scoreArguments are what is scored, of matches or of seasons.
type scoreArguments struct {
	score.Options
	bank int
}

// scoreOptions reads the arguments; the subject may stand before or behind the flags.
func scoreOptions(args []string) (o scoreArguments, asJSON bool, against string, err error) {
	f := flag.NewFlagSet("score", flag.ContinueOnError)
	f.SetOutput(io.Discard) // a mistake is said once, by the error
	var with string
	f.IntVar(&o.Seeds, "seeds", 200, "how `many` matches")
	f.Uint64Var(&o.From, "from", 1, "the first `seed`, from 1")
	f.StringVar(&o.Scenario, "scenario", sim.Exam, "`name` of the scenario: exam to be judged on, drawn to learn on, or a story")
	f.StringVar(&with, "with", "", "`conditions` on in every match, by name, with commas between")
	f.IntVar(&o.Workers, "workers", 0, "matches at a time; 0 is one for each core")
	f.IntVar(&o.bank, "bank", 0, "of seasons only: play so many `matches` of each kind and draw seasons from them; 0 plays every match of every season")
	f.BoolVar(&asJSON, "json", false, "write the score as JSON")
	f.StringVar(&against, "against", "", "also compare with the score in this JSON `file`")
	o.Subject = "all"
	for rest := args; len(rest) > 0; {
		if !strings.HasPrefix(rest[0], "-") {
			o.Subject, rest = rest[0], rest[1:]
			continue
		}
		if err = f.Parse(rest); errors.Is(err, flag.ErrHelp) {
			var help strings.Builder
			f.SetOutput(&help)
			f.PrintDefaults()
			err = fmt.Errorf("usage: go run ./cmd/dev score [%s|all] [flags]\n%s", strings.Join(subjectNames(), "|"), strings.TrimRight(help.String(), "\n"))
		}
		if err != nil {
			return o, asJSON, against, err
		}
		rest = f.Args()
	}
	if with != "" {
		o.With = strings.Split(with, ",")
	}
	return o, asJSON, against, checkScore(o.Options)
}

func checkScore(o score.Options) error {
	var scenarios, conditions []string
	for _, s := range sim.Scenarios() {
		scenarios = append(scenarios, s.Name)
	}
	for _, c := range sim.Conditions() {
		conditions = append(conditions, c.Name)
	}
	subjects := append(subjectNames(), "all")
	switch {
	case !slices.Contains(subjects, o.Subject):
		return fmt.Errorf("subject %q is not known: use one of %s", o.Subject, strings.Join(subjects, ", "))
	case !slices.Contains(scenarios, o.Scenario):
		return fmt.Errorf("scenario %q is not known: use one of %s", o.Scenario, strings.Join(scenarios, ", "))
	case o.Seeds < 1:
		return fmt.Errorf("--seeds %d: at least one match is needed", o.Seeds)
	case o.From < 1:
		return fmt.Errorf("--from 0: seeds begin at 1, 0 stands for a scenario's own")
	}
	for _, c := range o.With {
		if !slices.Contains(conditions, c) {
			return fmt.Errorf("condition %q is not known: use some of %s", c, strings.Join(conditions, ", "))
		}
	}
	return nil
}

func subjectNames() []string {
	var out []string
	for _, s := range score.Subjects() {
		out = append(out, s.Name)
	}
	return append(out, seasons)
}

// mostScore bytes are read of an earlier score.
const mostScore = 1 << 30

func readScore(path string) (*score.Result, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var r score.Result
	if err := json.NewDecoder(io.LimitReader(f, mostScore)).Decode(&r); err != nil {
		return nil, fmt.Errorf("%s is no score that --json wrote: %w", path, err)
	}
	return &r, nil
}
