package cycles

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is what the cycle analysis looks at; only Score is required.
type Input struct {
	Score      *series.Float // counter
	Handover   *series.Float // counter; may be nil
	X, Y       *series.Float // m; may be nil
	Zones      []profile.Zone
	Passes     []schemas.Pass // nil when the path was not analyzed
	Jams       []schemas.Jam
	Modes      []schemas.Period // all modes in order, disabled stretches included
	Periods    []schemas.Period
	Start, End int64 // first and last sample of the log, µs
	History    []History
}

// History is one earlier match of this robot.
type History struct {
	Match  string
	Cycles []schemas.Cycle
}

// Result is how the robot cycled.
type Result struct {
	Cycles []schemas.Cycle
	Usual  schemas.Usual
	Notes  []string
}
