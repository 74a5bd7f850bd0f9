package draw

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

const (
	evidenceWidth  = 226.0
	evidenceHeight = 58.0
)

// Evidence is the small picture beside a finding: the signal that shows it around the time
// it happened, or, for a finding that compares two numbers, both as bars. ok is false when
// the log and the report have neither.
func Evidence(s *Scene, f schemas.Finding) (*Picture, bool) {
	if f.Kind == "slow_cycle" { // the counter that shows a cycle says nothing of its length
		if p, ok := comparison(f); ok {
			return p, true
		}
	}
	for _, e := range f.Evidence {
		if p, ok := evidenceTrace(s, f, e); ok {
			return p, true
		}
	}
	return comparison(f)
}

// comparison draws the number of a finding that is furthest from its usual.
func comparison(f schemas.Finding) (*Picture, bool) {
	var most schemas.Number
	ratio := 0.0
	for _, n := range f.Numbers {
		if !finite(n.Value) || !finite(n.Usual) || *n.Value <= 0 || *n.Usual <= 0 {
			continue
		}
		if q := math.Abs(math.Log(*n.Value / *n.Usual)); q > ratio {
			most, ratio = n, q
		}
	}
	if ratio == 0 {
		return nil, false
	}
	return evidenceBars(most), true
}

// evidenceTrace draws the stretch with some room at both sides, the finding's own
// stretches tinted.
func evidenceTrace(s *Scene, f schemas.Finding, e schemas.Evidence) (*Picture, bool) {
	signal := s.evidenceSeries(e.Signal)
	if signal == nil || !(e.EndS >= e.StartS) {
		return nil, false
	}
	pad := max(0.15*(e.EndS-e.StartS), 0.2)
	if s.isVoltage(e.Signal) {
		pad = max(pad, 0.7) // a dip is read against the supply before and after it
	}
	from, to := s.T(e.StartS)-pad, min(s.T(e.EndS)+pad, max(s.Bell(), s.T(e.EndS)))
	t0, t1 := s.micros(from), s.micros(to)
	lo, hi, ok := extent(signal, t0, t1)
	if !ok || t1 <= t0 {
		return nil, false
	}
	cut, hasCut := 0.0, false
	level := 0.0
	switch {
	case s.isVoltage(e.Signal):
		if cut, hasCut = s.cutOff(); hasCut {
			lo, hi = min(lo, cut-0.3), max(hi, cut+0.3)
		}
	case s.isTilt(e.Signal):
		_, level = s.balanceLimits()
		lo, hi = min(lo, -level-1), max(hi, level+1)
	default:
		lo = min(lo, 0) // a current or a speed is read against nothing at all
	}
	if hi-lo < 1e-9 {
		hi, lo = hi+0.5, lo-0.5
	}
	x := scale{float64(t0), float64(t1), 0, evidenceWidth}
	y := scale{lo, hi, evidenceHeight - 6, 5}
	note := e.Note
	if note == "" {
		note = e.Signal
	}
	return &Picture{
		Name: "evidence", Width: evidenceWidth, Height: evidenceHeight,
		Title: note, Desc: e.Signal + " from " + decimal(from, 2) + " to " + decimal(to, 2) + " s",
		Table: Table{Head: []string{"Signal", "From", "To", "Least", "Greatest"}, Rows: [][]string{{
			e.Signal, decimal(from, 2) + " s", decimal(to, 2) + " s", short(lo, 3), short(hi, 3),
		}}},
		paint: func(p *pen) {
			for _, q := range spansOf(f) {
				a, b := x.clamped(float64(schemas.Micros(clampTime(q.StartS)))), x.clamped(float64(schemas.Micros(clampTime(q.EndS))))
				if b > a && level == 0 && !hasCut {
					p.rect(Tint, a, 0, b-a, evidenceHeight)
				}
			}
			if level > 0 {
				p.rect(Usual, 0, y.at(level), evidenceWidth, y.at(-level)-y.at(level))
				p.strokes(line{Edge, 1, nil}, []pt{{0, y.at(level)}, {evidenceWidth, y.at(level)}}, []pt{{0, y.at(-level)}, {evidenceWidth, y.at(-level)}})
			} else if lo <= 0 && hi >= 0 {
				p.stroke(line{Rule, 1, nil}, pt{0, y.at(0)}, pt{evidenceWidth, y.at(0)})
			}
			if hasCut {
				p.stroke(line{Accent, 1.2, dashed}, pt{0, y.at(cut)}, pt{evidenceWidth, y.at(cut)})
			}
			p.strokes(line{Ink, 1.25, nil}, polylines(signal, t0, t1, x, y)...)
			if hasCut {
				at, least := leastOf(signal, t0, t1)
				p.ring(line{Accent, 1.8, nil}, Paper, x.clamped(float64(at)), y.clamped(least), 4)
			}
		},
	}, true
}

// clampTime keeps a time from a report inside what microseconds can hold.
func clampTime(s float64) float64 {
	const longest = 9e12
	if math.IsNaN(s) {
		return 0
	}
	return min(max(s, -longest), longest)
}

func leastOf(s *series.Float, t0, t1 int64) (at int64, v float64) {
	part := s.Between(t0, t1+1)
	v = math.Inf(1)
	for i, x := range part.V {
		if x < v {
			at, v = part.T[i], x
		}
	}
	return at, v
}

// evidenceSeries is the series of a signal: bound by the profile where it is the supply or
// the tilt, as logged otherwise.
func (s *Scene) evidenceSeries(name string) *series.Float {
	switch {
	case s.isVoltage(name) && s.Voltage != nil:
		return s.Voltage
	case s.isTilt(name) && s.Tilt != nil:
		return s.Tilt
	default:
		return s.named(name)
	}
}

func (s *Scene) isVoltage(name string) bool {
	p := s.Profile.Power
	return p != nil && p.Voltage != nil && p.Voltage.Signal == name
}

func (s *Scene) isTilt(name string) bool {
	p := s.Profile.Balance
	return p != nil && p.Tilt != nil && p.Tilt.Signal == name
}

func evidenceBars(n schemas.Number) *Picture {
	unit := n.Unit
	if unit == "ohm" {
		unit = "Ω"
	}
	if unit != "" && unit != "°" {
		unit = " " + unit
	}
	decimals := 3
	if n.Unit == "s" {
		decimals = 1
	}
	most := max(*n.Value, *n.Usual)
	x := scale{0, most, 0, 0.72 * evidenceWidth}
	value := clip(n.Name, 16) + " " + short(*n.Value, decimals) + unit
	usual := "usual " + short(*n.Usual, decimals) + unit
	return &Picture{
		Name: "evidence", Width: evidenceWidth, Height: 44,
		Title: value + ", " + usual, Desc: "",
		Table: Table{Head: []string{"What", "Value", "Usual"}, Rows: [][]string{{n.Name, short(*n.Value, decimals) + unit, short(*n.Usual, decimals) + unit}}},
		paint: func(p *pen) {
			row := func(y float64, v float64, fill, on Token, words string, bold bool) {
				w := max(x.at(v), 2)
				p.rect(fill, 0, y, w, 16)
				p.frame(line{Ink2, 1, nil}, 0.5, y, w, 16)
				make := note
				if bold {
					make = stressed
				}
				if l := make(6, y+12.5, left, words).in(on); l.width()+10 <= w {
					p.text(l)
				} else {
					p.text(make(w+6, y+12.5, left, words).in(Ink).within(0, evidenceWidth))
				}
			}
			row(2, *n.Value, Ink2, Paper, value, true)
			row(24, *n.Usual, Usual, Ink, usual, false)
		},
	}
}
