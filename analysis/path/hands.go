package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// hand is a stage that takes part in moving pieces from one beam to the next.
type hand struct {
	stage  int
	clock  *clock
	share  float64 // s of its drive that the way from beam to beam usually takes
	before float64 // s of the hand before's that it takes at least until the piece is out of that
}

// slotClock is the clock of a slot: its stage's, the last stage's as far as it is driven
// to release, and between two beams that of any stage which takes part in that hop.
func (w *way) slotClock(slot int) (*clock, []hand) {
	k, front := inFront(slot)
	switch {
	case slot >= w.wait:
		return w.releaseClock(), nil
	case front:
		return w.push[k], nil
	}
	var all []*clock
	var hands []hand
	hops := w.rawHops(k)
	for i, last := w.stages(slot); i <= last; i++ {
		c := w.drives[i].clock
		all = append(all, c)
		var share, whole []float64
		for _, h := range hops {
			share = append(share, c.onward(h.fall, h.next))
			whole = append(whole, schemas.Seconds(h.next-h.fall))
		}
		const part = 0.15 // of the way; a stage driven for less of it does not move the piece
		if d := stat.Median(share); len(hops) >= 3 && d > part*stat.Median(whole) {
			hands = append(hands, hand{stage: i, clock: c, share: d})
		}
	}
	if len(hands) > 0 {
		all = all[:0]
		for _, h := range hands {
			all = append(all, h.clock)
		}
	}
	w.handOvers(slot, hands)
	return combine(all, slices.Max[[]float64]), hands
}

// handOvers says when a piece is out of each hand at the earliest. Beams are about in the
// middle of their stages, so of m stages from beam to beam the first ends half a stage on, at
// 1/2m of the way, the second at 3/2m; a hand that is not driven all the way needs most of its
// own share. A little less will do: pieces are not all as quick.
func (w *way) handOvers(slot int, hands []hand) {
	const most, slack = 0.7, 0.9 // chosen by us
	first, last := w.stages(slot)
	whole := 0.0
	for _, h := range hands {
		whole = max(whole, h.share)
	}
	for n := 1; n < len(hands); n++ {
		end := (float64(hands[n].stage-first) - 0.5) / float64(last-first)
		hands[n].before = min(slack*end*whole, most*hands[n-1].share)
	}
}

// driven is the clock of a piece that came into a slot at a time. Between two beams it
// passes from hand to hand: once one has been driven for as long as takes the piece out of it,
// and the next for a quarter of its usual share, the piece is in that stage's hands, and when
// that one stops the piece is held, whatever the stages behind it do for the next piece. It is
// asked for again and again by the explanations of what that piece does, and remembered.
func (w *way) driven(slot int, since int64) relay {
	at := came{slot, since}
	r, known := w.relays[at]
	if !known {
		r = w.relayOf(slot, since)
		w.relays[at] = r
	}
	return r
}

// came is when a piece came into a slot.
type came struct {
	slot  int
	since int64
}

func (w *way) relayOf(slot int, since int64) relay {
	legs := relay{{math.MinInt64, w.clocks[slot]}}
	for i, h := range w.hands[slot] {
		if i == 0 {
			continue
		}
		t := max(h.clock.after(since, h.share/4), w.hands[slot][i-1].clock.after(since, h.before))
		if t >= w.in.End {
			continue
		}
		for len(legs) > 1 && legs[len(legs)-1].from >= t {
			legs = legs[:len(legs)-1]
		}
		legs = append(legs, leg{t, h.clock})
	}
	return legs
}

// hop is one way from beam to beam, straight from the readings.
type hop struct{ rise, fall, next int64 }

// rawHops pairs each block of beam k with the next block of the beam after it, without
// asking which pieces they were: right often enough for a first look at what is usual. Where
// several came to beam k before the next one saw any, only the first is taken, and not even
// that when enough came by themselves.
func (w *way) rawHops(k int) []hop {
	const (
		far    = 4_000_000 // µs; later than this it is hardly the same move
		enough = 3
	)
	var first, alone []hop
	if k+1 >= len(w.beams) {
		return nil
	}
	next, i := w.beams[k+1].sound(w.cfg), 0
	group := 0
	for _, b := range w.beams[k].sound(w.cfg) {
		was := i
		for i < len(next) && next[i].from < b.from {
			i++
		}
		if b.atStart || i == len(next) || next[i].from-b.from > far {
			continue
		}
		if group++; i != was || len(first) == 0 {
			group = 1
		}
		h := hop{rise: b.from, fall: min(b.to, next[i].from), next: next[i].from}
		switch group {
		case 1:
			first, alone = append(first, h), append(alone, h)
		case 2:
			alone = alone[:len(alone)-1]
		}
	}
	if len(alone) >= enough {
		return alone
	}
	return first
}
