package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func source(name string, text []byte) Source {
	return Source{Name: name, Size: int64(len(text)), Open: func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(text)), nil }}
}

func readText(text []byte, o Options) (*schemas.Log, Report, error) {
	return Read(context.Background(), []Source{source("q14.csv", text)}, o)
}

func gzipped(t testing.TB, text []byte) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(text)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.Bytes()
}

func zstded(t testing.TB, text []byte) []byte {
	w, err := zstd.NewWriter(nil)
	require.NoError(t, err)
	return w.EncodeAll(text, nil)
}

var packings = map[string]func(testing.TB, []byte) []byte{"gzip": gzipped, "zstd": zstded}

// rows is a log of n samples of one signal that packs badly, so that a cut falls into data.
func rows(n int) []byte {
	random := rand.New(rand.NewPCG(5, 6))
	var b bytes.Buffer
	b.WriteString("time_s,signal,value\n")
	for i := range n {
		fmt.Fprintf(&b, "%d,a,%v\n", i, random.Float64())
	}
	return b.Bytes()
}

func TestPackedFilesAreToldByContent(t *testing.T) {
	text := []byte("\ufefftime_s,a [V]\r\n1,2.5\r\n2,3.5\r\n")
	for packing, pack := range packings {
		path := filepath.Join(t.TempDir(), "log.csv") // the name says nothing
		require.NoError(t, os.WriteFile(path, pack(t, text), 0o600))
		log, report, err := ReadFiles(context.Background(), []string{path}, Options{})
		require.NoError(t, err)
		assert.Equal(t, []float64{2.5, 3.5}, log.Find("a").Float)
		assert.Equal(t, Report{Files: []FileReport{{Name: path, Form: "CSV", Packing: packing}}, Samples: 2}, report)
	}
	two := append(gzipped(t, text[:10]), gzipped(t, text[10:])...) // RFC 1952, section 2.2: members follow one another
	log, _, err := readText(two, Options{})
	require.NoError(t, err)
	assert.Equal(t, 2, log.Samples())
}

// The form is told by what the text begins with, packed or not, and one log may come in several.
func TestFormsAreToldByContent(t *testing.T) {
	lines := []byte("\n{\"time_s\":1.25,\"signal\":\"power/voltage [V]\",\"value\":11.9,\"seq\":1}\n{\"time_s\":2,\"robot/mode\":\"driver\"}\n")
	for _, pack := range []func(testing.TB, []byte) []byte{plain, gzipped, zstded} {
		a, b := source("a.csv", pack(t, lines)), source("b.jsonl", pack(t, []byte("time_s,power/voltage\n3,11.5\n")))
		log, report, err := Read(context.Background(), []Source{a, b}, Options{})
		require.NoError(t, err)
		assert.Equal(t, []float64{11.9, 11.5}, log.Find("power/voltage").Float)
		assert.Equal(t, "V", log.Find("power/voltage").Unit)
		assert.Equal(t, []string{"driver"}, log.Find("robot/mode").Text)
		assert.Equal(t, "JSON lines", report.Files[0].Form)
		assert.Equal(t, []string{"seq"}, report.Files[0].Ignored)
		assert.Equal(t, "CSV", report.Files[1].Form)
	}
}

func plain(_ testing.TB, text []byte) []byte { return text }

// Every cut of a packed file is noticed; who skips bad rows gets whole rows before the cut, as
// they were.
func TestPackedFilesCutShort(t *testing.T) {
	text := rows(300)
	whole, _, err := readText(text, Options{})
	require.NoError(t, err)
	want := whole.Find("a").Float
	for packing, pack := range packings {
		packed := pack(t, text)
		most := 0
		for cut := 2; cut < len(packed); cut++ {
			_, _, err := readText(packed[:cut], Options{})
			require.Error(t, err, "%s cut at %d of %d", packing, cut, len(packed))
			require.NotContains(t, err.Error(), "\n")

			log, report, err := readText(packed[:cut], Options{SkipBadRows: true})
			if err != nil {
				continue
			}
			got := log.Find("a").Float
			require.Equal(t, want[:len(got)], got)
			require.Equal(t, 1, report.BadRows)
			require.Contains(t, report.First[0].Error(), fmt.Sprintf("q14.csv line %d: the file is cut short about here; copy it again", len(got)+2))
			most = max(most, len(got))
		}
		if packing == "gzip" { // zstd gives its data in large blocks
			assert.Equal(t, len(want), most)
		}
	}
	_, _, err = readText(gzipped(t, text)[:40], Options{})
	require.EqualError(t, err, "q14.csv line 1: the file is cut short within its header; copy it again from where it was recorded")
}

// No flipped byte changes a value unnoticed. It may unpack to garbage first, which is a bad
// row; but skipping bad rows does not skip the damage.
func TestDamagedPackedFiles(t *testing.T) {
	text := rows(100)
	whole, _, err := readText(text, Options{})
	require.NoError(t, err)
	for packing, pack := range packings {
		packed := pack(t, text)
		named, blamed := 0, 0
		for i := range packed {
			packed[i] ^= 0x55
			if _, _, err := readText(packed, Options{}); err != nil && !strings.Contains(err.Error(), "cut short") {
				if strings.Contains(err.Error(), "skip-bad-rows") {
					blamed++
				}
			}
			log, report, err := readText(packed, Options{SkipBadRows: true})
			if err == nil && report.BadRows == 0 {
				require.Equal(t, whole, log, "%s byte %d", packing, i)
			} else if err != nil && strings.Contains(err.Error(), "the "+packing+" data are damaged (") {
				require.ErrorContains(t, err, "q14.csv")
				require.ErrorContains(t, err, "; copy the file again")
				named++
			}
			packed[i] ^= 0x55
		}
		assert.Greater(t, named, len(packed)*9/10, packing)
		assert.LessOrEqual(t, blamed, len(packed)/100, "%s: rows to be mended that damage made", packing)
	}
}

func TestUnpackedTextIsLimited(t *testing.T) {
	bomb := append([]byte("time_s,a\n1,2\n"), bytes.Repeat([]byte("\n"), 10<<20)...)
	for packing, pack := range packings {
		packed := pack(t, bomb)
		require.Less(t, len(packed), 100_000)
		_, _, err := readText(packed, Options{Limits: Limits{Unpacked: 1 << 20}})
		require.ErrorContains(t, err, "the file unpacks to more than 1048576 bytes; split it", packing)
		_, _, err = readText(packed, Options{})
		require.NoError(t, err)
	}
	_, _, err := readText(gzipped(t, bytes.Repeat([]byte("x"), 10<<20)), Options{})
	require.ErrorContains(t, err, "the row is longer than 1048576 bytes")
}

func TestFilesThatLookLikeOthers(t *testing.T) {
	const here = ", and what is read here is CSV, JSON lines, Parquet and Arrow, plain or packed with gzip or zstd; "
	for head, want := range map[string]string{
		"PARE\x15\x04":             "a Parquet file that is encrypted" + here + "write it without encryption",
		"SQLite format 3\x00":      "an SQLite database" + here + "export the log as CSV",
		"PK\x03\x04\x14":           "a zip archive or a spreadsheet" + here + "unpack the archive, or save the spreadsheet as CSV",
		"\ufeff\n [1]":             "a JSON array" + here + "write JSON lines, one object a line",
		"\xff\xfet\x00i\x00m\x00e": "text in UTF-16" + here + "save it as UTF-8",
		"BZh91AY":                  "a bzip2 file" + here + "unpack it; gzip and zstd need no unpacking",
		string(gzipped(t, gzipped(t, []byte("time_s,a\n1,2\n")))): "a file packed twice" + here + "unpack it once",
	} {
		_, _, err := readText([]byte(head), Options{SkipBadRows: true})
		require.EqualError(t, err, "q14.csv: this looks like "+want)
	}
}

func TestReport(t *testing.T) {
	a := source("a.csv", []byte("time_s,signal,value\n1,s,5\n2,s,x\n1,s,6\n,,\n"))
	b := source("b.csv", []byte("time_s,s,u\n1,7,true\n3,y,z,\n"))
	log, report, err := Read(context.Background(), []Source{a, b}, Options{SkipBadRows: true})
	require.NoError(t, err)
	assert.Equal(t, []int64{7}, log.Find("s").Int, "the later file wins")
	assert.Equal(t, []FileReport{{Name: "a.csv", Form: "CSV", BadRows: 1}, {Name: "b.csv", Form: "CSV", BadRows: 1}}, report.Files)
	assert.Equal(t, 2, report.Samples)
	assert.Equal(t, 2, report.Repeated)
	assert.Equal(t, 2, report.BadRows)
	require.Len(t, report.First, 2)
	assert.Equal(t, "a.csv line 3, column 3 (value)", report.First[0].Place())
	assert.Equal(t, "b.csv line 3", report.First[1].Place())
}

func TestNothingToImport(t *testing.T) {
	_, _, err := readText([]byte("time_s,signal,value\nx,a,1\ny,a,2\n"), Options{SkipBadRows: true})
	require.ErrorContains(t, err, `nothing to import: all 2 rows are bad, the first: q14.csv line 2, column 1 (time_s): "x" is not a time`)
	_, _, err = ReadFiles(context.Background(), nil, Options{})
	require.EqualError(t, err, "nothing to import: no file was given")
}

func TestFilesThatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	_, _, err := ReadFiles(context.Background(), []string{filepath.Join(dir, "none.csv")}, Options{})
	require.EqualError(t, err, filepath.Join(dir, "none.csv")+": there is no such file; check the path")
	_, _, err = ReadFiles(context.Background(), []string{dir}, Options{})
	require.EqualError(t, err, dir+": this is a folder; name the files in it")

	lost := errors.New("the card is gone")
	s := source("q14.csv", rows(10))
	s.Open = func() (io.ReadCloser, error) { return nil, &os.PathError{Op: "open", Path: "q14.csv", Err: lost} }
	_, _, err = Read(context.Background(), []Source{s}, Options{SkipBadRows: true})
	require.EqualError(t, err, "q14.csv: the card is gone")
	s.Open = func() (io.ReadCloser, error) {
		return io.NopCloser(io.MultiReader(bytes.NewReader(rows(10)), failed{lost})), nil
	}
	_, _, err = Read(context.Background(), []Source{s}, Options{SkipBadRows: true})
	require.EqualError(t, err, "q14.csv, about line 12: the card is gone")
	require.ErrorIs(t, err, lost)
}

func TestProgress(t *testing.T) {
	text := rows(200_000)
	for name, c := range map[string]struct {
		text  []byte
		times int64
	}{
		"one reading":  {text, 1},
		"two readings": {append(append([]byte{}, text...), "7,a,oops\n"...), 2},
		"packed":       {gzipped(t, text), 1},
	} {
		t.Run(name, func(t *testing.T) {
			size := int64(len(c.text))
			var calls, last int64
			_, _, err := readText(c.text, Options{SkipBadRows: true, Progress: func(done, total int64) {
				calls++
				assert.GreaterOrEqual(t, done, last)
				assert.GreaterOrEqual(t, total, done)
				assert.True(t, total == size || total == 2*size)
				last = done
			}})
			require.NoError(t, err)
			assert.Equal(t, c.times*size, last, "all bytes are counted")
			assert.Greater(t, calls, size>>21)
		})
	}
}

func TestCancel(t *testing.T) {
	for packing, pack := range map[string]func(testing.TB, []byte) []byte{"": plain, "gzip": gzipped, "zstd": zstded} {
		ctx, cancel := context.WithCancel(context.Background())
		_, _, err := Read(ctx, []Source{source("q14.csv", pack(t, rows(300_000)))}, Options{SkipBadRows: true, Progress: func(int64, int64) { cancel() }})
		require.ErrorIs(t, err, context.Canceled, packing)
	}
}

// A pipe can be read once only; that is enough unless rows contradict each other.
func TestPipe(t *testing.T) {
	for text, want := range map[string]string{
		"time_s,a\n1,2\n":      "",
		"time_s,a\n1,2\n2,x\n": ": its rows contradict each other, and a pipe cannot be read a second time to settle that; save it to a file first",
	} {
		r, w, err := os.Pipe()
		require.NoError(t, err)
		_, err = w.WriteString(text)
		require.NoError(t, err)
		require.NoError(t, w.Close())
		opened := 0
		s := once(Source{Name: "pipe", Open: func() (io.ReadCloser, error) { opened++; return r, nil }})
		log, _, err := Read(context.Background(), []Source{s}, Options{})
		if want == "" {
			require.NoError(t, err)
			assert.Equal(t, 1, log.Samples())
		} else {
			require.EqualError(t, err, "pipe"+want)
		}
		assert.Equal(t, 1, opened)
	}
}
