package sheet

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

func TestMotorsSentence(t *testing.T) {
	motor := func(name string, stalledS ...float64) schemas.Motor {
		m := schemas.Motor{Name: name}
		if len(stalledS) > 0 {
			m.StalledS = &stalledS[0]
		}
		return m
	}
	for _, c := range []struct {
		motors []schemas.Motor
		want   string
	}{
		{[]schemas.Motor{motor("lift")}, "Whether a motor stood while driven this log does not tell."},
		{[]schemas.Motor{motor("lift", 0)}, "The one motor never stood while driven."},
		{[]schemas.Motor{motor("lift", 0), motor("gate")}, "One motor never stood while driven; of one more the log does not tell."},
		{[]schemas.Motor{motor("lift", 3), motor("gate"), motor("mouth")}, "One motor stood while driven: lift 3.0 s; of two more the log does not tell."},
		{[]schemas.Motor{motor("lift", 2)}, "The one motor stood while driven: lift 2.0 s."},
		{[]schemas.Motor{motor("lift", 0.04), motor("gate", 0)}, "None of two motors stood while driven."},
		{[]schemas.Motor{motor("gate", 1.24), motor("lift", 26.7), motor("mouth", 0)}, "Two of three motors stood while driven: lift 26.7 s and gate 1.2 s."},
		{
			[]schemas.Motor{motor("a", 1), motor("b", 2), motor("c", 3), motor("d", 4), motor("e", 5)},
			"Five of five motors stood while driven: e 5.0 s, d 4.0 s, c 3.0 s and two more.",
		},
	} {
		require.Equal(t, c.want, motorsSentence(c.motors))
	}
}

func TestMovesSentence(t *testing.T) {
	require.Equal(t, "The one move came to its target.", movesSentence(1, 0))
	require.Equal(t, "The one move fell short of its target.", movesSentence(1, 1))
	require.Equal(t, "None of 21 moves fell short of the target.", movesSentence(21, 0))
	require.Equal(t, "Two of 21 moves fell short of the target.", movesSentence(21, 2))
}

func viewOf(r *schemas.Report) *view {
	return &view{in: Input{Report: r}, scene: draw.NewScene(r, nil, nil)}
}

func TestGapsOfOneSignalAreSummedUp(t *testing.T) {
	gap := func(signal string, a, b float64) schemas.Gap { return schemas.Gap{Signal: signal, StartS: a, EndS: b} }
	for _, c := range []struct {
		gaps []schemas.Gap
		want string
	}{
		{nil, "none seen"},
		{[]schemas.Gap{gap("imu/pitch", 1, 2.5)}, "imu/pitch 1.00 to 2.50 s"},
		{[]schemas.Gap{gap("cam", 1, 2.5), gap("", 7, 8), gap("cam", 3, 4)}, "all signals 7.00 to 8.00 s; cam 2 times, 2.5 s together"},
		{
			[]schemas.Gap{gap("", 1, 2), gap("", 3, 4), gap("", 5, 6), gap("", 7, 8), gap("", 9, 10)},
			"all signals 1.00 to 2.00 s; all signals 3.00 to 4.00 s; all signals 5.00 to 6.00 s; all signals 7.00 to 8.00 s; 1 more of all signals",
		},
		{
			[]schemas.Gap{gap("a", 1, 2), gap("b", 1, 2), gap("c", 1, 2), gap("d", 1, 2), gap("e", 1, 2), gap("f", 1, 2)},
			"a 1.00 to 2.00 s; b 1.00 to 2.00 s; c 1.00 to 2.00 s; d 1.00 to 2.00 s; 2 more signals",
		},
	} {
		require.Equal(t, c.want, viewOf(&schemas.Report{Quality: schemas.Quality{Gaps: c.gaps}}).gaps())
	}
}

// Advice stands once on a sheet, with its caution: where a finding gives it the card leads there.
func TestBalanceNoteLeadsToTheFinding(t *testing.T) {
	swung := schemas.Balance{Outcome: schemas.BalanceRanOut, Overshoots: 5, Diagnosis: "proportional only", Advice: "lower the gain"}
	r := &schemas.Report{Findings: []schemas.Finding{{Check: []string{"Look."}}, {Check: []string{"Feel.", "Lower the gain."}}}}
	require.Equal(t, "Proportional only. What to change: finding 2.", viewOf(r).balanceNote(swung))
	require.Equal(t, "Proportional only. Lower the gain.", viewOf(&schemas.Report{}).balanceNote(swung))
	swung.Retune = &schemas.Retune{GainFactor: 0.5, RateFactor: 1}
	require.Equal(t, "Proportional only. What to change: finding 2.", viewOf(r).balanceNote(swung), "with the finding's cautions")
	require.Equal(t, "Proportional only. Lower the gain. "+cautionNewGains, viewOf(&schemas.Report{}).balanceNote(swung))
	require.Empty(t, viewOf(r).balanceNote(schemas.Balance{Outcome: schemas.BalanceLevel, Diagnosis: "lightly damped"}), "nothing to better")
}
