package csvlog_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// row is one row of a long file with types.
type row struct {
	us                int64
	name, unit        string
	value, typ        string
	rank              int // order of writing
	asInt, asFloat    bool
	number            float64
	integer           int64
	isBool, localFine bool
}

// readValue judges a row by itself, with strconv instead of package cell.
func (r *row) readValue() {
	var err error
	r.integer, err = strconv.ParseInt(r.value, 10, 64)
	r.asInt = err == nil && r.value != "-0"
	r.number, err = strconv.ParseFloat(r.value, 64)
	r.asFloat = err == nil
	r.isBool = r.value == "true" || r.value == "false"
	switch r.typ {
	case "float64":
		r.localFine = r.asFloat
	case "int64":
		r.localFine = r.asInt || r.value == "-0"
	case "bool":
		r.localFine = r.isBool
	default:
		r.localFine = true
	}
}

func (r *row) class() string {
	switch {
	case r.typ != "":
		return r.typ
	case r.asFloat:
		return "number"
	case r.isBool:
		return "true or false"
	default:
		return "words"
	}
}

func (r *row) fits(class string) bool {
	if r.typ != "" {
		return r.typ == class
	}
	switch class {
	case "number", "float64":
		return r.asFloat
	case "int64":
		return r.asInt || r.value == "-0"
	case "text":
		return true
	case "bool", "true or false":
		return r.isBool
	default:
		return !r.asFloat && !r.isBool
	}
}

// expected is what the definitions say about the rows of a log, worked out the long way: sort
// by time, see what comes first, leave out what contradicts.
func expected(rows []row) (log *schemas.Log, bad int) {
	log = &schemas.Log{}
	signals := map[string][]row{}
	for i := range rows {
		r := &rows[i]
		r.readValue()
		switch {
		case r.value == "" && r.typ != "text": // no sample
		case !r.localFine:
			bad++
		default:
			signals[r.name] = append(signals[r.name], *r)
		}
	}
	for name, rows := range signals {
		slices.SortFunc(rows, func(a, b row) int { // what decides stands first: early, then late in the file
			if a.us != b.us {
				return int(a.us - b.us)
			}
			return b.rank - a.rank
		})
		s := &schemas.Signal{Name: name}
		for _, r := range rows {
			if r.unit != "" && s.Unit == "" {
				s.Unit = r.unit
			}
		}
		all := len(rows)
		rows = slices.DeleteFunc(rows, func(r row) bool { return r.unit != "" && r.unit != s.Unit })
		class := rows[0].class()
		if i := slices.IndexFunc(rows, func(r row) bool { return r.typ != "" }); i >= 0 {
			class = rows[i].typ
		}
		rows = slices.DeleteFunc(rows, func(r row) bool { return !r.fits(class) })
		bad += all - len(rows)
		switch {
		case class == "bool" || class == "true or false":
			s.Kind = schemas.Bool
		case class == "text" || class == "words":
			s.Kind = schemas.Text
		case class == "int64" || class == "number" && !slices.ContainsFunc(rows, func(r row) bool { return !r.asInt }):
			s.Kind = schemas.Int64
		}
		for i, r := range rows {
			if i > 0 && rows[i-1].us == r.us {
				continue
			}
			s.Time = append(s.Time, r.us)
			switch s.Kind {
			case schemas.Float64:
				s.Float = append(s.Float, r.number)
			case schemas.Int64:
				s.Int = append(s.Int, r.integer)
			case schemas.Bool:
				s.Bool = append(s.Bool, r.value == "true")
			case schemas.Text:
				s.Text = append(s.Text, r.value)
			}
		}
		log.Signals = append(log.Signals, s)
	}
	slices.SortFunc(log.Signals, func(a, b *schemas.Signal) int { return strings.Compare(a.Name, b.Name) })
	return log, bad
}

var rowGenerator = rapid.Custom(func(t *rapid.T) row {
	r := row{
		us:    rapid.Int64Range(-3, 6).Draw(t, "us"),
		name:  rapid.SampledFrom([]string{"a", "b", "c/d"}).Draw(t, "name"),
		unit:  rapid.SampledFrom([]string{"", "", "", "V", "mV"}).Draw(t, "unit"),
		value: rapid.SampledFrom([]string{"1", "-7", "2", "2.5", "nan", "-inf", "-0", "9223372036854775808", "true", "false", "on", "", "12,1", "0x1"}).Draw(t, "value"),
		typ:   rapid.SampledFrom([]string{"", "", "", "", "float64", "int64", "bool", "text"}).Draw(t, "type"),
	}
	return r
})

func writeRows(rows []row) string {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"time_s", "signal", "value", "type"})
	for _, r := range rows {
		name := r.name
		if r.unit != "" {
			name += " [" + r.unit + "]"
		}
		_ = w.Write([]string{fmt.Sprintf("%.6f", float64(r.us)/1e6), name, r.value, r.typ})
	}
	w.Flush()
	return b.String()
}

func TestReadIsWhatTheContractSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rowGenerator, 1, 25).Draw(t, "rows")
		if rapid.Bool().Draw(t, "calm") { // mostly one type, as real logs are
			for i := range rows {
				rows[i].typ, rows[i].unit = "", ""
				if rapid.IntRange(0, 9).Draw(t, "odd") > 0 {
					rows[i].value = rapid.SampledFrom([]string{"1", "2", "2.5"}).Draw(t, "number")
				}
			}
		}
		for i := range rows {
			rows[i].rank = i
		}
		want, bad := expected(rows)
		cut := rapid.IntRange(0, len(rows)).Draw(t, "cut")
		for _, texts := range [][]string{{writeRows(rows)}, {writeRows(rows[:cut]), writeRows(rows[cut:])}} {
			in, err := read(columns.Options{SkipBadRows: true}, texts...)
			if err != nil { // a file without one sample
				require.ErrorContains(t, err, "holds no samples")
				continue
			}
			require.Equal(t, describe(want), describe(in.log))
			require.Equal(t, bad, in.bad)
			_, err = read(columns.Options{}, texts...)
			require.Equal(t, bad > 0, err != nil)
		}
	})
}

// Order on input never changes a result, as long as no time of a signal comes twice.
func TestOrderOfRowsChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		key := func(r row) string { return fmt.Sprint(r.name, r.us) }
		rows := rapid.SliceOfNDistinct(rowGenerator, 1, 20, key).Draw(t, "rows")
		want, err := read(columns.Options{SkipBadRows: true}, writeRows(rows))
		if err != nil {
			require.ErrorContains(t, err, "holds no samples")
			return
		}
		doubled := append(slices.Clone(rows), rows...)
		for name, other := range map[string][]row{
			"shuffled": rapid.Permutation(rows).Draw(t, "shuffled"),
			"doubled":  rapid.Permutation(doubled).Draw(t, "doubled"),
		} {
			got, err := read(columns.Options{SkipBadRows: true}, writeRows(other))
			require.NoError(t, err)
			require.Equal(t, describe(want.log), describe(got.log), name)
		}
	})
}

// A wide file and the long one with the same cells are the same log.
func TestWideIsLong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.SampledFrom([]string{"", "", "1", "2.5", "-3e2", "nan", "true", "x", "7 ", "\"q\"\"\n\"", "12345678901234567890"})
		columnsOf := rapid.IntRange(1, 4).Draw(t, "columns")
		var wide, long strings.Builder
		wide.WriteString("time_s")
		long.WriteString("time_s,signal,value\n0,z,0\n")
		for c := range columnsOf {
			fmt.Fprintf(&wide, ",s%d [u%d]", c, c)
		}
		wide.WriteString(",z\n0" + strings.Repeat(",", columnsOf) + ",0\n")
		for i := range rapid.IntRange(0, 12).Draw(t, "rows") {
			fmt.Fprintf(&wide, "%d", i%7)
			for c := range columnsOf {
				v := cell.Draw(t, "cell")
				fmt.Fprintf(&wide, ",%s", v)
				fmt.Fprintf(&long, "%d,s%d [u%d],%s\n", i%7, c, c, v)
			}
			wide.WriteString(",\n")
		}
		a, err := read(columns.Options{SkipBadRows: true}, wide.String())
		require.NoError(t, err)
		b, err := read(columns.Options{SkipBadRows: true}, long.String())
		require.NoError(t, err)
		require.Equal(t, describe(b.log), describe(a.log))
	})
}

// Times may run backwards all the way.
func TestTimesRunningBackwards(t *testing.T) {
	const n = 100_000
	var text strings.Builder
	text.WriteString("time_us,signal,value\n")
	for i := n; i > 0; i-- {
		fmt.Fprintf(&text, "%d,s,%d\n", i, i*i)
	}
	s := mustRead(t, text.String()).Find("s")
	require.Equal(t, n, s.Len())
	for i := range n {
		require.Equal(t, int64(i+1), s.Time[i])
		require.Equal(t, int64(i+1)*int64(i+1), s.Int[i])
	}
}
