package balance

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"github.com/afterbell/afterbell/schemas/series"
)

// run is the stretch of an attempt that a rig is fitted to, at even steps.
type run struct {
	force            bool
	pushFrom         int       // step from which a push from outside may act; 0 for none
	sign             float64   // of the pull
	step             float64   // s
	tilt             []float64 // deg, noise still in
	turning          []float64 // which way it turned, -1..1, smooth about standing still
	command          []float64 // before steps before the tilt, and beside it
	slope            []float64 // deg, the tilt without noise at the same steps
	before           int
	freeFrom, freeTo int       // steps by which the size of the swing is reckoned
	swung            float64   // deg/s, of a sine as strong as the rate
	crooked          float64   // deg by which straight equations are off besides
	way              []float64 // m that it drove along, by the pose, about their mean; nil where no pose follows the command
	wayLooks         float64   // independent looks that the way is worth
	dead             float64   // of full command, up to which it does not move the robot, by the way; 0 where nothing tells
	terms            []float64 // of the rig last looked at, row by row
}

const (
	runStepS   = 0.025
	runMostS   = 8.0 // s; later swings are small, and friction rules them
	runLeastS  = 1.5
	runBeforeS = 1.0 // s of command before: what the drivetrain was doing
	freeMostS  = 5.0 // s of it whose size friction and quiet bands are reckoned by
	freeLeastS = 0.8

	crookedShare = 0.005 // of the largest tilt

	outlierDeg = 1.5 // no platform bends its way by more within a tenth of a second
	outlierSD  = 8.0 // of the tilt's noise, likewise

	limitLeastS = 0.1 // s at the largest command there was, from which that is its limit
	turnedDegS  = 0.5 // deg/s under which a platform is as good as standing
)

// newRun is the stretch between two times; ok is false where it is too short or the tilt is
// silent in it.
func newRun(tr trace, from, to int64, in Input, cfg Config, sign float64) (*run, bool) {
	n := int(min(seconds(to-from), runMostS)/runStepS) + 1
	if float64(n)*runStepS < runLeastS {
		return nil, false
	}
	r := &run{sign: sign, step: runStepS, before: int(runBeforeS / runStepS), terms: make([]float64, rigTerms*n)}
	tilt, rate := &series.Float{T: tr.t, V: tr.raw}, &series.Float{T: tr.t, V: tr.rate}
	if tr.gyro { // it carries the motion over what is averaged
		tilt.V = tr.v
	}
	slope := &series.Float{T: tr.t, V: tr.v}
	at := func(i int) int64 { return from + int64(float64(i)*runStepS*1e6) }
	turned := make([]float64, n)
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
		turned[i] = w
	}
	for i := -r.before; i < n; i++ {
		d := held(in.Drive, at(i), at(i+1))
		v, ok := between(slope, (at(i)+at(i+1))/2)
		if !ok { // the log begins here, or is silent: it lay at its stop
			v = r.tilt[0]
		}
		r.command, r.slope = append(r.command, d), append(r.slope, v)
	}
	r.tilt = withoutOutliers(r.tilt, max(outlierDeg, outlierSD*tr.noise))
	for _, v := range r.tilt {
		r.crooked = max(r.crooked, crookedShare*math.Abs(v))
	}
	r.freeFrom = r.obeyed()
	r.freeTo = min(n, r.freeFrom+int(freeMostS/runStepS))
	for _, w := range turned[r.freeFrom:r.freeTo] {
		r.swung += 2 * w * w / float64(r.freeTo-r.freeFrom)
	}
	r.swung = math.Sqrt(r.swung)
	r.way = wayAlong(in, cfg, func(i int) int64 { return at(i - r.before) }, r.before+n)
	if r.way != nil {
		r.followWay()
	}
	return r, true
}

// withoutOutliers is a tilt at even steps with what stands alone, further than most off what lies about it
// on either side, put where that has it: a sum of squares would follow spikes that came too close to each
// other to be told from a swing.
func withoutOutliers(tilt []float64, most float64) []float64 {
	const near, far = 2, 4 // steps
	out := slices.Clone(tilt)
	for i := far; i+far < len(tilt); i++ {
		var about [far - near + 1]float64
		for k := range about {
			about[k] = (tilt[i-near-k] + tilt[i+near+k]) / 2
		}
		slices.Sort(about[:])
		if middle := about[len(about)/2]; math.Abs(tilt[i]-middle) > most {
			out[i] = middle
		}
	}
	return out
}

// held is what a command that stands still from sample to sample was on average between two times.
func held(command *series.Float, from, to int64) float64 {
	const parts = 5
	sum := 0.0
	for k := range int64(parts) {
		u, _ := command.At(from + (2*k+1)*(to-from)/(2*parts))
		sum += u / parts
	}
	return sum
}

// obeyed is the step from which the loop's gains ruled: behind the last command at its limit,
// which one that comes up again and again is; 0 where next to nothing is left behind it.
func (r *run) obeyed() int {
	beside := r.command[r.before:]
	limit, at, last := 0.0, 0, 0
	for _, u := range beside {
		limit = max(limit, math.Abs(u))
	}
	for i, u := range beside {
		if math.Abs(u) > 0.995*limit {
			at, last = at+1, i+1
		}
	}
	if float64(at)*runStepS < limitLeastS || float64(len(beside)-last)*runStepS < freeLeastS {
		return 0
	}
	return last
}

// What is looked through: boards from hardly damped to sluggish, and free to as stiff as a
// swing of one a second; drivetrains from one with a quick speed loop to a soft one, from one
// that hardly rolls down a slope to one that nothing holds, and from one that rolls by itself to one
// that hardly does.
const rigPlaces = 5

var (
	rigLow  = [rigPlaces]float64{math.Log(0.1), math.Log(0.02), math.Log(0.01), math.Log(0.0002), math.Log(0.2)}
	rigHigh = [rigPlaces]float64{math.Log(20), math.Log(50), math.Log(0.35), math.Log(0.015), math.Log(8)}
)

// What slows a robot to a new speed with a lag also lets it slide: m g sin(tilt) against m/lag for each
// m/s, a part of full command for each degree that is the larger the slower the robot. A speed loop
// that sums up leaves less, and wheels that turn along with the robot do too.
const (
	usualFull   = 3.2 // m/s of full command, half or twice that seldom (common practice)
	slidesOff   = 9.81 * math.Pi / 180
	slideHeld   = 0.6 // part of it that is left
	slideSpread = 0.7 // standard deviation of its logarithm
)

// A robot that coasts slows down by some 0.3 m/s², from half to twice that: its wheels, gears and motors
// take that part of its weight to roll (common practice).
const (
	usualRoll  = 2.0 // deg of slope that pulls as much
	rollSpread = 0.6 // standard deviation of its logarithm
)

// A damper that is to bring a platform of half a swing a second to rest soon takes a few 1/s.
const (
	usualDamp  = 4.0
	dampSpread = 1.0 // standard deviation of its logarithm
)

// The hinge of a platform that tips under a robot rubs by what a robot some centimetres off its middle pulls.
const rubSpread = 10.0 // deg/s², 2 cm by usualPull: standard deviation

// Drivetrains under a speed loop come to their speed in some 0.06 s, half or twice that often
// (common practice).
const (
	usualLagS = 0.06
	lagSpread = 0.7 // standard deviation of its logarithm
)

// The pull of a robot on a platform is m g/J times its speed at full command. A platform of twice the
// robot's weight and 2.5 m long, with the robot about its middle, has J/m of some 1.1 m²: 500 deg/s² for
// each metre. One of the robot's own weight and 2 m has 1300, one of three times its weight and 3 m 240.
const (
	usualPull  = 500.0 // deg/s² for each metre
	pullSpread = 0.6   // standard deviation of its logarithm
	fullSpread = 0.4   // and of that of the speed at full command
)

// rigs are n rigs drawn by how likely they are, and the likeliest; none when none fits. A crowd
// of them is led from hardly telling likely from unlikely to all that the log tells, drawn again
// each time (Del Moral, Doucet and Jasra, J. R. Stat. Soc. B 68, 2006; from memory), by steps of
// Metropolis (J. Chem. Phys. 21, 1953) as long as the ways between them (ter Braak, Statistics and
// Computing 16, 2006; from memory): very different rigs may make one log. Their luck is always
// the same.
func (r *run) rigs(n int) (best rig, draws []rig) {
	luck := rand.New(rand.NewPCG(20, 31))
	all, looks := r.search(luck)
	if len(all) == 0 {
		return rig{}, nil
	}
	best = all[0]
	now, heat := all, 0.0
	for _, stage := range [...]struct {
		heat   float64 // power of the likelihood
		rounds int
	}{{1. / 64, 3}, {1. / 16, 3}, {1. / 4, 4}, {1, 6}} {
		now = again(now, crowd, stage.heat-heat, luck)
		heat = stage.heat
		for range stage.rounds {
			for i := range now {
				x, from, to := now[i].lies(), now[luck.IntN(crowd)].lies(), now[luck.IntN(crowd)].lies()
				part := wayPart * luck.Float64()
				for j := range x {
					x[j] += part*(to[j]-from[j]) + 0.03*luck.NormFloat64()
				}
				h, ok := r.rigAt(x)
				if !ok {
					continue
				}
				if h.fit = r.likelihood(h, looks); math.Log(luck.Float64()) < heat*(h.fit-now[i].fit) {
					now[i] = h
				}
				if h.fit > best.fit {
					best = h
				}
			}
		}
	}
	return best, now[:min(n, crowd)]
}

const crowd = 48

const wayPart = 1.2 // about 2.4 over the root of twice the number of places, as theirs, and less

// again are n of them drawn by a power of their likelihood, evenly (systematic resampling), in
// an order that says nothing.
func again(all []rig, n int, heat float64, luck *rand.Rand) []rig {
	most := math.Inf(-1)
	for _, g := range all {
		most = max(most, g.fit)
	}
	weights, sum := make([]float64, len(all)), 0.0
	for i, g := range all {
		weights[i] = math.Exp(heat * (g.fit - most))
		sum += weights[i]
	}
	out := make([]rig, 0, n)
	at, reached := luck.Float64(), 0.0
	for i, w := range weights {
		reached += w / sum * float64(n)
		for ; at < reached && len(out) < n; at++ {
			out = append(out, all[i])
		}
	}
	for len(out) < n { // rounding
		out = append(out, all[0])
	}
	luck.Shuffle(n, func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// likelihood is the logarithm of that of a rig's residuals, worth so many looks, and of what is
// known of robots and platforms before, less a constant. Straight equations are off by crooked
// besides: less than that tells nothing.
func (r *run) likelihood(g rig, looks float64) float64 {
	fit := -looks / 2 * math.Log(g.rss/float64(len(r.tilt))+r.crooked*r.crooked)
	if g.force {
		return fit
	}
	if r.way != nil {
		fit -= r.wayLooks / 2 * math.Log(g.wayOff*g.wayOff+wayCrooked*wayCrooked)
	}
	pulls := pullSpread
	if r.way == nil {
		pulls = math.Hypot(pullSpread, fullSpread)
	}
	fit -= g.rub * g.rub / rubSpread / rubSpread / 2
	for _, known := range [...]struct{ is, usual, spread float64 }{
		{math.Abs(g.pull), usualPull * g.full, pulls},
		{g.full, usualFull, fullSpread},
		{g.slide, slideHeld * slidesOff / g.full * g.lag, slideSpread},
		{g.lag, usualLagS, lagSpread},
		{g.roll, usualRoll, rollSpread},
		{g.damp, usualDamp, dampSpread},
	} {
		off := math.Log(known.is/known.usual) / known.spread
		fit -= off * off / 2
	}
	return fit
}

// search looks for rigs that fit, anywhere at first, and then about those that are likely: all that it
// came by, likeliest first, and how many looks the tilt is worth by the likeliest.
func (r *run) search(luck *rand.Rand) (all []rig, looks float64) {
	const first, rounds, each, from = 200, 4, 20, 6
	keep := func(x [rigPlaces]float64) {
		if g, ok := r.rigAt(x); ok {
			all = append(all, g)
		}
	}
	for range first {
		var x [rigPlaces]float64
		for j := range x {
			x[j] = rigLow[j] + (rigHigh[j]-rigLow[j])*luck.Float64()
		}
		keep(x)
	}
	if len(all) == 0 {
		return nil, 0
	}
	rank := func() {
		for i := range all {
			all[i].fit = r.likelihood(all[i], looks)
		}
		slices.SortStableFunc(all, func(a, b rig) int { return cmp.Compare(b.fit, a.fit) })
	}
	looks = r.independent(slices.MinFunc(all, func(a, b rig) int { return cmp.Compare(a.rss, b.rss) }))
	rank()
	spread := 0.6
	for range rounds {
		top := slices.Clone(all[:min(from, len(all))])
		for range each {
			x := top[luck.IntN(len(top))].lies()
			for j := range x {
				x[j] += spread * luck.NormFloat64()
			}
			keep(x)
		}
		looks = r.independent(all[0])
		rank()
		spread *= 0.6
	}
	return all, looks
}

// lies is where a rig lies in what is looked through.
func (g rig) lies() [rigPlaces]float64 {
	return [rigPlaces]float64{math.Log(g.damp), math.Log(g.stiff), math.Log(g.lag), math.Log(g.slide), math.Log(g.roll)}
}

func (r *run) rigAt(x [rigPlaces]float64) (rig, bool) {
	for j, v := range x {
		if v < rigLow[j] || v > rigHigh[j] {
			return rig{}, false
		}
	}
	return r.fitted(math.Exp(x[0]), math.Exp(x[1]), drivetrain{math.Exp(x[2]), math.Exp(x[3]), math.Exp(x[4])})
}

// independent is how many independent samples the residuals of a rig are worth: those of a
// model that is only nearly right hang together. That residuals do that are smaller than what
// straight equations are off by is no matter.
func (r *run) independent(g rig) float64 {
	r.answers(g.damp, g.stiff, g.drivetrain)
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
	if now += float64(len(r.tilt)) * r.crooked * r.crooked; now > 0 {
		hang = min(max(next/now, 0), 0.98)
	}
	return float64(len(r.tilt)) * (1 - hang) / (1 + hang)
}
