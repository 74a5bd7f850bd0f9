package sim

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// Day is how a robot and its people are in one match of a season, where that differs from how the
// scenario has them. The zero of each field leaves it as it is.
type Day struct {
	Robot   uint64             // seed of the robot: its matches have it in common, and differ by their own seeds
	Hands   float64            // skill of the driver, 1 is usual
	Degrees float64            // C, of the hall and the battery, with all that depends on temperature
	Jams    map[string]float64 // by stage: the chance of each piece to hang in it
	Rub     map[string]float64 // by stage: friction of bearings and belt, times the usual
}

// robot is the seed of what the matches of one robot have in common.
func (o Options) robot() uint64 {
	if o.Day != nil && o.Day.Robot > 0 {
		return o.Day.Robot
	}
	return o.Seed
}

// live makes the scenario one of that day.
func (d *Day) live(s *scenario, seed uint64) {
	if d.Hands > 0 {
		s.drive.hands = d.Hands
	}
	if d.Degrees != 0 {
		s.power.real = true
		s.power.degrees = &d.Degrees
	}
	r := stream(seed, "day/jams")
	s.path.fits = append(s.path.fits, func(f fitting) {
		for i, b := range f.w.path.belts { // a die for each stage, whatever their chances
			if hangs := r.Float64() < d.Jams[b.name]; hangs && f.last && f.c.catch == nil {
				f.hang(f.inStage(i, r), slippingWay(r), mended(r), r)
			}
		}
	})
	if d.Robot > 0 {
		s.parts = append(s.parts, func(w *world, _ random) { w.putIn(d.Robot, seed) })
	}
	s.parts = append(s.parts, func(w *world, _ random) {
		for _, b := range w.path.belts {
			if times := d.Rub[b.name]; times > 0 {
				b.friction *= times
			}
		}
	})
}

// mended is an ending of a jam after which the match goes on.
func mended(r random) ending {
	return []ending{givesWay, givesWay, pulledBack, spat}[r.IntN(4)]
}

// putIn puts the battery of the match's name into a robot: as it was bought, and charged for this
// match.
func (w *world) putIn(robot, seed uint64) {
	b := newBattery(stream(robot, "battery/"+w.scenario.battery))
	b.charge = stream(seed, "charge").between(0.93, 0.99)
	*w.battery = *b
	*w.sound = *b
}

// Season is the matches of a robot in a year, with what changed on the way.
type Season struct {
	Robot   string
	Matches []Options
	Changes []Change
	Log     []Entry // what the crew wrote down of it, and of other things
	// Unsteady are measures that are never the same at two events: halls are warmer or colder.
	Unsteady []string
}

// Change is something that changed on a robot, in the words of the season's measures.
type Change struct {
	What    string
	Measure string
	Match   int  // the first match that has it, from 0
	Until   int  // of a drift: the match from which on it goes no further
	Drifts  bool // match by match, not at once
	Up      bool
	// PerMatch is by how much a drift goes on, in the measure's unit for each match of the season; 0 where
	// that is not known.
	PerMatch float64
	// Touches are other measures it moves, or may move, by their names or what stands before the
	// slash of them.
	Touches []string
}

// Entry is a line of the parts log.
type Entry struct{ At, Kind, Text string }

// Lengths of a season.
const (
	seasonMatches = 40
	seasonEvents  = 5
	usualHall     = 21.0 // C
)

// stages of the heron, along the path.
func seasonStages() []string { return []string{"mouth", "throat", "lift", "pocket", "gate"} }

// NewSeason draws a season of forty matches at five events: a robot that has a jam now and then in
// any stage (one piece in two hundred), four batteries in turns, halls of 21 degrees give or take two, and trips that
// others spoil. What changes on the way is drawn too, each of it apart from the rest: a belt that
// rubs ever more and then jams, a battery that dies, other gains on the platform, a driver who learns
// or is replaced. All of it is chosen by us, to be of the order that crews see.
func NewSeason(seed uint64) *Season { return newSeason(seed, false) }

// DemoSeason is the one of the demo: everything changes in it, and between two events two belts are
// tried in turns.
func DemoSeason() *Season {
	s := newSeason(112, true)
	s.trial()
	return s
}

// trial is an afternoon of practice with two belts of the mouth in turns.
func (s *Season) trial() {
	const runs = 12
	after := 2 * seasonMatches / seasonEvents // between the second event and the third
	before := s.Matches[after-1]
	var all []Options
	for i := range runs {
		day := *before.Day
		day.Rub = maps.Clone(day.Rub)
		text := "soft belt in the mouth"
		if i/2%2 == 1 { // two runs of each, then the other
			day.Rub["mouth"], text = 1.7, "ribbed belt in the mouth"
		}
		if i%2 == 0 {
			s.Log = append(s.Log, Entry{At: fmt.Sprintf("2031-03-22T%02d:50", 9+i/2), Kind: "part", Text: text})
		}
		all = append(all, Options{
			Scenario: "clean", Seed: before.Seed + 500 + uint64(i), With: []string{"short-practice"}, Season: "2031", Event: "barn-practice",
			MatchName: fmt.Sprintf("p%02d", i+1), At: fmt.Sprintf("2031-03-22T%02d:%02d:00Z", 10+i/2, 30*(i%2)), Battery: s.Matches[i%4].Battery,
			Gains: before.Gains, Day: &day,
		})
	}
	s.Log = append(s.Log, Entry{At: "2031-03-22T17:50", Kind: "part", Text: "soft belt in the mouth"})
	s.Matches = slices.Insert(s.Matches, after, all...)
	for i := range s.Changes {
		c := &s.Changes[i]
		if c.Match >= after {
			c.Match += runs
		}
		if c.Until > after {
			c.Until += runs
		}
	}
}

func newSeason(seed uint64, all bool) *Season {
	s := &Season{Robot: "heron", Unsteady: []string{"resistance_common"}}
	events := []string{"barn-trial", "ferry-cup", "millbrook-open", "quarry-cup", "harbour-final"}
	days := []string{"2031-03-01", "2031-03-15", "2031-03-29", "2031-04-12", "2031-05-03"}
	halls := stream(seed, "season/halls")
	spoilt := stream(seed, "season/spoilt")
	const first = 2_000_000 // seeds of matches that no single match is asked for by
	hall := 0.0
	perEvent := seasonMatches / seasonEvents
	for i := range seasonMatches {
		event := i / perEvent
		if i%perEvent == 0 {
			hall = halls.normal(usualHall, 2)
		}
		o := Options{
			Scenario: "clean", Seed: first + seed*1000 + uint64(i), Season: "2031", Event: events[event], MatchName: matchName(i % perEvent),
			At: days[event] + clock(i%perEvent), Battery: seasonBatteries()[i%len(seasonBatteries())],
			Gains: &Gains{Tilt: 0.0075, Rate: 0.0045},
			Day:   &Day{Robot: first + seed, Hands: 1, Degrees: hall, Jams: map[string]float64{}, Rub: map[string]float64{}},
		}
		for _, stage := range seasonStages() {
			o.Day.Jams[stage] = 0.005
		}
		for _, c := range []string{"blocked-return", "blocked-carry", "missed-pickups", "long-aim", "rolling-pieces"} {
			if spoilt.Float64() < 0.08 {
				o.With = append(o.With, c)
			}
		}
		s.Matches = append(s.Matches, o)
	}
	for _, story := range []struct {
		name string
		odds float64
		tell func(*Season, random)
	}{{"belt", 0.6, wornBelt}, {"battery", 0.6, dyingBattery}, {"gains", 0.6, otherGains}, {"driver", 0.6, otherHands}} {
		r := stream(seed, "season/"+story.name)
		if happens := r.Float64() < story.odds; happens || all {
			story.tell(s, r)
		}
	}
	return s
}

func seasonBatteries() []string { return []string{"B1", "B2", "B3", "B4"} }

func matchName(i int) string {
	return []string{"q3", "q8", "q12", "q17", "q21", "q26", "q30", "q35"}[i%8]
}

func clock(i int) string {
	return []string{"T09:10:00Z", "T10:05:00Z", "T11:00:00Z", "T12:20:00Z", "T13:30:00Z", "T14:25:00Z", "T15:20:00Z", "T16:10:00Z"}[i%8]
}

// somewhere is a match with enough others on both sides.
func (s *Season) somewhere(r random) int { return 8 + r.IntN(len(s.Matches)-16) }

// entry is a line of the parts log on the day of a match, before it.
func (s *Season) entry(match int, kind, text string) {
	at := s.Matches[match].At
	s.Log = append(s.Log, Entry{At: at[:10] + "T" + []string{"08:30", "09:40", "10:35", "11:40", "12:55", "14:00", "14:55", "15:50"}[match%8], Kind: kind, Text: text})
}

// wornBelt rubs more and more for twelve matches, and then jams.
func wornBelt(s *Season, r random) {
	at, stage := s.somewhere(r), seasonStages()[1+r.IntN(3)]
	chance, rub := r.between(0.18, 0.30), r.between(0.8, 1.6)
	for i, o := range s.Matches {
		o.Day.Rub[stage] = 1 + rub*math.Max(0, math.Min(1, float64(i-at+12)/12))
		if i >= at {
			o.Day.Jams[stage] = chance
		}
	}
	touches := []string{"cycle_s", "reversal_rate", "transit_s", "free_current_a", "jam_rate", "autonomous_score", "lowest_v", "open_circuit_v", "balance_settle_s", "balance_level_rate"}
	s.Changes = append(s.Changes, Change{
		What: "the belt of the " + stage + " wears and begins to jam", Measure: "jam_rate/" + stage, Match: at, Up: true, Touches: touches,
	}, Change{
		What: "the belt of the " + stage + " rubs more and more", Measure: "free_current_a/" + stage, Match: max(0, at-12), Until: at, Drifts: true, Up: true,
	})
}

// dyingBattery has more resistance each time it is in.
func dyingBattery(s *Season, r random) {
	which, at, each := 2, s.somewhere(r), r.between(0.10, 0.20)
	name := seasonBatteries()[which]
	sound := newBattery(stream(s.Matches[0].Day.Robot, "battery/"+name)).r0
	times := 1.0
	for i := range s.Matches {
		if o := &s.Matches[i]; o.Battery == name {
			if i >= at {
				times += each
			}
			o.ResistanceOhm = sound * times
		}
	}
	s.Changes = append(s.Changes, Change{
		What: "battery " + name + " dies", Measure: "resistance_ohm/" + name, Match: at, Until: len(s.Matches), Drifts: true, Up: true,
		PerMatch: each * sound / float64(len(seasonBatteries())) * (1 + coldPart*(referenceC-usualHall)),
		Touches:  []string{"lowest_v", "open_circuit_v/" + name},
	})
}

// otherGains bring the rate term to a loop that hardly had one.
func otherGains(s *Season, r random) {
	at := s.somewhere(r)
	for i := range s.Matches[:at] {
		s.Matches[i].Gains = &Gains{Tilt: 0.0105, Rate: 0.0010}
	}
	s.entry(at, "gains", "peel gains 0.0105 and 0.0010 to 0.0075 and 0.0045")
	s.Changes = append(s.Changes, Change{
		What: "other gains on the platform", Measure: "balance_settle_s", Match: at, Touches: []string{"balance_level_rate", "lowest_v", "open_circuit_v"},
	})
}

// otherHands are a driver who learns all season, or another one from some match on.
func otherHands(s *Season, r random) {
	touches := []string{"lowest_v", "autonomous_score", "transit_s", "open_circuit_v", "move_settle_s", "balance_settle_s", "balance_level_rate", "jam_rate", "reversal_rate", "free_current_a"}
	c := Change{What: "the driver learns", Measure: "cycle_s", Drifts: true, Until: len(s.Matches), Touches: touches}
	from, to := r.between(0.60, 0.68), r.between(1.0, 1.1)
	if r.Float64() < 0.5 {
		c.Drifts, c.Match, c.What = false, s.somewhere(r), "another driver"
		s.entry(c.Match, "driver", "Ro drives")
	}
	for i, o := range s.Matches {
		switch {
		case c.Drifts:
			o.Day.Hands = from + (to-from)*float64(i)/float64(len(s.Matches)-1)
		case i < c.Match:
			o.Day.Hands = from
		default:
			o.Day.Hands = to
		}
	}
	s.Changes = append(s.Changes, c)
}
