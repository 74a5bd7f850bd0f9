package path

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// Reason is what one jam was decided on besides the evidence that the jam itself lists. For
// a stand of a motor in which no piece was followed, only the motor's part is there and
// Followed is false.
type Reason struct {
	Followed bool
	Place    string // "in front of the beam of throat", "between the beams of throat and pocket"
	Waits    bool   // at the place where pieces wait to be released
	// The stay: log time in seconds from when the piece came until it was seen elsewhere.
	CameS, WentS float64
	Law          schemas.Law
	DrivenS      float64  // driven onward from the jam's start to its end
	Lent         bool     // by a neighbour's command, its own is not logged
	Told         bool     // whether it was driven is in the log at all
	Roller       *float64 // mean speed while it stood, 1 is what its command asks for
	Amps         *float64 // mean current then, A
	UsualAmps    *float64
	MotorOdds    float64  // log-odds that the motor was held fast
	Timed        bool     // the start is what the motor shows, else the middle of when it was due
	Block        *float64 // probability that the beam's reading was something in front of it
	Next         string   // the beam ahead
	NextMisses   float64  // chance that it does not see a piece
	Rate         float64  // how often a piece jams at a stage, before looking
	Considered   []schemas.Considered
	moments      []int64
}

// reason collects what a stand was decided on.
func (w *way) reason(s stand) Reason {
	r := Reason{
		Roller: schemas.Some(s.ratio), Amps: schemas.Some(s.amps), MotorOdds: s.lock, Rate: w.cfg.JamRate,
		CameS: schemas.Seconds(s.visit.from), WentS: schemas.Seconds(s.to), Timed: s.timed,
	}
	if s.motor != nil {
		r.UsualAmps = schemas.Some(math.Exp(s.motor.amps.Mu) - offset)
	}
	if s.slot < 0 {
		return r // a motor that stood, and no piece to follow
	}
	k, front := inFront(s.slot)
	c := w.clocks[s.slot]
	r.Followed, r.Waits, r.Lent, r.Told = true, s.slot >= w.wait, c.lent, c.told
	r.DrivenS = w.driven(s.slot, s.visit.from).onward(s.start, s.end)
	name := func(beam int) string { return w.in.Stages[w.beams[beam].stage].Name }
	switch {
	case front:
		r.Place = "in front of the beam of " + name(k)
	case k+1 < len(w.beams):
		r.Place = fmt.Sprintf("between the beams of %s and %s", name(k), name(k+1))
	default:
		r.Place = "past the beam of " + name(k)
	}
	if front && s.blk >= 0 {
		r.Block = schemas.Some(w.beams[k].blocks[s.blk].real)
	}
	if k+1 < len(w.beams) {
		r.Next, r.NextMisses = name(k+1), w.misses[k+1]
	}
	r.Law = schemas.Law{
		What: r.Place, UsualS: s.law.usual(), In80S: s.law.within(in80), In95S: s.law.within(in95), Passes: s.law.n,
		Prior: w.priorWords(s.slot), TookS: s.x, Completed: s.done,
	}
	if s.x > 0 {
		r.Law.ChanceLong = schemas.Some(s.law.dist.Survival(math.Log(s.x)))
	}
	r.moments = []int64{s.visit.from}
	if s.how != stays {
		r.moments = append(r.moments, s.to)
	}
	return r
}

// priorWords is what the law of a slot rests on before this match.
func (w *way) priorWords(slot int) string {
	k, front := inFront(slot)
	name := w.in.Stages[w.beams[k].stage].Name
	to := name
	if !front && k+1 < len(w.beams) {
		to = w.in.Stages[w.beams[k+1].stage].Name
	}
	n := 0
	if slot < w.wait {
		n = len(usuals(w.in.History, name, to))
	}
	if n == 0 {
		guess := w.cfg.PriorDwellS
		if !front {
			guess = w.cfg.PriorTransitS
		}
		return fmt.Sprintf("a wide guess of %.2f s, soon outweighed: no earlier match tells", guess)
	}
	return fmt.Sprintf("%d passes of earlier matches, counted as at most %.0f of today's", n, w.cfg.HistoryWeight)
}
