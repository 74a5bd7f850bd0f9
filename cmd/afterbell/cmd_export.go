package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/ingest/jsonlog"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/arrowlog"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/viewer"
)

// exportFormats are the forms in which samples leave, by export and from the pages.
var exportFormats = []viewer.Format{
	{Name: "csv", Type: "text/csv", Write: samplesOf(csvlog.WriteLong)},
	{Name: "jsonl", Type: "application/jsonl", Write: samplesOf(jsonlog.WriteLong)},
	{Name: "parquet", Type: "application/vnd.apache.parquet", Write: writeParquet},
	{Name: "arrow", Type: "application/vnd.apache.arrow.file", Write: samplesOf(arrowlog.Write)},
	{Name: "arrow-stream", Type: "application/vnd.apache.arrow.stream", Write: samplesOf(arrowlog.WriteStream)},
}

// samplesOf writes a form that has no room for more than samples.
func samplesOf(write func(io.Writer, *schemas.Log) error) func(io.Writer, *schemas.Log, map[string]string) error {
	return func(w io.Writer, log *schemas.Log, _ map[string]string) error { return write(w, log) }
}

// writeParquet takes along how the clocks of the power-ups ran, by which the file can be put to
// another of its match.
func writeParquet(w io.Writer, log *schemas.Log, meta map[string]string) error {
	var kept map[string]string
	if boots := meta[clock.MetaBoots]; boots != "" {
		kept = map[string]string{clock.MetaBoots: boots}
	}
	_, err := matchfile.Write(w, log, kept)
	return err
}

type exportOptions struct {
	format, out string
	signals     []string
	from, to    float64
	clipOptions
}

func (a *app) exportCommand() *cobra.Command {
	var o exportOptions
	c := &cobra.Command{
		Use:   "export MATCH --format csv|jsonl|parquet|arrow|arrow-stream",
		Short: "Write the samples of a stored match in another form",
		Long: `Export writes a stored match, or some of its signals and a stretch of it, in long form:
CSV, JSON lines, Parquet, an Arrow IPC file or stream. 'afterbell import' reads each back
without loss, but that the text forms know one NaN only. Times are log time. A stretch
(--from, --to, or --finding with a little room) begins with what was held then: text,
true and false, and counters have a sample at its start with the value they last had.
--clip writes one small file for another laptop instead: the stretch around a
finding, or from --from to --to, with the robot's profile, the findings of the sheet and
what the crew said of them; 'afterbell import CLIP' there makes a match of it. What
leaves this laptop may say more than its samples: names of people do not
belong into signal names.`,
		Example: "  afterbell export millbrook-open/q14/heron --format csv --out q14.csv\n" +
			"  afterbell export q14 --format parquet --signal power/voltage --from 50 --to 60 --out dip.parquet\n" +
			"  afterbell export q14 --format jsonl --finding jam-lift-1 --out jam.jsonl\n" +
			"  afterbell export q14 --clip --finding jam-lift-1 --out q14-jam.clip",
		Args: oneArg("a match"),
		RunE: func(c *cobra.Command, args []string) error { return a.runExport(args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.format, "format", "csv", "csv, jsonl, parquet, arrow (a file) or arrow-stream")
	f.StringArrayVar(&o.signals, "signal", nil, "only this `signal`; may be given again")
	f.Float64Var(&o.from, "from", math.Inf(-1), "from this log time, `seconds`")
	f.Float64Var(&o.to, "to", math.Inf(1), "to this log time, `seconds`")
	f.StringVar(&o.out, "out", "", "write to this `file`; standard output when left out")
	f.BoolVar(&o.clip, "clip", false, "write a stretch with profile and findings, for another laptop")
	f.StringVar(&o.finding, "finding", "", "the stretch around this `finding`, by its id")
	f.Float64Var(&o.around, "around", 10, "with --finding: `seconds` before and after it")
	f.BoolVar(&o.withoutNotes, "without-notes", false, "with --clip: leave the crew's notes out; they may name people")
	return c
}

func (a *app) runExport(ref string, o exportOptions) error {
	if !o.clip && o.withoutNotes {
		return usagef("--without-notes belongs to --clip; an export holds samples only")
	}
	at := slices.IndexFunc(exportFormats, func(f viewer.Format) bool { return f.Name == o.format })
	if at < 0 {
		return usagef("--format %q is not known: use csv, jsonl, parquet, arrow or arrow-stream", o.format)
	}
	write := exportFormats[at].Write
	if math.IsNaN(o.from) || math.IsNaN(o.to) || o.from > o.to {
		return usagef("--from %v is later than --to %v", o.from, o.to)
	}
	h, err := home.Open(a.dataDir)
	if err != nil {
		return err
	}
	id, err := h.Find(ref)
	if err != nil {
		return err
	}
	if o.clip {
		return a.exportClip(h, id, o)
	}
	log, meta, err := a.stretch(h, id, o)
	if err != nil {
		return err
	}
	if o.out == "" {
		if o.format != "csv" && o.format != "jsonl" && isTerminal(a.stdout) {
			return usagef("--out is missing: %s is no text for a terminal", o.format)
		}
		return write(a.stdout, log, meta)
	}
	return replaceFile(o.out, func(w io.Writer) error { return write(w, log, meta) })
}

// stretch reads the signals and the time asked for, and what the file says of itself.
func (a *app) stretch(h *home.Home, id schemas.MatchID, o exportOptions) (*schemas.Log, map[string]string, error) {
	f, err := matchfile.Open(filepath.Join(h.Dir(id), schemas.SignalsFile))
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	have := map[string]bool{}
	for _, s := range f.Signals() {
		have[s.Name] = true
	}
	for _, name := range o.signals {
		if !have[name] {
			return nil, nil, fmt.Errorf("%s has no signal %q", id, name)
		}
	}
	log, err := f.Read(o.signals...)
	if err != nil {
		return nil, nil, err
	}
	if o.finding != "" {
		r, err := readReport(h, id)
		if err != nil {
			return nil, nil, err
		}
		if o.from, o.to, err = o.clipStretch(r); err != nil {
			return nil, nil, err
		}
	}
	if math.IsInf(o.from, -1) && math.IsInf(o.to, 1) {
		return log, f.Meta(), nil
	}
	return period.Stretch(log, micros(o.from), micros(o.to), f.End(), heldBy(h, id)), f.Meta(), nil
}

// heldBy tells which signals of a stored match hold their value. A profile that cannot be read
// says nothing: samples leave all the same.
func heldBy(h *home.Home, id schemas.MatchID) func(*schemas.Signal) bool {
	path := filepath.Join(h.Dir(id), schemas.ProfileFile)
	data, err := os.ReadFile(path)
	if err != nil {
		return period.HeldBy(nil)
	}
	p, err := profile.Parse(path, data)
	if err != nil {
		return period.HeldBy(nil)
	}
	return period.HeldBy(p)
}

// micros is seconds as microseconds, clamped to what can be stored.
func micros(s float64) int64 {
	const limit = 9e12
	return schemas.Micros(math.Max(-limit, math.Min(limit, s)))
}
