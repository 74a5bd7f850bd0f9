// Package balance finds the attempts to be level on a tilting platform and tells how the
// loop that levels the robot behaves.
//
// A robot drives up, the tilt rises past mount_deg and stays there while it climbs; near
// the middle the platform tips and the tilt falls, swings past level some times, or not,
// and comes to rest inside level_deg. What looks alike: a bump in mid-match (gone in under
// 0.3 s), a spike of the sensor (one or two samples), and a robot that drives off again,
// whose tilt is as level as that of one that balances; only the drive command or the pose
// tells these two apart.
//
// The definition is that of schemas/README.md, applied to the tilt without
// sensor noise: clean takes noise and spikes out (follow, of a sensor that tells in wide steps), zeros what it reads
// on the floor, attempts holds the definition, offPlatform
// tells who drove off, swing and loop look at how it swung and why, limit at what held command or
// platform. With a drive command, rig
// is the platform with the robot on it as the command moved it (by the way that the pose tells, where
// it follows the command), law how the command answered the tilt; together they tell the damping without what a robot creeps to its place by, what
// other gains would do (retune), what was no answer to the command (kick) and, of a person,
// what a loop would have saved (hand).
package balance

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is what the balance analysis looks at; only Tilt is required.
type Input struct {
	Tilt       *series.Float // deg
	Rate       *series.Float // deg/s; may be nil
	Drive      *series.Float // -1..1; may be nil
	X, Y       *series.Float // pose, m; may be nil
	Heading    *series.Float // rad; may be nil
	MountDeg   float64
	LevelDeg   float64
	HoldS      float64
	Periods    []schemas.Period
	Start, End int64 // first and last sample of the log, µs
}

// Result is the balance attempts in order of time. Attempts do not overlap.
type Result struct {
	Balances []schemas.Balance
	Notes    []string
}

// Detect finds the balance attempts of a log. Both signs of tilt are alike: a negated tilt
// gives the same attempts. A tilt of exactly LevelDeg is inside the band, one of exactly
// MountDeg not beyond it.
//
// Times lie on samples of the tilt, but for the end of a hold (its beginning plus HoldS)
// and of an attempt that ran out: that is the end of the last period, or of a log without
// periods. An attempt `left` ends when the tilt was back in the band. A tilt that begins
// before the first period or behind the last is no attempt: a robot that is carried, or
// tips after the bell, tries nothing.
//
// A gap in the tilt neither ends an attempt nor counts towards a hold; a note says so.
// Where the log shows at least Config.ZeroS of floor before an attempt, what a noisy
// tilt reads there, and how that drifts, is its zero, and a note says so; a tilt without any noise is
// taken as it is. DampingRatio, NaturalHz and Model are nil unless a damped swing describes the tilt
// better than no swing, a plain decay or a steady swing; PeakDeg, Swings and Model are in
// the tilt as logged.
//
// No tilt, too few samples or thresholds that make no sense give no attempts and a note.
func Detect(in Input, cfg Config) Result {
	res := Result{Balances: []schemas.Balance{}}
	switch {
	case in.Tilt == nil || len(in.Tilt.T) < 3:
		res.Notes = append(res.Notes, "balance: no tilt in this log")
		return res
	case !(in.LevelDeg > 0) || !(in.MountDeg > in.LevelDeg) || !(in.HoldS > 0):
		res.Notes = append(res.Notes, fmt.Sprintf(
			"balance: level_deg %g, mount_deg %g and hold_s %g must be positive, and mount_deg the larger angle",
			in.LevelDeg, in.MountDeg, in.HoldS))
		return res
	}
	step := coarseStep(in.Tilt, in.LevelDeg)
	tilt, share := withoutLean(in.Tilt, in, cfg)
	if share != 0 {
		in.Tilt = tilt
		res.Notes = append(res.Notes, fmt.Sprintf(
			"%s shows %.0f %% of how the robot leans in turns: taken out here by the pose; a sensor mounted square shows none", in.Tilt.Name, 100*math.Abs(share)))
	}
	tr := clean(in.Tilt, in.Rate, step, cfg)
	floor := zeros(tr, in, cfg)
	tr = tr.less(floor)
	res.Notes = append(res.Notes, zeroNotes(in.Tilt.Name, floor, cfg)...)

	untold := false
	onPlatform := false
	for _, a := range told(tr, in, cfg) {
		untold = untold || a.outcome == schemas.BalanceLevel && !tellsLeaving(in)
		res.Balances = append(res.Balances, report(tr, a, in, cfg, onPlatform))
		onPlatform = a.outcome == schemas.BalanceLevel
		for _, g := range a.gaps {
			res.Notes = append(res.Notes, fmt.Sprintf(
				"%s is silent for %.1f s from %.1f s of the log, in a balance attempt: a gap does not count as level",
				in.Tilt.Name, seconds(g.Len()), seconds(g.Start)))
		}
	}
	if untold {
		res.Notes = append(res.Notes,
			"balance: without a drive command or a pose, a robot that drove off the platform cannot be told from one that is level")
	}
	return res
}

// told are the attempts, and which of them ended because the robot drove off.
func told(tr trace, in Input, cfg Config) []attempt {
	out := attempts(tr, in, cfg)
	onPlatform := false
	for i := range out {
		a := &out[i]
		if a.outcome == schemas.BalanceLevel && offPlatform(tr, *a, in, cfg, onPlatform) {
			a.outcome, a.endT = schemas.BalanceLeft, a.entryT
		}
		onPlatform = a.outcome == schemas.BalanceLevel
	}
	return out
}

// tellsLeaving says that the log has what tells a robot that drove off from one that is level.
func tellsLeaving(in Input) bool { return in.Drive != nil || in.X != nil && in.Y != nil }

// periodAt is the name of the period t lies in, empty outside all of them.
func periodAt(periods []schemas.Period, t float64) string {
	for _, p := range periods {
		if t >= p.StartS && t < p.EndS {
			return p.Name
		}
	}
	return ""
}

func seconds(us int64) float64 { return float64(us) / 1e6 }
