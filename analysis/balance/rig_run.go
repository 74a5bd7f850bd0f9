package balance

import (
	"math"
	"math/rand/v2"
	"slices"

	"github.com/afterbell/afterbell/schemas/series"
)

// run is the stretch of an attempt that a rig is fitted to, at even steps.
type run struct {
	force    bool
	pushFrom int       // step from which a push from outside may act; 0 for none
	sign     float64   // of the pull
	step     float64   // s
	tilt     []float64 // deg, noise still in
	turning  []float64 // which way it turned, -1..1, smooth about standing still
	command  []float64 // before steps before the tilt, and beside it
	before   int
	swung    float64   // deg/s, of a sine as strong as the rate
	terms    []float64 // of the rig last looked at, row by row
}

const (
	runStepS   = 0.025
	runMostS   = 8.0 // s; later swings are small, and friction rules them
	runLeastS  = 1.5
	runBeforeS = 1.0 // s of command before: what the drivetrain was doing
	turnedDegS = 0.5 // deg/s under which a platform is as good as standing
)

// newRun is the stretch between two times; ok is false where it is too short or the tilt is
// silent in it.
func newRun(tr trace, from, to int64, in Input, sign float64) (*run, bool) {
	n := int(min(seconds(to-from), runMostS)/runStepS) + 1
	if float64(n)*runStepS < runLeastS {
		return nil, false
	}
	r := &run{sign: sign, step: runStepS, before: int(runBeforeS / runStepS), terms: make([]float64, rigTerms*n)}
	tilt, rate := &series.Float{T: tr.t, V: tr.raw}, &series.Float{T: tr.t, V: tr.rate}
	at := func(i int) int64 { return from + int64(float64(i)*runStepS*1e6) }
	power := 0.0
	for i := range n {
		v, ok := between(tilt, at(i))
		w, okRate := between(rate, at(i))
		if i == 0 && !ok { // the log begins here
			v, w, ok, okRate = tr.raw[series.From(tr.t, from)], 0, true, true
		}
		if !ok || !okRate {
			return nil, false
		}
		r.tilt, r.turning = append(r.tilt, v), append(r.turning, math.Tanh(w/turnedDegS))
		power += 2 * w * w / float64(n)
	}
	r.swung = math.Sqrt(power)
	for i := -r.before; i < n; i++ {
		d, _ := in.Drive.At(at(i))
		r.command = append(r.command, d)
	}
	return r, true
}

// What is looked through: boards from hardly damped to sluggish, and free to as stiff as a
// swing of one a second; drivetrains from one with a quick speed loop to a soft one.
var (
	rigLow  = [3]float64{math.Log(0.1), math.Log(0.02), math.Log(0.01)}
	rigHigh = [3]float64{math.Log(20), math.Log(50), math.Log(0.35)}
)

// The pull of a robot on a platform is m g/J times its speed at full command: with a platform
// of about its own weight and two to three metres, and 2 to 4 m/s, some 1300 deg/s² for a
// second; a third or three times that is odd.
const (
	usualPull  = 1300.0
	pullSpread = 0.6 // standard deviation of its logarithm
)

// rigs are n rigs drawn by how likely they are, and the likeliest; none when none fits.
// The chain is that of Metropolis (J. Chem. Phys. 21, 1953) from the best of a search that
// narrows down. Its luck is always the same.
func (r *run) rigs(n int) (best rig, draws []rig) {
	luck := rand.New(rand.NewPCG(20, 31))
	all := r.search(luck)
	if len(all) == 0 {
		return rig{}, nil
	}
	looks := r.independent(all[0])
	weigh := func(g rig) rig {
		g.fit = -looks / 2 * math.Log(g.rss/float64(len(r.tilt))+1e-6)
		if !g.force {
			off := math.Log(math.Abs(g.pull)/usualPull) / pullSpread
			g.fit -= off * off / 2
		}
		return g
	}
	best = weigh(all[0])
	for _, g := range all {
		if g = weigh(g); g.fit > best.fit {
			best = g
		}
	}
	const every = 4
	g := best
	for i := range n * every {
		x := g.place3()
		for j := range x {
			x[j] += 0.25 * luck.NormFloat64()
		}
		if h, ok := r.rigAt(x); ok {
			if h = weigh(h); math.Log(luck.Float64()) < h.fit-g.fit {
				g = h
			}
			if g.fit > best.fit {
				best = g
			}
		}
		if i%every == every-1 {
			draws = append(draws, g)
		}
	}
	return best, draws
}

// search looks for rigs that fit, best first.
func (r *run) search(luck *rand.Rand) []rig {
	const wide, rounds, each, from = 120, 6, 25, 6
	var all []rig
	keep := func(x [3]float64) {
		if g, ok := r.rigAt(x); ok {
			all = append(all, g)
		}
	}
	for range wide {
		var x [3]float64
		for j := range x {
			x[j] = rigLow[j] + (rigHigh[j]-rigLow[j])*luck.Float64()
		}
		keep(x)
	}
	byFit := func(a, b rig) int {
		switch {
		case a.rss < b.rss:
			return -1
		case a.rss > b.rss:
			return 1
		}
		return 0
	}
	spread := 0.6
	for range rounds {
		if len(all) == 0 {
			return nil
		}
		slices.SortStableFunc(all, byFit)
		top := slices.Clone(all[:min(from, len(all))])
		for range each {
			x := top[luck.IntN(len(top))].place3()
			for j := range x {
				x[j] += spread * luck.NormFloat64()
			}
			keep(x)
		}
		spread *= 0.6
	}
	slices.SortStableFunc(all, byFit)
	return all
}

// place3 is where a rig lies in what is looked through.
func (g rig) place3() [3]float64 {
	return [3]float64{math.Log(g.damp), math.Log(g.stiff), math.Log(g.lag)}
}

func (r *run) rigAt(x [3]float64) (rig, bool) {
	for j, v := range x {
		if v < rigLow[j] || v > rigHigh[j] {
			return rig{}, false
		}
	}
	return r.fitted(math.Exp(x[0]), math.Exp(x[1]), math.Exp(x[2]))
}

// independent is how many independent samples the residuals of a rig are worth: those of a
// model that is only nearly right hang together.
func (r *run) independent(g rig) float64 {
	r.answers(g.damp, g.stiff, g.lag)
	c := [rigTerms]float64{g.pull, g.place, g.tilt, g.rate, g.rub, g.push}
	now, next, last := 0.0, 0.0, 0.0
	for i, y := range r.tilt {
		d := y - r.sum(c, i)
		if i > 0 {
			now, next = now+last*last, next+last*d
		}
		last = d
	}
	hang := 0.0
	if now > 0 {
		hang = min(max(next/now, 0), 0.98)
	}
	return float64(len(r.tilt)) * (1 - hang) / (1 + hang)
}
