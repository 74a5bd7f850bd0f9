package csvlog_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/csvlog"
)

// compare imports text and reads the same bytes with encoding/csv, in turns, and reports the
// medians and how many times as fast importing is. encoding/csv only cuts fields, in the
// fastest way it offers, and does nothing with them; straight is what one writes first: the
// same plus strconv and a map of slices (long files only).
func compare(b *testing.B, text []byte, samples int, long bool) {
	ways := []struct {
		name string
		run  func([]byte) int
		took []float64
	}{{name: "import", run: importAll(b)}, {name: "encoding/csv", run: cutAll(b)}, {name: "straight", run: straight(b)}}
	if !long {
		ways = ways[:2]
	}
	b.ReportAllocs()
	for b.Loop() {
		for i := range ways {
			start := time.Now()
			n := ways[i].run(text)
			ways[i].took = append(ways[i].took, time.Since(start).Seconds())
			if ways[i].name != "encoding/csv" && n != samples {
				b.Fatalf("%s: %d samples, want %d", ways[i].name, n, samples)
			}
		}
	}
	for i := range ways {
		slices.Sort(ways[i].took)
		median := ways[i].took[len(ways[i].took)/2]
		b.ReportMetric(float64(len(text))/median/1e6, ways[i].name+"-MB/s")
		if i > 0 {
			b.ReportMetric(median/ways[0].took[len(ways[0].took)/2], "x-"+ways[i].name)
		}
	}
	b.ReportMetric(0, "ns/op") // of all ways together: says nothing
}

func importAll(b *testing.B) func([]byte) int {
	return func(text []byte) int {
		builder := columns.New(columns.Options{})
		if err := csvlog.Read(bytes.NewReader(text), "match.csv", builder, 0); err != nil {
			b.Fatal(err)
		}
		return builder.Log().Samples()
	}
}

func cutAll(b *testing.B) func([]byte) int {
	return func(text []byte) (records int) {
		r := csv.NewReader(bytes.NewReader(text))
		r.ReuseRecord = true
		for {
			_, err := r.Read()
			if err == io.EOF {
				return records
			}
			if err != nil {
				b.Fatal(err)
			}
			records++
		}
	}
}

func straight(b *testing.B) func([]byte) int {
	return func(text []byte) (samples int) {
		type series struct{ time, value []float64 }
		all := map[string]*series{}
		r := csv.NewReader(bytes.NewReader(text))
		r.ReuseRecord = true
		for header := true; ; header = false {
			record, err := r.Read()
			if err == io.EOF {
				return samples
			}
			if err != nil {
				b.Fatal(err)
			}
			if header {
				continue
			}
			t, err := strconv.ParseFloat(record[0], 64)
			if err != nil {
				b.Fatal(err)
			}
			v, err := strconv.ParseFloat(record[2], 64)
			if err != nil {
				b.Fatal(err)
			}
			s := all[record[1]]
			if s == nil {
				s = &series{}
				all[string([]byte(record[1]))] = s
			}
			s.time, s.value = append(s.time, t), append(s.value, v)
			samples++
		}
	}
}

// matchText is a long CSV of one match: 60 signals take turns, times are exact to the
// microsecond, values have the digits that a float32 sensor leaves (short) or all that a
// float64 has.
func matchText(rows int, short, typed bool) []byte {
	random := rand.New(rand.NewPCG(1, 2))
	names := make([]string, 60)
	for i := range names {
		names[i] = fmt.Sprintf("drive/module%d/current", i)
	}
	header, end := "time_s,signal,value\n", "\n"
	if typed {
		header, end = "time_s,signal,value,type\n", ",float64\n"
	}
	b := bytes.NewBufferString(header)
	for i := range rows {
		v := 20 + 15*math.Sin(float64(i)/5000) + random.NormFloat64()
		text := strconv.FormatFloat(v, 'g', -1, 64)
		if short {
			text = strconv.FormatFloat(v, 'f', 3, 64)
		}
		fmt.Fprintf(b, "%.6f,%s,%s%s", float64(i)*37e-6, names[i%len(names)], text, end)
	}
	return b.Bytes()
}

func BenchmarkLong(b *testing.B) {
	const rows = 1_000_000
	short := matchText(rows, true, false)
	quoted := bytes.ReplaceAll(bytes.ReplaceAll(short, []byte(",drive"), []byte(`,"drive`)), []byte("current,"), []byte(`current",`))
	b.Run("short", func(b *testing.B) { compare(b, short, rows, true) })
	b.Run("quoted", func(b *testing.B) { compare(b, quoted, rows, true) })
	b.Run("digits17", func(b *testing.B) { compare(b, matchText(rows, false, false), rows, true) })
	b.Run("typed", func(b *testing.B) { compare(b, matchText(rows, false, true), rows, true) })
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
	compare(b, t.Bytes(), rows*signals, false)
}

// BenchmarkOneSignal is ten million rows of one signal, in order and with times running
// backwards.
func BenchmarkOneSignal(b *testing.B) {
	const rows = 10_000_000
	text := func(at func(i int) int) []byte {
		t := bytes.NewBufferString("time_us,signal,value\n")
		var row []byte
		for i := range rows {
			row = strconv.AppendInt(row[:0], int64(at(i))*1000, 10)
			row = append(row, ",power/voltage,"...)
			row = strconv.AppendFloat(row, 12+0.5*math.Sin(float64(i)/900), 'f', 3, 64)
			t.Write(append(row, '\n'))
		}
		return t.Bytes()
	}
	b.Run("in order", func(b *testing.B) { compare(b, text(func(i int) int { return i }), rows, true) })
	b.Run("backwards", func(b *testing.B) { compare(b, text(func(i int) int { return rows - i }), rows, true) })
}

func BenchmarkWriteLong(b *testing.B) {
	builder := columns.New(columns.Options{})
	if err := csvlog.Read(bytes.NewReader(matchText(1_000_000, false, false)), "match.csv", builder, 0); err != nil {
		b.Fatal(err)
	}
	log := builder.Log()
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if err := csvlog.WriteLong(&out, log); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(out.Len()))
}
