package score

// Version is the value of Result.Score this program writes.
const Version = 1

// Result is a whole score, as --json writes it.
type Result struct {
	Score    int             `json:"score"`
	Scenario string          `json:"scenario"`
	From     uint64          `json:"from"`
	Seeds    int             `json:"seeds"`
	With     []string        `json:"with"`
	Hours    float64         `json:"hours_of_match"`
	Subjects []SubjectResult `json:"subjects"`
	Failures []Failure       `json:"failures"`
	NeverOn  []string        `json:"conditions_never_on"`
	Matches  []MatchResult   `json:"matches"`
}

// SubjectResult is one subject over all matches.
type SubjectResult struct {
	Name         string        `json:"name"`
	Title        string        `json:"title"`
	LostAMatch   float64       `json:"lost_a_match"` // mean weight of what went wrong
	Rows         []Row         `json:"rows"`
	Tables       []Table       `json:"tables"`
	Calibrations []Calibration `json:"calibrations"`
	Conditions   []Condition   `json:"conditions"`
	Losses       []LossKind    `json:"losses"`
	Worst        []Worst       `json:"worst"`
}

// Row is one figure over all matches. Value is the share, the events for one of the unit,
// or the median size of the errors; null when there was no case.
type Row struct {
	Name    string   `json:"name"`
	Kind    Kind     `json:"kind"`
	Unit    string   `json:"unit,omitempty"`
	K       float64  `json:"k"`
	N       float64  `json:"n"`
	Value   *float64 `json:"value"`
	Low     *float64 `json:"low"` // 95 % interval
	High    *float64 `json:"high"`
	Nominal *float64 `json:"nominal,omitempty"`
	P90     *float64 `json:"p90,omitempty"`
	Max     *float64 `json:"max,omitempty"`
	Bias    *float64 `json:"bias,omitempty"` // median with sign
	Leads   bool     `json:"leads"`
	Small   bool     `json:"less_is_better,omitempty"`
}

// Table counts pairs of words, most frequent first.
type Table struct {
	Name string      `json:"name"`
	Rows []TableCell `json:"rows"`
}

// TableCell is how often the truth was one word and the report another.
type TableCell struct {
	Truth string `json:"truth"`
	Found string `json:"found"`
	N     int    `json:"n"`
}

// MatchResult is what a later run compares itself with.
type MatchResult struct {
	Seed       uint64                  `json:"seed"`
	Conditions []string                `json:"conditions"`
	Subjects   map[string]MatchSubject `json:"subjects"`
}

// MatchSubject is one subject in one match.
type MatchSubject struct {
	Lost    float64            `json:"lost"`
	Sums    map[string]Sum     `json:"sums"`
	Medians map[string]float64 `json:"medians"` // of the size of the errors
}

// Failure is a match that could not be scored.
type Failure struct {
	Seed uint64 `json:"seed"`
	Why  string `json:"why"`
	Open string `json:"open"`
}

// Condition is the subject in the matches that had a condition on.
type Condition struct {
	Name    string    `json:"name"`
	Matches int       `json:"matches"`
	Lost    float64   `json:"lost_a_match"`
	P       float64   `json:"p"`     // of so much more lost than without it, by ranks
	Costs   bool      `json:"costs"` // and chance does not explain it, all conditions considered
	Figures []Compare `json:"figures"`
}

// Compare is one leading figure with the condition on, beside all matches. Chance is true
// when the 95 % interval of the difference to the matches without it holds 0.
type Compare struct {
	Name   string   `json:"name"`
	With   Row      `json:"with"`
	All    *float64 `json:"all"`
	Chance bool     `json:"chance"`
}

// LossKind is one kind of what went wrong, over all matches.
type LossKind struct {
	Kind  string   `json:"kind"`
	Lost  float64  `json:"lost"` // weight of all of them
	N     int      `json:"n"`
	Seeds []uint64 `json:"seeds"` // in which they were, each once
}

// Worst is a match in which much was lost.
type Worst struct {
	Seed       uint64   `json:"seed"`
	Lost       float64  `json:"lost"`
	Conditions []string `json:"conditions"`
	What       []string `json:"what"`
	Open       []string `json:"open"`
}
