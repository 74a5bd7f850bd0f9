package collector

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
)

// Kinds of the journal's frames, besides journal.Head.
const (
	frameBoot    = 2 // boot
	frameNames   = 3 // names
	frameRows    = 4 // wire.Stored
	frameClock   = 5 // clocked
	frameMatch   = 6 // matched
	framePlan    = 7 // planned
	frameSettled = 8 // settledState
)

type (
	namesFrame struct {
		Boot    uint32       `json:"boot"`
		First   int          `json:"first"`
		Entries []wire.Entry `json:"entries"`
	}
	clockFrame struct {
		Boot     uint32         `json:"boot"`
		Exchange clock.Exchange `json:"exchange"`
	}
	matchFrame struct {
		Boot    uint32      `json:"boot"`
		Message manualMatch `json:"match"`
		State   string      `json:"state"`
		At      *int64      `json:"at,omitempty"`
		_       struct{}    // fields only
	}
	planFrame struct {
		Robot  string           `json:"robot"`
		Plan   plan             `json:"plan"`
		Shifts map[uint32]int64 `json:"shifts"` // now fixed, by boot
	}
	settledStateFrame struct {
		State    robotState `json:"state"`
		Waiting  int64      `json:"waiting"`
		Unplaced int64      `json:"unplaced"`
	}
	headFrame struct {
		Boots  []*boot     `json:"boots"`
		Robots []robotHead `json:"robots"`
	}
	robotHead struct {
		State    robotState          `json:"state"`
		Watched  map[uint32]*watched `json:"watched"`
		Arrived  int64               `json:"arrived"`
		Waiting  int64               `json:"waiting"`
		Unplaced int64               `json:"unplaced"`
		Late     int64               `json:"late"`
		LateAt   int64               `json:"late_at"`
	}
)

func encode(v any) []byte {
	data, err := json.Marshal(v)
	if err != nil { // our own types hold nothing JSON cannot
		panic(err)
	}
	return data
}

// snapshot is the state as the payload of a head. The lock is held.
func (c *Collector) snapshot() ([]byte, error) {
	var h headFrame
	for _, b := range c.boots {
		if b != nil {
			h.Boots = append(h.Boots, b)
		}
	}
	for _, r := range c.robots {
		h.Robots = append(h.Robots, r.head())
	}
	slices.SortFunc(h.Robots, func(a, b robotHead) int { return strings.Compare(a.State.Robot, b.State.Robot) })
	data, err := json.Marshal(h)
	if err != nil {
		return nil, fmt.Errorf("taking a snapshot of the collector: %w", err)
	}
	return data, nil
}

func (r *robot) head() robotHead {
	return robotHead{
		State: r.kept, Watched: r.watch.boots,
		Arrived: r.arrived, Waiting: r.waiting, Unplaced: r.unplaced, Late: r.late, LateAt: r.lateAt,
	}
}

func (r *robot) restore(h robotHead) {
	r.kept = h.State
	r.watch.boots = h.Watched
	r.arrived, r.waiting, r.unplaced, r.late, r.lateAt = h.Arrived, h.Waiting, h.Unplaced, h.Late, h.LateAt
}

// Unread are frames of the journal that were read whole but not understood: their checksum is
// right, so another version of this program wrote them. They stay in the journal, for what they
// hold was acknowledged.
type Unread struct {
	Frames int
	First  uint64 // number of the first of them
}

// replay takes one frame of the journal into the state, at the start. One it cannot make sense
// of does not stop it, for refusing to start would lose more.
func (c *Collector) replay(f journal.Frame) error {
	if !c.understood(f) {
		if c.unread.Frames++; c.unread.Frames == 1 {
			c.unread.First = f.Number
		}
	}
	return nil
}

// understood takes one frame into the state and says whether it could.
func (c *Collector) understood(f journal.Frame) bool {
	switch f.Kind {
	case journal.Head:
		h, ok := decoded[headFrame](f)
		if !ok {
			return false
		}
		// A head repeats what the frames before it said, and is all there is when those
		// are gone.
		c.boots, c.robots = nil, map[string]*robot{}
		for _, s := range h.Robots {
			c.robot(s.State.Robot).restore(s)
		}
		for _, b := range h.Boots {
			c.putBoot(b)
		}
	case frameBoot:
		b, ok := decoded[boot](f)
		if !ok {
			return false
		}
		c.putBoot(&b)
	case frameNames:
		n, ok := decoded[namesFrame](f)
		b := c.bootOf(n.Boot)
		if !ok || b == nil {
			return false
		}
		c.addSignals(b, n)
	case frameRows:
		rows, ok := wire.ParseStored(f.Payload)
		b := c.bootOf(rows.Boot)
		if !ok || b == nil {
			return false
		}
		c.took(c.robot(b.Robot), b, &rows, f.Number, len(f.Payload))
	case frameClock:
		e, ok := decoded[clockFrame](f)
		b := c.bootOf(e.Boot)
		if !ok || b == nil {
			return false
		}
		b.Clock.Add(e.Exchange)
	case frameMatch:
		m, ok := decoded[matchFrame](f)
		b := c.bootOf(m.Boot)
		if !ok || b == nil {
			return false
		}
		c.robot(b.Robot).matched(m)
	case framePlan:
		p, ok := decoded[planFrame](f)
		if !ok {
			return false
		}
		c.planned(p)
	case frameSettled:
		s, ok := decoded[settledStateFrame](f)
		if !ok {
			return false
		}
		r := c.robot(s.State.Robot)
		r.kept = s.State
		r.waiting, r.unplaced, r.late = s.Waiting, s.Unplaced, 0
		if n := len(s.State.Settled); n > 0 {
			r.watch.settledTo(s.State.Settled[n-1].Horizons)
		}
	default:
		return false
	}
	return true
}

func decoded[T any](f journal.Frame) (v T, ok bool) {
	ok = json.Unmarshal(f.Payload, &v) == nil
	return v, ok
}
