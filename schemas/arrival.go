package schemas

// Arrival is a log that came in without a word (dropped on a page, found on a stick) as far as
// it was recognised, for a person to correct before it is stored.
type Arrival struct {
	ID      string // of what waits to be stored
	Name    string // of the file, as it came
	Size    int64  // bytes
	Form    string // "CSV, gzip"
	Problem string // why it cannot be read, in one line; then nothing below is set
	BadRows bool   // the problem is single rows that can be left out

	Samples, Signals int
	DurationS        float64
	Skipped          int         // bad rows left out
	Matches          int         // in the log
	Stored           []MatchID   // what it became already; then it is not stored again
	Clip             string      // the match a stretch was cut from, empty for a whole log
	Candidates       []Candidate // profiles that are known, those that fit first, best first
	Tied             []string    // robots whose profiles fit equally well; empty unless several do
	Guess            Choice
	TimeHow          string // how Guess.At was told, empty when it was not
}

// Candidate is a profile a log may belong to.
type Candidate struct {
	Robot   string
	From    string // where the profile is from, in words
	Fits    bool
	Found   int // signals of the profile that are in the log
	Mapped  int // signals of the profile
	Missing []string
}

// Choice is what a log is to be stored as.
type Choice struct {
	Profile              string // the robot whose profile is meant; empty stores samples only
	Robot                string // its name then; else that of the profile
	Season, Event, Match string
	At                   string // RFC 3339 wall clock of the match's start, or empty
	SkipBadRows          bool
}
