package draw

import (
	"math"
	"strconv"
	"strings"
)

// decimal is v with that many decimals and a true minus sign; a number too long to read is
// given to three figures with an exponent.
func decimal(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if math.Abs(v) >= 1e7 {
		s = strconv.FormatFloat(v, 'g', 3, 64)
	}
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// short is v without trailing zeros, at most that many decimals.
func short(v float64, decimals int) string {
	s := decimal(v, decimals)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func finite(v *float64) bool { return v != nil && !math.IsNaN(*v) && !math.IsInf(*v, 0) }

// clip is s cut to at most n letters, the last one an ellipsis if any were lost.
func clip(s string, n int) string {
	letters := []rune(s)
	if len(letters) <= n {
		return s
	}
	return string(letters[:n-1]) + "…"
}
