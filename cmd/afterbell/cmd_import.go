package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

type importOptions struct {
	profile, season, event, match, at string
	replace, add, skipBadRows, json   bool
	eventIsDefault                    bool
	align, shiftGiven                 bool
	shift                             float64 // s
}

// givenEvent is the event that was asked for, empty when none was.
func (o importOptions) givenEvent() string {
	if o.eventIsDefault {
		return ""
	}
	return o.event
}

func (a *app) importCommand() *cobra.Command {
	var o importOptions
	c := &cobra.Command{
		Use:   "import FILE... --profile robot.yaml",
		Short: "Store logs as matches and make their sheets",
		Long: `Import reads logs, stores each match in the data folder and makes its sheet. A log is CSV
(long: time_s,signal,value[,type]; wide: time_s,NAME,NAME [unit],...), JSON lines
({"time_s":1.25,"signal":"power/voltage","value":11.9}), Parquet, or an Arrow IPC file or
stream with the same columns; plain, gzip or zstd. The form is told by content. Several
files with one --match are one match; without it each file is a match of its own name. A
log that holds several matches becomes several. Nothing of a match is stored unless all is.
A clip ('afterbell export --clip') brings its profile and its names along.

Several files of one match are taken as of one clock. Where two computers of a robot wrote
with clocks of their own, or a robot started again in mid-match, --align finds the shift
of each file against the first: by the clock fits that exported Parquet files carry, by
the changes both saw (mode, beams, counters) or the course of what both measured, or by the
wall clock, where the names of both files or their own times say it. The report's notes say
by how much, how sure, and by what. Where that cannot be told it is refused, and --shift
says it. With --add the files are put to a match that is stored. What two files logged of
one signal at the same time is kept apart, under the name of the second with its file's.`,
		Example: "  afterbell import q14.csv --profile robot.yaml --event millbrook-open\n" +
			"  afterbell import main.csv aux.csv.gz --match q14 --profile robot.yaml --at 2031-03-01T14:32:00Z\n" +
			"  afterbell import vision.csv --add --match q14 --align --profile robot.yaml --event millbrook-open",
		Args: someArgs(1, "a log file"),
		RunE: func(c *cobra.Command, files []string) error {
			o.eventIsDefault = !c.Flags().Changed("event")
			o.shiftGiven = c.Flags().Changed("shift")
			if err := o.checkAlign(len(files)); err != nil {
				return err
			}
			return a.runImport(c.Context(), files, o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.profile, "profile", "", "robot `profile` (robot.yaml); needed")
	f.StringVar(&o.season, "season", "", "`season`; this year when left out")
	f.StringVar(&o.event, "event", "practice", "`event`")
	f.StringVar(&o.match, "match", "", "`match`; the file's name when left out")
	f.StringVar(&o.at, "at", "", "wall clock of the match's start, RFC 3339 `time`")
	f.BoolVar(&o.replace, "replace", false, "put this in the place of a match that exists")
	f.BoolVar(&o.add, "add", false, "add these samples to a match that exists")
	f.BoolVar(&o.align, "align", false, "the files are from clocks of their own: find the shift of each against the first by what both saw")
	f.Float64Var(&o.shift, "shift", 0, "add `seconds` to the times of the second file")
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
	clips, err := onlyClips(files)
	if err != nil {
		return err
	}
	var prof *robotProfile
	var logs []namedLog
	if !clips {
		var base schemas.MatchID
		if base, prof, err = a.importTarget(o); err != nil {
			return err
		}
		if logs, err = a.logsOf(files, base, o); err != nil {
			return err
		}
	}
	w := &writer{dir: a.dataDir}
	defer w.end()
	if _, err := os.Stat(a.dataDir); err == nil || o.add {
		if w.home, err = home.Open(a.dataDir); err != nil {
			return err
		}
		if err := w.begin(); err != nil { // before a long reading, not after it
			return err
		}
	}
	done := []imported{}
	if clips {
		if done, err = a.importClips(ctx, w, files, o); err != nil {
			return err
		}
	}
	for _, l := range logs {
		stored, err := a.importLog(ctx, w, l, prof, o)
		done = append(done, stored...)
		if err != nil {
			return partly(err, done)
		}
	}
	if o.json {
		return a.printJSON(done)
	}
	for _, m := range done {
		text := fmt.Sprintf("%s: %s%s\n  %d samples, %d signals, in %s\n", m.name(), severityWord(m.Severity), m.Verdict, m.Samples, m.Signals, m.Folder)
		if m.SkippedRows > 0 {
			text += fmt.Sprintf("  %d bad rows left out\n", m.SkippedRows)
		}
		if _, err := io.WriteString(a.stdout, text); err != nil {
			return partly(err, done)
		}
	}
	return nil
}

func (m imported) name() string {
	return schemas.MatchID{Season: m.Season, Event: m.Event, Match: m.Match, Robot: m.Robot}.String()
}

// partly adds to the error what of the command is stored all the same.
func partly(err error, done []imported) error {
	if len(done) == 0 {
		return err
	}
	names := make([]string, len(done))
	for i, m := range done {
		names[i] = m.name()
	}
	return fmt.Errorf("%w\nstored all the same: %s", err, strings.Join(names, ", "))
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
		a.note("%s %q is stored as %q", what, s, name)
	}
	return name, nil
}

// leapSecond is a time as RFC 3339, section 5.6, writes one: second 60 of a minute. It is
// refused and not moved, since where it went would be nowhere to be seen.
var leapSecond = regexp.MustCompile(`^\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:60(\.\d+)?([Zz]|[+-]\d\d:\d\d)$`)

func parseAt(at string) (*string, error) {
	if at == "" {
		return nil, nil
	}
	t, err := time.Parse(time.RFC3339Nano, at)
	switch {
	case err != nil && leapSecond.MatchString(at):
		return nil, usagef("--at %q is a leap second, which this program's clock does not have: give the second before or after it", at)
	case err != nil:
		return nil, usagef("--at %q is not a time of RFC 3339, such as 2031-03-01T14:32:00Z", at)
	}
	s := storedAt(t)
	return &s, nil
}

// stem is a file's name without folder and endings.
func stem(path string) string {
	name := filepath.Base(path)
	for _, packing := range []string{".gz", ".zst"} {
		name = strings.TrimSuffix(name, packing)
	}
	return strings.TrimSuffix(name, filepath.Ext(name))
}

// namedLog is a log in one or more files, and the match it is to be.
type namedLog struct {
	id    schemas.MatchID
	files []string
}

// logsOf tells which files are one log, and names them. Two files that would be one match
// by accident are refused before anything is read.
func (a *app) logsOf(files []string, base schemas.MatchID, o importOptions) ([]namedLog, error) {
	if o.match != "" {
		return []namedLog{{base, files}}, nil
	}
	var out []namedLog
	for _, f := range files {
		id := base
		var err error
		if id.Match, err = a.tidy("match", stem(f)); err != nil {
			return nil, usagef("%s: its name cannot name a match: give one with --match", f)
		}
		for _, other := range out {
			if other.id == id {
				return nil, usagef("%s and %s would both be match %s: give --match to make one of them, or import each by itself", other.files[0], f, id.Match)
			}
		}
		out = append(out, namedLog{id, []string{f}})
	}
	return out, nil
}

// readLog reads files as one log, with a bar on a terminal.
func (a *app) readLog(ctx context.Context, files []string, skipBadRows bool) (*schemas.Log, ingest.Report, error) {
	bar := a.progress("reading")
	log, report, err := ingest.ReadFiles(ctx, files, ingest.Options{SkipBadRows: skipBadRows, Progress: bar.at})
	bar.done()
	if err != nil {
		return nil, report, err
	}
	if report.BadRows > 0 {
		a.note("%d bad rows left out; the first: %v", report.BadRows, report.First[0])
	}
	for _, f := range report.Files {
		if len(f.Ignored) > 0 {
			a.note("%s: left out what means nothing here: %s", f.Name, strings.Join(f.Ignored, ", "))
		}
	}
	return log, report, nil
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
