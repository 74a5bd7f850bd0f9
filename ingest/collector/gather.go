package collector

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"unsafe"

	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// gathered is a robot's samples that have no place yet, by boot, in order of arrival.
type gathered struct {
	settled []settledFrame // what has its place already
	boots   map[uint32]*pile
	seqs    map[uint32]uint64 // of each boot, its last batch taken: a frame may be written twice
	samples int
	through uint64 // number of the last frame looked at
	frames  []frameSeen
	views   map[uint32]bootView
}

// newGathered is nothing yet of what the state says has no place.
func newGathered(state robotState) *gathered {
	return &gathered{
		settled: state.Settled, boots: map[uint32]*pile{}, seqs: map[uint32]uint64{}, through: max(state.From, 1) - 1,
	}
}

// view has the boots as they are now: signals may be new, and the shift better known.
func (g *gathered) view(views map[uint32]bootView) {
	g.views = views
	for number, p := range g.boots {
		if v, ok := views[number]; ok {
			p.seeAs(v)
		}
	}
}

// frameSeen is a frame that held samples without a place.
type frameSeen struct {
	number  uint64
	boot    uint32
	newest  int64 // greatest time of its samples; robot time
	arrived int64
	bytes   int64
}

// rest is the first of the frames that hold a sample beyond the horizons, when it arrived, and
// how many bytes such frames have. Without one, it is the frame after the last one looked at.
func (g *gathered) rest(settled []settledFrame) (first uint64, arrived, bytes int64) {
	for _, f := range g.frames {
		if f.newest <= horizonOf(settled, f.number, f.boot) {
			continue
		}
		if first == 0 {
			first, arrived = f.number, f.arrived
		}
		bytes += f.bytes
	}
	if first == 0 {
		return g.through + 1, 0, 0
	}
	return first, arrived, bytes
}

// pile is the samples of one boot, by number of the signal.
type pile struct {
	boot    bootView
	columns []column
}

// column is the samples of one signal. texts holds the values of a text signal.
type column struct {
	times  []int64
	values []uint64
	texts  []string

	first, last int64 // of times, as they came: in the boot's own time
	textBytes   int64 // of texts that differ from the one before
}

// bootView is what settling needs to know of a boot, as it was when settling began.
type bootView struct {
	number  uint32
	source  string
	entries []wire.Entry
	shift   int64   // to common time
	counts  []int32 // by signal: about how many samples have no place yet
}

// gather reads the frames up to through into those that have not looked at them yet. They are
// of different robots.
func (c *Collector) gather(through uint64, into ...*gathered) error {
	first := through + 1
	of := map[uint32]*gathered{}
	for _, g := range into {
		first = min(first, g.through+1)
		for number := range g.views {
			of[number] = g
		}
	}
	if first > through {
		return nil
	}
	want := func(kind byte, head []byte) bool {
		return kind == frameRows && len(head) >= 4 && of[wire.StoredBoot(head)] != nil
	}
	err := c.journal.Read(first, through, want, func(frames []journal.Frame) error {
		batches := make([]batchRows, 0, len(frames))
		for _, f := range frames {
			rows, ok := wire.ParseStored(f.Payload)
			if !ok || rows.Samples == 0 {
				continue
			}
			g := of[rows.Boot]
			if last, again := g.seqs[rows.Boot]; f.Number <= g.through || again && rows.Seq <= last {
				continue
			}
			g.seqs[rows.Boot] = rows.Seq
			if g.boots[rows.Boot] == nil {
				g.boots[rows.Boot] = newPile(g.views[rows.Boot])
			}
			batches = append(batches, batchRows{rows, g, f.Number, len(f.Payload), horizonOf(g.settled, f.Number, rows.Boot)})
		}
		take(batches)
		return nil
	})
	if err != nil {
		return err
	}
	for _, g := range into {
		g.through = max(g.through, through)
	}
	return nil
}

// batchRows is one batch out of the journal.
type batchRows struct {
	wire.Stored
	into    *gathered
	frame   uint64
	size    int
	horizon int64
}

// workers is how many goroutines sort samples to their signals, each those of its share of
// the signals, so that none writes where another does.
const workers = 2

// take appends the samples of batches that are later than their horizons.
func take(batches []batchRows) {
	taken := make([][workers]int, len(batches))
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := range batches {
				taken[i][w] = batches[i].into.boots[batches[i].Boot].take(&batches[i], w)
			}
		})
	}
	wg.Wait()
	for i, b := range batches {
		n := 0
		for _, t := range taken[i] {
			n += t
		}
		if n > 0 {
			b.into.samples += n
			b.into.frames = append(b.into.frames, frameSeen{b.frame, b.Boot, b.Newest, b.Arrived, int64(b.size)})
		}
	}
}

// horizonOf is the time up to which samples of that boot in that frame have their place.
func horizonOf(settled []settledFrame, frame uint64, boot uint32) int64 {
	horizon := int64(math.MinInt64)
	for _, s := range settled {
		if h, ok := s.Horizons[boot]; ok && frame <= s.Through {
			horizon = max(horizon, h)
		}
	}
	return horizon
}

// newPile is an empty pile with room for what its boot is known to have sent.
func newPile(b bootView) *pile {
	p := &pile{}
	p.seeAs(b)
	for i := range p.columns {
		if i >= len(b.counts) || b.counts[i] == 0 {
			continue
		}
		p.columns[i].times = make([]int64, 0, b.counts[i])
		if b.entries[i].Kind == schemas.Text {
			p.columns[i].texts = make([]string, 0, b.counts[i])
		} else {
			p.columns[i].values = make([]uint64, 0, b.counts[i])
		}
	}
	return p
}

// seeAs has the pile as one of what its boot is now.
func (p *pile) seeAs(b bootView) {
	p.boot = b
	if n := len(b.entries) - len(p.columns); n > 0 {
		p.columns = append(p.columns, make([]column, n)...)
	}
}

// take appends the samples later than the horizon, of the signals that are worker w's, and
// returns how many they were.
func (p *pile) take(rows *batchRows, w int) int {
	taken := 0
	for i := range rows.Samples {
		n := rows.SignalAt(i)
		if int(n)%workers != w || int(n) >= len(p.columns) {
			continue
		}
		t := rows.TimeAt(i)
		if t <= rows.horizon {
			continue
		}
		c := &p.columns[n]
		if len(c.times) == 0 {
			c.first, c.last = t, t
		}
		c.first, c.last = min(c.first, t), max(c.last, t)
		c.times = append(c.times, t)
		v := rows.ValueAt(i)
		if p.boot.entries[n].Kind == schemas.Text {
			c.texts = append(c.texts, c.shared(rows.TextAt(v)))
		} else {
			c.values = append(c.values, v)
		}
		taken++
	}
	return taken
}

// shared is a text as a string, the one before where that says the same, as states do.
func (c *column) shared(text []byte) string {
	if n := len(c.texts); n > 0 && c.texts[n-1] == string(text) {
		return c.texts[n-1]
	}
	c.textBytes += int64(len(text))
	return string(text)
}

// log is the gathered samples as a log in common time. numbers is the number in the file of
// each boot. The columns are used up.
func (g *gathered) log(numbers map[uint32]int32) *schemas.Log {
	var signals []*schemas.Signal
	for _, p := range g.sorted() {
		made := make([]*schemas.Signal, len(p.columns))
		spread(len(made), func(i int) { made[i] = p.signal(i, numbers[p.boot.number]) })
		signals = append(signals, slices.DeleteFunc(made, func(s *schemas.Signal) bool { return s == nil })...)
	}
	return merged(signals)
}

// sorted are the piles in order of their boots.
func (g *gathered) sorted() []*pile {
	var out []*pile
	for _, p := range g.boots {
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b *pile) int { return cmp.Compare(a.boot.number, b.boot.number) })
	return out
}

// signal is one column as a signal; nil when it is empty.
func (p *pile) signal(i int, number int32) *schemas.Signal {
	c, e := &p.columns[i], p.boot.entries[i]
	if len(c.times) == 0 {
		return nil
	}
	s := &schemas.Signal{Name: e.Name, Unit: e.Unit, Kind: e.Kind, Time: c.times}
	if p.boot.shift != 0 {
		for j := range s.Time {
			s.Time[j] += p.boot.shift
		}
	}
	if number != 0 {
		s.Boot = make([]int32, len(c.times))
		for j := range s.Boot {
			s.Boot[j] = number
		}
	}
	switch e.Kind {
	case schemas.Float64:
		s.Float = as[float64](c.values)
	case schemas.Int64:
		s.Int = as[int64](c.values)
	case schemas.Bool:
		s.Bool = make([]bool, len(c.values))
		for j, v := range c.values {
			s.Bool[j] = v != 0
		}
	default:
		s.Text = c.texts
	}
	return s
}

// as is the same memory, whose bits mean floats or integers.
func as[T float64 | int64](values []uint64) []T {
	return unsafe.Slice((*T)(unsafe.Pointer(unsafe.SliceData(values))), len(values))
}

// merged is a log of signals of which several may have one name: samples of different boots,
// or of the store and of late batches. Of equal boot and time the later in the list wins. A
// signal that has another kind, or another unit, than the first of its name keeps its samples
// under a name that says so: nothing acknowledged is dropped, nor changed.
func merged(signals []*schemas.Signal) *schemas.Log {
	log := &schemas.Log{}
	byName := map[string]*schemas.Signal{}
	for _, s := range signals {
		into := byName[s.Name]
		if into != nil && (into.Kind != s.Kind || into.Unit != s.Unit && s.Unit != "" && into.Unit != "") {
			s.Name = otherName(s)
			into = byName[s.Name]
		}
		if into == nil {
			byName[s.Name] = s
			log.Signals = append(log.Signals, s)
			continue
		}
		join(into, s)
	}
	spread(len(log.Signals), func(i int) { log.Signals[i].Normalize() })
	slices.SortFunc(log.Signals, func(a, b *schemas.Signal) int { return strings.Compare(a.Name, b.Name) })
	return log
}

// spread calls do with 0 to n-1, some at once, and returns when all are done.
func spread(n int, do func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(n, workers) {
		wg.Go(func() {
			for i := next.Add(1) - 1; i < int64(n); i = next.Add(1) - 1 {
				do(int(i))
			}
		})
	}
	wg.Wait()
}

// otherName is the name of a signal that does not go with the one of its name.
func otherName(s *schemas.Signal) string {
	tail := "~" + s.Kind.String()
	if s.Unit != "" {
		tail += "~" + s.Unit
	}
	name := s.Name
	for len(name)+len(tail) > schemas.MaxSignalName {
		name = name[:len(name)-1]
	}
	return name + tail
}

func join(into, s *schemas.Signal) {
	if into.Unit == "" {
		into.Unit = s.Unit
	}
	if into.Boot != nil || s.Boot != nil {
		into.Boot = append(into.Boots(), s.Boots()...)
	}
	into.Time = append(into.Time, s.Time...)
	into.Float = append(into.Float, s.Float...)
	into.Int = append(into.Int, s.Int...)
	into.Bool = append(into.Bool, s.Bool...)
	into.Text = append(into.Text, s.Text...)
}

// bounds is the least and the greatest common time.
func (g *gathered) bounds() (first, last int64) {
	first, last = math.MaxInt64, math.MinInt64
	for _, p := range g.boots {
		for i := range p.columns {
			if c := &p.columns[i]; len(c.times) > 0 {
				first, last = min(first, c.first+p.boot.shift), max(last, c.last+p.boot.shift)
			}
		}
	}
	return first, last
}
