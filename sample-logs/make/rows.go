package main

import (
	"bufio"
	"io"
	"math"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

// writeLong writes a log as a robot would send it: one sample a row, in order of time.
func writeLong(w io.Writer, log *schemas.Log) error {
	out := bufio.NewWriter(w)
	out.WriteString("time_s,signal,value,type\n")
	next := make([]int, len(log.Signals))
	for t, ok := earliest(log, next); ok; t, ok = earliest(log, next) {
		for k, s := range log.Signals {
			for ; next[k] < s.Len() && s.Time[next[k]] == t; next[k]++ {
				out.WriteString(seconds(t) + "," + heading(s) + "," + value(s, next[k]) + "," + s.Kind.String() + "\n")
			}
		}
	}
	return out.Flush()
}

// writeWide writes a log as a table: a column a signal, a row a time, an empty cell where a
// signal has no sample.
func writeWide(w io.Writer, log *schemas.Log) error {
	out := bufio.NewWriter(w)
	out.WriteString("time_s")
	for _, s := range log.Signals {
		out.WriteString("," + heading(s))
	}
	out.WriteByte('\n')
	next := make([]int, len(log.Signals))
	for t, ok := earliest(log, next); ok; t, ok = earliest(log, next) {
		out.WriteString(seconds(t))
		for k, s := range log.Signals {
			out.WriteByte(',')
			if next[k] < s.Len() && s.Time[next[k]] == t {
				out.WriteString(value(s, next[k]))
				next[k]++
			}
		}
		out.WriteByte('\n')
	}
	return out.Flush()
}

// earliest is the first time not written yet.
func earliest(log *schemas.Log, next []int) (int64, bool) {
	t := int64(math.MaxInt64)
	for k, s := range log.Signals {
		if next[k] < s.Len() {
			t = min(t, s.Time[next[k]])
		}
	}
	return t, t != math.MaxInt64
}

// heading is a signal's name with its unit. Names here hold nothing that needs quotes.
func heading(s *schemas.Signal) string {
	if s.Unit == "" {
		return s.Name
	}
	return s.Name + " [" + s.Unit + "]"
}

// seconds in as many decimals as needed.
func seconds(us int64) string { return strconv.FormatFloat(float64(us)/1e6, 'f', -1, 64) }

func value(s *schemas.Signal, i int) string {
	switch s.Kind {
	case schemas.Text:
		return s.Text[i]
	case schemas.Bool:
		return strconv.FormatBool(s.Bool[i])
	case schemas.Int64:
		return strconv.FormatInt(s.Int[i], 10)
	default:
		return strconv.FormatFloat(s.Float[i], 'f', -1, 64)
	}
}

// sample is one file of the folder.
type sample struct {
	scenario string
	wide     bool
	zstd     bool
}

func (s sample) file() string {
	if s.zstd {
		return s.scenario + ".csv.zst"
	}
	return s.scenario + ".csv.gz"
}

// samples are the logs in the folder, in both forms and packings.
var samples = []sample{
	{scenario: "clean", wide: true},
	{scenario: "jam-reversed", wide: true},
	{scenario: "jam-stuck", wide: true, zstd: true},
	{scenario: "brownout", wide: true},
	{scenario: "bad-balance", wide: true},
	{scenario: "rookie"},
}
