package balance

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is what the balance analysis looks at; only Tilt is required.
type Input struct {
	Tilt       *series.Float // deg
	Rate       *series.Float // deg/s; may be nil
	Drive      *series.Float // -1..1; may be nil
	X, Y       *series.Float // pose, m; may be nil
	MountDeg   float64
	LevelDeg   float64
	HoldS      float64
	Periods    []schemas.Period
	Start, End int64 // first and last sample of the log, µs
}

// Result is the balance attempts in order of time.
type Result struct {
	Balances []schemas.Balance
	Notes    []string
}
