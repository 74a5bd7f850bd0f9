package draw

import (
	"math"
	"slices"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

// goodDamping is the damping of the dashed curve: the least that comes level in one swing
// without a visible overshoot (4.6 % by the formula of a second-order step).
const goodDamping = 0.7

// worstFit is the fit error in degrees beyond which no dashed curve is drawn.
const worstFit = 2.0

// Balance is one attempt on the platform: tilt against time, the level band, each swing
// numbered, and dashed what the same start would have done with more damping. ok is false
// without a tilt signal in that stretch.
func Balance(s *Scene, attempt schemas.Balance, width float64) (*Picture, bool) {
	b := &balance{scene: s, attempt: attempt, width: width, narrow: sizeOf(width) == narrowSize}
	pad := max(0.06*(attempt.EndS-attempt.StartS), 0.5)
	b.t0 = s.T(attempt.StartS) - min(pad, 1)
	b.t1 = s.T(attempt.EndS) + pad
	if bell := s.Bell(); s.T(attempt.EndS) >= bell-0.05 {
		b.t1 = bell
	}
	lo, hi, ok := extent(s.Tilt, s.micros(b.t0), s.micros(b.t1))
	if !ok || b.t1 <= b.t0 {
		return nil, false
	}
	b.mount, b.level = s.balanceLimits()
	most := math.Ceil(max(math.Abs(lo), math.Abs(hi), b.mount+1, b.level+1)*1.15 + 1)
	side := 122.0
	if b.narrow {
		side = 6
	}
	b.x = scale{b.t0, b.t1, 38, width - side}
	b.y = scale{-most, most, 190, 24}
	drive := 30.0
	if sizeOf(width) == middleSize {
		b.y.p0, drive = 114, 16
	}
	bottom := b.y.p0 + 12
	if s.Drive != nil {
		b.drive = scale{-1.05, 1.05, b.y.p0 + 12 + drive, b.y.p0 + 12}
		bottom = b.drive.p0 + 4
	}
	b.bottom = bottom
	return &Picture{
		Name: "balance", Width: width, Height: bottom + 24,
		Title: "Tilt of the attempt from " + decimal(s.T(attempt.StartS), 1) + " s",
		Desc:  b.words(), Table: b.table(), paint: b.paint,
	}, true
}

// balanceLimits are the tilt that counts as mounted and the band that counts as level, by
// the profile; zero when it does not say.
func (s *Scene) balanceLimits() (mount, level float64) {
	if p := s.Profile.Balance; p != nil {
		return p.MountDeg, p.LevelDeg
	}
	return 0, 0
}

type balance struct {
	scene        *Scene
	attempt      schemas.Balance
	width        float64
	narrow       bool
	t0, t1       float64 // match time
	mount, level float64 // degrees
	x, y, drive  scale
	bottom       float64
}

func (b *balance) paint(p *pen) {
	if b.level > 0 {
		y0, y1 := b.y.at(b.level), b.y.at(-b.level)
		p.rect(Usual, b.x.p0, y0, b.x.p1-b.x.p0, y1-y0)
		p.strokes(line{Edge, 1, nil}, []pt{{b.x.p0, y0}, {b.x.p1, y0}}, []pt{{b.x.p0, y1}, {b.x.p1, y1}})
	}
	paintValueAxis(p, b.x, b.y, "°", 4)
	if b.mount > 0 {
		for _, sign := range []float64{1, -1} {
			y := b.y.at(sign * b.mount)
			p.stroke(line{Edge, 1.2, dotted}, pt{b.x.p0, y}, pt{b.x.p1, y})
		}
	}
	t0, t1 := b.scene.micros(b.t0), b.scene.micros(b.t1)
	x := scale{float64(t0), float64(t1), b.x.p0, b.x.p1}
	p.strokes(line{Ink, 2, nil}, polylines(b.scene.Tilt, t0, t1, x, b.y)...)
	if b.scene.Drive != nil {
		y := b.drive.at(0)
		p.stroke(line{Rule, 1, nil}, pt{b.x.p0, y}, pt{b.x.p1, y})
		p.text(note(b.x.p0-6, y+4, right, "0"))
		p.strokes(line{Ink, 1, nil}, polylines(b.scene.Drive, t0, t1, x, b.drive)...)
	}
	p.stroke(line{Ink, 1, nil}, pt{b.x.p0, b.bottom}, pt{b.x.p1, b.bottom})
	paintTimeAxis(p, b.x, b.bottom, max(int((b.x.p1-b.x.p0)/90), 3))
	b.paintSwings(p)
	b.paintModel(p)
	b.paintSides(p)
}

func (b *balance) paintSwings(p *pen) {
	for _, w := range b.attempt.Swings {
		p.ring(line{Accent, 1.6, nil}, Paper, b.x.clamped(b.scene.T(w.AtS)), b.y.clamped(w.Tilt), 3.5)
	}
	for _, l := range b.swingNumbers() {
		p.text(l)
	}
}

// swingNumbers stand outside of the swings they count; of many only every fifth.
func (b *balance) swingNumbers() []label {
	var out []label
	swings := b.attempt.Swings
	for i, w := range swings {
		if len(swings) > 15 && (i+1)%5 != 0 {
			continue
		}
		at := b.y.clamped(w.Tilt) - 8
		if w.Tilt < 0 {
			at += 24
		}
		l := stressed(b.x.clamped(b.scene.T(w.AtS)), at, middle, strconv.Itoa(i+1)).in(Accent).haloed()
		out = append(out, l.within(b.x.p0, b.x.p1-4)) // clear of the bell
	}
	return out
}

// paintModel draws the same start with good damping, from the model fitted to this attempt,
// and the second it would have been level.
func (b *balance) paintModel(p *pen) {
	m := b.attempt.Model
	if m == nil || m.ErrorDeg > worstFit {
		if m != nil {
			p.text(note(b.x.p1-34, 12, right, "the swing does not fit a simple model").within(0, b.x.p1-34)) // left of "bell"
		}
		return
	}
	damped, ok := DampedFrom(*m, goodDamping)
	if !ok || !Swung(b.attempt) {
		return
	}
	begin := b.scene.T(m.StartS)
	var points []pt
	for px := b.x.at(begin); px <= b.x.p1; px += 2 {
		t := b.x.v0 + (px-b.x.p0)/(b.x.p1-b.x.p0)*(b.x.v1-b.x.v0)
		points = append(points, pt{px, b.y.clamped(damped(t - begin))})
	}
	p.strokes(line{Ink, 1.6, dashed}, points)
	levelAt, ok := b.levelAfter(damped)
	if !ok {
		return
	}
	x := b.x.at(begin + levelAt)
	if x > b.x.p1 {
		return
	}
	p.stroke(line{Ink, 1.2, nil}, pt{x, 6}, pt{x, b.y.at(-b.level)})
	words := "with damping 0.7 it would have been level after " + decimal(b.sinceStart(levelAt), 1) + " s"
	if m.StartS-b.attempt.StartS > 1.5 {
		words = "with damping 0.7 from " + decimal(begin, 1) + " s on, level after " + decimal(b.sinceStart(levelAt), 1) + " s"
	}
	p.text(b.besideUpright(x, words, "damped: level after "+decimal(b.sinceStart(levelAt), 1)+" s"))
}

// besideUpright are words on the right of an upright at x or on its left, in short where the
// long ones have no room. On the right of all stands "bell".
func (b *balance) besideUpright(x float64, long, brief string) label {
	least, most := b.x.p0, b.x.p1-30
	var l label
	for _, words := range []string{long, brief} {
		for _, l = range []label{stressed(x+6, 14, left, words).haloed(), stressed(x-6, 14, right, words).haloed()} {
			if box := l.box(); box.x0 >= least && box.x1 <= most {
				return l
			}
		}
	}
	return l.within(least, most)
}

// Swung says whether an attempt leaves something to damp: it swung past level or never came
// level, by a loop with less damping than the dashed curve has.
func Swung(a schemas.Balance) bool {
	return a.Model != nil && a.Model.ErrorDeg <= worstFit && a.Model.Zeta < goodDamping &&
		(a.Overshoots > 0 || a.Outcome != schemas.BalanceLevel)
}

// sinceStart turns seconds since the model's start into seconds since the attempt's.
func (b *balance) sinceStart(s float64) float64 {
	return b.attempt.Model.StartS + s - b.attempt.StartS
}

// levelAfter is when a curve enters the level band for good, in seconds from its start.
func (b *balance) levelAfter(tilt func(float64) float64) (float64, bool) {
	if b.level <= 0 {
		return 0, false
	}
	const step, longest = 0.01, 60.0
	for t := longest; t > 0; t -= step {
		if math.Abs(tilt(t)) > b.level {
			return t + step, t < longest-1
		}
	}
	return 0, true
}

// DampedFrom is the tilt in degrees, seconds after the model's start, of a swing that has
// the model's frequency and its tilt and tilt rate at the start, but that damping ratio:
// offset + exp(-zeta w t) (x cos(wd t) + (v + zeta w x)/wd sin(wd t)) with
// wd = w sqrt(1 - zeta²). ok is false unless zeta and the model's own lie from 0 to under 1.
func DampedFrom(m schemas.BalanceModel, zeta float64) (tilt func(t float64) float64, ok bool) {
	if zeta < 0 || zeta >= 1 || m.Zeta < 0 || m.Zeta >= 1 || m.WnRadS <= 0 {
		return nil, false
	}
	wdFit := m.WnRadS * math.Sqrt(1-m.Zeta*m.Zeta)
	sin, cos := math.Sincos(m.PhaseRad)
	x := m.AmplitudeDeg * cos
	v := m.AmplitudeDeg * (-m.Zeta*m.WnRadS*cos - wdFit*sin)
	wd := m.WnRadS * math.Sqrt(1-zeta*zeta)
	return func(t float64) float64 {
		sin, cos := math.Sincos(wd * t)
		return m.OffsetDeg + math.Exp(-zeta*m.WnRadS*t)*(x*cos+(v+zeta*m.WnRadS*x)/wd*sin)
	}, true
}

// paintSides names the lines and marks the bell.
func (b *balance) paintSides(p *pen) {
	if b.t1 >= b.scene.Bell()-1e-6 {
		p.stroke(line{Ink, 1.2, nil}, pt{b.x.p1, 2}, pt{b.x.p1, b.bottom})
		p.text(note(b.x.p1-6, 12, right, "bell"))
	}
	if b.narrow {
		if b.level > 0 {
			p.text(b.levelName())
		}
		return
	}
	x := b.x.p1 + 8
	if b.mount > 0 {
		p.text(note(x, b.y.at(b.mount)+4, left, "mounts at "+short(b.mount, 1)+"°"))
	}
	if b.level > 0 {
		p.text(note(x, b.y.at(0)+4, left, "level, ±"+short(b.level, 1)+"°").in(Ink))
	}
	if b.scene.Drive != nil {
		p.text(note(x, b.drive.at(0)+4, left, "drive command"))
	}
}

// levelName is the name of the level band inside the picture: under the band or over it, at
// its end or its start, wherever no swing's number is.
func (b *balance) levelName() label {
	words := "level ±" + short(b.level, 1) + "°"
	under, over := b.y.at(-b.level)+14, b.y.at(b.level)-5
	places := []label{
		note(b.x.p1-4, under, right, words), note(b.x.p1-4, over, right, words),
		note(b.x.p0+4, under, left, words), note(b.x.p0+4, over, left, words),
	}
	for _, l := range places {
		if !slices.ContainsFunc(b.swingNumbers(), func(n label) bool { return l.box().meets(n.box()) }) {
			return l.in(Ink).haloed()
		}
	}
	return places[0].in(Ink).haloed()
}

func (b *balance) words() string {
	text := OutcomeOfBalance(b.attempt.Outcome) + ", " + counted(b.attempt.Overshoots, "swing", "swings") + " past level"
	if finite(b.attempt.DampingRatio) {
		text += ", damping " + decimal(*b.attempt.DampingRatio, 2)
	}
	if finite(b.attempt.NaturalHz) {
		text += ", " + decimal(*b.attempt.NaturalHz, 2) + " Hz"
	}
	return text + "."
}

// OutcomeOfBalance is the outcome of an attempt in words.
func OutcomeOfBalance(outcome string) string {
	switch outcome {
	case schemas.BalanceLevel:
		return "level"
	case schemas.BalanceLeft:
		return "drove off"
	case schemas.BalanceRanOut:
		return "not level"
	default:
		return "unknown"
	}
}

func (b *balance) table() Table {
	t := Table{Head: []string{"Swing", "At", "Tilt"}}
	for i, w := range b.attempt.Swings {
		t.Rows = append(t.Rows, []string{strconv.Itoa(i + 1), decimal(b.scene.T(w.AtS), 2) + " s", decimal(w.Tilt, 1) + "°"})
	}
	t.Rows = slices.Insert(t.Rows, 0, []string{"attempt", decimal(b.scene.T(b.attempt.StartS), 2) + " to " + decimal(b.scene.T(b.attempt.EndS), 2) + " s", b.words()})
	return t
}
