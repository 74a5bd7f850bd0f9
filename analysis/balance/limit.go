package balance

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// top is the last moment of the first tilt at which the platform was as far over as it went: it
// tips then. tipped is false where the tilt never came back.
func (a attempt) top(tr trace, in Input) (top int, tipped bool) {
	top = a.start
	for i := a.start; i < min(a.end, len(tr.t)-1); i++ {
		if tr.v[i]*float64(a.first) <= in.LevelDeg {
			return top, true
		}
		if math.Abs(tr.v[i]) >= 0.95*math.Abs(tr.v[a.peaks[0]]) {
			top = i
		}
	}
	return top, false
}

// levelled is from when the platform tipped to where it was levelled last.
func (a attempt) levelled(tr trace, in Input) (t0, t1 int64) {
	top, _ := a.top(tr, in)
	return tr.t[top], tr.t[max(top, a.through(tr, in))]
}

// through is the last sample at which the robot was levelled: that of the attempt's end, or, of one
// that drove off, the one before the last tilt, which was that of driving off. Who drives off does so
// by a command of one side, so that this began where the command last had another; without one, behind
// the largest tilt before.
func (a attempt) through(tr trace, in Input) int {
	end := min(a.end, len(tr.t)-1)
	if a.outcome != schemas.BalanceLeft {
		return end
	}
	if n := len(a.peaks); in.Drive == nil && n > 1 {
		return min(end, a.peaks[n-2])
	}
	end = min(end, a.from[len(a.from)-1])
	if in.Drive == nil {
		return end
	}
	off := 0.0
	for i := end; i < len(tr.t) && tr.t[i] <= a.entryT; i++ {
		u, _ := in.Drive.At(tr.t[i])
		off += u
	}
	for i := end; i > a.start; i-- {
		if u, _ := in.Drive.At(tr.t[i]); u*off < 0 {
			return i
		}
	}
	return end
}

const (
	atLimitPart = 0.97 // of the largest command there was, from which a command is at it
	beyond      = 1.15 // parts of it that a law calls for at its limit: less is where a swing turns
	relayPart   = 0.9  // of the commands there were, at the limit: a loop that knows one speed
	relaySpread = 0.3  // of the larger tilts at which it was given, over which these must spread
	limitRules  = 0.1  // of the time at the limit, from which it rules the swing
	limitLookN  = 10   // samples
)

// limits is what held the command.
type limits struct {
	at    float64 // of full command; infinite where the largest there was is no limit
	share float64 // of the time at it
	relay bool    // the loop gives that command or none
	ramp  float64 // of full command a second, that it may change by; 0 where that is no limit
}

// limits tells whether the largest command there was is one that the loop could not go beyond: a
// law fitted to the others calls for more there, or nothing but that was given, whatever the
// tilt. Where a platform lies at its stop, or its swing turns, a command is at its largest too.
func (h heard) limits() limits {
	none := limits{at: math.Inf(1)}
	if h.limit < 0.02 {
		return none
	}
	var tilts []float64
	given, all := 0, 0
	for i := h.from; i < len(h.command); i++ {
		u, v := math.Abs(h.command[i]), math.Abs(h.tilt[i])
		if math.IsNaN(u + v) {
			continue
		}
		all++
		if u > 0 {
			given++
		}
		if u > atLimitPart*h.limit {
			tilts = append(tilts, v)
		}
	}
	if len(tilts) < limitLookN {
		return none
	}
	out := limits{at: h.limit, share: float64(len(tilts)) / float64(all)}
	slices.Sort(tilts)
	wide := tilts[len(tilts)*9/10]-tilts[len(tilts)/10] > relaySpread*tilts[len(tilts)*9/10]
	if float64(len(tilts)) >= relayPart*float64(given) {
		out.relay = true
		if !wide {
			return none
		}
		return out
	}
	called, r2 := h.calledFor()
	if r2 < 0.5 {
		if wide && out.share > 0.3 {
			return out
		}
		return none
	}
	slices.Sort(called)
	if len(called) == 0 || called[len(called)/2] < beyond*out.at {
		return none
	}
	return out
}

// calledFor is what a law that is fitted to the other commands calls for where the largest were given, and
// how much of the others it explains: one that also answers for how long it has been tilted, where that
// explains clearly more.
func (h heard) calledFor() (called []float64, r2 float64) {
	best, ok := h.plainest()
	if !ok {
		return nil, 0
	}
	late := int(math.Round(best.late / lawStepS))
	again := 0.0
	if basis, y := h.columns(late, tiltRateSum); h.grows(late) {
		if c, rss, fits := swing.Linear(basis, y, 4); fits {
			again = c[3]
			best = law{off: c[0], gain: c[1], lead: c[2] / c[1], r2: 1 - rss/aboutMean(y)}
		}
	}
	sum := 0.0
	for i := h.from; i < len(h.command); i++ {
		v, w := h.tilt[i-late], h.rate[i-late]
		if !math.IsNaN(v) {
			sum += v * lawStepS
		}
		if math.Abs(h.command[i]) > atLimitPart*h.limit && !math.IsNaN(v+w) {
			called = append(called, math.Abs(best.off+best.gain*(v+best.lead*w)+again*sum))
		}
	}
	return called, best.r2
}

// plainest is the law that explains the command best of those as late as loops are, the noise of the rate
// that was logged left out.
func (h heard) plainest() (best law, ok bool) {
	for late := 0; float64(late)*lawStepS <= loopLateMost; late++ {
		if l, _, fits := h.law(h.rate, late, 0); fits && (!ok || l.r2 > best.r2) {
			best, ok = l, true
		}
	}
	return best, ok
}

// ramps adds that the command may change only slowly: let run after a law at one steady speed, it is
// explained clearly better than by the plainest law without such a limit.
// A command that follows slowly is late by the more the larger the swing.
func (h heard) ramps(l limits) limits {
	plain, ok := h.plainest()
	if !ok || plain.r2 < 0.3 || plain.r2 > rampMostR2 || l.relay {
		return l
	}
	var at []int
	tallest, largest, mean, total := 0.0, 0.0, 0.0, 0.0
	for i := h.from; i < len(h.command); i += rampStep {
		if !math.IsNaN(h.command[i]) {
			at, mean = append(at, i), mean+h.command[i]
			tallest, largest = max(tallest, math.Abs(h.tilt[i])), max(largest, math.Abs(h.command[i]))
		}
	}
	if len(at) < limitLookN || !(tallest > 0) {
		return l
	}
	mean /= float64(len(at))
	for _, i := range at {
		total += (h.command[i] - mean) * (h.command[i] - mean)
	}
	least, share := (1-rampPlainer)*(1-plain.r2)*total, 0.0
	for ramp := 0.05; ramp < 2; ramp *= 1.25 {
		for _, times := range [...]float64{1, 2, 4, 8} {
			gain := math.Copysign(times*largest/tallest, plain.gain)
			for _, lead := range [...]float64{0, 0.15, 0.3, 0.6, 1} {
				for _, late := range [...]int{0, 4, 8, 12} {
					if rss, slow := h.ramped(at, gain, lead, late, ramp, least); rss < least {
						least, share, l.ramp = rss, slow, ramp
					}
				}
			}
		}
	}
	if least > (1-rampR2)*total || share < limitRules {
		l.ramp = 0
		return l
	}
	l.share = max(l.share, share)
	return l
}

// ramped is the square that a law leaves whose command may change only so fast, and for which part of
// the time that held it; it gives up beyond most.
func (h heard) ramped(at []int, gain, lead float64, late int, ramp, most float64) (rss, slow float64) {
	u, last := h.command[at[0]], at[0]
	for _, i := range at {
		v, w := h.tilt[i-late], h.rate[i-late]
		step := ramp * float64(i-last) * lawStepS
		last = i
		if !math.IsNaN(v + w) {
			want := gain*(v+lead*w) - u
			if math.Abs(want) > step {
				slow++
			}
			u += max(-step, min(step, want))
		}
		if rss += (h.command[i] - u) * (h.command[i] - u); rss > most {
			return rss, 0
		}
	}
	return rss, slow / float64(len(at))
}

const (
	rampStep    = 2    // of lawStepS, from one look to the next
	rampPlainer = 0.6  // of what a law leaves, that a limit of how fast it changes must explain
	rampR2      = 0.93 // of the command that must be explained then
	rampMostR2  = 0.99 // from which a law alone is as good as all of it
)

// even says that the swings past level, but for the last, which may be cut off, were of one size at the
// end: three of them at the least.
func (a attempt) even(tr trace) bool {
	n := len(a.peaks)
	if n < 5 { // the climb, the swing that follows it, and three; the last may be cut off
		return false
	}
	low, high := math.Inf(1), 0.0
	for _, i := range a.peaks[n-4 : n-1] {
		low, high = min(low, math.Abs(tr.v[i])), max(high, math.Abs(tr.v[i]))
	}
	return high-low < evenPeaks*high+2*tr.noise
}

// constant says that they were, and not each beyond doubt smaller than the one before.
func (a attempt) constant(tr trace) bool {
	if !a.even(tr) {
		return false
	}
	for k := len(a.peaks) - 4; k < len(a.peaks)-1; k++ {
		i, before := a.peaks[k], a.peaks[k-1]
		if math.Abs(tr.v[i]) >= math.Abs(tr.v[before])-peakSure*tr.sd[i] {
			return true
		}
	}
	return false
}

const peakSure = 3.0 // standard errors of a peak, by which one is smaller beyond doubt

const evenPeaks = 0.15 // of their size, by which swings of constant size differ at the most

// betweenStops says that the last three whole swings came to the platform's stops: as far over as
// it ever went, there at a speed that a swing of its own does not have so near its turning, or for longer
// than it would stay there.
func (a attempt) betweenStops(tr trace) bool {
	n, stop := len(a.peaks), a.stop(tr)
	if n < 5 {
		return false
	}
	stay, speed := stopStay, stopSpeed
	if a.asFarAsTheStop(tr) {
		stay, speed = stayThere, speedThere
	}
	var stays, speeds []float64
	for q := n - 4; q < n-1; q++ {
		if math.Abs(tr.v[a.peaks[q]]) <= stop {
			return false
		}
		first, last, most := -1, -1, 0.0
		for i := a.from[q]; i < a.from[q+1]; i++ {
			if math.Abs(tr.v[i]) > stop {
				if last = i; first < 0 {
					first = i
				}
			}
			most = max(most, math.Abs(tr.rate[i]))
		}
		came, speed := tr.beyond(first, first-1, stop)
		went, _ := tr.beyond(last, last+1, stop)
		stays = append(stays, (went-came)/seconds(tr.t[a.from[q+1]]-tr.t[a.from[q]]))
		speeds = append(speeds, speed/most)
	}
	return stat.Median(stays) > stay || stat.Median(speeds) > speed
}

// asFarAsTheStop says that the last three whole swings were all as large as the tilt at which the
// platform lay at its stop before it tipped. A swing of its own is that only without any damping.
func (a attempt) asFarAsTheStop(tr trace) bool {
	lay := a.lay(tr)
	for _, i := range a.peaks[len(a.peaks)-4 : len(a.peaks)-1] {
		if math.Abs(math.Abs(tr.v[i])-lay) > sameAsStop*lay {
			return false
		}
	}
	return true
}

const sameAsStop = 0.02 // of the tilt at the stop, by which a robot that rocks on its wheels reads otherwise there

// beyond is when the tilt came through an edge between a sample beyond it and the one beside that,
// s, and how fast it then was, deg/s, straight between them.
func (tr trace) beyond(i, beside int, edge float64) (at, speed float64) {
	if beside < 0 || beside >= len(tr.t) {
		return seconds(tr.t[i]), math.Abs(tr.rate[i])
	}
	in, out := math.Abs(tr.v[i]), math.Abs(tr.v[beside])
	if tr.v[i]*tr.v[beside] < 0 {
		out = -out
	}
	part := 0.0
	if in > out {
		part = min(1, max(0, (in-edge)/(in-out)))
	}
	return seconds(tr.t[i]) + part*seconds(tr.t[beside]-tr.t[i]), math.Abs(tr.rate[i]) + part*(math.Abs(tr.rate[beside])-math.Abs(tr.rate[i]))
}

// A sine is beyond stopShare of its size for 0.18 of its half, and comes there at a quarter of its
// fastest: sqrt(1 - 0.96²) = 0.28.
// Where it goes just as far as the stops, half as much beyond that tells.
const (
	stopStay   = 0.22
	stopSpeed  = 0.38
	stayThere  = 0.195
	speedThere = 0.31
)

// free is the last stretch of a levelled one in which the loop had the platform to itself: behind
// the last time that it lay at a stop, or that the command was at its limit.
func (l limits) free(tr trace, a attempt, in Input, t0, t1 int64) (from, to int64) {
	from, stop := t0, a.stop(tr)
	for i := series.From(tr.t, t0); i < len(tr.t) && tr.t[i] < t1; i++ {
		if math.Abs(tr.v[i]) > stop {
			from = max(from, tr.t[i])
		}
	}
	if in.Drive == nil || math.IsInf(l.at, 1) {
		return from, t1
	}
	for i := series.From(in.Drive.T, from); i < len(in.Drive.T) && in.Drive.T[i] < t1; i++ {
		if math.Abs(in.Drive.V[i]) > atLimitPart*l.at {
			from = t1
			if i+1 < len(in.Drive.T) {
				from = min(t1, in.Drive.T[i+1])
			}
		}
	}
	return from, t1
}
