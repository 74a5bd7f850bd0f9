package motors

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"gonum.org/v1/gonum/stat/distuv"
)

// Which current a signal shows: that in the motor's windings, or that which its controller
// takes from the supply, which is smaller by the share of the time that it is switched on.
const (
	winding = schemas.CurrentWinding
	supply  = schemas.CurrentSupply
)

// line is V = I R + K w of one motor. R holds the wires between where the supply is measured
// and the motor, K the gears between the motor and where its speed is.
type line struct {
	known       bool
	side        string // winding or supply; empty when the log cannot tell
	r, k        float64
	rLow, rHigh float64 // 95 %
	kLow, kHigh float64
	residualV   float64
	reason      string
}

// weigh learns the line from steady driving, once for each side the current may belong to.
// Both coefficients are found by least squares with what the sensors' noise does to them
// taken off again (stat.FitPlane); blocks that stray from it, those at a controller's limit
// above all, are left out in turns. odds are ln of how much likelier the winding is: how
// much better it describes the blocks, of normal errors of either size and with each bout
// as a draw. A motor that is always driven at one command has even odds.
func (r *record) weigh(cfg Config) {
	switch {
	case r.Command == nil:
		r.line.reason = "its command is not known"
		return
	case r.Speed == nil:
		r.line.reason = "its speed is not known"
		return
	}
	var blocks []block
	for _, b := range r.steady(cfg) {
		if !math.IsNaN(b.v) && !math.IsNaN(b.w) {
			blocks = append(blocks, b)
		}
	}
	bouts := 0
	if n := len(blocks); n > 0 {
		bouts = blocks[n-1].bout
	}
	if bouts < cfg.LeastBouts {
		r.line.reason = "it was hardly ever driven steadily, or the supply voltage is not known"
		return
	}
	var scaleW, scaleS float64
	r.asWinding, scaleW = r.fit(blocks, winding, cfg)
	r.asSupply, scaleS = r.fit(blocks, supply, cfg)
	if r.asWinding.known && r.asSupply.known {
		r.odds = float64(bouts) * math.Log(scaleS/scaleW)
	}
	if !r.asWinding.known {
		r.line.reason = r.asWinding.reason
	}
}

// choose settles on a side by odds, those of all motors of its kind together: one robot
// reads them all the same way. When they do not decide, the interval holds both.
func (r *record) choose(odds float64, cfg Config) {
	w, s := r.asWinding, r.asSupply
	switch {
	case !w.known && !s.known:
		return
	case !w.known || s.known && odds < -cfg.Sure:
		r.line, r.line.side = s, supply
	case !s.known || odds > cfg.Sure:
		r.line, r.line.side = w, winding
	default:
		r.line = w
		r.line.rLow, r.line.rHigh = min(w.rLow, s.rLow), max(w.rHigh, s.rHigh)
		r.line.kLow, r.line.kHigh = min(w.kLow, s.kLow), max(w.kHigh, s.kHigh)
	}
	if !(r.line.rHigh-r.line.rLow <= 2*cfg.WidestOhm*r.line.r) {
		r.line.reason = hardlyChanges
	}
}

const hardlyChanges = "its load hardly changes, so that resistance and constant cannot be told apart"

// fit is the line if the current is of that side, and the usual size of what it leaves, V.
func (r *record) fit(blocks []block, side string, cfg Config) (l line, scale float64) {
	amps := func(b block) float64 {
		if side == supply {
			return b.i / b.u
		}
		return b.i
	}
	keep := make([]bool, len(blocks))
	for k, b := range blocks { // begin without what may be limited, or stand
		keep[k] = b.i < 0.8*r.ceiling && b.w > 0.3*r.perU*b.u
	}
	var p stat.Plane
	ok := false
	for range 20 {
		if p, ok = r.plane(blocks, keep, amps); !ok {
			return line{reason: hardlyChanges}, math.Inf(1)
		}
		left := func(b block) float64 { return b.u*b.v - p.B[0]*amps(b) - p.B[1]*b.w }
		var size []float64
		for k, b := range blocks {
			if keep[k] {
				size = append(size, left(b))
			}
		}
		const finest = 0.005 // V; no log is truer
		s := max(stat.SpreadAboutZero(size), finest)
		changed := false
		for k, b := range blocks {
			_, se := p.At([]float64{amps(b), b.w})
			obeys := math.Abs(left(b)) <= cfg.Strays*math.Hypot(s, se)
			changed = changed || obeys != keep[k]
			keep[k] = obeys
		}
		scale = s
		if !changed {
			break
		}
	}
	seR, seK := r.withZero(p, blocks, keep, amps)
	seR, seK = math.Hypot(seR, cfg.ScaleOhm*p.B[0]), math.Hypot(seK, cfg.ScaleK*p.B[1])
	l = line{known: true, r: p.B[0], k: p.B[1], residualV: p.Residual}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(p.Groups - 2)}.Quantile(0.975)
	l.rLow, l.rHigh = l.r-t*seR, l.r+t*seR
	l.kLow, l.kHigh = l.k-t*seK, l.k+t*seK
	if p.Groups < cfg.LeastBouts || !(l.r > 0 && l.k > 0) || 2*p.N < len(blocks) {
		return line{reason: "its current and speed do not go together as those of a motor do"}, math.Inf(1)
	}
	return l, scale
}

// withZero are the standard errors of R and K with what an error of the current sensor's zero
// does to them: the fit with the zero moved by its own standard error.
func (r *record) withZero(p stat.Plane, blocks []block, keep []bool, amps func(block) float64) (seR, seK float64) {
	moved, ok := r.plane(blocks, keep, func(b block) float64 {
		b.i += r.zeroSE
		return amps(b)
	})
	if !ok {
		return p.SE(0), p.SE(1)
	}
	return math.Hypot(p.SE(0), moved.B[0]-p.B[0]), math.Hypot(p.SE(1), moved.B[1]-p.B[1])
}

// plane is the fit to the blocks kept.
func (r *record) plane(blocks []block, keep []bool, amps func(block) float64) (stat.Plane, bool) {
	var y, i, w []float64
	var group []int
	var errA, errW float64 // variances of the averages
	for k, b := range blocks {
		if !keep[k] {
			continue
		}
		y, i, w, group = append(y, b.u*b.v), append(i, amps(b)), append(w, b.w), append(group, b.bout)
		a := r.noiseA * amps(b) / b.i
		if b.i == 0 {
			a = r.noiseA
		}
		errA, errW = errA+a*a/b.n, errW+r.noiseW*r.noiseW/b.n
	}
	n := float64(len(y))
	if n < 8 {
		return stat.Plane{}, false
	}
	return stat.FitPlane(y, [][]float64{i, w}, []float64{errA / n, errW / n}, group)
}

// resistance is R where it is known well enough to be used; ok is false else.
func (r *record) resistance() (ohm float64, ok bool) {
	return r.line.r, r.line.known && r.line.reason == ""
}

// inWinding is the current in the windings of a row, A: the supply's over the share of time
// that the controller is switched on, but no more than its resistance lets through. Where that
// is far from what the equation makes of the command, the controller holds the current at its
// limit with a smaller share: then it is the current whose heat and work take the power that
// came from the supply, i V = I (I R + K w).
func (r *record) inWinding(x *reading, cfg *Config) float64 {
	if r.line.side != supply || !(x.u >= cfg.MinCommand) {
		return x.i
	}
	most, byShare := x.u*x.v/r.line.r, x.i/x.u
	if !(most > 0) {
		return byShare
	}
	const limited = 0.8 // of what the command would drive; chosen by us
	back := r.line.k * x.w
	if byShare > 0 && byShare < limited*(most-back/r.line.r) {
		return min(most, (math.Sqrt(back*back+4*r.line.r*x.i*x.v)-back)/(2*r.line.r))
	}
	return min(byShare, most)
}

// tellLine writes what was learned of the motor itself.
func (r *record) tellLine(row *schemas.Motor) {
	row.Side, row.Reason = r.line.side, r.line.reason
	if !r.line.known {
		return
	}
	if r.line.reason == "" {
		row.ResistanceOhm, row.ResistanceLowOhm, row.ResistanceHighOhm = schemas.Some(r.line.r), schemas.Some(r.line.rLow), schemas.Some(r.line.rHigh)
		row.ResidualA = schemas.Some(r.line.residualV / r.line.r)
	}
	row.ConstantVS, row.ConstantLowVS, row.ConstantHighVS = schemas.Some(r.line.k), schemas.Some(r.line.kLow), schemas.Some(r.line.kHigh)
}
