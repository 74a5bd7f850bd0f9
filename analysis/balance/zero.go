package balance

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// zero is what a noisy tilt reads on the floor before one attempt, and from there on until the floor
// before a later one tells again. A sensor's zero drifts: it warms up, and a fused tilt follows its gyro's
// bias. What is seen to drift is followed on, for no longer than it was seen to.
type zero struct {
	from, last int64   // µs: from where on it counts, and where the floor ended
	deg, perS  float64 // deg at last, and deg a second
	spanS      float64 // s of floor that it rests on
	degSD      float64 // standard error of deg at last
	perSSD     float64
}

// at is what the sensor reads on the floor at t, and its standard error.
func (z zero) at(t int64) (deg, sd float64) {
	later := max(seconds(t-z.last), -z.spanS)
	followed := min(later, z.spanS)
	unseen := z.perSSD
	if z.perS == 0 {
		unseen = usualDrift
	}
	return z.deg + z.perS*followed, math.Hypot(z.degSD, unseen*max(later, 0))
}

// usualDrift is by how much the zero of a usual sensor drifts, deg/s, where none is seen: a fifth of a degree
// a minute (common practice for small inertial sensors).
const usualDrift = 0.2 / 60

// zeros are those of a tilt that has noise, in order of time: one for each attempt before which there
// was enough of the floor. They are not told, and the tilt is left as it is, where no zero matters.
func zeros(tr trace, in Input, cfg Config) []zero {
	if tr.noise == 0 {
		return nil
	}
	var out []zero
	matters := false
	for k := 0; k < attemptsMost; k++ {
		now := tr.less(out)
		all := told(now, in, cfg)
		if k >= len(all) {
			break
		}
		if z, ok := zeroBefore(now, all, k, in, cfg); ok {
			out = append(out, z)
			deg, _ := z.at(all[k].startT)
			matters = matters || math.Abs(deg) >= cfg.ZeroMinDeg
		}
	}
	if !matters {
		return nil
	}
	return out
}

const attemptsMost = 30 // of a match, before which the floor is looked at

// zeroBefore is the zero by the floor before attempt k; ok is false where there is too little floor or
// what it reads is too much to be an offset.
func zeroBefore(tr trace, all []attempt, k int, in Input, cfg Config) (z zero, ok bool) {
	from := tr.t[0]
	if k > 0 {
		before := all[k-1]
		from = before.endT
		if before.outcome != schemas.BalanceLeft && seconds(all[k].startT-from) < cfg.StandS {
			return zero{}, false // it stood on the platform
		}
	}
	last := all[k].startT
	from = max(from, last-int64(cfg.DriftMaxS*1e6))
	t, deg := tr.everySecond(from, last, in.MountDeg)
	recent := deg[max(0, len(deg)-int(cfg.ZeroMaxS)):]
	if float64(len(recent)) < cfg.ZeroS {
		return zero{}, false
	}
	about := stat.Median(recent)
	if math.Abs(about) >= in.MountDeg/2 {
		return zero{}, false
	}
	var x, y []float64
	for i, v := range deg {
		if math.Abs(v-about) <= in.LevelDeg {
			x, y = append(x, seconds(t[i]-last)), append(y, v)
		}
	}
	z = zero{from: from, last: last, deg: about, spanS: -x[0]}
	z.degSD = stat.MedianWorse * stat.MAD(recent) / math.Sqrt(float64(len(recent)))
	if z.spanS < cfg.DriftS {
		return z, true
	}
	slope, low, high := stat.TheilSen(x, y, 0.95)
	if low <= 0 && 0 <= high || math.Abs(slope) > cfg.DriftMost {
		return z, true
	}
	rest := make([]float64, len(y))
	for i, v := range y {
		rest[i] = v - slope*x[i]
	}
	z.deg, z.perS, z.perSSD = stat.Median(rest), slope, (high-low)/(2*1.96)
	z.degSD = math.Hypot(stat.MedianWorse*stat.MAD(rest)/math.Sqrt(float64(len(rest))), z.perSSD*z.spanS/2)
	return z, true
}

// everySecond is the median tilt as logged in every whole second between two times, but for seconds in
// which it was beyond most.
func (tr trace) everySecond(from, to int64, most float64) (t []int64, deg []float64) {
	const second = 1_000_000
	i := series.From(tr.t, from)
	for begin := from; begin+second <= to; begin += second {
		first := i
		for i < len(tr.t) && tr.t[i] < begin+second {
			i++
		}
		if middle := stat.Median(tr.raw[first:i]); i-first >= 3 && math.Abs(middle) <= most {
			t, deg = append(t, begin+second/2), append(deg, middle)
		}
	}
	return t, deg
}

// less is the trace with its zeros taken off the tilt without noise; raw stays as logged.
func (tr trace) less(all []zero) trace {
	if len(all) == 0 {
		return tr
	}
	v, k := make([]float64, len(tr.v)), 0
	tr.zero, tr.zeroSD = make([]float64, len(tr.v)), make([]float64, len(tr.v))
	for i, t := range tr.t {
		for k+1 < len(all) && t >= all[k+1].from {
			k++
		}
		tr.zero[i], tr.zeroSD[i] = all[k].at(t)
		v[i] = tr.v[i] - tr.zero[i]
	}
	tr.v = v
	return tr
}

// logged is the tilt without noise at sample i as the sensor reads it.
func (tr trace) logged(i int) float64 {
	if tr.zero == nil {
		return tr.v[i]
	}
	return tr.v[i] + tr.zero[i]
}

// zeroNotes says what was taken off, where it matters most.
func zeroNotes(name string, all []zero, cfg Config) []string {
	worst := -1
	for i, z := range all {
		if worst < 0 || math.Abs(z.deg) > math.Abs(all[worst].deg) {
			worst = i
		}
	}
	switch {
	case worst < 0:
		return nil
	case math.Abs(all[worst].perS)*cfg.DriftMaxS >= cfg.ZeroMinDeg:
		return []string{fmt.Sprintf("%s reads %.1f° on the floor and drifts by %.1f° a minute there: both are taken off here", name, all[worst].deg, 60*all[worst].perS)}
	}
	return []string{fmt.Sprintf("%s reads %.1f° on the floor: taken as its zero here; an offset in the profile corrects it everywhere", name, all[worst].deg)}
}
