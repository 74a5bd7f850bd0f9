package suggest

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/units"
)

// counter is a signal that counts pieces: it climbs by one now and then, and falls only to
// begin anew.
type counter struct {
	s     *signal
	rises []int64 // µs
	pulse bool    // a state that is true for a moment each time
	odds  float64
}

// counters are the signals that may count pieces.
func (l *look) counters() []counter {
	var out []counter
	for _, s := range l.signals {
		if s.num == nil || !s.whole || s.quantity != nil {
			continue
		}
		c := counter{s: s, pulse: s.twoValued()}
		falls, resets, ones := 0, 0, 0
		for i := 1; i < len(s.num.V); i++ {
			switch d := s.num.V[i] - s.num.V[i-1]; {
			case d > 0:
				c.rises = append(c.rises, s.num.T[i])
				if d == 1 {
					ones++
				}
			case d < 0 && s.num.V[i] <= 1:
				resets++
			case d < 0:
				falls++
			}
		}
		n := len(c.rises)
		minutes := float64(l.n) * stepS / 60
		// A robot handles one piece in two seconds at the very most (chosen by us).
		if n < 1 || float64(n) > 30*math.Max(minutes, 1) || s.lo < 0 {
			continue
		}
		if c.pulse {
			if on := duty(s); on > 0.1 || n < 2 {
				continue
			}
			c.odds = -2.5
		} else {
			if resets > 1+n/5 || falls > 1+n/5 || float64(ones) < 0.6*float64(n) {
				continue
			}
			c.odds = -1.5 + math.Min(1.5, 0.3*float64(n))
			if s.kind == schemas.Int64 || s.kind == schemas.Float64 && len(s.num.V) > 2*n {
				c.odds += 0.5
			}
		}
		out = append(out, c)
	}
	// All pairs and triples are tried: of many only the likeliest.
	slices.SortStableFunc(out, func(a, b counter) int {
		return cmp.Compare(b.odds+b.s.named("score", "release", "handover"), a.odds+a.s.named("score", "release", "handover"))
	})
	return out[:min(len(out), 8)]
}

// duty is the share of the time a state is true.
func duty(s *signal) float64 {
	on, n := 0.0, 0.0
	for _, v := range s.v {
		if !math.IsNaN(v) {
			on += v
			n++
		}
	}
	return on / math.Max(n, 1)
}

// before is the share of the events that have one of the causes at most most s before, and at
// least least.
func before(causes, events []int64, least, most float64) float64 {
	hit := 0
	for _, e := range events {
		for _, c := range causes {
			if d := float64(e-c) / 1e6; d >= least && d <= most {
				hit++
				break
			}
		}
	}
	return float64(hit) / float64(max(1, len(events)))
}

// counting are the ways to read score, release and hand-over. A piece leaves the robot before
// it counts; it is released as it leaves the last beam; what went to a partner did not score.
func (l *look) counting(all []counter, last []interval) slot {
	out := slot{name: "counters"}
	var leaves []int64
	for _, r := range last {
		leaves = append(leaves, r.End)
	}
	none := -1
	for s := -1; s < len(all); s++ {
		for r := -1; r < len(all); r++ {
			for h := -1; h < len(all); h++ {
				if s >= 0 && s == r || s >= 0 && s == h || r >= 0 && r == h || s == none && r == none && h == none {
					continue
				}
				odds := 0.0
				var uses []use
				if s >= 0 {
					c := all[s]
					odds += c.odds + c.s.named("score")
					why := fmt.Sprintf("climbs %d times by one", len(c.rises))
					if c.pulse {
						odds -= 2
					}
					if len(leaves) > 1 {
						odds += 4 * (before(leaves, c.rises, -0.1, 5) - 0.5)
						odds -= 3 * before(leaves, c.rises, -0.4, 0.15) // that is when a piece is let go
						why += ", behind the pieces that leave"
					} else if r < 0 {
						odds += 0.5
					}
					uses = append(uses, use{role: "cycles.score", s: c.s, sure: 1, why: why})
				}
				if r >= 0 {
					c := all[r]
					odds += c.odds - 0.5 + c.s.named("release")
					why := fmt.Sprintf("climbs %d times by one", len(c.rises))
					if len(leaves) > 1 {
						at := before(leaves, c.rises, -0.6, 0.6)
						odds += 6 * (at - 0.6)
						why += fmt.Sprintf(", %.0f %% of them as a piece leaves the last beam", 100*at)
					} else {
						odds -= 1.5
					}
					uses = append(uses, use{role: "path.release", s: c.s, sure: 1, why: why})
				}
				if h >= 0 {
					c := all[h]
					odds += c.odds - 2.5 + c.s.named("handover")
					if s >= 0 {
						odds -= 4 * before(all[s].rises, c.rises, -0.5, 0.5) // the same pieces
					}
					uses = append(uses, use{role: "cycles.handover", s: c.s, sure: 1, why: fmt.Sprintf("climbs %d times by one, apart from the score", len(c.rises))})
				}
				if s >= 0 && r >= 0 {
					odds += 4*before(all[r].rises, all[s].rises, 0, 5) - 2 - 3*before(all[s].rises, all[r].rises, 0.02, 2)
				}
				if s >= 0 && h >= 0 && len(all[h].rises) > len(all[s].rises) {
					odds -= 1.5
				}
				out.options = append(out.options, option{odds: odds, uses: uses})
			}
		}
	}
	return out
}

// aims are the ways to read the aiming error: seen for parts of the match only, or a number
// that comes near zero just before a piece scores.
func (l *look) aims(scored []int64) slot {
	out := slot{name: "aim"}
	for _, s := range l.signals {
		if !s.steady() || !s.is(units.Length) || s.q95 <= 0 || s.q05 < -0.5*s.q95 {
			continue
		}
		seen := s.seen()
		odds := -3.5
		why := "a distance"
		if seen < 0.7 {
			odds += 2.5
			why = fmt.Sprintf("read for %.0f %% of the time only", 100*seen)
		}
		if len(scored) > 1 {
			near := nearing(s, scored)
			odds += 4 * (near - 0.5)
			if near > 0.6 {
				why += fmt.Sprintf(", and near zero before %.0f %% of the scores", 100*near)
			}
		}
		odds += s.named("error")
		ref := scaledLength(s)
		out.options = append(out.options, option{odds: odds, uses: []use{{role: "cycles.align.error", s: s, ref: ref, sure: 1, why: why}}})
	}
	return out
}

// seen is the share of the log in which the signal was read, to the second.
func (s *signal) seen() float64 {
	read := int64(0)
	for i := 1; i < len(s.num.T); i++ {
		if d := s.num.T[i] - s.num.T[i-1]; d < 1e6 {
			read += d
		}
	}
	whole := float64(len(s.v)) * stepS
	return float64(read) / 1e6 / math.Max(whole, 1)
}

// nearing is the share of the scores before which the signal had come down to a tenth of its
// range, from more than three tenths within the ten seconds before.
func nearing(s *signal, scored []int64) float64 {
	hit := 0
	for _, t := range scored {
		part := s.num.Between(t-10e6, t)
		if len(part.V) < 3 {
			continue
		}
		late := s.num.Between(t-5e6, t)
		if len(late.V) == 0 {
			continue
		}
		most := 0.0
		for _, v := range part.V {
			most = math.Max(most, math.Abs(v))
		}
		least := stat.Quantile(0.2, absolute(late.V))
		if least < 0.1*s.q99 && most > 0.3*s.q99 {
			hit++
		}
	}
	return float64(hit) / float64(len(scored))
}
