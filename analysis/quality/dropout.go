package quality

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// DropOuts are the moments in which sensors of quantities that cannot jump said 0 in place
// of a reading, sorted by time for each signal in the order of the profile. What looks at
// such a signal should leave these samples out.
func DropOuts(log *schemas.Log, mapped []Mapped) []schemas.Fault {
	type looked struct {
		signal *schemas.Signal
		all    []dropout
	}
	var sensors []looked
	for _, m := range mapped {
		s := log.Find(m.Signal)
		if s == nil || !m.CannotJump || slices.ContainsFunc(sensors, func(l looked) bool { return l.signal == s }) {
			continue
		}
		if v := numbers(s); len(v) >= fewestReadings {
			sensors = append(sensors, looked{s, dropouts(v, s.Time, m.Rest)})
		}
	}
	var out []schemas.Fault
	for _, l := range sensors {
		for _, d := range l.all {
			for _, other := range sensors {
				if other.signal != l.signal && slices.ContainsFunc(other.all, func(o dropout) bool {
					return o.odds >= sureOdds && together(l.signal.Time, d, other.signal.Time, o)
				}) {
					d.odds += agreeing
					break
				}
			}
			if d.odds >= sureOdds {
				out = append(out, d.fault(l.signal, l.signal.Time))
			}
		}
	}
	return out
}

// together tells whether two sensors dropped out at the same moments, to their next sample:
// what they share, a cable or a supply, failed.
func together(a []int64, d dropout, b []int64, o dropout) bool {
	step := max(series.Step(a), series.Step(b))
	near := func(x, y int64) bool { return max(x, y)-min(x, y) <= step }
	return near(a[d.from], b[o.from]) && near(a[d.to-1], b[o.to-1])
}

// fewestReadings of a signal are needed to know how restless it is.
const fewestReadings = 100

// dropout is a stretch in which a sensor said its default in place of a reading.
type dropout struct {
	run
	odds float64 // logarithm of how many times likelier it is than that the reading was true
	jump float64 // the part of it that rests on where the readings before and behind were
}

// Odds a drop-out is judged by, as logarithms, and other limits. All are chosen by us.
const (
	// seldom is how many drop-outs begin in a second of a sensor nothing is known of: some
	// seven a match, in one match of fifty.
	seldom = 1e-3
	// sureOdds is 20 to 1, sureJump is 20 000 to 1 for the jumps alone.
	sureOdds, sureJump = 3.0, 10.0
	// agreeing is what it tells that another sensor dropped out with it, to the sample.
	agreeing      = 9.0
	fewestDropped = 3    // samples: one or two are a spike
	fewestAtRest  = 50   // readings that tell what a reading at rest is like
	quietAtRest   = 0.15 // of the time at rest in repeats half as long: rest looks like this
	coarseZeros   = 20   // runs too short for a drop-out: the sensor comes to 0 by itself
)

// dropouts are the stretches in which a quantity that cannot jump is told to be exactly 0
// although it was not: it went there from one sample to the next, stayed there without the
// noise it has, and went back. What looks the same and is none:
//
//   - a robot at rest whose tilt is exactly 0: then the readings at rest repeat, and no
//     length of a repeat is odd;
//   - noise about 0 that happens to repeat: as often as the readings about 0 repeat
//     elsewhere allows, and no more;
//   - a coarse reading, which is 0 all the while the robot stands on flat ground: a sensor that
//     comes to 0 by itself and spends a good part of the log in repeats of 0 half as long;
//   - a bump, which is there for a sample or two and away again: the three readings before
//     a drop-out, and the three behind it, were all away from 0;
//   - a swing through 0: a drop-out comes back to the side it left.
//
// Where the level was 0 anyhow only the repeats tell, and only when readings at rest are
// known to be restless: from stretches in which the robot stood, or since the sensor
// dropped out for sure at other times, from another level.
func dropouts(v []float64, times []int64, rest []series.Interval) []dropout {
	runs := runsOf(v, times)
	l, far := lawOf(v, times), apart(times)
	still, atRest := repeatsAtZero(v, times, runs, rest)
	atEase := quietAt(runs, times, rest)
	always, coarse := zerosAt(runs, times)
	var all []dropout
	for _, r := range runs {
		if r.value != 0 || r.samples() < fewestDropped {
			continue
		}
		jump := 0.0
		if before, behind := levels(v, times, r, far); before*behind > 0 {
			jump = 2 * l.surprise(min(math.Abs(before), math.Abs(behind)))
		}
		if jump >= sureJump || atEase.repeats(r.samples()/2) <= quietAtRest && !(coarse && always.repeats(r.samples()/2) > quietAtRest) {
			all = append(all, dropout{r, jump + float64(r.samples()-1)*-math.Log(still), jump})
		}
	}
	begins := -math.Log(seldom * schemas.Seconds(series.Step(times)))
	for range 5 { // each drop-out found makes others likelier
		n, sure := 0, false
		for _, d := range all {
			if d.odds >= begins+sureOdds && (atRest || d.jump >= sureJump) {
				n++
				sure = sure || d.jump >= sureJump
			}
		}
		next := min(begins, -math.Log(float64(n)/float64(len(v))))
		if n == 0 || next == begins && atRest == (atRest || sure) {
			break
		}
		begins, atRest = next, atRest || sure
	}
	for i := range all {
		if all[i].odds -= begins; !atRest && all[i].jump < sureJump {
			all[i].odds = min(all[i].odds, 0) // it may be what this sensor reads at rest
		}
	}
	return all
}

// levels are how far the reading before a run and the one behind it were from 0, with sign,
// and no farther than the middle one of the three there; 0 where these were not all on one
// side of 0, or where a gap lies between them and the run: more than far µs for three readings.
func levels(v []float64, times []int64, r run, far int64) (before, behind float64) {
	level := func(from, next int) float64 {
		low, high, sum := math.Inf(1), math.Inf(-1), 0.0
		for _, x := range v[from : from+3] {
			if !isReading(x) {
				return 0
			}
			low, high, sum = min(low, x), max(high, x), sum+x
		}
		if low <= 0 && high >= 0 {
			return 0
		}
		if middle := sum - low - high; math.Abs(middle) < math.Abs(v[next]) {
			return middle
		}
		return v[next]
	}
	if i := r.from - 3; i >= 0 && times[r.from]-times[i] <= far {
		before = level(i, r.from-1)
	}
	if i := r.to + 2; i < len(v) && times[i]-times[r.to-1] <= far {
		behind = level(r.to, r.to)
	}
	return before, behind
}

func (d dropout) fault(s *schemas.Signal, times []int64) schemas.Fault {
	f := fault(s, DropOut, times[d.from], times[min(d.to, len(times)-1)],
		fmt.Sprintf("reads 0 for %d samples, as no reading of it does by itself", d.samples()))
	f.Confidence = schemas.Some(1 / (1 + math.Exp(-d.odds)))
	return f
}
