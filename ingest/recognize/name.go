package recognize

import (
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

// Named is what the name of a file says.
type Named struct {
	Match string    // a legal name, never empty
	Robot string    // one of those asked for, or empty
	Time  time.Time // when the log began, by the name; zero when it does not say
	// Seconds is whether the name says the second too.
	Seconds bool
}

// stamp is date and time as programs put them into names: 2031-03-01_14-32-05,
// 20310301T143205Z, 2031-03-01 14.32 (ISO 8601 basic and extended, and what file systems
// that forbid colons make of it).
var stamp = regexp.MustCompile(`(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)[-_. tT]*(\d\d)[-_.:hH]?(\d\d)(?:[-_.:mM]?(\d\d))?([zZ])?`)

// endings are taken off a file's name, packing first.
var endings = []string{".gz", ".zst", ".csv", ".tsv", ".txt", ".jsonl", ".ndjson", ".json", ".parquet", ".arrows", ".arrow", ".feather", ".ipc", ".clip", ".zip"}

// rounds are words for the kinds of matches, with the letter that short names begin with.
var rounds = map[string]string{
	"qualification": "q", "qualifications": "q", "qualifier": "q", "qual": "q", "quals": "q", "qm": "q", "q": "q",
	"match": "m", "m": "m", "practice": "p", "p": "p", "semifinal": "sf", "sf": "sf", "quarterfinal": "qf", "qf": "qf",
	"final": "f", "finals": "f", "f": "f",
}

var wordAndNumber = regexp.MustCompile(`^([a-z]+)0*(\d{1,4})$`)

// FileName reads a file's name without folder. zone is where a time without a zone was
// written down: the laptop's.
func FileName(name string, robots []string, zone *time.Location) Named {
	stem := strings.ToLower(name)
	for cut := true; cut; {
		cut = false
		for _, e := range endings {
			if rest, ok := strings.CutSuffix(stem, e); ok && rest != "" {
				stem, cut = rest, true
			}
		}
	}
	var out Named
	if at := stamp.FindStringSubmatchIndex(stem); at != nil {
		if t, ok := timeOf(stamp.FindStringSubmatch(stem), zone); ok {
			out.Time, out.Seconds = t, at[12] >= 0
			stem = stem[:at[0]] + "-" + stem[at[1]:]
		}
	}
	words := strings.FieldsFunc(stem, func(r rune) bool { return strings.ContainsRune("-_ ./()[]#", r) })
	words = slices.DeleteFunc(words, func(w string) bool {
		if out.Robot == "" && slices.Contains(robots, w) {
			out.Robot = w
			return true
		}
		return w == "log"
	})
	out.Match = matchOf(words)
	if out.Match == "" && !out.Time.IsZero() {
		out.Match = out.Time.In(zone).Format("m0102-1504")
	}
	if out.Match == "" {
		out.Match = "log"
	}
	return out
}

// matchOf is the match that the words name: a kind of match and its number where there is
// one, else all of them.
func matchOf(words []string) string {
	for i, w := range words {
		if letter, ok := rounds[w]; ok && i+1 < len(words) && isNumber(words[i+1]) {
			return letter + strings.TrimLeft(words[i+1], "0")
		}
		if m := wordAndNumber.FindStringSubmatch(w); m != nil && rounds[m[1]] != "" && m[2] != "0" {
			return rounds[m[1]] + m[2]
		}
	}
	name, _, err := schemas.TidyName("match", strings.Join(words, "-"))
	if err != nil {
		return ""
	}
	return name
}

func isNumber(s string) bool {
	return len(s) > 0 && len(s) <= 4 && strings.Trim(s, "0123456789") == "" && strings.Trim(s, "0") != ""
}

func timeOf(m []string, zone *time.Location) (time.Time, bool) {
	seconds := m[6]
	if seconds == "" {
		seconds = "00"
	}
	if m[7] != "" {
		zone = time.UTC
	}
	t, err := time.ParseInLocation("20060102150405", m[1]+m[2]+m[3]+m[4]+m[5]+seconds, zone)
	return t, err == nil
}

// How a match's time was told.
const (
	ByName = "by the time in the file's name"
	ByDate = "by the date of the file"
)

// earliest is before any log: a controller without a battery for its clock writes 1970 or
// 1980 (FAT), or the date of its firmware.
var earliest = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)

// Start is when the match began by the wall clock, from when its log began (in the name) or
// ended (written is the file's date), first and last being the log's bounds and start the
// match's, in microseconds of log time. how is ByName or ByDate; it is empty when neither can
// be: before any such log, or a file's date in the future by more than a day (a name was
// given by who knew the time; it may be this laptop's clock that is wrong). It is right to a
// few seconds at best.
func Start(n Named, written, now time.Time, first, last, start int64) (at time.Time, how string) {
	if at := n.Time.Add(time.Duration(start-first) * time.Microsecond); !n.Time.IsZero() && at.After(earliest) {
		return at, ByName
	}
	at = written.Add(time.Duration(start-last) * time.Microsecond)
	if !written.IsZero() && at.After(earliest) && at.Before(now.Add(24*time.Hour)) {
		return at, ByDate
	}
	return time.Time{}, ""
}
