package findings

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// The seconds in which nobody read the voltage are no seconds under the cut-off.
func TestSilenceIsNoBrownout(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		r.Brownouts = []schemas.Brownout{{StartS: 50, EndS: some(53.1), MinV: 6.1, UnseenS: 3}}
	})
	require.Len(t, found, 1)
	assert.Equal(t, schemas.SeverityFix, found[0].Severity, "a tenth of a second was seen")
	assert.InDelta(t, 0.1, *found[0].CostS, 1e-9)
	assert.Contains(t, found[0].Because, "longest for 0.10 s. For 3.0 s more in or just before it the voltage was not read")
}

// A connection that jumps before a battery that lacks something too: most dips have no one
// cause, and the finding names both.
func TestConnectionAndBatteryTogether(t *testing.T) {
	dip := func(cause string) schemas.Brownout {
		return schemas.Brownout{StartS: 50, EndS: some(50.1), MinV: 6.1, Cause: cause}
	}
	battery := schemas.Battery{
		ID: "B3", ResistanceOhm: some(0.06), OpenCircuitV: some(12.1), LooseLowOhm: some(0.045), LooseHighOhm: some(0.08),
	}
	found, _ := build(t, func(r *schemas.Report) {
		r.Brownouts, r.Battery = []schemas.Brownout{dip(""), dip(""), dip("weak_battery")}, battery
	})
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, "A bad connection and battery B3 together: three brownouts.", f.Title)
	assert.Contains(t, f.Because, "It jumps between 0.045 and 0.080 ohm")
	assert.Equal(t, []string{cautionLead, cautionLugs}, f.Caution)
	assert.Len(t, f.Check, 2)

	found, _ = build(t, func(r *schemas.Report) {
		r.Brownouts, r.Battery = []schemas.Brownout{dip(""), dip("bad_connection"), dip("bad_connection")}, battery
	})
	assert.Equal(t, "A bad connection between battery and robot: three brownouts.", found[0].Title)

	steady := battery
	steady.LooseLowOhm, steady.LooseHighOhm = nil, nil
	found, _ = build(t, func(r *schemas.Report) {
		r.Brownouts, r.Battery = []schemas.Brownout{dip(""), dip(""), dip("weak_battery")}, steady
	})
	assert.Equal(t, "Battery B3 is weak: three brownouts.", found[0].Title)
}

func TestBatteryWarnings(t *testing.T) {
	of := func(b schemas.Battery) []schemas.Finding {
		found, _ := build(t, func(r *schemas.Report) { r.Battery = b })
		return found
	}
	high := schemas.Battery{
		ID: "B3", ResistanceOhm: some(0.05), ResistanceLowOhm: some(0.045), ResistanceHighOhm: some(0.055),
		UsualResistanceOhm: some(0.021), LoadTestA: some(52.4),
	}
	f := of(high)
	require.Len(t, f, 1)
	assert.Equal(t, "Battery B3 or its wiring has a high resistance.", f[0].Title)
	assert.Contains(t, f[0].Because, "In its earlier matches it was 0.021 ohm. By the fit it would give 52 A for 15 s above 9.6 V")
	assert.Equal(t, 0.021, *f[0].Numbers[0].Usual)

	loose := high
	loose.LooseLowOhm, loose.LooseHighOhm = some(0.022), some(0.07)
	f = of(loose)
	require.Len(t, f, 1)
	assert.Equal(t, "The connection between battery B3 and the robot is loose.", f[0].Title)
	assert.Contains(t, f[0].Because, "jumps between 0.022 and 0.070 ohm")
	assert.Contains(t, f[0].Caution, cautionLugs)

	sound := high
	sound.ResistanceLowOhm = some(0.0374)
	assert.Empty(t, of(sound), "its low end is not high")
	assert.Empty(t, of(schemas.Battery{}), "nothing known")
}

// The voltages are those of a 12 V lead-acid battery at rest: 12.6 to 12.8 V full, about 12.2 V half, nearly empty
// below 12.0 V (common practice; handbooks, from memory).
func TestBatteriesThatWereNotCharged(t *testing.T) {
	rest := func(v float64) schemas.Battery {
		return schemas.Battery{ID: "B3", RestV: some(v), RestChargeLow: some(0), RestChargeHigh: some(0.5)}
	}
	weak := []schemas.Brownout{{StartS: 50, EndS: some(50.1), MinV: 6.1, Cause: "weak_battery"}}
	overload := []schemas.Brownout{{StartS: 50, EndS: some(50.1), MinV: 6.1, Cause: "overload"}}
	for _, c := range []struct {
		name     string
		battery  schemas.Battery
		line     *Unworked
		dips     []schemas.Brownout
		severity string // empty for no finding
		title    string
	}{
		{"full", rest(12.7), nil, nil, "", ""},
		{"half", rest(12.2), nil, nil, "", ""},
		{"under half", rest(math.Nextafter(12.2, 0)), nil, nil, "watch", "Battery B3 was about half charged."},
		{"at the edge of empty", rest(12.0), nil, nil, "watch", "Battery B3 was about half charged."},
		{"empty", rest(math.Nextafter(12.0, 0)), nil, nil, "fix", "Battery B3 was nearly empty."},
		{"of another kind", schemas.Battery{RestV: some(11.1)}, nil, nil, "", ""},
		{"low at rest, and sound as soon as it works", rest(12.1), &Unworked{12.5, 12.4, 12.6}, nil, "", ""},
		{"low at rest and in the match", rest(12.1), &Unworked{12.1, 12.05, 12.15}, nil, "watch", "Battery B3 was about half charged."},
		{"without a rest, by the load line", schemas.Battery{}, &Unworked{11.9, 11.81, math.Nextafter(12, 0)}, nil, "fix", "The battery was nearly empty."},
		{"perhaps empty by the load line", schemas.Battery{}, &Unworked{11.9, 11.8, 12}, nil, "", ""},
		{"with a surface charge", rest(12.7), &Unworked{11.7, 11.6, 11.8}, nil, "fix", "Battery B3 was nearly empty."},
		{"blamed for brownouts", rest(11.5), nil, weak, "", ""},
		{"under an overload", rest(11.5), nil, overload, "fix", "Battery B3 was nearly empty."},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := profile.Parse("robot.yaml", []byte(robot))
			require.NoError(t, err)
			r := &schemas.Report{Match: schemas.Match{StartS: 10, EndS: 150}, Battery: c.battery, Brownouts: c.dips}
			found, v := Build(Input{Report: r, Profile: p, LogEnd: 160, Unworked: c.line})
			checkForm(t, found, v)
			told := ofKind(found, "battery")
			if c.severity == "" {
				assert.Empty(t, told)
				return
			}
			require.Len(t, told, 1)
			assert.Equal(t, c.severity, told[0].Severity)
			assert.Equal(t, c.title, told[0].Title)
			assert.Equal(t, []string{cautionLead}, told[0].Caution)
			assert.NotEmpty(t, told[0].Numbers)
			assert.Equal(t, c.name == "with a surface charge", strings.Contains(told[0].Because, "surface charge"))
		})
	}
}
