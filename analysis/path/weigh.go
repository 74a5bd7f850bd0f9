package path

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
	"gonum.org/v1/gonum/stat/distuv"
)

// weigh sets out the evidence for a jam and against it, as log-odds that add up. What the
// time and the motor say is reckoned from what is usual for this robot; the weights of the
// rest were chosen by us: 7 makes a thing a thousand times less likely, 3.5 thirty times, 2.5
// twelve times.
func (s *stand) weigh(w *way, all []journey, i int, sensor []unseen, known []found) {
	put := func(odds float64, what string, args ...any) {
		s.weighed = append(s.weighed, schemas.Weighed{What: fmt.Sprintf(what, args...), LogOdds: odds})
	}
	put(math.Log(w.cfg.JamRate/(1-w.cfg.JamRate)), "one piece in %.0f jams at a stage", 1/w.cfg.JamRate)
	put(s.slowness(w, all, w.followed(all, i, s.visit)), "driven %.2f s where %.2f s is usual", s.x, s.law.usual())
	c := w.driven(s.slot, s.visit.from)
	switch {
	case w.clocks[s.slot].lent:
		put(-1, "its stage's command is not logged: a neighbour's was taken")
	case !w.clocks[s.slot].told:
		put(-1, "whether its stage was driven is not logged")
	}
	lock := s.lock
	if !math.IsNaN(s.strain) {
		lock = s.strain
	}
	if s.shift > lock || math.IsNaN(s.strain) && !math.IsNaN(s.shift) {
		lock = max(lock, s.shift)
	}
	if l, ok := w.ahead(all, i, s, known); ok || s.waited {
		if l.stuck || l.went || s.waited || l.near || s.how == stays || s.next < s.slot {
			lock = min(lock, 0) // pressed against the one ahead a motor locks too
		}
		switch {
		case l.stuck:
			put(-15, "the piece ahead was stuck")
		case l.went || s.waited:
			put(-7, "it went when the piece ahead did")
		case l.near:
			put(-3, "the piece ahead stood in the way")
		case s.how == stays || s.next < s.slot:
			put(-4, "a piece stood at the next beam")
		}
	}
	if s.motor != nil {
		s.load += lock
	}
	switch strained := lock == s.strain; {
	case s.motor == nil || lock == 0:
	case lock == s.shift:
		put(lock, "its motor's load changed as if the piece had stopped")
	case strained && !math.IsNaN(s.hardest.ratio) && s.hardest.ratio <= standing && !math.IsNaN(s.hardest.amps):
		put(lock, "roller at %.0f %% of its speed, %.1f times its usual current", 100*max(s.hardest.ratio, 0), s.times)
	case strained && !math.IsNaN(s.hardest.ratio) && !math.IsNaN(s.times):
		put(lock, "at the hardest the roller turned at %.0f %% of its speed and drew %.1f times what it does when pieces pass", 100*max(s.hardest.ratio, 0), s.times)
	case strained && !math.IsNaN(s.times):
		put(lock, "at the hardest its motor drew %.1f times what it does when pieces pass", s.times)
	case !math.IsNaN(s.ratio) && !math.IsNaN(s.amps):
		put(lock, "roller at %.0f %% of its speed, %.1f times its usual current", 100*max(s.ratio, 0), s.motor.times(s.amps))
	case !math.IsNaN(s.ratio):
		put(lock, "roller at %.0f %% of its speed", 100*max(s.ratio, 0))
	default:
		put(lock, "motor at %.1f times its usual current", s.motor.times(s.amps))
	}
	driven := c.onward(s.start, s.end)
	switch reversals := w.reversals(s); {
	case reversals > 0 && driven > 0.3:
		odds := 3.5
		if s.slot == 0 {
			odds = 2.5 // at the mouth a driver also reverses to be rid of a piece
		}
		put(odds, "the driver reversed %d times", reversals)
		s.load += odds
	case driven > 2 && w.clocks[s.slot].told:
		put(-0.5, "the driver did not reverse")
	}
	k, front := inFront(s.slot)
	for _, u := range sensor {
		if front && u.beam == k && u.blk == s.blk && s.blk >= 0 {
			put(-7, "the beam stayed blocked after the piece had gone on")
			break
		}
	}
	for _, f := range w.beams[k].dark {
		if front && f.Overlap(series.Interval{Start: s.from, End: s.to}) > (s.to-s.from)/4 {
			put(-3, "the beam flickers")
			break
		}
	}
	if b := s.blk; front && b >= 0 && w.beams[k].blocks[b].atStart && w.beams[k].blocks[b].open && !(lock > 1) {
		put(-4, "the beam never changed in the whole log: it may be stuck")
	}
	if !front && w.drivenBack(s, s.visit.from, s.start) > pushedBack {
		put(-2.5, "it had been driven back before: how much way lay ahead is not known")
	}
	switch {
	case s.how == lost:
		put(-7, "a later piece passed")
	case s.slot >= w.wait && !front && k+1 == len(w.beams) && w.beams[k].stage == len(w.in.Stages)-1:
		put(-3, "the last beam had cleared, only the count of releases had not come")
	case s.slot >= w.wait && !w.released(all):
		put(-4, "no piece was released in this match: what releasing drives is not known")
	case s.how == outGate && s.slot < w.last && s.slot < w.wait:
		put(-6, "it was counted as released: the beams ahead missed it")
	case s.how == stays && !front && s.turned == 0 && s.lock < 1:
		odds := -0.5
		if k == 0 || k+2 >= len(w.beams) {
			odds = -2
		}
		put(odds, "it was never seen again: it may have left unseen")
	}
	if w.blind(s.from, s.to) {
		put(-1, "the log has a gap in it")
	}
}

// reversals is how often the driver reversed a stand's stage, the last time included with which
// its piece went back.
func (w *way) reversals(s *stand) int {
	if s.turned > 0 || s.slot == 0 || s.how != back {
		return s.turned
	}
	const sent = 0.02 // driven seconds back, at the least
	if w.drivenBack(s, s.start, s.to) > sent {
		return 1
	}
	return 0
}

// drivenBack is for how many seconds a stage that may hold the piece of a stand was driven back
// between two times: the most of any.
func (w *way) drivenBack(s *stand, from, to int64) float64 {
	most := 0.0
	first, last := w.reach(s)
	for i := first; i <= last; i++ {
		most = max(most, w.drives[i].clock.backward(from, to))
	}
	return most
}

// slowness is what the time it took says: how much likelier it is with a jam in it than
// without. What was not seen to end counts by what it lasted at least.
func (s *stand) slowness(w *way, all []journey, followed bool) float64 {
	y := math.Log(s.x)
	jam := jammed(s.law.usual())
	var odds float64
	slow := distuv.Normal{Mu: s.all.dist.Mu + 0.3, Sigma: 0.3} // a slick or heavy piece
	share := slowPieces
	if s.pace.slick > slowPieces {
		share = s.pace.slick
		slow = distuv.Normal{Mu: s.all.dist.Mu + s.pace.law.Mu, Sigma: s.pace.law.Sigma}
	}
	usual, longer := s.law.dist.Prob(y), s.law.dist.Survival(y)
	if followed { // two pieces in contact block a beam for as long as both take
		usual = 0.7*usual + 0.3*s.law.and(s.law).dist.Prob(y)
	}
	unseen := w.mayHavePassed(s)
	usual, longer = (1-share)*usual+share*slow.Prob(y), (1-share)*longer+share*slow.Survival(y)
	held := w.mayBeHeld(s) // then it takes as long as one likes
	if s.done {
		usual = (1-held)*usual + held*jam.prob(y)
		odds = math.Log(jam.prob(y)) - math.Log(max(usual, 1e-12))
	} else {
		longer = (1-held)*longer + held*jam.survival(y)
		longer = (1-unseen)*longer + unseen // unseen it may have gone on in its time
		odds = math.Log(max(jam.survival(y), 1e-12)) - math.Log(max(longer, 1e-12))
	}
	most := 6.5 // one stay in some hundreds is that of a piece followed wrongly
	switch c := w.clocks[s.slot]; {
	case c.lent:
		most = 5
	case !c.told:
		most = 4
	case s.slot >= w.wait && s.law.n < 2:
		most = 3 // what a release takes is not known
	}
	return min(max(odds, -3), most)
}

// mayHavePassed is how probably the piece of a stand was further on when it was thought to
// stand, as no sound beam ahead would have shown it there, or it had not been driven up to one. A
// sound beam that misses one now and then is left to the tracker.
func (w *way) mayHavePassed(s *stand) float64 {
	k, front := inFront(s.slot)
	if front || s.shown == k+1 || s.slot >= w.wait || s.how == lost || s.how == outGate {
		return 0 // or that it went on is weighed by itself
	}
	if s.shown < len(w.beams) {
		driven := s.x // every stage on the way, at least so long
		for i := w.beams[k+1].stage; i <= w.beams[s.shown].stage; i++ {
			driven = min(driven, w.drives[i].clock.onward(s.from, s.until))
		}
		if driven > w.ways[k][s.shown].within(in99) {
			return 0
		}
	}
	return hidden
}

// mayBeHeld is how probably the piece of a stand stood in a stage that was not driven, while
// another one on its way was: between two beams the part of the way that lies in such stages.
// Where it is known which stages move it, those that had it no longer do not count. In front of
// a beam a piece may reach into the next stage, which then holds it.
func (w *way) mayBeHeld(s *stand) float64 {
	const idle = 0.3 // of what the most driven one was; chosen by us
	first, last := w.reach(s)
	stages := w.holders(s)
	if _, front := inFront(s.slot); front {
		last = min(last+1, len(w.drives)-1)
		stages = []int{first, last}
	}
	var part, driven []float64
	for _, i := range stages {
		if c := w.drives[i].clock; c.told {
			part, driven = append(part, 1), append(driven, c.onward(s.start, s.end))
			if i == first || i == last {
				part[len(part)-1] = 0.5 // their beams are about in the middle
			}
		}
	}
	held, whole := 0.0, 0.0
	for i, d := range driven {
		whole += part[i]
		if d < idle*slices.Max(driven) {
			held += part[i]
		}
	}
	if held == 0 {
		return 0
	}
	return held / whole
}

// holders are the stages between two beams that may have had the piece when a stand began:
// all of them, or the hand it then was in and those still to come.
func (w *way) holders(s *stand) []int {
	hands := w.hands[s.slot]
	var stages []int
	if len(hands) == 0 {
		for i, last := w.stages(s.slot); i <= last; i++ {
			stages = append(stages, i)
		}
		return stages
	}
	legs := w.driven(s.slot, s.visit.from)
	at := len(legs) - 1
	for at > 0 && legs[at].from > s.start {
		at--
	}
	n := slices.IndexFunc(hands, func(h hand) bool { return at > 0 && h.clock == legs[at].clock })
	for _, h := range hands[max(n, 0):] {
		stages = append(stages, h.stage)
	}
	return stages
}

// pushedBack is the driven seconds back after which it is not known how much way lies ahead.
const pushedBack = 0.1

// slowPieces is the share of pieces that go through a stage clearly slower than others
// without ever standing.
const slowPieces = 0.02

// released is whether any piece left at the gate.
func (w *way) released(all []journey) bool {
	return slices.ContainsFunc(all, func(j journey) bool { return j.outcome == outGate })
}

func (m *motor) times(amps float64) float64 { return (amps + offset) / math.Exp(m.amps.Mu) }

// doubtful adds the doubt whether the piece stood there at all, where there is some: credit is
// the probability that it did by the beams alone. A motor that was held fast and a driver who
// reversed are signs of that too, so they count in full.
func (s *stand) doubtful() {
	const plain = 0.02 // less is no matter
	sum := s.sum()
	jammed := s.credit * probability(sum-s.load)
	if less := max(math.Log(jammed/(1-jammed))+s.load, -mostDoubt) - sum; less < -plain {
		s.weighed = append(s.weighed, schemas.Weighed{
			What: fmt.Sprintf("that it stood there at all is %.0f %% likely by the beams", 100*s.credit), LogOdds: less,
		})
	}
}

// mostDoubt is where a doubt ends: at odds of e^-9 nothing is left of a jam.
const mostDoubt = 9

func (s *stand) sum() float64 {
	sum := 0.0
	for _, e := range s.weighed {
		sum += e.LogOdds
	}
	return sum
}

func probability(odds float64) float64 { return 1 / (1 + math.Exp(-odds)) }

// confidence turns the evidence into a probability, at most surest: beams and motors do odd
// things for reasons nobody thought of.
func (s *stand) confidence() float64 { return min(probability(s.sum()), surest) }

const surest = 0.99
