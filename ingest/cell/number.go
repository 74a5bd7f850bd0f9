package cell

import (
	"math"
	"math/bits"
	"strconv"
)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// powers of ten that a float64 holds exactly: 10^22 = 2^22 · 5^22 and 5^22 < 2^53.
var powers = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// decimal is a number as written: ±digits · 10^exponent. It has four fields because the
// compiler keeps no struct of more in registers, which shows in the time of an import.
type decimal struct {
	digits   uint64 // of the number without its point; exact while count is at most 19
	count    int    // how many digits there were, leading zeros included
	exponent int    // already less the digits behind the point; capped far outside of float64
	marks    uint8
}

// What else was written in a decimal.
const (
	minus     uint8 = 1 << iota
	noInteger       // a point or an exponent
)

func (d decimal) negative() bool { return d.marks&minus != 0 }
func (d decimal) integer() bool  { return d.marks&noInteger == 0 }

// maxExponent caps written exponents, so that a row of nines cannot wrap around.
const maxExponent = 1 << 30

// scan takes the decimal number at the start of s apart. n is the number's length, 0 if there
// is none; an e without digits is no part of it.
func scan(s []byte) (d decimal, n int) {
	if len(s) > 0 && (s[0] == '-' || s[0] == '+') {
		if s[0] == '-' {
			d.marks = minus
		}
		n++
	}
	start := n
	d.digits, n = scanDigits(s, 0, n)
	d.count = n - start
	if n < len(s) && s[n] == '.' {
		n++
		start = n
		d.digits, n = scanDigits(s, d.digits, n)
		d.count += n - start
		d.exponent = start - n
		d.marks |= noInteger
	}
	if d.count == 0 {
		return d, 0
	}
	if n < len(s) && s[n]|0x20 == 'e' {
		if e, length := scanExponent(s[n:]); length > 0 {
			d.exponent += e
			d.marks |= noInteger
			n += length
		}
	}
	return d, n
}

// scanDigits appends the decimal digits from s[n] on to digits, and returns where they end.
// (Eight digits at a time in one 64-bit word was tried and is no faster: numbers in logs are
// short.)
func scanDigits(s []byte, digits uint64, n int) (uint64, int) {
	for n < len(s) {
		c := s[n] - '0'
		if c > 9 {
			break
		}
		digits = digits*10 + uint64(c)
		n++
	}
	return digits, n
}

// scanExponent is the exponent at the start of s, which begins with e, and its length, 0 if
// there are no digits.
func scanExponent(s []byte) (exponent, n int) {
	n = 1
	negative := false
	if n < len(s) && (s[n] == '-' || s[n] == '+') {
		negative = s[n] == '-'
		n++
	}
	start := n
	for n < len(s) && s[n]-'0' <= 9 {
		exponent = min(exponent*10+int(s[n]-'0'), maxExponent)
		n++
	}
	if n == start {
		return 0, 0
	}
	if negative {
		exponent = -exponent
	}
	return exponent, n
}

// whole is s as a decimal number; ok is false when it is none from end to end.
func whole(s []byte) (d decimal, ok bool) {
	d, n := scan(s)
	return d, n > 0 && n == len(s)
}

// ScanNumber reads the number at the start of text as Int or Float, and returns its length. It
// returns 0 when there is none, and also when the number is none of the usual ones, which
// take a slower way: the caller then finds the end of the cell and uses Read.
func (v *Value) ScanNumber(text []byte) int {
	d, n := scan(text)
	if n == 0 || d.count > 19 {
		return 0
	}
	v.Raw = text[:n]
	switch {
	case d.integer() && d.digits <= math.MaxInt64 && (d.digits != 0 || !d.negative()):
		v.Class, v.Int = Int, int64(d.digits)
		if d.negative() {
			v.Int = -v.Int
		}
		return n
	case d.exponent < 0 && d.exponent >= -19 && d.digits >= 1<<53:
		v.Float = quotient(d.digits, tens[-d.exponent])
	case -22 <= d.exponent && d.exponent <= 22 && d.digits < 1<<53:
		// Both factors are exact, so the one rounding left is that of the result
		// (Clinger, How to read floating point numbers accurately, 1990).
		v.Float = float64(d.digits)
		if d.exponent < 0 {
			v.Float /= powers[-d.exponent]
		} else {
			v.Float *= powers[d.exponent]
		}
	default:
		return 0
	}
	v.Class = Float
	if d.negative() {
		v.Float = -v.Float
	}
	return n
}

// quotient is a/b, rounded once to the nearest float64, ties to even. Neither is 0.
func quotient(a, b uint64) float64 {
	// With both shifted up to the highest bit, the 128-bit a·2^64 (halved when it would not be
	// smaller than b·2^64) over b has 64 significant bits, and the remainder says whether
	// anything follows them.
	shiftA, shiftB := bits.LeadingZeros64(a), bits.LeadingZeros64(b)
	high, low := a<<shiftA, uint64(0)
	b <<= shiftB
	exponent := shiftB - shiftA - 64
	if high >= b {
		high, low = high>>1, high<<63
		exponent++
	}
	q, rest := bits.Div64(high, low, b)
	if rest != 0 {
		q |= 1 // far below the rounding, but enough to break a tie
	}
	const cut = 64 - 53
	half, odd := q>>(cut-1)&1, q>>cut&1
	below := q & (1<<(cut-1) - 1)
	q >>= cut
	if half == 1 && (below != 0 || odd == 1) {
		q++
	}
	return float64(q) * math.Float64frombits(uint64(1023+cut+exponent)<<52) // · 2^(cut+exponent), exactly
}

// readNumber reads s as Int or Float.
func (v *Value) readNumber(s []byte) bool {
	if v.ScanNumber(s) == len(s) {
		return true
	}
	d, ok := whole(s)
	if !ok {
		return false
	}
	if i, err := strconv.ParseInt(string(s), 10, 64); err == nil && (i != 0 || !d.negative()) {
		v.Class, v.Int = Int, i
		return true
	}
	f, err := strconv.ParseFloat(string(s), 64)
	if err != nil {
		return false // beyond the largest float64
	}
	v.Class, v.Float = Float, f
	return true
}

// Overflows reports whether raw is a decimal number too large for a float64.
func Overflows(raw []byte) bool {
	s := trim(raw)
	if _, ok := whole(s); !ok {
		return false
	}
	_, err := strconv.ParseFloat(string(s), 64)
	return err != nil
}

// AsInt is v as an int64: an Int, Whole or Digits, or -0, which is Float only for the sake of
// its sign.
func (v *Value) AsInt() (int64, bool) {
	if v.Class == Int || v.Class == Whole || v.Class == Digits {
		return v.Int, true
	}
	if v.Class == Float && v.Float == 0 {
		if d, ok := whole(trim(v.Raw)); ok && d.integer() {
			return 0, true
		}
	}
	return 0, false
}

// AsFloat is v as a float64, an Int rounded to the nearest.
func (v *Value) AsFloat() (float64, bool) {
	switch v.Class {
	case Int, Whole:
		return float64(v.Int), true
	case Float, Word:
		return v.Float, true
	default:
		return 0, false
	}
}

// AppendFloat writes f in the shortest form that Read turns into the same float64; every NaN
// is nan.
func AppendFloat(dst []byte, f float64) []byte {
	switch {
	case math.IsNaN(f):
		return append(dst, "nan"...)
	case math.IsInf(f, 1):
		return append(dst, "inf"...)
	case math.IsInf(f, -1):
		return append(dst, "-inf"...)
	default:
		return strconv.AppendFloat(dst, f, 'g', -1, 64)
	}
}
