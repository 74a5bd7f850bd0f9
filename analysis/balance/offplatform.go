package balance

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas/series"
)

// offPlatform tells whether a robot whose tilt is back in the band has driven off rather
// than balanced. The pose decides where it is clear: a robot that moved further than a
// tilting platform lets it move without tilting, or that is back outside of where it drove
// up, is off; one that stood still is not. In between, and without a pose, the drive command
// decides. wasOn says that the robot stood on the platform before the attempt, so that where
// the attempt began is not the platform's edge. Without drive and pose it is false.
func offPlatform(tr trace, a attempt, in Input, cfg Config, wasOn bool) bool {
	watchEnd := a.endT
	for i := a.end; i < len(tr.t) && tr.t[i]-a.endT <= int64(cfg.WatchS*1e6); i++ {
		if math.Abs(tr.v[i]) > in.LevelDeg || tr.afresh[i] {
			break // what it does once the platform moves again belongs to what follows
		}
		watchEnd = tr.t[i]
	}
	way, posed := wayOf(in, cfg, a.startT-500_000, watchEnd)
	if posed {
		moved, behind := way.since(a.entryT), way.behind(a.startT, a.endT)
		switch {
		case moved > cfg.OffM:
			return true
		case !wasOn && behind > -0.05: // the tilt falls into the band a hand behind where it rose
			return true
		case moved < cfg.StillM || in.Drive == nil:
			return false
		}
	}
	return in.Drive != nil && (drivesOn(tr, a, in, cfg) || !wasOn && backedOff(a, in, cfg) || !posed && drivenAway(a, in, cfg, watchEnd))
}

// drivenAway says that the command would have taken a robot of usual speed far further, while the tilt
// stayed in the band, than any moves on a platform without tilting it.
func drivenAway(a attempt, in Input, cfg Config, until int64) bool {
	const step = 20_000
	way, far := 0.0, 0.0
	for t := a.entryT; t < min(until, a.limit); t += step {
		d, _ := in.Drive.At(t)
		way += usualFull * d * seconds(step)
		far = max(far, math.Abs(way))
	}
	return far > cfg.AwayM
}

// way is where the robot was, without the jumps of its own estimate.
type way struct {
	t    []int64
	x, y []float64
}

// wayOf is the way from a time to another; ok is false when the pose has too few samples
// there to tell.
func wayOf(in Input, cfg Config, from, to int64) (way, bool) {
	if in.X == nil || in.Y == nil {
		return way{}, false
	}
	xs := in.X.Between(from, to+1)
	if len(xs.T) < 5 || xs.T[0]-from > 1_000_000 || to-xs.T[len(xs.T)-1] > 500_000 {
		return way{}, false
	}
	w := way{t: xs.T}
	x, y, lastX, lastY := 0.0, 0.0, 0.0, 0.0
	for i, t := range xs.T {
		nowX := xs.V[i]
		nowY, ok := in.Y.At(t)
		if !ok {
			return way{}, false
		}
		if i > 0 {
			dx, dy := nowX-lastX, nowY-lastY
			if math.Hypot(dx, dy) <= max(cfg.JumpMS*seconds(t-xs.T[i-1]), 0.05) {
				x, y = x+dx, y+dy
			}
		}
		lastX, lastY = nowX, nowY
		w.x, w.y = append(w.x, x), append(w.y, y)
	}
	return w, true
}

// at is the place about t: the median over a tenth of a second either way.
func (w way) at(t int64) (x, y float64) {
	lo, hi := series.From(w.t, t-100_000), series.From(w.t, t+100_001)
	if hi <= lo {
		lo = max(0, min(lo, len(w.t)-1))
		hi = lo + 1
	}
	return middle(w.x[lo:hi]), middle(w.y[lo:hi])
}

func middle(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return s[len(s)/2]
}

// since is how far the robot got from where it was at t.
func (w way) since(t int64) float64 {
	x0, y0 := w.at(t)
	far := 0.0
	for u := t; u <= w.t[len(w.t)-1]; u += 100_000 {
		x, y := w.at(u)
		far = max(far, math.Hypot(x-x0, y-y0))
	}
	return far
}

// behind is how far the robot stands behind where it drove up, seen in the direction it then
// drove: negative when it is past that point, or when it hardly moved as it drove up.
func (w way) behind(start, end int64) float64 {
	const about = 300_000
	x0, y0 := w.at(start - about)
	x1, y1 := w.at(start + about)
	length := math.Hypot(x1-x0, y1-y0)
	if length < 0.1 {
		return -1
	}
	xs, ys := w.at(start)
	xe, ye := w.at(end)
	return -((xe-xs)*(x1-x0) + (ye-ys)*(y1-y0)) / length
}

// drivesOn says that the robot was driven steadily through the return of the tilt and
// through most of the hold, by more than tilt and rate themselves ask of a levelling loop.
func drivesOn(tr trace, a attempt, in Input, cfg Config) bool {
	least := max(cfg.DriveMin, cfg.DriveShare*usualDrive(in, a))
	byTilt, byRate, explained := answersTilt(tr, in, a)
	through, n := 0.0, 0.0
	for t := a.entryT - 100_000; t <= a.entryT+100_000; t += 20_000 {
		d, _ := in.Drive.At(t)
		through, n = through+d, n+1
	}
	through /= n
	if math.Abs(through) < least/2 {
		return false
	}
	on, all := 0, 0
	for t := a.entryT; t <= a.endT; t += 20_000 {
		d, _ := in.Drive.At(t)
		if explained > 0.8 {
			i := min(series.From(tr.t, t), len(tr.t)-1)
			d -= byTilt*tr.v[i] + byRate*tr.rate[i]
		}
		all++
		if d*math.Copysign(1, through) >= least {
			on++
		}
	}
	return float64(on) >= 0.6*float64(all)
}

// backedOff says that the drive command took back nearly all of the way up since the tilt rose.
func backedOff(a attempt, in Input, cfg Config) bool {
	const step = 20_000
	way, top, up := 0.0, 0.0, 0.0
	for t := a.startT; t <= a.endT; t += step {
		d, ok := in.Drive.At(t)
		if !ok || math.Abs(d) < cfg.DriveMin {
			continue
		}
		if up == 0 {
			up = math.Copysign(1, d)
		}
		way += up * d * seconds(step)
		top = max(top, way)
	}
	return top > 0 && way < 0.1*top
}

// usualDrive is the middle size of the command while the robot was driven on the platform.
func usualDrive(in Input, a attempt) float64 {
	var size []float64
	for t := a.startT - 500_000; t <= a.entryT; t += 20_000 {
		if d, ok := in.Drive.At(t); ok && math.Abs(d) > 0.02 {
			size = append(size, math.Abs(d))
		}
	}
	if len(size) == 0 {
		return 0
	}
	return middle(size)
}

// answersTilt is what of the drive command answers tilt and rate, deg and deg/s, from when the platform
// tipped until the tilt was back, and the share of the command that this explains.
func answersTilt(tr trace, in Input, a attempt) (byTilt, byRate, explained float64) {
	top, _ := a.top(tr, in)
	vv, vw, ww, vd, wd, dd := 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
	for i := top; i < a.entry; i++ {
		d, ok := in.Drive.At(tr.t[i])
		if !ok {
			continue
		}
		v, w := tr.v[i], tr.rate[i]
		vv, vw, ww = vv+v*v, vw+v*w, ww+w*w
		vd, wd, dd = vd+v*d, wd+w*d, dd+d*d
	}
	det := vv*ww - vw*vw
	if !(det > 1e-6*vv*ww) || dd == 0 {
		return 0, 0, 0
	}
	byTilt, byRate = (vd*ww-wd*vw)/det, (wd*vv-vd*vw)/det
	return byTilt, byRate, (byTilt*vd + byRate*wd) / dd
}
