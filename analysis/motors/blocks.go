package motors

import "math"

// block is a quarter of a second or so of steady driving, averaged. Averages obey the motor's
// equation as single readings do, with less noise and hardly any lag.
type block struct {
	u, v, i, w float64 // w and v are NaN where they are not known
	n          float64 // readings
	bout       int
	t          int64 // its first reading, µs
}

// steady are the blocks in which the motor was driven at a command that hardly changed, at a
// speed that hardly changed, once it had settled.
func (r *record) steady(cfg Config) []block {
	var out []block
	var run []reading
	since, bout, boutFrom := int64(0), 0, int64(math.MinInt64/2)
	flush := func() {
		if b, ok := r.average(run, cfg); ok {
			if b.t-boutFrom > int64(cfg.BoutS*1e6) {
				bout, boutFrom = bout+1, b.t
			}
			b.bout = bout
			out = append(out, b)
		}
		run = run[:0]
	}
	for k, x := range r.rows {
		driven := x.u >= 2*cfg.MinCommand && !x.off && !x.sag
		goesOn := k > 0 && driven && r.rows[k-1].u >= 2*cfg.MinCommand && x.back == r.rows[k-1].back &&
			math.Abs(x.u-r.rows[k-1].u) <= cfg.SteadyU/2 && float64(x.t-r.rows[k-1].t)/1e6 <= cfg.BlockS
		if !goesOn {
			flush()
			since = x.t
		}
		if !driven || float64(x.t-since)/1e6 < cfg.SettleS {
			continue
		}
		if len(run) > 0 && float64(x.t-run[0].t)/1e6 >= cfg.BlockS {
			flush()
		}
		run = append(run, x)
	}
	flush()
	return out
}

// average is the block of a run of rows; ok is false when it is too short, or not steady.
func (r *record) average(run []reading, cfg Config) (b block, ok bool) {
	n := len(run)
	if n < 2 || float64(run[n-1].t-run[0].t)/1e6 < cfg.BlockS/2 {
		return block{}, false
	}
	b = block{n: float64(n), t: run[0].t}
	low, high := math.Inf(1), math.Inf(-1)
	var first, last float64 // speed of the first and the last half
	for k, x := range run {
		b.u, b.v, b.i, b.w = b.u+x.u/b.n, b.v+x.v/b.n, b.i+x.i/b.n, b.w+x.w/b.n
		low, high = min(low, x.u), max(high, x.u)
		if k < n/2 {
			first += x.w / float64(n/2)
		} else if k >= n-n/2 {
			last += x.w / float64(n/2)
		}
	}
	changes := math.Abs(last-first) > cfg.SteadyW*r.perU+3*r.noiseW
	return b, high-low <= cfg.SteadyU && !changes
}
