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
	// Together are recordings it may be of one match with, the surest first.
	Together []Together
}

// Together is a recording that a log may be of one match with: a stored match, or another log
// that waits.
type Together struct {
	With string // what Choice.With names it by
	Name string // in words: "q14 of heron, millbrook-open", or the file's name
	// Sure is whether it is; else a person must say so. Known is whether it was told how their
	// clocks lie to each other; else a person must say that too.
	Sure, Known bool
	Words       string // what was found, as a sentence without its end
	Why         string // what is missing for being sure
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
	// With is the recording the log is put together with; empty stores it as a match of its own.
	With string
	// AfterS is how long after that recording's beginning the log begins, by a person; nil where
	// nobody had to say so.
	AfterS *float64
}
