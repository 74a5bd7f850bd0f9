package cell

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func read(s string) Value {
	var v Value
	v.Read([]byte(s))
	return v
}

// Number grammar: RFC 8259 section 6 where it applies to a cell. Wider than JSON: a sign +, a
// point at either end, leading zeros, and the words for what JSON has no number for.
func TestValue(t *testing.T) {
	ints := map[string]int64{
		"0": 0, "7": 7, "+7": 7, "-7": -7, "007": 7, " 12": 12, "12\t": 12,
		"9223372036854775807": math.MaxInt64, "-9223372036854775808": math.MinInt64,
		"00000000000000000000000042": 42, "999999999999999999": 999999999999999999,
	}
	for s, want := range ints {
		v := read(s)
		assert.Equal(t, Int, v.Class, "%q", s)
		assert.Equal(t, want, v.Int, "%q", s)
	}
	floats := map[string]float64{
		"1.5": 1.5, "-0": math.Copysign(0, -1), "-0.0": math.Copysign(0, -1), "1.": 1, ".5": 0.5, "+.5e1": 5,
		"1e3": 1000, "1E-3": 0.001, "1e+22": 1e22, "9007199254740993.0": 9007199254740992,
		"9223372036854775808": 9223372036854775808, "-9223372036854775809": -9223372036854775808,
		"1e308": 1e308, "1.7976931348623157e308": math.MaxFloat64, "5e-324": math.SmallestNonzeroFloat64,
		"1e-400": 0, "0e999999999999999999999": 0, "inf": math.Inf(1), "-INF": math.Inf(-1), "Inf": math.Inf(1),
		"0.1": 0.1, "123456789012345678901234567890": 1.2345678901234568e29,
	}
	for s, want := range floats {
		v := read(s)
		assert.Equal(t, Float, v.Class, "%q", s)
		assert.Equal(t, math.Float64bits(want), math.Float64bits(v.Float), "%q: got %v, want %v", s, v.Float, want)
	}
	for _, s := range []string{"nan", "NaN", "NAN"} {
		assert.True(t, read(s).Class == Float && math.IsNaN(read(s).Float), "%q", s)
	}
	for s, want := range map[string]int64{"true": 1, "TRUE": 1, "False": 0, "false": 0} {
		assert.Equal(t, Bool, read(s).Class, "%q", s)
		assert.Equal(t, want, read(s).Int, "%q", s)
	}
	for _, s := range []string{
		"0x10", "1_0", "1e400", "-1e400", "12,1", ".", "-", "+", "-.", "e5", "1e", "1e+", "1.2.3", "1-2", "--1",
		"+inf", "infinity", "-nan", "+nan", "truE!", "t", "n", "i", " ", "\t", "1 2", "1\r", "12V", "٣", "nan0", "1e5.3",
	} {
		assert.Equal(t, Text, read(s).Class, "%q", s)
		assert.Equal(t, s, string(read(s).Raw), "%q", s)
	}
	assert.Equal(t, Empty, read("").Class)
}

func TestAsInt(t *testing.T) {
	for s, want := range map[string]int64{"5": 5, "-0": 0, " -00 ": 0} {
		v := read(s)
		got, ok := v.AsInt()
		assert.True(t, ok && got == want, "%q", s)
	}
	for _, s := range []string{"-0.0", "0.0", "-0e0", "5.0", "1e3", "9223372036854775808", "true", "x", ""} {
		v := read(s)
		_, ok := v.AsInt()
		assert.False(t, ok, "%q", s)
	}
}

func TestOverflows(t *testing.T) {
	assert.True(t, Overflows([]byte("1e400")))
	assert.True(t, Overflows([]byte(strings.Repeat("9", 310))))
	assert.False(t, Overflows([]byte("1e5.3")))
	assert.False(t, Overflows([]byte("1e308")))
}

// numberToken makes decimal numbers of all lengths, most of them near the limits of the short
// way through readNumber.
func numberToken(t *rapid.T) string {
	return rapid.StringMatching(`[-+]?([0-9]{1,25}(\.[0-9]{0,25})?|\.[0-9]{1,25})([eE][-+]?[0-9]{1,3})?`).Draw(t, "number")
}

// The reference is strconv of the Go standard library, which we did not write.
func TestNumberIsThatOfStrconv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := numberToken(t)
		v := read(s)
		want, err := strconv.ParseFloat(s, 64)
		if err != nil {
			if v.Class != Text {
				t.Fatalf("%q: class %v, want text: %v", s, v.Class, err)
			}
			return
		}
		got, ok := v.AsFloat()
		if !ok || math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q: got %v, want %v", s, got, want)
		}
		whole, err := strconv.ParseInt(s, 10, 64)
		if isInt := err == nil && !(whole == 0 && s[0] == '-'); isInt != (v.Class == Int) || isInt && v.Int != whole {
			t.Fatalf("%q: class %v %d, strconv says %d %v", s, v.Class, v.Int, whole, err)
		}
	})
}

// The digits that programs write: the fewest that tell a float64 from its neighbours, and a
// few more, which fall next to halfway between two of them.
func TestWrittenFloatsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.OneOf(rapid.Float64Range(-1000, 1000), rapid.Float64Range(-1e-9, 1e-9), rapid.Float64Range(-1e17, 1e17), rapid.Float64()).Draw(t, "f")
		for _, s := range []string{
			strconv.FormatFloat(f, 'g', -1, 64), strconv.FormatFloat(f, 'f', -1, 64), strconv.FormatFloat(f, 'e', 16, 64), strconv.FormatFloat(f, 'g', 18, 64),
		} {
			v := read(s)
			got, ok := v.AsFloat()
			if !ok || got != f {
				t.Fatalf("%v written as %s is read as %v", f, s, got)
			}
		}
	})
}

// Halfway between two neighbours the even one is taken, a hair beyond it the nearer one.
// Reference: IEEE 754, section 4.3.1.
func TestTiesGoToEven(t *testing.T) {
	for s, want := range map[string]float64{
		"9007199254740993.0":     9007199254740992, // 2^53 + 1
		"9007199254740993.01":    9007199254740994,
		"9007199254740992.99":    9007199254740992,
		"9007199254740995.0":     9007199254740996,
		"900719925474099.3125":   900719925474099.25, // spacing 1/8
		"900719925474099.4375":   900719925474099.5,
		"900719925474099.31251":  900719925474099.375,
		"90071992547409.9140625": 90071992547409.90625, // spacing 1/64
		// Closer to halfway than a quotient of 64 bits tells; wanted is what exact fractions give.
		"1.096572543081738016": 0x1.18b8fa6a3a451p0,
		"1.436414774851243803": 0x1.6fb8e0f17a301p0,
		"1.684112317219671584": 0x1.af21fc1d3fcffp0,
	} {
		v := read(s)
		assert.Equal(t, want, v.Float, "%s", s)
	}
}

var grammar = regexp.MustCompile(`^[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?$`)

func FuzzValue(f *testing.F) {
	for _, s := range []string{"1.5", "-0", "1e400", "nan", "true", "12,1", "0x1p-2", " 7", "1e-99999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v := read(s)
		require.Equal(t, s, string(v.Raw))
		number := v.Class == Int || v.Class == Float && !math.IsNaN(v.Float) && !math.IsInf(v.Float, 0)
		if looks := grammar.MatchString(strings.Trim(s, " \t")); number != (looks && !Overflows([]byte(s))) {
			t.Fatalf("%q: class %v, matches the grammar: %v", s, v.Class, looks)
		}
	})
}

func BenchmarkValue(b *testing.B) {
	for name, s := range map[string]string{"short": "11.937", "shortest": "-0.07318231244157803", "int": "20418"} {
		raw := []byte(s)
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(raw)))
			for b.Loop() {
				var v Value
				v.Read(raw)
			}
		})
		b.Run(name+" strconv", func(b *testing.B) {
			b.SetBytes(int64(len(raw)))
			for b.Loop() {
				if _, err := strconv.ParseFloat(string(raw), 64); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
