package schemas

import (
	"fmt"
	"regexp"
	"strings"
)

// MatchID names a stored match: one robot in one match of one event of one season.
type MatchID struct {
	Season, Event, Match, Robot string
}

func (m MatchID) String() string {
	return m.Season + "/" + m.Event + "/" + m.Match + "/" + m.Robot
}

// ParseMatchID reads what MatchID.String writes; ok is false for what names no match.
func ParseMatchID(s string) (id MatchID, ok bool) {
	parts := strings.Split(s, "/")
	if len(parts) != 4 {
		return id, false
	}
	for i, what := range []string{"season", "event", "match", "robot"} {
		if CheckName(what, parts[i]) != nil {
			return id, false
		}
	}
	return MatchID{Season: parts[0], Event: parts[1], Match: parts[2], Robot: parts[3]}, true
}

var namePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,63}$`)

// CheckName says why s cannot be the name of an event, a match or a robot (what), or nil.
// They begin with a letter because SQL engines guess types of partition folders: a match
// named 14 would turn into a number. A season may begin with a digit.
func CheckName(what, s string) error {
	switch {
	case !namePattern.MatchString(s):
		return fmt.Errorf("%s %q is not a name: use 1 to 64 of a-z 0-9 . _ -", what, s)
	case what != "season" && s[0] >= '0' && s[0] <= '9':
		return fmt.Errorf("%s %q must begin with a letter", what, s)
	}
	return nil
}

// TidyName turns free text (a file's name, what someone typed) into a legal name of that
// kind; changed tells whether it had to. What has no letter or digit at all is refused.
func TidyName(what, s string) (name string, changed bool, err error) {
	var b strings.Builder
	dash := false
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r == '_':
			if dash && b.Len() > 0 {
				b.WriteByte('-')
			}
			dash = false
			b.WriteRune(r)
		default:
			dash = true
		}
	}
	name = strings.TrimLeft(b.String(), "._-")
	if name != "" && what != "season" && name[0] >= '0' && name[0] <= '9' {
		name = what[:1] + name
	}
	if len(name) > 64 {
		name = name[:64]
	}
	name = strings.TrimRight(name, "-")
	if err := CheckName(what, name); err != nil {
		return "", false, fmt.Errorf("%s %q cannot be turned into a name: use a-z 0-9 . _ -", what, s)
	}
	return name, name != s, nil
}
