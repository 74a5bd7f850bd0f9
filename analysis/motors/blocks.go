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
	bout, boutFrom := 0, int64(math.MinInt64/2)
	for _, run := range r.runs {
		b, ok := r.average(run, cfg)
		if !ok {
			continue
		}
		if b.t-boutFrom > int64(cfg.BoutS*1e6) {
			bout, boutFrom = bout+1, b.t
		}
		b.bout = bout
		out = append(out, b)
	}
	return out
}

// steadyRuns are the rows of up to cfg.BlockS each in which the motor was driven at a command that
// hardly changed from one to the next, once it had settled.
func steadyRuns(rows []reading, cfg Config) [][]reading {
	var out [][]reading
	from, since := 0, int64(0)
	end := func(to int) {
		if to > from {
			out = append(out, rows[from:to])
		}
		from = to
	}
	for k := range rows {
		x := &rows[k]
		driven := x.u >= 2*cfg.MinCommand && !x.off && !x.sag
		goesOn := false
		if k > 0 && driven {
			before := &rows[k-1]
			goesOn = before.u >= 2*cfg.MinCommand && x.back == before.back &&
				math.Abs(x.u-before.u) <= cfg.SteadyU/2 && float64(x.t-before.t)/1e6 <= cfg.BlockS
		}
		if !goesOn {
			end(k)
			since = x.t
		}
		switch {
		case !driven || float64(x.t-since)/1e6 < cfg.SettleS:
			from = k + 1
		case float64(x.t-rows[from].t)/1e6 >= cfg.BlockS:
			end(k)
		}
	}
	end(len(rows))
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
	for k := range run {
		x := &run[k]
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
