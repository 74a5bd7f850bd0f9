package draw

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// paintUsual is the spread of the usual behind the bricks and the dashed line through it.
func (r *ribbon) paintUsual(p *pen) {
	at := func(cycle float64) float64 { return r.top - r.unit*min(cycle/r.usual, brickCap) }
	p.rect(Inset, 0, at(r.high), r.options.Width, at(r.low)-at(r.high))
	p.stroke(line{Edge, 1.2, dashed}, pt{0, at(r.usual)}, pt{r.options.Width, at(r.usual)})
}

func (r *ribbon) paintBricks(p *pen) {
	cycles := r.scoring()
	if len(cycles) == 0 {
		if why := r.noCycles(); why != "" && !r.options.Small {
			l := note(0, r.top-14, left, why).haloed()
			if x, ok := r.free(0, r.options.Width, l.width(), 0); ok {
				l.x = x
			}
			p.text(l)
		}
		return
	}
	outline := line{Ink2, 1, nil}
	for _, c := range cycles {
		x0, x1 := r.span(c.StartS, c.EndS)
		h := r.height(c)
		if !c.Complete {
			upright := line{Edge, 1, dashed}
			p.strokes(upright, []pt{{x0 + 1.5, r.top}, {x0 + 1.5, r.top - h}}, []pt{{x1 - 0.5, r.top}, {x1 - 0.5, r.top - h}})
			continue
		}
		x0, x1 = x0+1, max(x1-1, x0+1.5)
		p.rect(Usual, x0, r.top-h, x1-x0, h)
		if body := r.unit * r.high / max(r.usual, 1e-9); c.Slow && r.usual > 0 && h > body {
			p.rect(Accent, x0, r.top-h, x1-x0, h-body)
		}
		if len(cycles) <= 60 {
			p.frame(outline, x0, r.top-h, x1-x0, h)
		}
	}
	if !r.options.Small {
		r.paintNumbers(p, cycles)
	}
}

// noCycles says why there are no bricks.
func (r *ribbon) noCycles() string {
	for _, a := range r.scene.Report.Analyses {
		if a.Name == "cycles" && !a.Ran {
			return "no score signal: cycles unknown"
		}
	}
	return "nothing was scored"
}

// paintNumbers writes the seconds of cycles: inside a brick that is wide enough, above one
// that is slow or taller than drawn. A number gives way to the stems of pins.
func (r *ribbon) paintNumbers(p *pen, cycles []schemas.Cycle) {
	for _, c := range cycles {
		x0, x1 := r.span(c.StartS, c.EndS)
		switch {
		case !c.Complete:
			words := []string{"cut off by the bell", "cut off"}
			if c.Period == schemas.PeriodAutonomous {
				words = []string{"cut off by the end of autonomous", "cut off"}
			}
			if r.stopped && c.EndS >= r.scene.Report.Match.EndS {
				words = []string{"cut off by the end of the log", "cut off"}
			}
			for _, w := range words {
				l := note(0, r.top-14, left, w).haloed()
				if x, ok := r.free(x0+5, x1-3, l.width(), 0); ok {
					l.x, l.y = x, r.top-8-6*float64(r.bars(x, x+l.width()))
					p.text(l)
					break
				}
			}
		case r.numbered(c):
			color, unit := Ink, ""
			if c.Slow {
				color, unit = Accent, " s"
			}
			l := stressed(0, r.top-r.height(c)-5, left, decimal(c.DurationS, 1)+unit).in(color).haloed()
			from := max(min(x0, x1-l.width()), 0)
			l.x = max(min(x1, r.options.Width)-l.width(), from)
			if x, ok := r.free(max(from-l.width(), 0), min(max(x1, from+l.width()), r.options.Width), l.width(), 1); ok {
				l.x = x
			}
			p.text(l)
		case x1-x0 >= 24 && !r.options.narrow():
			l := note(0, r.top-7, left, decimal(c.DurationS, 1)).in(Ink)
			if h := r.height(c); h < 20 {
				l.y = r.top - h - 4
				l = l.haloed()
			}
			if x, ok := r.free(x0+2, x1-2, l.width(), 0.5); ok {
				l.x = x
				p.text(l)
			}
		}
	}
}

// bars is how many bars of pins lie over each other between x0 and x1.
func (r *ribbon) bars(x0, x1 float64) int {
	n := 0
	for _, q := range r.pins {
		if q.x1 >= x0 && q.x0 <= x1 && !q.whole(r.options.Width) {
			n = max(n, q.step+1)
		}
	}
	return n
}

// free finds a place of width w between x0 and x1 that no stem crosses, the one that lies
// nearest to the wanted part of the way (0 left, 1 right).
func (r *ribbon) free(x0, x1, w, want float64) (x float64, ok bool) {
	const clear = 3
	from := x0
	best := math.Inf(1)
	ideal := x0 + want*(x1-x0-w)
	try := func(a, b float64) {
		if b-a < w {
			return
		}
		at := min(max(ideal, a), b-w)
		if d := math.Abs(at - ideal); d < best {
			best, x, ok = d, at, true
		}
	}
	for _, stem := range sortedStems(r.pins) {
		if stem < x0-clear || stem > x1+clear {
			continue
		}
		try(from, min(stem-clear, x1))
		from = max(from, stem+clear)
	}
	try(from, x1)
	return x, ok
}
