package collector

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// plan names the matches, or gives them the names that a settle before a crash gave.
func (s *settling) plan(idle bool) (plan, map[uint32]int64) {
	var p plan
	shifts := map[uint32]int64{}
	c := s.c
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, m := range s.found {
		boots := s.bootsIn(m)
		named := plannedMatch{Start: m.Start, Boots: boots, Base: s.base(boots)}
		switch before := s.state.Planned.match(m.Start); {
		case m.known != nil:
			named.ID, named.Base = m.known.ID, m.known.Base
			named.Boots = slices.Clone(m.known.Boots)
			for _, n := range boots {
				if !slices.Contains(named.Boots, n) {
					named.Boots = append(named.Boots, n)
				}
			}
		case before != nil:
			named.ID = before.ID
		default:
			named.ID = c.nameFor(s.r, m, p.Matches)
		}
		for _, n := range named.Boots {
			shifts[n] = s.views[n].shift
		}
		p.Matches = append(p.Matches, named)
	}
	if idle {
		if p.Idle = s.state.Planned.idle(); p.Idle == "" {
			p.Idle = c.nextName(c.o.Event, schemas.IdlePrefix+"%d")
		}
	}
	return p, shifts
}

func (p *plan) match(start int64) *plannedMatch {
	if p == nil {
		return nil
	}
	for i := range p.Matches {
		if p.Matches[i].Start == start {
			return &p.Matches[i]
		}
	}
	return nil
}

func (p *plan) idle() string {
	if p == nil {
		return ""
	}
	return p.Idle
}

// nameFor is the name of a new match. Robots that play together get one name: matches that
// begin within sameMatch of one another are one. given are those named in the same settle:
// they are in no store yet. The lock is held.
func (c *Collector) nameFor(r *robot, m stretch, given []plannedMatch) schemas.MatchID {
	inUse := func(id schemas.MatchID) bool {
		same := func(p plannedMatch) bool { return p.ID == id }
		return slices.ContainsFunc(given, same) || slices.ContainsFunc(r.namedMatches(), same) || c.stored(id)
	}
	id := schemas.MatchID{Season: c.o.Season, Event: cmp.Or(m.event, c.o.Event), Match: m.name, Robot: r.name}
	if m.byHand {
		for n := 2; inUse(id); n++ {
			id.Match = fmt.Sprintf("%.58s-%d", m.name, n)
		}
		return id
	}
	for _, other := range c.robots {
		if other == r {
			continue
		}
		for _, o := range other.namedMatches() {
			if o.ID.Event == id.Event && abs(o.Start-m.Start) < sameMatch {
				id.Match = o.ID.Match
				if !inUse(id) {
					return id
				}
			}
		}
	}
	for {
		id.Match = c.nextName(id.Event, "m%03d")
		if !inUse(id) {
			return id
		}
	}
}

// sameMatch is how far apart the starts of one match may be for two robots: their clocks and
// radios differ by less, and matches are minutes apart.
const sameMatch = 10 * second

func abs(v int64) int64 { return max(v, -v) }

// namedMatches are the robot's matches that have a name, stored or about to be.
func (r *robot) namedMatches() []plannedMatch {
	var out []plannedMatch
	for _, m := range r.kept.Matches {
		out = append(out, plannedMatch{ID: m.ID, Start: m.Start})
	}
	if r.kept.Planned != nil {
		out = append(out, r.kept.Planned.Matches...)
	}
	return out
}

// stored is whether that very robot has a match of that name.
func (c *Collector) stored(id schemas.MatchID) bool {
	log, _, err := c.o.Store.Load(id)
	return err != nil || log != nil
}

// nextName is the first name of that form that no robot uses at the event. The lock is held.
func (c *Collector) nextName(event, form string) string {
	key := event + "/" + form
	for {
		c.numbered[key]++
		name := fmt.Sprintf(form, c.numbered[key])
		if !c.o.Store.Taken(c.o.Season, event, name) {
			return name
		}
	}
}
