package path

import (
	"slices"

	"github.com/afterbell/afterbell/schemas/series"
)

// way is the path as the analysis sees it: the beams in order, the slots they divide it into
// (states.go), and what is known of each. Stages without a beam lie inside odd slots.
type way struct {
	cfg     Config
	in      Input
	enabled []series.Interval // when the robot is, always where the log does not tell
	drives  []*drive          // by stage
	beams   []beam
	clocks  []*clock         // by slot: how far a piece in it was driven onward or back
	hands   [][]hand         // by slot, between beams only: the stages that move a piece, in order
	relays  map[came]relay   // what driven found out
	push    []*clock         // by beam: its own stage's clock, to tell which way a piece left
	ways    [][]law          // from beam to beam: the laws of odd slots one after another
	laws    []law            // by slot; for odd ones from beam to beam, from entering to entering
	seen    [][]took         // by slot: the steps the laws rest on
	common  variety          // how much they differ from pass to pass, all slots together
	wait    int              // slot in which pieces wait to be released; -1 when it cannot be told
	last    int              // last slot
	misses  []float64        // by beam: learned chance that it does not see a piece
	bounces float64          // learned chance that a piece is out of the mouth again though driven in
	strains map[came]float64 // log-odds of a jam by what motor and driver did in a visit
	jammed  map[came]bool    // visits believed to be jams
	gone    []gone           // releases that no beam saw
	counts  bool             // pieces are counted when they leave, or when they score
	notes   []string
	falls   map[int64]bool // times at which the last beam cleared because of a release
	history *history       // of following the pieces last
	// witness, when there is one, looks on at every event: the explanations before it, and
	// all that follow from them.
	witness func(h happened, before, after []*track)
}

// gone is a piece that was counted as released although no beam saw it leave.
type gone struct {
	at   int64
	sure bool // from the release signal; a score may come from elsewhere
}

// newWay reads the signals of every stage and divides the path by its beams.
func newWay(in Input, cfg Config) *way {
	w := &way{cfg: cfg, in: in, enabled: periodsOf(in), falls: map[int64]bool{}, relays: map[came]relay{}, strains: map[came]float64{}, jammed: map[came]bool{}}
	voltage := signalOf(in.Voltage)
	for _, st := range in.Stages {
		w.drives = append(w.drives, readDrive(st, in, voltage, cfg))
	}
	borrow(w.drives)
	for i, st := range in.Stages {
		if st.Sensor != nil && len(st.Sensor.T) > 0 {
			b := watch(st.Sensor, i, in.End, cfg)
			b.dark = darkOf(b.spells, st.Sensor, in.Gaps)
			b.glitches = slices.DeleteFunc(b.glitches, func(r run) bool { return r.answered(w.drives[i]) })
			b.flicker = flickers(b.glitches, cfg)
			w.beams = append(w.beams, b)
		}
	}
	if len(w.beams) == 0 {
		return w
	}
	m := len(w.beams)
	lastStage := len(in.Stages) - 1
	w.last = slotOf(m - 1)
	w.wait = w.last + 2
	if w.beams[m-1].stage == lastStage {
		w.wait = w.last
	}
	n := 0
	if has(in.Release) {
		n = len(in.Release.Rises())
	}
	counted := n > 0 && n <= mostReleases
	if counted || w.wait > w.last && has(in.Score) {
		w.last++ // a piece past the last beam is in the path until it is counted out
		w.wait = min(w.wait, w.last)
	}
	w.counts = has(in.Release) || has(in.Score)
	w.matchReleases()
	for k := range w.beams {
		w.push = append(w.push, w.drives[w.beams[k].stage].clock)
	}
	for slot := 0; slot <= w.last; slot++ {
		c, hands := w.slotClock(slot)
		w.clocks, w.hands = append(w.clocks, c), append(w.hands, hands)
	}
	w.misses = make([]float64, m)
	for k := range w.misses {
		w.misses[k] = cfg.MissRate
	}
	w.bounces = cfg.BounceRate
	w.firstLaws()
	return w
}

// stages are the stages that may hold a piece in a slot: the beam's own, or all from one
// beam to the next.
func (w *way) stages(slot int) (first, last int) {
	k, front := inFront(slot)
	first = w.beams[k].stage
	switch {
	case front:
		return first, first
	case k+1 < len(w.beams):
		return first, w.beams[k+1].stage
	default:
		return first, len(w.in.Stages) - 1
	}
}

// span is the stages that may hold a piece during a visit: those of its slot, and where beams
// further on missed it all up to the one that saw it again.
func (w *way) span(v visit) (first, last int) {
	first, last = w.stages(v.slot)
	if _, front := inFront(v.slot); front || v.next <= v.slot+1 || v.how == lost {
		return first, last
	}
	_, last = w.stages(max(v.slot, min(v.next-1, w.last)))
	return first, last
}

// blind is whether the log has a gap between two times.
func (w *way) blind(a, b int64) bool {
	for _, g := range w.in.Gaps {
		if g.Start < b && g.End > a {
			return true
		}
	}
	return false
}

// floor keeps a time from being shorter than the log can show.
func (w *way) floor(x float64, beam int) float64 { return max(x, w.beams[beam].step/2) }
