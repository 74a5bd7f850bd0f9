// Package cycles measures how a robot scores: from one scored piece to the next, what part
// of that time went where, and which cycles were slow for this robot.
//
// A cycle is return, collect, carry and place. Cycle times are skewed: nobody is much
// faster than usual, many things make one slower, and the last cycle of every period is cut
// off by the clock. So times are judged on their logarithm, the cut-off ones count as "at
// least this long", and a cycle is slow only when chance explains it badly among all cycles
// of the match and the seconds lost are worth a look.
//
// What looks alike: a cycle in which the robot gave a piece to a partner is long for a good
// reason, and is judged from the hand-over on. Several pieces brought at once may score one
// after another: for all but the first the robot made no trip, so they are no part of what is
// usual, and slow only where they took longer than a trip. The trip that fetched them took longer
// for a good reason. A counter that follows late may count pieces of two trips as one cycle: it is
// not judged. A jam costs nothing while the robot is on its way; and in a match in which half of the
// trips were troubled, trouble is not what is usual.
package cycles

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// Why a cycle was slow.
const (
	WhyReturn  = "return"
	WhyCollect = "collect"
	WhyCarry   = "carry"
	WhyPlace   = "place"
	WhyJam     = "jam"

	SourceMatches   = "matches"
	SourceThisMatch = "this match"
)

// Input is what the cycle analysis looks at; only Score is required.
type Input struct {
	Score      *series.Float // counter
	Handover   *series.Float // counter; may be nil
	X, Y       *series.Float // m; may be nil
	AimError   *series.Float // m from the aiming point; may be nil
	AimGoodM   float64       // m, near enough to place
	Assist     *series.Bool  // the robot lines up by itself; may be nil
	Zones      []profile.Zone
	Passes     []schemas.Pass // nil when the path was not analyzed
	Jams       []schemas.Jam
	Brownouts  []schemas.Brownout
	Drive      *series.Float    // -1..1, what the drive was told; may be nil
	Modes      []schemas.Period // all modes in order, disabled stretches included
	Periods    []schemas.Period
	NoMode     bool  // the profile has no mode: the log begins before the robot is driven
	Start, End int64 // first and last sample of the log, µs
	History    []History
}

// History is one earlier match of this robot.
type History struct {
	Match  string
	Cycles []schemas.Cycle
}

// Result is how the robot cycled, in order of the cycles' ends.
type Result struct {
	Cycles  []schemas.Cycle
	Usual   schemas.Usual
	Counted map[int]bool     // by number of a released piece: whether a score or a hand-over accounts for it
	Placing *schemas.Placing // nil where no lining up was seen
	Reasons []Reason         // of each of Cycles
	Notes   []string
}

// Config is how cycles are told apart and judged.
type Config struct {
	// LateS is how long after a period a score while disabled still belongs to it: 3 s, as
	// the report's format says.
	LateS float64
	// VolleyS: a piece that scores this soon after the one before came with it, without a
	// trip of its own. Chosen by us.
	VolleyS float64

	// LeastCycles complete cycles, of this match and earlier ones, are needed before one is
	// called slow: 6, as the report's format says of a match without history.
	LeastCycles int
	// FalseShare is the expected share of false calls among the cycles called slow. Chosen by us.
	FalseShare float64
	// A slow cycle lost at least LostS seconds and LostShare of the usual cycle; one that lost
	// less than MildShare of it is not slow, however long it took. What lies between may be
	// called either: the line is drawn at the geometric middle. Chosen by us.
	LostS, LostShare, MildShare float64
	// Before anything is known, TroubleShare of the trips lose time, TroubleMean of the usual
	// cycle on average. Chosen by us.
	TroubleShare, TroubleMean float64
	// The usual law is fitted to the cycles within FarSigmas robust standard deviations of
	// the middle one, of the logarithm and taken as at least LeastSpread, or slow ones would
	// make themselves usual. UsualSigma is how much that logarithm usually varies for a robot,
	// and counts like UsualWeight cycles more in how much it does for this one: five or six
	// cycles tell their own spread so badly that nothing would ever stand out. All chosen by us.
	FarSigmas, LeastSpread  float64
	UsualSigma, UsualWeight float64
	// BetweenSigma is by how much the logarithm of the usual cycle differs from match to match
	// at least. Chosen by us.
	BetweenSigma float64

	// Durations are of two kinds when at least LeastOfTwo complete cycles say so, RarerShare of them
	// are of the rarer kind, the laws lie TwoApart spreads apart (2 can be told apart: Ashman, Bird
	// and Zepf 1994; slow cycles are nearer) and two laws are better than one by TwoBIC (10: very
	// strong, Kass and Raftery 1995). How long those took that lie above the quantile TwoUpTo says nothing. Chosen by us.
	LeastOfTwo                            int
	RarerShare, TwoApart, TwoBIC, TwoUpTo float64

	// Where nothing but how long trips took tells what they lost, and trouble is told from it as well as may be,
	// the logarithm of the usual ones varies by TimeSigma, which counts like UsualWeight trips: less
	// than UsualSigma, in which small troubles are. Chosen by us.
	TimeSigma float64
	// What is seen of the time lost on usual trips scatters by SightSigmaS, which counts like
	// SightWeight trips; OddShare of them may lie anywhere. It is known to SightShare of itself where
	// much is lost. With the chance Blind it says nothing. Chosen by us.
	SightSigmaS, SightWeight, OddShare, SightShare, Blind float64
	// The logarithm of what the way of a leg takes varies by PaceSigma from trip to trip before any was
	// seen, which counts like SightWeight trips. What others take less often than by PaceP is more
	// than chance. Chosen by us.
	PaceSigma, PaceP float64
	// On a way shorter than AlikeWay of another one a robot may not reach its speed. Chosen by us.
	AlikeWay float64
	// A cycle with a jam of at least JamS of which the pose does not show what it cost says
	// nothing of what is usual. Chosen by us.
	JamS float64
	// A leg's top speed is the TopShare quantile of its speeds, each over SpeedS, and at least
	// LeastTop of the match's. LeastLegs of a kind say what is usual. Chosen by us.
	SpeedS, TopShare, LeastTop float64
	LeastLegs                  int
	// UsualLeg is the quantile of what a leg took that is usual: under a half, as trouble only
	// adds. Of the trips, those whose legs together took no more than the EverydaySum quantile, or
	// little more, are usual ones: the middle one, as the usual cycle is the middle one too. What
	// happens on every other trip is usual. A trip of which more than UnseenS lies in no leg that
	// was seen tells nothing. Chosen by us.
	UsualLeg, EverydaySum, UnseenS float64
	// JamShare is the part of the lost time a jam must cover to be its reason: the bigger
	// part. A phase must have lost BlameS and BlameShare of all that was lost. Chosen by us.
	JamShare           float64
	BlameS, BlameShare float64
	// A phase is not to blame when such phases take as long with more than the chance BlameP: the
	// upper end of 8 in 10. Their logarithm usually varies by PhaseSigma, more than that of whole
	// cycles. Chosen by us.
	BlameP, PhaseSigma float64

	// On its way a robot stood that was slower than StoodShare of its top speed for StoodS; it was
	// driven where its command was Driven or more. It missed a piece when it backed off by
	// MissedM, and lined up again when it moved off by LinedUpM. Chosen by us.
	StoodShare, StoodS, Driven float64
	MissedM, LinedUpM          float64
	// A robot that came no nearer to its aiming point for CorrectS had arrived; what follows is a
	// correction. Chosen by us.
	CorrectS float64

	// A released piece scores at most FlightS after it left the path, and at most EarlyS
	// before by the counters' clocks. Chosen by us; without one in that time the last piece
	// released in the cycle is taken.
	FlightS, EarlyS float64
	// PoseGapS is the longest silence of the pose across which the robot's place is
	// believed. Chosen by us.
	PoseGapS float64
	// A robot that was at the same place before and after a silence of the pose of at most StaysS has
	// stayed there. Chosen by us.
	StaysS float64
	// CountLateS: what is counted by so much later than usual was counted late. Chosen by us.
	CountLateS float64
	// FlickerS: leaving the goal zone for less than this is noise of the pose at its edge.
	// Chosen by us.
	FlickerS float64
}

// DefaultConfig is the configuration used unless a caller knows better.
func DefaultConfig() Config {
	return Config{
		LateS: 3, VolleyS: 1.5,
		LeastCycles: 6, FalseShare: 0.4, LostS: 3, LostShare: 1.0 / 3, MildShare: 0.2, JamShare: 0.5, BlameS: 1, BlameShare: 0.4, BlameP: 0.1, PhaseSigma: 0.3,
		TroubleShare: 0.25, TroubleMean: 0.5,
		FarSigmas: 2.5, LeastSpread: 0.1, UsualSigma: 0.18, UsualWeight: 4, TimeSigma: 0.14, OddShare: 0.03, BetweenSigma: 0.08,
		LeastOfTwo: 12, RarerShare: 0.25, TwoApart: 4, TwoBIC: 10, TwoUpTo: 0.85,
		SightSigmaS: 0.8, SightWeight: 4, SightShare: 0.15, Blind: 0.01, PaceSigma: 0.1, PaceP: 0.01, AlikeWay: 0.5, JamS: 1,
		SpeedS: 0.5, TopShare: 0.9, LeastTop: 0.25, LeastLegs: 3, UsualLeg: 0.4, EverydaySum: 0.5, UnseenS: 1,
		StoodShare: 0.1, StoodS: 1, Driven: 0.2, MissedM: 0.35, LinedUpM: 0.15, CorrectS: 0.5,
		FlightS: 3, EarlyS: 0.3, CountLateS: 1, PoseGapS: 0.5, StaysS: 1, FlickerS: 0.25,
	}
}

// Detect finds the cycles of each period, times their phases and judges them. Without a
// score counter there are none. A log without periods counts as one driver period.
func Detect(in Input, cfg Config) Result {
	var r Result
	if in.Score == nil || len(in.Score.T) == 0 {
		r.note("no score counter: cycles cannot be told")
		return r
	}
	if len(in.Periods) == 0 {
		in.Periods = []schemas.Period{{Name: schemas.PeriodDriver, StartS: schemas.Seconds(in.Start), EndS: schemas.Seconds(in.End)}}
		r.note("no periods are known: the whole log counts as one driver period")
	}
	scores := Attribute(in.Score.Rises(), in.Periods, in.Modes, cfg.LateS)
	var handovers []Scored
	if in.Handover != nil {
		handovers = Attribute(in.Handover.Rises(), in.Periods, in.Modes, cfg.LateS)
	}
	for _, s := range scores {
		if s.Period < 0 {
			r.note("%s scored at %.1f s, in no period: not counted", pieces(s.Pieces), schemas.Seconds(s.T))
		}
	}

	all := cut(in.Periods, scores, handovers)
	place, aim := placesOf(in, cfg), aimOf(in, cfg)
	entered, gone := enteredOf(in.Passes, scores, handovers, cfg)
	r.Counted = counted(gone, in.End, cfg)
	lost := wasted(gone)
	for i := range all {
		c := &all[i]
		if c.Kind == schemas.CycleScore && c.Complete {
			scored, known := entered[c.end]
			at := scored.entered
			if later, ok := newest(in.Passes, c.start, c.end); ok && known && at <= c.start {
				at = later
			}
			c.entered, c.left, c.hasPiece, c.scored, c.trips = at, scored.left, known, scored.pieces, scored.trips
			c.aboard = known && at <= c.start && len(place.track.t) == 0 && !begins(c, in.Periods)
			c.more = loadOf(in.Passes, c.own, c.end)
			c.wasted, c.uncounted = within(lost, c.start, c.entered)
			c.whole = in.NoMode && c.start <= schemas.Micros(in.Periods[0].StartS)
			c.Phases = place.phases(c.start, c.end, at, known)
			c.about, c.offS = place.aboutThen(c.start, c.end, at, known)
			c.jams = place.jammed(c, in)
			c.jamS = covered(c.start, c.end, c.jams)
			c.Align = alignOf(c, aim, in)
		}
	}

	if n, mostS := countedLate(all, cfg); n > 0 {
		r.note("%s counted later than usual after leaving the robot, by up to %.1f s: no loss of the robot's", pieces(n), mostS)
	}
	for i := range all {
		if c := &all[i]; c.Kind == schemas.CycleScore && c.Complete {
			c.legs = place.legsOf(c.own, c.done(), c.entered, c.hasPiece, c.more, cfg)
			c.routeOf(in, &place)
		}
	}
	timeLost(all, cfg)
	r.Placing = placingOf(plain(all), in.History)
	r.Notes = append(r.Notes, judge(all, in, place.topMS, cfg)...)
	r.Usual = usualOf(all, in.History, cfg)
	for i := range all {
		if c := &all[i]; c.Slow {
			c.Events = place.eventsOf(c, in, cfg)
		}
	}
	slices.SortStableFunc(all, func(a, b cycle) int { return cmp.Or(cmp.Compare(a.end, b.end), cmp.Compare(b.Kind, a.Kind)) })
	stood := 0
	for _, c := range all {
		if c.Kind == schemas.CycleScore && c.Complete && !c.isTrip(cfg) && c.trips <= 1 {
			stood++
		}
		r.Cycles, r.Reasons = append(r.Cycles, c.Cycle), append(r.Reasons, c.reason)
	}
	if stood > 0 {
		r.note("%d of the cycles took no trip (the piece was at the goal already): they are no part of the usual cycle, and slow only where they took longer", stood)
	}
	return r
}

// begins says whether a cycle is the first of its period.
func begins(c *cycle, periods []schemas.Period) bool {
	return slices.ContainsFunc(periods, func(p schemas.Period) bool { return schemas.Micros(p.StartS) == c.start })
}

func (r *Result) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

func pieces(n int) string {
	if n == 1 {
		return "1 piece"
	}
	return fmt.Sprintf("%d pieces", n)
}
