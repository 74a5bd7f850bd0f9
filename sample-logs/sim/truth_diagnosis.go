package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// What kind of trouble an attempt was, in the words of the report; chosen by us where words
// have bounds.
const (
	growsFrom   = -0.02 // damping ratio under which a swing grows
	littleUnder = 0.3   // and under which it is too little
	wellFrom    = 0.6
	evenPeaks   = 0.15 // by which swings of constant size differ at the most, of their size
	atLimit     = 0.1  // of the time: the command's limit rules
	atStop      = 0.95 // of the angle of the board's stops: a swing came to them
	handLeastS  = 1.0  // s of levelling with the stick that make an attempt one by hand
)

// Attempt is what the world knows of how an attempt was levelled, beside its row in the truth.
type Attempt struct {
	Diagnosis    string   // the kind of trouble, as the report begins to say it; empty where it is left open
	ByHand       bool     // the driver levelled; one who turns back at once, or drives on over the board, levels nothing
	NoRate       bool     // the program levelled by the tilt alone
	Loose        bool     // the board has slack, or dry friction holds it: that keeps a swing up as well as a limit of the command does
	Damping      *float64 // of the loop's straight equations at the size of swing there was, although these may not describe all of it; nil where it never had the board to itself
	DisturbedAtS *float64 // when another robot, or this one's wheels that rolled, moved the board, log s; nil when none did
}

// attempts are those of the truth's attempts, in their order.
func (w *world) attempts(balances []schemas.Balance) []Attempt {
	logged := w.recorder.clean("imu/pitch")
	if logged == nil {
		return nil
	}
	tilt := w.filled(logged)
	out := make([]Attempt, len(balances))
	for i, b := range balances {
		out[i] = Attempt{Diagnosis: w.diagnosis(b, tilt), ByHand: w.levelledByHand(b), DisturbedAtS: w.disturbed(b)}
		if f, ok := w.freeSwing(b.StartS, b.EndS); ok {
			x, runs, _ := f.loop.describes(f.rows, f.first, f.balance)
			if zeta, _, ok := f.loop.swing(x, runs); ok {
				out[i].Damping = schemas.Some(zeta)
			}
		}
		out[i].Loose = w.platform.slack > 0 || w.platform.dry > 0
		out[i].NoRate = w.program.level.kd == 0 && !w.byHand(b.Period)
		if out[i].DisturbedAtS == nil && w.rolled(b) {
			out[i].DisturbedAtS = schemas.Some(b.StartS)
		}
	}
	return out
}

// diagnosis says what kind of trouble an attempt was; empty where the world leaves it open: a
// person levelled, another robot moved the board, or the equations made straight do not describe
// what happened, and it did not swing on at one size either.
func (w *world) diagnosis(b schemas.Balance, tilt *clean) string {
	if w.byHand(b.Period) || w.disturbed(b) != nil || w.rolled(b) {
		return ""
	}
	if b.DampingRatio == nil {
		if !w.swingsOn(b, tilt) {
			return ""
		}
		if w.limited(b) > atLimit {
			return "saturation"
		}
		if w.outgrows(b, tilt) {
			return "swings grow"
		}
		return "stick-slip or saturation"
	}
	switch z := *b.DampingRatio; {
	case b.Outcome == schemas.BalanceLevel && b.Overshoots == 0:
		return "comes to level without a swing"
	case z < growsFrom:
		return "swings grow"
	case z < littleUnder && w.program.level.kd == 0:
		return "proportional only"
	case z < littleUnder:
		return "too little damping"
	case z < wellFrom:
		return "lightly damped"
	}
	return "well damped"
}

// byHand says that the driver levels with the sticks in a period.
func (w *world) byHand(period string) bool {
	return w.scenario.balance.hand != nil && period == schemas.PeriodDriver
}

// levelledByHand says that the driver did so in an attempt, for a second at the least.
func (w *world) levelledByHand(b schemas.Balance) bool {
	looks := 0
	for _, t := range w.stuck {
		if t >= b.StartS && t <= b.EndS {
			looks++
		}
	}
	return float64(looks)*people*step >= handLeastS
}

// disturbed is when another robot came onto the board, or was still moving on it, in an attempt,
// log s; nil when none did.
func (w *world) disturbed(b schemas.Balance) *float64 {
	var first *float64
	for _, g := range w.platform.guests {
		if !g.aboard || g.appearedAt == 0 || g.settledAt+w.begin < b.StartS || g.appearedAt+w.begin > b.EndS {
			continue
		}
		if at := math.Max(b.StartS, g.appearedAt+w.begin); first == nil || at < *first {
			first = schemas.Some(at)
		}
	}
	return first
}

// rolled says that the board tipped under a robot that stood on it and was not being levelled: it
// had been let go of, or was disabled.
func (w *world) rolled(b schemas.Balance) bool {
	const before, quietS = 1.0, 0.5 // s
	if on, _ := w.onPlatform(b.StartS - before); !on || w.byHand(b.Period) {
		return false
	}
	for _, r := range w.levelled {
		if b.StartS-quietS < r.at && r.at <= b.StartS {
			return false
		}
	}
	return true
}

// swingsOn says that the last three swings past level, and more if there are, were of one size.
func (w *world) swingsOn(b schemas.Balance, tilt *clean) bool {
	low, high, ok := lastSwings(b, tilt)
	return ok && high-low < evenPeaks*high
}

// outgrows says that swings of one size are those of a loop that makes them grow: they come to the
// board's stops, which hold them, and would without any friction, slack or limit of the command.
func (w *world) outgrows(b schemas.Balance, tilt *clean) bool {
	low, _, ok := lastSwings(b, tilt)
	return ok && low >= atStop*w.platform.stop/degree && w.goesOn(b.StartS, b.EndS)
}

// lastSwings are the least and the largest of the last three whole swings past level, deg; ok is
// false for fewer.
func lastSwings(b schemas.Balance, tilt *clean) (low, high float64, ok bool) {
	var peaks []float64
	side := 0.0
	for i, t := range tilt.t {
		v := tilt.v[i]
		if s := schemas.Seconds(t); s < b.StartS || s > b.EndS || math.Abs(v) <= levelDeg {
			continue
		}
		if v*side <= 0 {
			side = v
			peaks = append(peaks, 0)
		}
		peaks[len(peaks)-1] = max(peaks[len(peaks)-1], math.Abs(v))
	}
	if len(peaks) < 5 { // the climb, the swing that follows it, and three; the last may be cut off
		return 0, 0, false
	}
	last := peaks[len(peaks)-4 : len(peaks)-1]
	return min(last[0], last[1], last[2]), max(last[0], last[1], last[2]), true
}

// limited is the share of an attempt's runs of the levelling loop at its limit, or at the only
// speed it knows.
func (w *world) limited(b schemas.Balance) float64 {
	n, at := 0.0, 0.0
	for _, r := range w.levelled {
		if r.at < b.StartS || r.at > b.EndS {
			continue
		}
		n++
		if r.limited {
			at++
		}
	}
	return at / max(1, n)
}
