package cycles

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Scored is pieces scored, or handed over, at one moment.
type Scored struct {
	T      int64 // µs
	Pieces int
	Period int // index of the period they count for, -1 for none
}

// Attribute says for which period each rise of a counter counts: the one it lies in, or,
// while the robot was disabled, the one that ended at most lateS before. A period holds its
// start and not its end. modes may be empty.
func Attribute(rises []series.Rise, periods, modes []schemas.Period, lateS float64) []Scored {
	out := make([]Scored, len(rises))
	for i, r := range rises {
		out[i] = Scored{T: r.T, Pieces: r.N, Period: -1}
		for j, p := range periods {
			start, end := schemas.Micros(p.StartS), schemas.Micros(p.EndS)
			late := end <= r.T && r.T <= end+schemas.Micros(lateS) && disabled(modes, r.T)
			if start <= r.T && r.T < end || late {
				out[i].Period = j // of two, the later one: its start ended the other
			}
		}
	}
	return out
}

// disabled says whether no mode but disabled is known to hold at t.
func disabled(modes []schemas.Period, t int64) bool {
	for _, m := range modes {
		if schemas.Micros(m.StartS) <= t && t < schemas.Micros(m.EndS) && m.Name != schemas.ModeDisabled {
			return false
		}
	}
	return true
}

// cycle is a row of the report with what judging it takes.
type cycle struct {
	schemas.Cycle
	start, end int64   // µs
	own        int64   // µs, where the robot's own work in it began: its start, or the last hand-over
	entered    int64   // µs, when the piece that scored came into the path, if hasPiece
	left       int64   // µs, when the last of its pieces left it, if hasPiece
	lateS      float64 // s, by which the counter followed later than it usually does
	hasPiece   bool
	scored     []int // numbers of the pieces that ended it
	aboard     bool  // no pose tells, and the piece was aboard when it began, from an earlier trip
	trips      int   // that its pieces took: more than one where the counter followed late; 0 unknown
	more       moreLoad
	uncounted  int            // pieces placed in it, before the one that scored was taken, that never counted
	wasted     int64          // µs, when the first of them left
	about      schemas.Phases // where silences of the pose are passed over, for what these leave open
	offS       float64        // s, by which about may be wrong
	jamS       float64        // s, that went to jams
	jams       []schemas.Jam  // these, as far as they cost it anything
	reason     Reason
	whole      bool // begins where the log does, and nothing says that the robot was driven from then
	legs       [legs]leg
	over       [legs]float64 // s, what each known leg took beyond its usual
	dawdledS   float64       // and what driving slower all the way cost on them
	sight      *sight        // of what it lost; nil where nothing was seen
	timed      bool          // and that is by how long it took alone
}

// trip says whether the robot went for the piece: not when it scored right after the one
// before, nor when it had the piece and stood at the goal as the cycle began. A cycle cut
// off by the clock counts as a trip.
func trip(c schemas.Cycle, cfg Config) bool {
	stood := c.Phases.ReturnS == nil && c.Phases.CarryS != nil && *c.Phases.CarryS == 0
	return !c.Complete || c.DurationS > cfg.VolleyS && !stood
}

// isTrip says whether the robot went for the piece, once.
func (c *cycle) isTrip(cfg Config) bool {
	return trip(c.Cycle, cfg) && !c.aboard && c.trips <= 1
}

// cut makes the cycles of each period: score to score, the first from the period's start,
// the last cut off by its end. A period without a score is one cut-off cycle. A score just
// after the period ends its cycle where it counted, beyond the period's end, and leaves no
// remainder; nor does one at the very end. A hand-over is a row from the score or hand-over
// before it, or the period's start, and leaves the scoring cycle as it is.
func cut(periods []schemas.Period, scores, handovers []Scored) []cycle {
	var out []cycle
	for i, p := range periods {
		start, end := schemas.Micros(p.StartS), schemas.Micros(p.EndS)
		mine, given := of(scores, i), of(handovers, i)
		at := start
		for _, s := range mine {
			out = append(out, row(schemas.CycleScore, p.Name, at, s.T, lastBefore(given, at, s.T), s.Pieces, true))
			at = s.T
		}
		if at < end {
			out = append(out, row(schemas.CycleScore, p.Name, at, end, lastBefore(given, at, end), 0, false))
		}
		for k, g := range given {
			from := lastBefore(mine, start, g.T)
			if k > 0 {
				from = max(from, given[k-1].T)
			}
			out = append(out, row(schemas.CycleHandover, p.Name, from, g.T, from, g.Pieces, true))
		}
	}
	return out
}

func row(kind, period string, start, end, own int64, pieces int, complete bool) cycle {
	return cycle{
		Cycle: schemas.Cycle{
			Kind: kind, Period: period, Pieces: pieces, Complete: complete,
			StartS: schemas.Seconds(start), EndS: schemas.Seconds(end), DurationS: schemas.Seconds(end - start),
		},
		start: start, end: end, own: own,
	}
}

func of(all []Scored, period int) []Scored {
	var out []Scored
	for _, s := range all {
		if s.Period == period {
			out = append(out, s)
		}
	}
	return out
}

// lastBefore is the time of the last of them between from and to, from if there is none.
func lastBefore(all []Scored, from, to int64) int64 {
	at := from
	for _, s := range all {
		if from <= s.T && s.T <= to {
			at = s.T
		}
	}
	return at
}

// freeS is how long a cycle would have lasted without what it was seen to lose, and never less than
// half: nobody works faster for it.
func (c *cycle) freeS() float64 {
	if c.sight == nil {
		return c.DurationS
	}
	lost, _ := c.sight.lost()
	return max(c.DurationS/2, c.DurationS-max(0, lost))
}
