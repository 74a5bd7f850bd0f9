package suggest

import (
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
	"github.com/afterbell/afterbell/schemas/units"
)

// The grid on which signals of different rates are compared. A belt's motor answers within
// 50 ms and a piece crosses a beam in some tenths of a second (common practice), so 50 a second
// shows both.
const (
	stepS  = 0.02
	longS  = 600 // s of a longer log that are looked at: several matches' worth
	perSec = 1 / stepS
)

// look is a log as the finders see it.
type look struct {
	signals []*signal
	n       int       // points of the grid
	start   int64     // µs of its first
	busy    []float64 // share of the moving signals that move, 0 to 1
	quiet   []bool    // the robot does nothing
	quietN  int
	names   map[string]int // in how many names each word is
	silent  []string       // signals without a reading, or that a profile cannot name
}

// signal is one signal with the facts that need no other.
type signal struct {
	at       int
	name     string
	kind     schemas.Kind
	words    []string
	quantity *units.Quantity // by its unit; nil when it has none that is known
	num      *series.Float   // in the base unit of its quantity; nil for text
	text     *series.Text    // of text signals, and what words a number would be
	v        []float64       // num on the grid, held; NaN before the first sample

	lo, hi, med    float64
	q01, q05       float64
	q95, q99       float64
	levels         []float64 // distinct values, at most mostLevels+1 of them, sorted
	whole          bool      // all values are whole numbers
	changes        int       // samples that differ from the one before
	moving         float64   // share of grid steps in which it changed
	rest, restWide float64   // median while quiet, and the range that holds 9 in 10 then
	restZero       float64   // share of the quiet time in which it is exactly zero
	restLeast      float64   // 10 % of the quiet time it is this near to zero, or nearer
	lasting        float64   // correlation with itself 0.2 s later: near 1 for a position, not for a current
}

const mostLevels = 64

// lookAt prepares a log.
func lookAt(log *schemas.Log) *look {
	l := &look{}
	for _, s := range log.Signals {
		one := read(log, s)
		if one == nil || strings.ContainsAny(s.Name, "\n\t") { // a profile cannot name that
			l.silent = append(l.silent, s.Name)
			continue
		}
		one.at = len(l.signals)
		l.signals = append(l.signals, one)
	}
	l.lay(log)
	for _, s := range l.signals {
		s.describe()
	}
	l.names = l.wordCounts()
	l.findQuiet()
	for _, s := range l.signals {
		s.atRest(l)
	}
	return l
}

// read takes a signal's samples; nil when none is a reading.
func read(log *schemas.Log, s *schemas.Signal) *signal {
	out := &signal{name: s.Name, kind: s.Kind, words: wordsOf(s.Name)}
	ref := profile.Ref{Signal: s.Name}
	if u, ok := units.Find(s.Unit); ok && s.Unit != "" {
		out.quantity = &u.Quantity
	}
	var err error
	if s.Kind == schemas.Text {
		out.text, err = ref.Text(log)
		if err != nil || len(out.text.T) == 0 {
			return nil
		}
		return out
	}
	if out.num, err = ref.Float(log); err != nil || out.num == nil || len(out.num.T) == 0 {
		return nil
	}
	return out
}

// lay puts the numbers on the grid: of a log longer than longS the part in which most
// changes.
func (l *look) lay(log *schemas.Log) {
	first, last, ok := log.Bounds()
	if !ok {
		return
	}
	if last-first > longS*1e6 {
		first = l.liveliest(first)
		last = first + longS*1e6
	}
	l.start, l.n = first, int(float64(last-first)/1e6*perSec)+1
	for _, s := range l.signals {
		if s.num != nil {
			s.v = l.grid(s.num)
		}
	}
}

// liveliest is where the longS begin in which the signals change most often, to 10 s.
func (l *look) liveliest(first int64) int64 {
	const bucket = int64(10e6)
	count := map[int64]int{} // of the buckets that have any: a log may be long and nearly empty
	for _, s := range l.signals {
		if s.num == nil {
			continue
		}
		for i := 1; i < len(s.num.T); i++ {
			if s.num.V[i] != s.num.V[i-1] {
				count[(s.num.T[i]-first)/bucket]++
			}
		}
	}
	at := slices.Sorted(maps.Keys(count))
	wide := int64(longS * 1e6 / bucket)
	sum, best, begin := 0, 0, int64(0)
	for from, to := 0, 0; to < len(at); to++ {
		for sum += count[at[to]]; at[to]-at[from] >= wide; from++ {
			sum -= count[at[from]]
		}
		if sum > best {
			best, begin = sum, at[from]
		}
	}
	return first + begin*bucket
}

// grid is a series on the grid, each value held until the next.
func (l *look) grid(f *series.Float) []float64 {
	out := make([]float64, l.n)
	j := series.Before(f.T, l.start)
	for i := range out {
		t := l.start + int64(float64(i)*stepS*1e6+0.5)
		for j+1 < len(f.T) && f.T[j+1] <= t {
			j++
		}
		out[i] = math.NaN()
		if j >= 0 {
			out[i] = f.V[j]
		}
	}
	return out
}

// describe finds the facts that need only the samples.
func (s *signal) describe() {
	if s.num == nil {
		return
	}
	v := slices.Clone(s.num.V)
	slices.Sort(v)
	q := func(p float64) float64 { return v[int(p*float64(len(v)-1)+0.5)] }
	s.lo, s.q01, s.q05, s.med, s.q95, s.q99, s.hi = v[0], q(0.01), q(0.05), q(0.5), q(0.95), q(0.99), v[len(v)-1]
	s.whole = true
	for i, x := range v {
		if x != math.Trunc(x) {
			s.whole = false
		}
		if (i == 0 || x != v[i-1]) && len(s.levels) <= mostLevels {
			s.levels = append(s.levels, x)
		}
	}
	for i := 1; i < len(s.num.V); i++ {
		if s.num.V[i] != s.num.V[i-1] {
			s.changes++
		}
	}
	moved := 0
	for i := 1; i < len(s.v); i++ {
		if s.v[i] != s.v[i-1] {
			moved++
		}
	}
	s.moving = float64(moved) / float64(max(1, len(s.v)-1))
	s.lasting = lasting(s.v)
}

// lasting is 1 - (mean square of the change in 0.2 s) / (2 variance).
func lasting(v []float64) float64 {
	x := centred(filled(v))
	const lag = 10 // points
	if len(x) <= lag {
		return 0
	}
	change := 0.0
	for i := lag; i < len(x); i++ {
		d := x[i] - x[i-lag]
		change += d * d
	}
	power := dot(x, x)
	if power <= 0 {
		return 0
	}
	return 1 - change/float64(len(x)-lag)/(2*power/float64(len(x)))
}

func centred(x []float64) []float64 {
	m := 0.0
	for _, v := range x {
		m += v
	}
	m /= float64(max(1, len(x)))
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v - m
	}
	return out
}

// few says whether the signal knows at most so many values.
func (s *signal) few(n int) bool { return len(s.levels) <= n }

// is says whether the signal's unit allows a quantity: it has none, or that one.
func (s *signal) is(q units.Quantity) bool { return s.quantity == nil || *s.quantity == q }

// number says whether the signal is a measured or commanded quantity.
func (s *signal) number() bool { return s.num != nil && s.kind != schemas.Bool }

// findQuiet finds when the robot does nothing: of the signals that move much at some times and
// little at others hardly any moves. It needs no mode.
func (l *look) findQuiet() {
	l.busy, l.quiet = make([]float64, l.n), make([]bool, l.n)
	const half = 12 // points, a quarter of a second
	used := 0
	for _, s := range l.signals {
		wide := s.q99 - s.q01
		if s.num == nil || wide <= 0 || s.kind == schemas.Bool && s.changes > l.n/20 {
			continue
		}
		used++
		for i := range l.busy {
			a, b := s.v[max(0, i-half)], s.v[min(l.n-1, i+half)]
			if math.Abs(b-a) > 0.12*wide {
				l.busy[i]++
			}
		}
	}
	if used == 0 {
		return
	}
	for i := range l.busy {
		l.busy[i] /= float64(used)
	}
	smooth := mean(l.busy, int(0.5*perSec))
	// What moves all the time (a heartbeat, noise) tells nothing.
	always := stat.Quantile(0.02, smooth)
	for i := range l.busy {
		l.busy[i], smooth[i] = max(0, l.busy[i]-always), max(0, smooth[i]-always)
	}
	limit := 0.06 * stat.Quantile(0.9, smooth)
	const least = 2.5 * perSec // points: a driver's hesitation is shorter
	for i := 0; i < l.n; {
		j := i
		for j < l.n && smooth[j] <= limit {
			j++
		}
		if float64(j-i) >= least {
			for k := i; k < j; k++ {
				l.quiet[k] = true
			}
		}
		i = j + 1
	}
	for _, q := range l.quiet {
		if q {
			l.quietN++
		}
	}
}

// atRest finds what a signal reads while nothing happens.
func (s *signal) atRest(l *look) {
	s.rest, s.restWide, s.restLeast = math.NaN(), math.NaN(), math.NaN()
	if s.num == nil || l.quietN < int(2*perSec) {
		return
	}
	var v []float64
	for i, q := range l.quiet {
		if q && !math.IsNaN(s.v[i]) {
			v = append(v, s.v[i])
		}
	}
	if len(v) == 0 {
		return
	}
	s.rest, s.restLeast = stat.Median(v), stat.Quantile(0.1, absolute(v))
	s.restWide = stat.Quantile(0.95, v) - stat.Quantile(0.05, v)
	zero := 0
	for _, x := range v {
		if x == 0 {
			zero++
		}
	}
	s.restZero = float64(zero) / float64(len(v))
}

// mean is the centred moving average of x over 2 half + 1 points, fewer at the ends.
func mean(x []float64, half int) []float64 {
	out := make([]float64, len(x))
	sum, n := 0.0, 0
	for i := -half; i < len(x); i++ {
		if j := i + half; j < len(x) {
			sum, n = sum+x[j], n+1
		}
		if j := i - half - 1; j >= 0 {
			sum, n = sum-x[j], n-1
		}
		if i >= 0 {
			out[i] = sum / float64(n)
		}
	}
	return out
}

// filled is x with the stretch before its first reading filled with that.
func filled(x []float64) []float64 {
	out := slices.Clone(x)
	first := slices.IndexFunc(out, func(v float64) bool { return !math.IsNaN(v) })
	if first < 0 {
		clear(out)
		return out
	}
	for i := range first {
		out[i] = out[first]
	}
	return out
}

// quick is what of x changes within some seconds: x less its mean over 4 s, smoothed over
// 0.1 s. A battery's slow relaxation and a gyroscope's drift are gone from it.
func quick(x []float64) []float64 {
	x = filled(x)
	fast, slow := mean(x, 2), mean(x, int(2*perSec))
	for i := range fast {
		fast[i] -= slow[i]
	}
	return fast
}

// slope is the change of x a second, over 0.2 s on either side.
func slope(x []float64) []float64 {
	x = filled(x)
	const half = int(0.1 * perSec)
	out := make([]float64, len(x))
	for i := range x {
		a, b := max(0, i-half), min(len(x)-1, i+half)
		if b > a {
			out[i] = (x[b] - x[a]) / (float64(b-a) * stepS)
		}
	}
	return out
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

// alike is the correlation of two series about zero, 0 when one does not move.
func alike(a, b []float64) float64 {
	d := dot(a, a) * dot(b, b)
	if d <= 0 {
		return 0
	}
	return dot(a, b) / math.Sqrt(d)
}

// interval is a stretch of time, µs.
type interval = series.Interval
