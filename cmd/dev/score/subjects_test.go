package score

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
)

func dip(start, end, low float64) schemas.Brownout {
	return schemas.Brownout{StartS: start, EndS: &end, MinV: low}
}

func TestBrownouts(t *testing.T) {
	one := []schemas.Brownout{dip(110, 110.4, 6.2)}
	edge := []schemas.Brownout{dip(130, 130.02, 6.77)} // 0.03 V under the cut-off, noise 0.02 V
	for _, c := range []struct {
		name                         string
		truth, got                   []schemas.Brownout
		recall, precision, count, in Sum // in: marginal ones found
		none                         float64
	}{
		{name: "right", truth: one, got: []schemas.Brownout{dip(110.02, 110.4, 6.25)}, recall: Sum{1, 1}, precision: Sum{1, 1}, count: Sum{1, 1}},
		{name: "missed", truth: one, recall: Sum{0, 1}, count: Sum{0, 1}},
		{name: "false", got: one, precision: Sum{0, 1}, count: Sum{0, 1}},
		{name: "doubled", truth: one, got: []schemas.Brownout{dip(110, 110.1, 6.3), dip(110.2, 110.4, 6.2)}, recall: Sum{1, 1}, precision: Sum{1, 2}, count: Sum{0, 1}},
		{name: "shifted out", truth: one, got: []schemas.Brownout{dip(111, 111.4, 6.2)}, recall: Sum{0, 1}, precision: Sum{0, 1}, count: Sum{1, 1}},
		{name: "marginal and missed", truth: edge, in: Sum{0, 1}},
		{name: "marginal and found", truth: edge, got: edge, in: Sum{1, 1}},
		{name: "marginal and none", got: edge, none: 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := scorePower(caseOfHand(schemas.Report{Brownouts: c.truth}, schemas.Report{Brownouts: c.got}))
			assert.Equal(t, c.recall, s.Sums["brownout recall"], "recall")
			assert.Equal(t, c.precision, s.Sums["brownout precision"], "precision")
			assert.Equal(t, c.count, s.Sums["brownouts counted right"], "count")
			assert.Equal(t, c.in, s.Sums["marginal brownouts found"], "marginal")
			assert.InDelta(t, c.none, s.Sums["marginal brownouts that are none"].K, 0)
		})
	}
}

func TestBrownoutDetails(t *testing.T) {
	truth, got := dip(110, 110.4, 6.2), dip(110.02, 110.5, 6.25)
	truth.Cause, got.Cause = "weak_battery", "overload"
	truth.Branches = []schemas.Share{{Name: "left", Share: 0.5}, {Name: "right", Share: 0.3}}
	got.Branches = []schemas.Share{{Name: "right", Share: 0.4}, {Name: "left", Share: 0.45}}
	s := scorePower(caseOfHand(schemas.Report{Brownouts: []schemas.Brownout{truth}}, schemas.Report{Brownouts: []schemas.Brownout{got}}))
	assert.InDeltaSlice(t, []float64{0.02}, s.Values["brownout start error"], 1e-9)
	assert.InDeltaSlice(t, []float64{0.1}, s.Values["brownout end error"], 1e-9)
	assert.InDeltaSlice(t, []float64{0.05}, s.Values["brownout lowest voltage error"], 1e-9)
	assert.InDeltaSlice(t, []float64{-0.05, 0.1}, s.Values["branch share error"], 1e-9)
	assert.Equal(t, Sum{0, 1}, s.Sums["brownout cause right, where truth tells"])
}

func TestBattery(t *testing.T) {
	battery := func(r, low, high *float64) schemas.Report {
		return schemas.Report{Battery: schemas.Battery{ResistanceOhm: r, ResistanceLowOhm: low, ResistanceHighOhm: high}}
	}
	s := scorePower(caseOfHand(battery(some(0.020), nil, nil), battery(some(0.021), some(0.020), some(0.022))))
	assert.InDeltaSlice(t, []float64{5}, s.Values["resistance error"], 1e-9)
	assert.Equal(t, Sum{1, 1}, s.Sums["resistance interval holds truth"], "its ends belong to it")
	assert.InDeltaSlice(t, []float64{5}, s.Values["resistance interval half width"], 1e-9)
	s = scorePower(caseOfHand(battery(some(0.020), nil, nil), battery(some(0.021), some(0.0201), some(0.022))))
	assert.Equal(t, Sum{0, 1}, s.Sums["resistance interval holds truth"])
	s = scorePower(caseOfHand(battery(some(0.020), nil, nil), battery(nil, nil, nil)))
	assert.Equal(t, Sum{0, 1}, s.Sums["resistance told, where truth has one"])
	s = scorePower(caseOfHand(battery(nil, nil, nil), battery(some(0.02), nil, nil)))
	assert.Equal(t, Sum{1, 1}, s.Sums["resistance told, where truth has none"])
	assert.Empty(t, s.Values["resistance error"])
}

func TestStandby(t *testing.T) {
	draw := func(branch string) schemas.Report {
		return schemas.Report{StandbyDraws: []schemas.StandbyDraw{{Branch: branch, StartS: 90, EndS: 99}}}
	}
	s := scorePower(caseOfHand(draw("lift"), draw("lift")))
	assert.Equal(t, Sum{1, 1}, s.Sums["standby draw recall"])
	s = scorePower(caseOfHand(draw("lift"), draw("path")))
	assert.Equal(t, Sum{0, 1}, s.Sums["standby draw recall"])
	assert.Equal(t, Sum{0, 1}, s.Sums["standby draw precision"])
}

func cycle(start, end float64, why string) schemas.Cycle {
	c := schemas.Cycle{Kind: "score", Pieces: 1, Period: "driver", StartS: start, EndS: end, DurationS: end - start, Complete: true, P: some(0.4)}
	if why != "" {
		c.Slow, c.Why, c.P = true, &why, some(0.02)
	}
	return c
}

func TestCycles(t *testing.T) {
	truth := []schemas.Cycle{cycle(120, 130, ""), cycle(130, 150, "collect"), cycle(150, 160, ""), cycle(160, 180, "carry")}
	for _, c := range []struct {
		name                          string
		got                           []schemas.Cycle
		rows, recall, precision, why_ Sum
	}{
		{"right", truth, Sum{4, 4}, Sum{2, 2}, Sum{2, 2}, Sum{2, 2}},
		{
			"missed slow, false slow, wrong why",
			[]schemas.Cycle{cycle(120, 130, "place"), cycle(130, 150, ""), cycle(150, 160, ""), cycle(160, 180, "place")},
			Sum{4, 4},
			Sum{1, 2},
			Sum{1, 2},
			Sum{0, 1},
		},
		{
			"shifted",
			[]schemas.Cycle{cycle(120, 130.2, ""), cycle(130.2, 150, "collect"), cycle(150, 160, ""), cycle(160, 180, "carry")},
			Sum{2, 4},
			Sum{1, 2},
			Sum{1, 2},
			Sum{1, 1},
		},
		{"nothing", nil, Sum{0, 0}, Sum{0, 2}, Sum{0, 0}, Sum{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := scoreCycles(caseOfHand(schemas.Report{Cycles: truth}, schemas.Report{Cycles: c.got}))
			assert.Equal(t, c.rows, s.Sums["cycle rows right"], "rows")
			assert.Equal(t, c.recall, s.Sums["slow recall"], "recall")
			assert.Equal(t, c.precision, s.Sums["slow precision"], "precision")
			assert.Equal(t, c.why_, s.Sums["slow why right, where truth tells"], "why")
		})
	}
}

func TestUndecidedCyclesAreCountedAndLeftOut(t *testing.T) {
	truth := []schemas.Cycle{cycle(120, 130, ""), cycle(130, 150, "")}
	c := caseOfHand(schemas.Report{Cycles: truth}, schemas.Report{Cycles: []schemas.Cycle{cycle(120, 130, ""), cycle(130, 150, "place")}})
	assert.Equal(t, Sum{0, 1}, scoreCycles(c).Sums["slow precision"])
	c.Unsure = map[string][]int{"cycles": {1}}
	s := scoreCycles(c)
	assert.Equal(t, Sum{0, 0}, s.Sums["slow precision"])
	assert.Equal(t, 1.0, s.Sums["cycles left out, undecidable"].K)
	assert.Zero(t, s.lost())
}

// What the truth leaves open of any list is neither right nor wrong, and counted.
func TestUndecidedRows(t *testing.T) {
	truth := schemas.Report{
		Jams:      []schemas.Jam{jam("lift", 110, 114, 1), jam("lift", 120, 124, 1), jam("gate", 130, 134, 1)},
		Brownouts: []schemas.Brownout{dip(110, 110.4, 6.2)},
		Balances:  []schemas.Balance{{StartS: 230, EndS: 238, Outcome: "level"}},
		Moves:     []schemas.Move{{Name: "lift", StartS: 110, EndS: 111, Outcome: "settled"}},
	}
	c := caseOfHand(truth, schemas.Report{Jams: truth.Jams[:1]})
	c.Unsure = map[string][]int{"jams": {0, 1}, "brownouts": {0}, "balances": {0}, "moves": {0}}
	path := scorePath(c)
	assert.Equal(t, Sum{0, 1}, path.Sums["jam recall"])
	assert.Equal(t, Sum{0, 0}, path.Sums["jam precision"])
	assert.Equal(t, Sum{2, 0}, path.Sums["jams left out, undecidable"])
	for _, s := range []struct {
		tally        *Tally
		recall, left string
	}{
		{scorePower(c), "brownout recall", "brownouts left out, undecidable"},
		{scoreBalance(c), "attempt recall", "balances left out, undecidable"},
		{scoreMoves(c), "move recall", "moves left out, undecidable"},
	} {
		assert.Equal(t, Sum{0, 0}, s.tally.Sums[s.recall])
		assert.Equal(t, Sum{1, 0}, s.tally.Sums[s.left])
		assert.Zero(t, s.tally.lost())
	}
}

func TestPhasesAndHistory(t *testing.T) {
	truth, got := cycle(120, 130, ""), cycle(120, 130, "")
	truth.Phases = schemas.Phases{ReturnS: some(3), CollectS: some(2)}
	got.Phases = schemas.Phases{ReturnS: some(3.5), PlaceS: some(1)}
	c := caseOfHand(schemas.Report{Cycles: []schemas.Cycle{truth}}, schemas.Report{Cycles: []schemas.Cycle{got}})
	c.WithHistory = &schemas.Report{Cycles: []schemas.Cycle{cycle(120, 130, "place")}}
	s := scoreCycles(c)
	assert.Equal(t, Sum{0, 0}, s.Sums["slow precision, the fifth with history"], "in under six cycles the truth judges none")
	for k := range 5 {
		more := cycle(130+10*float64(k), 140+10*float64(k), "")
		c.Truth.Cycles, c.WithHistory.Cycles = append(c.Truth.Cycles, more), append(c.WithHistory.Cycles, more)
	}
	s = scoreCycles(c)
	assert.Equal(t, []float64{0.5}, s.Values["return error"])
	assert.Empty(t, s.Values["collect error"])
	assert.Equal(t, 1, s.Tables["collect told"][[2]string{"told", "not told"}])
	assert.Equal(t, 1, s.Tables["place told"][[2]string{"not told", "told"}])
	assert.Equal(t, Sum{0, 0}, s.Sums["slow precision, the fifth without history"])
	assert.Equal(t, Sum{0, 1}, s.Sums["slow precision, the fifth with history"])
	assert.Equal(t, 2.5, s.lost(), "the five rows that the first look lacks: a second look at the same match is no second loss")
}

// What may be said of the quicker approach is what the rank-sum test tells of the true times: by hand, four
// against four that all lie apart are told, three are not, nor are four that lie among each other.
func TestTheQuickerApproach(t *testing.T) {
	match := func(assisted, byHand []float64) *schemas.Report {
		r := &schemas.Report{}
		for i, all := range [][]float64{assisted, byHand} {
			for _, s := range all {
				by := i == 0
				r.Cycles = append(r.Cycles, schemas.Cycle{Period: schemas.PeriodDriver, Align: &schemas.Align{AlignS: &s, Assisted: &by}})
			}
		}
		return r
	}
	const said, right = "quicker approach said, where true times tell", "quicker approach as true times tell, where it is said"
	for _, c := range []struct {
		truth      []*schemas.Report
		got        string
		told, held Sum
	}{
		{[]*schemas.Report{match([]float64{1, 1.1, 1.2, 1.3}, []float64{2, 2.1, 2.2, 2.3})}, schemas.QuickerAssisted, Sum{1, 1}, Sum{1, 1}},
		{[]*schemas.Report{match([]float64{1, 1.1, 1.2, 1.3}, []float64{2, 2.1, 2.2, 2.3})}, schemas.QuickerUnknown, Sum{0, 1}, Sum{}},
		{[]*schemas.Report{match([]float64{3, 3.1, 3.2, 3.3}, []float64{2, 2.1, 2.2, 2.3})}, schemas.QuickerAssisted, Sum{0, 1}, Sum{0, 1}},
		{[]*schemas.Report{match([]float64{1, 1.1, 1.2}, []float64{2, 2.1, 2.2})}, schemas.QuickerUnknown, Sum{}, Sum{}},
		{[]*schemas.Report{match([]float64{1, 1.1}, []float64{2, 2.1}), match([]float64{1.2, 1.3}, []float64{2.2, 2.3})}, schemas.QuickerAssisted, Sum{1, 1}, Sum{1, 1}},
		{[]*schemas.Report{match([]float64{1, 2.15, 1.2, 2.4}, []float64{2, 2.1, 1.1, 2.3})}, schemas.QuickerByHand, Sum{}, Sum{0, 1}},
	} {
		tally := newTally()
		scoreQuicker(tally, c.truth, &schemas.Placing{Quicker: c.got}, alone)
		assert.Equal(t, c.told, tally.Sums[said])
		assert.Equal(t, c.held, tally.Sums[right])
		assert.Equal(t, Sum{1, 0}, tally.Sums["matches with approaches of both kinds"])
	}
}

// A near and a far goal: that of the longer trips is told, where three went to each.
func TestLongerKinds(t *testing.T) {
	var all []schemas.Cycle
	for _, c := range []struct {
		goal string
		took float64
	}{{"near", 10}, {"far", 14}, {"near", 11}, {"far", 13}, {"near", 9}, {"far", 30}, {"odd", 40}, {"odd", 41}} {
		all = append(all, schemas.Cycle{Kind: "score", Complete: true, Period: schemas.PeriodDriver, Pickup: "oven", Goal: c.goal, DurationS: c.took})
	}
	assert.Equal(t, map[route]bool{{"oven", "near"}: false, {"oven", "far"}: true, {"oven", "odd"}: false}, longerKinds(all))
	all[3].DurationS, all[5].DurationS = 12, 12
	assert.False(t, longerKinds(all)[route{"oven", "far"}], "12 s are under a quarter more than 10")
}

func TestBalances(t *testing.T) {
	truth := schemas.Balance{StartS: 230, EndS: 238, Outcome: "level", SettleS: some(7), Overshoots: 2, PeakDeg: 12, DampingRatio: some(0.3), NaturalHz: some(0.5)}
	got := truth
	got.SettleS, got.Overshoots, got.NaturalHz, got.Diagnosis = some(7.1), 3, some(0.55), "lightly damped: swings past level before it rests"
	c := caseOfHand(schemas.Report{Balances: []schemas.Balance{truth}}, schemas.Report{Balances: []schemas.Balance{got}})
	c.Attempts = []sim.Attempt{{Diagnosis: "too little damping", ByHand: true, DisturbedAtS: some(233)}}
	s := scoreBalance(c)
	assert.Equal(t, Sum{1, 1}, s.Sums["diagnosis right, where truth and report tell"], "on the bound between two words both are right")
	assert.Equal(t, Sum{0, 1}, s.Sums["levelled by hand told"])
	assert.Equal(t, Sum{0, 1}, s.Sums["disturbance told"])
	c.Attempts = []sim.Attempt{{Diagnosis: "saturation"}}
	s = scoreBalance(c)
	assert.Equal(t, Sum{0, 1}, s.Sums["diagnosis right, where truth and report tell"])
	assert.Equal(t, Sum{0, 0}, s.Sums["levelled by hand told"])
	assert.Equal(t, Sum{1, 1}, s.Sums["attempt recall"])
	assert.Equal(t, Sum{1, 1}, s.Sums["attempt outcome right"])
	assert.Equal(t, Sum{0, 1}, s.Sums["overshoots equal"])
	assert.InDeltaSlice(t, []float64{10}, s.Values["natural frequency error"], 1e-9)
	assert.InDeltaSlice(t, []float64{0.1}, s.Values["settle error"], 1e-9)

	got.Outcome, got.SettleS = "left", nil
	s = scoreBalance(caseOfHand(schemas.Report{Balances: []schemas.Balance{truth}}, schemas.Report{Balances: []schemas.Balance{got, got}}))
	assert.Equal(t, Sum{1, 2}, s.Sums["attempt precision"], "doubled")
	assert.Equal(t, 1, s.Tables["attempt outcome"][[2]string{"level", "left"}])
	s = scoreBalance(caseOfHand(schemas.Report{Balances: []schemas.Balance{truth}}, schemas.Report{}))
	assert.Equal(t, Sum{0, 1}, s.Sums["attempt recall"])
}

func TestMoves(t *testing.T) {
	move := func(start, end float64, outcome string) schemas.Move {
		return schemas.Move{Name: "lift", StartS: start, EndS: end, Outcome: outcome, SettleS: some(end - start)}
	}
	truth := []schemas.Move{move(110, 111, "settled"), move(120, 121, "short"), move(240, 258, "short")}
	got := []schemas.Move{move(110.05, 111.5, "settled"), move(120, 121, "settled"), move(200, 201, "settled"), move(240, 241, "settled")}
	s := scoreMoves(caseOfHand(schemas.Report{Moves: truth}, schemas.Report{Moves: got}))
	assert.Equal(t, Sum{3, 3}, s.Sums["move recall"])
	assert.Equal(t, Sum{3, 4}, s.Sums["move precision"])
	assert.Equal(t, Sum{1, 2}, s.Sums["move outcome right"])
	assert.Equal(t, Sum{0, 1}, s.Sums["move outcome right, ended behind the match"])
	assert.InDelta(t, 0.45, s.Values["move settle error"][0], 1e-9)
}

func TestFindings(t *testing.T) {
	span := []schemas.Span{{StartS: 110, EndS: 114}}
	says := func(kind, severity string, confidence float64, spans []schemas.Span) schemas.Finding {
		return schemas.Finding{Kind: kind, Severity: severity, Confidence: confidence, Spans: spans, StartS: 110}
	}
	got := schemas.Report{Findings: []schemas.Finding{
		says("jam", "fix", 0.9, span), says("brownout", "stop", 0.99, span), says("slow_cycle", "watch", 0.95, span),
		says("sensor", "watch", 0.99, nil), says("trend", "watch", 0.9, nil), says("battery", "watch", 0.95, nil),
	}}
	truth := schemas.Report{
		Jams: []schemas.Jam{jam("lift", 113, 116, 1)}, Cycles: []schemas.Cycle{cycle(110, 140, "collect")},
		Battery: schemas.Battery{ResistanceOhm: some(0.04)},
	}
	s := scoreFindings(caseOfHand(truth, got))
	assert.Equal(t, Sum{3, 4}, s.Sums["findings right"])
	assert.Equal(t, Sum{1, 1}, s.Sums["jam findings right"])
	assert.Equal(t, Sum{0, 1}, s.Sums["brownout findings right"])
	assert.Equal(t, Sum{1, 1}, s.Sums["slow_cycle findings right"])
	assert.Equal(t, Sum{1, 1}, s.Sums["battery findings right"])
	assert.Equal(t, Sum{1, 1}, s.Sums["false stop or fix findings a match"])
	assert.Equal(t, 1.0, s.Sums["sensor findings not judged"].K, "a missing signal is a fact of the log")
	assert.Equal(t, 1.0, s.Sums["trend findings not judged"].K)
	assert.Contains(t, s.Judged["findings"], Judged{0.99, false})
}

func TestAdvisedGains(t *testing.T) {
	tally := newTally()
	scoreAdvice(tally, []Retuned{
		{Before: 0.2, After: math.NaN()},
		{Advised: true, Before: 0.1, After: 0.65, Said: 0.6, InReach: true},
		{Advised: true, Before: 0.1, After: -0.1, Unstable: true},
		{Advised: true, Before: 0.3, After: math.NaN()},
	})
	assert.Equal(t, Sum{3, 4}, tally.Sums["gains advised, where the damping was under 0.5"])
	assert.Equal(t, Sum{1, 3}, tally.Sums["with the advised gains the loop swings by itself"])
	assert.Equal(t, Sum{1, 4}, tally.Sums["some gains bring 0.7, where the damping was under 0.5"])
	assert.Equal(t, Sum{1, 2}, tally.Sums["the advised gain damps better"])
	assert.InDelta(t, 0.05, tally.Values["damping with the advised gain, off what was said"][0], 1e-12)
	assert.InDeltaSlice(t, []float64{-0.05, -0.8}, tally.Values["damping with the advised gain, off 0.7"], 1e-12)

	got := &schemas.Report{Balances: []schemas.Balance{{StartS: 100}, {StartS: 120, Retune: &schemas.Retune{GainFactor: 0.5}}}}
	assert.Nil(t, retuneOf(got, 100.2))
	assert.InDelta(t, 0.5, retuneOf(got, 119.8).GainFactor, 0)
	assert.Nil(t, retuneOf(got, 140))

	again := []schemas.Balance{{StartS: 90, EndS: 95, Outcome: "left"}, {StartS: 97, EndS: 104, Outcome: "level"}, {StartS: 104.5, EndS: 105}}
	assert.Equal(t, "level", sameAttempt(again, schemas.Balance{StartS: 100, EndS: 105}).Outcome, "it came sooner, as the one before was over sooner")
	assert.Nil(t, sameAttempt(again, schemas.Balance{StartS: 120, EndS: 125}))
}

func TestMotors(t *testing.T) {
	truth := schemas.Motor{
		Name: "lift", Side: "winding", ResistanceOhm: some(0.3), ConstantVS: some(0.4), StalledS: some(1),
		Stalls: []schemas.Stall{{StartS: 120, EndS: 121}},
	}
	got := schemas.Motor{
		Name: "lift", Side: "winding", ResistanceOhm: some(0.315), ResistanceLowOhm: some(0.3), ResistanceHighOhm: some(0.33),
		ConstantVS: some(0.4), ConstantLowVS: some(0.401), ConstantHighVS: some(0.402), StalledS: some(1.25),
		Stalls: []schemas.Stall{{StartS: 120.2, EndS: 121.2}, {StartS: 130, EndS: 130.5}}, Idle: []schemas.Stall{{StartS: 140, EndS: 143}},
	}
	s := scoreMotors(caseOfHand(schemas.Report{Motors: []schemas.Motor{truth}}, schemas.Report{Motors: []schemas.Motor{got}}))
	assert.InDeltaSlice(t, []float64{5}, s.Values["motor resistance error"], 1e-9)
	assert.Equal(t, Sum{1, 1}, s.Sums["motor resistance interval holds truth"], "its ends belong to it")
	assert.Equal(t, Sum{0, 1}, s.Sums["motor constant interval holds truth"])
	assert.Equal(t, Sum{1, 1}, s.Sums["side of the current right, where told"])
	assert.Equal(t, Sum{1, 1}, s.Sums["stall recall"])
	assert.Equal(t, Sum{1, 2}, s.Sums["stall precision"])
	assert.InDeltaSlice(t, []float64{0.25}, s.Values["stalled time error, where there is any"], 1e-9)
	assert.InDelta(t, 1, s.Sums["motors said to be without power or to draw at rest"].K, 0)
	s = scoreMotors(caseOfHand(schemas.Report{Motors: []schemas.Motor{truth}}, schemas.Report{}))
	assert.Equal(t, Sum{0, 1}, s.Sums["motor resistance told, where truth has one"])
	assert.Equal(t, Sum{0, 1}, s.Sums["stall recall"], "a motor that was not looked at did not stand for nobody")
}

func TestWeightOfMechanisms(t *testing.T) {
	truth := schemas.Report{Mechanisms: []schemas.Mechanism{{Name: "lift", WeightA: some(10)}}}
	got := schemas.Report{
		Mechanisms: []schemas.Mechanism{{Name: "lift", WeightA: some(11), WeightLowA: some(10), WeightHighA: some(12)}},
		Moves:      []schemas.Move{{Name: "lift", UsualSettleS: some(1), Slow: true}, {Name: "lift", UsualSettleS: some(1)}, {Name: "lift"}},
	}
	s := scoreMoves(caseOfHand(truth, got))
	assert.InDeltaSlice(t, []float64{10}, s.Values["current that carries the weight, error"], 1e-9)
	assert.Equal(t, Sum{1, 1}, s.Sums["current that carries the weight, interval holds truth"], "its ends belong to it")
	assert.Equal(t, Sum{1, 2}, s.Sums["moves called slow, where a usual is known"])
}

// Near the bound between two words both are right; without a drive command the wider word is.
func TestWordsThatAreAlsoRight(t *testing.T) {
	zeta := func(z float64) schemas.Balance { return schemas.Balance{DampingRatio: &z} }
	assert.Contains(t, alsoRight(sim.Attempt{Diagnosis: "lightly damped", NoRate: true}, zeta(0.33), false), "proportional only")
	assert.NotContains(t, alsoRight(sim.Attempt{Diagnosis: "lightly damped"}, zeta(0.33), false), "proportional only")
	assert.NotContains(t, alsoRight(sim.Attempt{Diagnosis: "lightly damped", NoRate: true}, zeta(0.4), false), "proportional only")
	assert.Contains(t, alsoRight(sim.Attempt{Diagnosis: "proportional only", NoRate: true}, zeta(0.1), true), "too little damping")
	assert.NotContains(t, alsoRight(sim.Attempt{Diagnosis: "proportional only", NoRate: true}, zeta(0.1), false), "too little damping")
	assert.Contains(t, alsoRight(sim.Attempt{Diagnosis: "saturation"}, schemas.Balance{}, true), "stick-slip or saturation")
	assert.Contains(t, alsoRight(sim.Attempt{Diagnosis: "saturation", Loose: true}, schemas.Balance{}, false), "stick-slip or saturation")
	assert.NotContains(t, alsoRight(sim.Attempt{Diagnosis: "saturation"}, schemas.Balance{}, false), "stick-slip or saturation")
	steady := func(damping *float64) []string {
		return alsoRight(sim.Attempt{Diagnosis: "stick-slip or saturation", Damping: damping}, schemas.Balance{}, false)
	}
	assert.Contains(t, steady(schemas.Some(-0.04)), "swings grow")
	assert.Contains(t, steady(schemas.Some(0.04)), "too little damping")
	assert.NotContains(t, steady(schemas.Some(0.04)), "proportional only")
	assert.Equal(t, []string{"stick-slip or saturation"}, steady(schemas.Some(0.2)))
	assert.Equal(t, []string{"stick-slip or saturation"}, steady(nil))
}
