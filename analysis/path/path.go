package path

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Stage is one part of the path as this robot measures it; a series the robot lacks is nil.
type Stage struct {
	Name    string
	Sensor  *series.Bool  // true while a piece blocks it
	Command *series.Float // -1..1, positive moves a piece onward
	Current *series.Float // A
	Speed   *series.Float // rad/s
}

// Input is what the path analysis looks at.
type Input struct {
	Stages     []Stage
	Release    *series.Float // counter or pulse: a piece left on purpose; may be nil
	Score      *series.Float // counter of scored pieces; may be nil
	Voltage    *series.Float // V; may be nil
	Periods    []schemas.Period
	Start, End int64             // first and last sample of the log, µs
	Gaps       []series.Interval // stretches in which nothing at all was logged
	History    [][]schemas.Pass  // passes of this robot's earlier matches
	Explain    bool              // Reasons also tell what the tracker held possible; costs a search more
}

// Result is what happened in the path. Passes are in the order the pieces came, jams and
// faults in order of time.
type Result struct {
	Passes    []schemas.Pass
	Stages    []schemas.StageSum
	Jams      []schemas.Jam
	Suspected []schemas.Jam
	Faults    []schemas.Fault // sensors that cannot be true (stuck, flickering)
	Notes     []string
	// What each of Jams, and each of Suspected, was decided on.
	JamReasons, SuspectedReasons []Reason
}
