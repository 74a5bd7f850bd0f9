package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/clip"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer/sheet"
)

type analyzeOptions struct {
	profile, failOn      string
	html, figures        string
	explain, compare, at string
	nth                  int
	match, again         bool
	skipBadRows, json    bool
}

func (a *app) analyzeCommand() *cobra.Command {
	var o analyzeOptions
	c := &cobra.Command{
		Use:   "analyze FILE|MATCH",
		Short: "Say what happened in a match",
		Long: `Analyze reads a log file and a profile, or a stored match (EVENT/MATCH/ROBOT, with its
season in front when there are several), and prints the sheet. A file needs no data
folder; with --json the report is all that stdout gets. --again stores the new report and
sheet of a stored match in the place of the old ones. --explain prints, in place of the
sheet, the whole reasoning behind one finding, so that you can argue with it;
--compare one pass against this robot's usual one. --figures writes the sheet's pictures
as files for an engineering notebook, in light colours and with text as outlines.

` + exitHelp,
		Example: "  afterbell analyze q14.csv --profile robot.yaml --json\n" +
			"  afterbell analyze millbrook-open/q14/heron --fail-on stop\n" +
			"  afterbell analyze millbrook-open/q14/heron --figures notebook\n" +
			"  afterbell analyze millbrook-open/q14/heron --explain jam-lift-1\n" +
			"  afterbell analyze millbrook-open/q14/heron --compare 8 --at throat --json",
		Args: oneArg("a log file or a match"),
		RunE: func(c *cobra.Command, args []string) error { return a.runAnalyze(c.Context(), args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.profile, "profile", "", "robot `profile` (robot.yaml); a stored match has its own")
	f.BoolVar(&o.json, "json", false, "print the report as JSON")
	f.StringVar(&o.html, "html", "", "also write the sheet to this `file`")
	f.StringVar(&o.figures, "figures", "", "also write every picture of the sheet into this `folder`, as SVG, PNG and PDF")
	f.StringVar(&o.explain, "explain", "", "print the reasoning behind the finding of this `id`")
	f.StringVar(&o.compare, "compare", "", "lay the pass of this `piece` (its number) over the good passes")
	f.StringVar(&o.at, "at", "", "`stage` at which --compare aligns the passes")
	f.StringVar(&o.failOn, "fail-on", "", "exit with 3 when there are findings of this `severity` or worse: stop, fix or watch")
	f.BoolVar(&o.match, "match", false, "take the argument as a match even when such a file exists")
	f.BoolVar(&o.again, "again", false, "store the new report of a stored match")
	f.BoolVar(&o.skipBadRows, "skip-bad-rows", false, "leave bad rows of a file out, and say how many")
	f.IntVar(&o.nth, "nth", 0, "which match of a file that holds several, from 1")
	return c
}

func (a *app) runAnalyze(ctx context.Context, what string, o analyzeOptions) error {
	if o.failOn != "" && schemas.SeverityRank(o.failOn) == schemas.SeverityRank(schemas.SeverityNone) {
		return usagef("--fail-on %q is no severity: use stop, fix or watch", o.failOn)
	}
	switch {
	case o.explain != "" && o.compare != "":
		return usagef("--explain and --compare exclude each other")
	case o.at != "" && o.compare == "":
		return usagef("--at names where --compare aligns the passes: give --compare PIECE too")
	}
	j, r, err := a.analyzed(ctx, what, o)
	if err != nil {
		return err
	}
	if o.html != "" {
		if err := replaceFile(o.html, j.files(r)[schemas.SheetFile]); err != nil {
			return err
		}
	}
	if o.figures != "" {
		if err := a.writeFigures(o.figures, j, r); err != nil {
			return err
		}
	}
	switch {
	case o.explain != "":
		err = a.explainFinding(j, o.explain, o.json)
	case o.compare != "":
		err = a.comparePass(j, o.compare, o.at, o.json)
	case o.json:
		err = writeReport(a.stdout, r)
	default:
		err = sheet.Text(a.stdout, r, a.said(j, r), 80, isTerminal(a.stdout))
	}
	if err != nil {
		return err
	}
	if o.failOn != "" {
		for _, f := range r.Findings {
			if schemas.SeverityRank(f.Severity) <= schemas.SeverityRank(o.failOn) {
				return errFindings
			}
		}
	}
	return nil
}

// analyzed makes the report of a file, or of a stored match.
func (a *app) analyzed(ctx context.Context, what string, o analyzeOptions) (*job, *schemas.Report, error) {
	var prof *robotProfile
	if o.profile != "" {
		var err error
		if prof, err = readProfile(o.profile); err != nil {
			return nil, nil, err
		}
	}
	if _, err := os.Stat(what); err == nil && !o.match {
		if o.again {
			return nil, nil, usagef("--again is for a stored match; %s is a file", what)
		}
		j, err := a.fileJob(ctx, what, prof, o)
		if err != nil {
			return nil, nil, err
		}
		r, err := j.analyze()
		return j, r, err
	}
	h, err := home.Open(a.dataDir)
	if err != nil {
		return nil, nil, fmt.Errorf("%s is no file, and there is no data folder to look for a match in: %w", what, err)
	}
	id, err := h.Find(what)
	var unknown *home.NotFoundError
	if errors.As(err, &unknown) && !o.match {
		return nil, nil, fmt.Errorf("%s is no file, and %w", what, err)
	} else if err != nil {
		return nil, nil, err
	}
	if o.again {
		return a.again(h, id, prof)
	}
	j, sum, err := loadStored(h, id, prof)
	if err != nil {
		return nil, nil, err
	}
	if j.history, err = earlier(h, id, j.at, j.stored); err != nil {
		return nil, nil, err
	}
	r, err := j.analyzeWithSum(sum)
	return j, r, err
}

// fileJob reads a log file into a job; the match has the file's name.
func (a *app) fileJob(ctx context.Context, path string, prof *robotProfile, o analyzeOptions) (*job, error) {
	if clip.Is(path) {
		j, _, err := a.clipJob(path, importOptions{profile: o.profile})
		return j, err
	}
	if prof == nil {
		return nil, usagef("--profile is missing: name the robot.yaml that says what the signals of %s mean", path)
	}
	log, _, err := a.readLog(ctx, []string{path}, o.skipBadRows)
	if err != nil {
		return nil, err
	}
	matches, err := analysis.Inputs(prof.Profile, log)
	if err != nil {
		return nil, usageError{err}
	}
	nth := o.nth
	switch {
	case nth == 0 && len(matches) == 1:
		nth = 1
	case nth == 0:
		return nil, usagef("%s holds %d matches: choose one with --nth, or import it", path, len(matches))
	case nth < 0 || nth > len(matches):
		return nil, usagef("--nth %d: %s holds %d", nth, path, len(matches))
	}
	name, _, err := schemas.TidyName("match", stem(path))
	if err != nil {
		name = "log"
	}
	m := matches[nth-1]
	return &job{id: schemas.MatchID{Match: name, Robot: prof.Robot}, log: m.Log, match: m.Match, profile: prof}, nil
}

// again analyzes a stored match and stores the result in the place of the old one.
func (a *app) again(h *home.Home, id schemas.MatchID, prof *robotProfile) (*job, *schemas.Report, error) {
	lock, err := h.Lock()
	if err != nil {
		return nil, nil, err
	}
	defer lock.Unlock()
	j, sum, err := loadStored(h, id, prof)
	if err != nil {
		return nil, nil, err
	}
	if j.history, err = earlier(h, id, j.at, j.stored); err != nil {
		return nil, nil, err
	}
	r, err := j.renew(h, sum)
	return j, r, err
}
