package sheet

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

var loaves = names{"loaf", "loaves", "peel"}

func ptr[T any](v T) *T { return &v }

func passes(outcomes ...string) []schemas.Pass {
	var out []schemas.Pass
	for i, o := range outcomes {
		out = append(out, schemas.Pass{Piece: i + 1, Outcome: o})
	}
	return out
}

func TestPathSentence(t *testing.T) {
	const r, b, j, h = schemas.PassReleased, schemas.PassBackedOut, schemas.PassJammed, schemas.PassHeld
	for _, c := range []struct {
		passes []schemas.Pass
		jams   []schemas.Jam
		want   string
	}{
		{nil, nil, "No loaf entered the path."},
		{passes(r), nil, "The one loaf went straight through."},
		{passes(j), []schemas.Jam{{Stage: "lift", Piece: ptr(1)}}, "The one loaf did not go straight through. One stood in the lift."},
		{passes(r, r, r), nil, "All three loaves went straight through."},
		{passes(r, r, j, j), []schemas.Jam{{Stage: "lift", Piece: ptr(3)}, {Stage: "lift", Piece: ptr(4)}}, "Two of four loaves went straight through. Two stood in the lift."},
		{passes(r, r, j, j), []schemas.Jam{{Stage: "lift", Piece: ptr(3)}, {Stage: "throat", Piece: ptr(4)}}, "Two of four loaves went straight through. One stood in the lift and one in the throat."},
		{passes(r, r, b, h), nil, "Two of four loaves went straight through. One backed out. One is still held."},
		// A piece that stood and then went on did not go straight through.
		{passes(r, r), []schemas.Jam{{Stage: "gate", Piece: ptr(2), Cleared: true}}, "One of two loaves went straight through. One stood in the gate."},
	} {
		require.Equal(t, c.want, pathSentence(&schemas.Report{Passes: c.passes, Jams: c.jams}, loaves))
	}
}

func TestPowerSentence(t *testing.T) {
	cut := &profile.Profile{Power: &profile.Power{Brownout: &profile.BrownoutLimit{EnterV: 6.8, LeaveV: 7.4}}}
	for _, c := range []struct {
		battery   schemas.Battery
		brownouts int
		profile   *profile.Profile
		want      string
	}{
		{schemas.Battery{ID: "B3", BrownoutA: ptr(143.0), PeakA: ptr(150.0)}, 2, cut, "B3 browns out above 143 A, and this robot asked for 150 A."},
		{schemas.Battery{BrownoutA: ptr(290.0), PeakA: ptr(128.0)}, 0, cut, "The battery would brown out at 290 A. The most asked for was 128 A."},
		{schemas.Battery{LowestV: ptr(6.5)}, 2, cut, "The supply fell under the cut-off twice."},
		{schemas.Battery{LowestV: ptr(8.99)}, 0, cut, "The supply never came within 2.1 V of the cut-off."},
		{schemas.Battery{LowestV: ptr(8.99)}, 0, nil, "The lowest voltage was 8.99 V."},
		{schemas.Battery{LowestV: ptr(6.8)}, 0, cut, "The lowest voltage was 6.80 V, at the cut-off."},
		{schemas.Battery{}, 0, cut, "The lowest voltage is unknown."},
	} {
		r := &schemas.Report{Battery: c.battery, Brownouts: make([]schemas.Brownout, c.brownouts)}
		require.Equal(t, c.want, powerSentence(draw.NewScene(r, c.profile, nil)))
	}
}

func TestBalanceSentence(t *testing.T) {
	for _, c := range []struct {
		b    schemas.Balance
		want string
	}{
		{schemas.Balance{Outcome: "level", SettleS: ptr(4.1)}, "The peel came level in 4.1 s without swinging past."},
		{schemas.Balance{Outcome: "level", SettleS: ptr(4.1), Overshoots: 1, NaturalHz: ptr(0.34)}, "The peel swung past level once and came level in 4.1 s."},
		{schemas.Balance{Outcome: "ran_out", Overshoots: 11, NaturalHz: ptr(0.34)}, "The peel swung past level eleven times at 0.34 Hz and was still not level at the end."},
		{schemas.Balance{Outcome: "ran_out", StartS: 1, EndS: 4.5}, "The peel was not level at the end, after 3.5 s."},
		{schemas.Balance{Outcome: "left", StartS: 1, EndS: 7.2}, "The robot drove off the peel after 6.2 s."},
	} {
		require.Equal(t, c.want, balanceSentence(c.b, loaves))
	}
}

func TestCyclesSentence(t *testing.T) {
	cycle := func(d float64, why string) schemas.Cycle {
		c := schemas.Cycle{Kind: "score", Pieces: 1, Period: "driver", DurationS: d, Complete: true}
		if why != "" {
			c.Slow = true
			if why != "?" {
				c.Why = &why
			}
		}
		return c
	}
	usual := schemas.Usual{CycleS: ptr(10.4), Source: "matches"}
	for _, c := range []struct {
		cycles []schemas.Cycle
		usual  schemas.Usual
		want   string
	}{
		{nil, usual, "No cycle was completed."},
		{[]schemas.Cycle{{Kind: "score", DurationS: 30}, {Kind: "handover", Complete: true}}, usual, "No cycle was completed."},
		{[]schemas.Cycle{cycle(10, ""), cycle(11, "")}, usual, "No cycle was slow. The median was 10.5 s, usual 10.4 s."},
		{[]schemas.Cycle{cycle(10, ""), cycle(11, "")}, schemas.Usual{CycleS: ptr(10.2), Source: "this match"}, "No cycle was slow. The median was 10.5 s; no earlier match says what is usual."},
		{[]schemas.Cycle{cycle(10, ""), cycle(11, "")}, schemas.Usual{}, "Two whole cycles, too few to call one slow."},
		{[]schemas.Cycle{cycle(10, ""), cycle(22, "jam"), cycle(17, "collect")}, usual, "Two slow cycles, two causes: one jam on the way and one slow pick-up."},
		{[]schemas.Cycle{cycle(10, ""), cycle(22, "?")}, usual, "One slow cycle, without a cause seen."},
		{[]schemas.Cycle{cycle(10, ""), cycle(22, "jam")}, usual, "One slow cycle: jam on the way."},
		{[]schemas.Cycle{cycle(17, "collect"), cycle(18, "collect")}, usual, "Two slow cycles: slow pick-ups."},
		{[]schemas.Cycle{cycle(17, "?"), cycle(18, "?")}, usual, "Two slow cycles, none with a cause seen."},
		{[]schemas.Cycle{cycle(17, "carry"), cycle(18, "?")}, usual, "Two slow cycles: one slow carry and one without a cause seen."},
	} {
		require.Equal(t, c.want, cyclesSentence(&schemas.Report{Cycles: c.cycles, Usual: c.usual}))
	}
}

func TestAutonomousSentence(t *testing.T) {
	require.Equal(t, "One loaf scored in autonomous; it ended 0.34 m from its usual end.",
		autonomousSentence(schemas.Autonomous{Pieces: ptr(1), EndErrorM: ptr(0.34)}, loaves))
	require.Equal(t, "No loaves scored in autonomous.", autonomousSentence(schemas.Autonomous{Pieces: ptr(0)}, loaves))
	require.Equal(t, "What autonomous scored is unknown.", autonomousSentence(schemas.Autonomous{}, loaves))
}

func TestNumbers(t *testing.T) {
	require.Equal(t, "−0.25", number(-0.25, 2))
	require.Equal(t, "0.0", number(-0.01, 1))
	require.Equal(t, "6.8", short(6.80, 2))
	require.Equal(t, "150", short(150, 2))
	require.Equal(t, "1e+300", number(1e300, 1))
	require.Equal(t, "1\u00a0284\u00a0310", grouped(1284310))
	require.Equal(t, "999", grouped(999))
	require.Equal(t, "a, b and c", listed([]string{"a", "b", "c"}))
}

func TestGlue(t *testing.T) {
	require.Equal(t, "lost 23.4\u00a0s at 0.34\u00a0Hz, 12\u00a0% of 3 stages", Glue("lost 23.4 s at 0.34 Hz, 12 % of 3 stages"))
	require.Equal(t, "0.039\u00a0Ω; 5 sparks", Glue("0.039 Ω; 5 sparks"))
}

func TestWhen(t *testing.T) {
	m := fixture.Busy()
	s := draw.NewScene(m.Report, m.Profile, m.Log)
	span := func(a, b float64) schemas.Span { return schemas.Span{StartS: a + 30, EndS: b + 30} }
	require.Equal(t, "71.9 s", when(s, []schemas.Span{span(71.86, 71.94)}))
	require.Equal(t, "1.0 to 2.0 s, 120.3 s to the bell", when(s, []schemas.Span{span(1, 2), span(120.3, 140)}))
	require.Equal(t, "1.0 to 2.0 s, 3.0 to 4.0 s, 5.0 to 6.0 s, 2 more",
		when(s, []schemas.Span{span(1, 2), span(3, 4), span(5, 6), span(7, 8), span(9, 10)}))
	stopped := fixture.Stopped()
	s = draw.NewScene(stopped.Report, stopped.Profile, stopped.Log)
	require.Equal(t, "90.0 s to the end of the log", when(s, []schemas.Span{span(90, 96.4)}))
}

func TestDampingIsToldWithItsInterval(t *testing.T) {
	b := schemas.Balance{DampingRatio: ptr(0.234)}
	require.Equal(t, "0.23", dampingWords(b))
	b.DampingLow, b.DampingHigh = ptr(0.15), ptr(0.31)
	require.Equal(t, "0.23 (0.15 to 0.31)", dampingWords(b))
}
