// Package standby finds branches that draw current while the robot is disabled.
//
// The story: a disabled robot commands nothing, so what its breakers carry is electronics,
// well under two amperes. A branch that goes on drawing more has a motor that does not
// obey: a controller stuck on, a wire rubbed through, a motor wired past its controller.
// Hands go in next to it because everyone believes the robot is off.
//
// What looks the same and is not: a motor that coasts or brakes for a moment after the
// robot was disabled, spikes on idle electronics, a pause too short to tell. So the first
// second is left out, the draw must last, and its size is the median. The branch of the
// computer, the radio and the lights draws several amperes and the same whether the robot is
// enabled or not: a branch that shows no motor at work in the whole match has none that could
// disobey. Another load that is meant to run on and one sensor whose zero is off look the same
// to the log's end: the finding says how to tell them at the robot. Where most branches rest at
// about one current it is no draw of each: SharedZero finds those.
package standby

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Config are the limits.
type Config struct {
	Amps     float64 // a median above this is a draw. Common practice: idle electronics stay under it
	SettleUS int64   // after disabling that are left out; chosen by us
	LeastUS  int64   // a disabled stretch must last beyond that; chosen by us
	Readings int     // in it at least, for a median to mean anything; chosen by us

	// A branch shows a motor at work where more than WorkShare of its readings while enabled,
	// EnabledUS of them at least, lie beyond the draw by WorkAmps and by WorkTimes of it: a
	// motor that starts or brakes does so several times over. Chosen by us.
	WorkShare, WorkAmps, WorkTimes float64
	EnabledUS                      int64

	// Of ZeroBranches measured branches at least, more than half share a zero that is off when
	// they rest within ZeroWithin of its size. While enabled each must be seen ZeroTimes as
	// often near it as near 0. Chosen by us: sensors of one board are put off by the same
	// reference or warmth, and by about as much.
	ZeroBranches          int
	ZeroWithin, ZeroTimes float64
}

// DefaultConfig is the usual Config.
func DefaultConfig() Config {
	return Config{
		Amps: 2, SettleUS: 1_000_000, LeastUS: 2_000_000, Readings: 10,
		WorkShare: 0.02, WorkAmps: 1.5, WorkTimes: 0.5, EnabledUS: 10_000_000,
		ZeroBranches: 4, ZeroWithin: 0.5, ZeroTimes: 3,
	}
}

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
			amps, ok := restsAt(b.Current, d, cfg)
			if !ok || amps <= cfg.Amps || alwaysOn(b, amps, in.Disabled, cfg) {
				continue // electronics
			}
			out = append(out, schemas.StandbyDraw{
				Branch: b.Name, Signal: b.Current.Name,
				StartS: schemas.Seconds(d.Start + cfg.SettleUS), EndS: schemas.Seconds(d.End), MedianA: amps,
			})
		}
	}
	return out
}

// restsAt is the median of a current, A, over a stretch of disabled.
func restsAt(current *series.Float, d series.Interval, cfg Config) (amps float64, ok bool) {
	from := d.Start + cfg.SettleUS
	if d.End-from < cfg.LeastUS {
		return 0, false // too short to tell a draw from a motor that coasts
	}
	part := current.Between(from, d.End)
	if len(part.V) < cfg.Readings {
		return 0, false // too few to tell
	}
	sorted := slices.Sorted(slices.Values(part.V))
	return sorted[len(sorted)/2], true
}

// alwaysOn says whether a branch was seen to draw about so much, A, all the time the robot was enabled
// too. A silence counts for no more than the second after disabling does.
func alwaysOn(b Branch, amps float64, disabled []series.Interval, cfg Config) bool {
	far := max(cfg.WorkAmps, cfg.WorkTimes*amps)
	var seen, other float64
	var lasted int64
	for k, at := range b.Current.T {
		if contains(disabled, at) {
			continue
		}
		seen++
		if k > 0 {
			lasted += min(at-b.Current.T[k-1], cfg.SettleUS)
		}
		if math.Abs(b.Current.V[k]-amps) > far {
			other++
		}
	}
	return lasted >= cfg.EnabledUS && other <= cfg.WorkShare*seen
}

func contains(stretches []series.Interval, at int64) bool {
	return slices.ContainsFunc(stretches, func(d series.Interval) bool { return d.Start <= at && at < d.End })
}
