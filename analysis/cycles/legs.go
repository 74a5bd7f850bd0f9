package cycles

import (
	"math"
	"slices"

	gonum "gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// track is where the robot was, at ascending times.
type track struct {
	t    []int64
	x, y []float64 // m
}

// leg is one part of a trip: out to the piece, back with it, and placing it.
type leg struct {
	known    bool
	from, to int64   // µs
	wayM     float64 // straight, m; 0 of placing, which goes nowhere
	spareS   float64 // what it took beyond its way at its own top speed
	wayS     float64 // what its way takes at that speed; 0 where there is none
}

// The legs of a trip. A trip on which the piece was aboard from the start has no way out.
const (
	legOut = iota
	legBack
	legPlace
	legs
)

// legsOf are the legs of the cycle from start to end, µs, whose piece came into the path at
// entered (if known). Where the piece came in is not known the robot's first step into a
// pickup zone parts them, else the point farthest from the goal. Without goal zones the goal
// is where the robot stood when it scored, and what placing took is in the way back. A leg
// on which the robot's place was not known all the way is not known.
//
// What a leg took beyond its straight way at the speed it reached itself is the time the
// robot was kept, or kept itself, from getting on: it stood, was pushed aside, went round
// or came back. A driver who drives slower all the way loses none of it, but by what is more than
// drivers vary (dawdled). Starting, turning and slowing down are in it too, much the same each time.
func (p *places) legsOf(start, end, entered int64, known bool, more moreLoad, cfg Config) (out [legs]leg) {
	if len(p.track.t) == 0 {
		return out
	}
	goal, atGoal := end, false
	if p.hasGoal {
		if goal, atGoal = p.lastGoal(start, end); !atGoal {
			return out
		}
	}
	turn := entered
	if !known || entered > goal {
		turn, known = p.firstPickup(start, goal)
		if !known {
			turn, known = p.farthest(start, goal)
		}
	}
	if !known {
		return out
	}
	home := turn
	if known && more.n > 0 && more.last < goal {
		turn, home = more.first, more.last // between them it fetched more
	}
	if turn > start {
		out[legOut] = p.leg(start, turn, cfg)
	}
	out[legBack] = p.leg(max(start, home), goal, cfg)
	if atGoal {
		out[legPlace] = leg{known: true, from: goal, to: end, spareS: schemas.Seconds(end - goal)}
	}
	return out
}

func (p *places) leg(from, to int64, cfg Config) leg {
	ax, ay, okA := p.track.at(from)
	bx, by, okB := p.track.at(to)
	if !okA || !okB || !p.seen(from, to) {
		return leg{}
	}
	way := math.Hypot(bx-ax, by-ay)
	top := max(stat.Quantile(cfg.TopShare, p.track.speeds(from, to, cfg)), cfg.LeastTop*p.topMS)
	out := leg{known: true, from: from, to: to, wayM: way, spareS: schemas.Seconds(to - from)}
	if top > 0 {
		out.wayS = way / top
		out.spareS -= out.wayS
	}
	return out
}

// at is the place at t, straight between samples.
func (k *track) at(t int64) (x, y float64, ok bool) {
	i, found := slices.BinarySearch(k.t, t)
	switch {
	case found:
		return k.x[i], k.y[i], true
	case len(k.t) == 0:
		return 0, 0, false
	case i == 0:
		return k.x[0], k.y[0], true
	case i == len(k.t):
		return k.x[i-1], k.y[i-1], true
	}
	f := float64(t-k.t[i-1]) / float64(k.t[i]-k.t[i-1])
	return k.x[i-1] + f*(k.x[i]-k.x[i-1]), k.y[i-1] + f*(k.y[i]-k.y[i-1]), true
}

// speeds are those from one time to another, m/s, each over SpeedS: what a sample of the
// pose jumps by is noise.
func (k *track) speeds(from, to int64, cfg Config) []float64 {
	span := schemas.Micros(cfg.SpeedS)
	var out []float64
	for t := from; t+span <= to; t += span / 4 {
		ax, ay, _ := k.at(t)
		bx, by, ok := k.at(t + span)
		if ok {
			out = append(out, math.Hypot(bx-ax, by-ay)/cfg.SpeedS)
		}
	}
	if len(out) == 0 {
		return []float64{0}
	}
	return out
}

// farthest is when the robot was farthest from where it is at goal.
func (p *places) farthest(start, goal int64) (at int64, ok bool) {
	gx, gy, ok := p.track.at(goal)
	if !ok || !p.seen(start, goal) {
		return 0, false
	}
	most := -1.0
	for i, t := range p.track.t {
		if t < start || t > goal {
			continue
		}
		if d := math.Hypot(p.track.x[i]-gx, p.track.y[i]-gy); d > most {
			at, most = t, d
		}
	}
	return at, most >= 0
}

// timeLost gives each complete trip the seconds it was seen to lose: of each leg what it
// took beyond the usual of that leg over the trips of its kind of period, and of their sum
// what it is beyond the usual sum, as what happens every time is usual (Config.UsualLeg,
// EverydaySum).
func timeLost(all []cycle, cfg Config) {
	for _, period := range []string{schemas.PeriodAutonomous, schemas.PeriodDriver} {
		mine := judged(all, period, cfg)
		usualLoads(mine, cfg)
		var spare [legs][]float64
		for _, c := range mine {
			for k, l := range c.legs {
				if l.known {
					spare[k] = append(spare[k], l.spareS)
				}
			}
		}
		dawdled(mine, cfg)
		var sums []float64
		var which []*cycle
		for _, c := range mine {
			sum, n := 0.0, 0
			for k, l := range c.legs {
				if l.known && len(spare[k]) >= cfg.LeastLegs {
					c.over[k] = l.spareS - stat.Quantile(cfg.UsualLeg, spare[k])
					sum, n = sum+c.over[k], n+1
				}
			}
			if n == 0 || c.unseenS() > cfg.UnseenS {
				continue // too little of the trip was seen
			}
			sum += c.more.overS() + c.dawdledS
			sums, which = append(sums, sum), append(which, c)
		}
		trouble := cfg.TroubleMean * medianTrip(mine)
		usual := everyday(sums, which, cfg)
		others, _ := bodies(sums, trouble, cfg.SightSigmaS, cfg.SightWeight, cfg)
		for i, c := range which {
			c.sees(&sight{took: sums[i], usual: &others[i], middle: usual, scale: 1, share: cfg.SightShare, blind: cfg.Blind})
		}
		_, placing := bodies(spare[legPlace], trouble, cfg.SightSigmaS, cfg.SightWeight, cfg)
		for _, c := range atGoal(all, period, cfg) {
			if l := c.legs[legPlace]; l.known && len(spare[legPlace]) >= cfg.LeastLegs {
				usual := stat.Quantile(cfg.UsualLeg, spare[legPlace])
				c.over[legPlace] = l.spareS - usual
				c.sees(&sight{took: l.spareS, usual: &placing, middle: usual, scale: 1, share: cfg.SightShare, blind: cfg.Blind})
			}
		}
	}
}

// dawdled gives the trips the seconds that driving slower all the way cost them: on each leg what
// its way took longer than it usually does, where chance hardly explains it: by Student's law of one
// more logarithm like those of the other trips, with a guess of their spread.
func dawdled(mine []*cycle, cfg Config) {
	for k := range legPlace {
		for _, c := range mine {
			if c.legs[k].wayS == 0 {
				continue
			}
			var others []float64
			for _, o := range mine {
				if at := o.legs[k]; o != c && at.wayS > 0 && at.wayM > cfg.AlikeWay*c.legs[k].wayM {
					others = append(others, math.Log(at.wayS/at.wayM))
				}
			}
			if len(others) < cfg.LeastLegs {
				continue
			}
			n := float64(len(others))
			mean, variance := gonum.MeanVariance(others, nil)
			freedom := n - 1 + cfg.SightWeight
			variance = ((n-1)*variance + cfg.SightWeight*cfg.PaceSigma*cfg.PaceSigma) / freedom * (1 + 1/n)
			l := law{mu: mean + math.Log(c.legs[k].wayM), scale: math.Sqrt(variance), freedom: freedom}
			if l.tail(c.legs[k].wayS) < cfg.PaceP {
				c.dawdledS += c.legs[k].wayS - math.Exp(l.mu)
			}
		}
	}
}

// usualLoads gives the trips that fetched several pieces what that usually takes, by the piece.
func usualLoads(mine []*cycle, cfg Config) {
	var each, collects []float64
	for _, c := range mine {
		if t := c.Phases.CollectS; t != nil && c.more.n == 0 {
			collects = append(collects, *t)
		}
		if c.more.n > 0 {
			each = append(each, schemas.Seconds(c.more.last-c.more.first)/float64(c.more.n))
		}
	}
	for _, c := range mine {
		if c.more.n > 0 {
			per := stat.Quantile(cfg.UsualLeg, each)
			if len(collects) >= cfg.LeastLegs {
				per = min(per, 2*stat.Quantile(cfg.UsualLeg, collects))
			}
			c.more.usualS = float64(c.more.n) * per
		}
	}
}

// overS is what fetching more took beyond what it usually does.
func (m moreLoad) overS() float64 {
	if m.n < 1 {
		return 0
	}
	return schemas.Seconds(m.last-m.first) - m.usualS
}

// everyday is what the legs together usually take beyond their usual: the median of the trips
// that lie less than MildShare of a trip above the EverydaySum quantile.
func everyday(sums []float64, which []*cycle, cfg Config) float64 {
	var trips, near []float64
	for _, c := range which {
		trips = append(trips, c.ownS())
	}
	least := stat.Quantile(cfg.EverydaySum, sums)
	for _, s := range sums {
		if s <= least+cfg.MildShare*stat.Quantile(cfg.UsualLeg, trips) {
			near = append(near, s)
		}
	}
	return stat.Median(near)
}

// sees gives a cycle what was seen of its loss.
func (c *cycle) sees(s *sight) {
	c.sight = s
	lost, _ := s.lost()
	c.LostS = &lost
}

func medianTrip(mine []*cycle) float64 {
	var trips []float64
	for _, c := range mine {
		trips = append(trips, c.ownS())
	}
	return stat.Median(trips)
}

// unseenS is the part of a trip that lies in no known leg, s.
func (c *cycle) unseenS() float64 {
	out := schemas.Seconds(c.done() - c.own)
	if c.more.n > 0 {
		out -= schemas.Seconds(c.more.last - c.more.first)
	}
	for _, l := range c.legs {
		if l.known {
			out -= schemas.Seconds(l.to - l.from)
		}
	}
	return out
}

// topSpeed is the speed the robot reaches on its way, m/s.
func (k *track) topSpeed(cfg Config) float64 {
	if len(k.t) < 2 {
		return 0
	}
	return stat.Quantile(cfg.TopShare, k.speeds(k.t[0], k.t[len(k.t)-1], cfg))
}
