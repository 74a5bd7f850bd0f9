package sim

import (
	"math"
	"slices"
)

// beamConditions are about the beams across the path.
func beamConditions() []condition {
	return []condition{
		sensor("beam-flickers", "sunlight falls into one beam: for moments it chatters", func(s *scenario, r random) {
			moments, rate := newBursts(r, s.end(), 3, 20, 0.3, 3), r.between(10, 40)
			onBeam(s, r, func(_ *world, _ int, c *channel) {
				on, last := false, 0.0
				c.wrong(func(now, v float64) float64 {
					if r.Float64() < 1-math.Exp(-rate*(now-last)) {
						on = !on
					}
					last = now
					if moments.on(now) && on {
						return 1 - v
					}
					return v
				})
			})
		}),
		sensor("beam-sticks", "one beam says the same from some time on, or all match", func(s *scenario, r random) {
			says, kind, from := float64(r.IntN(2)), frozen, r.between(s.leadS+15, s.end()-30)
			if r.Float64() < 0.3 {
				kind, from = dead, 0
			}
			onBeam(s, r, func(_ *world, _ int, c *channel) { c.sticks(kind, says, from, math.Inf(1)) })
		}),
		sensor("beam-comes-back", "one beam sticks for 5 to 40 s and is well again", func(s *scenario, r random) {
			says, from, length := float64(r.IntN(2)), r.between(s.leadS+15, s.end()-60), r.spread(5, 40)
			onBeam(s, r, func(_ *world, _ int, c *channel) { c.sticks(frozen, says, from, from+length) })
		}),
		sensor("beam-misses-some", "one beam looks past every third piece or so, the thin ones", func(s *scenario, r random) {
			thin := map[int]bool{}
			for id := range 200 {
				thin[id] = r.Float64() < 0.35
			}
			onBeam(s, r, func(w *world, stage int, c *channel) {
				c.misses = thin
				c.wrong(func(_, v float64) float64 {
					if p := w.path.blocker(stage); p != nil && thin[p.id] {
						return 0
					}
					return v
				})
			})
		}),
		sensor("slow-beams", "beams take up to 30 ms to see a piece, and up to 60 ms to see that it is gone", func(s *scenario, r random) {
			on, off := int(r.between(0, 30)), int(r.between(10, 60))
			s.change(func(w *world, rec *recorder) {
				for i, b := range w.path.belts {
					if c := rec.channel("path/" + b.name + "/beam"); c != nil {
						slow := &slowBeam{stage: i, onAfter: on, offAfter: off}
						rec.slow = append(rec.slow, slow)
						c.read = func(*world) float64 { return oneIf(slow.sees != nil) }
						c.kept = func(w *world, t float64) { sawAtBeam(w, i, slow.sees, t) }
					}
				}
			})
		}),
	}
}

// Kinds of faults, as the report has them.
const (
	frozen    = "frozen"
	dead      = "dead"
	noReading = "no reading"
)

// sticks makes a beam say the same from one time to another.
func (c *channel) sticks(kind string, says, from, to float64) {
	note := "stuck clear"
	if says != 0 {
		note = "stuck blocked"
	}
	c.stuck = append(c.stuck, &fault{kind: kind, note: note, from: from, to: to, reads: func(float64) float64 { return says }})
}

// overlooked says whether the beam of a stage could not show that a piece came to it: it
// stuck at the time, or looks past this one. The stage then has no times but estimated ones.
func (rec *recorder) overlooked(b *belt, p *piece, now float64) bool {
	c := rec.channel("path/" + b.name + "/beam")
	return c.misses[p.id] || slices.ContainsFunc(c.stuck, func(f *fault) bool { return f.from <= now && now < f.to })
}

// onBeam changes one beam, any.
func onBeam(s *scenario, r random, change func(w *world, stage int, c *channel)) {
	s.change(func(w *world, rec *recorder) {
		c := rec.pick(r, func(c *channel) bool { return c.isBeam() && !c.unlogged })
		if c == nil {
			return
		}
		for i, b := range w.path.belts {
			if b.name == c.of {
				change(w, i, c)
			}
		}
	})
}

// slowBeam is a beam with a delay each way. It is a sound sensor: that a piece blocks it
// is what it says.
type slowBeam struct {
	stage, onAfter, offAfter int // steps
	sees                     *piece
	otherwise                int // steps it has been otherwise
}

func (b *slowBeam) step(p *path) {
	now := p.blocker(b.stage)
	switch {
	case (now == nil) == (b.sees == nil):
		b.otherwise = 0
		if now != nil {
			b.sees = now
		}
		return
	case now != nil && b.otherwise >= b.onAfter, now == nil && b.otherwise >= b.offAfter:
		b.sees, b.otherwise = now, 0
		return
	}
	b.otherwise++
}
