package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/afterbell/afterbell/ingest/arrowlog"
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/ingest/jsonlog"
	"github.com/afterbell/afterbell/ingest/parquetlog"
	"github.com/afterbell/afterbell/schemas"
)

// ReadFiles is Read for files by their paths.
func ReadFiles(ctx context.Context, paths []string, o Options) (*schemas.Log, Report, error) {
	sources := make([]Source, 0, len(paths))
	for _, path := range paths {
		info, err := os.Stat(path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil, Report{}, fmt.Errorf("%s: there is no such file; check the path", path)
		case err != nil:
			return nil, Report{}, fmt.Errorf("%s: %w", path, cause(err))
		case info.IsDir():
			return nil, Report{}, fmt.Errorf("%s: this is a folder; name the files in it", path)
		}
		s := Source{Name: path, Size: info.Size(), Open: func() (io.ReadCloser, error) { return os.Open(path) }}
		if !info.Mode().IsRegular() {
			s = once(s)
		}
		sources = append(sources, s)
	}
	return Read(ctx, sources, o)
}

// once makes a source of one that gives its bytes only once, such as a pipe.
func once(s Source) Source {
	open, opened := s.Open, false
	s.Open = func() (io.ReadCloser, error) {
		if opened {
			return nil, errors.New("its rows contradict each other, and a pipe cannot be read a second time to settle that; save it to a file first")
		}
		opened = true
		return open()
	}
	return s
}

// cause is err without the path that package os puts into it.
func cause(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

// readSource feeds one source to b.
func readSource(s Source, b *columns.Builder, m *meter, limits Limits) (report FileReport, err error) {
	report.Name = s.Name
	raw, err := s.Open()
	if err != nil {
		return report, fmt.Errorf("%s: %w", s.Name, cause(err))
	}
	defer raw.Close()
	text, err := unpack(m.count(raw), limits.Unpacked)
	if err != nil {
		return report, fmt.Errorf("%s: %w", s.Name, err)
	}
	defer text.close()
	report.Packing = text.packing
	if report.Form, err = form(text.head); err != nil {
		return report, fmt.Errorf("%s: %w", s.Name, err)
	}
	before, _ := b.BadRows()
	switch report.Form {
	case formJSON:
		report.Ignored, err = jsonlog.Read(text, s.Name, b, limits.Row)
	case formArrowStream:
		report.Ignored, err = arrowlog.ReadStream(text, s.Name, b, arrowlog.Limits{Unpacked: limits.Unpacked})
	case formArrowFile, formParquet:
		err = readTable(&report, raw, text, b, m, limits)
	default:
		err = csvlog.Read(text, s.Name, b, limits.Row)
	}
	if err != nil {
		var known *damage
		if d := text.damaged(); d != nil && !errors.As(err, &known) {
			return report, fmt.Errorf("%s: %w", s.Name, d)
		}
		return report, err
	}
	after, _ := b.BadRows()
	report.BadRows = after - before
	return report, nil
}

// readTable feeds a file that must be read here and there.
func readTable(report *FileReport, raw io.Reader, text *unpacked, b *columns.Builder, m *meter, limits Limits) error {
	f, size, done, err := spool(raw, text, limits.Unpacked)
	if err != nil {
		return fmt.Errorf("%s: %w", report.Name, err)
	}
	defer done()
	if report.Form == formArrowFile {
		report.Ignored, err = arrowlog.ReadFile(m.countAt(f, size), size, report.Name, b, arrowlog.Limits{Unpacked: limits.Unpacked})
		return err
	}
	report.Clocks = clock.Kept(parquetlog.Meta(f, size))
	share := m.share(size)
	report.Ignored, err = parquetlog.Read(m.ctx, f, size, report.Name, b, parquetlog.Limits{Samples: limits.Memory, Unpacked: limits.Unpacked}, share)
	return err
}
