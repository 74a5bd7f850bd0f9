package cycles

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// places is when the robot was in a pickup zone and in a goal zone.
type places struct {
	known        bool // there is a pose and a zone
	pickup, goal []visit
	hasGoal      bool              // the profile has such a zone
	silences     []series.Interval // in which the robot may have been anywhere
	track        track
	topMS        float64 // the speed it reaches on its way
	about        bool    // silences are no matter: the robot was where it was seen after them
}

// visit is a stay in a zone: from the first sample inside to the first one outside.
type visit struct {
	start, end int64
	surely     bool // the robot was seen outside just before start
}

func placesOf(in Input, cfg Config) places {
	if in.X == nil || in.Y == nil || len(in.X.T) == 0 || len(in.Y.T) == 0 {
		return places{}
	}
	limit := max(schemas.Micros(cfg.PoseGapS), 3*series.Step(in.X.T))
	T, x, y := together(in.X, in.Y, limit)
	if len(T) == 0 {
		return places{}
	}
	p := places{known: len(in.Zones) > 0, silences: silences(T, in.Start, in.End, limit), track: track{T, x, y}}
	p.topMS = p.track.topSpeed(cfg)
	inside := func(use string) (has bool, out []bool) {
		out = make([]bool, len(T))
		for _, z := range in.Zones {
			if z.Use != use || len(z.Corners) < 3 {
				continue
			}
			has = true
			for i := range T {
				out[i] = out[i] || contains(z.Corners, x[i], y[i])
			}
		}
		return has, out
	}
	var at []bool
	_, at = inside(profile.UsePickup)
	p.pickup = visits(T, at, limit)
	p.hasGoal, at = inside(profile.UseGoal)
	p.goal = p.stays(join(visits(T, at, limit), schemas.Micros(cfg.FlickerS)), cfg)
	return p
}

// together is the pose at the times of x, with y read straight between its samples; times
// at which y is not known are left out.
func together(sx, sy *series.Float, limit int64) (T []int64, x, y []float64) {
	j := -1
	for i, t := range sx.T {
		for j+1 < len(sy.T) && sy.T[j+1] <= t {
			j++
		}
		switch {
		case j >= 0 && sy.T[j] == t:
			T, x, y = append(T, t), append(x, sx.V[i]), append(y, sy.V[j])
		case j >= 0 && j+1 < len(sy.T) && sy.T[j+1]-sy.T[j] <= limit:
			f := float64(t-sy.T[j]) / float64(sy.T[j+1]-sy.T[j])
			T, x, y = append(T, t), append(x, sx.V[i]), append(y, sy.V[j]+f*(sy.V[j+1]-sy.V[j]))
		case j >= 0 && j+1 == len(sy.T) && t-sy.T[j] <= limit:
			T, x, y = append(T, t), append(x, sx.V[i]), append(y, sy.V[j])
		}
	}
	return T, x, y
}

func silences(T []int64, start, end, limit int64) []series.Interval {
	out := series.Gaps(T, limit)
	if T[0]-start > limit {
		out = append(out, series.Interval{Start: start, End: T[0]})
	}
	if last := T[len(T)-1]; end-last > limit {
		out = append(out, series.Interval{Start: last, End: end})
	}
	return out
}

// contains says whether (x, y) is in the polygon, edges counted once, by the number of
// edges a ray to the right crosses.
func contains(corners [][2]float64, x, y float64) bool {
	in := false
	for i, a := range corners {
		b := corners[(i+1)%len(corners)]
		if (a[1] > y) != (b[1] > y) && x < a[0]+(y-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
			in = !in
		}
	}
	return in
}

// visits are the stays. A silence ends a stay where it began and begins the next where it
// ended, not surely.
func visits(T []int64, inside []bool, limit int64) []visit {
	var out []visit
	open := false
	for i, t := range T {
		gap := i > 0 && t-T[i-1] > limit
		if open && (gap || !inside[i]) {
			end := t
			if gap {
				end = T[i-1]
			}
			out[len(out)-1].end, open = end, false
		}
		if !open && inside[i] {
			out = append(out, visit{start: t, surely: i > 0 && !gap})
			open = true
		}
	}
	if open {
		out[len(out)-1].end = math.MaxInt64 / 2 // as far as anyone saw it stayed
	}
	return out
}

// join makes one visit of two with less than flicker between them.
func join(all []visit, flicker int64) []visit {
	var out []visit
	for _, v := range all {
		if n := len(out); n > 0 && v.surely && v.start-out[n-1].end < flicker {
			out[n-1].end = v.end
			continue
		}
		out = append(out, v)
	}
	return out
}

// stays makes one visit of two that a silence parts of at most StaysS, when the robot was at the same
// place before and after it: it takes longer to drive off and come back to the very place. The
// silence is then none.
func (p *places) stays(all []visit, cfg Config) []visit {
	var out []visit
	for _, v := range all {
		n := len(out)
		if n == 0 || v.surely || v.start-out[n-1].end > schemas.Micros(cfg.StaysS) {
			out = append(out, v)
			continue
		}
		gap := series.Interval{Start: out[n-1].end, End: v.start}
		ax, ay, _ := p.track.at(gap.Start)
		bx, by, _ := p.track.at(gap.End)
		if math.Hypot(ax-bx, ay-by) > cfg.LinedUpM {
			out = append(out, v)
			continue
		}
		out[n-1].end = v.end
		p.silences = slices.DeleteFunc(p.silences, func(s series.Interval) bool { return s == gap })
	}
	return out
}

// aboutThen are the phases as far as they can be told when silences of the pose are passed over, and by
// how many seconds these may be wrong.
func (p *places) aboutThen(start, end, entered int64, known bool) (out schemas.Phases, offS float64) {
	q := *p
	q.about = true
	for _, s := range p.silences {
		offS += schemas.Seconds(s.Overlap(series.Interval{Start: start, End: end}))
	}
	return q.phases(start, end, entered, known), offS
}

// seen says whether the robot's place was known all the way from t0 to t1.
func (p *places) seen(t0, t1 int64) bool {
	if p.about {
		return true
	}
	for _, s := range p.silences {
		if s.Overlap(series.Interval{Start: t0, End: t1}) > 0 {
			return false
		}
	}
	return true
}

// phases are the parts of the cycle from start to end, µs, whose piece came into the path at
// entered (if known):
//
//	return   from start until the first step into a pickup zone
//	collect  from there until the piece is in the path
//	carry    from there until the robot's last entry into a goal zone before the end
//	place    from there to the end
//
// A cycle whose piece was in the path when it began, or came in before the robot stepped
// into a pickup zone, has neither return nor collect: both nil. A robot in the goal zone when the piece came in did not
// carry it: 0. One that scored without having been there has neither carry nor place.
func (p *places) phases(start, end, entered int64, known bool) schemas.Phases {
	var out schemas.Phases
	if !p.known {
		return out
	}
	pickup, atPickup := p.firstPickup(start, end)
	aboard := start // from when on the robot is on its way to the goal, as far as known
	switch {
	case known && atPickup && pickup <= entered:
		out.ReturnS, out.CollectS = between(start, pickup), between(pickup, entered)
		aboard = entered
	case known:
		aboard = max(start, entered)
	case atPickup:
		out.ReturnS = between(start, pickup)
		aboard = pickup
	}
	goal, atGoal := p.lastGoal(aboard, end)
	if !atGoal {
		return out
	}
	if known {
		out.CarryS = between(aboard, goal)
	}
	out.PlaceS = between(goal, end)
	return out
}

func between(t0, t1 int64) *float64 { return schemas.Some(schemas.Seconds(t1 - t0)) }

// firstPickup is the first step into a pickup zone from start on, start itself when the
// robot stood there already.
func (p *places) firstPickup(start, end int64) (at int64, ok bool) {
	for _, v := range p.pickup {
		if v.end <= start {
			continue
		}
		at = max(v.start, start)
		return at, at < end && (p.about || v.surely || v.start <= start) && p.seen(start, at)
	}
	return 0, false
}

// lastGoal is the last entry into a goal zone before end, aboard when the robot was there
// already and has not left since.
func (p *places) lastGoal(aboard, end int64) (at int64, ok bool) {
	for i := len(p.goal) - 1; i >= 0; i-- {
		v := p.goal[i]
		if v.start > end {
			continue
		}
		if v.end < aboard {
			return 0, false
		}
		at = max(v.start, aboard)
		return at, (p.about || v.surely || v.start <= aboard) && p.seen(at, end)
	}
	return 0, false
}
