package collector

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas/period"
)

// stretch is a match found, and what it is called.
type stretch struct {
	period.Match
	known   *sealedMatch // what is stored of it
	event   string       // of a match opened by hand
	name    string
	byHand  bool
	reaches int64 // what Last would be if the log went on
	topped  bool  // the log goes on beyond that
	open    bool  // ended by silence only
}

// find finds the matches in the log.
func (s *settling) find() {
	_, newest, _ := s.log.Bounds()
	all := s.byHand(newest)
	for i := range s.loaded { // what was opened by hand keeps its bounds
		if m := &s.loaded[i]; m.Manual {
			all = append(all, stretch{Match: period.Match{Start: m.Start, End: m.End}, byHand: true, known: m})
		}
	}
	for _, m := range s.byMode() {
		if !slices.ContainsFunc(all, func(o stretch) bool { return o.Start <= m.End && m.Start <= o.End }) {
			all = append(all, stretch{Match: m})
		}
	}
	for i := range s.loaded { // what is stored stays a match, whatever was added
		m := &s.loaded[i]
		if m.Manual {
			continue
		}
		at := slices.IndexFunc(all, func(o stretch) bool { return o.known == nil && o.Start <= m.End && m.Start <= o.End })
		if at < 0 {
			all = append(all, stretch{Match: period.Match{Start: m.Start, End: m.End}, byHand: m.Manual, known: m})
			continue
		}
		all[at].known = m
	}
	slices.SortStableFunc(all, func(a, b stretch) int { return cmp.Compare(a.Start, b.Start) })
	s.place(all, newest)
}

// byHand are the matches that messages opened, before the newest one that still runs.
func (s *settling) byHand(newest int64) []stretch {
	var out []stretch
	for i, m := range s.state.Manual {
		if m.Start == nil { // and so no sample since
			if m.Ended {
				s.manual = i + 1
			}
			continue
		}
		shift := s.views[m.Boot].shift
		st := stretch{byHand: true, event: m.Event, name: m.Match}
		st.Start, st.End = *m.Start+shift, newest
		if m.End != nil {
			st.End = max(st.Start, *m.End+shift)
		}
		if !m.Ended {
			if !s.forced() {
				s.running = &st
				break
			}
			st.open = true
		}
		s.manual = i + 1
		out = append(out, st)
	}
	if s.running != nil {
		out = append(out, *s.running)
	}
	return out
}

// byMode are the matches that the mode signal tells of.
func (s *settling) byMode() []period.Match {
	mode := s.r.watch.mode
	if series, err := mode.Series(s.log); err != nil || series == nil {
		if err != nil {
			s.c.log.Warn("the mode cannot be read: matches must be opened by message", "robot", s.r.name, "err", err)
		}
		return nil
	}
	matches, err := period.Find(mode, s.log)
	if err != nil || len(matches) > 0 && len(matches[0].Periods) == 0 {
		return nil // never enabled
	}
	return matches
}

// place gives each match the stretch of the log that is stored with it, none of which
// overlap, and keeps back the one that still runs.
func (s *settling) place(all []stretch, newest int64) {
	running := s.running
	s.running = nil
	for i := range all {
		m := &all[i]
		byHandRuns := running != nil && m.byHand && m.Start == running.Start && m.known == nil
		over := m.byHand || len(m.Periods) == 0 || ended(m.Match, newest)
		if i == len(all)-1 && (byHandRuns || !over && !s.forced()) {
			m.First = m.Start - leadIn
			s.running = m
			break
		}
		m.open = m.open || i == len(all)-1 && !over
		m.First, m.reaches = m.Start-leadIn, m.End+leadOut
		if i+1 < len(all) {
			m.reaches = min(m.reaches, all[i+1].Start-1)
		}
		m.topped = newest >= m.reaches || s.forced() || i+1 < len(all)
		if m.known != nil {
			m.First = min(m.First, m.known.First)
			m.reaches = max(m.reaches, m.known.Until)
		}
		for _, k := range s.state.Matches {
			if m.known == nil || k.ID != m.known.ID {
				if k.Start < m.Start {
					m.First = max(m.First, k.Until+1)
				} else {
					m.reaches = min(m.reaches, k.First-1)
				}
			}
		}
		if i > 0 {
			m.First = max(m.First, all[i-1].reaches+1)
		}
		m.Last = min(m.reaches, newest)
		s.found = append(s.found, *m)
	}
}

// touches is whether anything gathered belongs to the match.
func (s *settling) touches(m stretch) bool {
	for _, sig := range s.freshTimes() {
		for _, t := range sig {
			if m.First <= t && t <= m.Last {
				return true
			}
		}
	}
	return false
}

// lateIn is how many gathered samples lie in what an earlier seal held to be complete. A
// power-up that begins behind the match is not late.
func (s *settling) lateIn(m stretch) int {
	n := 0
	until := m.known.Last
	if !m.known.Topped || m.known.Open {
		until = m.known.End
	}
	for _, p := range s.g.boots {
		if p.boot.source == mainSource && !slices.Contains(m.known.Boots, p.boot.number) {
			continue
		}
		for i := range p.columns {
			for _, t := range p.columns[i].times {
				if m.First <= t && t < until {
					n++
				}
			}
		}
	}
	return n
}

// freshTimes are the common times of what is gathered, by column.
func (s *settling) freshTimes() [][]int64 {
	var out [][]int64
	for _, p := range s.g.boots {
		for i := range p.columns {
			out = append(out, p.columns[i].times)
		}
	}
	return out
}
