package season

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/tables"
)

func some[T any](v T) *T { return &v }

func seriesNamed(all []Series, name string) *Series {
	for i := range all {
		if all[i].Name == name {
			return &all[i]
		}
	}
	return nil
}

func TestMatchOfItsTables(t *testing.T) {
	m := MatchOf("barn-practice", tables.Match{
		AutonomousS: 20, DriverS: 120, CycleS: some(9.5), CycleTimesS: []float64{9, 10}, CutOffS: []float64{4}, Battery: some("B2"),
		ResistanceOhm: some(0.02), OpenCircuitV: some(12.6), LowestV: some(8.0), BalanceAttempts: some(int64(2)), BalanceLevel: some(int64(1)),
		AutonomousPieces: some(int64(3)),
	}, []tables.Stage{{Stage: "lift", Passes: 9, Jams: 1, Reversals: 4, TransitS: some(0.6), FreeA: some(2.1)}}, []tables.Mechanism{{Name: "arm", SettleS: some(1.0)}})
	require.True(t, m.Practice)
	require.InDelta(t, 140, m.RunS, 0)
	require.Len(t, m.Cycles, 3)
	require.False(t, m.Cycles[2].Complete)
	require.Equal(t, Stage{Name: "lift", Passes: 9, Jams: 1, Reversals: 4, TransitS: some(0.6), FreeA: some(2.1)}, m.Stages[0])
	require.Equal(t, 3, *m.AutonomousPieces)

	all := Measures([]Match{m})
	var names []string
	for _, s := range all {
		names = append(names, s.Name)
		k, _ := kindOf(s.Name)
		require.NotContains(t, k.title+k.less+k.more, "{", s.Name)
		require.Equal(t, k.unit == "", s.share(), "%s: shares have no unit, and nothing else", s.Name)
	}
	require.Equal(t, []string{
		"cycle_s", "jam_rate/lift", "resistance_ohm/B2", "lowest_v", "balance_level_rate", "autonomous_score",
		"free_current_a/lift", "reversal_rate/lift", "move_settle_s/arm", "open_circuit_v/B2",
	}, names)
}

// Practice is a kind of its own where there are matches, for what depends on how one plays.
func TestPracticeStandsApart(t *testing.T) {
	for name, is := range map[string]bool{"practice": true, "barn-practice": true, "practice.2": true, "practiced-cup": false, "millbrook-open": false} {
		require.Equal(t, is, schemas.IsPractice(name), name)
	}
	session, match := Match{Practice: true, DriverS: 1800, CycleS: some(8.0), Stages: []Stage{{Name: "lift", Passes: 5}}}, Match{DriverS: 120, CycleS: some(10.0), Stages: []Stage{{Name: "lift", Passes: 9}}}
	all := Measures([]Match{session, match, match})
	require.Equal(t, []int{1, 2}, seriesNamed(all, "cycle_s").Index)
	require.Equal(t, []int{0}, seriesNamed(all, "practice_cycle_s").Index)
	require.Equal(t, []int{0, 1, 2}, seriesNamed(all, "jam_rate/lift").Index, "a jam is a jam")
	alone := Measures([]Match{session, session})
	require.Equal(t, []int{0, 1}, seriesNamed(alone, "cycle_s").Index, "nothing but practice: all of it counts")
	require.Nil(t, seriesNamed(alone, "practice_cycle_s"))

	look := Look("heron", make([]schemas.SeasonMatch, 3), []Match{session, match, match}, []Changed{{Kind: "driver", Text: "Ro", Index: 1}})
	require.True(t, look.Matches[0].Practice)
	require.Equal(t, []schemas.SeasonDriver{{Sessions: 1, PracticeHours: 0.5}, {Name: "Ro", Matches: 2, MatchHours: 240.0 / 3600}}, look.Drivers)
}

// yearOf batteries is four batteries in turns at five events, in halls of other temperatures: lead
// acid has about 1 % more resistance a degree colder, common practice.
func batteries(rng *rand.Rand, change func(match int, battery string, ohm float64) float64) []Match {
	var out []Match
	hall := 0.0
	for i := range matches {
		if i%8 == 0 {
			hall = 0.03 * rng.NormFloat64()
		}
		b := []string{"B1", "B2", "B3", "B4"}[i%4]
		ohm := (0.019 + 0.001*float64(i%4)) * (1 + hall + 0.01*rng.NormFloat64())
		out = append(out, Match{Event: string(rune('a' + i/8)), Battery: b, Resistance: Reading{Value: some(change(i, b, ohm))}})
	}
	return out
}

// A cold hall is no battery that dies, and one that dies is found in any hall; what all of them do
// is told of all of them.
func TestBatteriesAreJudgedBesideEachOther(t *testing.T) {
	var alarmed, found, blamed, together tally
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 0))
		said := func(all []Series, but string) (others, it bool) {
			for i, f := range Describe(all) {
				told := len(f.Changes) > 0 || f.Drift != nil
				if all[i].Name == but {
					it = told
				} else if all[i].Name != "resistance_common" {
					others = others || told
				}
			}
			return others, it
		}
		any, _ := said(Measures(batteries(rng, func(_ int, _ string, ohm float64) float64 { return ohm })), "")
		alarmed.add(any)
		others, it := said(Measures(batteries(rng, func(i int, b string, ohm float64) float64 {
			if b == "B3" {
				ohm *= 1 + 0.03*math.Max(0, float64(i-12))
			}
			return ohm
		})), "resistance_ohm/B3")
		found.add(it)
		blamed.add(others)
		loose := Measures(batteries(rng, func(i int, _ string, ohm float64) float64 {
			if i >= 16 {
				ohm += 0.006
			}
			return ohm
		}))
		_, all := said(loose, "resistance_common")
		together.add(all)
	}
	alarmed.atMost(t, 0.05, "seasons told of a battery because of the halls")
	found.atLeast(t, 0.9, "dying batteries found")
	blamed.atMost(t, 0.05, "other batteries blamed")
	together.atLeast(t, 0.9, "a lug that came loose, told of all")
}

func TestPointsOfABatteryAreAsMeasured(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 0))
	all := batteries(rng, func(_ int, _ string, ohm float64) float64 { return ohm })
	look := Look("heron", make([]schemas.SeasonMatch, len(all)), all, nil)
	for _, m := range look.Measures {
		if m.Name == "resistance_ohm/B2" {
			require.InDelta(t, *all[1].Resistance.Value, m.Points[0].Value, 0)
		}
	}
}

// 'The lift is slower by 9 % over 30 passes', before anything jams.
func TestWearIsSaidInPasses(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 0))
	var all []Match
	for i := range 30 {
		s := 0.60 * (1 + 0.004*math.Max(0, float64(i-10))) * (1 + 0.004*rng.NormFloat64())
		all = append(all, Match{RunS: 140, Stages: []Stage{{Name: "lift", Passes: 10, TransitS: &s}, {Name: "gate", Passes: 10, TransitS: some(3.0)}}})
	}
	look := Look("heron", make([]schemas.SeasonMatch, 30), all, nil)
	i := 0
	for look.Measures[i].Name != "transit_s/lift" {
		i++
	}
	require.Regexp(t, `slower by [6-9]\.\d % over (1[5-9]|2[0-5])0 passes`, look.Measures[i].Note)
	require.True(t, look.Measures[i].Wear)
	require.Equal(t, "Transit of the lift", look.Measures[i].Title)
	jams := look.Measures[0]
	require.Equal(t, "jam_rate/lift", jams.Name)
	require.InDelta(t, 30*140.0/3600, jams.Levels[0].PerHour.Hours, 1e-9)
	require.InDelta(t, 3.688879454*3600/(30*140), jams.Levels[0].PerHour.High, 1e-6, "no jam: Garwood's limit of nothing")
}

// The alarm comes before a change can be told, is silent without one, and one odd match is none.
func TestAlarmComesEarly(t *testing.T) {
	var calm, early, odd tally
	for seed := range uint64(150) {
		y := newYear(7000 + seed)
		facts := Describe(y.all)
		any := false
		for _, f := range facts {
			any = any || f.Alarm != nil
		}
		calm.add(any)
		s := y.instead("cycle_s")
		s.Value[len(s.Value)-1] += 8
		odd.add(Describe(y.all)[0].Alarm != nil)
		s.Value[len(s.Value)-1] -= 8
		for i := len(s.Value) - 4; i < len(s.Value); i++ {
			s.Value[i] += 2
		}
		f := Describe(y.all)[0]
		early.add(f.Alarm != nil && f.Alarm.Up || len(f.Changes) > 0)
	}
	calm.atMost(t, 0.05, "seasons without a change whose newest match has an alarm")
	odd.atMost(t, 0.05, "alarms for one odd match")
	early.atLeast(t, 0.65, "four slow matches seen")
}
