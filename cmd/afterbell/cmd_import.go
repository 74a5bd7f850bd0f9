package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/period"
)

type importOptions struct {
	profile, season, event, match, at string
	replace, add, skipBadRows, json   bool
}

func (a *app) importCommand() *cobra.Command {
	var o importOptions
	c := &cobra.Command{
		Use:   "import FILE... --profile robot.yaml",
		Short: "Store logs as matches and make their sheets",
		Long: `Import reads CSV logs (long: time_s,signal,value[,type]; wide: time_s,NAME,NAME [unit],...;
plain, gzip or zstd), stores each match in the data folder and makes its sheet. Several
files with one --match are one match; without it each file is a match of its own name. A
log that holds several matches becomes several. Nothing of a match is stored unless all is.`,
		Example: "  afterbell import q14.csv --profile robot.yaml --event millbrook-open\n" +
			"  afterbell import main.csv aux.csv.gz --match q14 --profile robot.yaml --at 2031-03-01T14:32:00Z",
		Args: someArgs(1, "a log file"),
		RunE: func(c *cobra.Command, files []string) error { return a.runImport(c.Context(), files, o) },
	}
	f := c.Flags()
	f.StringVar(&o.profile, "profile", "", "robot `profile` (robot.yaml); needed")
	f.StringVar(&o.season, "season", "", "`season`; this year when left out")
	f.StringVar(&o.event, "event", "practice", "`event`")
	f.StringVar(&o.match, "match", "", "`match`; the file's name when left out")
	f.StringVar(&o.at, "at", "", "wall clock of the match's start, RFC 3339 `time`")
	f.BoolVar(&o.replace, "replace", false, "put this in the place of a match that exists")
	f.BoolVar(&o.add, "add", false, "add these samples to a match that exists")
	f.BoolVar(&o.skipBadRows, "skip-bad-rows", false, "leave bad rows out, and say how many")
	f.BoolVar(&o.json, "json", false, "machine output")
	return c
}

// imported is one stored match, as import --json lists it.
type imported struct {
	Season      string `json:"season"`
	Event       string `json:"event"`
	Match       string `json:"match"`
	Robot       string `json:"robot"`
	Samples     int    `json:"samples"`
	Signals     int    `json:"signals"`
	SkippedRows int    `json:"skipped_rows"`
	Severity    string `json:"severity"`
	Verdict     string `json:"verdict"`
	Folder      string `json:"folder"`
}

func (a *app) runImport(ctx context.Context, files []string, o importOptions) error {
	base, prof, err := a.importTarget(o)
	if err != nil {
		return err
	}
	h, err := home.Create(a.dataDir)
	if err != nil {
		return err
	}
	lock, err := h.Lock()
	if err != nil {
		return err
	}
	defer lock.Unlock()

	groups := [][]string{files}
	if o.match == "" {
		groups = nil
		for _, f := range files {
			groups = append(groups, []string{f})
		}
	}
	done := []imported{}
	for _, group := range groups {
		id := base
		if o.match == "" {
			if id.Match, err = a.tidy("match", stem(group[0])); err != nil {
				return err
			}
		}
		stored, err := a.importLog(ctx, h, group, id, prof, o)
		if err != nil {
			return err
		}
		done = append(done, stored...)
	}
	if o.json {
		return a.printJSON(done)
	}
	for _, m := range done {
		fmt.Fprintf(a.stdout, "%s/%s/%s/%s: %s%s\n  %d samples of %d signals in %s\n", m.Season, m.Event, m.Match, m.Robot,
			severityWord(m.Severity), m.Verdict, m.Samples, m.Signals, m.Folder)
		if m.SkippedRows > 0 {
			fmt.Fprintf(a.stdout, "  %d bad rows left out\n", m.SkippedRows)
		}
	}
	return nil
}

// importTarget checks everything that can be wrong with the command before a file is read.
func (a *app) importTarget(o importOptions) (schemas.MatchID, *robotProfile, error) {
	var id schemas.MatchID
	if o.profile == "" {
		return id, nil, usagef("--profile is missing: name the robot.yaml that says what the signals mean")
	}
	if o.replace && o.add {
		return id, nil, usagef("--replace and --add exclude each other")
	}
	if _, err := parseAt(o.at); err != nil {
		return id, nil, err
	}
	prof, err := readProfile(o.profile)
	if err != nil {
		return id, nil, err
	}
	id.Robot = prof.Robot
	if o.season == "" {
		o.season = time.Now().Format("2006")
	}
	if id.Season, err = a.tidy("season", o.season); err != nil {
		return id, nil, err
	}
	if id.Event, err = a.tidy("event", o.event); err != nil {
		return id, nil, err
	}
	if o.match != "" {
		id.Match, err = a.tidy("match", o.match)
	}
	return id, prof, err
}

// tidy turns a name into a legal one and says so when it had to.
func (a *app) tidy(what, s string) (string, error) {
	name, changed, err := schemas.TidyName(what, s)
	if err != nil {
		return "", usageError{err}
	}
	if changed {
		a.say("note: %s %q is stored as %q", what, s, name)
	}
	return name, nil
}

func parseAt(at string) (*string, error) {
	if at == "" {
		return nil, nil
	}
	t, err := time.Parse(time.RFC3339Nano, at)
	if err != nil {
		return nil, usagef("--at %q is not a time of RFC 3339, such as 2031-03-01T14:32:00Z", at)
	}
	s := t.UTC().Format(time.RFC3339Nano)
	return &s, nil
}

// stem is a file's name without folder and endings.
func stem(path string) string {
	name, _, _ := strings.Cut(filepath.Base(path), ".")
	return name
}

// importLog reads one log and stores the matches in it.
func (a *app) importLog(ctx context.Context, h *home.Home, files []string, id schemas.MatchID, prof *robotProfile, o importOptions) ([]imported, error) {
	log, skipped, err := a.readLog(ctx, files, o.skipBadRows)
	if err != nil {
		return nil, err
	}
	at, _ := parseAt(o.at)
	stored := time.Now().UTC().Format(time.RFC3339Nano)
	seal := 1
	if o.add {
		if !h.Exists(id) {
			return nil, fmt.Errorf("%s does not exist, so nothing can be added to it: leave --add out", id)
		}
		old, _, err := loadStored(h, id, prof)
		if err != nil {
			return nil, err
		}
		if log, err = ingest.Merge(old.log, log); err != nil {
			return nil, err
		}
		stored, seal = old.stored, old.seal+1
		if at == nil {
			at = old.at
		}
	}
	matches, err := period.Find(prof.Mode, log)
	if err != nil {
		return nil, usageError{err}
	}
	jobs := make([]*job, len(matches))
	for i, m := range matches {
		j := &job{id: id, at: at, log: period.Cut(log, m), match: m, profile: prof, seal: seal, stored: stored}
		if len(matches) > 1 {
			j.id.Match = fmt.Sprintf("%s-%d", id.Match, i+1)
			j.at = shifted(at, m.Start-matches[0].Start)
		}
		if h.Exists(j.id) && !o.replace && !o.add {
			return nil, fmt.Errorf("%s exists: use --replace, --add or another --match", j.id)
		}
		if cut := log.Samples() - j.log.Samples(); cut > 0 && len(matches) == 1 {
			a.say("note: %d samples lie more than 30 s before or 10 s after the match and are not stored", cut)
		}
		jobs[i] = j
	}
	var out []imported
	for _, j := range jobs {
		if j.history, err = earlier(h, j.id, j.at, j.stored); err != nil {
			return nil, err
		}
		r, err := j.publish(h, o.replace || o.add)
		if err != nil {
			return nil, fmt.Errorf("%s was not stored: %w", j.id, err)
		}
		out = append(out, imported{
			j.id.Season, j.id.Event, j.id.Match, j.id.Robot, j.log.Samples(), len(j.log.Signals), skipped,
			r.Verdict.Severity, r.Verdict.Text, h.Dir(j.id),
		})
	}
	return out, nil
}

func shifted(at *string, us int64) *string {
	if at == nil {
		return nil
	}
	t, err := time.Parse(time.RFC3339Nano, *at)
	if err != nil {
		return at
	}
	s := t.Add(time.Duration(us) * time.Microsecond).UTC().Format(time.RFC3339Nano)
	return &s
}

// readLog reads files as one log, with a bar on a terminal.
func (a *app) readLog(ctx context.Context, files []string, skipBadRows bool) (*schemas.Log, int, error) {
	bar := a.progress("reading")
	log, report, err := ingest.ReadFiles(ctx, files, ingest.Options{SkipBadRows: skipBadRows, Progress: bar.at})
	bar.done()
	if err != nil {
		return nil, 0, err
	}
	if report.BadRows > 0 {
		a.say("note: %d bad rows left out; the first: %v", report.BadRows, report.First[0])
	}
	return log, report.BadRows, nil
}

func severityWord(s string) string {
	switch s {
	case schemas.SeverityStop:
		return "Stop. "
	case schemas.SeverityFix:
		return "Fix. "
	case schemas.SeverityWatch:
		return "Watch. "
	}
	return ""
}
