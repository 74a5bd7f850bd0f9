package crew

import (
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Said is what the crew's notes have to do with a report, as far as the report itself does not
// hold it: a report leaves the laptop, and notes only when somebody wants them to.
type Said struct {
	Remarks []Remark     // of this match
	Mended  []SaidMended // of each row of Report.Mended, in its order
}

// SaidMended is what was said of one thing that is followed.
type SaidMended struct {
	Denied bool            // the crew says now that it never happened
	Since  []RemarkOfMatch // in the matches from the last with it to the one before this
}

// RemarkOfMatch is a remark with the name of its match.
type RemarkOfMatch struct {
	Match string
	Text  string
}

// SaidOf gathers what was said. The function gives the notes of a match, empty for none.
func SaidOf(r *schemas.Report, notes func(schemas.MatchID) []byte) Said {
	self := schemas.MatchID{Season: r.Match.Season, Event: r.Match.Event, Match: r.Match.Match, Robot: r.Match.Robot}
	out := Said{Remarks: Remarks(notes(self)), Mended: make([]SaidMended, len(r.Mended))}
	read := map[string][]byte{}
	of := func(name string) []byte {
		data, ok := read[name]
		if id, valid := named(name, r.Match.Robot); !ok && valid && id != self {
			data = notes(id)
			read[name] = data
		}
		return data
	}
	for i, m := range r.Mended {
		verdicts, _ := Parse(of(m.Last))
		alone := schemas.Report{Findings: []schemas.Finding{{ID: m.Finding, Kind: m.Kind, StartS: m.StartS}}}
		said := SaidMended{Denied: Judged(&alone, verdicts)[m.Finding] == DidNot}
		for _, name := range append([]string{m.Last}, m.Since...) {
			id, _ := named(name, r.Match.Robot)
			for _, remark := range Remarks(of(name)) {
				said.Since = append(said.Since, RemarkOfMatch{id.Match, remark.Text})
			}
		}
		out.Mended[i] = said
	}
	return out
}

// named is the match behind SEASON/EVENT/MATCH.
func named(name, robot string) (schemas.MatchID, bool) {
	parts := strings.Split(name, "/")
	if len(parts) != 3 {
		return schemas.MatchID{}, false
	}
	return schemas.MatchID{Season: parts[0], Event: parts[1], Match: parts[2], Robot: robot}, true
}
