package viewer

import (
	"cmp"
	"fmt"
	"html/template"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

// row is one match on the board.
type row struct {
	Match, Robot        string
	Date, Time          string // of the match's start in its own zone, empty when not known
	Ended               string // when it ended (RFC 3339), likewise
	Href                string
	Severity            string
	Mark                template.HTML
	Word, Text          string
	NotSeen             string // which analyses could not look, said where nothing was found
	Small               template.HTML
	Platform            string // what this game calls it
	Jams, Lowest, Cycle cell
	Balance             cell
	Notes               []string
	Trouble             string // why the match cannot be shown; what is above is empty then

	id    schemas.MatchID
	order time.Time
}

// cell is a figure of a row. Unknown says why there is none; Lead is left out where there
// is little room; Strong and Hot tell counts and values to look at from the others.
type cell struct {
	Lead, Value, Unknown string
	Strong, Hot          bool
}

// Event is the event the match belongs to.
func (r row) Event() string { return r.id.Event }

// Day is what day says, for the script that puts rows together.
func (r row) Day() string { return r.day() }

// day is the event and the day of a match in words, the season where no day is known.
func (r row) day() string {
	return r.id.Event + ", " + cmp.Or(r.Date, "season "+r.id.Season)
}

// sameDay is whether two matches are of one event, and of one day as far as is known.
func (r row) sameDay(o row) bool {
	return r.id.Season == o.id.Season && r.id.Event == o.id.Event && (r.Date == "" || o.Date == "" || r.Date == o.Date)
}

func newRow(id schemas.MatchID, m *stored) row {
	r := m.report
	out := row{
		id: id, Match: id.Match, Robot: id.Robot,
		Severity: r.Verdict.Severity,
		Mark:     page.Small(draw.SeverityMark(r.Verdict.Severity, 0, 7), "", ""),
		Word:     draw.SeverityWord(r.Verdict.Severity), Text: r.Verdict.Text,
		Small:    page.Small(smallRibbon(m), strings.Join([]string{"r", id.Season, id.Event, id.Match, id.Robot}, "-"), "small"),
		Platform: cmp.Or(r.Match.Game.Platform, "platform"),
		Balance:  balanceCell(r),
	}
	if at, err := time.Parse(time.RFC3339Nano, r.From.StoredAt); err == nil {
		out.order = at
	}
	if r.Match.At != nil {
		if at, err := time.Parse(time.RFC3339Nano, *r.Match.At); err == nil {
			out.order, out.Date, out.Time = at, at.Format("2 January 2006"), at.Format("15:04")
			out.Ended = at.Add(time.Duration((r.Match.EndS - r.Match.StartS) * float64(time.Second))).Format(time.RFC3339)
		}
	}
	if r.Verdict.Severity == schemas.SeverityNone {
		out.NotSeen = notSeen(r)
	}
	out.Jams = cell{Unknown: "no path"}
	if r.Ran("path") {
		out.Jams = cell{Value: fmt.Sprint(len(r.Jams)), Strong: len(r.Jams) > 0}
	}
	out.Lowest = figure(r.Battery.LowestV, "%.2f V", "no voltage")
	out.Lowest.Hot = len(r.Brownouts) > 0
	out.Cycle = figure(r.MedianCycleS(), "%.1f s", "no cycle")
	if !r.Ran("cycles") {
		out.Cycle = cell{Unknown: "no score"}
	}
	return out
}

// notSeen names the analyses that did not look at the log.
func notSeen(r *schemas.Report) string {
	var names []string
	for _, a := range r.Analyses {
		if !a.Ran {
			names = append(names, a.Name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "Not looked at: " + strings.Join(names, ", ") + "."
}

func figure(v *float64, format, unknown string) cell {
	if v == nil {
		return cell{Unknown: unknown}
	}
	return cell{Value: fmt.Sprintf(format, *v)}
}

// balanceCell is how the last attempt of the match ended.
func balanceCell(r *schemas.Report) cell {
	n := len(r.Balances)
	switch {
	case !r.Ran("balance"):
		return cell{Unknown: "no tilt"}
	case n == 0:
		return cell{Value: "not tried"}
	}
	switch b := r.Balances[n-1]; {
	case b.Outcome == schemas.BalanceLevel && b.SettleS != nil:
		return cell{Lead: "level, ", Value: fmt.Sprintf("%.1f s", *b.SettleS)}
	case b.Outcome == schemas.BalanceLeft:
		return cell{Value: fmt.Sprintf("left at %.0f s", b.EndS-r.Match.StartS)}
	default:
		return cell{Value: "not level"}
	}
}
