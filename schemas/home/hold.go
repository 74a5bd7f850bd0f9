package home

import (
	"errors"

	"github.com/afterbell/afterbell/schemas"
)

// Hold is the right to write for a moment: the lock this Home holds already, or one taken
// for as long as anybody here holds it. It waits a little for another process that is about
// to give the lock back; the error is a *LockedError when that keeps it. The function it
// returns gives the right back, and must be called once.
func (h *Home) Hold() (release func() error, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var own *Lock
	if h.lock == nil {
		if own, err = h.lockSoon(); err != nil {
			return nil, err
		}
		h.momentary = own
	}
	h.holders++
	return h.releaseHold, nil
}

// releaseHold gives the lock back when the last who held it for a moment is done.
func (h *Home) releaseHold() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.holders == 0 {
		return errors.New("the data folder was not held")
	}
	h.holders--
	if h.holders > 0 || h.momentary == nil {
		return nil
	}
	lock := h.momentary
	h.momentary = nil
	return lock.give()
}

// Rewrite keeps out others of this process who read a match to write it anew, so that what one
// of them put there meanwhile is not lost to the other. The function it returns lets them in.
func (h *Home) Rewrite(id schemas.MatchID) (done func()) {
	turn := make(chan struct{})
	for {
		before, busy := h.rewrites.LoadOrStore(id, turn)
		if !busy {
			break
		}
		<-before.(chan struct{})
	}
	return func() {
		h.rewrites.Delete(id)
		close(turn)
	}
}
