package autonomous

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is what the autonomous analysis looks at; Score and pose may be nil.
type Input struct {
	Score         *series.Float
	X, Y, Heading *series.Float
	Modes         []schemas.Period // disabled stretches included
	Periods       []schemas.Period
	History       []schemas.Autonomous // of earlier matches
}
