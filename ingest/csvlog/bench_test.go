package csvlog_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/csvlog"
)

// matchText is a long CSV of one match with that many rows: signals take turns, times are
// exact to the microsecond, values have the digits that a float32 sensor leaves (short) or
// all that a float64 has.
func matchText(rows int, short bool) []byte {
	random := rand.New(rand.NewPCG(1, 2))
	names := make([]string, 60)
	for i := range names {
		names[i] = fmt.Sprintf("drive/module%d/current", i)
	}
	var b bytes.Buffer
	b.WriteString("time_s,signal,value\n")
	for i := range rows {
		v := 20 + 15*math.Sin(float64(i)/5000) + random.NormFloat64()
		text := strconv.FormatFloat(v, 'g', -1, 64)
		if short {
			text = strconv.FormatFloat(v, 'f', 3, 64)
		}
		fmt.Fprintf(&b, "%.6f,%s,%s\n", float64(i)*37e-6, names[i%len(names)], text)
	}
	return b.Bytes()
}

func readAll(b *testing.B, text []byte, want int) {
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		builder := columns.New(columns.Options{})
		if err := csvlog.Read(bytes.NewReader(text), "match.csv", builder, 0); err != nil {
			b.Fatal(err)
		}
		if got := builder.Log().Samples(); got != want {
			b.Fatalf("%d samples, want %d", got, want)
		}
	}
}

// encodingCSV only cuts the same bytes into fields, with the standard library and in the
// fastest way it offers: the mark that importing is measured against.
func encodingCSV(b *testing.B, text []byte, want int) {
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		r := csv.NewReader(bytes.NewReader(text))
		r.ReuseRecord = true
		records := 0
		for {
			_, err := r.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			records++
		}
		if records != want {
			b.Fatalf("%d records, want %d", records, want)
		}
	}
}

func BenchmarkLong(b *testing.B) {
	const rows = 1_000_000
	quoted := func(text []byte) []byte {
		text = bytes.ReplaceAll(text, []byte(",drive"), []byte(`,"drive`))
		return bytes.ReplaceAll(text, []byte("current,"), []byte(`current",`))
	}
	for _, c := range []struct {
		name string
		text []byte
	}{
		{"short", matchText(rows, true)},
		{"digits17", matchText(rows, false)},
		{"quoted", quoted(matchText(rows, true))},
	} {
		b.Run(c.name+"/import", func(b *testing.B) { readAll(b, c.text, rows) })
		b.Run(c.name+"/encodingcsv", func(b *testing.B) { encodingCSV(b, c.text, rows+1) })
	}
}

func BenchmarkWide(b *testing.B) {
	const rows, signals = 20_000, 50
	var t bytes.Buffer
	t.WriteString("time_s")
	for i := range signals {
		fmt.Fprintf(&t, ",branch %d [A]", i)
	}
	random := rand.New(rand.NewPCG(3, 4))
	for i := range rows {
		fmt.Fprintf(&t, "\n%.3f", float64(i)*0.02)
		for range signals {
			fmt.Fprintf(&t, ",%.2f", 40*random.Float64())
		}
	}
	b.Run("import", func(b *testing.B) { readAll(b, t.Bytes(), rows*signals) })
	b.Run("encodingcsv", func(b *testing.B) { encodingCSV(b, t.Bytes(), rows+1) })
}

// BenchmarkOneSignal is ten million rows of one signal.
func BenchmarkOneSignal(b *testing.B) {
	const rows = 10_000_000
	var t bytes.Buffer
	t.WriteString("time_s,signal,value\n")
	var row []byte
	for i := range rows {
		row = strconv.AppendFloat(row[:0], float64(i)*0.001, 'f', 3, 64)
		row = append(row, ",power/voltage,"...)
		row = strconv.AppendFloat(row, 12+0.5*math.Sin(float64(i)/900), 'f', 3, 64)
		t.Write(append(row, '\n'))
	}
	b.Run("import", func(b *testing.B) { readAll(b, t.Bytes(), rows) })
	b.Run("encodingcsv", func(b *testing.B) { encodingCSV(b, t.Bytes(), rows+1) })
}
