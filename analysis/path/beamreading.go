package path

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// The hidden states of a beam, one for each run of equal readings. A sound light barrier is
// clear or blocked, and in either state it may give the opposite reading for a moment: a
// spark while clear, a dropout while blocked. Sunlight in the receiver, a loose plug or a
// mount that shakes puts it into a spell: for as long as that lasts it reads blocked and
// clear in turn, whatever is in front of it. The first reading of a spell has a state of its
// own, so that spells can be counted.
const (
	beamClear = iota
	beamBlocked
	beamSpark
	beamDropout
	spellBlocked // the first reading of a spell
	spellClear
	spellBlockedOn // and those that follow it
	spellClearOn
	beamStates
)

func inSpell(state int) bool { return state >= spellBlocked }

// readingLaw is how one beam gives false readings.
type readingLaw struct {
	glitch float64 // chance that a moment of the opposite follows a true reading
	spell  float64 // chance that a spell does
	more   float64 // chance that a spell goes on after one of its readings
	lasts  float64 // s; mean length of a reading in a spell
}

// What is thought of a beam before its readings were looked at, and how many readings that is
// worth. A spell is thought rare, but once there to go on for a while: a beam whose every
// piece were a spell of one reading would be a beam in front of which things pass quickly.
const (
	guessGlitch, worthGlitch = 0.0125, 10
	guessSpell, worthSpell   = 0.001, 20
	guessMore, worthMore     = 0.8, 20
	guessLasts, worthLasts   = 0.05, 4 // s
	mostGlitch, mostSpell    = 0.5, 0.2

	edge = 0.1 // of sparks and dropouts: a piece comes or goes with a ragged edge
)

// readRuns is the most probable state of each run, and the probabilities of all. How the beam
// gives false readings is learned from its own, by the EM algorithm. The first and the last
// run are left out of the learning: the log began or ended, not they. How long a quiet beam was
// logged before and after says nothing of it; a false reading lasted at least as long as it showed.
func readRuns(runs []run, step float64, cfg Config) (path []int, post [][]float64) {
	law := readingLaw{glitch: guessGlitch, spell: guessSpell, more: guessMore, lasts: guessLasts}
	const rounds = 6
	for range rounds {
		post, _ = law.model().Smooth(law.odds(runs, step, cfg))
		law = law.learn(runs, post)
	}
	emit := law.odds(runs, step, cfg)
	post, _ = law.model().Smooth(emit)
	path, _ = law.model().Viterbi(emit)
	return path, post
}

// learn counts what follows what in the readings as they were understood.
func (l readingLaw) learn(runs []run, post [][]float64) readingLaw {
	var sound, glitches, spells, going, lasted float64
	for i := 1; i < len(runs)-1; i++ {
		p := post[i]
		on := p[spellBlockedOn] + p[spellClearOn]
		sound += p[beamClear] + p[beamBlocked]
		glitches += p[beamSpark] + p[beamDropout]
		spells += p[spellBlocked] + p[spellClear]
		going += on
		lasted += (on + p[spellBlocked] + p[spellClear]) * schemas.Seconds(runs[i].to-runs[i].from)
	}
	readings := spells + going
	return readingLaw{
		glitch: min((glitches+worthGlitch*guessGlitch)/(sound+worthGlitch), mostGlitch),
		spell:  min((spells+worthSpell*guessSpell)/(sound+worthSpell), mostSpell),
		more:   (going + worthMore*guessMore) / (readings + worthMore),
		lasts:  (lasted + worthLasts*guessLasts) / (readings + worthLasts),
	}
}

// model is the law of what follows what.
func (l readingLaw) model() stat.HMM {
	no := math.Inf(-1)
	turn, glitch, spell := math.Log(1-l.glitch-l.spell), math.Log(l.glitch), math.Log(l.spell)
	more, over := math.Log(l.more), math.Log(1-l.more)
	m := stat.HMM{Init: []float64{
		beamClear: -1, beamBlocked: -1, beamSpark: -5, beamDropout: no,
		spellBlocked: -5, spellClear: -5, spellBlockedOn: no, spellClearOn: no,
	}}
	for range beamStates {
		m.Trans = append(m.Trans, []float64{no, no, no, no, no, no, no, no})
	}
	to := func(from, to int, odds float64) { m.Trans[from][to] = odds }
	to(beamClear, beamBlocked, turn)
	to(beamClear, beamSpark, glitch)
	to(beamClear, spellBlocked, spell)
	to(beamBlocked, beamClear, turn)
	to(beamBlocked, beamDropout, glitch)
	to(beamBlocked, spellClear, spell)
	to(beamSpark, beamClear, math.Log(1-edge))
	to(beamSpark, beamDropout, math.Log(edge))
	to(beamDropout, beamBlocked, math.Log(1-edge))
	to(beamDropout, beamSpark, math.Log(edge))
	for _, s := range []int{spellBlocked, spellBlockedOn} {
		to(s, spellClearOn, more)
		to(s, beamClear, over)
	}
	for _, s := range []int{spellClear, spellClearOn} {
		to(s, spellBlockedOn, more)
		to(s, beamBlocked, over)
	}
	return m
}

// odds is how likely each run is in each state: impossible for the other reading, else by how
// long it lasted. A stretch that outlasts t with probability S(t), seen at a step h, shows for
// n steps with probability S((n-1)h) - S(nh). False readings have an exponential law. What is
// in front of a beam, or the gap between two pieces, hardly ever lasts a millisecond: that is
// a gamma law of shape 2, S(t) = (1 + t/tau) exp(-t/tau), of which one in ten is much longer:
// a wait, an empty path, a stuck sensor.
func (l readingLaw) odds(runs []run, step float64, cfg Config) [][]float64 {
	const long = 30
	no := math.Inf(-1)
	emit := make([][]float64, len(runs))
	for i, r := range runs {
		cut := i == 0 || i == len(runs)-1 // the log began or ended, not the stretch
		lasted := func(outlasts func(t float64) float64) float64 {
			d := max(schemas.Seconds(r.to-r.from)-step, 0)
			if cut {
				return math.Log(max(outlasts(d), 1e-300))
			}
			return math.Log(max(outlasts(d)-outlasts(d+step), 1e-300))
		}
		steady := 0.0 // however long a quiet beam was logged
		if !cut {
			steady = lasted(func(t float64) float64 {
				short := 2 * t / cfg.BlockS
				return 0.9*(1+short)*math.Exp(-short) + 0.1*math.Exp(-t/(long*cfg.BlockS))
			})
		}
		moment := lasted(func(t float64) float64 { return math.Exp(-t / max(cfg.GlitchS, 0.7*step)) })
		spell := lasted(func(t float64) float64 { return math.Exp(-t / max(l.lasts, 0.7*step)) })
		if r.blocked {
			emit[i] = []float64{no, steady, moment, no, spell, no, spell, no}
		} else {
			emit[i] = []float64{steady, no, no, moment, no, spell, no, spell}
		}
	}
	return emit
}
