package score

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Newcombe, Statistics in Medicine 17:857-872 (1998), table I: 81 of 263, 15 of 148, 0 of
// 20, 1 of 29 by Wilson's method.
func TestRateRow(t *testing.T) {
	f := Figure{Name: "x", Kind: Rate}
	for _, c := range []struct{ k, n, low, high float64 }{
		{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718},
	} {
		total := newTally()
		total.add("x", c.k, c.n)
		r := row(f, total)
		assert.InDelta(t, c.low, *r.Low, 5e-5)
		assert.InDelta(t, c.high, *r.High, 5e-5)
	}
	assert.Nil(t, row(f, newTally()).Value, "no case is no share")
}

// Garwood (1936): 0 events: up to 3.689, 10 events: 4.795 to 18.390.
func TestPerRow(t *testing.T) {
	total := newTally()
	total.add("x", 10, 4)
	r := row(Figure{Name: "x", Kind: Per}, total)
	assert.InDelta(t, 2.5, *r.Value, 1e-12)
	assert.InDelta(t, 4.795388696/4, *r.Low, 1e-8)
	assert.InDelta(t, 18.390356042/4, *r.High, 1e-8)
}

func TestErrorRow(t *testing.T) {
	total := newTally()
	total.Values["x"] = []float64{-1, 0, 1, 2, -10}
	r := row(Figure{Name: "x", Kind: Error}, total)
	assert.Equal(t, []float64{1, 10, 0}, []float64{*r.Value, *r.Max, *r.Bias})
	assert.InDelta(t, 6.8, *r.P90, 1e-12)
}

// By hand: three said with 0.9, two of them true, one with 0.15 and false: off by
// (3/4) |0.9 - 2/3| + (1/4) |0.15 - 0|.
func TestCalibration(t *testing.T) {
	c := calibrate("x", []Judged{{0.9, true}, {0.9, false}, {0.15, false}, {0.9, true}})
	require.Len(t, c.Bins, 2)
	assert.Equal(t, Bin{0.1, 0.2, 1, 0.15, 0}, c.Bins[0])
	assert.InDelta(t, 2.0/3, c.Bins[1].True, 1e-12)
	assert.InDelta(t, 0.75*(0.9-2.0/3)+0.25*0.15, c.Error, 1e-12)
	c = calibrate("x", []Judged{{1, true}, {0, false}, {0.3, true}})
	assert.Equal(t, []float64{0, 0.3, 0.9}, []float64{c.Bins[0].Low, c.Bins[1].Low, c.Bins[2].Low}, "edges belong upwards, 1 to the last")
	assert.Zero(t, calibrate("x", nil).Error)
}

func TestByChance(t *testing.T) {
	// as is a count of events spread one to a match.
	as := func(k, n int) []Sum {
		out := make([]Sum, n)
		for i := range out {
			out[i].N = 1
			if i < k {
				out[i].K = 1
			}
		}
		return out
	}
	// Newcombe (1998, II) method 10: 9 of 10 against 3 of 10 is 0.1705 to 0.8090, 0 of 10
	// against 0 of 20 is -0.1611 to 0.2775.
	assert.False(t, byChance(Rate, as(9, 10), as(3, 10)))
	assert.True(t, byChance(Rate, as(0, 10), as(0, 20)))
	assert.True(t, byChance(Per, as(2, 10), as(20, 100)))
	assert.False(t, byChance(Per, as(9, 10), as(20, 100)))
	assert.True(t, byChance(Per, nil, nil))

	// 30 of 40 against 90 of 100: not by chance when every match lost one of four, by chance
	// when one match lost all that was lost.
	spread, one := make([]Sum, 10), make([]Sum, 10)
	for i := range spread {
		spread[i], one[i] = Sum{3, 4}, Sum{3, 3}
	}
	one[0] = Sum{3, 13}
	off := make([]Sum, 20)
	for i := range off {
		off[i] = Sum{float64(4 + i%2), 5}
	}
	assert.False(t, byChance(Rate, spread, off))
	assert.True(t, byChance(Rate, one, off))
}

// By hand: 1 of 2 and 3 of 4 are 4 of 6; residuals -1/3 and 1/3, so sqrt(2/9 * 2) / 6 = 1/9.
func TestRatioError(t *testing.T) {
	assert.InDelta(t, 1.0/9, ratioError([]Sum{{1, 2}, {0, 0}, {3, 4}}), 1e-12)
	assert.True(t, math.IsInf(ratioError([]Sum{{1, 2}}), 1), "one match says nothing of the next")
}

func TestSignTest(t *testing.T) {
	// Exact: 2 (1 + 10) / 1024.
	assert.InDelta(t, 22.0/1024, signTest(1, 9), 1e-12)
	assert.InDelta(t, 1, signTest(5, 5), 1e-12)
	assert.InDelta(t, 1, signTest(0, 0), 1e-12)
}

func scoreOf(n int, wrong func(seed int) float64) *Result {
	r := &Result{Score: Version, Scenario: "exam", Subjects: []SubjectResult{{Name: "path", Rows: []Row{{Name: "jam recall", Kind: Rate, Leads: true}}}}}
	for s := range n {
		w := wrong(s)
		r.Matches = append(r.Matches, MatchResult{Seed: uint64(s), Subjects: map[string]MatchSubject{
			"path": {Lost: w, Sums: map[string]Sum{"jam recall": {10 - w, 10}}},
		}})
	}
	return r
}

func TestChanges(t *testing.T) {
	before, after := scoreOf(20, func(int) float64 { return 2 }), scoreOf(25, func(s int) float64 { return float64(s % 2) })
	all, seeds, err := Changes(before, after)
	require.NoError(t, err)
	assert.Equal(t, 20, seeds, "only those in both")
	require.Len(t, all, 2)
	lost, recall := all[0], all[1]
	assert.InDelta(t, -1.5, lost.After-lost.Before, 1e-12)
	assert.InDelta(t, 0.15, recall.After-recall.Before, 1e-12)
	assert.Equal(t, [2]int{20, 0}, [2]int{recall.Better, recall.Worse})
	assert.Less(t, recall.P, 1e-5)
	// Ten differences of 0.2 and ten of 0.1: half width t(19, 0.975) 0.05 sqrt(20/19) / sqrt(20).
	half := 2.093024 * 0.05 / math.Sqrt(19)
	assert.InDelta(t, 0.15-half, recall.Low, 1e-6)
	assert.InDelta(t, 0.15+half, recall.High, 1e-6)

	var text bytes.Buffer
	require.NoError(t, ChangesText(&text, all, seeds))
	assert.Contains(t, text.String(), "20, 0, p 0.000 better")

	same, _, err := Changes(before, before)
	require.NoError(t, err)
	assert.Equal(t, []float64{0, 0, 1}, []float64{same[1].Low, same[1].High, same[1].P})

	other := scoreOf(3, func(int) float64 { return 0 })
	other.Scenario = "drawn"
	_, _, err = Changes(other, before)
	assert.ErrorContains(t, err, "scenario drawn")
	other.Scenario, other.Matches = "exam", nil
	_, _, err = Changes(other, before)
	assert.ErrorContains(t, err, "no seed in common")
}

// The whole thing on four matches: the same whatever the number of workers, everything it
// counts is a figure somebody sees, and what it writes can be read back and compared.
func TestScoreIsDeterministic(t *testing.T) {
	run := func(workers int) *Result {
		r, err := Run(t.Context(), Options{Subject: "all", Scenario: sim.Exam, From: 1, Seeds: 4, Workers: workers})
		require.NoError(t, err)
		return r
	}
	one, four := run(1), run(4)
	a, err := json.Marshal(one)
	require.NoError(t, err)
	b, err := json.Marshal(four)
	require.NoError(t, err)
	assert.JSONEq(t, string(a), string(b))
	var textA, textB bytes.Buffer
	require.NoError(t, Text(&textA, one))
	require.NoError(t, Text(&textB, four))
	assert.Equal(t, textA.String(), textB.String())

	assert.Empty(t, one.Failures)
	require.Len(t, one.Matches, 4)
	require.Len(t, one.Subjects, len(Subjects()))
	for _, s := range one.Subjects {
		assert.Contains(t, textA.String(), "== "+s.Name)
		known := map[string]bool{}
		for _, r := range s.Rows {
			known[r.Name] = true
			if r.Kind == Rate && r.Value != nil {
				assert.True(t, 0 <= *r.Low && *r.Low <= *r.Value && *r.Value <= *r.High && *r.High <= 1, "%s: %+v", r.Name, r)
			}
		}
		for _, m := range one.Matches {
			for name := range m.Subjects[s.Name].Sums {
				assert.True(t, known[name], "%s counts %q and never shows it", s.Name, name)
			}
			for name := range m.Subjects[s.Name].Medians {
				assert.True(t, known[name], "%s measures %q and never shows it", s.Name, name)
			}
		}
	}
	assert.Contains(t, textA.String(), "conditions never on in these seeds")

	var back Result
	require.NoError(t, json.Unmarshal(a, &back))
	changes, seeds, err := Changes(&back, four)
	require.NoError(t, err)
	assert.Equal(t, 4, seeds)
	for _, c := range changes {
		assert.Zero(t, c.Better+c.Worse, "%s %s", c.Subject, c.Figure)
	}
}

// What panics or fails is a failure of that match, counted and with the command that opens
// it; the others are scored.
func TestFailuresAreCounted(t *testing.T) {
	bad := Subject{Name: "bad", Score: func(*Case) *Tally {
		var none []int
		_ = none[len(none)]
		return newTally()
	}}
	p := play(Options{Scenario: "rookie"}, []Subject{bad}, 3, false)
	assert.Contains(t, p.failure, "the score panicked: runtime error: index out of range")
	assert.Contains(t, p.failure, "result_test.go:")
	p.seed = 3
	r := sumUp(Options{Scenario: "rookie", From: 3, Seeds: 1}, nil, []played{p})
	require.Len(t, r.Failures, 1)
	assert.Equal(t, "go run ./cmd/afterbell simulate --scenario rookie --seed 3 --out DIR", r.Failures[0].Open)
	assert.Empty(t, r.Matches)

	p = play(Options{Scenario: "no such"}, nil, 3, false)
	assert.Contains(t, p.failure, `scenario "no such" is not known`)
}

// The score takes the log from memory. Written to a file and read as any file, the same log
// gives the same report.
func TestSameReportAsFromAFile(t *testing.T) {
	m, err := sim.RunOptions(sim.Options{Scenario: sim.Exam, Seed: 2})
	require.NoError(t, err)
	c, _, err := caseOf(m)
	require.NoError(t, err)
	var file bytes.Buffer
	require.NoError(t, csvlog.WriteLong(&file, m.Log))
	path := filepath.Join(t.TempDir(), "exam-2.csv")
	require.NoError(t, os.WriteFile(path, file.Bytes(), 0o600))
	log, _, err := ingest.ReadFiles(t.Context(), []string{path}, ingest.Options{})
	require.NoError(t, err)
	p, err := profile.Parse("robot.yaml", m.Profile)
	require.NoError(t, err)
	all, err := analysis.Inputs(p, log)
	require.NoError(t, err)
	require.Len(t, all, 1)
	want, err := analysis.Run(all[0])
	require.NoError(t, err)
	assert.Equal(t, want, c.Got)
}
