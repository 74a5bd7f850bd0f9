// Package anylog is for tests of the forms that logs are read from and written in: it draws
// logs of all kinds with the oddest names, times and values, and prints logs so that two can
// be compared and a difference can be read.
package anylog

import (
	"fmt"
	"math"
	"strings"

	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/units"
)

// Any draws normalized logs of one to five signals, each of one sample at least.
var Any = rapid.Custom(func(t *rapid.T) *schemas.Log {
	log := &schemas.Log{}
	seen := map[string]bool{}
	boots := rapid.IntRange(0, 3).Draw(t, "several boots") == 0
	for range rapid.IntRange(1, 5).Draw(t, "signals") {
		s := &schemas.Signal{Kind: rapid.SampledFrom([]schemas.Kind{schemas.Float64, schemas.Int64, schemas.Bool, schemas.Text}).Draw(t, "kind")}
		s.Name, s.Unit = units.Split(name.Draw(t, "name"))
		if s.Name == "" || seen[s.Name] {
			s.Name, s.Unit = fmt.Sprintf("another %d", len(seen)), ""
		}
		seen[s.Name] = true
		s.Time = rapid.SliceOfN(micros, 1, 12).Draw(t, "time")
		for range s.Time {
			if boots {
				s.Boot = append(s.Boot, rapid.SampledFrom([]int32{0, 0, 1, 7, math.MinInt32, math.MaxInt32}).Draw(t, "boot"))
			}
			switch s.Kind {
			case schemas.Float64:
				s.Float = append(s.Float, float.Draw(t, "float"))
			case schemas.Int64:
				s.Int = append(s.Int, rapid.OneOf(rapid.Int64(), rapid.SampledFrom([]int64{math.MinInt64, math.MaxInt64, 1<<53 + 1, -1<<53 - 1})).Draw(t, "int"))
			case schemas.Bool:
				s.Bool = append(s.Bool, rapid.Bool().Draw(t, "bool"))
			case schemas.Text:
				s.Text = append(s.Text, text.Draw(t, "text"))
			}
		}
		log.Signals = append(log.Signals, s)
	}
	log.Normalize()
	return log
})

var (
	name   = rapid.OneOf(rapid.StringMatching(`[a-z]{1,4}(/[a-z0-9 ,"\[\]\r\n]{1,6})?( \[[a-zA-Z%/²]*\])?`), rapid.StringN(1, 20, 80))
	micros = rapid.OneOf(rapid.Int64Range(-20, 20), rapid.Int64Range(-9e18, 9e18))
	text   = rapid.OneOf(rapid.SampledFrom([]string{"", "nan", "1", "true", "\r\n", "\"", ",", " ", "-0", "a\rb", "9223372036854775807", "\u2028<&>\\"}), rapid.String())

	float = rapid.OneOf(
		rapid.Float64(), rapid.Custom(func(t *rapid.T) float64 { return math.Float64frombits(rapid.Uint64().Draw(t, "bits")) }),
		rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1), 5e-324, 5, 1 << 60}),
	)
)

// Describe is a log as lines of text, floats by their bits. All NaN are one.
func Describe(log *schemas.Log) string { return describe(log, false) }

// DescribeBits is Describe with the payload of each NaN.
func DescribeBits(log *schemas.Log) string { return describe(log, true) }

func describe(log *schemas.Log, payloads bool) string {
	var b strings.Builder
	for _, s := range log.Signals {
		fmt.Fprintf(&b, "%q [%s] %s\n", s.Name, s.Unit, s.Kind)
		for i, t := range s.Time {
			fmt.Fprintf(&b, "  %d", t)
			if boot := s.BootAt(i); boot != 0 {
				fmt.Fprintf(&b, " boot %d", boot)
			}
			switch s.Kind {
			case schemas.Float64:
				if v := s.Float[i]; math.IsNaN(v) && !payloads {
					b.WriteString(" nan\n")
				} else {
					fmt.Fprintf(&b, " %v %x\n", v, math.Float64bits(v))
				}
			case schemas.Int64:
				fmt.Fprintf(&b, " %d\n", s.Int[i])
			case schemas.Bool:
				fmt.Fprintf(&b, " %t\n", s.Bool[i])
			case schemas.Text:
				fmt.Fprintf(&b, " %q\n", s.Text[i])
			}
		}
	}
	return b.String()
}
