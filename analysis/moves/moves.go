package moves

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Mechanism is one arm, lift or wrist.
type Mechanism struct {
	Name     string
	Position *series.Float
	Target   *series.Float
	Current  *series.Float // A; may be nil
	Within   float64       // in the unit of Position
}

// Input is what the move analysis looks at.
type Input struct {
	Mechanisms []Mechanism
	Periods    []schemas.Period
	Start, End int64 // first and last sample of the log, µs
}

// Result is the moves in order of time.
type Result struct {
	Moves []schemas.Move
	Notes []string
}
