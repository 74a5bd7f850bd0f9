package score

import (
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
)

func some(v float64) *float64 { return &v }

// caseOfHand is a match of 150 s by hand: a path of five stages, the third without a beam.
func caseOfHand(truth, got schemas.Report) *Case {
	truth.Match = schemas.Match{StartS: 100, EndS: 250}
	return &Case{
		Truth: &truth, Got: &got,
		Stages:  []Stage{{"mouth", true}, {"throat", true}, {"lift", false}, {"pocket", true}, {"gate", true}},
		CutOffV: 6.8, VoltageNoise: 0.02, LogEndS: 260,
	}
}

func jam(stage string, start, end, confidence float64) schemas.Jam {
	return schemas.Jam{Stage: stage, StartS: start, EndS: end, Cleared: true, Confidence: confidence}
}

func TestJams(t *testing.T) {
	one := []schemas.Jam{jam("lift", 110, 114, 1)}
	for _, c := range []struct {
		name                   string
		truth, got, suspected  []schemas.Jam
		recall, precision      Sum
		stage, onset, a, clean Sum // a: suspected jams that were one
		lost                   float64
	}{
		{
			name: "right", truth: one, got: []schemas.Jam{jam("lift", 110.1, 114, 0.9)},
			recall: Sum{1, 1}, precision: Sum{1, 1}, stage: Sum{1, 1}, onset: Sum{1, 1},
		},
		{name: "missed", truth: one, recall: Sum{0, 1}, lost: 1},
		{name: "false", got: one, precision: Sum{0, 1}, clean: Sum{1, 1}, lost: 1},
		{name: "silent and rightly so", clean: Sum{0, 1}},
		{
			name: "doubled", truth: one, got: []schemas.Jam{jam("lift", 110, 112, 1), jam("lift", 112, 114, 1)},
			recall: Sum{1, 1}, precision: Sum{1, 2}, stage: Sum{1, 1}, onset: Sum{1, 1}, lost: 1.25,
		},
		{
			name: "shifted", truth: one, got: []schemas.Jam{jam("lift", 113, 114, 1)},
			recall: Sum{1, 1}, precision: Sum{1, 1}, stage: Sum{1, 1}, onset: Sum{0, 1}, lost: 0.25,
		},
		{
			name: "shifted out", truth: one, got: []schemas.Jam{jam("lift", 115, 118, 1)},
			recall: Sum{0, 1}, precision: Sum{0, 1}, lost: 2,
		},
		{
			name: "neighbour across no beam", truth: one, got: []schemas.Jam{jam("throat", 110, 114, 1)},
			recall: Sum{1, 1}, precision: Sum{1, 1}, stage: Sum{1, 1}, onset: Sum{1, 1},
		},
		{
			name: "wrong stage", truth: one, got: []schemas.Jam{jam("gate", 110, 114, 1)},
			recall: Sum{1, 1}, precision: Sum{1, 1}, stage: Sum{0, 1}, onset: Sum{1, 1}, lost: 0.5,
		},
		{
			name: "only suspected", truth: one, suspected: []schemas.Jam{jam("lift", 110, 114, 0.3)},
			recall: Sum{0, 1}, a: Sum{1, 1}, lost: 0.7,
		},
		{
			name: "suspected besides", truth: one, got: one, suspected: []schemas.Jam{jam("lift", 110, 111, 0.3)},
			recall: Sum{1, 1}, precision: Sum{1, 1}, stage: Sum{1, 1}, onset: Sum{1, 1}, a: Sum{0, 1}, lost: 0.1,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := scorePath(caseOfHand(schemas.Report{Jams: c.truth}, schemas.Report{Jams: c.got, SuspectedJams: c.suspected}))
			assert.Equal(t, c.recall, s.Sums["jam recall"], "recall")
			assert.Equal(t, c.precision, s.Sums["jam precision"], "precision")
			assert.Equal(t, c.stage, s.Sums["jam stage right"], "stage")
			assert.Equal(t, c.onset, s.Sums["jam onset within 0.2 s"], "onset")
			assert.Equal(t, c.a, s.Sums["suspected jams that were one"], "suspected")
			assert.Equal(t, c.clean, s.Sums["false jams a clean match"], "clean")
			assert.InDelta(t, c.lost, s.lost(), 1e-9, "%v", s.Losses)
			assert.Len(t, s.Judged["jam confidence"], len(c.got)+len(c.suspected), "everything said is judged")
		})
	}
}

// Of a creeping piece one may say that it stands or that it moves: a jam told of it is left out,
// one that only touches the creeping is not.
func TestJamsToldOfCreepingPieces(t *testing.T) {
	c := caseOfHand(schemas.Report{}, schemas.Report{
		Jams:          []schemas.Jam{jam("lift", 110, 110.6, 0.7), jam("lift", 120, 124, 0.9)},
		SuspectedJams: []schemas.Jam{jam("lift", 130, 130.6, 0.3)},
	})
	c.Creeps = []schemas.Jam{jam("lift", 110.1, 110.5, 1), jam("lift", 120, 120.5, 1), jam("lift", 130.1, 130.9, 1)}
	s := scorePath(c)
	assert.Equal(t, Sum{0, 1}, s.Sums["jam precision"])
	assert.Equal(t, Sum{1, 1}, s.Sums["false jams a clean match"])
	assert.Equal(t, Sum{1, 0}, s.Sums["jams told of creeping pieces, left out"])
	assert.Equal(t, Sum{0, 0}, s.Sums["suspected jams that were one"])
}

// Two jams at one time in two stages stay two, and the F1 counts both sides of a pair.
func TestTwoJamsAtOnce(t *testing.T) {
	two := []schemas.Jam{jam("throat", 110, 120, 1), jam("gate", 112, 118, 1)}
	s := scorePath(caseOfHand(schemas.Report{Jams: two}, schemas.Report{Jams: two[:1]}))
	assert.Equal(t, Sum{1, 2}, s.Sums["jam recall"])
	assert.Equal(t, Sum{2, 3}, s.Sums["jam F1"])
	s = scorePath(caseOfHand(schemas.Report{Jams: two}, schemas.Report{Jams: two}))
	assert.Equal(t, Sum{4, 4}, s.Sums["jam F1"])
	assert.Zero(t, s.lost())
}

// A piece that stood in a beam is told at that beam; one between two beams in any stage
// from the one to the other.
func TestRightStages(t *testing.T) {
	c := caseOfHand(schemas.Report{}, schemas.Report{})
	piece := 3
	passes := []schemas.Pass{{Piece: piece, Stages: []schemas.StagePass{{Stage: "throat", EnterS: some(109), LeaveS: some(112)}}}}
	at := func(stage string, start float64) []string {
		j := jam(stage, start, start+2, 1)
		j.Piece = &piece
		return rightStages(c.Stages, passes, j)
	}
	assert.ElementsMatch(t, []string{"lift", "throat", "pocket"}, at("lift", 110))
	assert.ElementsMatch(t, []string{"throat"}, at("throat", 111), "in the beam")
	assert.ElementsMatch(t, []string{"throat", "mouth", "lift", "pocket"}, at("throat", 112), "the beam is clear again")
	assert.ElementsMatch(t, []string{"gate"}, at("gate", 110), "nothing is known of that pass")
}

func TestJamDetails(t *testing.T) {
	truth := jam("lift", 110, 114, 1)
	truth.How, truth.Cause = "moved_on", "slipping"
	got := jam("lift", 110, 116, 0.9)
	got.How, got.Cause, got.OnsetLowS, got.OnsetHighS = "backed_out", "slipping", some(109.9), some(110)
	s := scorePath(caseOfHand(schemas.Report{Jams: []schemas.Jam{truth}}, schemas.Report{Jams: []schemas.Jam{got}}))
	assert.Equal(t, Sum{0, 1}, s.Sums["jam how right, where truth tells"])
	assert.Equal(t, Sum{1, 1}, s.Sums["jam cause right, where truth tells"])
	assert.Equal(t, Sum{1, 1}, s.Sums["jam onset interval holds truth"], "its ends belong to it")
	assert.Equal(t, []float64{2}, s.Values["jam end error"])
	assert.Equal(t, 1, s.Tables["jam how"][[2]string{"moved_on", "backed_out"}])
	assert.InDelta(t, 0.25, s.lost(), 1e-9)

	got.Cleared, got.OnsetHighS = false, some(109.95)
	s = scorePath(caseOfHand(schemas.Report{Jams: []schemas.Jam{truth}}, schemas.Report{Jams: []schemas.Jam{got}}))
	assert.Equal(t, Sum{0, 1}, s.Sums["jam cleared right"])
	assert.Equal(t, Sum{0, 1}, s.Sums["jam onset interval holds truth"])
}

func TestPasses(t *testing.T) {
	pass := func(enter float64, outcome string) schemas.Pass {
		return schemas.Pass{EnterS: &enter, Outcome: outcome}
	}
	truth := []schemas.Pass{pass(110, "released"), pass(120, "released"), pass(130, "jammed")}
	got := []schemas.Pass{pass(110.1, "released"), pass(124, "released"), {Outcome: "held", Stages: []schemas.StagePass{{Stage: "mouth", EnterEstS: some(130.4)}}}}
	s := scorePath(caseOfHand(schemas.Report{Passes: truth}, schemas.Report{Passes: got}))
	assert.Equal(t, Sum{1, 1}, s.Sums["passes counted right"])
	assert.Equal(t, Sum{2, 3}, s.Sums["pass recall"])
	assert.Equal(t, Sum{2, 3}, s.Sums["pass precision"])
	assert.Equal(t, Sum{1, 2}, s.Sums["pass outcome right"])
	assert.InDelta(t, 0.75, s.lost(), 1e-9)

	// One told at another time is two errors in the figures and one to look at.
	got[1] = pass(122, "released")
	s = scorePath(caseOfHand(schemas.Report{Passes: truth}, schemas.Report{Passes: got}))
	assert.Equal(t, Sum{2, 3}, s.Sums["pass recall"])
	assert.InDelta(t, 0.5, s.lost(), 1e-9)

	// One whose time is not known at all pairs with nothing and is extra.
	s = scorePath(caseOfHand(schemas.Report{Passes: truth[:1]}, schemas.Report{Passes: []schemas.Pass{{Outcome: "held"}}}))
	assert.Equal(t, Sum{0, 1}, s.Sums["pass recall"])
	assert.Equal(t, Sum{0, 1}, s.Sums["pass precision"])
}

func TestSensorFaults(t *testing.T) {
	fault := func(signal string, start, end float64) schemas.Report {
		return schemas.Report{Quality: schemas.Quality{Faults: []schemas.Fault{{Signal: signal, StartS: start, EndS: end}}}}
	}
	s := scorePath(caseOfHand(fault("a", 110, 120), fault("a", 115, 118)))
	assert.Equal(t, Sum{1, 1}, s.Sums["sensor fault recall"])
	assert.Equal(t, Sum{1, 1}, s.Sums["sensor fault precision"])
	s = scorePath(caseOfHand(fault("a", 110, 120), fault("b", 115, 118)))
	assert.Equal(t, Sum{0, 1}, s.Sums["sensor fault recall"])
	assert.Equal(t, Sum{0, 1}, s.Sums["sensor fault precision"])
	s = scorePath(caseOfHand(schemas.Report{}, fault("a", 110, 120)))
	assert.Equal(t, Sum{1, 1}, s.Sums["false sensor faults a sound match"])

	// A poor sensor may be blamed for what its readings are like: counted, judged neither way.
	c := caseOfHand(schemas.Report{}, fault("a", 110, 120))
	c.Got.Quality.Faults[0].Kind, c.Poor = "flicker", []string{"flicker"}
	s = scorePath(c)
	assert.Equal(t, 1.0, s.Sums["sensor faults of poor sensors, not judged"].K)
	assert.Zero(t, s.Sums["sensor fault precision"])
	assert.Equal(t, Sum{0, 1}, s.Sums["false sensor faults a sound match"])
	c.Poor = []string{"outlier"}
	assert.Equal(t, Sum{0, 1}, scorePath(c).Sums["sensor fault precision"])
}

func TestNamedConditionsExist(t *testing.T) {
	for _, name := range slices.Concat(slices.Collect(maps.Keys(poorSensors())), drawnFields()) {
		assert.True(t, slices.ContainsFunc(sim.Conditions(), func(c sim.Condition) bool { return c.Name == name }), "no condition %s", name)
	}
}
