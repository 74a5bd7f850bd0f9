package schemas

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
)

// ComparisonVersion is the value of Comparison.Comparison this program writes.
const ComparisonVersion = 1

// Comparison lays one pass over the good passes of this robot, aligned at the moment the
// piece came to a stage. Every list of values has one for each of TimeS; NaN, null in JSON,
// is where nothing is known.
type Comparison struct {
	Comparison  int              `json:"comparison"`
	Match       string           `json:"match"`
	Robot       string           `json:"robot"`
	MatchStartS float64          `json:"match_start_s"`
	Piece       int              `json:"piece"`
	Stage       string           `json:"stage"`   // at whose beam the passes are aligned
	EnterS      float64          `json:"enter_s"` // log time at which this piece came there
	TimeS       []float64        `json:"time_s"`  // seconds since then, evenly spaced
	Passes      []ComparedPass   `json:"passes"`  // the good passes it is held against
	Signals     []ComparedSignal `json:"signals"` // of every stage in order, the supply last
}

// ComparedPass is a good pass. Match is empty for the match of the comparison itself.
type ComparedPass struct {
	Match  string  `json:"match"`
	Piece  int     `json:"piece"`
	EnterS float64 `json:"enter_s"` // log time of its own match
}

// ComparedSignal is one signal of the pass and the band of the good passes. A beam is 1 while
// blocked.
type ComparedSignal struct {
	Signal string  `json:"signal"`
	Role   string  `json:"role"`  // beam, command, current, speed, voltage
	Stage  string  `json:"stage"` // empty for the supply
	Unit   string  `json:"unit"`
	Value  Gappy   `json:"value"`  // this pass
	Median Gappy   `json:"median"` // of the good passes
	Low    Gappy   `json:"low"`    // 10 % and 90 % of them
	High   Gappy   `json:"high"`
	Count  []int   `json:"count"`  // good passes that each point rests on
	Leaves []Leave `json:"leaves"` // stretches in which this pass is outside of the band
}

// Leave is one stretch outside of the band, in seconds since the piece came.
type Leave struct {
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	Side   string  `json:"side"`       // above or below
	By     float64 `json:"by"`         // how far beyond the edge of the band at most, in the signal's unit
	AtS    float64 `json:"farthest_s"` // when
}

// Gappy is a list of numbers in which NaN, null in JSON, means not known.
type Gappy []float64

// MarshalJSON writes NaN and infinities as null, and an empty list as [].
func (g Gappy) MarshalJSON() ([]byte, error) {
	out := []byte{'['}
	for i, v := range g {
		if i > 0 {
			out = append(out, ',')
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			out = append(out, "null"...)
			continue
		}
		out = strconv.AppendFloat(out, v, 'g', -1, 64)
	}
	return append(out, ']'), nil
}

// UnmarshalJSON reads null as NaN.
func (g *Gappy) UnmarshalJSON(text []byte) error {
	var values []*float64
	if err := json.NewDecoder(bytes.NewReader(text)).Decode(&values); err != nil {
		return err
	}
	*g = make(Gappy, len(values))
	for i, v := range values {
		(*g)[i] = math.NaN()
		if v != nil {
			(*g)[i] = *v
		}
	}
	return nil
}

// Finish replaces nil slices by empty ones, so that arrays are never null in JSON.
func (c *Comparison) Finish() {
	fill(&c.TimeS)
	fill(&c.Passes)
	fill(&c.Signals)
	for i := range c.Signals {
		fill(&c.Signals[i].Count)
		fill(&c.Signals[i].Leaves)
	}
}
