package power

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Branch is the current of one breaker or motor.
type Branch struct {
	Name    string
	Current *series.Float // A
}

// Input is what the power analysis looks at; only Voltage is required.
type Input struct {
	Voltage        *series.Float // V
	Current        *series.Float // A, whole robot; may be nil
	Battery        *series.Text  // may be nil
	Branches       []Branch
	EnterV, LeaveV float64 // cut-off and recovery; EnterV 0 when the profile gives none
	Periods        []schemas.Period
	Start, End     int64 // first and last sample of the log, µs
	Gaps           []series.Interval
}

// Result is what happened to the supply.
type Result struct {
	Brownouts []schemas.Brownout
	Battery   schemas.Battery
	Line      *LoadLine // nil when refused; Battery.Reason says why
	Notes     []string
}
