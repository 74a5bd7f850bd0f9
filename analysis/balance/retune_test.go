package balance

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// By hand: s³ + b s² + (k + p g lead) s + p g. Half of the rate gain takes half of p g lead away, and
// leaves p g; half of the proportional gain the other way round.
func TestEachGainHasItsOwnTerm(t *testing.T) {
	l := law{gain: 0.01, lead: 0.6}
	for _, c := range []struct {
		gains
		tilt, rate float64 // terms of command per deg and per deg/s
	}{
		{asTheyAre, 0.01, 0.006},
		{gains{0.5, 1, 0}, 0.005, 0.006},
		{gains{1, 0.5, 0}, 0.01, 0.003},
		{gains{0.5, 0.5, 0}, 0.005, 0.003},
		{gains{0.5, 1, 0.2}, 0.005, 0.007},
	} {
		now := l.with(c.gains)
		assert.InDelta(t, c.tilt, now.gain, 1e-12)
		assert.InDelta(t, c.rate, now.gain*now.lead, 1e-12)
	}
}

// drawnOf are draws of one loop on several rigs.
func drawnOf(l law, rigs ...rig) tuned {
	u := tuned{best: pairing{rigs[0], l}}
	for _, g := range rigs {
		u.draws = append(u.draws, pairing{g, l})
	}
	return u
}

// Routh's rule: s³ + b s² + k s + p is stable when b k > p: one rig of twenty that would not be
// makes a change unsafe, and a loop that is already late by as much as it may is not safe either.
func TestOneUnstableDrawForbidsAChange(t *testing.T) {
	good, bad := rig{damp: 2, stiff: 3, pull: 4, tilt: 1}, rig{damp: 2, stiff: 3, pull: 6.1, tilt: 1}
	var rigs []rig
	for range 19 {
		rigs = append(rigs, good)
	}
	assert.True(t, drawnOf(law{gain: 1}, rigs...).safe(asTheyAre))
	assert.False(t, drawnOf(law{gain: 1}, append(rigs, bad)...).safe(asTheyAre))
	assert.True(t, drawnOf(law{gain: 1}, append(rigs, bad)...).safe(gains{0.5, 1, 0}))
	assert.False(t, drawnOf(law{gain: 1, late: 0.2}, rigs...).safe(asTheyAre), "three times as late")
	assert.True(t, drawnOf(law{gain: 1, late: 0.2}, rigs...).draws[0].rig.closeLoop(law{gain: 1, late: 0.2}).stable)
}

// An attempt that came to rest says that the loop does: rigs under which it would not are left out,
// unless these are most of them.
func TestALoopThatCameToRestIsStable(t *testing.T) {
	good, bad := rig{damp: 2, stiff: 3, pull: 4, tilt: 1}, rig{damp: 2, stiff: 3, pull: 6.1, tilt: 1}
	for _, c := range []struct {
		outcome   string
		good, bad int
		left      int
	}{
		{schemas.BalanceLevel, 3, 1, 3},
		{schemas.BalanceLevel, 1, 3, 4},
		{schemas.BalanceRanOut, 3, 1, 4},
	} {
		var rigs []rig
		for range c.good {
			rigs = append(rigs, good)
		}
		for range c.bad {
			rigs = append(rigs, bad)
		}
		u := drawnOf(law{gain: 1}, rigs...)
		u.atRest(attempt{outcome: c.outcome})
		assert.Len(t, u.draws, c.left)
	}
}

// What a crew may be told to change must be gains and nothing else: an integral, a loop later than
// loops are and one that answers the rate the wrong way round are left alone; one whose command is
// noisy from run to run is not.
func TestWhatIsNoLawIsNotAdvised(t *testing.T) {
	plain := law{gain: 0.01, lead: 0.3, late: 0.04, r2: 0.97, square: 0.0025}
	for name, c := range map[string]struct {
		change  func(*law)
		remnant float64
		lawful  bool
	}{
		"plain":        {func(*law) {}, 0, true},
		"integral":     {func(l *law) { l.sums = true }, 0, false},
		"very late":    {func(l *law) { l.late = 0.2 }, 0, false},
		"wrong way":    {func(l *law) { l.lead = -0.17 }, 0, false},
		"noisy":        {func(l *law) { l.r2 = 0.8 }, 0.003, true},
		"wanders":      {func(l *law) { l.r2 = 0.8 }, 0.02, false},
		"hardly a law": {func(l *law) { l.r2 = 0.6 }, 0, false},
	} {
		l := plain
		c.change(&l)
		assert.Equal(t, c.lawful, tuned{best: pairing{law: l}, remnant: c.remnant}.lawful(), name)
	}
	// An integral looks like a rate that is answered the wrong way round, whatever is made of the rest.
	assert.False(t, tuned{lead: -0.06, best: pairing{law: plain}}.lawful())
	assert.True(t, tuned{lead: -0.04, best: pairing{law: plain}}.lawful())
}

// By hand: at 12 deg a loop of 0.01 a degree drives up by 0.12 - 12 * 0.004 = 0.072 of full command, with
// half of its gain by 0.012, and for 1.2 s it takes 6 s more; where the slope takes all of it never. A slide
// too small to be believed is taken as a usual one's.
// Two loops at their limit climb alike.
func TestLessGainClimbsSlower(t *testing.T) {
	u := tuned{limit: 0.3}
	p := pairing{rig{drivetrain: drivetrain{slide: 0.004 / surelySlides}, pull: 700}, law{gain: 0.01}}
	assert.InDelta(t, 1.2*(0.072/0.012-1), u.climbMore(p, gains{0.5, 1, 0}, ascent{lean: 1.2, over: 12}), 1e-9)
	little := pairing{rig{drivetrain: drivetrain{slide: 1e-5}, pull: 700}, law{gain: 0.01}}
	assert.InDelta(t, 1.2*((0.01-slidesAsUsual)/(0.005-slidesAsUsual)-1), u.climbMore(little, gains{0.5, 1, 0}, ascent{lean: 1.2, over: 12}), 1e-9)
	assert.True(t, math.IsInf(u.climbMore(p, gains{0.2, 1, 0}, ascent{lean: 1.2, over: 12}), 1))
	assert.Zero(t, u.climbMore(p, gains{1, 0.5, 0.3}, ascent{lean: 1.2, over: 12}), "the rate has no part in it")
	u.limit = 0.06
	assert.Zero(t, u.climbMore(p, gains{0.5, 1, 0}, ascent{lean: 1.2, over: 12}), "both are at the limit")
	assert.InDelta(t, 1.2*(0.012/0.006-1), u.climbMore(p, gains{0.45, 1, 0}, ascent{lean: 1.2, over: 12}), 1e-9)
	assert.Zero(t, u.climbMore(p, gains{0.2, 1, 0}, ascent{lean: 1.2, over: 12, asNow: true}), "driven up with the gains as they are")
}

// By hand: a drivetrain that commands up to 0.05 do not move stands at the foot of a slope of 12 deg under a
// gain of 0.004 a degree, 0.048 in all, and off level by up to 10 deg under one of 0.005, whatever the swing did.
func TestLessGainMustStillMoveTheRobot(t *testing.T) {
	u := tuned{limit: 0.3}
	p := pairing{rig{damp: 6, stiff: 4, pull: 700, tilt: 12, place: -48, drivetrain: drivetrain{slide: 1e-5}}, law{gain: 0.01}}
	half := gains{0.5, 1, 0}
	require.NotNil(t, p.rig.settles(p.law.with(half), u.limit, 2.5))
	assert.False(t, math.IsInf(u.climbMore(p, gains{0.4, 1, 0}, ascent{lean: 1.2, over: 12}), 1))
	p.rig.dead = 0.05
	assert.Nil(t, p.rig.settles(p.law.with(half), u.limit, 2.5))
	assert.True(t, math.IsInf(u.climbMore(p, gains{0.4, 1, 0}, ascent{lean: 1.2, over: 12}), 1))
	assert.False(t, math.IsInf(u.climbMore(p, half, ascent{lean: 1.2, over: 12}), 1))
}

// A change that takes longer than now, climb and all, is for a match that has the time: not where
// what it takes would have been over after the bell, or hardly before.
func TestAChangeMustBeLevelBeforeTheBell(t *testing.T) {
	p := pairing{rig{damp: 2, stiff: 3, pull: 700, tilt: 1, drivetrain: drivetrain{slide: 0.002 / surelySlides}}, law{gain: 0.01}}
	u := tuned{limit: 0.3, draws: []pairing{p}}
	less := gains{0.8, 1, 0}
	const lean, level = 1.2, 2
	up := ascent{lean: lean, over: 12}
	was, is := p.rig.settles(p.law, u.limit, level), p.rig.settles(p.law.with(less), u.limit, level)
	require.NotNil(t, was)
	require.NotNil(t, is)
	now, then := *was+lean, *is+lean+u.climbMore(p, less, up)
	require.Greater(t, then, now)
	require.Less(t, then, laterMost*now)
	for _, c := range []struct{ had, want float64 }{{20 * now, 1}, {then / beforeTheBell * 1.01, 1}, {then / beforeTheBell * 0.99, 0}, {now, 0}} {
		assert.InDelta(t, c.want, u.soonEnough(less, up, laterMost, c.had, level), 0, "%g s", c.had)
	}
	assert.InDelta(t, 1, u.soonEnough(asTheyAre, up, laterMost, now, level), 0, "what takes no longer may be late")
}

// By hand: at 3 deg, with what 2 deg more take to roll, a drivetrain that loses 0.003 to a degree needs
// more than 0.015 of full command, 0.005 a degree; a dead band of 0.02 takes more.
func TestARobotBesideLevelIsDrivenOn(t *testing.T) {
	g := rig{drivetrain: drivetrain{slide: 0.003, roll: 2}}
	assert.True(t, law{gain: -0.0051}.drivesUp(g, 3))
	assert.False(t, law{gain: 0.0049}.drivesUp(g, 3))
	g.dead = 0.02
	assert.False(t, law{gain: 0.0051}.drivesUp(g, 3))
}

// A loop with 0.6 of its gain damps well and would take seconds more up the slope: it is advised for the
// swing alone, and said so.
func TestAGainForTheSwingAlone(t *testing.T) {
	in, cfg := boardOnWheels(0.008, 0.1, 0.05, 8), DefaultConfig()
	tr := clean(in.Tilt, nil, 0, cfg)
	a := attempts(tr, in, cfg)[0]
	change := tuneTo(tr, a, in, cfg).change(a, tr, in, cfg)
	require.NotNil(t, change)
	require.Less(t, change.GainFactor, 0.8)
	assert.True(t, change.FromTip)
	assert.Zero(t, change.ClimbMoreS)
	assert.Contains(t, say(change), "from when the platform tips")
	change.FromTip = false
	assert.NotContains(t, say(change), "platform tips")
}

// By hand: 0.01 a degree with a lead of 0.2 s answers a degree a second by 0.002; half the gain and 0.9 s
// of that more on the rate by 0.002 + 0.005 * 0.9 = 0.0065, all the gain and as much by more than is ever advised.
func TestNoMoreRateThanARockingRobotBears(t *testing.T) {
	l := law{gain: -0.01, lead: 0.2}
	assert.InDelta(t, 0.002, l.rateGain(), 1e-12)
	assert.InDelta(t, 0.0065, l.with(gains{0.5, 1, 0.9}).rateGain(), 1e-12)
	assert.Greater(t, l.with(gains{1, 1, 0.9}).rateGain(), rateGainMost)
}
