package balance

import (
	"fmt"
	"math"
	"strconv"

	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
)

// loop is how the drive command answered the tilt, from when the platform tipped.
type loop struct {
	heard   bool    // there is a command, and enough of it
	ok      bool    // it follows tilt and rate well enough to say so
	law     law     // the likeliest as late as loops are
	noRate  bool    // one without a rate term explains it as well, or it makes up for less than no lateness
	limits  limits  // what held it
	remnant float64 // of full command, RMS: what wanders on beside any law, as under a hand
}

// lookAtLoop fits the drive command to tilt and tilt rate.
func lookAtLoop(tr trace, a attempt, in Input, cfg Config) (loop, heard) {
	lp := loop{limits: limits{at: math.Inf(1)}}
	if in.Drive == nil {
		return lp, heard{}
	}
	t0, t1 := a.levelled(tr, in)
	h, ok := hear(tr, t0, t1, in)
	if !ok {
		return lp, heard{}
	}
	lp.heard = true
	lp.limits = h.limits()
	h.limit = lp.limits.at
	h = h.atWork()
	lp.remnant = h.remnant()
	best, better, n := h.likeliest(tiltAlone, tiltAndRate)
	if h.grows(int(math.Round(best.late / lawStepS))) { // what sums up looks like less of a rate
		best, better, n = h.likeliest(tiltAndSum, tiltRateSum)
	}
	lp.law = best
	lp.ok = lp.law.r2 >= cfg.LoopR2
	lp.limits = h.ramps(lp.limits)
	switch {
	case lp.law.r2 < plainR2, lp.law.lead < -loopLateMost: // something else is in it: an integral, a command that may change only slowly
	case lp.law.lead <= cfg.NoRateS:
		lp.noRate = true
	case lp.law.lead <= lp.law.late: // it looks no further ahead than it is late
		lp.noRate = better < 3*cfg.Evidence
	default:
		lp.noRate = better < math.Log(n)
	}
	return lp, h
}

// likeliest is the law that explains the command best of those as late as loops are; better is by how
// much likelier it is than the best without a rate term, as the logarithm of the ratio, and n how many
// samples that rests on. The terms begin with a constant, the tilt and, in with, the rate.
func (h heard) likeliest(without, with func(v, w, s float64) []float64) (best law, better, n float64) {
	full, tiltOnly := math.Inf(1), math.Inf(1)
	for late := 0; float64(late)*lawStepS <= loopLateMost; late++ {
		basis, y := h.columns(late, with)
		total := aboutMean(y)
		if len(y) < 20 || !(total > 0) {
			continue
		}
		if c, rss, ok := swing.Linear(basis, y, len(basis)/len(y)); ok && c[1] != 0 && rss/total < full {
			full, n = rss/total, worth(residuals(basis, y, c))
			best = law{gain: c[1], lead: c[2] / c[1], late: float64(late) * lawStepS, off: c[0], r2: 1 - full}
		}
		basis, _ = h.columns(late, without)
		if _, rss, ok := swing.Linear(basis, y, len(basis)/len(y)); ok {
			tiltOnly = min(tiltOnly, rss/total)
		}
	}
	return best, n * math.Log(tiltOnly/full), n
}

// weigh lets the drive command and how the swing came to its size settle what its later half
// leaves open. One of constant size from the first on, under a command that answers the tilt in
// proportion and is not at its limit, is a loop without damping; one that came to its size from
// a larger one is kept up by friction, slack or the command's limit, and any damping of it is none.
func weigh(sw swing.Fit, lp loop, a attempt, tr trace) swing.Fit {
	first, last := math.Abs(tr.v[a.peaks[min(1, len(a.peaks)-1)]]), math.Abs(tr.v[a.peaks[max(0, len(a.peaks)-2)]])
	came := last < cameToSize*first
	switch {
	case sw.Kind == swing.Steady && !came && lp.noRate && lp.limits.share < limitRules && sw.Free != nil:
		free := *sw.Free
		free.Kind = swing.Damped
		return free
	case sw.Kind == swing.Damped && a.constant(tr) && math.Abs(sw.Zeta) < hardlyDamped && (came || !lp.noRate && lp.ok):
		return swing.Fit{Kind: swing.Steady}
	}
	return sw
}

const (
	cameToSize   = 0.8  // of the first swing past level, under which a swing came to its size
	hardlyDamped = 0.03 // by which swings of one size are not told from such as die down
)

// diagnosis is what is wrong, or right, in plain words; empty when the log does not tell.
func diagnosis(sw swing.Fit, lp loop, a attempt, bound bool, cfg Config) string {
	noRate := ""
	if lp.noRate {
		noRate = "answers the tilt but not its rate" + howLate(lp)
	}
	switch {
	case a.outcome == schemas.BalanceLevel && len(a.overshoots()) == 0 && !(sw.Kind == swing.Damped && sw.Zeta >= cfg.DampedWell):
		return "comes to level without a swing"
	case bound && noRate != "":
		return "swings grow: the platform's stops hold them; " + noRate
	case bound:
		return "swings grow: the platform's stops hold them; the tilt is answered too strongly or too late"
	case sw.Kind == swing.Steady && lp.limits.ramp > 0:
		return fmt.Sprintf("saturation: swings of constant size, the drive command changes no faster than by %s a second", two(lp.limits.ramp))
	case sw.Kind == swing.Steady && lp.limits.share > limitRules:
		return "saturation: swings of constant size, the drive command at its limit"
	case sw.Kind == swing.Steady:
		return "stick-slip or saturation: swings of constant size"
	case grows(sw) && noRate != "":
		return "swings grow: " + noRate
	case grows(sw):
		return "swings grow: the tilt is answered too strongly or too late"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedPoor && noRate != "":
		return "proportional only: " + noRate
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedPoor && len(a.overshoots()) > 1:
		return "too little damping: swings past level again and again"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedPoor:
		return "too little damping"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedWell && len(a.overshoots()) > 0:
		return "lightly damped: swings past level before it rests"
	case sw.Kind == swing.Damped && sw.Zeta < cfg.DampedWell:
		return "lightly damped"
	case sw.Kind == swing.Damped:
		return "well damped"
	}
	return ""
}

// grows says that the swings get larger, beyond doubt and by more than 6 % each.
func grows(s swing.Fit) bool {
	return s.Kind == swing.Damped && s.Zeta < -0.01 && s.Zeta+2*s.ZetaSD < 0
}

// howLate says by how much the command lags, when it clearly does.
func howLate(lp loop) string {
	if late := lp.law.late - lp.law.lead; late > clearlyLate && late <= lookBackS {
		return fmt.Sprintf(", and about %s s late", two(late))
	}
	return ""
}

const plainR2 = 0.95 // of the command, that a law must explain for it to be all of it

const clearlyLate = 0.06 // s; a few samples of any loop are less

// advice is what to try, empty when nothing is amiss or nothing is known. change is the change of
// gains that platform and loop together tell, nil where they tell none.
func advice(sw swing.Fit, a attempt, change *schemas.Retune, cfg Config) string {
	switch {
	case sw.Kind == swing.Steady:
		return "look for slack, friction and the limit of the command before changing gains"
	case sw.Kind == swing.Damped && sw.Zeta >= cfg.DampedWell:
		return ""
	case change != nil && straight(a):
		return "it came to level without a swing past it; to have it wobble less on the way, " + say(change)
	case change != nil:
		return say(change)
	case sw.Kind != swing.Damped || straight(a):
		return ""
	}
	return "this log does not tell which gain to change: one test run with the proportional gain a fifth lower, ready to stop it, would"
}

// two writes v with two significant digits.
func two(v float64) string {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 2, 64), 64)
	return strconv.FormatFloat(r, 'f', -1, 64)
}
