package path

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// Nothing counts what leaves, and the gate's beam goes blind: a path that holds two pieces
// between its last beams cannot have taken in five.
func TestABlindGateThatNothingCounts(t *testing.T) {
	l := newTimeline(45, fourStages...)
	for k := range 9 {
		l.usual(2 + 4*float64(k))
	}
	l.blocked["gate"] = l.blocked["gate"][:4]
	l.lacks["release"] = true
	r := Detect(l.input(), DefaultConfig())
	assert.Empty(t, told(r.Jams))
	assert.Len(t, r.Passes, 9)
	for _, p := range r.Passes[:8] { // of the last one nothing tells
		assert.Equal(t, "released", p.Outcome, "piece %d", p.Piece)
	}
	require.Len(t, r.Faults, 1)
	assert.Equal(t, stuckFalse, r.Faults[0].Kind)
	assert.Equal(t, "gate/beam", r.Faults[0].Signal)
}

// A piece that was driven back without coming out is still there when, much later, the log has
// a gap: it does not back out unseen while nothing drives it.
func TestAGapHidesNoPieceThatIsNotDriven(t *testing.T) {
	l := newTimeline(30, fourStages...).warm()
	l.drive(13.5, 17, 0.8)
	l.block("mouth", 14, 14.25)
	l.block("throat", 14.5, 14.75)
	l.drive(17, 17.1, -0.8)
	l.drive(17.1, 19, 0.8)
	l.silent = []span{{22, 23}}
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Jams, 1, "suspected: %v", told(r.Suspected))
	assert.False(t, r.Jams[0].Cleared)
	assert.InDelta(t, 30, r.Jams[0].EndS, 0.02)
}

// Behind a blind beam a piece may have gone on unseen, but not past the next one: driven for long
// enough, it is stuck before that.
func TestABlindBeamIsNoWayOut(t *testing.T) {
	l := newTimeline(36, fourStages...)
	for k := range 7 {
		l.usual(2 + 4*float64(k))
	}
	l.blocked["throat"] = l.blocked["throat"][:4]
	l.drive(29.5, 36, 0.8)
	l.drive(33, 33.1, -0.8)
	l.block("mouth", 30, 30.25)
	l.lacks["current"], l.lacks["speed"] = true, true
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Jams, 1, "suspected: %v", told(r.Suspected))
	assert.InDelta(t, 30.5, r.Jams[0].StartS, 0.5)

	l.asked = map[string][]setting{}
	for k := range 7 {
		there := 2 + 4*float64(k) + 1.5
		l.drive(there-2, there+0.05, 0.8)
		l.drive(there+1, there+1.5, 0.8, "gate")
	}
	l.drive(29.5, 31, 0.8) // it may be past the blind beam, held on purpose
	l.drive(31, 36, 0.8, "mouth", "throat")
	r = Detect(l.input(), DefaultConfig())
	assert.Empty(t, told(r.Jams))
}

// A beam that is stuck cannot speak against a piece at which its roller stands.
func TestAStuckBeamBesideAJam(t *testing.T) {
	l := newTimeline(36, fourStages...)
	for k := range 6 {
		l.usual(2 + 4*float64(k))
	}
	l.blocked["mouth"] = append(l.blocked["mouth"][:3], span{13, 99})
	l.lacks["current"] = true
	l.drive(25.5, 30.55, 0.8)
	l.drive(28.5, 28.9, -0.8)
	l.hold("mouth", 26.05, 28.5)
	l.block("throat", 29.5, 29.75)
	l.block("lift", 30, 30.25)
	l.leave(30.5, 32)
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Jams, 1, "suspected: %v", told(r.Suspected))
	assert.Equal(t, "mouth", r.Jams[0].Stage)
	assert.InDelta(t, 26.05, r.Jams[0].StartS, 0.2)
	require.Len(t, r.Faults, 1)
	assert.Equal(t, stuckTrue, r.Faults[0].Kind)
}

// A piece ahead that only goes its way is no reason to stand, though both are through at once;
// one that stands there is.
func TestBehindAPieceThatMoves(t *testing.T) {
	w := newWay(newTimeline(20, fourStages...).warm().input(), DefaultConfig())
	w.pieces()
	between := schemas.Micros(w.laws[3].usual())
	for _, c := range []struct {
		stays int64
		stood bool
	}{{between, false}, {between + 3_000_000, true}} {
		from, to := int64(14_000_000), 14_000_000+c.stays
		leader := journey{visits: []visit{{slot: 3, from: from, to: to, next: 4, how: onward}}}
		s := stand{visit: visit{slot: 2, from: from, to: to + 20_000, next: 3, how: onward}, start: from, end: to, law: w.laws[2]}
		l, ok := w.ahead([]journey{leader, {visits: []visit{s.visit}}}, 1, &s, nil)
		assert.Equal(t, c.stood, ok)
		assert.Equal(t, c.stood, l.went)
	}
}

// A beam that goes blind early says nothing more of how long its part of the way takes, and what it
// says must not be taken for that: each piece that came in is the one that came out next.
func TestBehindABlindBeamThePieceThatComesIsTheOneThatCameIn(t *testing.T) {
	l := newTimeline(80, fourStages...)
	for k := range 8 {
		l.usual(2 + 9*float64(k))
	}
	l.blocked["throat"] = l.blocked["throat"][:1]
	w := newWay(l.input(), DefaultConfig())
	w.pieces()
	assert.InDelta(t, apart, w.laws[1].usual(), 0.1)
	assert.InDelta(t, apart, w.laws[3].usual(), 0.1)
	r := Detect(l.input(), DefaultConfig())
	assert.Empty(t, told(r.Jams))
	assert.Empty(t, told(r.Suspected))
	require.Len(t, r.Passes, 8)
	for k, p := range r.Passes {
		require.NotNil(t, p.EnterS)
		require.NotNil(t, p.LeaveS)
		assert.InDelta(t, 2+9*float64(k), *p.EnterS, 0.05)
		assert.InDelta(t, 2+9*float64(k)+3*apart+1.35, *p.LeaveS, 0.05)
	}
}

// A piece that shows at the gate before it can have come all the way was in the path when the log
// began, though a beam on the way missed it.
func TestAPieceInsideFromTheStartThatABeamMissed(t *testing.T) {
	l := newTimeline(40, fourStages...)
	l.drive(0, 0.8, 0.8)
	l.leave(0.8, 4)
	for k := range 3 {
		l.usual(10 + 8*float64(k))
	}
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Passes, 4)
	assert.Equal(t, "released", r.Passes[0].Outcome)
	assert.InDelta(t, 4.35, *r.Passes[0].LeaveS, 0.05)
	assert.Empty(t, r.Faults)
}

// A stage that jams in every third pass does not thereby become one that takes any time: all the
// other stages of this robot take about the same in every pass.
func TestAStageThatJamsOftenIsHardlyTakenForAnIrregularOne(t *testing.T) {
	w := newWay(newTimeline(20, fourStages...).warm().input(), DefaultConfig())
	w.common = variety{sigma: 0.05, n: 30}
	var seen []took
	for k, x := range []float64{1.42, 1.51, 2.22, 1.47, 1.50, 3.34, 1.53, 1.55, 2.20} {
		seen = append(seen, took{x: x, done: true, at: int64(k)})
	}
	l := w.learn(1, seen)
	assert.Less(t, l.within(in99), 2.4)
}

// A robot that was never driven moves no piece before a beam, wherever one may have been.
func TestABeamBlockedWhileNothingWasDrivenIsStuck(t *testing.T) {
	l := newTimeline(60, fourStages...)
	l.periods = []schemas.Period{{Name: "driver", StartS: 0, EndS: 60}}
	l.block("gate", 20, 40)
	r := Detect(l.input(), DefaultConfig())
	assert.Empty(t, r.Passes)
	require.Len(t, r.Faults, 1)
	assert.Equal(t, stuckTrue, r.Faults[0].Kind)
}
