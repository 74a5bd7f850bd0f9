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
	Problem   string   `json:"problem"`   // why the newest match could not be stored
	Newest    string   `json:"newest"`    // EVENT/MATCH of the newest sealed match
	Seal      int      `json:"seal"`      // and how often it was sealed
}
