package draw

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// released is a swing that starts at rest at one degree.
func released(zeta float64) schemas.BalanceModel {
	return schemas.BalanceModel{
		AmplitudeDeg: 1 / math.Sqrt(1-zeta*zeta), PhaseRad: math.Atan2(-zeta, math.Sqrt(1-zeta*zeta)),
		WnRadS: 1, Zeta: zeta,
	}
}

// A release from rest at 1 is 1 less the unit step response, so its first peak is the
// overshoot of the step, at the time of the step's peak. Expected values computed with
// Octave 7.3.0, step() of control 3.4.0.
func TestDampedFromHasTheOvershootOfTheStep(t *testing.T) {
	for _, c := range []struct{ zeta, overshoot, at float64 }{
		{0.2, 0.526621, 3.206375}, {0.5, 0.163034, 3.627599}, {0.7, 0.045988, 4.399110},
	} {
		tilt, ok := DampedFrom(released(0.05), c.zeta)
		require.True(t, ok)
		require.InDelta(t, 1, tilt(0), 1e-12, "same tilt at the start")
		require.InDelta(t, 0, (tilt(1e-6)-tilt(-1e-6))/2e-6, 1e-6, "same rate at the start")
		require.InDelta(t, -c.overshoot, tilt(c.at), 1e-5, "damping %v", c.zeta)
		require.Greater(t, tilt(c.at-0.2), tilt(c.at))
		require.Greater(t, tilt(c.at+0.2), tilt(c.at))
	}
}

// Settling to 2 % and 5 % by the same tool: zeta 0.7 stays within 5 % after 2.89982 s.
func TestLevelAfterIsTheSettlingTime(t *testing.T) {
	tilt, ok := DampedFrom(released(0.05), 0.7)
	require.True(t, ok)
	for _, c := range []struct{ band, want float64 }{{0.05, 2.89982}, {0.02, 5.97879}} {
		b := &balance{level: c.band}
		got, ok := b.levelAfter(tilt)
		require.True(t, ok)
		require.InDelta(t, c.want, got, 0.011, "band %v", c.band)
	}
}

func TestDampedFromWithItsOwnDampingIsTheModel(t *testing.T) {
	m := schemas.BalanceModel{OffsetDeg: 0.4, AmplitudeDeg: 9, PhaseRad: 0.8, WnRadS: 2.1, Zeta: 0.06}
	tilt, ok := DampedFrom(m, m.Zeta)
	require.True(t, ok)
	wd := m.WnRadS * math.Sqrt(1-m.Zeta*m.Zeta)
	for _, at := range []float64{0, 0.3, 1, 4, 9.5} {
		want := m.OffsetDeg + m.AmplitudeDeg*math.Exp(-m.Zeta*m.WnRadS*at)*math.Cos(wd*at+m.PhaseRad)
		require.InDelta(t, want, tilt(at), 1e-9)
	}
}

func TestDampedFromRefusesWhatIsNoSwing(t *testing.T) {
	_, ok := DampedFrom(released(0.1), 1)
	require.False(t, ok)
	_, ok = DampedFrom(schemas.BalanceModel{Zeta: 1.2, WnRadS: 2}, 0.7)
	require.False(t, ok)
	_, ok = DampedFrom(schemas.BalanceModel{Zeta: 0.2}, 0.7)
	require.False(t, ok)
}
