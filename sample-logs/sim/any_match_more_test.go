package sim

import (
	"math"
	"slices"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// faulty says whether a signal cannot be true at some time, or is told wrong all match.
func (m *outside) faulty(signal string, conditions ...string) bool {
	return slices.ContainsFunc(m.Truth.Quality.Faults, func(f schemas.Fault) bool { return f.Signal == signal }) ||
		slices.ContainsFunc(conditions, func(c string) bool { return slices.Contains(m.Conditions, c) })
}

// brownouts: rows do not touch; each is deep enough, and the voltage of the log says the same
// within its noise (0.018 V usual, at most 4 times that, and steps at most ten times as wide).
func (m *outside) brownouts() {
	if m.profile.Power == nil || m.profile.Power.Brownout == nil || m.Log.Find(m.profile.Power.Voltage.Signal) == nil {
		assert.Empty(m.t, m.Truth.Brownouts, m.where)
		return
	}
	limit, before := m.profile.Power.Brownout, math.Inf(-1)
	volts, err := m.profile.Power.Voltage.Volts(m.Log)
	require.NoError(m.t, err, m.where)
	const noise = 0.4
	// One whose sensor repeats itself or comes late tells another time.
	sound := !m.faulty(m.profile.Power.Voltage.Signal, "late-device", "only-changes")
	end := func(b schemas.Brownout) float64 {
		if b.EndS == nil {
			return m.last
		}
		return *b.EndS
	}
	for i, b := range m.Truth.Brownouts {
		m.inside(b.StartS, end(b), "brownout", i)
		assert.GreaterOrEqual(m.t, b.StartS, before, "%s: brownout %d", m.where, i)
		before = end(b)
		assert.Less(m.t, b.MinV, limit.EnterV, "%s: brownout %d", m.where, i)
		assert.True(m.t, b.StartS <= b.MinAtS && b.MinAtS <= end(b), "%s: brownout %d", m.where, i)
		sum := 0.0
		for _, s := range b.Branches {
			sum += s.Share
			assert.True(m.t, 0 <= s.Share && s.Share <= 1, "%s: brownout %d", m.where, i)
		}
		if b.OtherShare != nil && *b.OtherShare > 0 {
			assert.InDelta(m.t, 1, sum+*b.OtherShare, 0.1, "%s: brownout %d", m.where, i) // what is fed back counts as none
		}
		low := math.Inf(1)
		for k, t := range volts.T {
			if s := schemas.Seconds(t); b.StartS-slack <= s && s < end(b)+slack {
				low = min(low, volts.V[k])
			}
		}
		if sound {
			assert.InDelta(m.t, b.MinV, low, noise, "%s: brownout %d", m.where, i)
		}
	}
	for k, t := range volts.T {
		s := schemas.Seconds(t)
		if !sound || volts.V[k] > limit.EnterV-noise {
			continue
		}
		in := slices.ContainsFunc(m.Truth.Brownouts, func(b schemas.Brownout) bool { return b.StartS-slack <= s && s < end(b)+slack })
		require.True(m.t, in, "%s: %g V at %g is in no brownout", m.where, volts.V[k], s)
	}
}

// cycles: those of scoring lie end to end from the start of each period to its end or, counted
// late, up to 3 s behind it; phases are parts of their cycle and make it up when all are told.
func (m *outside) cycles() {
	rows := m.Truth.Cycles
	for _, p := range m.Truth.Match.Periods {
		at, n := p.StartS, 0
		for i, c := range rows {
			if c.Kind != "score" || c.Period != p.Name || c.StartS < p.StartS-slack || c.StartS > p.EndS+slack {
				continue
			}
			n++
			assert.InDelta(m.t, at, c.StartS, slack, "%s: cycle %d of the %s period", m.where, i, p.Name)
			at = c.EndS
			if !c.Complete {
				assert.InDelta(m.t, p.EndS, c.EndS, slack, "%s: cycle %d", m.where, i)
			}
		}
		if n > 0 {
			assert.True(m.t, p.EndS-slack <= at && at <= p.EndS+3+slack, "%s: the %s period ends at %g, its cycles at %g", m.where, p.Name, p.EndS, at)
		}
	}
	for i, c := range rows {
		m.inside(c.StartS, c.EndS, "cycle", i)
		assert.InDelta(m.t, c.EndS-c.StartS, c.DurationS, 2*slack, "%s: cycle %d", m.where, i)
		assert.Equal(m.t, c.Complete, c.Pieces > 0, "%s: cycle %d", m.where, i)
		assert.False(m.t, c.Slow && (!c.Complete || c.Kind != "score"), "%s: cycle %d", m.where, i)
		assert.False(m.t, c.Why != nil && !c.Slow, "%s: cycle %d", m.where, i)
		assert.True(m.t, c.Why == nil || slices.Contains([]string{"return", "collect", "carry", "place", "jam"}, *c.Why), "%s: cycle %d", m.where, i)
		sum, told := 0.0, 0
		for _, part := range []*float64{c.Phases.ReturnS, c.Phases.CollectS, c.Phases.CarryS, c.Phases.PlaceS} {
			if part != nil {
				assert.GreaterOrEqual(m.t, *part, -slack, "%s: cycle %d", m.where, i)
				sum, told = sum+*part, told+1
			}
		}
		assert.LessOrEqual(m.t, sum, c.DurationS+4*slack, "%s: cycle %d", m.where, i)
		if told == 4 {
			assert.InDelta(m.t, c.DurationS, sum, 4*slack, "%s: cycle %d", m.where, i)
		}
	}
	for _, i := range m.Unsure["cycles"] {
		require.Less(m.t, i, len(rows), m.where)
		assert.False(m.t, rows[i].Slow, "%s: cycle %d", m.where, i)
	}
}

// balances: attempts start inside the match, one after the other, beyond mount, and end as
// their outcome says.
func (m *outside) balances() {
	before := math.Inf(-1)
	for i, b := range m.Truth.Balances {
		m.inside(b.StartS, b.EndS, "balance", i)
		assert.GreaterOrEqual(m.t, b.StartS, max(before, m.Truth.Match.StartS)-slack, "%s: balance %d", m.where, i)
		assert.LessOrEqual(m.t, b.EndS, m.Truth.Match.EndS+slack, "%s: balance %d", m.where, i)
		before = b.EndS
		limit := m.profile.Balance
		require.NotNil(m.t, limit, m.where)
		assert.True(m.t, limit.MountDeg < b.PeakDeg && b.PeakDeg < 30, "%s: balance %d peaks at %g deg", m.where, i, b.PeakDeg)
		assert.Equal(m.t, b.Outcome == schemas.BalanceLevel, b.SettleS != nil, "%s: balance %d", m.where, i)
		if b.SettleS != nil { // the hold ends at the first sample that shows it
			held := b.EndS - b.StartS - *b.SettleS
			assert.True(m.t, limit.HoldS-2*slack <= held && held < limit.HoldS+0.25, "%s: balance %d held for %g s", m.where, i, held)
		}
		m.tilted(i, b)
	}
}

// tilted looks at the tilt of the log where it is sound: in the fifth of a second from the
// start of an attempt it is near mount or beyond.
func (m *outside) tilted(i int, b schemas.Balance) {
	tilt := m.profile.Balance.Tilt
	if m.faulty(tilt.Signal, "imu-spikes", "imu-drops-out", "imu-turned-round", "imu-feels-turns", "late-device", "only-changes") {
		return
	}
	v, err := tilt.Degrees(m.Log)
	require.NoError(m.t, err, m.where)
	most, n := 0.0, 0
	for k, t := range v.T {
		if s := schemas.Seconds(t); b.StartS <= s && s < b.StartS+0.2 {
			most, n = max(most, math.Abs(v.V[k])), n+1
		}
	}
	const off = 3.5 // deg, a sensor mounted askew, with a bias and its noise
	assert.True(m.t, n == 0 || most > m.profile.Balance.MountDeg-off, "%s: balance %d starts at %g deg", m.where, i, most)
}

func (m *outside) moves() {
	before := map[string]float64{}
	for i, v := range m.Truth.Moves {
		m.inside(v.StartS, v.EndS, "move", i)
		assert.GreaterOrEqual(m.t, v.StartS, before[v.Name]-slack, "%s: move %d", m.where, i)
		before[v.Name] = v.StartS
		assert.Contains(m.t, []string{"settled", "short", "superseded"}, v.Outcome, "%s: move %d", m.where, i)
		assert.Equal(m.t, v.Outcome == "settled", v.SettleS != nil, "%s: move %d", m.where, i)
		assert.NotEqual(m.t, v.From, v.To, "%s: move %d", m.where, i)
		assert.GreaterOrEqual(m.t, v.Overshoot, 0.0, "%s: move %d", m.where, i)
		if v.SettleS != nil {
			assert.LessOrEqual(m.t, *v.SettleS, v.EndS-v.StartS+slack, "%s: move %d", m.where, i)
		}
	}
}

// gaps: where the truth says that nothing came, nothing did.
func (m *outside) gaps() {
	for i, g := range m.Truth.Quality.Gaps {
		m.inside(g.StartS, g.EndS, "gap", i)
		found := false
		for _, s := range m.Log.Signals {
			if g.Signal != "" && s.Name != g.Signal {
				continue
			}
			found = true
			for _, t := range s.Time {
				if at := schemas.Seconds(t); g.StartS+slack < at && at < g.EndS-slack {
					assert.Fail(m.t, "a sample in a gap", "%s: gap %d from %g to %g, %s at %g", m.where, i, g.StartS, g.EndS, s.Name, at)
					return
				}
			}
		}
		assert.True(m.t, found, "%s: gap %d of %q", m.where, i, g.Signal)
	}
}
