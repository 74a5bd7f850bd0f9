// Package tables holds the derived tables of a stored match: flat Parquet files made from
// its report, so that questions over many matches need no JSON and no samples.
//
//	match.parquet              one row: what is known of the match as a whole
//	cycles.parquet             a row a cycle or hand-over
//	passes.parquet             a row for each stage of each pass
//	stages.parquet             a row a stage: transit, passes, jams, tries to reverse, current
//	jams.parquet               a row a jam that is believed
//	suspected_jams.parquet     a row a jam that is only suspected
//	brownouts.parquet          a row a brownout
//	brownout_branches.parquet  a row for each branch of each brownout
//	balances.parquet           a row a balance attempt
//	moves.parquet              a row a move
//	mechanisms.parquet         a row an arm or lift: its moves together
//	motors.parquet             a row a motor
//	findings.parquet           a row a finding
//
// Season, event, match and robot are not columns: the partition folders a file lies in say
// them. Every row and every file's metadata carry the seal, by which files of different
// analyses are told. Times are log time in seconds. What could not be found out is null,
// never zero, and that goes for counts too: jams is null, not 0, when the analysis of the
// path could not run.
//
// In the row types a nullable column is a pointer: the Parquet library would write the
// zero of an optional field that is none as null.
package tables

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/footer"
)

// MatchFile is the name of the table that has one row.
const MatchFile = "match.parquet"

// MetaSeal is the key of the seal in the metadata of each file.
const MetaSeal = "seal"

// Names are the file names of all tables, sorted.
func Names() []string { return slices.Sorted(maps.Keys(Writers(&schemas.Report{}))) }

// Writers are the tables of a report by file name, each a function that writes it.
func Writers(r *schemas.Report) map[string]func(io.Writer) error {
	seal := r.From.Seal
	return map[string]func(io.Writer) error{
		MatchFile:                   writer(seal, []Match{matchRow(r)}),
		"cycles.parquet":            writer(seal, cycleRows(r)),
		"passes.parquet":            writer(seal, passRows(r)),
		StagesFile:                  writer(seal, stageRows(r)),
		"jams.parquet":              writer(seal, jamRows(seal, r.Jams)),
		"suspected_jams.parquet":    writer(seal, jamRows(seal, r.SuspectedJams)),
		"brownouts.parquet":         writer(seal, brownoutRows(r)),
		"brownout_branches.parquet": writer(seal, branchRows(r)),
		"balances.parquet":          writer(seal, balanceRows(r)),
		"moves.parquet":             writer(seal, moveRows(r)),
		MechanismsFile:              writer(seal, mechanismRows(r)),
		"motors.parquet":            writer(seal, motorRows(r)),
		"findings.parquet":          writer(seal, findingRows(r)),
	}
}

// Rows are those that Write would write of r of what a season is made of.
func Rows(r *schemas.Report) (Match, []Stage, []Mechanism) {
	return matchRow(r), stageRows(r), mechanismRows(r)
}

// Names of tables a season is made of.
const (
	StagesFile     = "stages.parquet"
	MechanismsFile = "mechanisms.parquet"
)

// Write writes all tables of r into the folder dir, which exists.
func Write(dir string, r *schemas.Report) error {
	for name, write := range Writers(r) {
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			return err
		}
		if err := errors.Join(write(f), f.Close()); err != nil {
			return fmt.Errorf("writing %s: %w", filepath.Join(dir, name), err)
		}
	}
	return nil
}

// writer writes rows as one Parquet file.
func writer[T any](seal string, rows []T) func(io.Writer) error {
	return func(w io.Writer) error { return WriteRows(w, rows, parquet.KeyValueMetadata(MetaSeal, seal)) }
}

// WriteRows writes rows as one Parquet file that Read reads.
func WriteRows[T any](w io.Writer, rows []T, options ...parquet.WriterOption) error {
	options = append(options, parquet.Compression(&zstd.Codec{Level: zstd.SpeedFastest}))
	out := parquet.NewGenericWriter[T](w, options...)
	if _, err := out.Write(rows); err != nil {
		return err
	}
	return out.Close()
}

// Limits of a table that is read; a match has some hundred rows of anything.
const (
	maxBytes = 64 << 20
	maxRows  = 1 << 18
)

// Read reads the rows of a table, for example Read[tables.Cycle](path). Columns the file
// lacks are zero or null. The error names the file when it is not whole.
func Read[T any](path string) (rows []T, err error) {
	err = open(path, func(p *parquet.File) error {
		rows, err = all[T](p)
		return err
	})
	return rows, err
}

// ReadBytes reads the rows of a table that is in memory.
func ReadBytes[T any](data []byte) (rows []T, err error) {
	err = look(bytes.NewReader(data), int64(len(data)), func(p *parquet.File) error {
		rows, err = all[T](p)
		return err
	})
	return rows, err
}

func all[T any](p *parquet.File) ([]T, error) {
	rows := make([]T, p.NumRows())
	in := parquet.NewGenericReader[T](p)
	defer in.Close()
	n, err := in.Read(rows)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if n < len(rows) {
		return nil, io.ErrUnexpectedEOF
	}
	return rows, nil
}

// ReadMatch reads the row of match.parquet in the folder dir.
func ReadMatch(dir string) (Match, error) {
	path := filepath.Join(dir, MatchFile)
	rows, err := Read[Match](path)
	if err != nil {
		return Match{}, err
	}
	if len(rows) != 1 {
		return Match{}, fmt.Errorf("%s: %d rows where one should be", path, len(rows))
	}
	return rows[0], nil
}

// Verify reads every page of the table at path, whatever its columns, and returns the seal
// in its metadata.
func Verify(path string) (seal string, err error) {
	err = open(path, func(p *parquet.File) error {
		seal, _ = p.Lookup(MetaSeal)
		for _, group := range p.RowGroups() {
			for _, column := range group.ColumnChunks() {
				if err := readPages(column.Pages()); err != nil {
					return err
				}
			}
		}
		return nil
	})
	return seal, err
}

func readPages(pages parquet.Pages) error {
	defer pages.Close()
	for {
		page, err := pages.ReadPage()
		if errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		parquet.Release(page)
	}
}

// open opens the table at path, hands it to use and names the file in whatever goes wrong.
func open(path string, use func(*parquet.File) error) (err error) {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err == nil {
		err = look(f, info.Size(), use)
	}
	if err != nil {
		err = fmt.Errorf("%s: %w", path, err)
	}
	return err
}

// look hands a table to use. The library compares the checksum of every page.
func look(r io.ReaderAt, size int64, use func(*parquet.File) error) (err error) {
	defer func() {
		if p := recover(); p != nil { // the library panics on some damage
			err = fmt.Errorf("decoder: %v", p)
		}
	}()
	if size > maxBytes {
		return fmt.Errorf("%d bytes are too many for a table", size)
	}
	if err := footer.Check(r, size); err != nil {
		return err
	}
	p, err := parquet.OpenFile(r, size)
	if err != nil {
		return err
	}
	if p.NumRows() < 0 || p.NumRows() > maxRows {
		return fmt.Errorf("it claims %d rows", p.NumRows())
	}
	return use(p)
}
