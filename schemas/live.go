package schemas

// LiveRobot is what can be said of a robot while it is being collected. What is not known is
// null.
type LiveRobot struct {
	Robot     string   `json:"robot"`
	Analyzed  bool     `json:"analyzed"` // false: nobody gave its profile, it is stored only
	Connected bool     `json:"connected"`
	Sources   int      `json:"sources"` // computers of the robot that send now
	Running   bool     `json:"running"` // a match runs
	Match     string   `json:"match"`   // its name, when a message opened it
	Period    string   `json:"period"`
	RunningS  float64  `json:"running_s"` // since the match began
	SilentS   *float64 `json:"silent_s"`  // age of what came last
	Samples   int64    `json:"samples"`
	VoltsNow  *float64 `json:"volts_now"`
	VoltsLow  *float64 `json:"volts_low"` // since the match began, or since the last one
	OffsetMS  *float64 `json:"offset_ms"` // of the collector's clock against the robot's
	BoundMS   *float64 `json:"bound_ms"`  // the offset is right to within this
	Sealing   bool     `json:"sealing"`   // the sheet is being made
	Analyses  int      `json:"analyses"`  // of the sheet that is being made, 0 while none is
	Done      int      `json:"done"`      // of these
	Problem   string   `json:"problem"`   // why the newest match could not be stored
	Newest    string   `json:"newest"`    // EVENT/MATCH of the newest sealed match
	Seal      int      `json:"seal"`      // and how often it was sealed

	Mapped    int          `json:"mapped"`     // signals that its profile names
	Came      int          `json:"came"`       // of these, those that came lately
	Signals   []LiveSignal `json:"signals"`    // each of them, in the order of the profile
	Lost      *int64       `json:"lost"`       // samples missing by the rates of the mapped signals, since power-up
	LostOf    *int64       `json:"lost_of"`    // of so many that should have come
	VoltsRest *float64     `json:"volts_rest"` // at which the battery rests now; null while it does not
	Strip     []LiveSecond `json:"strip"`      // the supply since the match began
	Room      *LiveRoom    `json:"room"`       // on the disk
}

// LiveSignal is what lately came of a signal that a profile names.
type LiveSignal struct {
	Signal string   `json:"signal"`
	Place  string   `json:"place"` // "sensor of stage throat"
	State  string   `json:"state"` // one of the Live words below
	AgeS   *float64 `json:"age_s"` // of its newest sample, against that of the robot's newest
	EveryS *float64 `json:"every_s"`
	SameS  *float64 `json:"same_s"` // how long it has said the same
}

// States of a LiveSignal.
const (
	LiveCame  = "came"
	LiveLate  = "late"   // it was there, and has been silent for long against its rate
	LiveNever = "never"  // nothing of it ever came
	LiveSame  = "frozen" // a measured quantity that no longer changes
	LiveZero  = "zero"   // a measured quantity that is 0 all along
)

// LiveSecond is the supply in one second of a match.
type LiveSecond struct {
	S     float64 `json:"s"` // since the match began
	LowV  float64 `json:"low_v"`
	HighV float64 `json:"high_v"`
}

// LiveRoom is how much more a disk takes.
type LiveRoom struct {
	FreeBytes  uint64 `json:"free_bytes"`
	MatchBytes uint64 `json:"match_bytes"` // of the usual match, of the newest ones; 0 when there is none
	Matches    int    `json:"matches"`     // that have room; 0 when there is no match to go by
}
