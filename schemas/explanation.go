package schemas

import "fmt"

// ExplanationVersion is the value of Explanation.Explanation this program writes.
const ExplanationVersion = 1

// Explanation is the whole reasoning behind one finding, so that a person can argue with
// it. Times are log time in seconds; MatchStartS turns them into match time. Lists are
// never null, a number that could not be found out is.
type Explanation struct {
	Explanation int         `json:"explanation"`
	Match       string      `json:"match"`
	Robot       string      `json:"robot"`
	MatchStartS float64     `json:"match_start_s"`
	Finding     Finding     `json:"finding"`
	Events      []Reasoning `json:"events"` // one for each occurrence, in order of time
}

// Reasoning is how one occurrence was judged.
type Reasoning struct {
	Title        string        `json:"title"`
	StartS       float64       `json:"start_s"`
	EndS         float64       `json:"end_s"`
	Rule         string        `json:"rule"`         // the definition it was judged by
	Seen         []Seen        `json:"seen"`         // what was looked at
	Observed     []string      `json:"observed"`     // and what it showed, in sentences
	Considered   []Considered  `json:"considered"`   // what the tracker held possible, and how probable
	Law          *Law          `json:"law"`          // what is usual here
	Weighed      []Argument    `json:"weighed"`      // the evidence, item by item
	LogOdds      *float64      `json:"log_odds"`     // its sum
	Probability  *float64      `json:"probability"`  // which is this probability, before Confidence caps it
	Numbers      []Number      `json:"numbers"`      // measured, with what is usual
	Alternatives []Alternative `json:"alternatives"` // other explanations, and what speaks against them
	Change       []string      `json:"change"`       // what would change the verdict
}

// Seen is one signal over the stretch that was looked at.
type Seen struct {
	Signal  string  `json:"signal"`
	Role    string  `json:"role"`
	Samples int     `json:"samples"`
	StartS  float64 `json:"start_s"`
	EndS    float64 `json:"end_s"`
}

// Considered is one state the tracker held possible at a moment, by all it had seen up to then.
type Considered struct {
	AtS   float64 `json:"at_s"`
	When  string  `json:"when"`
	What  string  `json:"what"`
	Share float64 `json:"share"` // probability among those listed for the moment
}

// Law is how long one step usually takes and how long it took, in seconds of driving.
type Law struct {
	What       string   `json:"what"`
	UsualS     float64  `json:"usual_s"`
	In80S      float64  `json:"in_80_s"` // 80 % and 95 % are done by then
	In95S      float64  `json:"in_95_s"`
	Passes     float64  `json:"passes"` // of this match, each counted by how surely it was undisturbed
	Prior      string   `json:"prior"`  // what was believed before them
	TookS      float64  `json:"took_s"`
	Completed  bool     `json:"completed"`   // false: it took at least that long
	ChanceLong *float64 `json:"chance_long"` // of a usual step taking as long
}

// Argument is one item of evidence with what it means.
type Argument struct {
	What    string  `json:"what"`
	Means   string  `json:"means"`
	LogOdds float64 `json:"log_odds"`
}

// Alternative is another explanation of the same readings and why it was not taken.
type Alternative struct {
	What    string   `json:"what"`
	Because string   `json:"because"`
	Against *float64 `json:"against"` // log-odds of the finding over it, where they were reckoned
}

// Finish replaces nil slices by empty ones, so that arrays are never null in JSON.
func (e *Explanation) Finish() {
	fill(&e.Events)
	for i := range e.Events {
		r := &e.Events[i]
		fill(&r.Seen)
		fill(&r.Observed)
		fill(&r.Considered)
		fill(&r.Weighed)
		fill(&r.Numbers)
		fill(&r.Alternatives)
		fill(&r.Change)
	}
	fill(&e.Finding.Spans)
	fill(&e.Finding.Numbers)
	fill(&e.Finding.Evidence)
	fill(&e.Finding.Check)
	fill(&e.Finding.Caution)
}

// OnceIn is a probability as how often it happens, in words.
func OnceIn(p float64) string {
	switch {
	case p < 1e-6:
		return "less than once in a million"
	case p < 0.1:
		return fmt.Sprintf("once in %.0f", 1/p)
	default:
		return fmt.Sprintf("%.0f times in 100", 100*p)
	}
}
