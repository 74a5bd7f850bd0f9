// Package standby finds branches that draw current while the robot is disabled.
//
// The story: a disabled robot commands nothing, so what its breakers carry is electronics,
// well under two amperes. A branch that goes on drawing more has a motor that does not
// obey: a controller stuck on, a wire rubbed through, a motor wired past its controller.
// Hands go in next to it because everyone believes the robot is off.
//
// What looks the same and is not: a motor that coasts or brakes for a moment after the
// robot was disabled, a pump that is meant to run on, and a sensor whose zero is off. So
// the first second is left out, the draw must last, and its size is the median.
package standby

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Config are the limits.
type Config struct {
	Amps   float64 // a median above this is a draw. Common practice: idle electronics stay under it
	Settle int64   // µs after disabling that are left out; chosen by us
	Least  int64   // µs a disabled stretch must last beyond Settle; chosen by us
}

// DefaultConfig is the usual Config.
func DefaultConfig() Config { return Config{Amps: 2, Settle: 1_000_000, Least: 2_000_000} }

// Branch is one measured branch.
type Branch struct {
	Name    string
	Current *series.Float // A
}

// Input is what the detector looks at.
type Input struct {
	Branches []Branch
	Disabled []series.Interval // stretches in which the robot was disabled, µs
}

// Detect lists the draws, by branch in the order given, then by time.
func Detect(in Input, cfg Config) []schemas.StandbyDraw {
	var out []schemas.StandbyDraw
	for _, b := range in.Branches {
		for _, d := range in.Disabled {
			from := d.Start + cfg.Settle
			if d.End-from < cfg.Least {
				continue // too short to tell a draw from a motor that coasts
			}
			part := b.Current.Between(from, d.End)
			if len(part.V) < 10 {
				continue // too few readings for a median to mean anything
			}
			sorted := slices.Sorted(slices.Values(part.V))
			amps := sorted[len(sorted)/2]
			if amps <= cfg.Amps {
				continue // electronics
			}
			out = append(out, schemas.StandbyDraw{
				Branch: b.Name, Signal: b.Current.Name,
				StartS: schemas.Seconds(from), EndS: schemas.Seconds(d.End), MedianA: amps,
			})
		}
	}
	return out
}
