package path

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A piece that hangs behind the last beam comes back when the stage is reversed, again and again: it
// is one piece, and the beams behind it missed none.
func TestAPieceThatComesBackFromBehindTheLastBeamIsNoNewOne(t *testing.T) {
	l := newTimeline(60, fourStages...).warm()
	l.lacks["release"], l.lacks["current"], l.lacks["speed"] = true, true, true
	there := l.come(14, 1)
	l.drive(18, 20, 0.8, "gate")
	l.block("gate", there, 18.3)
	for k := range 4 {
		at := 20 + 3*float64(k)
		l.drive(at, at+0.4, -0.8, "gate")
		l.block("gate", at+0.1, at+0.7) // back, and behind it again
		l.drive(at+0.5, at+3, 0.8, "gate")
	}
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Passes, 4)
	assert.Empty(t, r.Faults)
	assert.NotEmpty(t, r.Jams)
	for _, j := range r.Jams {
		assert.Equal(t, "gate", j.Stage)
		assert.Equal(t, 4, *j.Piece)
	}
}

// A piece that stops just behind the first beam and is driven out again shows at that beam once
// more: as one piece that jammed.
func TestAPieceThatJamsBehindTheMouthAndIsDrivenOutIsOne(t *testing.T) {
	l := newTimeline(40, fourStages...).warm()
	l.drive(13.5, 16.2, 0.8)
	l.block("mouth", 14, 14.25)
	l.hold("mouth", 14.3, 16.2)
	l.drive(16.2, 16.7, -0.5)
	l.block("mouth", 16.27, 16.5)
	l.usual(22)
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Jams, 1, "suspected: %v", told(r.Suspected))
	assert.InDelta(t, 14.3, r.Jams[0].StartS, 0.15)
	assert.Equal(t, "backed_out", r.Jams[0].How)
	assert.Len(t, r.Passes, 5)
	assert.Empty(t, r.Faults)
}

// Pieces that run straight through never show what a release takes. But none takes half a minute of
// what let the others out.
func TestAPieceThatStaysAtTheGateWhereOthersRanThrough(t *testing.T) {
	l := newTimeline(60, fourStages...)
	l.lacks["current"], l.lacks["speed"] = true, true
	for k := range 4 {
		at := 2 + 5*float64(k)
		for i, n := range fourStages {
			l.block(n, at+apart*float64(i), at+apart*float64(i)+dwell)
		}
		l.drive(at-0.5, at+3*apart+0.1, 0.8)
		l.out = append(l.out, at+3*apart+0.4)
	}
	for i, n := range fourStages[:3] {
		l.block(n, 25+apart*float64(i), 25+apart*float64(i)+dwell)
	}
	l.drive(24.5, 56, 0.8)
	l.block("gate", 25+3*apart, 99)
	in := l.input()
	out := Detect(in, DefaultConfig())
	require.Len(t, out.Jams, 1, "suspected: %v", told(out.Suspected))
	assert.Equal(t, "gate", out.Jams[0].Stage)
	assert.False(t, out.Jams[0].Cleared)
}

// Behind the last beam a piece has all stages up to the gate to come through before it waits.
func TestTheWayFromTheOnlyBeamToTheGateIsNoRelease(t *testing.T) {
	l := newTimeline(100, fourStages...)
	for _, n := range fourStages[1:] {
		l.lacks[n+"/beam"] = true
	}
	for k := range 10 {
		at := 2 + 9*float64(k)
		l.drive(at-0.5, at+1.8, 0.8)
		l.block("mouth", at, at+dwell)
		l.drive(at+4, at+4.3, 0.8, "gate")
		l.out = append(l.out, at+4.3)
	}
	out := Detect(l.input(), DefaultConfig())
	assert.Empty(t, told(out.Jams))
	assert.Len(t, out.Passes, 10)
}

// A motor that drags hard on a piece draws as one that is held, and turns.
func TestAMotorThatDragsIsNoMotorAtEase(t *testing.T) {
	var good []moment
	for k := range 10 {
		good = append(good, moment{amps: math.Log(5 + 0.1*float64(k)), ratio: 1 - 0.005*float64(k)})
	}
	y := newYardsticks(good)
	dragging, ok := y.weighed(moment{amps: math.Log(18), ratio: 0.45})
	require.True(t, ok)
	assert.Greater(t, dragging.jam, 3.0)
	easy, _ := y.weighed(moment{amps: math.Log(5.4), ratio: 0.98})
	assert.Less(t, easy.jam, 0.0)
}

// A piece that two rollers hold and no beam sees is one jam.
func TestTwoRollersThatHoldOnePieceAreOneJam(t *testing.T) {
	l := newTimeline(60, "mouth", "throat", "lift", "gate")
	l.lacks["throat/beam"], l.lacks["lift/beam"], l.lacks["mouth/beam"] = true, true, true
	for k := range 4 {
		l.usual(2 + 6*float64(k))
	}
	l.drive(30, 33, 0.8)
	l.hold("throat", 30.6, 32.5)
	l.hold("lift", 30.62, 32.5)
	r := Detect(l.input(), DefaultConfig())
	assert.Len(t, r.Jams, 1)
}

// A piece that was reversed on its way and went on has that much of it to go again, and was not stuck.
func TestAPieceThatWasReversedOnItsWayTakesLonger(t *testing.T) {
	const speed = 0.3
	l := newTimeline(100, fourStages...)
	l.lacks["current"], l.lacks["speed"] = true, true
	for k := range 4 {
		there := l.come(2+12*float64(k), speed)
		l.leave(there, there+2)
	}
	at := 60.0
	l.block("mouth", at, at+dwell/speed)
	l.block("throat", at+apart/speed, at+(apart+dwell)/speed)
	left := at + (apart+dwell)/speed
	l.drive(at-0.5, at+20, 0.8)
	l.drive(left+0.6, left+1.1, -0.8) // half a second back, which is to go again
	l.block("lift", at+2*apart/speed+1, at+(2*apart+dwell)/speed+1)
	l.block("gate", at+3*apart/speed+1, at+21.35)
	l.drive(at+3*apart/speed+1.05, at+21, 0, "gate")
	l.drive(at+21, at+21.5, 0.8, "gate")
	l.out = append(l.out, at+21.45)
	r := Detect(l.input(), DefaultConfig())
	require.Len(t, r.Passes, 5)
	assert.Empty(t, told(r.Jams))
}
