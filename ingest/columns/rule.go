package columns

import (
	"bytes"
	"fmt"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// rule says which values a signal takes.
type rule uint8

const (
	open     rule = iota // nothing is known yet: the first value decides
	numbers              // integers, until a float widens them all
	booleans             //
	words                // text that looks like nothing else
	// From here on the type was declared.
	declaredFloat
	declaredInt
	declaredBool
	declaredText // whatever stands in the cell, as it stands
)

func (r rule) declared() bool { return r >= declaredFloat }

// declaration is the rule of a declared type.
func declaration(k schemas.Kind) rule {
	return [...]rule{schemas.Float64: declaredFloat, schemas.Int64: declaredInt, schemas.Bool: declaredBool, schemas.Text: declaredText}[k]
}

// guess is the rule a signal gets from one of its values.
func guess(c cell.Class) rule {
	switch c {
	case cell.Int, cell.Float, cell.Whole, cell.Word:
		return numbers
	case cell.Bool:
		return booleans
	default:
		return words
	}
}

// takes reports whether a signal under rule r can hold v.
func (r rule) takes(v *cell.Value) bool {
	switch r {
	case declaredText:
		return true
	case declaredInt:
		_, ok := v.AsInt()
		return ok
	case declaredFloat, numbers:
		_, ok := v.AsFloat()
		return ok
	case declaredBool, booleans:
		return v.Class == cell.Bool
	case words:
		return v.Class == cell.Text || v.Class == cell.Word || v.Class == cell.Digits
	default:
		return true
	}
}

// holds is the rule in words, to follow "signal x".
func (r rule) holds() string {
	return [...]string{
		"holds nothing", "holds numbers", "holds true and false", "holds text",
		"is declared float64", "is declared int64", "is declared bool", "is declared text",
	}[r]
}

// wanted is what a value of the rule is called, to follow "is not".
func (r rule) wanted() string {
	switch r {
	case numbers, declaredFloat:
		return "a number"
	case declaredInt:
		return "an integer from -2^63 to 2^63-1"
	case booleans, declaredBool:
		return "true or false"
	default:
		return "text"
	}
}

// misfit is the fault of a value that its signal's rule does not take; because says where
// the rule comes from.
func (r rule) misfit(v *cell.Value, because string) *Fault {
	f := &Fault{What: fmt.Sprintf("%s is not %s (%s)", Quote(v.Written()), r.wanted(), because)}
	switch {
	case r == words:
		f.What = fmt.Sprintf("%s is %s (%s)", Quote(v.Written()), [...]string{
			cell.Empty: "empty", cell.Int: "a number", cell.Float: "a number", cell.Bool: "true or false", cell.Text: "text",
			cell.Whole: "a number", cell.Word: "a number", cell.Digits: "text",
		}[v.Class], because)
		f.Advice = "declare the signal's type as text in a fourth column of a long file"
	case r == booleans || r == declaredBool:
		f.Advice = "write true or false"
	case r == declaredInt && v.Class == cell.Float:
		f.Advice = "declare the signal float64"
	default:
		f.Advice = numberAdvice(v.Written())
	}
	return f
}

// numberAdvice says how to write as a number what only looks like one to people.
func numberAdvice(raw []byte) string {
	s := bytes.TrimLeft(bytes.ToLower(bytes.TrimSpace(raw)), "+-")
	digits := func(s []byte) bool {
		return len(s) > 0 && len(bytes.Trim(s, "0123456789")) == 0
	}
	before, after, comma := bytes.Cut(s, []byte(","))
	switch {
	case comma && digits(before) && digits(after):
		return "use a point for decimals"
	case bytes.HasPrefix(s, []byte("0x")):
		return "write it in decimal"
	case digits(bytes.ReplaceAll(s, []byte("_"), nil)):
		return "write the digits without _"
	case cell.Overflows(raw):
		return "the largest float64 is about 1.8e308; write inf if that is meant"
	case bytes.HasPrefix(s, []byte("nan")) || bytes.HasPrefix(s, []byte("inf")):
		return "write nan, inf or -inf"
	default:
		return "write a decimal number, or nan where there was no reading"
	}
}
