package sheet

import (
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
)

// mostFollowed rows are shown; the report holds all.
const mostFollowed = 5

// mendedRow is one thing that went wrong in an earlier match, and how it stands.
type mendedRow struct {
	What, Last, Text string
	Again            bool
	Said             []string // what the crew noted in between, with its match
}

// mendedRows are what is shown of a report's list, and how many more there are. What the
// crew denies now is not followed.
func mendedRows(r *schemas.Report, said crew.Said) (rows []mendedRow, more int) {
	for i, m := range r.Mended {
		row := mendedRow{What: capital(strings.TrimSuffix(m.What, ".")), Text: m.Text, Again: m.State == schemas.MendedAgain}
		if parts := strings.Split(m.Last, "/"); len(parts) == 3 {
			row.Last = "last in " + parts[2]
		}
		if i < len(said.Mended) {
			if said.Mended[i].Denied {
				continue
			}
			for _, s := range said.Mended[i].Since {
				row.Said = append(row.Said, s.Match+": “"+s.Text+"”")
			}
		}
		if len(rows) == mostFollowed {
			more++
			continue
		}
		rows = append(rows, row)
	}
	return rows, more
}

// paperMended is the height of those rows and of the crew's notes.
func (v *view) paperMended() float64 {
	h := 0.0
	for _, m := range v.Mended {
		n := len(m.What) + len(m.Last) + len(m.Text) + 8
		for _, s := range m.Said {
			n += len(s) + 2
		}
		h += 15 * lines(n, fullWords)
	}
	if h > 0 {
		h += 24 // its name, and the room around it
	}
	if len(v.Notes) > 0 {
		n := 8
		for _, s := range v.Notes {
			n += len(s) + 4
		}
		h += 15*lines(n, fullWords) + 8
	}
	return h
}
