package collector

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
)

// settling is one look at a robot's samples that have no place yet.
//
// All boots of the robot are put on one common time, which is the collector's by the best fit
// of each boot's clock. The shift of a boot is a whole number of microseconds and the same for
// all its samples, so that no two samples can fall together; what its clock drifts within a
// match is in the bound that is stored beside it. Matches are found in common time, and
// stored in that of the first boot of main.
type settling struct {
	c     *Collector
	r     *robot
	why   due
	state robotState
	views map[uint32]bootView

	g       *gathered
	all     []uint32     // boots of log, by their number in it
	log     *schemas.Log // of what is gathered and of the stored matches it may belong to
	loaded  []sealedMatch
	first   int64 // of what is gathered, in common time
	last    int64
	found   []stretch // matches, in order of time, that can be stored now
	running *stretch  // one that goes on
	manual  int       // of state.Manual are done with
}

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

// settleOnce gives the robot's samples their places as far as that can be told now.
func (c *Collector) settleOnce(r *robot, why due) error {
	r.one.Lock()
	defer r.one.Unlock()
	s := settling{c: c, r: r, why: why}
	if err := s.gather(); err != nil {
		return err
	}
	if s.g.samples == 0 {
		return s.finish(nil, math.MinInt64)
	}
	if err := s.load(); err != nil {
		return err
	}
	s.find()
	horizon := s.horizon()
	stored, err := s.store(horizon)
	if err != nil {
		return err
	}
	return s.finish(stored, horizon)
}

// gather takes a view of the robot as it is now, and reads what has no place.
func (s *settling) gather() error {
	c := s.c
	c.mu.Lock()
	s.state = cloneState(s.r.kept)
	s.views = c.views(s.r)
	through := c.journal.Last()
	if s.why == dueSilence && c.now()-s.r.arrived <= silence {
		s.why = dueEnded // it came back meanwhile
	}
	c.mu.Unlock()
	if c.flush() != nil {
		through, _ = c.journal.Durable()
	}
	var err error
	if s.g, err = c.gather(s.state, s.views, through); err != nil {
		return err
	}
	s.first, s.last = s.g.bounds()
	return nil
}

// forced is whether what runs is taken as ended.
func (s *settling) forced() bool { return s.why == dueSilence || s.why == dueAsked }

// flush waits for the disk, but not for one that fails.
func (c *Collector) flush() error {
	ctx, cancel := context.WithTimeout(c.ctx, 5*time.Second)
	defer cancel()
	if err := c.journal.Trouble(); err != nil {
		return err
	}
	return c.journal.Flush(ctx.Done())
}

func cloneState(s robotState) robotState {
	var out robotState
	if err := json.Unmarshal(encode(s), &out); err != nil { // our own bytes
		panic(err)
	}
	return out
}

// views are the robot's boots with their shifts. Boots of one source follow one another: a
// robot does not send before it starts, whatever the fits say. The lock is held.
func (c *Collector) views(r *robot) map[uint32]bootView {
	out := map[uint32]bootView{}
	ends := map[string]int64{}
	for _, b := range c.boots {
		if b == nil || b.Robot != r.name {
			continue
		}
		v := bootView{number: b.Number, source: b.Source, entries: slices.Clone(b.Entries), shift: b.provisional(), counts: slices.Clone(b.counts)}
		if end, ok := ends[b.Source]; ok && b.Shift == nil && b.Any && b.Oldest+v.shift <= end {
			v.shift = end + 1 - b.Oldest
		}
		out[b.Number] = v
		if b.Any {
			ends[b.Source] = max(ends[b.Source], b.Newest+v.shift)
		}
	}
	return out
}

// load reads the stored matches that what is gathered may belong to, and makes one log of all.
func (s *settling) load() error {
	var signals []*schemas.Signal
	boots := map[uint32]bool{}
	for n := range s.g.boots {
		boots[n] = true
	}
	for _, m := range s.state.Matches {
		until := m.Last
		if m.Open {
			until += silence
		}
		if s.first > until || s.last < m.First || m.Seal == 0 {
			continue
		}
		s.loaded = append(s.loaded, m)
		for _, n := range m.Boots {
			boots[n] = true
		}
	}
	s.all = slices.Sorted(maps.Keys(boots))
	numbers := map[uint32]int32{}
	for i, n := range s.all {
		numbers[n] = int32(i)
	}
	for _, m := range s.loaded {
		log, _, err := s.c.o.Store.Load(m.ID)
		if err != nil {
			return fmt.Errorf("reading %s, to add samples to it: %w", m.ID, err)
		}
		if log == nil {
			continue // someone removed it; what is gathered is stored anew
		}
		for _, sig := range log.Signals {
			renumber(sig, func(n int32) int32 { return numbers[m.Boots[min(int(n), len(m.Boots)-1)]] })
			for i := range sig.Time {
				sig.Time[i] += m.Base
			}
		}
		signals = append(signals, log.Signals...)
	}
	fresh := s.g.log(numbers)
	s.log = fresh
	if len(signals) > 0 {
		s.log = merged(append(signals, fresh.Signals...))
	}
	return nil
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

// horizon is the common time up to which everything gets its place now.
func (s *settling) horizon() int64 {
	horizon := int64(math.MinInt64)
	for _, m := range s.found {
		horizon = max(horizon, m.Last)
	}
	switch s.why {
	case dueIdle:
		horizon = max(horizon, s.last-leadIn-second)
	case dueSilence, dueAsked:
		horizon = max(horizon, s.last)
	}
	if s.running != nil {
		horizon = min(horizon, s.running.First-1)
	}
	return horizon
}

// store names what was found, writes the names down, and publishes it. It returns the
// matches as they are now stored.
func (s *settling) store(horizon int64) ([]sealedMatch, error) {
	idle := s.idleLog(horizon)
	plans, shifts := s.plan(idle != nil)
	c := s.c
	c.mu.Lock()
	f := planFrame{Robot: s.r.name, Plan: plans, Shifts: shifts}
	_, err := c.journal.Append(framePlan, encode(f))
	if err == nil {
		c.planned(f)
	}
	c.mu.Unlock()
	if err != nil {
		return nil, err
	}
	if err := c.flush(); err != nil {
		return nil, err
	}
	var out []sealedMatch
	for i, m := range s.found {
		if m.known != nil && !s.touches(m) {
			kept := *m.known
			kept.Topped = kept.Topped || m.topped
			out = append(out, kept)
			continue
		}
		sealed, err := s.publish(m, plans.Matches[i])
		if err != nil {
			return nil, err
		}
		out = append(out, sealed)
	}
	if idle != nil {
		if err := s.publishIdle(idle, plans.Idle); err != nil {
			return nil, err
		}
	}
	return out, nil
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

// plan names the matches, or gives them the names that a settle before a crash gave.
func (s *settling) plan(idle bool) (plan, map[uint32]int64) {
	var p plan
	shifts := map[uint32]int64{}
	c := s.c
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, m := range s.found {
		boots := s.bootsIn(m)
		named := plannedMatch{Start: m.Start, Boots: boots, Base: s.base(m, boots)}
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
			p.Idle = c.nextName(c.o.Event, "idle-%d")
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
func (s *settling) base(_ stretch, boots []uint32) int64 {
	if len(boots) == 0 {
		return 0
	}
	return s.views[boots[0]].shift
}

// publish stores a match.
func (s *settling) publish(m stretch, named plannedMatch) (sealedMatch, error) {
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
	log = own(log, named.Base, local)
	begin := match.Start
	match = moved(match, -named.Base)
	out := sealedMatch{
		ID: named.ID, Base: named.Base, First: m.First, Last: m.reaches, Until: m.Last, Start: m.Start, End: m.End, Manual: m.byHand,
		Open: m.open, Seal: seal, Boots: named.Boots, At: begin, Topped: m.topped, Late: late,
	}
	err := s.c.o.Store.Publish(s.c.ctx, Sealed{
		ID: named.ID, Log: log, Match: match, At: time.UnixMicro(begin).UTC(), Seal: seal, Late: late,
		Meta: s.meta(named, m),
	})
	if err != nil {
		return out, fmt.Errorf("%s: %w", named.ID, err)
	}
	s.c.counts.seals.Add(1)
	if seal > 1 {
		s.c.counts.reseals.Add(1)
	}
	s.c.log.Info("sealed", "match", named.ID.String(), "samples", log.Samples(), "seal", seal, "late", late)
	return out, nil
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

// own is the log in the time and with the boots of its file. It does not share times with
// what it was cut from.
func own(log *schemas.Log, base int64, local map[int32]int32) *schemas.Log {
	out := &schemas.Log{Signals: make([]*schemas.Signal, len(log.Signals))}
	for i, sig := range log.Signals {
		c := *sig
		c.Time = make([]int64, len(sig.Time))
		for j, t := range sig.Time {
			c.Time[j] = t - base
		}
		if c.Boot != nil || local[0] != 0 {
			renumber(&c, func(n int32) int32 { return local[n] })
		}
		out.Signals[i] = &c
	}
	if len(local) > 1 { // in the order of other numbers
		out.Normalize()
	}
	return out
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

// BootMeta is what is stored of a boot with the samples, as JSON under the key "boots".
type BootMeta struct {
	Source    string   `json:"source"`
	Boot      string   `json:"boot"`
	ShiftUS   int64    `json:"shift_us"`  // added to the boot's own time for the times of the file
	OffsetUS  *float64 `json:"offset_us"` // collector less robot at the match's start, by the clock fit
	DriftPPM  *float64 `json:"drift_ppm"`
	BoundUS   *float64 `json:"bound_us"` // the offset is right to within this; null when only arrivals tell it
	Exchanges int      `json:"exchanges"`
}

// meta is what is kept with the samples.
func (s *settling) meta(named plannedMatch, m stretch) map[string]string {
	c := s.c
	c.mu.Lock()
	defer c.mu.Unlock()
	var boots []BootMeta
	for _, n := range named.Boots {
		b := c.bootOf(n)
		if b == nil {
			boots = append(boots, BootMeta{})
			continue
		}
		meta := BootMeta{Source: b.Source, Boot: b.Boot, ShiftUS: s.views[n].shift - named.Base}
		if fit, ok := b.Clock.Fit(); ok {
			offset, bound := b.Clock.BoundAt(m.Start - s.views[n].shift)
			meta.OffsetUS, meta.DriftPPM, meta.Exchanges = &offset, &fit.DriftPPM, fit.Exchanges
			if !math.IsInf(bound, 0) && !math.IsNaN(bound) {
				meta.BoundUS = &bound
			}
		}
		boots = append(boots, meta)
	}
	out := map[string]string{"boots": string(encode(boots))}
	if m.byHand {
		out["match_start_us"] = fmt.Sprint(m.Start - named.Base)
		out["match_end_us"] = fmt.Sprint(m.End - named.Base)
	}
	return out
}

// idleLog is what is gathered up to the horizon and belongs to no match; nil when there is
// nothing.
func (s *settling) idleLog(horizon int64) *schemas.Log {
	out := &schemas.Log{}
	for _, p := range s.g.sorted() {
		for i := range p.columns {
			// The columns were handed to the log, but their times are still ours: in common
			// time by now.
			if keep := s.outside(p.columns[i].times, horizon); len(keep) > 0 {
				out.Signals = append(out.Signals, p.picked(i, keep))
			}
		}
	}
	if len(out.Signals) == 0 {
		return nil
	}
	return merged(out.Signals)
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
		ID: id, Log: own(log, base, local), Match: moved(whole.Match, -base), At: time.UnixMicro(start).UTC(), Seal: 1,
		Meta: s.meta(plannedMatch{Boots: boots, Base: base}, whole), Idle: true,
	})
	if err != nil {
		return fmt.Errorf("%s: %w", id, err)
	}
	return nil
}

// finish writes down what has its place now, and drops what the journal need not keep.
func (s *settling) finish(stored []sealedMatch, horizon int64) error {
	c, r := s.c, s.r
	c.mu.Lock()
	k := &r.kept
	k.Planned = nil
	k.Manual = slices.Delete(k.Manual, 0, min(s.manual, len(k.Manual)))
	for _, m := range stored {
		at := slices.IndexFunc(k.Matches, func(o sealedMatch) bool { return o.ID == m.ID })
		if at >= 0 {
			k.Matches[at] = m
		} else {
			k.Matches = append(k.Matches, m)
		}
	}
	slices.SortFunc(k.Matches, func(a, b sealedMatch) int { return cmp.Compare(a.Start, b.Start) })
	if horizon > math.MinInt64 {
		f := settledFrame{Through: s.g.through, Horizons: s.horizonsAt(horizon)}
		k.Settled = append(k.Settled, f)
		r.watch.settledTo(f.Horizons)
		r.watch.look(c.shiftOf)
	}
	if horizon > math.MinInt64 {
		for n := range s.views {
			clear(c.bootOf(n).counts) // about: what stays behind is not counted
		}
	}
	from, arrived, bytes := s.g.rest(k.Settled)
	k.From = from
	if n := len(k.Settled); n > 0 { // the newest stays: late is told by it
		newest := k.Settled[n-1]
		k.Settled = slices.DeleteFunc(k.Settled[:n-1], func(f settledFrame) bool { return f.Through < from })
		k.Settled = append(k.Settled, newest)
	}
	k.forgetOld(c.now())
	r.waiting, r.unplaced, r.late = arrived, bytes, 0
	if r.newest > s.g.through && r.waiting == 0 {
		r.waiting = c.now() // what came meanwhile
	}
	if len(stored) > 0 {
		r.volts.lowestSet = false // the next match has its own
	} else {
		r.retryAt = c.now() + lateWait // nothing could be told yet
	}
	_, err := c.journal.Append(frameSettled, encode(settledStateFrame{*k, r.waiting, r.unplaced}))
	c.forgetBoots()
	if err == nil {
		err = c.rotate()
	}
	oldest := c.oldest()
	c.mu.Unlock()
	if err != nil {
		return err
	}
	if err := c.flush(); err != nil {
		return err
	}
	if _, err := c.journal.DropBefore(oldest); err != nil {
		c.log.Warn("an old file of the journal cannot be removed", "err", err)
	}
	return nil
}

func (s *settling) horizonsAt(horizon int64) map[uint32]int64 {
	out := map[uint32]int64{}
	for n, v := range s.views {
		out[n] = horizon - v.shift
	}
	return out
}

// remembered is how long matches, and what a boot has sent, are remembered.
const remembered = 7 * 24 * 3600 * second

func (k *robotState) forgetOld(now int64) {
	k.Matches = slices.DeleteFunc(k.Matches, func(m sealedMatch) bool { return m.Topped && now-m.At > remembered })
}

// forgetBoots forgets boots that were not heard of for long. The lock is held.
func (c *Collector) forgetBoots() {
	for i, b := range c.boots {
		if b == nil || b.owner != nil || c.now()-b.Seen <= remembered {
			continue
		}
		if r := c.robots[b.Robot]; r == nil || r.waiting == 0 {
			c.boots[i] = nil
		}
	}
}

// oldest is the number of the first frame that any robot still needs. The lock is held.
func (c *Collector) oldest() uint64 {
	oldest := uint64(math.MaxUint64)
	for _, r := range c.robots {
		if r.kept.From > 0 {
			oldest = min(oldest, r.kept.From)
		}
	}
	return oldest
}

// nameFor is the name of a new match. Robots that play together get one name: matches that
// begin within sameMatch of one another are one. given are those named in the same settle:
// they are in no store yet. The lock is held.
func (c *Collector) nameFor(r *robot, m stretch, given []plannedMatch) schemas.MatchID {
	inUse := func(id schemas.MatchID) bool {
		same := func(p plannedMatch) bool { return p.ID == id }
		return slices.ContainsFunc(given, same) || slices.ContainsFunc(r.named(), same) || c.stored(id)
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
		for _, o := range other.named() {
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

// named are the robot's matches that have a name, stored or about to be.
func (r *robot) named() []plannedMatch {
	var out []plannedMatch
	for _, m := range r.kept.Matches {
		out = append(out, plannedMatch{ID: m.ID, Start: m.Start})
	}
	if r.kept.Planned != nil {
		out = append(out, r.kept.Planned.Matches...)
	}
	return out
}

// sameMatch is how far apart the starts of one match may be for two robots: their clocks and
// radios differ by less, and matches are minutes apart.
const sameMatch = 10 * second

func abs(v int64) int64 { return max(v, -v) }

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
