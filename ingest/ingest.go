// Package ingest brings logs in from outside: files of any form it knows become one
// schemas.Log.
//
// The way of a file: unpack.go takes off gzip or zstd, form.go tells the form by what the
// text begins with, a reader for that form (packages csvlog, jsonlog, arrowlog, parquetlog) feeds the rows to a builder
// (package columns), which makes signals of them.
package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/afterbell/afterbell/ingest/apart"
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/parquetlog"
	"github.com/afterbell/afterbell/schemas"
)

// Options say how files are read. The zero value is what `afterbell import` does by default.
type Options struct {
	// SkipBadRows leaves out bad rows and counts them, instead of ending at the first.
	SkipBadRows bool
	// Progress, if set, is called now and then, and at the end, with the bytes of all files
	// read so far. total grows when files turn out to need a second reading.
	Progress func(done, total int64)
	Limits   Limits
}

// Limits bound what files may ask for, so that a file made to do harm, or a picture with the
// wrong name, ends with one line. A field that is 0 has its default.
type Limits struct {
	Row      int   // bytes of one row; 1 MiB. A longer one is a bad row.
	Text     int   // bytes of one text value; 64 KiB. A longer one is a bad row.
	Signals  int   // signals of the log; 10 000
	Memory   int64 // bytes of all samples; 4 GiB
	Unpacked int64 // bytes of one file after unpacking; 64 GiB
}

// ServeApart is called first thing in main. Parquet files of others are read in a process of
// their own, which is this program started again: there it does that and does not return. A
// program that does not call it reads them itself, without that protection.
func ServeApart() { apart.Serve(parquetlog.Works) }

const defaultUnpacked = 64 << 30

// BadRow is one bad row: file, line, column, what was expected and what to do.
type BadRow = columns.BadRow

// Report says what was read.
type Report struct {
	Files    []FileReport
	Samples  int       // in the log
	Repeated int       // samples replaced by one written later for the same signal and time
	BadRows  int       // left out; 0 unless Options.SkipBadRows
	First    []*BadRow // the first few of them
}

// FileReport says what one file was.
type FileReport struct {
	Name    string
	Form    string // "CSV", "JSON lines", "Parquet", "Arrow file", "Arrow stream"
	Packing string // "gzip", "zstd" or empty
	BadRows int
	Ignored []string // parts of long rows that mean nothing here, the first few
	// Clocks are those of the power-ups in a file of this program's, by their number, as far as
	// they were known where it was written.
	Clocks []clock.BootMeta
}

// Source is something to read a log from: a file, or bytes in memory.
type Source struct {
	Name string // for errors
	Size int64  // in bytes, for progress; 0 if unknown
	// Open gives the bytes from their start. It is called a second time when what comes
	// first in time contradicts what comes first in the file (see package columns).
	Open func() (io.ReadCloser, error)
}

// Read makes one log of all sources: a signal that is in several of them is one signal, and
// where two have a sample of the same time the later source wins. On an error there is no
// log; the error is one line that names the source.
func Read(ctx context.Context, sources []Source, o Options) (*schemas.Log, Report, error) {
	b := columns.New(columns.Options{
		SkipBadRows: o.SkipBadRows,
		Limits:      columns.Limits{Signals: o.Limits.Signals, Text: o.Limits.Text, Memory: o.Limits.Memory},
	})
	meter := newMeter(ctx, sources, o.Progress)
	var report Report
	for again := true; again; {
		report.Files = report.Files[:0]
		for _, s := range sources {
			file, err := readSource(s, b, meter, o.Limits)
			if err != nil {
				return nil, Report{}, err
			}
			report.Files = append(report.Files, file)
		}
		if again = b.Again(); again {
			meter.total *= 2
		}
	}
	report.BadRows, report.First = b.BadRows()
	log := b.Log()
	report.Samples = log.Samples()
	report.Repeated = b.Added() - report.Samples
	if report.Samples == 0 && report.BadRows > 0 {
		return nil, Report{}, fmt.Errorf("nothing to import: all %d rows are bad, the first: %w", report.BadRows, report.First[0])
	}
	if report.Samples == 0 {
		return nil, Report{}, errors.New("nothing to import: no file was given")
	}
	meter.tell()
	return log, report, nil
}
