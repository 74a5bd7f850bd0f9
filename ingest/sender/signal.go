package sender

import (
	"context"
	"fmt"
	"math"
	"sync/atomic"
	"unicode/utf8"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// Signal is one thing that is measured. Its methods may be called from several goroutines.
type Signal struct {
	s      *Sender
	name   string
	number uint32
	kind   schemas.Kind
	err    error // why nothing of it can be sent
	warned atomic.Bool
}

// Signal is the signal of that name, made at the first call; a unit may ride on the name in
// brackets, as in "power/voltage [V]". Call it once for each signal, at the start, and not in
// the loop. A name or kind that cannot be is logged, told by Err, and its samples are counted
// as Stats.Unfit: a robot must not stop for that.
func (s *Sender) Signal(name string, kind schemas.Kind) *Signal {
	s.mu.Lock()
	defer s.mu.Unlock()
	if g := s.signals[name]; g != nil && g.kind == kind {
		return g
	}
	number, fault := s.spool.name(name, kind)
	g := &Signal{s: s, name: name, number: number, kind: kind}
	if fault != nil {
		g.err = fault
		s.log.Error("a signal cannot be sent", "why", fault.Text)
		return g
	}
	s.signals[name] = g
	return g
}

// Err is why nothing of this signal can be sent, or nil.
func (g *Signal) Err() error { return g.err }

// Record takes a sample of a float64 signal at a time of the robot's clock. NaN means that
// there was no reading. It never waits.
func (g *Signal) Record(timeUS int64, v float64) {
	g.put(timeUS, schemas.Float64, math.Float64bits(v), false)
}

// RecordInt takes a sample of an int64 signal.
func (g *Signal) RecordInt(timeUS, v int64) { g.put(timeUS, schemas.Int64, uint64(v), false) }

// RecordBool takes a sample of a bool signal.
func (g *Signal) RecordBool(timeUS int64, v bool) { g.put(timeUS, schemas.Bool, bit(v), false) }

// RecordText takes a sample of a text signal: UTF-8 up to 64 KiB, which is copied.
func (g *Signal) RecordText(timeUS int64, v string) { g.putText(timeUS, v, false) }

// Put is Record for a program that has time: it waits until there is room, so that nothing is
// dropped and nothing lost from the spool. It returns the error of ctx when that ends first,
// and why a sample cannot be sent at all.
func (g *Signal) Put(ctx context.Context, timeUS int64, v float64) error {
	return g.wait(ctx, schemas.Float64, func() outcome { return g.put(timeUS, schemas.Float64, math.Float64bits(v), true) })
}

// PutInt is RecordInt that waits.
func (g *Signal) PutInt(ctx context.Context, timeUS, v int64) error {
	return g.wait(ctx, schemas.Int64, func() outcome { return g.put(timeUS, schemas.Int64, uint64(v), true) })
}

// PutBool is RecordBool that waits.
func (g *Signal) PutBool(ctx context.Context, timeUS int64, v bool) error {
	return g.wait(ctx, schemas.Bool, func() outcome { return g.put(timeUS, schemas.Bool, bit(v), true) })
}

// PutText is RecordText that waits.
func (g *Signal) PutText(ctx context.Context, timeUS int64, v string) error {
	return g.wait(ctx, schemas.Text, func() outcome { return g.putText(timeUS, v, true) })
}

func (g *Signal) put(t int64, kind schemas.Kind, value uint64, waits bool) outcome {
	if kind != g.kind || g.err != nil || t > cell.MaxTime || t < -cell.MaxTime {
		return g.misfit(kind)
	}
	o := g.s.ring.put(g.number, t, value, waits)
	if o >= takenHalf {
		g.s.kickCutter()
	}
	return o
}

func (g *Signal) putText(t int64, v string, waits bool) outcome {
	if g.kind != schemas.Text || g.err != nil || t > cell.MaxTime || t < -cell.MaxTime || len(v) > wire.MaxText || !utf8.ValidString(v) {
		return g.misfit(schemas.Text)
	}
	o := g.s.ring.putText(g.number, t, v, waits)
	if o >= takenHalf {
		g.s.kickCutter()
	}
	return o
}

// misfit counts a sample that cannot be sent, and says so the first time.
func (g *Signal) misfit(kind schemas.Kind) outcome {
	g.s.ring.misfit()
	if g.err == nil && g.warned.CompareAndSwap(false, true) {
		select {
		case g.s.misfits <- g.unfit(kind):
		default: // enough was said
		}
	}
	return refused
}

func (g *Signal) unfit(kind schemas.Kind) error {
	switch {
	case g.err != nil:
		return g.err
	case kind != g.kind:
		return fmt.Errorf("signal %q is %s, not %s", g.name, g.kind, kind)
	default:
		return fmt.Errorf("signal %q: a time beyond 9e12 s, or a text that is longer than there is room for or no UTF-8", g.name)
	}
}

// wait tries until there is room.
func (g *Signal) wait(ctx context.Context, kind schemas.Kind, try func() outcome) error {
	for {
		changed := g.s.spool.changed()
		if !g.s.spool.tight.Load() {
			switch try() {
			case taken, takenHalf:
				return nil
			case refused:
				if g.s.ring.isClosed() {
					return ErrClosed
				}
				return g.unfit(kind)
			}
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func bit(v bool) uint64 {
	if v {
		return 1
	}
	return 0
}
