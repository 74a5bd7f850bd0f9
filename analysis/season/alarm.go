package season

import (
	"math"

	gonum "gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
)

// Alarm is a running average that has left the level it belongs to, before there is enough to call
// it a change.
type Alarm struct {
	Since int  // place in the series of the reading from which on it is outside
	Up    bool // above
	P     float64
}

// Limits of the alarm.
const (
	fading   = 0.2   // of the running average; Lucas and Saccucci, Technometrics 32 (1990)
	widest   = 2.962 // standard deviations of it: one false alarm in 500 readings
	baseline = 8     // readings of a level before the first that is judged
	farthest = 3     // standard deviations one reading may count, so that a single one is no alarm
)

// alarm follows the newest level of a measure with an exponentially weighted average. Each reading is
// compared with those of the level before it, by Student's distribution, so that no baseline has to
// be known and the average is exactly as wide as its limit says. The limit leaves all measures
// together one chance in twenty to call a newest match that is none. Shares, measures that drift, and
// those that depend on the match before have no alarm.
//
// Self-starting: Hawkins, J. Royal Statistical Society D 36 (1987), with Quesenberry's transform.
func alarm(s *Series, f *Facts, measures int) *Alarm {
	if s.share() || f.Drift != nil || f.Dependent || len(f.Levels) == 0 {
		return nil
	}
	last := f.Levels[len(f.Levels)-1]
	u := standardized(clipped(s.Value[last.From:last.To]))
	if len(u) == 0 {
		return nil
	}
	width := math.Max(widest, distuv.UnitNormal.Quantile(1-family/2/float64(measures)))
	average := stat.EWMA(u, 0, fading)
	newest := len(u) - 1
	if math.Abs(average[newest]) <= stat.EWMALimit(newest+1, 1, fading, width) {
		return nil
	}
	out := &Alarm{Up: average[newest] > 0, P: 2 * distuv.UnitNormal.Survival(math.Abs(average[newest])/stat.EWMALimit(newest+1, 1, fading, 1))}
	since := newest
	for since > 0 && math.Abs(average[since-1]) > stat.EWMALimit(since, 1, fading, width) {
		since--
	}
	out.Since = last.From + baseline + since
	return out
}

// standardized are the readings from the baseline on, each in standard deviations from those before:
// independent and normal when nothing changes. Nil where those before are all equal.
func standardized(y []float64) []float64 {
	var out []float64
	for i := baseline; i < len(y); i++ {
		mean, deviation := gonum.MeanStdDev(y[:i], nil)
		if !(deviation > 0) {
			return nil
		}
		n := float64(i)
		t := (y[i] - mean) / deviation * math.Sqrt(n/(n+1))
		chance := distuv.StudentsT{Sigma: 1, Nu: n - 1}.CDF(t)
		z := distuv.UnitNormal.Quantile(math.Min(math.Max(chance, 1e-12), 1-1e-12))
		out = append(out, math.Max(-farthest, math.Min(farthest, z)))
	}
	return out
}
