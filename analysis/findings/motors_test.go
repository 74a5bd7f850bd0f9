package findings

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func stall(start, end, amps float64) schemas.Stall {
	return schemas.Stall{StartS: start, EndS: end, MeanA: amps}
}

func TestFindingsOfMotors(t *testing.T) {
	some := schemas.Some
	for _, c := range []struct {
		name     string
		motor    schemas.Motor
		severity string // empty for no finding
		title    string
	}{
		{"nothing", schemas.Motor{StalledS: some(0), TwinShare: some(0.48), TwinShareLow: some(0.46), TwinShareHigh: some(0.5)}, "", ""},
		{"stood", schemas.Motor{StalledS: some(1.2), Stalls: []schemas.Stall{stall(100, 101.2, 38)}}, "watch", "The motor lift stood for 1.2 s although driven."},
		{"stood for too short to matter", schemas.Motor{StalledS: some(0.9), Stalls: []schemas.Stall{stall(100, 100.9, 38)}}, "", ""},
		{"stood in a jam", schemas.Motor{StalledS: some(3), Stalls: []schemas.Stall{stall(60.5, 63.5, 38)}}, "", ""},
		{"too warm", schemas.Motor{Heat: some(1.0), HeatAtS: some(90), LimitA: some(20), TauS: some(60)}, "fix", "The motor lift ran hotter than its limit."},
		{"nearly", schemas.Motor{Heat: some(0.8), HeatAtS: some(90), LimitA: some(20), TauS: some(60)}, "watch", "The motor lift came to 80 % of the heat it may have."},
		{"warm", schemas.Motor{Heat: some(0.79), HeatAtS: some(90), LimitA: some(20), TauS: some(60)}, "", ""},
		{"less than its twin", schemas.Motor{Twin: "other", TwinShare: some(0.3), TwinShareLow: some(0.25), TwinShareHigh: some(0.39)}, "watch", "The motor lift does less than its twin other."},
		{"next to nothing beside its twin", schemas.Motor{Twin: "other", TwinShare: some(0.05), TwinShareLow: some(0.02), TwinShareHigh: some(0.1)}, "fix", "The motor lift does less than its twin other."},
		{"perhaps less than its twin", schemas.Motor{Twin: "other", TwinShare: some(0.3), TwinShareLow: some(0.2), TwinShareHigh: some(0.4)}, "", ""},
		{"no power", schemas.Motor{FreeA: some(2.5), Unpowered: []schemas.Stall{stall(80, 82, 0.1)}}, "fix", "The motor lift was told to run for 2.0 s and did nothing."},
		{"draws at rest", schemas.Motor{Idle: []schemas.Stall{stall(80, 83, 4)}}, "watch", "The motor lift draws current with nothing to drive."},
		{
			"more resistance",
			schemas.Motor{ResistanceOhm: some(0.45), ResistanceLowOhm: some(0.42), ResistanceHighOhm: some(0.48), UsualResistanceOhm: some(0.3), SpreadResistanceOhm: some(0.01), UsualMatches: 4},
			"watch", "The motor lift has more resistance than it had.",
		},
		{
			"more resistance, not surely",
			schemas.Motor{ResistanceOhm: some(0.45), ResistanceLowOhm: some(0.35), ResistanceHighOhm: some(0.55), UsualResistanceOhm: some(0.3), SpreadResistanceOhm: some(0.01), UsualMatches: 4},
			"", "",
		},
		{"runs hard", schemas.Motor{FreeA: some(4.6), UsualFreeA: some(2.5), SpreadFreeA: some(0.2), UsualMatches: 4}, "watch", "The motor lift takes more current to run lightly than it did."},
		{"runs a little hard", schemas.Motor{FreeA: some(3.6), UsualFreeA: some(2.5), SpreadFreeA: some(0.2), UsualMatches: 4}, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.motor.Name, c.motor.Current = "lift", "path/lift/current"
			found, _ := build(t, func(r *schemas.Report) {
				r.Motors = []schemas.Motor{c.motor}
				r.SuspectedJams = []schemas.Jam{{Stage: "lift", StartS: 60, EndS: 63, Confidence: 0.3}}
			})
			motor := ofKind(found, "motor")
			if c.severity == "" {
				assert.Empty(t, motor)
				return
			}
			require.Len(t, motor, 1)
			f := motor[0]
			assert.Equal(t, c.severity, f.Severity)
			assert.Equal(t, c.title, f.Title)
			assert.NotEmpty(t, f.Caution)
			assert.NotEmpty(t, f.Numbers)
			assert.NotEmpty(t, f.Evidence)
		})
	}
}

// A branch that draws while the robot is disabled and a motor of the same signal that draws
// at rest are one thing.
func TestADrawIsToldOnce(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		r.Motors = []schemas.Motor{{Name: "lift", Current: "path/lift/current", Idle: []schemas.Stall{stall(2, 8, 4)}}}
		r.StandbyDraws = []schemas.StandbyDraw{{Branch: "lift", Signal: "path/lift/current", StartS: 2, EndS: 8, MedianA: 4}}
	})
	require.Len(t, found, 1)
	assert.Equal(t, schemas.SeverityStop, found[0].Severity)
}

// Two motors of a pair whose constants lie apart beyond their intervals are told once, and not by
// their shares besides. By V = I R + K w, one that is geared 15 % slower takes 15 % more volts.
func TestTwinsThatAreNotGearedAlike(t *testing.T) {
	pair := func(k, half, share float64) []schemas.Motor {
		of := func(name, twin string, k, share float64) schemas.Motor {
			return schemas.Motor{
				Name: name, Current: "drive/" + name, Twin: twin,
				ConstantVS: some(k), ConstantLowVS: some(k * (1 - half)), ConstantHighVS: some(k * (1 + half)),
				TwinShare: some(share), TwinShareLow: some(share - 0.01), TwinShareHigh: some(share + 0.01),
			}
		}
		return []schemas.Motor{of("front", "rear", 0.020, share), of("rear", "front", k, 1-share)}
	}
	for _, c := range []struct {
		name   string
		motors []schemas.Motor
		titles []string
	}{
		{"alike", pair(0.0202, 0.01, 0.49), nil},
		{"geared otherwise", pair(0.023, 0.01, 0.42), []string{"The motor front turns 15 % faster for its volts than its twin rear."}},
		{"and draws much less", pair(0.023, 0.01, 0.35), []string{"The motor front turns 15 % faster for its volts than its twin rear."}},
		{"as motors of one kind differ", pair(0.0213, 0.01, 0.46), nil},
		{"perhaps", pair(0.023, 0.05, 0.42), nil},
		{"one that does next to nothing", pair(0.029, 0.01, 0.98), []string{"The motor rear does less than its twin front."}},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, _ := build(t, func(r *schemas.Report) { r.Motors = c.motors })
			var titles []string
			for _, f := range found {
				titles = append(titles, f.Title)
			}
			assert.Equal(t, c.titles, titles)
		})
	}
	unknown := pair(0.023, 0.01, 0.45)
	unknown[1].ConstantVS, unknown[1].ConstantLowVS, unknown[1].ConstantHighVS = nil, nil, nil
	found, _ := build(t, func(r *schemas.Report) { r.Motors = unknown })
	assert.Empty(t, found)
}
