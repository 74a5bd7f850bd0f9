package cell

import (
	"bytes"
	"errors"
	"math/bits"
	"strconv"
)

// MaxTime is the farthest a time may be from zero, in microseconds (9e12 s).
const MaxTime = 9_000_000_000_000_000_000

// What can be wrong with a time.
var (
	ErrNoTime   = errors.New("is not a time")
	ErrTimeSize = errors.New("is beyond 9e12 s")
)

// Seconds reads decimal seconds as microseconds without a detour over float64: what has six
// digits behind the point or fewer is exact, the rest is rounded to the nearest
// microsecond, halves away from zero as schemas.Micros does. Sign, exponent and blanks
// around are allowed; nan and inf are no times.
func Seconds(raw []byte) (int64, error) {
	s := trim(raw)
	d, ok := whole(s)
	if !ok {
		return 0, ErrNoTime
	}
	digits, exponent, up := d.digits, d.exponent, false
	if d.count > 19 {
		digits, exponent, up = leading(s, exponent)
	}
	us, ok := scale(digits, exponent+6, up)
	if !ok {
		return 0, ErrTimeSize
	}
	if d.negative() {
		return -us, nil
	}
	return us, nil
}

// ScanSeconds reads the seconds at the start of text and returns how many bytes they take. As
// with ScanNumber, 0 bytes send the caller to Seconds.
func ScanSeconds(text []byte) (us int64, n int) {
	d, n := scan(text)
	if n == 0 || d.count > 19 {
		return 0, 0
	}
	us, ok := scale(d.digits, d.exponent+6, false)
	if !ok {
		return 0, 0
	}
	if d.negative() {
		us = -us
	}
	return us, n
}

// ScanMicros is ScanSeconds for Micros.
func ScanMicros(text []byte) (us int64, n int) {
	d, n := scan(text)
	if n == 0 || d.count > 19 || !d.integer() || d.digits > MaxTime {
		return 0, 0
	}
	us = int64(d.digits)
	if d.negative() {
		us = -us
	}
	return us, n
}

// leading is the number's first 19 digits that matter and their exponent; up tells
// whether the first digit left out rounds up.
func leading(s []byte, exponent int) (digits uint64, scaled int, up bool) {
	kept := 0
	for _, c := range s {
		switch {
		case c|0x20 == 'e':
			return digits, exponent, up
		case c-'0' > 9 || kept == 0 && c == '0':
			continue // sign, point, leading zero
		case kept < 19:
			digits = digits*10 + uint64(c-'0')
		default:
			if kept == 19 {
				up = c >= '5'
			}
			exponent++
		}
		kept++
	}
	return digits, exponent, up
}

// scale is digits · 10^exponent as an integer, halves rounded up; up is what the digits cut
// off before round to, and counts only when exponent is 0: with a smaller one they are too
// far behind to decide, with a greater one the result is out of range anyway.
func scale(digits uint64, exponent int, up bool) (int64, bool) {
	switch {
	case digits == 0:
		return 0, true
	case exponent > 18 || exponent < -20:
		return 0, exponent < 0
	case exponent == 0 && up:
		digits++
	case exponent > 0:
		high, low := bits.Mul64(digits, tens[exponent])
		if high != 0 {
			return 0, false
		}
		digits = low
	case exponent == -20:
		return 0, true // below 10^20/10^20 and digits are below 2·10^19: under a fifth
	case exponent < 0:
		p := tens[-exponent]
		rest := digits % p
		digits /= p
		if rest >= p-rest {
			digits++
		}
	}
	return int64(digits), digits <= MaxTime
}

var tens = func() (t [20]uint64) {
	t[0] = 1
	for i := 1; i < len(t); i++ {
		t[i] = t[i-1] * 10
	}
	return t
}()

// Micros reads a whole number of microseconds.
func Micros(raw []byte) (int64, error) {
	s := trim(raw)
	if d, ok := whole(s); !ok || !d.integer() {
		return 0, ErrNoTime
	}
	us, err := strconv.ParseInt(string(s), 10, 64)
	if err != nil || us > MaxTime || us < -MaxTime {
		return 0, ErrTimeSize
	}
	return us, nil
}

// AppendSeconds writes microseconds as decimal seconds, without the zeros at the end, so
// that Seconds reads the same time back.
func AppendSeconds(dst []byte, us int64) []byte {
	whole := uint64(us)
	if us < 0 {
		dst = append(dst, '-')
		whole = -whole
	}
	dst = strconv.AppendUint(dst, whole/1e6, 10)
	part := whole % 1e6
	if part == 0 {
		return dst
	}
	point := len(dst)
	dst = strconv.AppendUint(dst, 1e6+part, 10) // the leading 1 keeps the zeros behind the point
	dst[point] = '.'
	return bytes.TrimRight(dst, "0")
}

func trim(s []byte) []byte {
	if len(s) > 0 && (s[0] <= ' ' || s[len(s)-1] <= ' ') {
		return bytes.Trim(s, " \t")
	}
	return s
}
