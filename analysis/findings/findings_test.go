package findings

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

const robot = `
profile: 1
robot: heron
game: {name: Bakehouse Relay, autonomous_s: 20, driver_s: 120, endgame_s: 25, words: {piece: loaf, pieces: loaves, platform: peel}}
mode: {signal: robot/mode}
power: {voltage: power/voltage, current: power/current, brownout: {enter_v: 6.8, leave_v: 7.4}}
path:
  stages:
    - {name: mouth, sensor: path/mouth/beam, command: path/mouth/command}
    - {name: lift, command: path/lift/command, current: path/lift/current}
    - {name: gate, sensor: path/gate/beam, command: path/gate/command}
cycles: {score: game/score}
balance: {tilt: imu/pitch, drive: drive/command}
moves:
  - {name: arm, position: arm/position, target: arm/target, within: 0.02}
`

// build gives the findings of a match from 10 to 150 s of log time with these facts.
func build(t *testing.T, fill func(*schemas.Report)) ([]schemas.Finding, schemas.Verdict) {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte(robot))
	require.NoError(t, err)
	r := &schemas.Report{Match: schemas.Match{
		StartS: 10, EndS: 150,
		Periods: []schemas.Period{{Name: "autonomous", StartS: 10, EndS: 30}, {Name: "driver", StartS: 30, EndS: 150}},
		Game:    schemas.Game{Piece: "loaf", Pieces: "loaves", Platform: "peel"},
	}}
	for _, n := range []string{"path", "power", "cycles", "balance", "moves", "autonomous", "quality"} {
		r.Analyses = append(r.Analyses, schemas.Analysis{Name: n, Ran: true})
	}
	fill(r)
	f, v := Build(Input{Report: r, Profile: p, LogEnd: 160})
	checkForm(t, f, v)
	return f, v
}

// checkForm holds for every finding whatever its kind: ids are unique and of their form,
// worst comes first, a check that sends hands has a caution, words keep the house's voice.
func checkForm(t *testing.T, found []schemas.Finding, v schemas.Verdict) {
	t.Helper()
	ids := map[string]bool{}
	form := regexp.MustCompile(`^[a-z_]+-[a-z0-9_]+-\d+$`)
	voice := regexp.MustCompile(`!|\b(OK|healthy|passed inspection)\b`)
	for i, f := range found {
		assert.Regexp(t, form, f.ID)
		assert.False(t, ids[f.ID], "id %s twice", f.ID)
		ids[f.ID] = true
		assert.NotEmpty(t, f.Short)
		assert.NotEmpty(t, f.Check, f.ID)
		assert.True(t, strings.HasSuffix(f.Title, "."), f.Title)
		assert.True(t, f.Confidence > 0 && f.Confidence < 1, f.ID)
		assert.LessOrEqual(t, f.StartS, f.EndS)
		for _, text := range append([]string{f.Title, f.Because}, f.Check...) {
			assert.NotRegexp(t, voice, text)
		}
		for _, c := range f.Check {
			if strings.Contains(c, "by hand") || strings.Contains(c, "Swap") {
				assert.NotEmpty(t, f.Caution, f.ID)
			}
		}
		if i > 0 {
			assert.LessOrEqual(t, schemas.SeverityRank(found[i-1].Severity), schemas.SeverityRank(f.Severity))
		}
	}
	if len(found) > 0 {
		assert.Equal(t, found[0].Severity, v.Severity)
	}
}

// ofKind are the findings of one kind, in their order.
func ofKind(found []schemas.Finding, kind string) (out []schemas.Finding) {
	for _, f := range found {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

func some(v float64) *float64 { return &v }

func TestNothingFoundSaysHowMuchWasLookedAt(t *testing.T) {
	found, v := build(t, func(r *schemas.Report) { r.Analyses[0].Ran = false })
	assert.Empty(t, found)
	assert.Equal(t, schemas.SeverityNone, v.Severity)
	assert.Equal(t, "Nothing found by 6 of 7 analyses.", v.Text)
	assert.Contains(t, v.Detail, "Not looked at, for want of signals: path.")
	assert.Contains(t, v.Detail, "This does not say that the robot is fit.")
}

func TestAPieceStillInsideStopsTheRobot(t *testing.T) {
	jammed := "jam"
	found, v := build(t, func(r *schemas.Report) {
		r.Jams = []schemas.Jam{
			{Stage: "lift", StartS: 62.6, EndS: 74.4, Cleared: true, How: "backed_out", Confidence: 0.95, StillS: some(63.3), PeakA: some(36), CostS: some(11.6)},
			{Stage: "lift", StartS: 130.3, EndS: 160, Confidence: 0.9, CostS: some(19.7)},
		}
		r.Cycles = []schemas.Cycle{{Kind: "score", Period: "driver", StartS: 57, EndS: 79, DurationS: 22, Complete: true, Slow: true, Why: &jammed, ExcessS: some(11.6)}}
		r.Brownouts = []schemas.Brownout{{StartS: 81.9, EndS: some(81.98), MinV: 6.52, Cause: "weak_battery"}}
		r.Battery.ID = "B3"
	})
	require.Len(t, found, 2)
	assert.Equal(t, "A loaf is still stuck in the lift, and battery B3 is browning out.", v.Text)
	jam := found[0]
	assert.Equal(t, schemas.SeverityStop, jam.Severity)
	assert.Equal(t, "The lift jammed twice and still holds a loaf.", jam.Title)
	assert.Contains(t, jam.Because, "A loaf stopped at 52.6 s and stood 11.8 s until 64.4 s, when it backed out. The roller stood still 0.70 s later, at 36 A.")
	assert.InDelta(t, 11.6+19.7, *jam.CostS, 1e-9, "what both cost")
	assert.Equal(t, "Take out the loaf now standing in the lift.", jam.Check[0])
	assert.Contains(t, jam.Because, "Where in the lift is unknown: there is no beam.")
	assert.Contains(t, jam.Caution[0], "robot disabled, main breaker off")
	assert.Len(t, jam.Evidence, 4, "current and command, for both jams")
	assert.Equal(t, schemas.SeverityFix, found[1].Severity)
	assert.Contains(t, found[1].Caution[0], "sealed lead-acid")
}

func TestSeverityOfJams(t *testing.T) {
	for _, c := range []struct {
		name string
		jams []schemas.Jam
		want string
		text string
	}{
		{"short and single", []schemas.Jam{{Stage: "gate", StartS: 50, EndS: 50.6, Cleared: true, Confidence: 0.8}}, "watch", "One jam in the gate, since cleared."},
		{"cleared after a while", []schemas.Jam{{Stage: "gate", StartS: 50, EndS: 52, Cleared: true, Confidence: 0.8}}, "fix", "One jam in the gate, since cleared."},
		{"two", []schemas.Jam{{Stage: "gate", StartS: 50, EndS: 50.5, Cleared: true, Confidence: 0.8}, {Stage: "gate", StartS: 60, EndS: 60.4, Cleared: true, Confidence: 0.9}}, "fix", "Two jams in the gate, both cleared."},
		{"in the end not cleared", []schemas.Jam{{Stage: "gate", StartS: 50, EndS: 50.5, Cleared: true, Confidence: 0.8}, {Stage: "gate", StartS: 60, EndS: 160, Confidence: 0.9}}, "stop", "A loaf is still stuck in the gate."},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, v := build(t, func(r *schemas.Report) { r.Jams = c.jams })
			require.Len(t, found, 1)
			assert.Equal(t, c.want, found[0].Severity)
			assert.Equal(t, c.text, v.Text)
		})
	}
}

func TestSuspectedJamsAreAQuestion(t *testing.T) {
	found, v := build(t, func(r *schemas.Report) {
		r.SuspectedJams = []schemas.Jam{{Stage: "gate", StartS: 50, EndS: 51, Cleared: true, Confidence: 0.3}}
	})
	require.Len(t, found, 1)
	assert.Equal(t, schemas.SeverityWatch, found[0].Severity)
	assert.Equal(t, "A loaf may have stood in the gate.", v.Text)
}

func TestBrownouts(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		r.Brownouts = []schemas.Brownout{
			{StartS: 51.2, EndS: some(51.8), MinV: 5.94, Branches: []schemas.Share{{Name: "drive left", Share: 0.47}, {Name: "lift", Share: 0.12}, {Name: "drive right", Share: 0.39}}},
			{StartS: 158, MinV: 6.7}, // the log ends in it, and after the bell
		}
		r.Battery = schemas.Battery{ResistanceOhm: some(0.039), OpenCircuitV: some(12.35), BrownoutA: some(142), PeakA: some(155)}
	})
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, schemas.SeverityStop, f.Severity, "over half a second without outputs")
	assert.Equal(t, "Two brownouts.", f.Title, "no cause is told where none is known")
	assert.InDelta(t, 0.6, *f.CostS, 1e-9, "only what lies in a period")
	assert.InDelta(t, 160, f.EndS, 0)
	assert.Contains(t, f.Because, "0.039 ohm and 12.35 V at no load: that browns out at 142 A, and the robot drew up to 155 A.")
	assert.Contains(t, f.Because, "drive left (47 %) and drive right (39 %)")
}

func TestBrownoutsThatFellIntoOneJamAreToldTogether(t *testing.T) {
	dip := func(at float64) schemas.Link {
		return schemas.Link{Kind: schemas.LinkDip, StartS: at, EndS: at + 0.1, Text: "It drew much."}
	}
	found, _ := build(t, func(r *schemas.Report) {
		r.Brownouts = []schemas.Brownout{{StartS: 51, EndS: some(51.1), MinV: 6}, {StartS: 52, EndS: some(52.1), MinV: 6}, {StartS: 53, EndS: some(53.1), MinV: 6}}
		r.Jams = []schemas.Jam{{Stage: "lift", StartS: 50, EndS: 54, Cleared: true, Confidence: 0.9, Links: []schemas.Link{dip(51), dip(52), dip(53)}}}
	})
	because := map[string]string{}
	for _, f := range found {
		because[f.Kind] = f.Because
	}
	assert.Contains(t, because["jam"], "It drew much. So did two more, up to 43.0 s.")
	assert.Contains(t, because["brownout"], "Three of them, from 41.0 s to 43.0 s, fell into the jam of the lift, whose roller drew a good part of them.")
}

func TestWhatJamsCostNamesTheirStages(t *testing.T) {
	jam := func(stage string, start float64, cost *float64) schemas.Jam {
		return schemas.Jam{Stage: stage, StartS: start, EndS: start + 2, Cleared: true, Confidence: 0.9, CostS: cost}
	}
	_, v := build(t, func(r *schemas.Report) {
		r.Jams = []schemas.Jam{jam("lift", 50, some(12)), jam("mouth", 80, some(3)), jam("gate", 90, some(0))}
	})
	assert.Contains(t, v.Detail, "One jam in the lift cost 12.0 s of scoring. One jam in the mouth cost 3.0 s of scoring.")
	assert.NotContains(t, v.Detail, "0.0 s")
}

func TestBalance(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		r.Balances = []schemas.Balance{
			{StartS: 60, EndS: 64, Outcome: "level", SettleS: some(3), Overshoots: 1}, // as it should be
			{
				StartS: 132, EndS: 150, Outcome: "ran_out", Overshoots: 11, PeakDeg: 15, NaturalHz: some(0.34), DampingRatio: some(0.05), DampingLow: some(0.03), DampingHigh: some(0.07), CostS: some(16.5), CostPoints: some(4.8),
				ApproachMS: some(1.1), ClimbS: some(0.8), DisturbedAtS: some(140), LevelledBy: "hand", LoopSavesS: some(7.2), LoopSavesLowS: some(6), LoopSavesHighS: some(8),
				Diagnosis: "proportional only: answers the tilt but not its rate", Advice: "add a rate term, starting at 0.01 per deg/s",
			},
		}
	})
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, schemas.SeverityFix, f.Severity)
	assert.Equal(t, "The peel never came level: it swung past level eleven times.", f.Title)
	assert.Contains(t, f.Because, "0.34 Hz with a damping ratio of 0.05")
	assert.Contains(t, strings.Join(f.Caution, " "), "disable switch")
	assert.Contains(t, f.Because, "(95 %: 0.03 to 0.07)")
	assert.Contains(t, f.Because, "It came at 1.1 m/s and climbed for 0.8 s.")
	assert.Contains(t, f.Because, "something other than its drive command moved the platform")
	assert.Contains(t, f.Because, "A well-damped loop would have saved about 7.2 s (6.0 to 8.0)")
	assert.Contains(t, f.Because, "a usual cycle scores 4.8 points")
	assert.Contains(t, strings.Join(f.Caution, " "), "stand clear of the platform")
	assert.InDelta(t, 16.5, *f.CostS, 0)
}

func TestSlowCyclesAreNamedByTheirPhaseAndJamsAreNotToldTwice(t *testing.T) {
	why, jam := "collect", "jam"
	found, _ := build(t, func(r *schemas.Report) {
		r.Usual = schemas.Usual{CycleS: some(10.4), Phases: schemas.Phases{CollectS: some(2.5)}}
		r.Cycles = []schemas.Cycle{
			{Kind: "score", Period: "driver", StartS: 30, EndS: 40, DurationS: 10, Complete: true},
			{Kind: "score", Period: "driver", StartS: 40, EndS: 57.6, DurationS: 17.6, Complete: true, Slow: true, Why: &why, ExcessS: some(7.2), P: some(0.004), Phases: schemas.Phases{CollectS: some(9.2)}},
			{Kind: "score", Period: "driver", StartS: 60, EndS: 80, DurationS: 20, Complete: true, Slow: true, Why: &jam, ExcessS: some(9)},
		}
	})
	require.Len(t, found, 1)
	assert.Equal(t, "Cycle 2 lost 7.2 s picking up.", found[0].Title)
	assert.Contains(t, found[0].Because, "It took 17.6 s where 10.4 s is usual. A usual cycle takes that long once in 250. The collect phase took 9.2 s, usually 2.5 s.")
}

func TestLogThatStopsWhileTheRobotIsEnabled(t *testing.T) {
	stop := func(r *schemas.Report) {
		r.Match.EndS = 106.4
		r.Match.Periods[1].EndS = 106.4
	}
	p, err := profile.Parse("robot.yaml", []byte(robot))
	require.NoError(t, err)
	r := &schemas.Report{Match: schemas.Match{StartS: 10, Periods: []schemas.Period{{Name: "autonomous", StartS: 10, EndS: 30}, {Name: "driver", StartS: 30}, {}}[:2]}}
	stop(r)
	found, _ := Build(Input{Report: r, Profile: p, LogEnd: 106.4})
	require.Len(t, found, 1)
	assert.Equal(t, "The log stops at 96.4 s: 44 s are missing.", found[0].Title)

	found, _ = Build(Input{Report: r, Profile: p, LogEnd: 120}) // disabled, and the log went on
	assert.Empty(t, found)
}

func TestSensors(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		r.Quality.Missing = []string{"arm/position", "arm/target"}
		r.Quality.Faults = []schemas.Fault{
			{Signal: "path/gate/beam", Kind: "stuck true", StartS: 40, EndS: 160, Note: "blocked while 6 pieces passed"},
			{Signal: "somewhere/else", Kind: "frozen", StartS: 40, EndS: 60, Note: "not in the profile"},
			{Signal: "imu/pitch", Kind: "outlier", StartS: 40, EndS: 41, Note: "listed only"},
		}
	})
	require.Len(t, found, 2)
	assert.Equal(t, "The sensor path/gate/beam cannot be believed: stuck true.", found[0].Title)
	assert.Equal(t, "Two signals of the profile are not in the log.", found[1].Title)
	assert.Contains(t, found[1].Because, "arm/position and arm/target")
}

func TestMovesThatStopShort(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		r.Moves = []schemas.Move{
			{Name: "arm", StartS: 40, EndS: 42, From: 0, To: 1, Outcome: "short"},
			{Name: "arm", StartS: 50, EndS: 51, From: 1, To: 0, Outcome: "settled"},
			{Name: "arm", StartS: 60, EndS: 62, From: 0, To: 1, Outcome: "short"},
		}
	})
	require.Len(t, found, 1)
	assert.Equal(t, schemas.SeverityFix, found[0].Severity, "more than half of its moves")
	assert.Equal(t, "The arm stopped short of its target twice in three moves.", found[0].Title)
}

func TestABranchThatDrawsWhileDisabledStopsTheRobot(t *testing.T) {
	found, v := build(t, func(r *schemas.Report) {
		r.StandbyDraws = []schemas.StandbyDraw{
			{Branch: "lift", Signal: "power/branch/3", StartS: 1, EndS: 10, MedianA: 7.2},
			{Branch: "lift", Signal: "power/branch/3", StartS: 151, EndS: 160, MedianA: 7.1},
		}
	})
	require.Len(t, found, 1)
	assert.Equal(t, "The branch lift draws current while the robot is disabled.", v.Text)
	assert.Equal(t, schemas.SeverityStop, found[0].Severity)
	assert.Len(t, found[0].Spans, 2)
	assert.Equal(t, "Open the main breaker before anything else.", found[0].Check[0])
}

func TestAutonomousThatEndsElsewhereThanItUsuallyDoes(t *testing.T) {
	for _, c := range []struct {
		name         string
		today, usual *float64
		want         int
	}{
		{"far off", some(0.34), some(0.05), 1},
		{"no farther than it may", some(0.25), some(0.05), 0},
		{"far, but it always scatters", some(0.47), some(0.2), 0},
		{"no earlier matches", some(0.9), nil, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, _ := build(t, func(r *schemas.Report) {
				r.Autonomous = schemas.Autonomous{StartS: some(10), EndS: some(30), EndErrorM: c.today, UsualEndErrorM: c.usual}
			})
			assert.Len(t, found, c.want)
		})
	}
}

func TestAutonomousThatScoresLess(t *testing.T) {
	none := 0
	found, v := build(t, func(r *schemas.Report) {
		r.Autonomous = schemas.Autonomous{StartS: some(10), EndS: some(30), Pieces: &none, UsualPieces: some(2)}
	})
	require.Len(t, found, 1)
	assert.Equal(t, "Autonomous scored nothing where 2 is usual.", v.Text)
}

func TestTitlesOfJams(t *testing.T) {
	cleared := schemas.Jam{Stage: "gate", StartS: 50, EndS: 52, Cleared: true, Confidence: 0.8}
	again := schemas.Jam{Stage: "gate", StartS: 60, EndS: 63, Cleared: true, Confidence: 0.8}
	stuck := schemas.Jam{Stage: "gate", StartS: 140, EndS: 160, Confidence: 0.8}
	for want, jams := range map[string][]schemas.Jam{
		"A loaf jammed in the gate for 2.0 s.":          {cleared},
		"The gate jammed twice, 5.0 s in all.":          {cleared, again},
		"A loaf jammed in the gate and is still there.": {stuck},
		"The gate jammed twice and still holds a loaf.": {cleared, stuck},
	} {
		found, _ := build(t, func(r *schemas.Report) { r.Jams = jams })
		require.Len(t, found, 1)
		assert.Equal(t, want, found[0].Title)
	}
}

// One limit is advised only when it would have prevented every dip, and with a bad
// connection none is.
func TestOneLimit(t *testing.T) {
	some := schemas.Some
	dip := func(a, b *float64) schemas.Brownout {
		return schemas.Brownout{Branches: []schemas.Share{{Name: "drive", LimitA: a}, {Name: "lift", LimitA: b}}}
	}
	branch, amps, ok := oneLimit([]schemas.Brownout{dip(some(40), some(12)), dip(some(35), some(15))})
	assert.True(t, ok)
	assert.Equal(t, "drive", branch)
	assert.Equal(t, 35.0, amps)
	branch, amps, _ = oneLimit([]schemas.Brownout{dip(some(40), some(12)), dip(nil, some(15))})
	assert.Equal(t, "lift", branch)
	assert.Equal(t, 12.0, amps)
	both := []schemas.Brownout{dip(some(40), nil), dip(nil, some(15))}
	_, _, ok = oneLimit(both)
	assert.False(t, ok)
	assert.Nil(t, limitCheck(both))
	text := strings.Join(brownoutChecks("overload", "battery B1", []schemas.Brownout{dip(some(40.9), nil)}), " ")
	assert.Contains(t, text, "a current limit of 40 A on drive alone")
	assert.Contains(t, text, "a qualified adult decides")
	text = strings.Join(brownoutChecks("bad_connection", "battery B1", []schemas.Brownout{dip(some(40), nil)}), " ")
	assert.NotContains(t, text, "limit")
}

func TestPiecesThatNeverCounted(t *testing.T) {
	yes, no := true, false
	pass := func(leave float64, counted *bool) schemas.Pass {
		return schemas.Pass{Outcome: schemas.PassReleased, LeaveS: &leave, Counted: counted}
	}
	short := []schemas.Move{
		{Name: "arm", StartS: 40, EndS: 50, From: 0, To: 1, Outcome: "short"},
		{Name: "arm", StartS: 60, EndS: 70, From: 0, To: 1, Outcome: "settled"},
		{Name: "arm", StartS: 80, EndS: 90, From: 0, To: 1, Outcome: "short"},
		{Name: "arm", StartS: 100, EndS: 110, From: 0, To: 1, Outcome: "settled"},
		{Name: "arm", StartS: 112, EndS: 118, From: 0, To: 1, Outcome: "settled"},
	}
	for name, c := range map[string]struct {
		passes   []schemas.Pass
		moves    []schemas.Move
		titles   []string
		because  string
		severity string
	}{
		"while the arm was short": {
			[]schemas.Pass{pass(45, &no), pass(65, &yes), pass(85, &no)},
			short,
			[]string{"The arm stopped short of its target twice in five moves."},
			"Two loaves left the robot meanwhile and never counted.", schemas.SeverityFix,
		},
		"at the nearest instant of the move": {
			[]schemas.Pass{pass(40, &no), pass(90, &no), pass(65, &yes)},
			short,
			[]string{"The arm stopped short of its target twice in five moves."},
			"Two loaves left the robot meanwhile", schemas.SeverityFix,
		},
		"once only": {
			[]schemas.Pass{pass(45, &no), pass(65, &yes)},
			short,
			[]string{"The arm stopped short of its target twice in five moves."},
			"One loaf left the robot meanwhile and never counted.", schemas.SeverityWatch,
		},
		"most of them counted: the arm was high enough": {
			[]schemas.Pass{pass(45, &no), pass(85, &yes), pass(86, &yes)},
			short,
			[]string{"The arm stopped short of its target twice in five moves."},
			"", schemas.SeverityWatch,
		},
		"nothing tells": {
			[]schemas.Pass{pass(45, nil), pass(85, nil)},
			short,
			[]string{"The arm stopped short of its target twice in five moves."},
			"", schemas.SeverityWatch,
		},
		"none of three, whatever the arm did": {
			[]schemas.Pass{pass(45, &no), pass(65, &no), pass(105, &no)},
			short,
			[]string{"None of three loaves that left the robot counted.", "The arm stopped short of its target twice in five moves."},
			"One loaf left the robot meanwhile", schemas.SeverityWatch,
		},
		"none of two is luck": {[]schemas.Pass{pass(45, &no), pass(65, &no)}, nil, nil, "", ""},
		"one of four counted": {[]schemas.Pass{pass(45, &no), pass(65, &no), pass(75, &yes), pass(105, &no)}, nil, nil, "", ""},
	} {
		t.Run(name, func(t *testing.T) {
			found, _ := build(t, func(r *schemas.Report) { r.Passes, r.Moves = c.passes, c.moves })
			var titles []string
			for _, f := range found {
				titles = append(titles, f.Title)
			}
			assert.ElementsMatch(t, c.titles, titles)
			for _, f := range ofKind(found, "move") {
				assert.Equal(t, c.severity, f.Severity)
				assert.Contains(t, f.Because, c.because)
				assert.Equal(t, c.because != "", strings.Contains(f.Because, "never counted"))
			}
		})
	}
}
