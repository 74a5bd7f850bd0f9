// Package units knows the units that ride on signals ("bus voltage [V]") and how their
// values become the units the project computes in: SI, with degrees where a role says so.
//
// Factors are exact by definition: the SI Brochure (BIPM, 9th edition, 2019) for SI units,
// prefixes, degree, minute and hour; NIST SP 811 (2008), appendix B, for inch, foot,
// pound and degree Fahrenheit.
package units

import (
	"fmt"
	"strings"
)

// Quantity is what a unit measures. Units of one quantity convert into each other.
type Quantity uint8

// The quantities that occur on robots; the comment is the base unit.
const (
	Ratio        Quantity = iota // 1
	Voltage                      // V
	Current                      // A
	Power                        // W
	Energy                       // J
	Charge                       // C (coulomb)
	Resistance                   // Ohm
	Time                         // s
	Frequency                    // Hz
	Length                       // m
	Speed                        // m/s
	Acceleration                 // m/s²
	Angle                        // rad
	AngularSpeed                 // rad/s
	Mass                         // kg
	Force                        // N
	Torque                       // N m
	Temperature                  // °C
	Pressure                     // Pa
)

var quantityNames = [...]string{
	"a plain number", "a voltage", "a current", "a power", "an energy", "a charge", "a resistance",
	"a time", "a frequency", "a length", "a speed", "an acceleration", "an angle",
	"an angular speed", "a mass", "a force", "a torque", "a temperature", "a pressure",
}

// String is the quantity with its article, ready for a sentence: "a voltage".
func (q Quantity) String() string {
	if int(q) < len(quantityNames) {
		return quantityNames[q]
	}
	return fmt.Sprintf("Quantity(%d)", uint8(q))
}

// Unit is one unit: base = v·Num/Den + Offset. Numerator and denominator are apart because
// 6801 mV is 6801/1000 rounded once, while 6801·0.001 would round twice and could land on
// the wrong side of a threshold.
type Unit struct {
	Symbol   string // the spelling the project shows
	Quantity Quantity
	Num, Den float64
	Offset   float64
}

// Conversion is v·Mul/Div + Add.
type Conversion struct{ Mul, Div, Add float64 }

// Apply converts one value.
func (c Conversion) Apply(v float64) float64 { return v*c.Mul/c.Div + c.Add }

// Identity reports whether c changes nothing.
func (c Conversion) Identity() bool { return c == Conversion{1, 1, 0} }

// To is the conversion from u to target. Units of different quantities are an error that
// names both.
func (u Unit) To(target Unit) (Conversion, error) {
	if u.Quantity != target.Quantity {
		return Conversion{}, fmt.Errorf("%s is %s, not %s", u.Symbol, u.Quantity, target.Quantity)
	}
	if u.Num == target.Num && u.Den == target.Den && u.Offset == target.Offset {
		return Conversion{1, 1, 0}, nil
	}
	return Conversion{
		Mul: u.Num * target.Den,
		Div: u.Den * target.Num,
		Add: (u.Offset - target.Offset) * target.Den / target.Num,
	}, nil
}

// Base is the unit of q that the project computes in.
func Base(q Quantity) Unit {
	for _, row := range table {
		if row.Quantity == q && row.Num == row.Den && row.Offset == 0 {
			return row.Unit
		}
	}
	panic("units: no base unit for " + q.String())
}

// Find is the unit of that spelling. A spelling is first taken as written, then without
// regard to case, blanks, dots and the sign used for micro, degree and ohm.
func Find(spelling string) (Unit, bool) {
	if i, ok := byName[spelling]; ok {
		return table[i].Unit, true
	}
	i, ok := byName[fold(spelling)]
	if !ok {
		return Unit{}, false
	}
	return table[i].Unit, true
}

var folder = strings.NewReplacer(
	" ", "", "\u00a0", "", "·", "", "⋅", "", "*", "", "^", "", "²", "2",
	"µ", "u", "μ", "u", "°", "deg", "º", "deg", "ω", "ohm", "Ω", "ohm",
)

func fold(s string) string { return folder.Replace(strings.ToLower(s)) }

// Split cuts a unit that rides on a signal's name: "bus voltage [V]" is "bus voltage" and
// "V", in the form it had. Only a bracket at the very end counts; without a blank before
// it what it holds must be a unit we know, so motor[0] stays a name. A text with nothing
// before or inside the bracket is kept whole.
func Split(s string) (name, unit string) {
	s = strings.TrimSpace(s)
	if !strings.HasSuffix(s, "]") {
		return s, ""
	}
	open := strings.LastIndexByte(s, '[')
	if open < 1 {
		return s, ""
	}
	name, unit = strings.TrimSpace(s[:open]), strings.TrimSpace(s[open+1:len(s)-1])
	if name == "" || unit == "" {
		return s, ""
	}
	if apart := s[open-1] == ' ' || s[open-1] == '\t'; !apart {
		if _, known := Find(unit); !known {
			return s, ""
		}
	}
	return name, unit
}

// Join is name and unit in one text that Split takes apart into these again. ok is false when
// there is none, as for the name "bus [V]" without a unit.
func Join(name, unit string) (text string, ok bool) {
	text = name
	if unit != "" {
		text += " [" + unit + "]"
	}
	n, u := Split(text)
	return text, n == name && u == unit && name != ""
}

// Of is the symbols of the units of a quantity, the base unit first.
func Of(q Quantity) []string {
	out := []string{Base(q).Symbol}
	for _, r := range table {
		if r.Quantity == q && r.Symbol != out[0] {
			out = append(out, r.Symbol)
		}
	}
	return out
}
