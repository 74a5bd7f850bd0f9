package main

import (
	"io"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/tables"
	"github.com/afterbell/afterbell/viewer/draw"
)

// seasonFiles is what of a season is to be written as files.
type seasonFiles struct{ format, out, figures string }

func (f seasonFiles) check(a *app, asJSON, trial bool) error {
	switch {
	case f == seasonFiles{}:
		return nil
	case trial:
		return usagef("--trial has no files: leave out --format, --out and --figures")
	case asJSON && (f.format != "" || f.out != ""):
		return usagef("--json prints the season: leave out --format and --out")
	case f.format == "" && f.out != "":
		return usagef("--format is missing: csv or parquet")
	case f.format != "" && f.format != "csv" && f.format != "parquet":
		return usagef("--format %q is not known: use csv or parquet", f.format)
	case f.format == "parquet" && f.out == "" && isTerminal(a.stdout):
		return usagef("--out is missing: parquet is no text for a terminal")
	}
	return nil
}

// write writes every point of the season.
func (f seasonFiles) write(a *app, s *schemas.Season) error {
	write := s.WriteCSV
	if f.format == "parquet" {
		write = func(w io.Writer) error { return tables.WriteSeason(w, s) }
	}
	if f.out == "" {
		return write(a.stdout)
	}
	return replaceFile(f.out, write)
}

func (a *app) writeSeasonFigures(dir string, s *schemas.Season) error {
	of := s.Robot
	if len(s.Matches) > 0 {
		of += ", season " + s.Matches[0].Season
	}
	return a.writePictures(dir, of, func() []*draw.Picture { return draw.SeasonFigures(draw.Year{Season: s}) })
}
