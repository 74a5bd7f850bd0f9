package path

import (
	"cmp"
	"slices"
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
	stage    int
	blocks   []block
	spells   []series.Interval // stretches in which it chatters, whatever is in front of it
	dark     []series.Interval // those, and others in which it tells nothing: silences, gaps
	glitches []run             // false readings, alone or in a spell
	flicker  []series.Interval // stretches of many of them, that a crew should know of
	step     float64           // s; resolution of its times
}

// run is a stretch of equal readings: from its first sample to the next run's first.
type run struct {
	from, to int64
	blocked  bool
}

// watch turns the readings of a beam into blocks. A hidden Markov model with one step for
// each run of equal readings (beamreading.go) tells pieces from glitches, which last
// milliseconds, and from spells in which the beam tells nothing. The time scales are in
// seconds, so that a log at 20 Hz and one at 1 kHz are judged by the same law; at 20 Hz a
// single blocked sample may be either, and its block says so in real.
func watch(sensor *series.Bool, stage int, end int64, cfg Config) beam {
	b := beam{stage: stage, step: beamStep(sensor)}
	runs := runsOf(sensor, end)
	if len(runs) == 0 {
		return b
	}
	path, post := readRuns(runs, b.step, cfg)

	const faint = 0.02 // less likely pieces than this are not worth a thought
	held := -1         // the block of what is in front of the beam, seen now or before a spell
	for i, r := range runs {
		state, real := path[i], min(post[i][beamBlocked], 1)
		if state != beamClear && state != beamBlocked {
			b.glitches = append(b.glitches, r)
		}
		b.noteSpell(r, state)
		switch {
		case state == beamClear || state == spellBlocked:
			held = -1
		case state == beamDropout && held < 0: // it came with a ragged edge
			held = len(b.blocks) - 1
			b.blocks[held].to = r.to
		case state == beamDropout || state == beamSpark && held >= 0:
			b.blocks[held].to = r.to
		case state == beamBlocked && held >= 0: // and nothing that a spell showed meanwhile
			b.blocks = b.blocks[:held+1]
			b.blocks[held].to, b.blocks[held].real = r.to, max(b.blocks[held].real, real)
		case state == beamBlocked:
			held = len(b.blocks)
		}
		if last := len(b.blocks) - 1; r.blocked && (last < 0 || b.blocks[last].to <= r.from) && (real > faint || state == beamSpark || state == beamBlocked) {
			b.blocks = append(b.blocks, block{from: r.from, to: r.to, real: real, atStart: i == 0})
		}
	}
	if n := len(runs) - 1; path[n] == beamBlocked {
		b.blocks[len(b.blocks)-1].open = true
	}
	b.blocks = slices.DeleteFunc(b.blocks, func(x block) bool { return x.real <= faint })
	return b
}

// noteSpell lengthens the spell that is going on, or begins one.
func (b *beam) noteSpell(r run, state int) {
	switch n := len(b.spells); {
	case !inSpell(state):
	case n > 0 && b.spells[n-1].End == r.from && state != spellBlocked && state != spellClear:
		b.spells[n-1].End = r.to
	default:
		b.spells = append(b.spells, series.Interval{Start: r.from, End: r.to})
	}
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

// answered is whether a moment's reading is the program's doing: it holds a piece in front of the
// beam, which sinks back out of it, and twitches the stage until it is there again. If the sensor
// lied it would look the same, but would lie while nothing is there, too.
func (r run) answered(d *drive) bool {
	i := sort.Search(len(d.twitches), func(i int) bool { return d.twitches[i].End >= r.from })
	return i < len(d.twitches) && d.twitches[i].Start <= r.to
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

// tellsNothing is whether a beam told nothing at some moment between two times, or up to the
// first of them: what is first seen then may have come before.
func (b *beam) tellsNothing(from, to int64) bool {
	i := sort.Search(len(b.dark), func(i int) bool { return b.dark[i].End >= from })
	return i < len(b.dark) && b.dark[i].Start < to
}

// around is the stretch round a time in which the beam told nothing, so that what it shows
// then may have been at any moment of it; the time itself when it did tell.
func (b *beam) around(at int64) (from, to int64) {
	i := sort.Search(len(b.dark), func(i int) bool { return b.dark[i].End >= at })
	if i < len(b.dark) && b.dark[i].Start <= at {
		return b.dark[i].Start, b.dark[i].End
	}
	return at, at
}

// sound are the blocks that a first look may learn from: likely pieces, apart from spells of
// chatter, which begin and end with readings as long as short pieces; those near spells too where
// there are hardly others.
func (b *beam) sound(cfg Config) []block {
	const few = 3
	near := schemas.Micros(cfg.FlickerS)
	var likely, apart []block
	for _, x := range b.blocks {
		if x.real < 0.5 {
			continue
		}
		likely = append(likely, x)
		if !slices.ContainsFunc(b.spells, func(s series.Interval) bool { return s.Start < x.to+near && s.End > x.from-near }) {
			apart = append(apart, x)
		}
	}
	if len(apart) < few {
		return likely
	}
	return apart
}

// darkOf joins spells, silences of the beam's own and gaps of the whole log.
func darkOf(spells []series.Interval, sensor *series.Bool, gaps []series.Interval) []series.Interval {
	all := slices.Concat(spells, gaps)
	limit := holds(sensor.T)
	for i := 1; i < len(sensor.T); i++ {
		if sensor.T[i]-sensor.T[i-1] > limit {
			all = append(all, series.Interval{Start: sensor.T[i-1], End: sensor.T[i]})
		}
	}
	slices.SortFunc(all, func(a, b series.Interval) int { return cmp.Compare(a.Start, b.Start) })
	var out []series.Interval
	for _, s := range all {
		if n := len(out); n > 0 && s.Start <= out[n-1].End {
			out[n-1].End = max(out[n-1].End, s.End)
			continue
		}
		out = append(out, s)
	}
	return out
}

// mostlyFlickers is whether most of the time between two times lies in flicker.
func (b *beam) mostlyFlickers(from, to int64) bool {
	shared := int64(0)
	for _, f := range b.flicker {
		shared += f.Overlap(series.Interval{Start: from, End: to})
	}
	return 2*shared > to-from
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
