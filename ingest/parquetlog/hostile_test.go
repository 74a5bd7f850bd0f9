package parquetlog

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/apart"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/table"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/footer"
)

// smallFiles are valid files of others that between them use what writers use.
func smallFiles(t testing.TB) map[string][]byte {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "a", Unit: "V", Kind: schemas.Float64, Time: []int64{1, 2}, Float: []float64{11.5, 12}},
		{Name: "mode", Kind: schemas.Text, Time: []int64{1}, Text: []string{"driver"}},
	}}
	type sample struct {
		Time   float64 `parquet:"time_s"`
		Signal string  `parquet:"signal,delta"`
		Value  *string `parquet:"value,optional,dict"`
	}
	x := "1.5"
	rows := []sample{{1, "a", &x}, {2, "a", nil}, {3, "b", &x}}
	return map[string][]byte{
		"anew":      anew(t, matchFile(t, log), true),
		"version 1": fileOf(t, rows, parquet.DataPageVersion(1), parquet.Compression(&parquet.Snappy)),
		"version 2": fileOf(t, rows, parquet.Compression(&parquet.Zstd)),
	}
}

const flipMasks = "\x01\x90"

// flips is work apart for tests: it decodes every file that differs from the one at hand, less
// its last 8 bytes, in one byte, from the one on that those 8 bytes number, and says of each how it
// went. A flip that ends the process is the one after the last it spoke of.
func flips(in *os.File, out io.Writer) error {
	all, err := io.ReadAll(in)
	if err != nil {
		return err
	}
	file := all[:len(all)-8]
	for n := int(binary.LittleEndian.Uint64(all[len(file):])); n < len(file)*len(flipMasks); n++ {
		i, mask := n/len(flipMasks), flipMasks[n%len(flipMasks)]
		file[i] ^= mask
		err := footer.Check(bytes.NewReader(file), int64(len(file)))
		if err == nil {
			err = decode(bytes.NewReader(file), int64(len(file)), 1<<20, table.NewPipeWriter(io.Discard))
		}
		file[i] ^= mask
		if _, err := fmt.Fprintf(out, "%d %q\n", n, fmt.Sprint(err)); err != nil {
			return err
		}
	}
	return nil
}

// Whatever byte of a file of others is changed, it is read, or refused with one line; a process
// that dies of it is one apart.
func TestEveryByteChanged(t *testing.T) {
	for name, file := range smallFiles(t) {
		path := filepath.Join(t.TempDir(), "flips")
		refused, died := 0, []int{}
		for next, end := 0, len(file)*len(flipMasks); next < end; {
			require.NoError(t, os.WriteFile(path, binary.LittleEndian.AppendUint64(bytes.Clone(file), uint64(next)), 0o600))
			f, err := os.Open(path)
			require.NoError(t, err)
			err = apart.Run(context.Background(), "flips", nil, f, apart.Limits{Memory: 256 << 20}, func(r io.Reader) error {
				for lines := bufio.NewScanner(r); lines.Scan(); next++ {
					var n int
					var what string
					_, err := fmt.Sscanf(lines.Text(), "%d %q", &n, &what)
					require.NoError(t, err)
					require.Equal(t, next, n)
					if what != "<nil>" {
						refused++
					}
				}
				return nil
			})
			f.Close()
			var e *apart.Error
			if next < end {
				require.ErrorAs(t, err, &e)
				died = append(died, next)
				next++
			}
		}
		assert.Greater(t, refused, len(file)/2, name)
		t.Logf("%s: %d flips, %d refused, %d died", name, len(file)*len(flipMasks), refused, len(died))
		for _, n := range died[:min(len(died), 5)] {
			checkFlip(t, file, n)
		}
		for n := 0; n < len(file)*len(flipMasks); n += 397 { // and the whole way of some
			checkFlip(t, file, n)
		}
	}
}

// checkFlip reads a file with one byte changed as import does.
func checkFlip(t *testing.T, file []byte, n int) {
	t.Helper()
	changed := bytes.Clone(file)
	changed[n/len(flipMasks)] ^= flipMasks[n%len(flipMasks)]
	in, err := readAll(columns.Options{SkipBadRows: true}, Limits{Memory: 256 << 20}, changed)
	if err != nil {
		require.True(t, strings.HasPrefix(err.Error(), "1.parquet"), err.Error())
		require.NotContains(t, err.Error(), "\n")
		return
	}
	require.Equal(t, len(anylog.Describe(in.Log)) > 0, in.Log.Samples() > 0)
}

// A file cut anywhere is refused: what it holds stands at its end.
func TestEveryCut(t *testing.T) {
	for name, file := range smallFiles(t) {
		for n := len(Magic); n < len(file); n++ {
			_, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, file[:n])
			require.ErrorContains(t, err, "1.parquet: the Parquet data are damaged (", name)
			require.NotContains(t, err.Error(), "\n")
		}
	}
}

// The same for a match file, which this program reads itself: each change is noticed.
func TestOurFilesDamaged(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "a", Unit: "V", Kind: schemas.Float64, Time: []int64{1, 2}, Float: []float64{11.5, 12}},
		{Name: "mode", Kind: schemas.Text, Time: []int64{1}, Text: []string{"driver"}},
	}}
	file := matchFile(t, log)
	for i := range file {
		file[i] ^= 0x20
		in, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, file)
		if err == nil { // the mark that says whose it is, which another program does not write, or the magic that others need
			assert.Equal(t, 3, in.Log.Samples(), "byte %d", i)
		} else {
			require.NotContains(t, err.Error(), "\n")
		}
		file[i] ^= 0x20
	}
	for n := len(Magic); n < len(file); n++ {
		_, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, file[:n])
		require.ErrorContains(t, err, "1.parquet: the Parquet data are damaged (")
	}
}

// A match file of a few bytes may claim billions of samples, which all are the same.
func TestOurFilesThatAskForTooMuch(t *testing.T) {
	n := 200_000
	s := &schemas.Signal{Name: "a", Kind: schemas.Bool, Time: make([]int64, n), Bool: make([]bool, n)}
	for i := range n {
		s.Time[i] = int64(i)
	}
	file := matchFile(t, &schemas.Log{Signals: []*schemas.Signal{s}})
	_, err := readAll(columns.Options{}, Limits{Samples: 1 << 20}, file)
	require.EqualError(t, err, "1.parquet: its samples take more than 1048576 bytes of memory; export its signals apart and import them one by one")
	_, err = readAll(columns.Options{}, Limits{Samples: 4 << 20}, file)
	require.NoError(t, err)
}

// Pages that unpack into far more than a page has are refused before they are unpacked.
func TestBombs(t *testing.T) {
	type sample struct {
		Time int64  `parquet:"time_us"`
		A    string `parquet:"a"`
	}
	var page bytes.Buffer
	header := format.PageHeader{UncompressedPageSize: mostPage + 1, CompressedPageSize: 9, DataPageHeader: thrift.New(format.DataPageHeader{NumValues: 1})}
	page.WriteString(Magic)
	require.NoError(t, thrift.NewEncoder(new(thrift.CompactProtocol).NewWriter(&page)).Encode(&header))
	page.WriteString("nine more")
	left := int64(1 << 40)
	meta := format.ColumnMetaData{DataPageOffset: 4, TotalCompressedSize: int64(page.Len() - 4)}
	err := checkChunk(bytes.NewReader(page.Bytes()), int64(page.Len()), &meta, &left)
	require.ErrorContains(t, err, "unpacks to 268435457 bytes, which is too much")

	small := fileOf(t, []sample{{1, strings.Repeat("x", 1<<20)}}, parquet.Compression(&parquet.Zstd))
	_, err = readAll(columns.Options{}, Limits{}, small)
	require.ErrorContains(t, err, `longer than 65536 bytes`)
	err = decode(bytes.NewReader(small), int64(len(small)), 1<<19, table.NewPipeWriter(io.Discard))
	require.ErrorContains(t, err, "which is too much")
}

// Anything at all is read or refused.
func FuzzDecode(f *testing.F) {
	for _, file := range smallFiles(f) {
		f.Add(file)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		if footer.Check(bytes.NewReader(file), int64(len(file))) != nil {
			return
		}
		b := columns.New(columns.Options{SkipBadRows: true})
		s := &sink{name: "1.parquet", b: b, progress: func(int64, int64) {}}
		var pipe bytes.Buffer
		w := table.NewPipeWriter(&pipe)
		err := decode(bytes.NewReader(file), int64(len(file)), 1<<20, w)
		require.NoError(t, w.End(err))
		err = table.ReadPipe(&pipe, s)
		require.False(t, errors.Is(err, table.ErrBroken), "what is written to the pipe can be read")
	})
}
