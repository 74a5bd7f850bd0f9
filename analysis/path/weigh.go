package path

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
	"gonum.org/v1/gonum/stat/distuv"
)

// weigh sets out the evidence for a jam and against it, as log-odds that add up: the prior, the
// time it took, what its motor did, pieces ahead, the driver, the beam, and how it ended. What the
// time and the motor say is reckoned from what is usual for this robot; the weights of the
// rest were chosen by us: 7 makes a thing a thousand times less likely, 3.5 thirty times, 2.5
// twelve times.
func (s *stand) weigh(w *way, all []journey, i int, sensor []unseen, known []found) {
	s.put(schemas.WeighedPrior, math.Log(w.cfg.JamRate/(1-w.cfg.JamRate)), "one piece in %.0f jams at a stage", 1/w.cfg.JamRate)
	s.put(schemas.WeighedTime, s.slowness(w, all, w.followed(all, i, s.visit)), "driven %.2f s where %.2f s is usual", s.x, s.law.usual())
	switch {
	case w.clocks[s.slot].lent:
		s.put(schemas.WeighedLent, -1, "its stage's command is not logged: a neighbour's was taken")
	case !w.clocks[s.slot].told:
		s.put(schemas.WeighedUnlogged, -1, "whether its stage was driven is not logged")
	}
	lock, said := s.motorOdds()
	if s.weighQueue(w, all, i, known) {
		lock = min(lock, 0) // pressed against the one ahead a motor locks too
	}
	s.weighMotor(lock, said)
	s.weighDriver(w)
	s.weighBeam(w, sensor, lock)
	s.weighEnd(w, all)
	if w.blind(s.from, s.to) {
		s.put(schemas.WeighedGap, -1, "the log has a gap in it")
	}
}

// put adds an item of evidence: its kind, its log-odds in favour of a jam, and its words.
func (s *stand) put(kind string, odds float64, what string, args ...any) {
	s.weighed = append(s.weighed, schemas.Weighed{Kind: kind, What: fmt.Sprintf(what, args...), LogOdds: odds})
}

// motorLook is by which look at a motor it is judged.
type motorLook int

const (
	byMeans   motorLook = iota // its current and speed when the piece was due
	byHardest                  // its hardest moment, against those of good passes
	byChange                   // how its load changed when the piece may have stopped
)

// motorOdds are the log-odds that the motor was held, by the look at it that says most: the
// hardest moment in place of the means where good passes are known.
func (s *stand) motorOdds() (odds float64, said motorLook) {
	odds = s.lock
	if !math.IsNaN(s.strain) {
		odds, said = s.strain, byHardest
	}
	if s.shift > odds {
		odds, said = s.shift, byChange
	}
	return odds, said
}

// weighQueue is for a piece ahead in whose way this one may only have waited; pressed is whether
// it may have been against that one.
func (s *stand) weighQueue(w *way, all []journey, i int, known []found) (pressed bool) {
	l, ok := w.ahead(all, i, s, known)
	if !ok && !s.waited {
		return false
	}
	switch {
	case l.stuck:
		s.put(schemas.WeighedQueue, -15, "the piece ahead was stuck")
	case l.went || s.waited:
		s.put(schemas.WeighedQueue, -7, "it went when the piece ahead did")
	case l.near:
		s.put(schemas.WeighedQueue, -3, "the piece ahead stood in the way")
	case s.how == stays || s.next < s.slot:
		s.put(schemas.WeighedQueue, -4, "a piece stood at the next beam")
	default:
		return false
	}
	return true
}

func (s *stand) weighMotor(odds float64, said motorLook) {
	if s.motor == nil {
		return
	}
	s.load += odds
	if odds == 0 {
		return
	}
	const roller = "roller at %.0f %% of its speed"
	put := func(what string, args ...any) { s.put(schemas.WeighedMotor, odds, what, args...) }
	turns, strained := 100*max(s.hardest.ratio, 0), said == byHardest && !math.IsNaN(s.times)
	switch {
	case said == byChange:
		put("its motor's load changed as if the piece had stopped")
	case strained && s.hardest.ratio <= standing:
		put(roller+", %.1f times its usual current", turns, s.times)
	case strained && !math.IsNaN(s.hardest.ratio):
		put("at the hardest the roller turned at %.0f %% of its speed and drew %.1f times what it does when pieces pass", turns, s.times)
	case strained:
		put("at the hardest its motor drew %.1f times what it does when pieces pass", s.times)
	case !math.IsNaN(s.ratio) && !math.IsNaN(s.amps):
		put(roller+", %.1f times its usual current", 100*max(s.ratio, 0), s.motor.times(s.amps))
	case !math.IsNaN(s.ratio):
		put(roller, 100*max(s.ratio, 0))
	default:
		put("motor at %.1f times its usual current", s.motor.times(s.amps))
	}
}

// weighDriver is for who drives: they reverse when they see a piece stand, and mostly do when one
// stands for long.
func (s *stand) weighDriver(w *way) {
	driven := w.driven(s.slot, s.visit.from).onward(s.start, s.end)
	switch reversals := w.reversals(s); {
	case reversals > 0 && driven > 0.3:
		odds := 3.5
		if s.slot == 0 {
			odds = 2.5 // at the mouth a driver also reverses to be rid of a piece
		}
		s.put(schemas.WeighedReversed, odds, "the driver reversed %d times", reversals)
		s.load += odds
	case driven > 2 && w.clocks[s.slot].told:
		s.put(schemas.WeighedNoReversal, -0.5, "the driver did not reverse")
	}
}

// weighBeam is for a beam in front of which a piece seems to stand and that may be at fault, which
// a motor under load speaks against; between beams, for how much way there was.
func (s *stand) weighBeam(w *way, sensor []unseen, lock float64) {
	k, front := inFront(s.slot)
	if !front {
		if w.drivenBack(s, s.visit.from, s.start) > pushedBack {
			s.put(schemas.WeighedDrivenBack, -2.5, "it had been driven back before: how much way lay ahead is not known")
		}
		return
	}
	if s.blk >= 0 && slices.ContainsFunc(sensor, func(u unseen) bool { return u.beam == k && u.blk == s.blk }) {
		s.put(schemas.WeighedBeamFault, -7, "the beam stayed blocked after the piece had gone on")
	}
	here := series.Interval{Start: s.from, End: s.to}
	if slices.ContainsFunc(w.beams[k].dark, func(f series.Interval) bool { return f.Overlap(here) > here.Len()/4 }) {
		s.put(schemas.WeighedBeam, -3, "the beam flickers")
	}
	if b := s.blk; b >= 0 && w.beams[k].blocks[b].atStart && w.beams[k].blocks[b].open && !(lock > 1) {
		s.put(schemas.WeighedBeamStill, -4, "the beam never changed in the whole log: it may be stuck")
	}
}

// weighEnd is for a piece that may not have been there to its end.
func (s *stand) weighEnd(w *way, all []journey) {
	k, front := inFront(s.slot)
	switch {
	case s.how == lost:
		s.put(schemas.WeighedPassed, -7, "a later piece passed")
	case s.slot >= w.wait && !front && k+1 == len(w.beams) && w.beams[k].stage == len(w.in.Stages)-1:
		s.put(schemas.WeighedUncounted, -3, "the last beam had cleared, only the count of releases had not come")
	case s.slot >= w.wait && !w.released(all):
		s.put(schemas.WeighedUnreleased, -4, "no piece was released in this match: what releasing drives is not known")
	case s.how == outGate && s.slot < w.last && s.slot < w.wait:
		s.put(schemas.WeighedReleased, -6, "it was counted as released: the beams ahead missed it")
	case s.how == stays && !front && s.turned == 0 && s.lock < 1:
		odds := -0.5
		if k == 0 || k+2 >= len(w.beams) {
			odds = -2
		}
		s.put(schemas.WeighedUnseen, odds, "it was never seen again: it may have left unseen")
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
	y := math.Log(w.onItsWay(s))
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
	const whole = 6.5 // one stay in some hundreds is that of a piece followed wrongly
	most := whole
	switch c := w.clocks[s.slot]; {
	case c.lent:
		most = 5
	case !c.told:
		most = 4
	case s.slot >= w.wait && s.law.n < 2:
		// What a release takes is not known, but none takes many seconds of what released others.
		most = 3
		if w.released(all) {
			most = min(most+2*math.Log(max(s.x, 1)), whole)
		}
	}
	return min(max(odds, -3), most)
}

// onItsWay is the driven seconds of a stand that a piece cannot have used to go again what it was
// driven back between two beams before it went on.
func (w *way) onItsWay(s *stand) float64 {
	k, front := inFront(s.slot)
	if front || !s.done || s.slot >= w.wait {
		return s.x
	}
	return w.floor(s.x-w.drivenBack(s, s.from, s.until), k)
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
		s.put(schemas.WeighedDoubt, less, "that it stood there at all is %.0f %% likely by the beams", 100*s.credit)
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
