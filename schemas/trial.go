package schemas

import (
	"encoding/json"
	"io"
)

// Trial is two versions of something, run in turns on one robot: `afterbell season ROBOT --trial A B`.
// All intervals and chances hold however often somebody looks while the trial goes on.
type Trial struct {
	Trial    int            `json:"trial"` // SeasonVersion
	Robot    string         `json:"robot"`
	A        TrialSide      `json:"a"`
	B        TrialSide      `json:"b"`
	Turns    int            `json:"turns"` // times one came after the other
	Measures []TrialMeasure `json:"measures"`
	Headline string         `json:"headline"`
	Notes    []string       `json:"notes"`
}

// TrialSide is a version: its words in the parts log, and the matches and sessions that had it.
type TrialSide struct {
	Text   string        `json:"text"`
	Runs   []SeasonMatch `json:"runs"`
	Places []int         `json:"places"` // of its runs among those of both, from 0, in order of time
}

// TrialPoint is a measure in one run.
type TrialPoint struct {
	Place  int     `json:"place"` // among the runs of both
	Value  float64 `json:"value"`
	Events *int    `json:"events"` // of a share: how many of how many
	Of     *int    `json:"of"`
}

// TrialMeasure is one measure of both versions.
type TrialMeasure struct {
	Name       string     `json:"name"`
	Title      string     `json:"title"`
	Unit       string     `json:"unit"`
	A          SeasonSide `json:"a"`
	B          SeasonSide `json:"b"`
	Difference float64    `json:"difference"` // b less a, without what both drifted
	Low        *float64   `json:"low"`        // 95 %; nil: not bounded on that side
	High       *float64   `json:"high"`
	// P is the chance that the difference is at any time said so clearly when it is none; Settled
	// is whether that is at most 0.05 with all measures considered.
	P       float64 `json:"p"`
	Settled bool    `json:"settled"`
	// MoreRuns is about how many more runs, of both together, would settle it if the difference stays as
	// it is; nil where it is settled, or where a thousand would not do.
	MoreRuns *int `json:"more_runs"`
	// Shows is the smallest difference that as many runs again would settle.
	Shows  *float64     `json:"shows"`
	Points []TrialPoint `json:"points"`
	Note   string       `json:"note"`
}

// WriteJSON writes the trial as its JSON.
func (t *Trial) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	return e.Encode(t)
}
