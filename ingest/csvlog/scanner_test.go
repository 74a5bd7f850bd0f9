package csvlog

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/columns"
)

// cut is a record, or the fault in its place, and the line it begins on.
type cut struct {
	line   int
	fields []string
	fault  string
}

func cutAll(t require.TestingT, s *scanner) (all []cut) {
	for {
		fields, _, err := s.record()
		if err == io.EOF {
			return all
		}
		c := cut{line: s.recordAt}
		var fault *columns.Fault
		if errors.As(err, &fault) {
			c.fault = fault.What
		} else {
			require.NoError(t, err)
		}
		for _, f := range fields {
			c.fields = append(c.fields, string(f))
		}
		all = append(all, c)
	}
}

// small is a scanner whose buffer is refilled and moved all the time.
func small(text string) *scanner {
	s := newScanner(iotest.OneByteReader(strings.NewReader(text)), 100)
	s.buf = make([]byte, 4)
	return s
}

// RFC 4180, section 2: the examples of its rules 1 to 7, and what else it leads to.
func TestRecords(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		want []cut
	}{
		"rule 1":                   {"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", []cut{{1, []string{"aaa", "bbb", "ccc"}, ""}, {2, []string{"zzz", "yyy", "xxx"}, ""}}},
		"rule 2, no end":           {"aaa,bbb,ccc\r\nzzz,yyy,xxx", []cut{{1, []string{"aaa", "bbb", "ccc"}, ""}, {2, []string{"zzz", "yyy", "xxx"}, ""}}},
		"rule 4, blanks":           {" a ,\tb\n", []cut{{1, []string{" a ", "\tb"}, ""}}},
		"rule 5":                   {"\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", []cut{{1, []string{"aaa", "bbb", "ccc"}, ""}, {2, []string{"zzz", "yyy", "xxx"}, ""}}},
		"rules 6 and 7, CR LF":     {"aaa,\"b\r\nbb\",ccc\r\nzzz,\"y\"\"yy\",xxx", []cut{{1, []string{"aaa", "b\r\nbb", "ccc"}, ""}, {3, []string{"zzz", `y"yy`, "xxx"}, ""}}},
		"LF alone":                 {"a,b\nc,d\n", []cut{{1, []string{"a", "b"}, ""}, {2, []string{"c", "d"}, ""}}},
		"byte order mark":          {"\ufeffa,b\n\ufeffc", []cut{{1, []string{"a", "b"}, ""}, {2, []string{"\ufeffc"}, ""}}},
		"mark before a quote":      {"\ufeff\"a\",b", []cut{{1, []string{"a", "b"}, ""}}},
		"empty lines":              {"\n\r\na\n\n\nb", []cut{{3, []string{"a"}, ""}, {6, []string{"b"}, ""}}},
		"empty fields":             {",\n\"\",\n,\"\"", []cut{{1, []string{"", ""}, ""}, {2, []string{"", ""}, ""}, {3, []string{"", ""}, ""}}},
		"only marks":               {`""""` + "\n" + `"""""",x`, []cut{{1, []string{`"`}, ""}, {2, []string{`""`, "x"}, ""}}},
		"CR inside a line":         {"a\rb,c\n", []cut{{1, []string{"a\rb", "c"}, ""}}},
		"two CR at the end":        {"a\r\r\n", []cut{{1, []string{"a\r"}, ""}}},
		"lines inside marks count": {"\"a\n\n\nb\"\nc", []cut{{1, []string{"a\n\n\nb"}, ""}, {5, []string{"c"}, ""}}},
		"nothing":                  {"", nil},
		"mark alone":               {"\ufeff", nil},
		"never closed": {"a,\"b\nc\nd,e", []cut{
			{1, nil, "a quotation mark is not closed before the end of the file"}, {2, []string{"c"}, ""}, {3, []string{"d", "e"}, ""},
		}},
		"stray mark costs one row": {"a,b\"\nc,\"d\"\n", []cut{
			{1, nil, `a quotation mark stands inside "b\"", a field that does not begin with one`}, {2, []string{"c", "d"}, ""},
		}},
		"stray mark in the last row": {"a,b\"", []cut{{1, nil, `a quotation mark stands inside "b\"", a field that does not begin with one`}}},
		"more behind the closing mark": {"\"a\"b,c\nd\n", []cut{
			{1, nil, `the field goes on behind its closing quotation mark with "b"`}, {2, []string{"d"}, ""},
		}},
		"opened mark closed by a later row": {"1,\"x\n2,y\"z\n3,y\n", []cut{
			{1, nil, `the field goes on behind its closing quotation mark with "z"`},
			{2, nil, `a quotation mark stands inside "y\"z", a field that does not begin with one`},
			{3, []string{"3", "y"}, ""},
		}},
		"opened mark before a quoted row": {"1,\"x\n2,\"y\"\n", []cut{
			{1, nil, "a quotation mark is not closed before the end of the file"}, {2, []string{"2", "y"}, ""},
		}},
		"a row too long": {strings.Repeat("x", 101) + "\r\na,b\n" + strings.Repeat("y", 300), []cut{
			{1, nil, "the row is longer than 100 bytes"}, {2, []string{"a", "b"}, ""}, {3, nil, "the row is longer than 100 bytes"},
		}},
		"the longest row": {strings.Repeat("x", 100) + "\na", []cut{{1, []string{strings.Repeat("x", 100)}, ""}, {2, []string{"a"}, ""}}},
		"marks too far apart": {"\"a\n" + strings.Repeat("x\n", 60) + "\"\n", append(append(
			[]cut{{1, nil, "a quotation mark is not closed within 100 bytes"}}, lines(2, 60)...),
			cut{62, nil, "a quotation mark is not closed before the end of the file"})},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScanner(strings.NewReader(c.text), 100)
			assert.Equal(t, c.want, cutAll(t, s))
			assert.Equal(t, c.want, cutAll(t, small(c.text)), "byte by byte")
		})
	}
}

func lines(from, n int) (all []cut) {
	for i := range n {
		all = append(all, cut{from + i, []string{"x"}, ""})
	}
	return all
}

// The reference is encoding/csv of the Go standard library. The one known difference is on
// purpose: it turns CR LF inside quotation marks into LF, which would change text values.
func TestRecordsAreThoseOfEncodingCSV(t *testing.T) {
	field := rapid.OneOf(rapid.StringMatching(`[a-z0-9 .,"\n]{0,12}`), rapid.String())
	rapid.Check(t, func(t *rapid.T) {
		var written bytes.Buffer
		w := csv.NewWriter(&written)
		w.UseCRLF = rapid.Bool().Draw(t, "CRLF")
		var want [][]string
		for range rapid.IntRange(1, 8).Draw(t, "records") {
			record := rapid.SliceOfN(field, 2, 5).Draw(t, "record")
			for i := range record {
				record[i] = strings.NewReplacer("\r", "R", byteOrderMark, "B").Replace(record[i])
			}
			require.NoError(t, w.Write(record))
			want = append(want, record)
		}
		w.Flush()
		text := written.String()
		if w.UseCRLF { // it writes line ends inside fields as CR LF too
			for _, record := range want {
				for i := range record {
					record[i] = strings.ReplaceAll(record[i], "\n", "\r\n")
				}
			}
		}
		for _, s := range []*scanner{newScanner(strings.NewReader(text), 1<<20), small(text)} {
			s.most = 1 << 20
			var got [][]string
			for _, c := range cutAll(t, s) {
				require.Empty(t, c.fault)
				got = append(got, c.fields)
			}
			require.Equal(t, want, got)
		}
	})
}

// A reader that breaks hands on its error after all whole lines, and not what it broke off in.
func TestBrokenReader(t *testing.T) {
	broken := errors.New("broken")
	for _, text := range []string{"a,b\nc", "a,b\n", "a,b\n\"c\nd", "a,b\n" + strings.Repeat("x", 200)} {
		s := newScanner(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), 100)
		fields, _, err := s.record()
		require.NoError(t, err)
		assert.Len(t, fields, 2)
		for range 2 {
			_, _, err = s.record()
			assert.ErrorIs(t, err, broken, "%q", text)
			assert.Equal(t, 2, s.recordAt)
		}
	}
}
