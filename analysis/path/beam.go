package path

import (
	"math"
	"sort"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// block is one stretch in which a beam was blocked, chatter taken out.
type block struct {
	from, to int64   // first blocked sample, first clear one after; the end of the log when none came
	real     float64 // probability that something was in front of the beam, and not the sensor's own doing
	atStart  bool    // blocked from the beam's first sample on: when it began is not known
	open     bool    // not clear again by the end of the log
}

// beam is what one light barrier saw.
type beam struct {
	stage   int
	blocks  []block
	flicker []series.Interval // stretches in which it chattered too much to be believed
	step    float64           // s; resolution of its times
}

// run is a stretch of equal readings: from its first sample to the next run's first.
type run struct {
	from, to int64
	blocked  bool
}

// The hidden states of a beam. A light barrier is clear or blocked, and in either state it
// may give the opposite reading for a moment: a spark while clear, a dropout while blocked.
const (
	beamClear = iota
	beamBlocked
	beamSpark
	beamDropout
	beamStates
)

// watch turns the readings of a beam into blocks. A hidden Markov model with one step for
// each run of equal readings decides which runs are glitches: a glitch lasts milliseconds,
// a piece a good part of a second, and a glitch is followed by what was before. The time
// scales are in seconds, so that a log at 20 Hz and one at 1 kHz are judged by the same
// law; at 20 Hz a single blocked sample may be either, and its block says so in real.
func watch(sensor *series.Bool, stage int, end int64, cfg Config) beam {
	b := beam{stage: stage, step: beamStep(sensor)}
	runs := runsOf(sensor, end)
	if len(runs) == 0 {
		return b
	}
	path, post := readRuns(runs, b.step, cfg)

	const faint = 0.02 // less likely pieces than this are not worth a thought
	var glitches []run
	inside := false
	for i, r := range runs {
		if path[i] == beamSpark || path[i] == beamDropout {
			glitches = append(glitches, r)
		}
		last := len(b.blocks) - 1
		switch {
		case path[i] == beamDropout:
			b.blocks[last].to = r.to
		case path[i] == beamBlocked && inside:
			b.blocks[last].to = r.to
			b.blocks[last].real = max(b.blocks[last].real, post[i][beamBlocked])
		case path[i] == beamBlocked || path[i] == beamSpark && post[i][beamBlocked] > faint:
			b.blocks = append(b.blocks, block{from: r.from, to: r.to, real: post[i][beamBlocked], atStart: i == 0})
		}
		inside = path[i] == beamBlocked || path[i] == beamDropout
	}
	if last := runs[len(runs)-1]; inside && last.blocked {
		b.blocks[len(b.blocks)-1].open = true
	}
	b.flicker = flickers(glitches, cfg)
	kept := b.blocks[:0]
	for _, x := range b.blocks {
		x.real = min(x.real, 1)
		if mostly := x.doubt(b.flicker); mostly && x.to-x.from < schemas.Micros(cfg.BlockS/3) {
			continue // one more flash of a storm
		}
		kept = append(kept, x)
	}
	b.blocks = kept
	return b
}

// readRuns is the most probable state of each run, and the probabilities of all. How often
// the beam gives false readings is learned from a first look, and how long they last by
// which law makes the readings likeliest: a loose wire flashes for a sample or two, sunlight
// for longer.
func readRuns(runs []run, step float64, cfg Config) (path []int, post [][]float64) {
	best := math.Inf(-1)
	emit := make([][]float64, len(runs))
	for _, lasting := range glitchLengths(runs, cfg) {
		cfg.GlitchS = lasting
		for i, r := range runs {
			emit[i] = readingOdds(r, step, i == len(runs)-1, cfg)
		}
		share := cfg.GlitchOdds
		first, _ := beamModel(share).Smooth(emit)
		const weight = 10 // readings that the guess is worth, at a twentieth of it
		wrong := share / 20 * weight
		for _, p := range first {
			wrong += p[beamSpark] + p[beamDropout]
		}
		share = min(wrong/(float64(len(runs))+weight), 0.5)
		model := beamModel(share)
		if p, likely := model.Smooth(emit); likely > best {
			best, post = likely, p
			path, _ = model.Viterbi(emit)
		}
	}
	return path, post
}

// glitchLengths are the usual lengths of false readings to try. Longer ones than the guess
// only for a beam that is often blocked for shorter than any piece would: short clear
// moments alone are the gaps between pieces that follow each other.
func glitchLengths(runs []run, cfg Config) []float64 {
	const often = 6
	flashes := 0
	for _, r := range runs {
		if r.blocked && r.to-r.from < schemas.Micros(cfg.BlockS/3) {
			flashes++
		}
	}
	if flashes < often {
		return []float64{cfg.GlitchS}
	}
	return []float64{cfg.GlitchS, 3 * cfg.GlitchS, 8 * cfg.GlitchS}
}

// runsOf are the runs of equal readings, the last to the end of the log.
func runsOf(sensor *series.Bool, end int64) []run {
	var runs []run
	for i, v := range sensor.V {
		if n := len(runs); n > 0 && runs[n-1].blocked == v {
			continue
		} else if n > 0 {
			runs[n-1].to = sensor.T[i]
		}
		runs = append(runs, run{from: sensor.T[i], to: end, blocked: v})
	}
	return runs
}

// beamModel is the law of what follows what, with the share of runs that are glitches.
func beamModel(glitches float64) stat.HMM {
	no := math.Inf(-1)
	turn, glitch := math.Log(1-glitches), math.Log(glitches)
	return stat.HMM{
		Init: []float64{beamClear: -1, beamBlocked: -1, beamSpark: -5, beamDropout: no},
		Trans: [][]float64{
			beamClear:   {beamClear: no, beamBlocked: turn, beamSpark: glitch, beamDropout: no},
			beamBlocked: {beamClear: turn, beamBlocked: no, beamSpark: no, beamDropout: glitch},
			beamSpark:   {beamClear: 0, beamBlocked: no, beamSpark: no, beamDropout: no},
			beamDropout: {beamClear: no, beamBlocked: 0, beamSpark: no, beamDropout: no},
		},
	}
}

// readingOdds is how likely a run is in each state: impossible for the other reading, else
// by how long it lasted. A stretch that outlasts t with probability S(t), seen at a step h,
// shows for n steps with probability S((n-1)h) - S(nh). Glitches have an exponential law.
// What is in front of a beam, or the gap between two pieces, hardly ever lasts a
// millisecond: that is a gamma law of shape 2, S(t) = (1 + t/tau) exp(-t/tau), of which one
// in ten is much longer: a wait, an empty path, a stuck sensor.
func readingOdds(r run, step float64, last bool, cfg Config) []float64 {
	d := schemas.Seconds(r.to - r.from)
	lasted := func(outlasts func(t float64) float64) float64 {
		seen := outlasts(max(d-step, 0))
		if !last { // else the log ended, not the stretch
			seen -= outlasts(max(d-step, 0) + step)
		}
		return math.Log(max(seen, 1e-300))
	}
	const long = 30
	steady := lasted(func(t float64) float64 {
		short := 2 * t / cfg.BlockS
		return 0.9*(1+short)*math.Exp(-short) + 0.1*math.Exp(-t/(long*cfg.BlockS))
	})
	moment := lasted(func(t float64) float64 { return math.Exp(-t / max(cfg.GlitchS, 0.7*step)) })
	no := math.Inf(-1)
	if r.blocked {
		return []float64{beamClear: no, beamBlocked: steady, beamSpark: moment, beamDropout: no}
	}
	return []float64{beamClear: steady, beamBlocked: no, beamSpark: no, beamDropout: moment}
}

// flickers are the stretches with at least FlickerCount glitches in FlickerS.
func flickers(glitches []run, cfg Config) []series.Interval {
	var out []series.Interval
	for i, first := 0, 0; i < len(glitches); i++ {
		for glitches[i].from-glitches[first].from > schemas.Micros(cfg.FlickerS) {
			first++
		}
		if i-first+1 < cfg.FlickerCount {
			continue
		}
		if n := len(out); n > 0 && glitches[first].from <= out[n-1].End {
			out[n-1].End = glitches[i].to
		} else {
			out = append(out, series.Interval{Start: glitches[first].from, End: glitches[i].to})
		}
	}
	return out
}

// doubt lowers a block's credit when most of it lies in flicker, and says whether it does.
func (b *block) doubt(flicker []series.Interval) bool {
	shared := int64(0)
	for _, f := range flicker {
		shared += f.Overlap(series.Interval{Start: b.from, End: b.to})
	}
	if 2*shared <= b.to-b.from {
		return false
	}
	b.real = min(b.real, 0.3)
	return true
}

// beamStep is the usual time between samples in seconds; a beam that is written only when
// it changes has its times to the millisecond.
func beamStep(sensor *series.Bool) float64 {
	changes := 0
	for i := 1; i < len(sensor.V); i++ {
		if sensor.V[i] != sensor.V[i-1] {
			changes++
		}
	}
	if steps := stepsOf(sensor.T); len(steps) > 0 && 10*changes < 7*len(sensor.V) {
		return max(stat.Median(steps)/1e6, 1e-3)
	}
	return 1e-3
}

// index is the block of the beam at a time, -1 none.
func (b *beam) index(at int64) int {
	i := sort.Search(len(b.blocks), func(i int) bool { return b.blocks[i].to > at })
	if i == len(b.blocks) || b.blocks[i].from > at {
		return -1
	}
	return i
}
