package balance

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas/series"
)

// law is how the command answered: gain (tilt + lead rate) as they were late seconds ago, the
// rate through a smoother of soft seconds.
type law struct {
	gain       float64 // of full command per deg, with its sign
	lead       float64 // s
	late, soft float64 // s
	quiet      float64 // part of the gain that a quiet band takes off a swing this large
	sums       bool    // it also answers for how long it has been tilted
	r2         float64 // share of the command it explains
	weight     float64 // how likely it is beside the others, in all 1

	gainVar, leadVar, leadByGain float64 // of gain and gain lead: variances, the second that which the first leaves, and its slope
}

const (
	constantMost = 0.05 // of full command; a sensor two degrees off level under a usual gain makes half of that

	lawStepS = 0.01
	lateMost = 0.24 // s; people react later than this, loops do not (simple reaction time is about 0.2 s: Woodworth and Schlosberg, from memory)
)

// heard is what a law is fitted to, at even steps; NaN where it is not known.
type heard struct {
	command, tilt, rate []float64
	from                int // steps before it are there to look back on
	limit               float64
	rateVariance        float64 // of the rate's noise
}

// lawsOf are the ways in which the command may have answered tilt and rate between two times,
// weighed by how well they explain it, likeliest first. Commands of nothing (a band in which
// the loop stands still) and at their limit say nothing about gains and are left out. Noise of
// a logged rate is taken off its square, or it would make the rate's part too small.
func lawsOf(tr trace, t0, t1 int64, in Input, cfg Config) []law {
	h, ok := hear(tr, t0, t1, in)
	if !ok {
		return nil
	}
	var out []law
	best := -1
	var looks float64
	for _, soft := range [...]float64{0, 0.03, 0.06} {
		smooth := softened(h.rate, soft)
		for late := 0; float64(late)*lawStepS <= lateMost; late++ {
			l, n, ok := h.law(smooth, late, soft)
			if !ok {
				continue
			}
			l.soft = soft
			out = append(out, l)
			if best < 0 || l.r2 > out[best].r2 {
				best, looks = len(out)-1, n
			}
		}
	}
	if best < 0 || out[best].r2 < cfg.LoopR2 {
		return nil
	}
	out[0], out[best] = out[best], out[0]
	sum, quiet := 0.0, quietPart(tr, t0, t1, out[0].late, in)
	sums := h.sums(out[0])
	top := out[0].r2
	for i := range out {
		out[i].weight = math.Pow((1-top+1e-6)/(1-out[i].r2+1e-6), looks/4)
		out[i].quiet, out[i].sums = quiet, sums
		sum += out[i].weight
	}
	for i := range out {
		out[i].weight /= sum
	}
	return out
}

func hear(tr trace, t0, t1 int64, in Input) (heard, bool) {
	tilt := &series.Float{T: tr.t, V: tr.v}
	rate := &series.Float{T: tr.t, V: tr.rate}
	h := heard{from: int(lateMost/lawStepS) + 20}
	if in.Rate != nil && len(in.Rate.T) > 10 {
		rate = in.Rate
		noise := stat.Noise(rate.T, rate.V)
		h.rateVariance = noise * noise
	}
	n := int(seconds(t1-t0)/lawStepS) + 1
	if n < 50 {
		return heard{}, false
	}
	for i := -h.from; i < n; i++ {
		t := t0 + int64(float64(i)*lawStepS*1e6)
		u, ok := in.Drive.At(t)
		if !ok {
			u = math.NaN()
		}
		v, ok := between(tilt, t)
		w, okRate := between(rate, t)
		if !ok || !okRate {
			v, w = math.NaN(), math.NaN()
		}
		h.command, h.tilt, h.rate = append(h.command, u), append(h.tilt, v), append(h.rate, w)
		if i >= 0 {
			h.limit = max(h.limit, math.Abs(u))
		}
	}
	return h, true
}

// softened is a rate through a first-order smoother.
func softened(rate []float64, soft float64) []float64 {
	if soft == 0 {
		return rate
	}
	out, share := make([]float64, len(rate)), 1-math.Exp(-lawStepS/soft)
	now := math.NaN()
	for i, w := range rate {
		if math.IsNaN(now) {
			now = w
		}
		if !math.IsNaN(w) {
			now += share * (w - now)
		}
		out[i] = now
	}
	return out
}

// law is the least-squares law of one lateness; n is how many independent samples it rests on.
func (h heard) law(rate []float64, late int, soft float64) (l law, n float64, ok bool) {
	share := 1 - math.Exp(-lawStepS/math.Max(soft, 1e-4))
	noise := h.rateVariance * share / (2 - share)
	var s [9]float64 // n, v, w, vv, vw, ww, u, uv, uw
	uu := 0.0
	each := func(f func(u, v, w float64)) {
		for i := h.from; i < len(h.command); i += 2 {
			u, v, w := h.command[i], h.tilt[i-late], rate[i-late]
			if u == 0 || math.Abs(u) > 0.98*h.limit || math.IsNaN(u+v+w) {
				continue
			}
			f(u, v, w)
		}
	}
	each(func(u, v, w float64) {
		s[0]++
		s[1], s[2], s[6] = s[1]+v, s[2]+w, s[6]+u
		s[3], s[4], s[5] = s[3]+v*v, s[4]+v*w, s[5]+w*w
		s[7], s[8], uu = s[7]+u*v, s[8]+u*w, uu+u*u
	})
	if s[0] < 20 {
		return law{}, 0, false
	}
	vv, vw, ww := s[3]-s[1]*s[1]/s[0], s[4]-s[1]*s[2]/s[0], s[5]-s[2]*s[2]/s[0]-s[0]*noise
	uv, uw, total := s[7]-s[6]*s[1]/s[0], s[8]-s[6]*s[2]/s[0], uu-s[6]*s[6]/s[0]
	det := vv*ww - vw*vw
	if !(det > 1e-6*vv*ww) || ww <= 0 || total <= 0 {
		return law{}, 0, false
	}
	p, q := (uv*ww-uw*vw)/det, (uw*vv-uv*vw)/det
	if p == 0 {
		return law{}, 0, false
	}
	rss, last, now, next := 0.0, 0.0, 0.0, 0.0
	off := (s[6] - p*s[1] - q*s[2]) / s[0]
	each(func(u, v, w float64) {
		d := u - off - p*v - q*w
		rss += d * d
		now, next, last = now+last*last, next+last*d, d
	})
	hang := 0.0
	if now > 0 {
		hang = min(max(next/now, 0), 0.98)
	}
	rss = math.Max(rss-s[0]*q*q*noise, 0.2*rss) // what the rate's noise leaves of a command that knew the rate
	n = s[0] * (1 - hang) / (1 + hang)
	l = law{gain: p, lead: q / p, late: float64(late) * lawStepS, r2: 1 - rss/total}
	l.gainVar, l.leadByGain, l.leadVar = rss/n*ww/det, -vw/ww, rss/n/ww
	return l, n, true
}

// drawn is a law as this log leaves it open, by two standard normal numbers.
func (l law) drawn(a, b float64) law {
	side := math.Copysign(1, l.gain) // a negated tilt leaves open the same
	more := side * a * math.Sqrt(l.gainVar)
	rate := l.gain*l.lead + l.leadByGain*more + side*b*math.Sqrt(l.leadVar)
	if gain := l.gain + more; gain*l.gain > 0 {
		l.gain = gain
	}
	l.lead = rate / l.gain
	return l
}

// quietPart is the part of a loop's gain that a band in which it stands still takes off the
// swing between two times (describing function of a dead band; Gelb and Vander Velde,
// Multiple-Input Describing Functions, 1968; from memory), 0 without one.
func quietPart(tr trace, t0, t1 int64, late float64, in Input) float64 {
	var tilts []float64
	var still []bool
	power := 0.0
	for i := series.From(tr.t, t0); i < len(tr.t) && tr.t[i] <= t1; i++ {
		if u, ok := in.Drive.At(tr.t[i] + int64(late*1e6)); ok {
			tilts, still = append(tilts, math.Abs(tr.v[i])), append(still, u == 0)
			power += 2 * tr.v[i] * tr.v[i]
		}
	}
	d := quietBand(tilts, still) / math.Sqrt(power/float64(max(1, len(tilts))))
	if d >= 1 {
		return 1
	}
	return 2 / math.Pi * (math.Asin(d) - d*math.Sqrt(1-d*d))
}

// quietBand is the tilt that best parts when a loop stood still from when it did not, deg; 0
// where it hardly stood still, or not for the tilt: one that is not at work stands still whatever
// the tilt.
func quietBand(tilts []float64, still []bool) float64 {
	order := make([]int, len(tilts))
	wrong := 0 // of a band of nothing: all that stood still
	for i := range order {
		order[i] = i
		if still[i] {
			wrong++
		}
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(tilts[a], tilts[b]) })
	least, band, inside, stood := wrong, 0.0, 0, wrong
	for n, i := range order {
		if still[i] {
			wrong--
		} else {
			wrong++
		}
		if wrong < least {
			least, band, inside = wrong, tilts[i], n+1
		}
	}
	if float64(stood) < 0.05*float64(len(tilts)) || least > inside/2 {
		return 0
	}
	return band
}

// sums says that a command that also grows with how long it has been tilted explains clearly
// more than the law, or that it holds on to a constant part: an integral, growing or at its limit,
// which none of what is told here reckons with.
func (h heard) sums(l law) bool {
	late, rate := int(math.Round(l.late/lawStepS)), softened(h.rate, l.soft)
	var with, without, y []float64
	sum := 0.0
	for i := h.from; i < len(h.command); i++ {
		u, v, w := h.command[i], h.tilt[i-late], rate[i-late]
		if !math.IsNaN(v) {
			sum += v * lawStepS
		}
		if i%2 == 1 || u == 0 || math.Abs(u) > 0.98*h.limit || math.IsNaN(u+v+w) {
			continue
		}
		with, without, y = append(with, 1, v, w, sum), append(without, 1, v, w), append(y, u)
	}
	still, plain, ok := swing.Linear(without, y, 3)
	c, better, okSum := swing.Linear(with, y, 4)
	grows := okSum && better < 0.9*plain && c[3]*c[1] > 0 // beyond chance: samples by the dozen
	return ok && (grows || math.Abs(still[0]) > constantMost)
}
