// Package parquetlog reads logs from Parquet files, in the forms that package table takes, and
// the files of this program, signals.parquet and what export writes, by their own reader.
//
// The Parquet library believes what a file says of itself. Before it sees one, the footer is
// held against the bytes (package schemas/footer) and every page header against its chunk,
// and it works in a process apart (package apart), because what is left may still ask for all
// the memory there is, or panic on another goroutine. What this process gets back are plain
// columns, checked again.
//
// schema.go says what each column is, pages.go holds page headers against their bytes,
// cursor.go makes columns of pages.
package parquetlog

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"github.com/afterbell/afterbell/ingest/apart"
	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/table"
	"github.com/afterbell/afterbell/schemas/footer"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

// Magic begins and ends a file.
const Magic = "PAR1"

// Limits bound what a file may ask for. A field that is 0 has its default.
type Limits struct {
	Samples  int64         // bytes of the samples of one of our files; 4 GiB
	Unpacked int64         // bytes of all pages, unpacked; 64 GiB
	Memory   int64         // bytes of the process apart; 2 GiB
	Time     time.Duration // of the process apart; 1 minute and a second for each MiB of the file
}

func (l Limits) orDefault(size int64) Limits {
	if l.Samples == 0 {
		l.Samples = 4 << 30
	}
	if l.Unpacked == 0 {
		l.Unpacked = 64 << 30
	}
	if l.Memory == 0 {
		l.Memory = 2 << 30
	}
	if l.Time == 0 {
		l.Time = time.Minute + time.Duration(size>>20)*time.Second
	}
	return l
}

// Works are what this package does in a process apart, for apart.Serve.
var Works = map[string]apart.Work{"parquet": work}

// Read feeds the rows of a file of size bytes to b, under the name name in errors. ignored
// are the names of columns of a long table that mean nothing, the first few.
//
// The error is a *columns.BadRow for what is wrong with the rows, else it says that the file
// is damaged or asks for too much. progress is told rows as they come.
func Read(ctx context.Context, file *os.File, size int64, name string, b *columns.Builder, limits Limits, progress func(done, total int64)) (ignored []string, err error) {
	limits = limits.orDefault(size)
	if matchfile.Ours(file, size) {
		ours, err := matchfile.NewFile(file, size)
		if err != nil {
			return nil, damaged(name, err.Error())
		}
		return nil, readOurs(ours, name, b, limits, progress)
	}
	if err := footer.Check(file, size); err != nil {
		return nil, damaged(name, err.Error())
	}
	s := &sink{name: name, b: b, progress: progress}
	job := apart.Limits{Memory: limits.Memory, Time: limits.Time}
	err = apart.Run(ctx, "parquet", Works, file, job, func(r io.Reader) error { return table.ReadPipe(r, s) })
	var ended *table.Ended
	var died *apart.Error
	switch {
	case errors.As(err, &ended):
		return nil, damaged(name, ended.What)
	case errors.As(err, &died):
		return nil, fmt.Errorf("%s: the Parquet file cannot be read (%s); copy it again, or write it anew with another program", name, died.What)
	case err != nil:
		return nil, err
	case s.taker == nil:
		return nil, damaged(name, "it says nothing")
	}
	if err := s.taker.Close(); err != nil {
		return nil, err
	}
	return s.taker.Ignored(), nil
}

// Meta is what a file of this program says of itself; nil for those of others.
func Meta(file *os.File, size int64) map[string]string {
	if !matchfile.Ours(file, size) {
		return nil
	}
	f, err := matchfile.NewFile(file, size)
	if err != nil {
		return nil // told by Read
	}
	return f.Meta()
}

func damaged(name, what string) error {
	return fmt.Errorf("%s: the Parquet data are damaged (%s); copy the file again from where it was recorded", name, what)
}

// sink takes what the process apart found.
type sink struct {
	name     string
	b        *columns.Builder
	taker    *table.Taker
	total    int64
	progress func(done, total int64)
}

func (s *sink) Begin(fields []table.Field, rows int64, described map[string]table.Described) (wanted []bool, err error) {
	if s.taker != nil {
		return nil, table.ErrBroken
	}
	s.total = rows
	s.taker, err = table.New(s.b, s.name, fields, described)
	return nil, err
}

func (s *sink) Add(rows int, cols []table.Column) error {
	if s.taker == nil {
		return table.ErrBroken
	}
	err := s.taker.Add(rows, cols)
	s.progress(int64(s.taker.Row()), s.total)
	return err
}

// readOurs takes the signals of a match file, which say themselves what they are.
func readOurs(f *matchfile.File, name string, b *columns.Builder, limits Limits, progress func(done, total int64)) error {
	infos := f.Signals()
	total := int64(0)
	for _, s := range infos {
		if total += int64(s.Samples); total > limits.Samples/16 {
			return fmt.Errorf("%s: its samples take more than %d bytes of memory; export its signals apart and import them one by one", name, limits.Samples)
		}
	}
	b.OpenTable(name)
	added := b.Added()
	bad, _ := b.BadRows()
	log, err := f.Read()
	if err != nil {
		return damaged(name, err.Error())
	}
	log.Normalize()
	row := 1
	for _, s := range log.Signals {
		n := s.Len()
		lane, fault := b.Named(s.Name, s.Unit)
		if fault != nil {
			return b.RejectTable(fault)
		}
		if at := slices.IndexFunc(s.Time, func(t int64) bool { return t > cell.MaxTime || t < -cell.MaxTime }); at >= 0 {
			return damaged(name, fmt.Sprintf("signal %q has a time beyond 9e12 s", s.Name))
		}
		if err := b.AddSignal(lane, row, s); err != nil {
			return err
		}
		row += n
		progress(int64(row-1), total)
	}
	if now, _ := b.BadRows(); b.Added() == added && now == bad {
		return b.RejectTable(&columns.Fault{What: "the table holds no samples", Advice: "check that the log was recorded", Final: true})
	}
	return nil
}
