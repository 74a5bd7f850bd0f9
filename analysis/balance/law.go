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
	again      float64 // 1/s: by so much for each deg s as for a deg; 0 where that is not told
	wound      float64 // of full command, that this had come to as the run begins
	r2         float64 // share of the command it explains
	square     float64 // of the command about its mean
	weight     float64 // how likely it is beside the others, in all 1
	off        float64 // of full command, that is given at level

	gainVar, leadVar, leadByGain float64 // of gain and gain lead: variances, the second that which the first leaves, and its slope
}

const (
	sumLeast     = 0.005 // of the command's square, that an integral must explain: less may be what it is rounded to
	constantMost = 0.05  // of full command; a sensor two degrees off level under a usual gain makes half of that

	lawStepS = 0.01
	lateMost = 0.24 // s; people react later than this, loops do not (simple reaction time is about 0.2 s: Woodworth and Schlosberg, from memory)

	lookBackS    = 0.5  // s; a person is hardly later
	usualLate    = 0.1  // s; a loop is rarely later
	loopLateMost = 0.15 // s; a loop's smoothing, its bus and its motors' controllers come to a tenth, hardly to more (common practice)
)

// heard is what a law is fitted to, at even steps; NaN where it is not known.
type heard struct {
	command, tilt, rate []float64
	start               int64 // µs
	from                int   // steps before it are there to look back on
	limit               float64
	rateVariance        float64 // of the rate's noise
	every               float64 // s from one logged command to the next
}

// lawsOf are the ways in which the command may have answered tilt and rate between two times,
// weighed by how well they explain it, likeliest first. Commands of nothing (a band in which
// the loop stands still) and at their limit say nothing about gains and are left out. Noise of
// a logged rate is taken off its square, or it would make the rate's part too small.
//
// Where one without a rate term explains the command as well, that is what the loop is taken to
// be: lateness and a rate term that make up for it look alike. A loop is hardly ever very late.
func lawsOf(h heard, lp loop, tr trace, t0, t1 int64, in Input, cfg Config) []law {
	if !lp.heard {
		return nil
	}
	var out []law
	best := -1
	var looks float64
	softs := []float64{0, 0.03, 0.06}
	if lp.noRate {
		softs = softs[:1] // there is no rate to be smoothed
	}
	for _, soft := range softs {
		smooth := softened(h.rate, soft)
		for late := 0; float64(late)*lawStepS <= lateMost; late++ {
			l, n, ok := h.law(smooth, late, soft)
			if lp.noRate {
				l, n, ok = h.lawWithoutRate(late)
			}
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
	if h.sums(out[0]) {
		out, looks = h.lawsThatSum(out, looks, t0)
	}
	sum, quiet := 0.0, quietPart(tr, t0, t1, out[0].late, in)
	sums := h.sums(out[0])
	top := out[0].r2
	for i := range out {
		odd := out[i].late / usualLate
		out[i].weight = math.Pow((1-top+1e-6)/(1-out[i].r2+1e-6), looks/4) * math.Exp(-odd*odd/2)
		out[i].quiet, out[i].sums = quiet, sums
		sum += out[i].weight
	}
	for i := range out {
		out[i].weight /= sum
	}
	return out
}

// lawsThatSum are laws with an integral in place of some without, likeliest first, where these explain
// the command; else those without. The run begins at t0.
func (h heard) lawsThatSum(plain []law, looks float64, t0 int64) ([]law, float64) {
	var out []law
	tilted := 0.0 // deg s up to there
	for i := h.from; i < min(len(h.tilt), h.from+int(seconds(t0-h.start)/lawStepS)); i++ {
		if !math.IsNaN(h.tilt[i]) {
			tilted += h.tilt[i] * lawStepS
		}
	}
	for _, l := range plain {
		late, x := int(math.Round(l.late/lawStepS)), h
		x.rate = softened(h.rate, l.soft)
		basis, y := x.columns(late, tiltRateSum)
		if len(y) < 20 {
			continue
		}
		c, rss, ok := swing.Linear(basis, y, 4)
		square := aboutMean(y)
		if !ok || c[3]*c[1] <= 0 || !(square > 0) {
			continue
		}
		n := worth(residuals(basis, y, c))
		l.gain, l.lead, l.again, l.off, l.r2 = c[1], c[2]/c[1], c[3]/c[1], c[0], 1-rss/square
		l.wound = c[0] + c[3]*tilted
		if cov, ok := swing.Covariance(basis, 4, rss/n); ok {
			l.gainVar, l.leadByGain = cov[5], cov[6]/cov[5]
			l.leadVar = max(0, cov[10]-cov[6]*cov[6]/cov[5])
		}
		if out = append(out, l); l.r2 > out[0].r2 {
			out[0], out[len(out)-1] = l, out[0]
			looks = n
		}
	}
	if len(out) == 0 || out[0].r2 < plainR2 {
		return plain, looks
	}
	return out, looks
}

func hear(tr trace, t0, t1 int64, in Input) (heard, bool) {
	tilt := &series.Float{T: tr.t, V: tr.v}
	rate := &series.Float{T: tr.t, V: tr.rate}
	h := heard{start: t0, from: int(lookBackS / lawStepS), every: seconds(series.Step(in.Drive.T))}
	if tr.gyro {
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

// atWork leaves out what was no answer to the tilt: stretches in which the command has next to
// nothing to do with what the likeliest law calls for, as when a driver takes over. It gives up,
// and leaves nothing out, where that is most of it.
func (h heard) atWork() heard {
	var c []float64
	late, least := 0, math.Inf(1)
	for l := 0; l <= h.from; l += 3 {
		basis, y := h.columns(l, tiltAndRate)
		if len(y) < 40 {
			continue
		}
		if x, usual, ok := robust(basis, y, 3); ok && usual < least {
			c, late, least = x, l, usual
		}
	}
	if c == nil {
		return h
	}
	most := max(6*least, otherDoing)
	off := make([]float64, len(h.command))
	for i := h.from; i < len(h.command); i++ {
		if v, w := h.tilt[i-late], h.rate[i-late]; h.command[i] != 0 && math.Abs(h.command[i]) <= atLimitPart*h.limit && !math.IsNaN(h.command[i]+v+w) {
			off[i] = math.Abs(h.command[i] - c[0] - c[1]*v - c[2]*w)
		}
	}
	command, n, out := slices.Clone(h.command), 0, 0
	for i := h.from; i < len(h.command); i++ {
		lo, hi := max(h.from, i-otherSteps), min(len(off), i+otherSteps+1)
		if n++; stat.Median(slices.Clone(off[lo:hi])) > most {
			command[i], out = math.NaN(), out+1
		}
	}
	if 2*out > n {
		return h
	}
	h.command = command
	return h
}

const (
	otherDoing = 0.03 // of full command, by which a command is not the law's
	otherSteps = 15   // either way: a third of a second of it is no noise
)

// robust is the sum of least absolute residuals, by reweighting (Schlossmacher, J. Am. Stat. Assoc.
// 68, 1973; from memory), and the median size of these.
func robust(basis, y []float64, k int) (c []float64, usual float64, ok bool) {
	rows, right := slices.Clone(basis), slices.Clone(y)
	for range 8 {
		if c, _, ok = swing.Linear(rows, right, k); !ok {
			return nil, 0, false
		}
		r := residuals(basis, y, c)
		sizes := make([]float64, len(r))
		for i, d := range r {
			sizes[i] = math.Abs(d)
		}
		usual = stat.Median(sizes)
		for i, d := range r {
			weight := 1 / math.Sqrt(max(math.Abs(d), 0.5*usual, 1e-4))
			right[i] = weight * y[i]
			for q := range k {
				rows[k*i+q] = weight * basis[k*i+q]
			}
		}
	}
	return c, usual, true
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
			if u == 0 || math.Abs(u) > atLimitPart*h.limit || math.IsNaN(u+v+w) {
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
	l = law{gain: p, lead: q / p, late: float64(late) * lawStepS, r2: 1 - rss/total, square: total / s[0], off: off}
	l.gainVar, l.leadByGain, l.leadVar = rss/n*ww/det, -vw/ww, rss/n/ww
	return l, n, true
}

// lawWithoutRate is the least-squares law of one lateness that answers the tilt alone.
func (h heard) lawWithoutRate(late int) (l law, n float64, ok bool) {
	basis, y := h.columns(late, tiltAlone)
	if len(y) < 20 {
		return law{}, 0, false
	}
	c, rss, ok := swing.Linear(basis, y, 2)
	if !ok || c[1] == 0 {
		return law{}, 0, false
	}
	n = worth(residuals(basis, y, c))
	square := aboutMean(y)
	l = law{gain: c[1], late: float64(late) * lawStepS, off: c[0], r2: 1 - rss/square, square: square / float64(len(y))}
	if cov, ok := swing.Covariance(basis, 2, rss/n); ok {
		l.gainVar = cov[3]
	}
	return l, n, true
}

// columns are the terms of tilt, rate and how long it had been tilted (deg s) late steps ago, row by
// row, and the commands they may explain: those that are neither nothing nor at the limit.
func (h heard) columns(late int, terms func(v, w, s float64) []float64) (basis, y []float64) {
	sum := 0.0
	for i := h.from; i < len(h.command); i++ {
		u, v, w := h.command[i], h.tilt[i-late], h.rate[i-late]
		if !math.IsNaN(v) {
			sum += v * lawStepS
		}
		if (i-h.from)%2 == 1 || u == 0 || math.Abs(u) > atLimitPart*h.limit || math.IsNaN(u+v+w) {
			continue
		}
		basis, y = append(basis, terms(v, w, sum)...), append(y, u)
	}
	return basis, y
}

// What a command may be a sum of: a constant, the tilt, its rate, and how long it has been tilted.
func tiltAlone(v, _, _ float64) []float64   { return []float64{1, v} }
func tiltAndRate(v, w, _ float64) []float64 { return []float64{1, v, w} }
func tiltAndSum(v, _, s float64) []float64  { return []float64{1, v, s} }
func tiltRateSum(v, w, s float64) []float64 { return []float64{1, v, w, s} }

func residuals(basis, y, c []float64) []float64 {
	out, k := slices.Clone(y), len(c)
	for i := range out {
		for q, x := range c {
			out[i] -= x * basis[k*i+q]
		}
	}
	return out
}

// worth is how many independent samples residuals are worth that hang together from one to the next.
func worth(r []float64) float64 {
	now, next := 0.0, 0.0
	for i := 1; i < len(r); i++ {
		now, next = now+r[i-1]*r[i-1], next+r[i-1]*r[i]
	}
	hang := 0.0
	if now > 0 {
		hang = min(max(next/now, 0), 0.98)
	}
	return float64(len(r)) * (1 - hang) / (1 + hang)
}

func aboutMean(y []float64) (squares float64) {
	mean := 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	for _, v := range y {
		squares += (v - mean) * (v - mean)
	}
	return squares
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
	h.rate = softened(h.rate, l.soft)
	late := int(math.Round(l.late / lawStepS))
	without, y := h.columns(late, tiltAndRate)
	still, _, ok := swing.Linear(without, y, 3)
	return ok && (h.grows(late) || math.Abs(still[0]) > constantMost)
}

// grows says that a command that also grows with how long it has been tilted explains clearly more.
func (h heard) grows(late int) bool {
	without, y := h.columns(late, tiltAndRate)
	with, _ := h.columns(late, tiltRateSum)
	_, plain, ok := swing.Linear(without, y, 3)
	c, better, okSum := swing.Linear(with, y, 4)
	return ok && okSum && better < 0.9*plain && plain-better > sumLeast*aboutMean(y) && c[3]*c[1] > 0 // beyond chance: samples by the dozen
}
