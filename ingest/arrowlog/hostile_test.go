package arrowlog

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
	out "github.com/afterbell/afterbell/schemas/arrowlog"
)

// smallFiles are valid files that between them use all the reader knows.
func smallFiles(t testing.TB) map[string][]byte {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "a", Unit: "V", Kind: schemas.Float64, Time: []int64{1, 2}, Float: []float64{11.5, 12}},
		{Name: "mode", Kind: schemas.Text, Time: []int64{1}, Text: []string{"driver"}},
	}}
	var file, stream bytes.Buffer
	require.NoError(t, out.Write(&file, log))
	require.NoError(t, out.WriteStream(&stream, log))
	r := record(t, long, `[{"time_s":1,"signal":"a [V]","value":"11.9"},{"time_s":2,"signal":"b","value":"x","boot":2}]`)
	nested := arrow.NewSchema([]arrow.Field{
		{Name: "x", Type: arrow.StructOf(arrow.Field{Name: "l", Type: arrow.ListOf(arrow.BinaryTypes.LargeString)}), Nullable: true},
		{Name: "signal", Type: arrow.BinaryTypes.String},
		{Name: "value", Type: arrow.PrimitiveTypes.Float32},
		{Name: "time_us", Type: arrow.PrimitiveTypes.Uint64},
	}, nil)
	n := record(t, nested, `[{"x":{"l":["a","b"]},"signal":"a","value":2.5,"time_us":7},{"signal":"a","value":3.5,"time_us":8}]`)
	views, err := os.ReadFile(filepath.Join("testdata", "views-go18.arrow"))
	require.NoError(t, err)
	return map[string][]byte{
		"views file":  views,
		"export file": file.Bytes(), "export stream": stream.Bytes(),
		"dictionary file zstd": fileOf(t, long, packings["zstd"], r), "dictionary stream lz4": streamOf(t, long, packings["lz4"], r),
		"nested stream": streamOf(t, nested, nil, n),
	}
}

// check reads a file that may be anything: it gives a log or one line that names it, and
// takes memory in proportion.
func check(t testing.TB, file []byte, o columns.Options) (*schemas.Log, error) {
	in, err := readAll(o, Limits{Body: 1 << 20}, file)
	if err != nil {
		require.True(t, strings.HasPrefix(err.Error(), "1.arrow"), err.Error())
		require.NotContains(t, err.Error(), "\n")
		return nil, err
	}
	return in.Log, nil
}

// Whatever byte is changed, there is a log or one line. Values have no checksum in this form,
// so a changed one may pass; what is there must be a log all the same.
func TestEveryByteChanged(t *testing.T) {
	for name, file := range smallFiles(t) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		runs, refused := 0, 0
		for i := range file {
			for _, mask := range []byte{0x01, 0x10, 0x80, 0xff} {
				file[i] ^= mask
				runs++
				log, err := check(t, file, columns.Options{SkipBadRows: true})
				if err != nil {
					refused++
				} else {
					require.Equal(t, len(anylog.Describe(log)) > 0, log.Samples() > 0)
				}
				file[i] ^= mask
			}
		}
		runtime.ReadMemStats(&after)
		each := (after.TotalAlloc - before.TotalAlloc) / uint64(runs)
		assert.Less(t, each, uint64(3<<20), "%s: bytes allocated for a file of %d", name, len(file))
		assert.Greater(t, refused, runs/10, name)
	}
}

// A file cut anywhere is noticed; who skips bad rows gets whole batches before the cut.
func TestEveryCut(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{{Name: "time_us", Type: arrow.PrimitiveTypes.Int64}, {Name: "a", Type: arrow.PrimitiveTypes.Int64}}, nil)
	var records []arrow.Record
	for _, rows := range []string{`[{"time_us":1,"a":1},{"time_us":2,"a":2}]`, `[{"time_us":3,"a":3}]`, `[{"time_us":4,"a":4}]`} {
		records = append(records, record(t, schema, rows))
	}
	for _, file := range [][]byte{fileOf(t, schema, nil, records...), streamOf(t, schema, nil, records...)} {
		stream := !bytes.HasPrefix(file, []byte(Magic))
		whole := mustRead(t, file).Find("a").Int
		most := 0
		for n := headLen; n < len(file); n++ {
			log, err := check(t, file[:n], columns.Options{})
			if err == nil { // a stream may end behind any message (the format's section "IPC Streaming Format")
				require.True(t, stream)
				require.Equal(t, whole[:log.Samples()], log.Find("a").Int)
			}
			in, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, file[:n])
			if err != nil {
				require.NotContains(t, err.Error(), "\n")
				continue
			}
			if in.Log.Samples() == 0 {
				continue
			}
			got := in.Log.Find("a").Int
			require.Equal(t, whole[:len(got)], got, "cut at %d", n)
			if in.Bad > 0 {
				require.Contains(t, in.First[0], ": the file is cut short about here; copy it again from where it was recorded")
			}
			most = max(most, len(got))
		}
		assert.Equal(t, len(whole), most)
	}
}

// The length that asks for hundreds of gigabytes when it is believed.
func TestClaimsAreNotBelieved(t *testing.T) {
	file := smallFiles(t)["export stream"]
	for at := 4; at < 8; at++ { // length of the first metadata
		c := bytes.Clone(file)
		c[at] = 0x7f
		_, err := check(t, c, columns.Options{})
		require.Error(t, err)
	}
	huge := bytes.Clone(file)
	for i := 0; i+8 <= len(huge); i += 4 {
		old := bytes.Clone(huge[i : i+8])
		for _, v := range []uint64{1 << 30, 1<<63 - 1, 1 << 63, 1<<64 - 1, 1 << 40} {
			binary.LittleEndian.PutUint64(huge[i:], v)
			_, _ = check(t, huge, columns.Options{SkipBadRows: true})
		}
		copy(huge[i:], old)
	}
}

// A small file that unpacks into a large one ends with a line before the memory is taken.
func TestBombs(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{{Name: "time_us", Type: arrow.PrimitiveTypes.Int64}, {Name: "a", Type: arrow.BinaryTypes.String}}, nil)
	r := record(t, schema, `[{"time_us":1,"a":"`+strings.Repeat("x", 4<<20)+`"}]`)
	for _, packing := range []string{"lz4", "zstd"} {
		file := fileOf(t, schema, packings[packing], r)
		require.Less(t, len(file), 100_000)
		_, err := readAll(columns.Options{}, Limits{Body: 1 << 20}, file)
		require.ErrorContains(t, err, ": column 2: a record batch unpacks to more than 1048576 bytes: split it", packing)
		_, err = readAll(columns.Options{}, Limits{Unpacked: 2 << 20}, file)
		require.ErrorContains(t, err, "the file unpacks to more than 2097152 bytes: split it", packing)
		_, err = readAll(columns.Options{SkipBadRows: true}, Limits{}, file)
		require.NoError(t, err)
	}
}

// A small file may have thousands of columns and claim many rows of each.
func TestManyColumns(t *testing.T) {
	fields := []arrow.Field{{Name: "time_us", Type: arrow.PrimitiveTypes.Int64}}
	for i := range 5000 {
		fields = append(fields, arrow.Field{Name: fmt.Sprintf("s%d", i), Type: arrow.PrimitiveTypes.Int8, Nullable: true})
	}
	schema := arrow.NewSchema(fields, nil)
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	const rows = 4000
	for i := range rows {
		b.Field(0).(*array.Int64Builder).Append(int64(i))
		for _, f := range b.Fields()[1:] {
			f.AppendNull()
		}
	}
	file := fileOf(t, schema, packings["zstd"], b.NewRecord())
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := readAll(columns.Options{}, Limits{}, file)
	runtime.ReadMemStats(&after)
	require.EqualError(t, err, "1.arrow: the table holds no samples; check that the log was recorded")
	// Unpacked they are 20 MB; decoded all at once, eight bytes a cell, they would be 160 more.
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(100<<20))
}

// What comes from a pipe ends with the reader's own error, and a stream that goes on behind
// its end is not half read.
func TestStreamsThatEndOddly(t *testing.T) {
	file := smallFiles(t)["export stream"]
	lost := errors.New("the card is gone")
	_, err := ReadStream(io.MultiReader(bytes.NewReader(file[:len(file)-200]), failing{lost}), "1.arrow", columns.New(columns.Options{}), Limits{})
	require.ErrorIs(t, err, lost)
	require.ErrorContains(t, err, "1.arrow, about byte ")
	_, err = check(t, append(bytes.Clone(file), file...), columns.Options{})
	require.ErrorContains(t, err, "there is more behind the end of the stream")
	_, err = check(t, file[:len(file)-8], columns.Options{})
	require.NoError(t, err, "without the mark at the end it is one all the same")
	_, err = check(t, []byte(Continuation), columns.Options{SkipBadRows: true})
	require.EqualError(t, err, "1.arrow: the file is cut short before its first row; copy it again from where it was recorded")
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// Anything at all is a log or one line.
func FuzzRead(f *testing.F) {
	for _, file := range smallFiles(f) {
		f.Add(file)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		log, err := check(t, file, columns.Options{SkipBadRows: true})
		if err != nil || log.Samples() == 0 {
			return
		}
		var b bytes.Buffer
		require.NoError(t, out.Write(&b, log))
		require.Equal(t, anylog.DescribeBits(log), anylog.DescribeBits(mustRead(t, b.Bytes())))
	})
}

// Bytes that were never a file.
func TestNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		noise := make([]byte, random.IntN(300))
		for i := range noise {
			noise[i] = byte(random.Uint32())
		}
		for _, head := range []string{Magic + "\x00\x00", Continuation} {
			file := append([]byte(head), noise...)
			_, err := check(t, file, columns.Options{SkipBadRows: true})
			require.Error(t, err)
			_, err = check(t, append(file, Magic...), columns.Options{SkipBadRows: true})
			require.Error(t, err)
		}
	}
}
