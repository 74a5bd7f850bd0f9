package collector

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
)

// publish stores a match. The times of the log are used up when it is the last one.
func (s *settling) publish(m stretch, named plannedMatch, last bool) (sealedMatch, error) {
	log := period.Cut(s.log, m.Match)
	late := 0
	seal := 1
	if m.known != nil {
		seal = m.known.Seal + 1
		late = m.known.Late + s.lateIn(m)
	}
	match := m.Match
	if m.byHand || len(m.Periods) == 0 {
		match = s.handMatch(m)
	}
	local := map[int32]int32{}
	for i, n := range named.Boots {
		if at := slices.Index(s.all, n); at >= 0 {
			local[int32(at)] = int32(i)
		}
	}
	log = own(log, named.Base, local, last)
	s.steps.done("cut")
	begin := match.Start
	match = moved(match, -named.Base)
	out := sealedMatch{
		ID: named.ID, Base: named.Base, First: m.First, Last: m.reaches, Until: m.Last, Start: m.Start, End: m.End, Manual: m.byHand,
		Open: m.open, Seal: seal, Boots: named.Boots, At: begin, Topped: m.topped, Late: late,
	}
	err := s.c.o.Store.Publish(s.c.ctx, Sealed{
		ID: named.ID, Log: log, Match: match, At: time.UnixMicro(begin).UTC(), Seal: seal, Late: late,
		Meta: s.meta(named, m), Step: s.steps.done,
	})
	if err != nil {
		return out, fmt.Errorf("%s: %w", named.ID, err)
	}
	s.c.counts.seals.Add(1)
	if seal > 1 {
		s.c.counts.reseals.Add(1)
	}
	took, parts := s.steps.told()
	s.c.log.Info("sealed", "match", named.ID.String(), "samples", log.Samples(), "seal", seal, "late", late, "ahead", s.ahead, took, parts)
	return out, nil
}

// Metadata of a match that was opened by hand: its start and end, µs of log time.
const (
	MetaStart = "match_start_us"
	MetaEnd   = "match_end_us"
)

// handMatch is a match opened by hand: its periods are what the mode says within it, else one
// driver period.
func (s *settling) handMatch(m stretch) period.Match {
	out := m.Match
	best := int64(0)
	for _, f := range s.byMode() {
		if common := min(f.End, m.End) - max(f.Start, m.Start); common > best {
			best, out = common, f
		}
	}
	if best == 0 {
		whole := []period.Span{{Mode: schemas.PeriodDriver, Start: m.Start, End: m.End}}
		out = period.Match{Start: m.Start, End: m.End, Periods: whole, Modes: whole}
		out.Notes = []string{"opened by hand, and no mode signal tells its periods: taken as one driver period"}
	}
	out.First, out.Last = m.First, m.Last
	return out
}

// own is the log in the time and with the boots of its file. Unless times are to be used up,
// it does not share them with what it was cut from.
func own(log *schemas.Log, base int64, local map[int32]int32, useUp bool) *schemas.Log {
	out := &schemas.Log{Signals: make([]*schemas.Signal, len(log.Signals))}
	spread(len(log.Signals), func(i int) {
		sig := log.Signals[i]
		c := *sig
		if !useUp {
			c.Time = make([]int64, len(sig.Time))
		}
		for j, t := range sig.Time {
			c.Time[j] = t - base
		}
		if c.Boot != nil || local[0] != 0 {
			renumber(&c, func(n int32) int32 { return local[n] })
		}
		out.Signals[i] = &c
	})
	if len(local) > 1 { // in the order of other numbers
		out.Normalize()
	}
	return out
}

// renumber changes the boots of a signal.
func renumber(s *schemas.Signal, to func(int32) int32) {
	if s.Boot == nil {
		if n := to(0); n != 0 {
			s.Boot = make([]int32, s.Len())
			for i := range s.Boot {
				s.Boot[i] = n
			}
		}
		return
	}
	boots := make([]int32, len(s.Boot))
	any := false
	for i, n := range s.Boot {
		boots[i] = to(n)
		any = any || boots[i] != 0
	}
	s.Boot = nil
	if any {
		s.Boot = boots
	}
}

// moved is a match shifted in time.
func moved(m period.Match, by int64) period.Match {
	spans := func(in []period.Span) []period.Span {
		out := slices.Clone(in)
		for i := range out {
			out[i].Start += by
			out[i].End += by
		}
		return out
	}
	m.Start, m.End, m.First, m.Last = m.Start+by, m.End+by, m.First+by, m.Last+by
	m.Periods, m.Modes = spans(m.Periods), spans(m.Modes)
	return m
}

// bootsIn are the boots with samples in the match: those of main first, then in order of
// their first sample.
func (s *settling) bootsIn(m stretch) []uint32 {
	firsts := map[int32]int64{}
	for _, sig := range s.log.Signals {
		if sig.Boot == nil {
			if i, _ := slices.BinarySearch(sig.Time, m.First); i < sig.Len() && sig.Time[i] <= m.Last {
				firsts[0] = min(cmp.Or(firsts[0], math.MaxInt64), sig.Time[i])
			}
			continue
		}
		for i, t := range sig.Time {
			if m.First <= t && t <= m.Last {
				n := sig.Boot[i]
				firsts[n] = min(cmp.Or(firsts[n], math.MaxInt64), t)
			}
		}
	}
	order := slices.SortedFunc(maps.Keys(firsts), func(a, b int32) int {
		mainFirst := func(n int32) int {
			if s.views[s.all[n]].source == mainSource {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(mainFirst(a), mainFirst(b)), cmp.Compare(firsts[a], firsts[b]), cmp.Compare(a, b))
	})
	var out []uint32
	for _, n := range order {
		out = append(out, s.all[n])
	}
	return out
}

// base is what is taken from common time for the times in the file.
func (s *settling) base(boots []uint32) int64 {
	if len(boots) == 0 {
		return 0
	}
	return s.views[boots[0]].shift
}

// meta is what is kept with the samples.
func (s *settling) meta(named plannedMatch, m stretch) map[string]string {
	c := s.c
	c.mu.Lock()
	defer c.mu.Unlock()
	var boots []clock.BootMeta
	for _, n := range named.Boots {
		b := c.bootOf(n)
		if b == nil {
			boots = append(boots, clock.BootMeta{})
			continue
		}
		meta := clock.BootMeta{Source: b.Source, Boot: b.Boot, ShiftUS: s.views[n].shift - named.Base, Collector: c.id, Run: c.wall}
		if fit, ok := b.Clock.Fit(); ok {
			offset, bound := b.Clock.BoundAt(m.Start - s.views[n].shift)
			meta.OffsetUS, meta.DriftPPM, meta.Exchanges = &offset, &fit.DriftPPM, fit.Exchanges
			if !math.IsInf(bound, 0) && !math.IsNaN(bound) {
				meta.BoundUS = &bound
			}
		}
		boots = append(boots, meta)
	}
	out := map[string]string{clock.MetaBoots: string(encode(boots))}
	if m.byHand {
		out[MetaStart] = fmt.Sprint(m.Start - named.Base)
		out[MetaEnd] = fmt.Sprint(m.End - named.Base)
	}
	return out
}

// idleLog is what is gathered up to the horizon and belongs to no match; nil when there is
// nothing.
func (s *settling) idleLog(horizon int64) *schemas.Log {
	out := &schemas.Log{}
	for _, p := range s.g.sorted() {
		keep := make([][]int, len(p.columns))
		spread(len(keep), func(i int) {
			// The columns were handed to the log, but their times are still ours: in common
			// time by now.
			c := &p.columns[i]
			if first, last := c.first+p.boot.shift, c.last+p.boot.shift; !s.within(first, last) {
				keep[i] = s.outside(c.times, horizon)
			}
		})
		for i, k := range keep {
			if len(k) > 0 {
				out.Signals = append(out.Signals, p.picked(i, k))
			}
		}
	}
	if len(out.Signals) == 0 {
		return nil
	}
	return merged(out.Signals)
}

// within is whether all times from first to last lie in one match.
func (s *settling) within(first, last int64) bool {
	return slices.ContainsFunc(s.found, func(m stretch) bool { return m.First <= first && last <= m.Last })
}

// outside are the places of the times up to the horizon that lie in no match.
func (s *settling) outside(times []int64, horizon int64) []int {
	var keep []int
	first, last := int64(math.MaxInt64), int64(math.MinInt64) // of the match the time before lay in
	for j, t := range times {
		if first <= t && t <= last || t > horizon {
			continue
		}
		at := slices.IndexFunc(s.found, func(m stretch) bool { return m.First <= t && t <= m.Last })
		if at < 0 {
			keep = append(keep, j)
			continue
		}
		first, last = s.found[at].First, s.found[at].Last
	}
	return keep
}

// picked is some samples of a column as a signal of its boot, in common time.
func (p *pile) picked(i int, keep []int) *schemas.Signal {
	part := pile{boot: p.boot, columns: make([]column, len(p.columns))}
	part.boot.shift = 0
	c, from := &part.columns[i], &p.columns[i]
	for _, j := range keep {
		c.times = append(c.times, from.times[j])
		if from.texts != nil {
			c.texts = append(c.texts, from.texts[j])
		} else {
			c.values = append(c.values, from.values[j])
		}
	}
	return part.signal(i, int32(p.boot.number))
}

// publishIdle stores samples outside any match, in the time of the first boot of main.
func (s *settling) publishIdle(log *schemas.Log, name string) error {
	whole := stretch{}
	whole.First, whole.Last, _ = log.Bounds()
	id := schemas.MatchID{Season: s.c.o.Season, Event: s.c.o.Event, Match: name, Robot: s.r.name}
	var boots []uint32
	for _, p := range s.g.sorted() {
		boots = append(boots, p.boot.number)
	}
	slices.SortStableFunc(boots, func(a, b uint32) int {
		rank := func(n uint32) int {
			if s.views[n].source == mainSource {
				return 0
			}
			return 1
		}
		return cmp.Compare(rank(a), rank(b))
	})
	base := s.views[boots[0]].shift
	local := map[int32]int32{}
	for i, n := range boots {
		local[int32(n)] = int32(i)
	}
	start := whole.First
	whole.Start, whole.End = whole.First, whole.Last
	err := s.c.o.Store.Publish(s.c.ctx, Sealed{
		ID: id, Log: own(log, base, local, true), Match: moved(whole.Match, -base), At: time.UnixMicro(start).UTC(), Seal: 1,
		Meta: s.meta(plannedMatch{Boots: boots, Base: base}, whole), Step: s.steps.done, Idle: true,
	})
	if err != nil {
		return fmt.Errorf("%s: %w", id, err)
	}
	return nil
}
