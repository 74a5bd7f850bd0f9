package suggest

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
)

// moves are the pairs of a target that steps and a position that follows it.
func (l *look) moves(currents []amps, branches []slot) []slot {
	var out []slot
	for _, target := range l.signals {
		if !target.number() || target.moving > 0.02 || len(target.levels) < 2 || !target.few(40) || target.changes < 2 {
			continue
		}
		s := slot{name: "move " + target.name}
		for _, p := range l.signals {
			if p == target || !p.steady() || p.lasting < 0.95 || p.quantity != nil && target.quantity != nil && *p.quantity != *target.quantity {
				continue
			}
			near, follows := arrives(target.v, p.v)
			if near > 0.08 || follows < 0.5 {
				continue
			}
			odds := -3 + 5*(follows-0.5) + 3*(0.08-near)/0.08 + math.Min(1.5, 0.3*float64(target.changes-2))
			if target.changes < 8 {
				odds-- // few steps follow by chance
			}
			odds += 0.6*(target.named("target")+p.named("position")) + 0.6*l.kinship(target, p)
			uses := []use{
				{role: "moves.position", of: target.at, s: p, sure: 1, why: fmt.Sprintf("comes to the target after %.0f %% of its steps", 100*follows)},
				{role: "moves.target", of: target.at, s: target, sure: 1, why: fmt.Sprintf("steps %d times, and the position follows", target.changes)},
			}
			if _, is := target.mayBeCommand(); is {
				odds -= 2.5 // what is told to a motor is not where something should be
			}
			if c, sure := l.currentOf(p, currents); c != nil {
				if inSum(c.s, branches) {
					sure *= oneOfSeveral
				}
				uses = append(uses, use{role: "moves.current", of: target.at, s: c.s, ref: scaled(c.s, c.scale, "mA"), sure: sure, why: "flows when the position changes"})
			}
			s.options = append(s.options, option{odds: odds, uses: uses})
		}
		if len(s.options) > 0 {
			out = append(out, s)
		}
	}
	return out
}

// arrives is how far the position is from the target at the end of its stand of a second or
// more, as a part of the position's range (the largest of the medians at each value of the
// target it has often), and after how many of the target's steps the position had gone half of the way or
// more.
func arrives(target, position []float64) (near, follows float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range position {
		if !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	if hi <= lo {
		return 1, 0
	}
	off := map[float64][]float64{} // by the target's value
	steps, good := 0, 0
	since, before := 0, math.NaN()
	for i := 1; i < len(target); i++ {
		last := i == len(target)-1
		if !last && (target[i] == target[i-1] || math.IsNaN(target[i-1])) {
			continue
		}
		// What became of the step before, if there was a second for it.
		if at := i - 1; at-since > int(perSec) && !math.IsNaN(position[at]) && !math.IsNaN(target[at]) {
			off[target[at]] = append(off[target[at]], math.Abs(position[at]-target[at])/(hi-lo))
			if way := target[at] - before; math.Abs(way) > 0.1*(hi-lo) {
				steps++
				if part := (position[at] - before) / way; part > 0.5 && part < 1.6 {
					good++
				}
			}
		}
		since, before = i, position[i-1]
	}
	if len(off) < 2 || steps < 2 {
		return 1, 0
	}
	// At each value it often has: a position that is right only where nothing happens is none.
	var seldom []float64
	for _, one := range off {
		if len(one) < 3 {
			seldom = append(seldom, one...)
			continue
		}
		near = max(near, stat.Median(one))
	}
	if len(seldom) > 2 {
		near = max(near, stat.Median(seldom))
	}
	return near, float64(good) / float64(steps)
}

// currentOf is the current of the motor that moves a position. Its torque speeds the load up,
// rubs and holds it against gravity: i = a x” + b x' + c while the robot works, and of two
// currents the one that obeys this better is the motor's own.
func (l *look) currentOf(position *signal, currents []amps) (*amps, float64) {
	speed := slope(position.v)
	awake, all := make([]float64, l.n), make([]bool, l.n)
	for i := range awake {
		all[i] = true
		if !l.quiet[i] {
			awake[i] = 1
		}
	}
	columns := [][]float64{slope(speed), speed, awake}
	best, second := -1, -1
	scores := make([]float64, len(currents))
	for k, c := range currents {
		y := mean(filled(c.s.v), 2)
		// What flows as long as the robot works, and any place it drives to, is no sign.
		r, level := residual(y, columns, all), residual(y, columns[2:], all)
		scores[k] = 1 - dot(r, r)/math.Max(dot(level, level), 1e-12)
		scores[k] += 0.1*l.kinship(position, c.s) + 0.02*c.s.named("current")
		switch {
		case best < 0 || scores[k] > scores[best]:
			best, second = k, best
		case second < 0 || scores[k] > scores[second]:
			second = k
		}
	}
	if best < 0 || scores[best] < 0.3 {
		return nil, 0
	}
	lead := scores[best]
	if second >= 0 {
		lead = scores[best] - scores[second]
	}
	return &currents[best], 1 / (1 + math.Exp(-25*(lead-0.02)))
}
