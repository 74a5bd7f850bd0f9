package collector

import (
	"math"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Time limits of the watch, in microseconds.
const (
	second     = int64(1e6)
	endsAfter  = 5 * second  // of disabled, behind a driver period
	pauseAfter = 10 * second // of disabled, behind an autonomous period
	leadIn     = 30 * second // what a match keeps of the time before it
	leadOut    = 10 * second
	silence    = 60 * second // ends a match
	lateWait   = 2 * second  // late batches tend to come many at once
	lateMost   = 10 * second
	failedWait = 5 * second   // before a failed settle is tried again
	idleMost   = 600 * second // idle samples wait no longer for a match
	idleBytes  = 64 << 20
)

// watch follows the few signals that open and close a match, of a robot that is being
// collected. It decides nothing but when to look. Its samples are kept in the time of their
// boots and brought to common time at each look: while a robot catches up after a loss of
// radio, the clock fit improves with every batch.
type watch struct {
	mode  *profile.Mode
	boots map[uint32]*watched

	newest   int64  // common time of the newest sample, at the last look
	Open     bool   // a match is running
	Start    int64  // common time
	Period   string // disabled, autonomous, driver
	Complete bool   // the match that was running has ended
}

// watched is what is followed of one boot, in its own time.
type watched struct {
	Log     schemas.Log `json:"log"`
	Newest  int64       `json:"newest"`
	Horizon int64       `json:"horizon"` // what lies up to here is in the store
	looked  int64       // Newest at the last look
}

// passing is the signal that says that time passes while no mode is sent.
const passing = "\x00passing"

func modeOf(p *profile.Profile) *profile.Mode {
	if p == nil {
		return nil
	}
	return p.Mode
}

// markWatched notes which of a boot's signals the watch looks at.
func (r *robot) markWatched(b *boot) {
	for i := len(b.watched); i < len(b.Entries); i++ {
		name := b.Entries[i].Name
		watched := false
		if m := r.watch.mode; m != nil {
			for _, ref := range []*profile.Ref{m.Signal, m.Enabled, m.Autonomous} {
				watched = watched || ref != nil && ref.Signal == name
			}
		}
		b.watched = append(b.watched, watched)
		b.mapped = append(b.mapped, r.lately.Index(name))
	}
}

// see takes in a batch, and says whether enough time has passed for another look.
func (w *watch) see(b *boot, rows *wire.Stored) bool {
	at := w.boots[b.Number]
	if at == nil {
		if w.boots == nil {
			w.boots = map[uint32]*watched{}
		}
		at = &watched{Newest: rows.Newest, Horizon: math.MinInt64, looked: math.MinInt64}
		w.boots[b.Number] = at
	}
	at.Newest = max(at.Newest, rows.Newest)
	for i := range rows.Samples {
		n := rows.SignalAt(i)
		if int(n) < len(b.watched) && b.watched[n] && rows.TimeAt(i) > at.Horizon {
			at.add(b.Entries[n], rows, i)
		}
	}
	return at.looked == math.MinInt64 || at.Newest-at.looked >= second/4
}

func (w *watched) add(e wire.Entry, rows *wire.Stored, i int) {
	v := rows.ValueAt(i)
	if e.Kind == schemas.Float64 && !finite(math.Float64frombits(v)) {
		return // no mode, and nothing JSON can hold
	}
	s := w.signal(e.Name, e.Kind)
	s.Time = append(s.Time, rows.TimeAt(i))
	switch s.Kind {
	case schemas.Float64:
		s.Float = append(s.Float, math.Float64frombits(v))
	case schemas.Int64:
		s.Int = append(s.Int, int64(v))
	case schemas.Bool:
		s.Bool = append(s.Bool, v != 0)
	default:
		s.Text = append(s.Text, string(rows.TextAt(v)))
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// signal is the watched signal of that name, of which a boot has one kind.
func (w *watched) signal(name string, kind schemas.Kind) *schemas.Signal {
	for _, s := range w.Log.Signals {
		if s.Name == name {
			return s
		}
	}
	s := &schemas.Signal{Name: name, Kind: kind}
	w.Log.Signals = append(w.Log.Signals, s)
	return s
}

// look finds out whether a match runs or has ended. shift brings a boot's time to common time.
func (w *watch) look(shift func(boot uint32) int64) {
	w.Open, w.Complete, w.Period = false, false, schemas.ModeDisabled
	log, any := w.common(shift)
	if w.mode == nil || !any {
		return
	}
	matches, err := period.Find(w.mode, log)
	if err != nil || len(matches) == 0 || len(matches[0].Periods) == 0 {
		for _, at := range w.boots {
			at.forget(at.Newest - 2*leadIn)
		}
		return
	}
	m := matches[len(matches)-1]
	last := m.Periods[len(m.Periods)-1]
	w.Start = m.Start
	w.Complete = len(matches) > 1 || ended(m, w.newest)
	w.Open = !ended(m, w.newest)
	if last.End >= w.newest {
		w.Period = last.Mode
	}
}

// common is what is watched of all boots as one log in common time, with a signal that says
// that time passes; any is whether there is more than that.
func (w *watch) common(shift func(boot uint32) int64) (log *schemas.Log, any bool) {
	var signals []*schemas.Signal
	w.newest = math.MinInt64
	for number, at := range w.boots {
		by := shift(number)
		at.looked = at.Newest
		w.newest = max(w.newest, at.Newest+by)
		for _, s := range at.Log.Signals {
			if s.Len() == 0 {
				continue
			}
			any = true
			c := s.Slice(0, s.Len())
			c.Time = make([]int64, s.Len())
			for i, t := range s.Time {
				c.Time[i] = t + by
			}
			signals = append(signals, c)
		}
	}
	clock := &schemas.Signal{Name: passing, Kind: schemas.Bool, Time: []int64{w.newest}, Bool: []bool{true}}
	return merged(append(signals, clock)), any
}

// ended is whether a match that was the last in a log of that newest time is over.
func ended(m period.Match, newest int64) bool {
	last := m.Periods[len(m.Periods)-1]
	if last.Mode == schemas.PeriodAutonomous {
		return newest-m.End > pauseAfter
	}
	return newest-m.End >= endsAfter
}

// forget drops what lies before a time, but for the value held then.
func (w *watched) forget(before int64) {
	for i, s := range w.Log.Signals {
		n := 0
		for n+1 < s.Len() && s.Time[n+1] <= before {
			n++
		}
		if n > 0 {
			w.Log.Signals[i] = s.Slice(n, s.Len())
		}
	}
}

// settledTo tells the watch what is in the store, by boot.
func (w *watch) settledTo(horizons map[uint32]int64) {
	for number, horizon := range horizons {
		at := w.boots[number]
		if at == nil {
			continue
		}
		at.Horizon = max(at.Horizon, horizon)
		for i, s := range at.Log.Signals {
			keep := []int{}
			for j, t := range s.Time {
				if t > at.Horizon {
					keep = append(keep, j)
				}
			}
			if n := len(keep); n < s.Len() {
				first := s.Len() - n // in order, as they came
				if n > 0 {
					first = keep[0]
				}
				at.Log.Signals[i] = s.Slice(first, s.Len())
			}
		}
	}
}

// due says why it is time to settle a robot.
type due uint8

const (
	nothingDue due = iota
	dueEnded       // a match has ended
	dueTopUp       // what follows a match is there
	dueLate        // samples came whose place others have
	dueSilence     // a match runs, and nothing comes
	dueIdle        // idle samples have waited long enough
	dueAsked       // somebody wants it now
)

// due says whether it is time to settle the robot.
func (r *robot) due(now int64, pressure bool) due {
	if r.settling || now < r.retryAt || r.waiting == 0 {
		return nothingDue
	}
	quiet := now - r.arrived
	running := r.watch.Open || r.manualOpen()
	switch {
	case r.watch.Complete || r.manualEnded() || r.kept.Planned != nil:
		return dueEnded
	case r.late > 0 && (now-r.lateAt > lateWait || now-r.late > lateMost):
		return dueLate
	case r.toTop() && (r.watch.newest >= r.lastMatch().Last || quiet > leadOut):
		return dueTopUp
	case running && quiet > silence:
		return dueSilence
	case !running && (now-r.waiting > idleMost || r.unplaced > idleBytes || pressure && now-r.waiting > 2*leadIn):
		return dueIdle
	default:
		return nothingDue
	}
}

func (r *robot) lastMatch() *sealedMatch {
	if n := len(r.kept.Matches); n > 0 {
		return &r.kept.Matches[n-1]
	}
	return nil
}

// toTop is whether the newest sealed match lacks what follows it.
func (r *robot) toTop() bool {
	m := r.lastMatch()
	return m != nil && !m.Topped
}

func (r *robot) manualOpen() bool {
	n := len(r.kept.Manual)
	return n > 0 && !r.kept.Manual[n-1].Ended
}

func (r *robot) manualEnded() bool {
	for _, m := range r.kept.Manual {
		if m.Ended {
			return true
		}
	}
	return false
}

// matched takes a message about a match. Repeating the state in force changes nothing. The
// lock is held.
func (r *robot) matched(f matchFrame) {
	if f.State == "end" {
		if r.manualOpen() {
			m := &r.kept.Manual[len(r.kept.Manual)-1]
			m.Ended, m.End = true, f.At
		}
		return
	}
	if r.manualOpen() {
		m := &r.kept.Manual[len(r.kept.Manual)-1]
		if m.Event == f.Message.Event && m.Match == f.Message.Match {
			return
		}
		m.Ended, m.End = true, f.At // the next match begins
	}
	m := f.Message
	m.Boot, m.Start = f.Boot, f.At
	r.kept.Manual = append(r.kept.Manual, m)
}

// openedBySample gives a match that was opened before there was any sample the time of the
// first one that follows. The lock is held.
func (r *robot) openedBySample(b *boot, rows *wire.Stored) {
	for i := range r.kept.Manual {
		m := &r.kept.Manual[i]
		if m.Start == nil && m.Boot == b.Number {
			first := rows.TimeAt(0)
			for j := range rows.Samples {
				first = min(first, rows.TimeAt(j))
			}
			m.Start = &first
		}
	}
}
