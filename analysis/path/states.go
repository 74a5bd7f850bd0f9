package path

import (
	"encoding/binary"
	"slices"
)

// The states of the tracker: what may be true of the path at one time.
//
// Beams divide the path into slots: slot 2k is in front of beam k, slot 2k+1 the stretch from
// there to the next beam, in which nothing sees a piece. A piece is always in one slot, and
// outside before the first and beyond the last. Pieces keep their order. So the state is the
// list of pieces from the gate to the mouth, each with its slot and since when it is there
// (how long it has been there decides how likely its next move is), and for every beam whose
// piece blocks it, if any, and whether it has just overlooked one.
//
// What leads from one state to the next is in model.go, how likely that is in likelihoods.go,
// and the search for the likeliest history in track.go.

// slotOf is the slot in front of beam k.
func slotOf(beam int) int { return 2 * beam }

// inFront is whether a slot is in front of a beam, and of which.
func inFront(slot int) (beam int, ok bool) { return slot / 2, slot%2 == 0 }

// piece is a piece inside the path, in one explanation.
type piece struct {
	id     int
	slot   int
	since  int64   // when it came into the slot
	beam   int     // the beam it was at last, -1 none
	rise   int64   // when it came to that beam
	fall   int64   // when that beam cleared; rise until it did
	onward bool    // it came into its slot from behind, so the whole of it lay ahead
	back   bool    // it came back from behind the last beam once
	paid   float64 // odds of the time it took in front of its last beam, to be given back if it never left
}

// step is one move of one piece in an explanation, linked to the one before.
type step struct {
	before *step
	id     int // piece; -1 when a block was explained by nothing
	slot   int // slot it came into
	at     int64
	move   move
	blk    int // block of the beam that showed it, -1 none
	missed bool
	birth  float64 // of a piece seen for the first time: log odds of its coming there
}

type move uint8

const (
	born     move = iota // seen for the first time
	onward               // to a slot further on
	back                 // to a slot before
	outGate              // released
	outMouth             // backed out at the start of the path
	takenOut             // gone from where it was, not driven
	lost                 // gone without a trace when a later piece passed
	nothing              // no piece: the sensor
	overhang             // a beam stayed blocked after its piece had gone on
)

// track is one explanation of everything up to now.
type track struct {
	odds    float64 // logarithm of its probability, up to a constant
	pieces  []piece // furthest on first
	owner   []int   // by beam: id of the piece that blocks it, -1 none
	blind   []bool  // by beam: it missed the last piece that passed, without excuse
	next    int     // id of the next piece to come
	lastOut int64   // when a piece left at the gate last
	gone    *piece  // that piece, nil for none or when it was seen again
	steps   *step

	from *track   // the explanation it came from
	also []*track // others that came to the same state, less likely ones
	// Logarithms of the probability of all histories that lead here, and of all that follow,
	// and the probability of being here: see doubt.go.
	before, after, sure float64

	spare *spares
}

// spares are explanations that were dropped, to be used again.
type spares struct{ all []*track }

func (s *spares) take() *track {
	if s == nil || len(s.all) == 0 {
		r := &roomy{}
		r.pieces, r.owner, r.blind = r.somePieces[:0], r.someOwners[:0], r.someBlind[:0]
		return &r.track
	}
	last := len(s.all) - 1
	t := s.all[last]
	s.all = s.all[:last]
	return t
}

// roomy is a track with room for what one usually holds, so that a copy is one allocation at
// most: most copies are dropped with the event they were made for.
type roomy struct {
	track
	somePieces [4]piece
	someOwners [8]int
	someBlind  [8]bool
}

func (t *track) clone(cost float64) *track {
	n := t.spare.take()
	pieces, owner, blind := n.pieces[:0], n.owner[:0], n.blind[:0]
	*n = *t
	n.odds += cost
	n.from, n.also = nil, nil
	n.pieces, n.owner, n.blind = append(pieces, t.pieces...), append(owner, t.owner...), append(blind, t.blind...)
	return n
}

func (t *track) log(s step) {
	s.before = t.steps
	t.steps = &s
}

// state appends to b what the future of an explanation depends on. When the last piece left is
// not in it: that matters for the next moment only.
func (t *track) state(b []byte) []byte {
	for _, p := range t.pieces {
		b = binary.AppendVarint(b, int64(p.slot))
		b = binary.AppendVarint(b, p.since)
		b = binary.AppendVarint(b, p.rise)
		b = binary.AppendVarint(b, p.fall)
		b = binary.AppendVarint(b, int64(p.beam))
		if p.onward {
			b = append(b, 'o')
		}
	}
	for k, id := range t.owner {
		if t.blind[k] {
			b = append(b, 'b')
		}
		b = binary.AppendVarint(b, int64(slices.IndexFunc(t.pieces, func(p piece) bool { return p.id == id })))
		if id < 0 {
			b = append(b, 'n')
		}
	}
	return b
}
