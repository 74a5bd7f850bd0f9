package draw

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// Scene is one match as pictures need it: what was concluded, and of the log what they
// show. A series the log or the profile lacks is nil; a Scene of a report alone still draws
// every picture, with less in it.
type Scene struct {
	Report  *schemas.Report
	Profile *profile.Profile // never nil

	Voltage *series.Float // V
	Current *series.Float // A, whole robot, or the sum of all branches in its place
	Tilt    *series.Float // deg
	Drive   *series.Float // -1..1

	log *schemas.Log
}

// NewScene binds what the pictures show. prof and log may be nil.
func NewScene(report *schemas.Report, prof *profile.Profile, log *schemas.Log) *Scene {
	s := &Scene{Report: report, Profile: prof, log: log}
	if prof == nil {
		s.Profile = &profile.Profile{}
	}
	if log == nil {
		s.log = &schemas.Log{}
	}
	if p := s.Profile.Power; p != nil {
		s.Voltage = orNil(p.Voltage.Volts(s.log))
		s.Current = orNil(p.Current.Amps(s.log))
		if s.Current == nil {
			s.Current = sumOfBranches(s.log, p.Branches)
		}
	}
	if b := s.Profile.Balance; b != nil {
		s.Tilt = orNil(b.Tilt.Degrees(s.log))
		s.Drive = orNil(b.Drive.Command(s.log))
	}
	return s
}

// orNil is a bound series, or nil when it has no sample or cannot be bound: the report has
// said why by then, and a picture then shows what is left.
func orNil(s *series.Float, err error) *series.Float {
	if err != nil || s == nil || len(s.T) == 0 {
		return nil
	}
	return s
}

// sumOfBranches is the whole current where every branch has a reading; nil without.
func sumOfBranches(log *schemas.Log, branches []profile.Branch) *series.Float {
	var all []*series.Float
	for _, b := range branches {
		s := orNil(b.Current.Amps(log))
		if s == nil {
			return nil // a sum that lacks one branch is not the whole current
		}
		all = append(all, s)
	}
	if len(all) == 0 {
		return nil
	}
	sum := &series.Float{Name: "sum of branches"}
	for _, t := range all[0].T {
		total, known := 0.0, true
		for _, s := range all {
			v, ok := s.At(t)
			total, known = total+v, known && ok
		}
		if known {
			sum.T, sum.V = append(sum.T, t), append(sum.V, total)
		}
	}
	return sum
}

// named is any signal of the log as numbers in its own unit, nil when it is not there or
// holds text.
func (s *Scene) named(name string) *series.Float {
	return orNil((&profile.Ref{Signal: name}).Float(s.log))
}

// T turns log time into match time, both in seconds.
func (s *Scene) T(logS float64) float64 { return logS - s.Report.Match.StartS }

// micros turns match time in seconds into the log's microseconds.
func (s *Scene) micros(matchS float64) int64 { return schemas.Micros(matchS + s.Report.Match.StartS) }

// Bell is when the match ended or should have, in match time: the end of the last period,
// or, when the game says that the driver period lasts longer than the log shows, its due
// end. It is 0 for a log without a match.
func (s *Scene) Bell() float64 {
	end := s.T(s.Report.Match.EndS)
	if at, cut := s.Stopped(); cut {
		return max(s.due(), at)
	}
	return end
}

// due is when the driver period should end by the game's clock, 0 when the game does not
// say.
func (s *Scene) due() float64 {
	g := s.Report.Match.Game
	if g.DriverS <= 0 {
		return 0
	}
	for _, p := range s.Report.Match.Periods {
		if p.Name == schemas.PeriodDriver {
			return s.T(p.StartS) + g.DriverS
		}
	}
	return g.AutonomousS + g.DriverS
}

// Stopped says when the log ended, if it ended before the match was due to: in match time.
// A period that was ended early while the log went on is not a log that stops.
func (s *Scene) Stopped() (at float64, early bool) {
	const slack = 1.0 // s, more than any period boundary is late
	last := s.Report.Match.EndS
	if _, l, ok := s.log.Bounds(); ok {
		last = max(last, schemas.Seconds(l))
	}
	at = s.T(last)
	return at, len(s.Report.Match.Periods) > 0 && s.due() > at+slack
}

// endgame is the start of the endgame in match time.
func (s *Scene) endgame() (at float64, ok bool) {
	g := s.Report.Match.Game
	if g.EndgameS <= 0 || g.EndgameS >= s.Bell() {
		return 0, false
	}
	if due := s.due(); due > 0 {
		return due - g.EndgameS, true
	}
	return s.Bell() - g.EndgameS, true
}

// cutOff is the controller's cut-off voltage.
func (s *Scene) cutOff() (v float64, ok bool) {
	if p := s.Profile.Power; p != nil && p.Brownout != nil && p.Brownout.EnterV > 0 {
		return p.Brownout.EnterV, true
	}
	return 0, false
}

// CutOff is the controller's cut-off voltage, nil when the profile gives none.
func (s *Scene) CutOff() *float64 {
	if v, ok := s.cutOff(); ok {
		return &v
	}
	return nil
}

// extent is the least and greatest value of s between two times; ok is false without any.
func extent(s *series.Float, t0, t1 int64) (lo, hi float64, ok bool) {
	if s == nil {
		return 0, 0, false
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range s.Between(t0, t1+1).V {
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi, lo <= hi
}
