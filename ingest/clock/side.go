package clock

import (
	"slices"
	"sort"
)

// stamp is a limit as it was seen: something at robot time was at collector time. From above
// it says offset(robot) <= collector-robot, from below >=.
type stamp struct{ robot, collector int64 }

// facing is the direction from which the limits of a side come.
type facing float64

const (
	fromAbove facing = +1
	fromBelow facing = -1
)

const (
	minuteUS   = 60e6
	mostStamps = 128 // of one side; exponential delays leave about half as many to keep
)

// side is what is remembered of the limits from one direction: ascending and distinct in robot
// time, at most mostStamps. Of each minute it keeps only what a line can touch, so that when a
// minute is forgotten the others stand in for it as if it had never been.
type side struct{ stamps []stamp }

// add takes a limit in and lets go of those that it makes needless.
func (s *side) add(p stamp, from facing) {
	i := sort.Search(len(s.stamps), func(k int) bool { return s.stamps[k].robot >= p.robot })
	switch {
	case i < len(s.stamps) && s.stamps[i].robot == p.robot:
		if !tighter(p, s.stamps[i], from) {
			return
		}
		s.stamps[i] = p
	case 0 < i && i < len(s.stamps) && needless(s.stamps[i-1], p, s.stamps[i], from):
		return
	default:
		s.stamps = slices.Insert(s.stamps, i, p)
	}
	s.prune(i, from)
	if len(s.stamps) > mostStamps {
		s.thin(from)
	}
}

// prune removes the neighbours of a stamp that are needless now.
func (s *side) prune(i int, from facing) {
	for i+2 < len(s.stamps) && needless(s.stamps[i], s.stamps[i+1], s.stamps[i+2], from) {
		s.stamps = slices.Delete(s.stamps, i+1, i+2)
	}
	for ; i >= 2 && needless(s.stamps[i-2], s.stamps[i-1], s.stamps[i], from); i-- {
		s.stamps = slices.Delete(s.stamps, i-1, i)
	}
}

// newest is the minute of the newest limit of a side that is not empty.
func (s *side) newest() int64 {
	newest := minute(s.stamps[0])
	for _, p := range s.stamps {
		newest = max(newest, minute(p))
	}
	return newest
}

// oldest is the minute of the oldest limit of a side that is not empty.
func (s *side) oldest() int64 {
	oldest := minute(s.stamps[0])
	for _, p := range s.stamps {
		oldest = min(oldest, minute(p))
	}
	return oldest
}

// dropBefore removes the limits of the minutes before one and says whether there were any.
func (s *side) dropBefore(first int64) bool {
	before := len(s.stamps)
	s.stamps = slices.DeleteFunc(s.stamps, func(p stamp) bool { return minute(p) < first })
	return len(s.stamps) < before
}

// thin removes the stamp that, left out, loosens the side least. The first and the last stay.
func (s *side) thin(from facing) {
	least, at := 0.0, 0
	for i := 1; i+1 < len(s.stamps); i++ {
		if loss := float64(from) * depth(s.stamps[i-1], s.stamps[i], s.stamps[i+1]); at == 0 || loss < least {
			least, at = loss, i
		}
	}
	s.stamps = slices.Delete(s.stamps, at, at+1)
}

// minute is the minute of the collector's clock in which a stamp is forgotten.
func minute(p stamp) int64 {
	m := p.collector / minuteUS
	if p.collector%minuteUS < 0 {
		m--
	}
	return m
}

// tighter says whether a leaves a line less room than b of the same robot time does.
func tighter(a, b stamp, from facing) bool {
	return from == fromAbove && a.collector < b.collector || from == fromBelow && a.collector > b.collector
}

// needless says whether a line that keeps to the limits before and after keeps to that between
// them, and will as long as it is remembered.
func needless(before, between, after stamp, from facing) bool {
	return minute(before) >= minute(between) && minute(after) >= minute(between) &&
		float64(from)*depth(before, between, after) <= 0
}

// depth is how far a stamp lies under the chord of its neighbours, in microseconds. Collector
// against robot time serves as well as offset against robot time: the chord shears alike.
func depth(before, between, after stamp) float64 {
	width := since(after.robot, before.robot)
	rise := since(after.collector, before.collector) / width
	return rise*since(between.robot, before.robot) - since(between.collector, before.collector)
}
