// Package moves looks at arms, lifts and wrists: whatever is sent to a position. A move is
// one change of the target; it tells how long the position took to get there and stay, how
// far it went past, and whether it got there at all.
//
// A target rarely jumps cleanly. A motion profile leads it there in small steps: that is one
// move. A driver's stick or rounding makes it tremble: as long as it stays within the
// mechanism's tolerance of where it last rested that is none. And a mechanism that stands
// still short of its target is not the same as one that was sent elsewhere on its way.
package moves

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
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
	Start, End int64            // first and last sample of the log, µs
	History    [][]schemas.Move // of this robot's earlier matches, in order of time
}

// Result is the moves in order of time, and what they tell together of each mechanism.
type Result struct {
	Moves      []schemas.Move
	Mechanisms []schemas.Mechanism
	Notes      []string
}

// Config is what Detect decides by; all of it chosen by us.
type Config struct {
	RampS     float64 // s; a target that changes again this soon is still on its way: several loops of any profile
	RampMaxS  float64 // s; the same for a target logged slowly, at most
	StayS     float64 // s within tolerance that make a move settled: half a swing of 1 Hz
	StayShare float64 // of the time the move took so far, if that is longer: a slow swing comes by for longer
	PatienceS float64 // s a target must have stood before a mechanism at rest away from it is short
	RestS     float64 // s over which such a mechanism moves by no more than its tolerance
	GapS      float64 // s; a longer silence of the position is no evidence of staying

	// Swings about the target, by the estimators of the balance loop.
	SwingMaxS  float64 // s of swinging looked at
	SwingShare float64 // of the amplitude; a model that errs by more explains nothing
	Evidence   float64 // BIC by which a swing must win ("very strong": Kass and Raftery, J. Am. Stat. Assoc. 90, 1995)

	// Slower than usual.
	AlikeWay   float64 // of the way: moves that differ by less, in length and where they begin, are alike
	LeastAlike int     // moves alike that make a usual
	Spread     float64 // of ln s, at least: moves alike differ by so much without anything being wrong
	FalseShare float64 // of the moves called slow that may be none (Benjamini and Hochberg)
	SlowS      float64 // s over the usual that matter
	SlowTimes  float64 // times the usual that matter
	PaceTimes  float64 // the same for the moves of a match together
	PaceMatch  int     // earlier matches that it takes to tell

	// What a counterbalance would spare.
	LeastPairs int     // moves one way and back
	ScaleShare float64 // by which the scale of a current sensor may be off, as a standard error
	ZeroA      float64 // A by which its zero may be off, likewise: nobody read it
	SameSign   float64 // current of one direction in that of the other, at least, to tell weight from friction
}

// DefaultConfig is what the program uses.
func DefaultConfig() Config {
	return Config{
		RampS: 0.15, RampMaxS: 0.3, StayS: 0.5, StayShare: 0.5, PatienceS: 1, RestS: 0.5, GapS: 0.5,
		SwingMaxS: 6, SwingShare: 0.15, Evidence: 10,
		AlikeWay: 0.15, LeastAlike: 6, Spread: 0.08, FalseShare: 0.1, SlowS: 0.3, SlowTimes: 1.25, PaceTimes: 1.15, PaceMatch: 3,
		LeastPairs: 6, ScaleShare: 0.03, ZeroA: 0.3, SameSign: 1.0 / 3,
	}
}

// Outcomes of a move.
const (
	Settled    = schemas.MoveSettled
	Short      = schemas.MoveShort
	Superseded = schemas.MoveSuperseded
)

// Detect finds the moves of every mechanism.
//
// A move starts with the first change of the target that takes it further than Within from
// where it last rested; changes that follow each other within Config.RampS in one direction
// are one move, to where the last of them leads. A log's first target is no move. From is
// the position at the start.
//
// A move is settled when the position is within ±Within of the target (give or take
// rounding) and stays there until the target moves again or for Config.StayS, or for half
// the time it took, if that is longer; SettleS and EndS say when it came there. Otherwise it
// ends when the target moves again or with the log: superseded when the target moved on
// while the mechanism was under way, short when the mechanism had come to rest elsewhere or
// the target never moved again. Overshoot is how far the position went beyond the target,
// seen from where it came, up to the end of its stay; never negative, in the position's
// unit. RiseS is how long it took from a tenth of the way to nine tenths, straight between
// samples; nil when it did not get that far, had no way to go, or was silent meanwhile. PeakA is the largest current, by size, up to EndS; nil without current.
//
// Spikes of one or two samples in the position count for nothing. Samples need not be
// regular, and position and target need not come together; a target holds until its next
// sample, and so does a position that is only written when it changes. A mechanism without
// position or target, or without any position while its target moved, gives a note and no move.
func Detect(in Input, cfg Config) Result {
	res := Result{Moves: []schemas.Move{}, Mechanisms: []schemas.Mechanism{}}
	for _, m := range in.Mechanisms {
		if m.Position == nil || m.Target == nil || len(m.Position.T) == 0 || len(m.Target.T) == 0 {
			res.Notes = append(res.Notes, fmt.Sprintf("%s: moves need both a position and a target in the log", m.Name))
			continue
		}
		if !(m.Within > 0) {
			res.Notes = append(res.Notes, fmt.Sprintf("%s: within is %g; moves need a tolerance above zero", m.Name, m.Within))
			continue
		}
		position := &series.Float{T: m.Position.T, V: stat.Despike(m.Position.T, m.Position.V, stat.Noise(m.Position.T, m.Position.V))}
		cfg := cfg
		if series.OnChange(m.Position.V) {
			cfg.GapS = math.Inf(1) // it was silent because it stayed where it was
		}
		logEnd := max(in.End, m.Position.T[len(m.Position.T)-1], m.Target.T[len(m.Target.T)-1])
		changes := changesOf(m.Target, m.Within, cfg)
		for i, c := range changes {
			end, last := logEnd, true
			if i+1 < len(changes) {
				end, last = changes[i+1].start, false
			}
			move, ok := follow(m, position, c, end, last, cfg)
			if !ok {
				res.Notes = append(res.Notes, fmt.Sprintf(
					"%s: no position while the target moved to %g at %.1f s of the log", m.Name, c.to, seconds(c.start)))
				continue
			}
			if at, cut := cutOff(in.Periods, move); cut {
				res.Notes = append(res.Notes, fmt.Sprintf(
					"%s: the end of a period at %.1f s of the log cut off the move to %g", m.Name, at, c.to))
			}
			res.Moves = append(res.Moves, move)
		}
	}
	slices.SortStableFunc(res.Moves, func(a, b schemas.Move) int { return cmp.Compare(a.StartS, b.StartS) })
	judgeSlow(res.Moves, in, cfg)
	for _, m := range in.Mechanisms {
		if s, ok := together(m, res.Moves, in.History, cfg); ok {
			res.Mechanisms = append(res.Mechanisms, s)
		}
	}
	return res
}

// change is one move of a target.
type change struct {
	start   int64   // first sample of a new value
	reached int64   // first sample of the last one
	before  float64 // the target until then
	to      float64
}

// changesOf are the moves of a target.
func changesOf(target *series.Float, within float64, cfg Config) []change {
	// Only where it changes, so that a profile slower than the log looks like any other.
	t, v := []int64{target.T[0]}, []float64{target.V[0]}
	for i := 1; i < len(target.V); i++ {
		if target.V[i] != v[len(v)-1] {
			t, v = append(t, target.T[i]), append(v, target.V[i])
		}
	}
	together := int64(1e6 * min(max(cfg.RampS, 2.5*seconds(series.Step(target.T))), max(cfg.RampS, cfg.RampMaxS)))
	var out []change
	rest, done := v[0], 0 // where it last rested, and the last index that is dealt with
	for i := 1; i < len(v); i++ {
		if math.Abs(v[i]-rest) <= within {
			continue
		}
		way := math.Copysign(1, v[i]-rest)
		first := i
		for first-1 > done && t[first]-t[first-1] <= together && (v[first-1]-v[first-2])*way > 0 {
			first--
		}
		last := i
		for next := i + 1; next < len(v) && t[next]-t[last] <= together && (v[next]-v[last])*way > -within; next++ {
			if (v[next]-v[last])*way > 0 {
				last = next
			}
		}
		out = append(out, change{start: t[first], reached: t[last], before: v[first-1], to: v[last]})
		rest, done, i = v[last], last, last
	}
	return out
}

// follow measures one move; ok is false when there is no position to measure.
func follow(m Mechanism, position *series.Float, c change, end int64, last bool, cfg Config) (schemas.Move, bool) {
	during := position.Between(c.start, end+1)
	if !last {
		during = position.Between(c.start, end)
	}
	if len(during.T) == 0 {
		return schemas.Move{}, false
	}
	from, known := position.At(c.start)
	if !known {
		from = during.V[0]
	}
	move := schemas.Move{
		Name: m.Name, StartS: seconds(c.start), EndS: seconds(end), From: from, To: c.to, Outcome: outcome(during, c, end, last, m.Within, cfg),
	}
	measured := len(during.T)
	if entry, stayed := settle(during, c, m.Within, cfg); entry >= 0 {
		move.Outcome, move.EndS = Settled, seconds(during.T[entry])
		move.SettleS = schemas.Some(seconds(during.T[entry] - c.start))
		measured = stayed + 1
	}
	way := c.to - from
	if math.Abs(way) <= m.Within {
		way = c.to - c.before // it was there already
	}
	for _, v := range during.V[:measured] {
		move.Overshoot = max(move.Overshoot, (v-c.to)*math.Copysign(1, way))
	}
	move.RiseS = rise(during, from, c.to, m.Within, cfg)
	if left, came, ok := stroke(during, from, c.to, m.Within, cfg); ok {
		move.MeanA = meanOver(m.Current, during.T[0]+int64(left*1e6), during.T[0]+int64(came*1e6))
	}
	tellSwing(&move, during, measured, m.Within, cfg)
	if m.Current != nil {
		drawn := m.Current.Between(c.start, int64(math.Round(move.EndS*1e6))+1)
		for _, a := range drawn.V {
			if move.PeakA == nil || math.Abs(a) > *move.PeakA {
				move.PeakA = schemas.Some(math.Abs(a))
			}
		}
	}
	return move, true
}

// meanOver is the mean of a current over a stretch, A; nil without readings there.
func meanOver(f *series.Float, from, to int64) *float64 {
	if f == nil {
		return nil
	}
	part := f.Between(from, to+1)
	sum := 0.0
	for _, v := range part.V {
		sum += v
	}
	return schemas.Some(sum / float64(len(part.V))) // 0/0 is NaN, nil
}

// settle is the sample at which the position came within tolerance to stay, and the last one
// of that stay; -1 when it did not.
func settle(during *series.Float, c change, within float64, cfg Config) (entry, stayed int) {
	entry = -1
	for i, v := range during.V {
		switch {
		case math.Abs(v-c.to) > within*(1+1e-9):
			entry = -1
			continue
		case entry < 0 || seconds(during.T[i]-during.T[i-1]) > cfg.GapS:
			entry = i
		}
		need := max(cfg.StayS, cfg.StayShare*seconds(during.T[entry]-c.start))
		if seconds(during.T[i]-during.T[entry]) >= need {
			return entry, i
		}
	}
	return entry, len(during.V) - 1
}

// outcome is how a move that did not settle ended.
func outcome(during *series.Float, c change, end int64, last bool, within float64, cfg Config) string {
	if last {
		return Short
	}
	if seconds(end-c.reached) < cfg.PatienceS {
		return Superseded
	}
	late := during.Between(end-int64(cfg.RestS*1e6), end)
	if len(late.V) == 0 || slices.Max(late.V)-slices.Min(late.V) > within {
		return Superseded
	}
	return Short
}

// cutOff says whether the robot was disabled while a move that came out short was under way, and when.
func cutOff(periods []schemas.Period, move schemas.Move) (float64, bool) {
	until := schemas.EnabledUntil(periods, move.StartS)
	return until, move.Outcome == Short && move.StartS < until && until < move.EndS
}

func seconds(us int64) float64 { return float64(us) / 1e6 }
