package draw

import (
	"github.com/afterbell/afterbell/schemas"
)

func (r *ribbon) paintBand(p *pen) {
	x1 := r.x.clamped(r.end)
	switch {
	case r.scene.Voltage == nil:
		p.hatch(line{Edge, 1, nil}, 7, 0.5, r.top, max(x1-1, 0), r.band/2)
		p.frame(line{Edge, 1, nil}, 0.5, r.top, max(x1-1, 0), r.band/2)
		if !r.options.Small {
			p.text(note(4, r.top+r.band/2+14, left, "no voltage signal: thickness unknown"))
		}
	default:
		r.paintSupply(p)
	}
	if r.stopped {
		p.hatch(line{Edge, 1, nil}, 7, x1, r.top, r.options.Width-x1-0.5, r.band)
		p.frame(line{Edge, 1, nil}, x1, r.top, r.options.Width-x1-0.5, r.band)
		if !r.options.Small {
			l := stressed(x1+6, r.top-7, left, "log stops at "+decimal(r.end, 1)+" s").haloed()
			if x, ok := r.free(x1+6, r.options.Width, l.width(), 0); ok {
				l.x = x
			}
			p.text(l.within(0, r.options.Width))
		}
	}
	p.stroke(line{Ink, 2, nil}, pt{0, r.top}, pt{r.options.Width, r.top})
}

// paintSupply draws the band: the least voltage of each pixel column is its lower edge, a
// paler fringe reaches to the greatest. Where samples are missing it is hatched.
func (r *ribbon) paintSupply(p *pen) {
	s := r.scene
	t0, t1 := s.micros(0), s.micros(r.end)
	part := s.Voltage.Between(t0, t1+1)
	y := scale{emptyV, fullV, r.top, r.top + r.band}
	x := func(t int64) float64 { return r.x.at(s.T(schemas.Seconds(t))) }
	columns := max(int(r.options.Width), 1)
	ends := []float64{0}
	for _, run := range runs(part.T) {
		T, V := part.T[run[0]:run[1]], part.V[run[0]:run[1]]
		least, greatest := extremes(T, V, s.micros(0), s.micros(r.bell), columns, x, y)
		if len(least) < 2 {
			continue
		}
		first, last := least[0].x, least[len(least)-1].x
		ends = append(ends, first, last)
		p.area(Usual, append([]pt{{first, r.top}}, append(greatest, pt{last, r.top})...)...)
		band := append([]pt{{first, r.top}}, append(least, pt{last, r.top})...)
		p.area(Band, band...)
		p.outline(line{Ink, 0.9, nil}, band...) // its upper edge lies under the axis of the bricks
	}
	ends = append(ends, r.x.clamped(r.end))
	for i := 0; i+1 < len(ends); i += 2 {
		if w := ends[i+1] - ends[i]; w >= 2 {
			p.hatch(line{Edge, 1, nil}, 7, ends[i], r.top, w, r.band)
		}
	}
	r.paintCutOff(p, y)
}

// paintCutOff is the dotted cut-off; a brownout parts the band there, and the gap is
// accent. In a small ribbon the cut goes through the whole band.
func (r *ribbon) paintCutOff(p *pen, y scale) {
	cut, known := r.scene.cutOff()
	if known && !r.options.Small {
		p.stroke(line{Ink, 1, dotted}, pt{0, y.clamped(cut)}, pt{r.x.clamped(r.end), y.clamped(cut)})
	}
	for _, b := range r.scene.Report.Brownouts {
		end := r.scene.Report.Match.EndS
		if b.EndS != nil {
			end = *b.EndS
		}
		x0, x1 := r.span(b.StartS, end)
		mid := (x0 + x1) / 2
		w := max(x1-x0, 3)
		depth := r.band
		if !r.options.Small {
			depth = 6
			if known {
				depth = max(y.clamped(cut)-r.top, 4)
			}
		}
		p.rect(Accent, min(max(mid-w/2, 0), r.options.Width-w), r.top, w, depth)
	}
}

// extremes are the least and the greatest of each pixel column that holds a sample.
func extremes(T []int64, V []float64, t0, t1 int64, columns int, x func(int64) float64, y scale) (least, greatest []pt) {
	if t1 <= t0 {
		return nil, nil
	}
	for i := 0; i < len(T); {
		c, first := column(T[i], t0, t1, columns), i
		lo, hi := V[i], V[i]
		for ; i < len(T) && column(T[i], t0, t1, columns) == c; i++ {
			lo, hi = min(lo, V[i]), max(hi, V[i])
		}
		at := x((T[first] + T[i-1]) / 2)
		least = append(least, pt{at, y.clamped(lo)})
		greatest = append(greatest, pt{at, y.clamped(hi)})
	}
	return least, greatest
}
