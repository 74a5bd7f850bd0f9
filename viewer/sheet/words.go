package sheet

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

// names are what this game calls a piece, pieces and the platform.
type names struct{ piece, pieces, platform string }

func namesOf(r *schemas.Report) names {
	g := r.Match.Game
	n := names{"piece", "pieces", "platform"}
	if g.Piece != "" {
		n.piece = clip(g.Piece)
	}
	if g.Pieces != "" {
		n.pieces = clip(g.Pieces)
	}
	if g.Platform != "" {
		n.platform = clip(g.Platform)
	}
	return n
}

// clip keeps a name that stands in running text to a readable length.
func clip(s string) string {
	const most = 24
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// number is v with that many decimals and a true minus sign.
func number(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if math.Abs(v) >= 1e7 {
		s = strconv.FormatFloat(v, 'g', 3, 64)
	}
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// sure is a confidence with two decimals, never rounded up: 1.00 is said of nothing less.
func sure(confidence float64) string {
	return number(math.Floor(confidence*100+1e-9)/100, 2)
}

// short is v with at most that many decimals and no zeros at the end.
func short(v float64, decimals int) string {
	s := number(v, decimals)
	if strings.Contains(s, ".") && !strings.Contains(s, "e") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

var unitAfterNumber = regexp.MustCompile(`([0-9]) (ms|s|V|Ah|A|Hz|m|Wh|rad)\b|([0-9]) (Ω|%)`)

// Glue keeps numbers with their units when lines break.
func Glue(s string) string { return unitAfterNumber.ReplaceAllString(s, "$1$3\u00a0$2$4") }

// grouped is a whole number with a thin gap every three figures.
func grouped(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u00a0" + s[i:]
	}
	return s
}

// inWords spells small counts, as running text does.
func inWords(n int) string {
	small := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n >= 0 && n < len(small) {
		return small[n]
	}
	return strconv.Itoa(n)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

// counted is a count in figures with its word.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// times is how often, in words.
func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	default:
		return inWords(n) + " times"
	}
}

// listed joins parts as a sentence does.
func listed(parts []string) string {
	switch len(parts) {
	case 0:
		return ""
	case 1:
		return parts[0]
	default:
		return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
	}
}

// when is a list of stretches in match time; the last may run to the bell.
func when(s *draw.Scene, spans []schemas.Span) string {
	const most = 3
	var parts []string
	for i, q := range spans {
		if i == most {
			parts = append(parts, strconv.Itoa(len(spans)-most)+" more")
			break
		}
		parts = append(parts, stretch(s, q.StartS, q.EndS))
	}
	return strings.Join(parts, ", ")
}

func stretch(s *draw.Scene, fromS, toS float64) string {
	from, to := s.T(fromS), s.T(toS)
	switch {
	case from <= 0.5 && toS >= s.Report.Match.EndS-0.5 && s.Bell() > 0:
		return "the whole match"
	case toS >= s.Report.Match.EndS-0.05 && fromS < s.Report.Match.EndS && s.Bell() > 0:
		end := "the bell"
		if _, early := s.Stopped(); early {
			end = "the end of the log"
		}
		return number(from, 1) + " s to " + end
	case to-from < 0.3:
		return number(from, 1) + " s"
	default:
		return number(from, 1) + " to " + number(to, 1) + " s"
	}
}

// clock is the wall clock of an RFC 3339 time in its own zone, the text itself when it is
// none.
func clock(at string) string {
	t, err := time.Parse(time.RFC3339, at)
	if err != nil {
		return at
	}
	return t.Format("15:04")
}
