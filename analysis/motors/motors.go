// Package motors looks at each motor of which the log shows the current: what it is (its
// resistance and constant), how long it stood while it was driven, how warm it ran, whether
// it does less than its twin, and whether it draws what nothing asks for.
//
// The story: a motor with permanent magnets behind a chopping controller obeys V = I R + K w:
// the voltage its command makes of the supply drives the current through its windings and
// what is left turns it. R and K are learned from steady driving in the log itself (see
// line.go). A motor that stands although driven draws what its resistance and its controller
// allow, all of it heat (stall.go, heat.go). One that is told to run and draws nothing has
// lost its wire, its breaker or its controller; one that draws while it is told to rest and
// stands has a controller that does not obey (idle.go). Of two motors on one gearbox, the
// one that has lost a magnet, a phase or its key does less for the same command (twins.go).
//
// What looks the same and is not:
//   - a start, or a heavy mechanism gathering speed: it draws much and hardly turns, for as
//     long as it always does;
//   - a lift that holds its load, a piece pressed against a gate: a small command, or a
//     mechanism that is where it was sent;
//   - a weak battery or a brownout: the voltage is in the equation, and what happens while
//     the supply is near the cut-off counts for nothing;
//   - a controller that limits its current: the equation does not hold then, and such moments
//     are found and left out;
//   - an encoder that slips: it says that the motor stands, but the current says it does not;
//   - a sensor that is late, or whose zero is off: only steady driving is used, and the zero
//     is read while the motor rests;
//   - a stiff or cold gearbox, a heavy piece: more current and less speed on the same line.
package motors

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Motor is one motor and what the log has of it; only Current must be there.
type Motor struct {
	Name    string
	Command *series.Float // -1..1
	Current *series.Float // A
	Speed   *series.Float // rad/s, at the motor or behind its gears

	Kind string // motors of one kind have sensors of one kind

	// Of a mechanism that is sent to a position; nil of any other.
	Position, Target *series.Float
	Within           float64

	Twin string // the motor on the same mechanism that is told the same; empty where nobody says so: see twinOf

	// LimitA is the current it bears for ever and TauS how slowly it warms: the profile's, 0 for not known.
	LimitA, TauS float64
}

// Input is what the detector looks at.
type Input struct {
	Motors     []Motor
	Voltage    *series.Float     // V, of the supply; may be nil
	LeaveV     float64           // V at which controllers take hold again after a brownout; 0 for not known
	Disabled   []series.Interval // stretches in which nothing is driven whatever the commands say
	Gaps       []series.Interval // stretches in which nothing was logged
	Start, End int64             // first and last sample of the log, µs
	History    [][]schemas.Motor // of this robot's earlier matches
}

// Detect tells of each motor with a current, in the order given.
func Detect(in Input, cfg Config) []schemas.Motor {
	out := []schemas.Motor{}
	var all []*record
	odds := map[string]float64{}
	low, noises := lowVolts(in, cfg), noisesOf(in.Motors)
	for _, m := range in.Motors {
		if m.Current == nil || len(m.Current.T) < cfg.LeastSamples {
			continue
		}
		r := read(m, in, low, noises, cfg)
		r.weigh(cfg)
		all = append(all, r)
		odds[m.Kind] += r.odds
	}
	for _, r := range all {
		r.choose(odds[r.Kind], cfg)
	}
	for i, r := range all {
		row := schemas.Motor{Name: r.Name, Current: r.Current.Name}
		r.tellLine(&row)
		r.tellDraw(&row)
		if stalls, known := r.stalls(cfg); known {
			row.Stalls = stalls
			row.StalledS = schemas.Some(total(stalls))
		}
		r.tellHeat(&row, cfg)
		r.tellIdle(&row, cfg)
		row.Unpowered = r.unpowered(others(all, i), cfg)
		if k := twinOf(all, i); k >= 0 {
			tellTwin(&row, r, all[k], cfg)
		}
		tellUsual(&row, in.History, cfg)
		out = append(out, row)
	}
	return out
}

func others(all []*record, i int) []*record {
	var out []*record
	for k, r := range all {
		if k != i {
			out = append(out, r)
		}
	}
	return out
}

func total(stalls []schemas.Stall) float64 {
	sum := 0.0
	for _, s := range stalls {
		sum += s.EndS - s.StartS
	}
	return sum
}
