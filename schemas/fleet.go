package schemas

import (
	"cmp"
	"encoding/json"
	"io"
	"slices"
)

// FleetVersion is the value of Fleet.Fleet this program writes.
const FleetVersion = 1

// Fleet is the robots of an event side by side: `afterbell fleet EVENT --json`. A pointer is nil
// (JSON null) when the value could not be found out; arrays are never null. All intervals are
// 95 %.
type Fleet struct {
	Fleet    int            `json:"fleet"`
	Season   string         `json:"season"`
	Event    string         `json:"event"`
	Matches  int            `json:"matches"`  // sheets of matches: one for each robot in a match
	Robots   []FleetRobot   `json:"robots"`   // by name
	Measures []FleetMeasure `json:"measures"` // those that any robot has
	// Headline says in a sentence or two who surely lies in the worse half, Detail what it rests on.
	Headline string `json:"headline"`
	Detail   string `json:"detail"`
}

// FleetRobot is a robot of the event.
type FleetRobot struct {
	Robot   string `json:"robot"`
	Matches int    `json:"matches"` // that count
}

// Which way a measure of a fleet is better.
const (
	BetterLower  = "lower"
	BetterHigher = "higher"
)

// FleetMeasure is one number of each robot.
type FleetMeasure struct {
	Name   string          `json:"name"`
	Title  string          `json:"title"` // in words
	Unit   string          `json:"unit"`  // empty for shares
	Better string          `json:"better"`
	Robots []FleetEstimate `json:"robots"` // by name, those that have the measure
	Median float64         `json:"median"` // of the robots' values
	// Pairs are the pairs of robots there are, Apart those of which one is surely better.
	Pairs int    `json:"pairs"`
	Apart int    `json:"apart"`
	Note  string `json:"note"`
}

// FleetEstimate is one robot's value. Best and Worst are the first and the last place it may
// have among all that have the measure: with 95 % confidence they hold for all robots of the
// measure together.
type FleetEstimate struct {
	Robot   string        `json:"robot"`
	Matches int           `json:"matches"` // with the measure
	Value   float64       `json:"value"`
	Low     *float64      `json:"low"` // nil with too few matches
	High    *float64      `json:"high"`
	Events  *int          `json:"events"` // of a share: how many of how many
	Of      *int          `json:"of"`
	Best    int           `json:"place_best"`
	Worst   int           `json:"place_worst"`
	Weakest *FleetWeakest `json:"weakest"` // the worst stage, or the worst battery; nil for other measures
}

// FleetWeakest is the part of a robot with the worst value. Low and High hold for the worst of
// all its parts, whichever it is.
type FleetWeakest struct {
	Name   string   `json:"name"`
	Value  float64  `json:"value"`
	Low    *float64 `json:"low"`
	High   *float64 `json:"high"`
	Events *int     `json:"events"`
	Of     *int     `json:"of"`
	// NotFrom are the others it cannot be told from, those with the worst values first.
	NotFrom []string `json:"not_told_from"`
}

// Measure is the measure of that name, nil when the fleet has none.
func (f *Fleet) Measure(name string) *FleetMeasure {
	for i := range f.Measures {
		if f.Measures[i].Name == name {
			return &f.Measures[i]
		}
	}
	return nil
}

// Estimate is a robot's value, nil when it has none.
func (m *FleetMeasure) Estimate(robot string) *FleetEstimate {
	for i := range m.Robots {
		if m.Robots[i].Robot == robot {
			return &m.Robots[i]
		}
	}
	return nil
}

// Order are the robots by a measure, the best value first, or by name when the fleet has no such
// measure. Those of which too little is known come behind, then those that lack it. It is an order of
// what was measured, not of what is sure.
func (f *Fleet) Order(measure string) []string {
	out := make([]string, len(f.Robots))
	for i, r := range f.Robots {
		out[i] = r.Robot
	}
	m := f.Measure(measure)
	if m == nil {
		return out
	}
	key := func(robot string) (known int, value float64) {
		e := m.Estimate(robot)
		switch {
		case e == nil:
			return 2, 0
		case e.Low == nil:
			known = 1
		}
		if m.Better == BetterHigher {
			return known, -e.Value
		}
		return known, e.Value
	}
	slices.SortStableFunc(out, func(a, b string) int {
		knownA, valueA := key(a)
		knownB, valueB := key(b)
		return cmp.Or(cmp.Compare(knownA, knownB), cmp.Compare(valueA, valueB))
	})
	return out
}

// WriteJSON writes the fleet as its JSON.
func (f *Fleet) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	return e.Encode(f)
}
