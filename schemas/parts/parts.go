// Package parts is the parts log of a robot: what was changed when. It is a plain text file,
// parts/ROBOT.txt in the data folder, that a team may edit by hand:
//
//	# Parts log of heron
//	2031-03-01        part     wider mouth
//	2031-03-22 09:30  gains    peel gains 0.8 to 0.5
//	2031-04-05        battery  B5 bought
//
// One entry a line: the day, the time of day where it matters (local time; without one the
// entry holds from the beginning of that day on), a kind, and words. Lines that are empty or
// begin with # are the team's own.
package parts

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Kinds of an entry.
var Kinds = []string{"part", "gains", "battery", "driver", "program", "other"}

// Limits of a log.
const (
	MaxText    = 200 // characters of the words of an entry
	maxEntries = 2000
)

// Entry is one thing that was changed.
type Entry struct {
	At   time.Time
	Day  bool // only the day is known
	Kind string
	Text string
	Line int // in the file, from 1; 0 for one that is not in a file
}

// Letter is how the entry at place i of a log is called: a to z, then aa, ab and so on.
func Letter(i int) string {
	out := ""
	for i++; i > 0; i = (i - 1) / 26 {
		out = string(rune('a'+(i-1)%26)) + out
	}
	return out
}

// String is the entry as a line of the file, without its line feed.
func (e Entry) String() string {
	when := e.At.Format(time.DateOnly) + "      "
	if !e.Day {
		when = e.At.Format("2006-01-02 15:04")
	}
	return fmt.Sprintf("%s  %-7s  %s", when, e.Kind, e.Text)
}

// Check says what keeps an entry from being one.
func (e Entry) Check() error {
	switch n := utf8.RuneCountInString(e.Text); {
	case !slices.Contains(Kinds, e.Kind):
		return fmt.Errorf("%q is no kind of entry: %s", e.Kind, strings.Join(Kinds, ", "))
	case strings.TrimSpace(e.Text) == "":
		return fmt.Errorf("an entry says what was changed")
	case n > MaxText:
		return fmt.Errorf("an entry has %d characters; %d are the most", n, MaxText)
	case !utf8.ValidString(e.Text) || strings.ContainsFunc(e.Text, func(r rune) bool { return r < ' ' || r == 0x7f }):
		return fmt.Errorf("an entry is one line of text")
	case e.At.Year() < 1970 || e.At.Year() > 9999:
		return fmt.Errorf("%s is no day of a season", e.At.Format(time.DateOnly))
	}
	return nil
}

// Problem is a line that is no entry.
type Problem struct {
	Line int
	Text string
	Err  error
}

func (p Problem) Error() string { return fmt.Sprintf("line %d, %.60q: %v", p.Line, p.Text, p.Err) }

// Parse reads a log: its entries in order of time, those of one time in order of lines, and
// the lines that are none. Days are those of zone.
func Parse(data []byte, zone *time.Location) (entries []Entry, problems []Problem) {
	text := strings.TrimPrefix(string(data), "\ufeff")
	number := 0
	for line := range strings.Lines(text) {
		number++
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		e, err := parseLine(line, zone)
		if err == nil && len(entries) == maxEntries {
			err = fmt.Errorf("more than %d entries", maxEntries)
		}
		if err != nil {
			problems = append(problems, Problem{number, line, err})
			continue
		}
		e.Line = number
		entries = append(entries, e)
	}
	slices.SortStableFunc(entries, func(a, b Entry) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Line, b.Line)) })
	return entries, problems
}

func parseLine(line string, zone *time.Location) (Entry, error) {
	word := func() string {
		w, rest, _ := strings.Cut(line, " ")
		if tab, after, ok := strings.Cut(w, "\t"); ok {
			w, rest = tab, after+" "+rest
		}
		line = strings.TrimSpace(rest)
		return w
	}
	at, day, err := ParseWhen(word(), zone)
	if err != nil {
		return Entry{}, err
	}
	kind := word()
	if clock, err := time.Parse("15:04", kind); day && err == nil {
		at, day = at.Add(time.Duration(clock.Hour())*time.Hour+time.Duration(clock.Minute())*time.Minute), false
		kind = word()
	}
	e := Entry{At: at, Day: day, Kind: kind, Text: line}
	return e, e.Check()
}

// ParseWhen reads a day, 2031-03-22, or a moment, 2031-03-22T09:30 or RFC 3339.
func ParseWhen(text string, zone *time.Location) (at time.Time, day bool, err error) {
	if at, err := time.ParseInLocation(time.DateOnly, text, zone); err == nil {
		return at, true, nil
	}
	for _, form := range []string{"2006-01-02T15:04", "2006-01-02 15:04"} {
		if at, err := time.ParseInLocation(form, text, zone); err == nil {
			return at, false, nil
		}
	}
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at.In(zone), false, nil
	}
	return at, false, fmt.Errorf("%q is no day such as 2031-03-22", text)
}
