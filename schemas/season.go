package schemas

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// SeasonVersion is the value of Season.Season this program writes.
const SeasonVersion = 1

// Season is what the matches of a robot in a year tell together: `afterbell season ROBOT
// --json`. A pointer is nil (JSON null) when the value could not be found out; arrays are never
// null.
type Season struct {
	Season   int             `json:"season"`
	Robot    string          `json:"robot"`
	Matches  []SeasonMatch   `json:"matches"` // in order of time; Index counts in them from 0
	Measures []SeasonMeasure `json:"measures"`
	Parts    []SeasonPart    `json:"parts"`   // the parts log, in order of time
	Drivers  []SeasonDriver  `json:"drivers"` // in the order in which they first drove
	Growth   *SeasonGrowth   `json:"growth"`  // of jams; nil with too few of them, or of matches
	// Headline says in a sentence or two what matters most, Detail the numbers of it.
	Headline string `json:"headline"`
	Detail   string `json:"detail"`
}

// SeasonPart is an entry of the parts log, with what was before and is since. A change since an
// entry is not yet one because of it.
type SeasonPart struct {
	Letter  string         `json:"letter"`
	At      string         `json:"at"` // as the parts log has it: a day, or a day and a time of it
	Kind    string         `json:"kind"`
	Text    string         `json:"text"`
	Index   int            `json:"index"`    // of the first match since; the number of matches when there is none yet
	CloseTo []string       `json:"close_to"` // letters of entries with too few matches between to tell them apart
	Effects []SeasonEffect `json:"effects"`
}

// SeasonEffect is one measure before and since an entry.
type SeasonEffect struct {
	Measure    string     `json:"measure"`
	Before     SeasonSide `json:"before"`
	Since      SeasonSide `json:"since"`
	Difference float64    `json:"difference"` // since less before
	Low        *float64   `json:"low"`        // 95 %; nil: not bounded on that side
	High       *float64   `json:"high"`
	Seen       bool       `json:"seen"` // the interval does not hold 0
	// Cycles is set for the cycle time, PerHour for jams.
	Cycles  *SeasonCycles `json:"cycles"`
	PerHour *SeasonRatio  `json:"per_hour"`
}

// SeasonRatio is how many times as often something happens in an hour since as before.
type SeasonRatio struct {
	Value *float64 `json:"value"` // nil without one before
	Low   float64  `json:"low"`   // 95 %
	High  *float64 `json:"high"`  // nil: not bounded
}

// SeasonCycles compares cycles one by one instead of match by match: the log-rank test, which counts
// those that were cut off for as long as they lasted, with the variance of whole matches.
type SeasonCycles struct {
	Complete int     `json:"complete"` // of both sides
	CutOff   int     `json:"cut_off"`
	P        float64 `json:"p"`
}

// Words say it in the middle of a sentence.
func (c *SeasonCycles) Words() string {
	p := "under 0.001"
	if c.P >= 0.001 {
		p = strconv.FormatFloat(c.P, 'f', 3, 64)
	}
	return fmt.Sprintf("its %d cycles one by one, %d of them cut off: p %s", c.Complete+c.CutOff, c.CutOff, p)
}

// SeasonSide is a measure on one side of an entry.
type SeasonSide struct {
	Value   float64 `json:"value"`
	Matches int     `json:"matches"`
	Events  *int    `json:"events"`
	Of      *int    `json:"of"`
	// PerHour is set for jams.
	PerHour *SeasonRate `json:"per_hour"`
}

// SeasonMatch is one match of a season.
type SeasonMatch struct {
	Season string  `json:"season"`
	Event  string  `json:"event"`
	Match  string  `json:"match"`
	At     *string `json:"at"` // RFC 3339, when the match began, where known
	// Practice is a session of practice in a season that has matches too: a kind of its own.
	Practice bool `json:"practice"`
}

// IsPractice is whether an event is practice by its name: practice, or a name with that word in it.
func IsPractice(event string) bool {
	return slices.Contains(strings.FieldsFunc(event, func(r rune) bool { return r == '-' || r == '_' || r == '.' }), "practice")
}

// SeasonDriver is how long one driver drove, by the entries of the parts log.
type SeasonDriver struct {
	Name          string  `json:"name"` // empty before the first entry of a driver
	Matches       int     `json:"matches"`
	Sessions      int     `json:"practice_sessions"`
	MatchHours    float64 `json:"match_hours"` // of driver periods
	PracticeHours float64 `json:"practice_hours"`
}

// SeasonRate is how often something happened in an hour of running.
type SeasonRate struct {
	Value float64 `json:"value"` // per hour
	Low   float64 `json:"low"`   // 95 %
	High  float64 `json:"high"`
	Hours float64 `json:"hours"`
}

// SeasonGrowth is how jams of all stages go as the robot runs: expected up to some hour as that hour to the
// power of Shape. Under 1 they get rarer.
type SeasonGrowth struct {
	Jams  int     `json:"jams"`
	Hours float64 `json:"hours"` // of running
	Shape float64 `json:"shape"`
	Low   float64 `json:"low"` // 95 %, wider where jams come in bunches
	High  float64 `json:"high"`
	P     float64 `json:"p"` // of one as far from 1 by chance
	// Now is how often they come at the end of those hours. Seen is whether P is at most 0.01 and no stage has
	// changed by itself, which would tell it better.
	Now  SeasonRate `json:"now"`
	Seen bool       `json:"seen"`
	Note string     `json:"note"`
}

// SeasonMeasure is one number of each match, and how it went.
type SeasonMeasure struct {
	Name    string         `json:"name"`
	Title   string         `json:"title"` // in words
	Unit    string         `json:"unit"`  // empty for shares
	Wear    bool           `json:"wear"`  // tells of what may fail rather than of what did
	Points  []SeasonPoint  `json:"points"`
	Levels  []SeasonLevel  `json:"levels"` // between changes; none while it drifts or is too few to say
	Changes []SeasonChange `json:"changes"`
	Trend   *SeasonTrend   `json:"trend"` // nil unless it drifts
	Alarm   *SeasonAlarm   `json:"alarm"` // nil unless the newest matches lie to one side of their level
	// P is the chance that a measure in which nothing happens looks so much as if something did,
	// AdjustedP the same with all measures of the season considered: at most 0.05 is believed. Nil
	// with too few matches.
	P         *float64 `json:"p"`
	AdjustedP *float64 `json:"adjusted_p"`
	// Smallest is the change between two halves of the season that would have been seen four
	// times in five.
	Smallest *float64 `json:"smallest"`
	Note     string   `json:"note"`
}

// Says is whether the measure has changed, drifts, or its newest matches lie to one side.
func (m *SeasonMeasure) Says() bool { return len(m.Changes) > 0 || m.Trend != nil || m.Alarm != nil }

// SeasonPoint is the measure in one match.
type SeasonPoint struct {
	Index  int      `json:"index"`
	Value  float64  `json:"value"`
	Low    *float64 `json:"low"` // 95 %, where known
	High   *float64 `json:"high"`
	Events *int     `json:"events"` // of a share: how many of how many
	Of     *int     `json:"of"`
	Stray  bool     `json:"stray"` // far from its level
}

// SeasonLevel is a stretch of matches without a change.
type SeasonLevel struct {
	From   int      `json:"from"` // index of its first match with the measure
	To     int      `json:"to"`   // and of its last
	Value  float64  `json:"value"`
	Low    *float64 `json:"low"` // nearly all matches of this level lie between
	High   *float64 `json:"high"`
	Events *int     `json:"events"`
	Of     *int     `json:"of"`
	// PerHour is set for jams.
	PerHour *SeasonRate `json:"per_hour"`
}

// SeasonAlarm is a running average outside its limits: too early to call it a change.
type SeasonAlarm struct {
	Since int     `json:"since"` // index of the match from which on
	Up    bool    `json:"up"`
	P     float64 `json:"p"` // of one as far by chance
}

// SeasonChange is a step of a measure.
type SeasonChange struct {
	Index    int      `json:"index"`    // of the first match after it
	Earliest int      `json:"earliest"` // 95 % interval of that match
	Latest   int      `json:"latest"`
	Before   float64  `json:"before"`
	After    float64  `json:"after"`
	Low      *float64 `json:"low"` // 95 % interval of after less before; nil: not bounded on that side
	High     *float64 `json:"high"`
}

// SeasonTrend is a drift of a measure from match to match.
type SeasonTrend struct {
	From     int      `json:"from"`  // index of the match from which on it drifts
	Until    int      `json:"until"` // and of the one since which it goes no further; the measure's newest while it goes on
	PerMatch float64  `json:"per_match"`
	Low      *float64 `json:"low"` // 95 %
	High     *float64 `json:"high"`
	P        float64  `json:"p"`
}

// WriteJSON writes the season as its JSON.
func (s *Season) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	return e.Encode(s)
}

// WriteCSV writes every point of the season as a row: RFC 4180, an empty cell where nothing is
// known.
func (s *Season) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', -1, 64)
	}
	whole := func(v *int) string {
		if v == nil {
			return ""
		}
		return strconv.Itoa(*v)
	}
	_ = out.Write([]string{"index", "season", "event", "match", "at", "measure", "unit", "value", "low", "high", "events", "of"})
	for _, m := range s.Measures {
		for _, p := range m.Points {
			match := s.Matches[p.Index]
			at := ""
			if match.At != nil {
				at = *match.At
			}
			_ = out.Write([]string{
				strconv.Itoa(p.Index), match.Season, match.Event, match.Match, at, m.Name, m.Unit, number(&p.Value), number(p.Low), number(p.High), whole(p.Events), whole(p.Of),
			})
		}
	}
	out.Flush()
	return out.Error()
}
